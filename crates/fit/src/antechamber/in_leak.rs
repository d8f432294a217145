//! What leaks into the chamber: from its holds, or from what chambers usually do.

use super::{Cycle, Record, Settings};
use crate::ppm_rise::Quantity;
use crate::uncertainty::Distribution;
use crate::vacuum_hold::{self, RoomReference, VacuumHold};
use crate::{BudgetLine, Estimate, Kind};

/// Holds that are looked at: the longest.
const HOLDS: usize = 4;
/// Fewest readings of a hold.
const FEWEST: usize = 10;

/// Probability of outgassing from which holds are not averaged: what one cannot tell apart, none can.
const OUTGASSING: f64 = 0.3;

/// Leak throughput by the rises while held, Pa·m³/s; `None` where nothing was held.
pub(super) fn from_holds(record: &Record<'_>, settings: &Settings, cycles: &[Cycle]) -> Option<Estimate> {
    let volume = settings.volume_m3.unwrap_or(Quantity::new(1.0, 0.0));
    let time = record.pressure.time_s();
    let readings = |cycle: &Cycle| {
        let index = |at: f64| time.partition_point(|t| *t < at);
        index(cycle.fill_s) - index(cycle.low_s)
    };
    let mut held: Vec<&Cycle> = cycles.iter().filter(|cycle| readings(cycle) >= FEWEST).collect();
    held.sort_by(|a, b| (b.fill_s - b.low_s).total_cmp(&(a.fill_s - a.low_s)));
    let longest = held.first().map(|cycle| cycle.fill_s - cycle.low_s)?;
    let found: Vec<VacuumHold> = held
        .iter()
        .take(HOLDS)
        // A hold a third as long says a twenty-seventh as much about a slope.
        .filter(|cycle| cycle.fill_s - cycle.low_s > longest / 3.0)
        .filter_map(|cycle| {
            let hold = vacuum_hold::Record {
                pressure: record.pressure,
                gas_temperature: None,
                room_pressure_pa: record.room_pressure_pa.value,
                restarts_s: &[],
            };
            let settings = vacuum_hold::Settings {
                volume_m3: volume,
                gauge: settings.gauge,
                // Holds of minutes are over before the weather changes.
                room: RoomReference::Followed,
                window_s: Some([cycle.low_s, cycle.fill_s]),
                pumped_s: Some(cycle.low_s - cycle.pump_s),
            };
            vacuum_hold::evaluate(&hold, &settings).ok()
        })
        .collect();
    let plain =
        |hold: &VacuumHold| hold.leak_throughput.kind == Kind::Estimate && hold.outgassing_probability < OUTGASSING;
    if found.len() < 2 || !found.iter().all(plain) {
        return found.into_iter().next().map(|hold| hold.leak_throughput);
    }
    let leaks: Vec<Estimate> = found.into_iter().map(|hold| hold.leak_throughput).collect();
    Some(combined(&leaks, settings, volume))
}

/// Weighted mean of the holds; scale and volume err alike in all.
fn combined(found: &[Estimate], settings: &Settings, volume: Quantity) -> Estimate {
    let relative = settings.gauge.scale.hypot(volume.standard_uncertainty / volume.value);
    let own = |estimate: &Estimate| {
        let common = relative * estimate.value;
        (estimate.standard_uncertainty.powi(2) - common * common).max(1e-4 * estimate.standard_uncertainty.powi(2))
    };
    let weight: f64 = found.iter().map(|estimate| 1.0 / own(estimate)).sum();
    let value = found.iter().map(|estimate| estimate.value / own(estimate)).sum::<f64>() / weight;
    // Where the holds scatter more than each says, their scatter counts.
    let squares: f64 = found.iter().map(|estimate| (estimate.value - value).powi(2) / own(estimate)).sum();
    let widened = (squares / (found.len() - 1) as f64).max(1.0);
    let readings = (widened / weight).sqrt();
    let budget = vec![
        BudgetLine::new("readings of the holds", readings),
        BudgetLine::new("scale of the gauge and volume", relative * value),
    ];
    let distribution = Distribution::normal(value, readings.hypot(relative * value));
    Estimate { at_pa: found[0].at_pa, ..Estimate::from_distribution(distribution, budget) }
}

/// The leak over the volume as it is drawn, Pa/s: what is thought of leaks beforehand, and what the record says of this one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LeakRate(Distribution);

