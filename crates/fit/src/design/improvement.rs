//! What better instruments would buy.

use super::search::shorter_than;
use super::trial::{Trial, forecast};
use super::{Demand, Designed, PlannedThermometer, PlannedVessel, SetUp};
use crate::pressure_change::{Compliance, Instrument};

/// A change of the set-up and what it gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Improvement {
    /// What is changed, in words.
    pub change: String,
    /// Expanded uncertainty of the test of the same duration and pressure difference, over that without the change.
    pub ratio: f64,
    /// Duration of the shortest test that meets the demand with it, s, no longer than the one compared with; `None`
    /// where that does not either.
    pub duration_s: Option<f64>,
}

/// Records behind an improvement: the same rooms as in every other trial, so that the comparison is sharper than each.
const RECORDS: u64 = 16;

/// Tries every change that the set-up has room for on a planned test, which `decides` or does not. `progress` is told
/// each.
pub fn improvements(
    set_up: &SetUp,
    demand: &Demand,
    rated_pa: Option<f64>,
    planned: &Designed,
    decides: bool,
    progress: &mut dyn FnMut(&str),
) -> Vec<Improvement> {
    let Designed { difference_pa, duration_s, .. } = *planned;
    let trial = Trial { difference_pa, duration_s, records: RECORDS };
    let Some(as_it_is) = forecast(set_up, demand, trial) else { return Vec::new() };
    let mut out: Vec<Improvement> = changes(set_up)
        .into_iter()
        .filter_map(|(change, changed)| {
            progress(&change);
            let forecast = forecast(&changed, demand, trial)?;
            let ratio = forecast.expanded_uncertainty / as_it_is.expanded_uncertainty;
            let shortest_s = match demand.is_met_by(&forecast) {
                // What changes the uncertainty by a few per cent does not change the test by a duration worth planning.
                _ if decides && ratio > 0.9 => Some(duration_s),
                true => Some(shorter_than(&changed, demand, rated_pa, duration_s, RECORDS)),
                false => None,
            };
            Some(Improvement { change, ratio, duration_s: shortest_s })
        })
        .collect();
    out.sort_by(|a, b| a.ratio.total_cmp(&b.ratio));
    out
}

/// The changes, each with the set-up that it makes.
fn changes(set_up: &SetUp) -> Vec<(String, SetUp)> {
    let mut out = Vec::new();
    let mut add = |change: &str, with: &dyn Fn(&mut SetUp)| {
        let mut changed = set_up.clone();
        with(&mut changed);
        out.push((change.to_owned(), changed));
    };
    if set_up.thermometers.is_empty() {
        add("a thermometer in the gas (0.01 K steps)", &|s| s.thermometers.push(usual_thermometer()));
    } else {
        add("a second thermometer of the same kind, in another place", &|s| s.thermometers.push(s.thermometers[0]));
        add("gas mixed better: half the wander of the thermometer", &|s| {
            s.thermometers.iter_mut().for_each(|t| t.wander_k *= 0.5);
        });
        add("a thermometer twice as fast", &|s| {
            let usual_s = s.room.lag_s;
            s.thermometers.iter_mut().for_each(|t| t.lag_s = Some(0.5 * t.lag_s.unwrap_or(usual_s)));
        });
        add("a thermometer with a fifth of the step", &|s| {
            s.thermometers.iter_mut().for_each(|t| t.instrument.resolution *= 0.2);
        });
    }
    if set_up.vessel.is_none() {
        add("a reference vessel (1 Pa steps)", &|s| {
            s.vessel = Some(PlannedVessel { resolution_pa: 1.0, lag_s: 150.0 });
        });
    }
    add("a gauge with half the uncertainty", &|s| {
        s.gauge = Instrument { zero: 0.5 * s.gauge.zero, scale: 0.5 * s.gauge.scale, ..s.gauge };
    });
    if set_up.gauge.resolution > 0.1 {
        add("a gauge with a tenth of the step", &|s| s.gauge.resolution *= 0.1);
    }
    match set_up.barometer {
        None => add("a logged barometer (1 Pa steps)", &|s| {
            s.barometer = Some(Instrument { zero: 50.0, resolution: 1.0, ..Instrument::default() });
        }),
        Some(barometer) if barometer.resolution > 1.0 => {
            add("a barometer with a tenth of the step", &|s| {
                s.barometer = s.barometer.map(|b| Instrument { resolution: 0.1 * b.resolution, ..b });
            });
        }
        Some(_) => {}
    }
    if set_up.compliance != Compliance::Rigid {
        add("glove ports closed by rigid covers", &|s| s.compliance = Compliance::Rigid);
    }
    out
}

fn usual_thermometer() -> PlannedThermometer {
    let instrument = Instrument { resolution: 0.01, ..Instrument::default() };
    PlannedThermometer { instrument, lag_s: None, wander_k: 0.03, wander_memory_s: 1800.0 }
}
