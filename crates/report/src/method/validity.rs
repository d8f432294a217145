//! Checks that decide whether a test may be judged, and what must be said beside it.

use jiff::civil::Date;
use tightfit_quantity::{Dimension, Quantity};

use crate::data::ChannelData;

/// What the checks found.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Findings {
    /// The test may not be judged because of these.
    pub(crate) problems: Vec<String>,
    /// These must be known to read its results.
    pub(crate) notes: Vec<String>,
}

/// Calibration dates of one channel's instrument on the day of the test.
pub(crate) fn calibration(channel: &ChannelData<'_>, day: Option<Date>, findings: &mut Findings) {
    let Some(instrument) = channel.instrument else {
        let note = format!(
            "no instrument is stated for column \"{}\": its calibration is not in the uncertainty",
            channel.column
        );
        findings.notes.push(note);
        return;
    };
    let name = &instrument.name;
    if instrument.uncertainty.is_none() {
        findings.notes.push(format!("no uncertainty is stated for {name}: its calibration is not in the uncertainty"));
    }
    match (instrument.due, day) {
        (Some(due), Some(day)) if due < day => {
            findings.problems.push(format!("the calibration of {name} ran out on {due}, before the test on {day}"));
        }
        (Some(due), None) => {
            findings.notes.push(format!(
                "the log has no dates: check that the test came before {due}, when the calibration of {name} runs out"
            ));
        }
        (None, _) => findings.notes.push(format!("no calibration dates are stated for {name}")),
        (Some(_), Some(_)) => {}
    }
    if let (Some(calibrated), Some(day)) = (instrument.calibrated, day)
        && calibrated > day
    {
        findings.notes.push(format!("{name} was calibrated on {calibrated}, after the test on {day}"));
    }
}

/// Readings at the end of an instrument's range.
pub(crate) fn range(channel: &ChannelData<'_>, dimension: Dimension, findings: &mut Findings) {
    let Some(instrument) = channel.instrument else { return };
    let Some((low, high)) = &instrument.range else { return };
    let (Ok(low_si), Ok(high_si)) = (low.si_of(dimension), high.si_of(dimension)) else { return };
    let beyond = channel.value.iter().filter(|value| **value <= low_si || **value >= high_si).count();
    if beyond > 0 {
        let name = &instrument.name;
        findings.problems.push(format!("{beyond} readings of {name} lie at or beyond its range of {low} to {high}"));
    }
}

/// Pressures of the record beyond the rated pressure, allowing for what the gauge cannot tell.
pub(crate) fn rated_pressure(
    rated: Option<&(Quantity, Quantity)>,
    [lowest_pa, highest_pa]: [f64; 2],
    findings: &mut Findings,
) {
    let Some((low, high)) = rated else {
        findings
            .notes
            .push("the plan states no rated pressure: whether the test stayed within it was not checked".to_owned());
        return;
    };
    let extreme = if lowest_pa < low.si() {
        lowest_pa
    } else if highest_pa > high.si() {
        highest_pa
    } else {
        return;
    };
    findings.problems.push(format!(
        "the record reaches {}, beyond the rated pressure of {low} to {high}: have gloves and windows looked at before going on",
        super::pressure_text(extreme)
    ));
}
