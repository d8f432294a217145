//! Method `antechamber`: how much of the room's oxygen the cycles of the antechamber leave.

use tightfit_fit::InputError;
use tightfit_fit::antechamber::{self as fit, Antechamber, AntechamberError, Note, Settings};
use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::uncertainty::Distribution;
use tightfit_fit::{Estimate, Samples};
use tightfit_ingest::Channel;

use crate::catalogue::Method;
use crate::data::{Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::outcome::Evaluated;
use super::vacuum_channels::{VesselPressure, restarts_s};
use super::vacuum_hold::with_gas;
use super::validity::Findings;
use super::{Evaluation, EventLine, Outcome, TestError, ppm_rise};

/// Oxygen in the room's air, mole fraction of moist air as the trade takes it.
const ROOM_OXYGEN: f64 = 0.209;

/// Evaluates the cycles of an antechamber. `earlier` are the outcomes of the plan's other tests: a vacuum hold of the
/// antechamber knows its leak better than the pauses between pumping and filling.
pub(crate) fn run(
    plan: &Plan,
    test: &Test,
    folders: &Folders,
    earlier: &[Option<Result<Outcome, TestError>>],
) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let order =
        [Channel::AntechamberPressure, Channel::VesselPressure, Channel::AbsolutePressure, Channel::GaugePressure];
    let vessel = VesselPressure::gather(&data, &order)?;
    let restarts_s = restarts_s(&data);
    let record = fit::Record {
        pressure: Samples::new(&vessel.channel.time_s, &vessel.absolute_pa)
            .map_err(|error| TestError::Samples { column: vessel.channel.column.clone(), error })?,
        room_pressure_pa: vessel.room.mean_pa,
        restarts_s: &restarts_s,
    };
    let supply = plan.supply.oxygen.as_ref();
    let settings = Settings {
        volume_m3: test.keys.volume.as_ref().or(plan.enclosure.antechamber_volume.as_ref()).map(ppm_rise::quantity),
        enclosure_m3: plan.enclosure.volume.as_ref().map(ppm_rise::quantity),
        gauge: vessel.gauge,
        from_room: vessel.from_room,
        supply_oxygen: supply.map_or(Quantity::default(), ppm_rise::quantity),
        room_oxygen: ROOM_OXYGEN,
        leak_throughput: leak_of_hold(plan, earlier),
        target: test.keys.target.as_ref().map(|target| target.si),
        window_s: test.window.map(|window| data.window_s(&vessel.channel, window)),
    };
    let evaluation = fit::evaluate(&record, &settings).map_err(not_evaluable)?;
    let mut findings = Findings::default();
    vessel.check(&data, evaluation.window_s[1], &mut findings);
    if supply.is_none() {
        findings.notes.push(Note::SupplyNotStated.to_string());
    }
    if settings.leak_throughput.is_some() {
        findings.notes.push("the leak of the antechamber is that of its vacuum hold".to_owned());
    }
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    let outcome = Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s: evaluation.window_s,
        window_reason: format!("{} cycles, from the first pumping to the end of the last", evaluation.cycle_count),
        unused: Vec::new(),
        evaluation: Box::new(evaluation),
        data,
    }
    .into_outcome(test);
    Ok(with_gas(outcome))
}

/// The leak that a vacuum hold of the antechamber found.
fn leak_of_hold(plan: &Plan, earlier: &[Option<Result<Outcome, TestError>>]) -> Option<Estimate> {
    let of_antechamber = |test: &Test| {
        test.method == Method::VacuumHold
            && test.keys.vessel.as_deref().is_none_or(|vessel| vessel == "antechamber")
            && test.keys.volume.is_none()
    };
    let outcomes = plan.tests.iter().zip(earlier).filter(|(test, _)| of_antechamber(test));
    outcomes
        .filter_map(|(_, outcome)| outcome.as_ref()?.as_ref().ok())
        .filter(|outcome| outcome.result.valid)
        .find_map(|outcome| outcome.estimates.iter().find(|(name, _)| *name == "leak_throughput"))
        .map(|(_, estimate)| estimate.clone())
}

fn estimates(evaluation: &Antechamber) -> Vec<(&'static str, Estimate)> {
    let count = Distribution::normal(evaluation.cycle_count as f64, 0.0);
    let mut estimates = vec![
        ("cycle_count", Estimate::from_distribution(count, Vec::new())),
        ("residual_oxygen", evaluation.residual_oxygen.clone()),
    ];
    let optional = [
        ("oxygen_step", &evaluation.oxygen_step),
        ("leak_throughput", &evaluation.leak_throughput),
        ("cycles_needed", &evaluation.cycles_needed),
    ];
    estimates.extend(optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?))));
    estimates
}

impl Evaluation for Antechamber {
    fn window_s(&self) -> [f64; 2] {
        self.window_s
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::vacuum::cycle_figures(self, clock)
    }

    fn events(&self) -> Vec<EventLine> {
        let number = |pressure_pa: f64| tightfit_quantity::display_number(pressure_pa / 100.0, 4);
        let words = |cycle: &fit::Cycle| {
            format!(
                "cycle: down to {} hPa, held {:.0} s to {} hPa, filled to {} hPa",
                number(cycle.low_pa),
                cycle.fill_s - cycle.low_from_s,
                number(cycle.before_fill_pa),
                number(cycle.high_pa)
            )
        };
        self.cycles
            .iter()
            .map(|cycle| EventLine { span_s: [cycle.pump_s, cycle.full_s], words: words(cycle) })
            .collect()
    }
}

fn not_evaluable(error: AntechamberError) -> TestError {
    let hint = match error {
        AntechamberError::NoCycle { .. } => {
            "check what the gauge counts from: unit = \"inHg vacuum\", \"mbar gauge\" or \"mbar absolute\" in [test.columns]"
        }
        AntechamberError::Input(InputError::WindowOutsideRecord { .. }) => super::CORRECT_WINDOW,
        other => return TestError::not_evaluable(other),
    };
    TestError::NotEvaluable { error: Box::new(error), hint }
}
