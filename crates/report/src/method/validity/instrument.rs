//! Checks of the instruments: calibration, range, step, and the rated pressure that the gauge saw.

use jiff::civil::Date;
use tightfit_ingest::{Status, shown_end_of_range};
use tightfit_quantity::{Dimension, Quantity, display_number};

use crate::data::ChannelData;

use super::Findings;

/// Share of what a limit allows that one step of an instrument may take (common practice, no source: ten steps to the
/// limit).
const STEP_TO_LIMIT: f64 = 0.1;

/// Calibration of one channel's instrument on the day of the test.
pub(crate) fn calibration(channel: &ChannelData<'_>, day: Option<Date>, findings: &mut Findings) {
    const CHECK: &str = "calibration";
    let Some(instrument) = channel.instrument else {
        let column = &channel.column;
        let finding =
            format!("no instrument is stated for column \"{column}\": its calibration is not in the uncertainty");
        findings.say(CHECK, finding);
        return;
    };
    let name = &instrument.name;
    if instrument.uncertainty.is_none() {
        findings.say(CHECK, format!("no uncertainty is stated for {name}: its calibration is not in the uncertainty"));
    }
    match (instrument.due, day) {
        (Some(due), Some(day)) if due < day => {
            findings.refuse(CHECK, format!("the calibration of {name} ran out on {due}, before the test on {day}"));
        }
        (Some(due), None) => findings.say(
            CHECK,
            format!(
                "the log has no dates: check that the test came before {due}, when the calibration of {name} runs out"
            ),
        ),
        (None, _) => findings.say(CHECK, format!("no calibration dates are stated for {name}")),
        (Some(due), Some(day)) if instrument.calibrated.is_none_or(|calibrated| calibrated <= day) => {
            findings.pass(CHECK, format!("{name} was in calibration on {day} (due {due})"));
        }
        (Some(_), Some(_)) => {}
    }
    if let (Some(calibrated), Some(day)) = (instrument.calibrated, day)
        && calibrated > day
    {
        findings.say(CHECK, format!("{name} was calibrated on {calibrated}, after the test on {day}"));
    }
}

/// Readings at the end of an instrument's range.
pub(crate) fn range(channel: &ChannelData<'_>, dimension: Dimension, findings: &mut Findings) {
    const CHECK: &str = "range";
    let marked = channel.status.iter().filter(|status| **status != Status::Measured).count();
    if marked > 0 {
        let column = &channel.column;
        findings.refuse(
            CHECK,
            format!("{marked} readings of \"{column}\" are marked as outside the range of its instrument"),
        );
        return;
    }
    let Some(instrument) = channel.instrument else { return };
    let Some((low, high)) = &instrument.range else { return };
    let (Ok(low_si), Ok(high_si)) = (low.si_of(dimension), high.si_of(dimension)) else { return };
    // The range is that of what the instrument shows, its zero error with it.
    let zero = instrument.zero_check_si(dimension).map_or(0.0, |(zero, _)| zero);
    let shown: Vec<f64> = channel.value.iter().map(|value| value + zero).collect();
    let below: Vec<f64> = shown.iter().map(|value| -value).collect();
    let (high_si, low_si) =
        (shown_end_of_range(&shown, (low_si, high_si)), -shown_end_of_range(&below, (-high_si, -low_si)));
    let beyond = shown.iter().filter(|value| **value <= low_si || **value >= high_si).count();
    let name = &instrument.name;
    if beyond > 0 {
        findings.refuse(CHECK, format!("{beyond} readings of {name} lie at or beyond its range of {low} to {high}"));
    } else {
        findings.pass(CHECK, format!("all readings of {name} lie within its range of {low} to {high}"));
    }
}

/// Whether an instrument's step, reporting limit and range suit a limit. `allowed_si` is the change of the reading that
/// the limit allows during the test, or the reading at the limit; `limit` is the limit in words.
pub(crate) fn fitness(
    channel: &ChannelData<'_>,
    dimension: Dimension,
    allowed_si: f64,
    limit: &str,
    findings: &mut Findings,
) {
    const CHECK: &str = "fitness for the limit";
    let Some(instrument) = channel.instrument else { return };
    let name = &instrument.name;
    let reporting =
        instrument.reporting_limit.as_ref().filter(|own| own.si_of(dimension).is_ok_and(|si| si > allowed_si));
    if let Some(own) = reporting {
        findings.say(CHECK, format!("{name} reports only from {own}, which is more than the limit of {limit} allows"));
        return;
    }
    let Some(step) = instrument.resolution_si(dimension).filter(|step| *step > 0.0) else { return };
    let steps = (allowed_si / step).abs();
    if steps * STEP_TO_LIMIT < 1.0 {
        findings.say(
            CHECK,
            format!(
                "the limit of {limit} allows {} steps of {name} in this test: too coarse to decide much, take a finer instrument or a longer test",
                display_number(steps, 2)
            ),
        );
    } else {
        findings.pass(
            CHECK,
            format!("the limit of {limit} allows {} steps of {name} in this test", display_number(steps, 2)),
        );
    }
}

/// Pressures of the record against the rated pressure.
pub(crate) fn rated_pressure(
    rated: Option<&(Quantity, Quantity)>,
    [lowest_pa, highest_pa]: [f64; 2],
    findings: &mut Findings,
) {
    const CHECK: &str = "rated pressure";
    let Some((low, high)) = rated else {
        findings.say(CHECK, "no rated pressure is stated: whether the test stayed within it was not checked");
        return;
    };
    let extreme = if lowest_pa < low.si() {
        lowest_pa
    } else if highest_pa > high.si() {
        highest_pa
    } else {
        let [lowest, highest] = [lowest_pa, highest_pa].map(crate::method::pressure_text);
        findings.pass(CHECK, format!("the record runs from {lowest} to {highest}, within {low} to {high}"));
        return;
    };
    findings.refuse(
        CHECK,
        format!(
            "the record reaches {}, beyond the rated pressure of {low} to {high}: have gloves and windows looked at before going on",
            crate::method::pressure_text(extreme)
        ),
    );
}
