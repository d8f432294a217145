//! Under which circumstances rows were found.

use super::HOURS_PER_DAY;
use super::transfer::{recent, starts};
use crate::diagnose::dose::Doses;
use crate::diagnose::grid::{Grid, State};
use crate::diagnose::robust::median_in_place;

/// Circumstances of a row.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::diagnose) struct Circumstances {
    /// Mean pressure below that of the room, Pa; 0 where it lies above.
    pub(in crate::diagnose) under_pressure_pa: f64,
    /// Mean pressure above that of the room, Pa.
    pub(in crate::diagnose) over_pressure_pa: f64,
    /// Make-up flow over its mean.
    pub(in crate::diagnose) makeup: f64,
    /// Temperature less its mean, K.
    pub(in crate::diagnose) temperature_k: f64,
    /// Cosine and sine of the time of day.
    pub(in crate::diagnose) day: [f64; 2],
    /// Logarithm of the circulation flow over its median.
    pub(in crate::diagnose) ln_flow: f64,
    /// Logarithm of the room's water over its mean.
    pub(in crate::diagnose) ln_room_water: f64,
    /// Transfers of the last hours over their mean.
    pub(in crate::diagnose) transfers: f64,
    /// What repeats daily or weekly, oxygen and water, relative.
    pub(in crate::diagnose) rhythm: [f64; 2],
}
/// Means that circumstances are counted from.
pub(super) struct Usual {
    pub(super) makeup: f64,
    temperature_k: f64,
    flow: f64,
    room_water: f64,
    /// Transfers of the last hours in each step, over their mean.
    transfers: Vec<f64>,
    /// Make-up flow around each step, over its mean.
    makeup_around: Vec<f64>,
}

impl Usual {
    pub(super) fn new(grid: &Grid, doses: &[Doses; 2]) -> Self {
        let mean = |values: &[f64]| {
            let finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
            finite.iter().sum::<f64>() / finite.len() as f64
        };
        let running = grid.flow.iter().zip(&grid.state).filter(|(flow, state)| **state == State::On && **flow > 0.0);
        let mut running: Vec<f64> = running.map(|(flow, _)| *flow).collect();
        Self {
            makeup: mean(&grid.makeup),
            temperature_k: mean(&grid.temperature),
            flow: median_in_place(&mut running),
            room_water: mean(&grid.room_water),
            transfers: recent(grid, &starts(grid, doses)),
            makeup_around: around(grid, &grid.makeup),
        }
    }

    /// Circumstances over some steps. What was not logged is as usual.
    pub(super) fn over<I: Iterator<Item = usize> + Clone>(&self, grid: &Grid, steps: &I) -> Circumstances {
        let mean = |values: &[f64]| {
            let (sum, count) = steps
                .clone()
                .map(|i| values[i])
                .filter(|value| value.is_finite())
                .fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
            sum / count
        };
        let or = |value: f64, otherwise: f64| if value.is_finite() { value } else { otherwise };
        let under = mean(&grid.under_pressure);
        let (mut cos, mut sin, mut count) = (0.0, 0.0, 0.0);
        for step in steps.clone() {
            let phase = std::f64::consts::TAU * (grid.start_s / 3600.0 + grid.time_h(step)) / HOURS_PER_DAY;
            cos += phase.cos();
            sin += phase.sin();
            count += 1.0;
        }
        Circumstances {
            under_pressure_pa: or(under, 1.0),
            over_pressure_pa: or(mean(&grid.gauge) + under, 0.0).max(0.0),
            makeup: or(mean(&self.makeup_around), 1.0),
            temperature_k: or(mean(&grid.temperature) - self.temperature_k, 0.0),
            day: [cos / count, sin / count],
            ln_flow: or((mean(&grid.flow) / self.flow).ln(), 0.0).clamp(-3.0, 3.0),
            ln_room_water: or((mean(&grid.room_water) / self.room_water).ln(), 0.0).clamp(-2.0, 2.0),
            transfers: or(mean(&self.transfers), 0.0),
            rhythm: [0.0; 2],
        }
    }
}

/// A flow over its mean, averaged over so many steps around each that pulses of a valve do not show: what a cell of
/// floor got would otherwise hang on the few pulses that were caught in it.
fn around(grid: &Grid, flow: &[f64]) -> Vec<f64> {
    const WELL_KNOWN: f64 = 0.1;
    let known: Vec<f64> = flow.iter().copied().filter(|value| value.is_finite()).collect();
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    let squares = known.windows(2).map(|pair| 0.5 * (pair[1] - pair[0]).powi(2)).sum::<f64>() / known.len() as f64;
    let needed = squares / (WELL_KNOWN * mean).powi(2);
    let longest = 0.5 * HOURS_PER_DAY / grid.step_h;
    let reach = (0.5 * needed).min(0.5 * longest) as usize;
    let mut sums = vec![(0.0, 0.0)];
    for value in flow {
        let (sum, count) = sums[sums.len() - 1];
        sums.push(if value.is_finite() { (sum + value, count + 1.0) } else { (sum, count) });
    }
    let each = (0..flow.len()).map(|index| {
        let from = sums[index.saturating_sub(reach)];
        let to = sums[(index + reach + 1).min(flow.len())];
        (to.0 - from.0) / (to.1 - from.1) / mean
    });
    each.collect()
}