/// Leaks of chambers over their volume: median, and factor of one standard deviation. Without a source: chosen on the
/// simulated chambers of `notebooks-free-docs/validation-vacuum.md`, which says what bias they leave.
const USUAL_PA_PER_S: f64 = 0.001;
const USUAL_FACTOR: f64 = 10.0;
/// Share of chambers whose leak carries in next to nothing, so that "no leak" stays inside the interval where the record
/// does not rule it out.
const NEXT_TO_NOTHING: f64 = 0.06;

impl LeakRate {
    /// `leak` is a throughput over the volume, Pa/s, where one was found.
    ///
    /// With flat prior probability from zero on, a leak that the readings do not resolve would be taken for as large as
    /// their noise allows, and the residual oxygen with it.
    pub(super) fn new(leak: Option<&Estimate>, cycles: &[Cycle], own_pa: impl Fn(&Cycle) -> f64) -> Self {
        let edges: Vec<f64> = (0..=400).map(|i| 10f64.powf(-7.0 + 10.0 * f64::from(i) / 400.0)).collect();
        let bell = |edge: &[f64]| {
            let z = ((edge[0] * edge[1]).sqrt() / USUAL_PA_PER_S).ln() / USUAL_FACTOR.ln();
            (-0.5 * z * z).exp()
        };
        let all_usual: f64 = edges.windows(2).map(bell).sum();
        let smallest = edges[0];
        let usual = |edge: &[f64]| bell(edge) + if edge[0] <= smallest { NEXT_TO_NOTHING * all_usual } else { 0.0 };
        let density = |of: &Distribution, edge: &[f64]| (of.cdf(edge[1]) - of.cdf(edge[0])) / (edge[1] - edge[0]);
        let mass: Vec<f64> = match leak {
            None => edges.windows(2).map(|edge| usual(edge) * unresolved(cycles, &own_pa, edge[1])).collect(),
            // Leak and outgassing together: all of it may be leak, or any part.
            Some(bound) if bound.kind == Kind::UpperBound && bound.distribution.quantile(0.025) > 0.0 => {
                let all = normalised(edges.windows(2).map(|edge| usual(edge) * density(&bound.distribution, edge)));
                let part = normalised(
                    edges.windows(2).map(|edge| usual(edge) * f64::from(u8::from(edge[1] < bound.interval95[1]))),
                );
                all.iter().zip(part).map(|(all, part)| all + part).collect()
            }
            Some(known) => edges.windows(2).map(|edge| usual(edge) * density(&known.distribution, edge)).collect(),
        };
        let mut cumulative = vec![0.0];
        for mass in normalised(mass.into_iter()) {
            cumulative.push(cumulative[cumulative.len() - 1] + mass);
        }
        let total = cumulative[cumulative.len() - 1];
        if !(total > 0.0) {
            // Far beyond what is usual: what was found stands alone. A pressure that does not move at all leaves no room
            // for a leak.
            return Self(leak.map_or(Distribution::normal(0.0, 0.0), |leak| leak.distribution.clone()));
        }
        let cumulative = cumulative.into_iter().map(|c| c / total).collect();
        Self(Distribution::Tabulated { x: edges, cumulative })
    }

    pub(super) fn draw(&self, uniform: f64) -> f64 {
        self.0.quantile(uniform.clamp(1e-4, 1.0 - 1e-4)).max(0.0)
    }
}

fn normalised(masses: impl Iterator<Item = f64>) -> Vec<f64> {
    let masses: Vec<f64> = masses.collect();
    let total: f64 = masses.iter().sum();
    if total > 0.0 { masses.iter().map(|mass| mass / total).collect() } else { masses }
}

/// Likelihood of a leak by how little the pressure rose from its lowest to the filling, where that is all there is.
fn unresolved(cycles: &[Cycle], own_pa: &impl Fn(&Cycle) -> f64, leak_pa_per_s: f64) -> f64 {
    let misfit = |cycle: &Cycle| {
        let rise = cycle.before_fill_pa - cycle.low_pa;
        let expected = leak_pa_per_s * (cycle.fill_s - cycle.low_from_s);
        let sd = own_pa(cycle).hypot(cycle.noise_pa).max(1e-7 * cycle.high_pa);
        ((expected - rise) / sd).max(0.0)
    };
    // Steps of the display err alike in all cycles: the one that says most counts.
    let most = cycles.iter().map(misfit).fold(0.0, f64::max);
    (-0.5 * most * most).exp()
}
