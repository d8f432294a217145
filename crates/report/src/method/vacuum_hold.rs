//! Method `vacuum-hold`: what leaks into an evacuated vessel, and what its walls give off.

use tightfit_fit::Estimate;
use tightfit_fit::InputError;
use tightfit_fit::vacuum_hold::{self as fit, RoomReference, Settings, VacuumHold, VacuumHoldError};
use tightfit_ingest::Channel;

use crate::data::{Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::outcome::Evaluated;
use super::pressure_channels::samples;
use super::vacuum_channels::{VesselPressure, restarts_s, volume};
use super::validity::{self, Findings};
use super::{Evaluation, Outcome, TestError};

/// Evaluates a vacuum hold.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let of_enclosure = is_of_enclosure(test);
    let vessel = VesselPressure::gather(&data, &vessel_channels(test))?;
    let volume_m3 = volume(&data).ok_or(TestError::VesselVolumeMissing)?;
    let thermometer = data.channel(Channel::GasTemperature)?;
    let restarts_s = restarts_s(&data);
    let record = fit::Record {
        pressure: tightfit_fit::Samples::new(&vessel.channel.time_s, &vessel.absolute_pa)
            .map_err(|error| TestError::Samples { column: vessel.channel.column.clone(), error })?,
        gas_temperature: thermometer.as_ref().map(samples).transpose()?,
        room_pressure_pa: vessel.room.mean_pa.value,
        restarts_s: &restarts_s,
    };
    let follows = !vessel.from_room || vessel.room.logged.is_some();
    let settings = Settings {
        volume_m3,
        gauge: vessel.gauge,
        room: if follows { RoomReference::Followed } else { RoomReference::NotLogged },
        window_s: test.window.map(|window| data.window_s(&vessel.channel, window)),
        pumped_s: None,
    };
    let evaluation = fit::evaluate(&record, &settings).map_err(not_evaluable)?;
    let mut findings = Findings::default();
    vessel.check(&data, evaluation.window.to_s, &mut findings);
    if of_enclosure {
        let room_pa = vessel.room.mean_pa.value;
        let fold = |start, pick: fn(f64, f64) -> f64| vessel.absolute_pa.iter().copied().fold(start, pick) - room_pa;
        let range_pa = [fold(f64::INFINITY, f64::min), fold(f64::NEG_INFINITY, f64::max)];
        validity::rated_pressure(plan.enclosure.rated_pressure.as_ref(), range_pa, &mut findings);
    }
    findings.notes.extend(evaluation.notes.iter().map(|note| said(&data, note)));
    let outcome = Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s: [evaluation.window.from_s, evaluation.window.to_s],
        window_reason: evaluation.window.to_string(),
        unused: vec![("outlier", evaluation.outliers)],
        evaluation: Box::new(evaluation),
        data,
    }
    .into_outcome(test);
    Ok(with_gas(outcome))
}

fn is_of_enclosure(test: &Test) -> bool {
    test.keys.vessel.as_deref() == Some("enclosure")
}

/// Channels that may hold the vessel's pressure: the first that was logged does.
pub(super) fn vessel_channels(test: &Test) -> [Channel; 4] {
    let mut order =
        [Channel::AntechamberPressure, Channel::VesselPressure, Channel::AbsolutePressure, Channel::GaugePressure];
    if is_of_enclosure(test) {
        order.rotate_left(2);
    } else if test.keys.volume.is_some() {
        order.swap(0, 1);
    }
    order
}

/// What flows into a vessel under vacuum is the room's air.
pub(super) fn with_gas(mut outcome: Outcome) -> Outcome {
    outcome.result.gas = Some(tightfit_quantity::Gas::Air.name().to_owned());
    outcome
}

/// A finding, with times as results write them.
fn said(data: &TestData<'_>, note: &fit::Note) -> String {
    match note {
        fit::Note::RegimeChanged { at_s, pressure_pa: [from, to] } => {
            let way = if to > from { "upwards" } else { "downwards" };
            format!(
                "from {} on the pressure runs away {way}, from {} Pa to {} Pa: what follows is not evaluated",
                data.time_text(*at_s),
                tightfit_quantity::display_number(*from, 4),
                tightfit_quantity::display_number(*to, 4)
            )
        }
        note => note.to_string(),
    }
}

fn estimates(evaluation: &VacuumHold) -> Vec<(&'static str, Estimate)> {
    vec![
        ("leak_throughput", evaluation.leak_throughput.clone()),
        ("outgassing_throughput", evaluation.outgassing_throughput.clone()),
    ]
}

impl Evaluation for VacuumHold {
    fn window_s(&self) -> [f64; 2] {
        [self.window.from_s, self.window.to_s]
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::vacuum::hold_figures(self, clock)
    }
}

fn not_evaluable(error: VacuumHoldError) -> TestError {
    let hint = match error {
        VacuumHoldError::NotHeld { .. } => "shut the pump off, close its valve, and log the rise",
        VacuumHoldError::Input(InputError::WindowOutsideRecord { .. }) => super::CORRECT_WINDOW,
        other => return TestError::not_evaluable(other),
    };
    TestError::NotEvaluable { error: Box::new(error), hint }
}
