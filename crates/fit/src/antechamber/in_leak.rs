//! What leaks into the chamber: from its holds, or from how little its pressure rose.

use super::{Cycle, Record, Settings};
use crate::ppm_rise::Quantity;
use crate::uncertainty::Distribution;
use crate::vacuum_hold::{self, Note, RoomReference, VacuumHold};
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
    let plain = |hold: &VacuumHold| {
        let leak = hold.leak_throughput.kind == Kind::Estimate || hold.notes.contains(&Note::BelowResolution);
        leak && hold.outgassing_probability < OUTGASSING
    };
    if found.len() < 2 || !found.iter().all(plain) {
        return found.into_iter().next().map(|hold| hold.leak_throughput);
    }
    let leaks: Vec<Estimate> = found.into_iter().map(|hold| hold.leak_throughput).collect();
    Some(combined(&leaks, settings, volume))
}

/// Weighted mean of the holds; scale and volume err alike in all, and what walls may give off is no less in the mean than
/// in each.
fn combined(found: &[Estimate], settings: &Settings, volume: Quantity) -> Estimate {
    let relative = settings.gauge.scale.hypot(volume.standard_uncertainty / volume.value);
    // The part above the median is free of walls, which only draw the lower end down.
    let own = |estimate: &Estimate| {
        let above = (estimate.distribution.quantile(0.975) - estimate.middle()) / 1.96;
        let common = relative * estimate.middle();
        (above.powi(2) - common * common).max(1e-4 * above.powi(2))
    };
    let weight: f64 = found.iter().map(|estimate| 1.0 / own(estimate)).sum();
    let mean = |of: &dyn Fn(&Estimate) -> f64| found.iter().map(|e| of(e) / own(e)).sum::<f64>() / weight;
    let value = mean(&Estimate::middle);
    // Where the holds scatter more than each says, their scatter counts.
    let squares: f64 = found.iter().map(|estimate| (estimate.middle() - value).powi(2) / own(estimate)).sum();
    let widened = (squares / (found.len() - 1) as f64).max(1.0);
    let readings = (widened / weight).sqrt();
    // Lower ends that noise alone explains come closer to each other with every hold; what is left is the walls'.
    let below = |e: &Estimate| {
        let noise = 1.96 * own(e).sqrt().hypot(relative * e.middle());
        (e.middle() - noise - e.distribution.quantile(0.025)).max(0.0)
    };
    let walls = mean(&below);
    let plain = Distribution::normal(value, readings.hypot(relative * value));
    let ends = [0.025, 0.975].map(|p| plain.quantile(p));
    let budget = vec![
        BudgetLine::new("readings of the holds", readings),
        BudgetLine::new("scale of the gauge and volume", relative * value),
        BudgetLine::new("walls that were pumped on only just before", walls / 1.96),
    ];
    let budget = budget.into_iter().filter(|line| line.standard_uncertainty > 0.0).collect();
    let mut estimate = Estimate::from_distribution(plain.reaching([ends[0] - walls, ends[1]]), budget);
    if estimate.interval95[0] <= 0.0 {
        estimate.interval95[1] = ends[1].max(ends[1] - value);
        estimate = estimate.into_upper_bound();
    }
    Estimate { at_pa: found[0].at_pa, ..estimate }
}

/// The leak over the volume as it is drawn, Pa/s: what the record says of it, flat before that, and not negative.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LeakRate(Distribution);

/// Probability of no leak at all where the record does not rule it out, so that "no leak" stays inside the interval.
const NONE_AT_ALL: f64 = 0.06;

impl LeakRate {
    /// `leak` is a throughput over the volume, Pa/s, where one was found; `own_pa` and `common_pa` are standard
    /// uncertainties of the lowest pressures, of each its own and common to all.
    pub(super) fn new(
        leak: Option<&Estimate>,
        cycles: &[Cycle],
        own_pa: impl Fn(&Cycle) -> f64,
        common_pa: f64,
    ) -> Self {
        let edges: Vec<f64> = (0..=500).map(|i| 10f64.powf(-7.0 + 10.0 * f64::from(i) / 500.0)).collect();
        let between = |of: &Distribution, edge: &[f64]| of.cdf(edge[1]) - of.cdf(edge[0]);
        let mass: Vec<f64> = match leak {
            None => {
                let width = |edge: &[f64]| edge[1] - edge[0];
                edges.windows(2).map(|edge| width(edge) * unresolved(cycles, &own_pa, common_pa, edge[1])).collect()
            }
            // Leak and outgassing together: all of it may be leak, or any part.
            Some(bound) if bound.kind == Kind::UpperBound && bound.distribution.quantile(0.025) > 0.0 => {
                let all = normalised(edges.windows(2).map(|edge| between(&bound.distribution, edge)));
                let top = bound.interval95[1];
                let part = normalised(edges.windows(2).map(|edge| edge[1].min(top) - edge[0].min(top)));
                all.iter().zip(part).map(|(all, part)| all + part).collect()
            }
            Some(known) => edges.windows(2).map(|edge| between(&known.distribution, edge)).collect(),
        };
        let resolved = leak.is_some_and(|leak| leak.kind == Kind::Estimate);
        let mass = normalised(mass.into_iter());
        if !(mass.iter().sum::<f64>() > 0.0) {
            // So far below zero that nothing is left above: a pressure that does not move at all leaves no room for a leak.
            return Self(Distribution::normal(leak.map_or(0.0, |leak| leak.middle().max(0.0)), 0.0));
        }
        let none = if resolved { 0.0 } else { NONE_AT_ALL };
        let mut cumulative = vec![none];
        for mass in mass {
            cumulative.push(cumulative[cumulative.len() - 1] + (1.0 - none) * mass);
        }
        Self(Distribution::Tabulated { x: edges, cumulative })
    }

    /// No leak.
    pub(super) fn none() -> Self {
        Self(Distribution::normal(0.0, 0.0))
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
///
/// A leak keeps up a pressure of its own against the pump: none can have carried in more, in one time constant of the
/// pumping, than was left at the lowest pressure.
fn unresolved(cycles: &[Cycle], own_pa: &impl Fn(&Cycle) -> f64, common_pa: f64, leak_pa_per_s: f64) -> f64 {
    let misfit = |cycle: &Cycle| {
        let own = own_pa(cycle).max(1e-7 * cycle.high_pa);
        let [rise, uncertainty] = cycle.line_rise_pa;
        // Where nothing rises, the chamber is taken as isolated from when it was as low as it got.
        let expected = leak_pa_per_s * (cycle.fill_s - cycle.low_from_s);
        let highest = cycle.low_pa.max(0.0) + 2.0 * own.hypot(common_pa);
        let decades = (cycle.high_pa / highest).max(std::f64::consts::E).ln();
        let time_constant_s = (cycle.low_from_s - cycle.pump_s) / decades;
        if leak_pa_per_s * time_constant_s > highest {
            return f64::INFINITY;
        }
        ((expected - rise) / own.hypot(uncertainty)).max(0.0)
    };
    // Steps of the display err alike in all cycles: the one that says most counts.
    let most = cycles.iter().map(misfit).fold(0.0, f64::max);
    (-0.5 * most * most).exp()
}
