//! Trials: simulated records of a planned test, evaluated as the real one will be.

use super::forecast::Reported;
use super::{Demand, Forecast, Limited, SetUp};
use crate::pressure_change::{PressureChange, Response, RoomPressure, evaluate};
use crate::simulate::{Hold, SimulatedHold};

/// A test that is tried: duration, pressure difference, and how many records stand for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    /// Pressure difference at the start in Pa.
    pub difference_pa: f64,
    /// Duration of the hold in s.
    pub duration_s: f64,
    /// Number of simulated records.
    pub records: u64,
}

/// Seed of the first record of every trial: all trials see the same rooms and instruments, so that differences between
/// them are not chance.
const FIRST_SEED: u64 = 7_000;

/// What the evaluation will report on the tight enclosure, and how often it will pass. `None` where records of this
/// duration cannot be evaluated.
pub fn forecast(set_up: &SetUp, demand: &Demand, trial: Trial) -> Option<Forecast> {
    let reported = reported(set_up, demand.limited, demand.tight_share * demand.limit, trial);
    Forecast::new(demand, &reported)
}

/// The reports on an enclosure whose leak has the value `truth`, in the order of their seeds.
fn reported(set_up: &SetUp, limited: Limited, truth: f64, trial: Trial) -> Vec<Reported> {
    let conductance = limited.conductance_per_s(truth, set_up);
    let seeds: Vec<u64> = (FIRST_SEED..FIRST_SEED + trial.records).collect();
    let share = seeds.len().div_ceil(set_up.threads.max(1)).max(1);
    std::thread::scope(|scope| {
        let work = |seeds: &[u64]| -> Vec<Reported> {
            seeds.iter().filter_map(|&seed| report(set_up, limited, conductance, trial, seed)).collect()
        };
        let workers: Vec<_> = seeds.chunks(share).map(|seeds| scope.spawn(move || work(seeds))).collect();
        // A worker that panicked would be a fault of the evaluation; its records are then missing.
        workers.into_iter().flat_map(|worker| worker.join().unwrap_or_default()).collect()
    })
}

fn report(set_up: &SetUp, limited: Limited, conductance_per_s: f64, trial: Trial, seed: u64) -> Option<Reported> {
    let hold = set_up.hold(trial.difference_pa, trial.duration_s, conductance_per_s, seed);
    let simulated = hold.simulate(seed);
    let result = evaluated(set_up, &simulated, &hold)?;
    let estimate = match limited {
        Limited::HourlyLeakRate => result.hourly_leak_rate,
        Limited::LeakConductance => result.leak_conductance?,
        Limited::LeakThroughput => result.leak_throughput?,
    };
    let truth = limited.of(conductance_per_s, simulated.truth.room_pressure_pa, set_up);
    estimate.standard_uncertainty.is_finite().then_some(Reported { error: estimate.value - truth, estimate })
}

fn evaluated(set_up: &SetUp, simulated: &SimulatedHold, hold: &Hold) -> Option<PressureChange> {
    let mut record = simulated.record(hold).ok()?;
    for (thermometer, planned) in record.thermometers.iter_mut().zip(&set_up.thermometers) {
        thermometer.response = planned.lag_s.map(|tau_s| Response { tau_s, standard_uncertainty_s: 0.0 });
        thermometer.instrument = planned.instrument;
    }
    for (vessel, planned) in record.reference_vessels.iter_mut().zip(set_up.vessel) {
        vessel.response = Some(Response { tau_s: planned.lag_s, standard_uncertainty_s: 0.0 });
    }
    if set_up.barometer.is_none() {
        // Somebody reads the weather report before the test begins.
        record.room = RoomPressure::Stated((simulated.truth.room_pressure_pa / 100.0).round() * 100.0);
    }
    evaluate(&record, &set_up.settings()).ok()
}

/// How far room and weather drive a tight enclosure's pressure difference beyond its start, in Pa: the most of the
/// simulated records.
pub fn growth_of_the_difference_pa(set_up: &SetUp, trial: Trial) -> f64 {
    let outward = trial.difference_pa.signum();
    (FIRST_SEED..FIRST_SEED + trial.records)
        .map(|seed| {
            let simulated = set_up.hold(trial.difference_pa, trial.duration_s, 0.0, seed).simulate(seed);
            let growth = |reading: &f64| outward * (reading - simulated.gauge_pa[0]);
            simulated.gauge_pa.iter().map(growth).fold(0.0, f64::max)
        })
        .fold(0.0, f64::max)
}
