//! The checks of a hold at pressure: gauge at work, thermometer, barometer, window, disturbances, clocks.

use tightfit_fit::pressure_change::{EventKind, Note, PressureChange};
use tightfit_quantity::Dimension;

use crate::data::TestData;
use crate::plan::{Plan, Test};

use super::pressure_channels::Channels;
use super::validity::{self, Findings};

/// Step of a gauge so coarse that it may honestly show one value throughout a short hold, Pa.
const COARSE_GAUGE_PA: f64 = 5.0;

/// Every check of a hold but calibration, range and rated pressure.
pub(super) fn run(
    plan: &Plan,
    test: &Test,
    data: &TestData<'_>,
    channels: &Channels<'_>,
    evaluation: &PressureChange,
    findings: &mut Findings,
) {
    let window_s = [evaluation.window.from_s, evaluation.window.to_s];
    validity::restarts(data, window_s, findings);
    gauge_at_work(channels, window_s, findings);
    for (_, thermometer) in channels.thermometers.iter().filter(|(_, channel)| validity::all_alike(channel, window_s)) {
        let finding =
            format!("\"{}\" shows one temperature throughout: too coarse, or it stands still", thermometer.column);
        findings.say("stuck sensor", finding);
    }
    for limit in plan.limits_of(test, "hourly_leak_rate") {
        let allowed = limit.bound.quantity().si().abs() * pressure_lost(evaluation);
        validity::fitness(&channels.inside, Dimension::Pressure, allowed, limit.bound.quantity().text(), findings);
    }
    passed(channels, evaluation, findings);
}

/// A gauge pressure moves with the barometer and the temperature, so a gauge that shows one value shows nothing.
fn gauge_at_work(channels: &Channels<'_>, window_s: [f64; 2], findings: &mut Findings) {
    const CHECK: &str = "gauge at work";
    let step = channels.inside.instrument.and_then(|instrument| instrument.resolution_si(Dimension::Pressure));
    if !validity::all_alike(&channels.inside, window_s) {
        findings.pass(CHECK, "the inside pressure moves");
    } else if step.is_some_and(|step| step >= COARSE_GAUGE_PA) {
        findings
            .say(CHECK, "the inside pressure shows one value throughout: the gauge is too coarse for so short a hold");
    } else {
        findings
            .refuse(CHECK, "the inside pressure shows one value throughout: the gauge stands still, or is shut off");
    }
}

/// Change of the pressure difference, Pa, in the window for a leak rate of 1/s at the reference pressure.
fn pressure_lost(evaluation: &PressureChange) -> f64 {
    let duration_s = evaluation.window.to_s - evaluation.window.from_s;
    let reference_pa = evaluation.hourly_leak_rate.at_pa.unwrap_or(evaluation.mean_difference_pa);
    duration_s * evaluation.room_pressure_at_start_pa * (evaluation.mean_difference_pa / reference_pa).abs()
}

/// The check that a note of the evaluation belongs to.
pub(super) fn named(note: &Note) -> Option<&'static str> {
    match note {
        Note::NoThermometer | Note::ThermometersDisagree { .. } => Some(THERMOMETER),
        Note::RoomPressureNotLogged | Note::RoomPressureGap { .. } => Some(BAROMETER),
        Note::WindowShort { .. } => Some(LENGTH),
        Note::ClockOffsetFound { .. } | Note::ClockOffsetNotTold { .. } | Note::ClocksNotCompared { .. } => {
            Some("clocks against each other")
        }
        Note::ComplianceUnknown => Some("gloves and walls"),
        Note::ReferencePressureFar { .. } | Note::ReferencePressureOfOtherSign => Some("reference pressure"),
        Note::LinearLawDoubtful { .. } => Some("leak law"),
        Note::ThermometerLags { .. }
        | Note::ResidualWanders { .. }
        | Note::IntervalWidened { .. }
        | Note::GaveWay { .. }
        | Note::ConventionalDisagrees { .. }
        | Note::CoarseResolution { .. } => None,
    }
}

const THERMOMETER: &str = "thermometer";
const BAROMETER: &str = "barometer";
const LENGTH: &str = "length of the window";

/// What was found in order, or is said as an event already.
fn passed(channels: &Channels<'_>, evaluation: &PressureChange, findings: &mut Findings) {
    let any = |check| evaluation.notes.iter().any(|note| named(note) == Some(check));
    if !any(THERMOMETER) {
        let logged = channels.thermometers.len() + channels.vessels.len();
        findings.pass(THERMOMETER, format!("{logged} logged"));
    }
    if !any(BAROMETER) && channels.room_is_known {
        findings.pass(BAROMETER, "logged");
    }
    let window = &evaluation.window;
    if !any(LENGTH) {
        let length = crate::advice::duration_text(window.to_s - window.from_s);
        findings.pass(LENGTH, format!("{length}, long against the lag of the thermometers"));
    }
    match window.start {
        tightfit_fit::pressure_change::WindowStart::Set => {
            findings.pass("settled", "the window was set by hand; whether the gas had settled was not looked for");
        }
        _ => findings.pass("settled", format!("window found {window}")),
    }
    let disturbed = |kind: &EventKind| matches!(kind, EventKind::Step | EventKind::GlovePull);
    let inside = evaluation
        .events
        .iter()
        .filter(|event| disturbed(&event.kind) && event.to_s > window.from_s && event.from_s < window.to_s);
    match inside.count() {
        0 => findings.pass("disturbed", "no step and no glove pull in the window"),
        1 => findings.list("disturbed", "one step or glove pull in the window: allowed for, and listed as an event"),
        count => findings.list(
            "disturbed",
            format!("{count} steps or glove pulls in the window: allowed for, and each listed as an event"),
        ),
    }
}
