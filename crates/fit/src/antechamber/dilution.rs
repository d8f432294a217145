//! Draws of the residual oxygen from everything that errs (JCGM 101), pressures being positive.

use super::in_leak::LeakRate;
use super::{Cycle, Settings};
use crate::simulate::Random;
use statrs::distribution::{ContinuousCDF, Normal};

/// Which errors are drawn; the others stay at their best values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Source {
    All,
    Gauge,
    Readings,
    Leak,
    Supply,
    Temperature,
}

/// The amount of gas goes with p/T, and gas is cold after pumping and warm after filling: relative standard uncertainty of
/// the ratio of a cycle, common to all.
const GAS_TEMPERATURE: f64 = 0.01;
/// Most cycles that a target may need.
const MOST_CYCLES: usize = 60;

/// Cycles with what errs in them.
pub(super) struct Dilution<'a> {
    pub cycles: &'a [Cycle],
    pub settings: &'a Settings,
    pub room_pa: f64,
    pub room_uncertainty_pa: f64,
    /// Leak over volume.
    pub leak: LeakRate,
    /// Time between readings, s.
    pub cadence_s: f64,
}

/// One draw: weight, oxygen after each cycle, what of it came by leak and by supply, and a mean cycle.
#[derive(Debug, Clone)]
pub(super) struct Draw {
    pub weight: f64,
    pub oxygen: Vec<f64>,
    pub leaked: f64,
    pub supplied: f64,
    /// Share left by a mean cycle, and oxygen that it adds.
    pub mean_cycle: [f64; 2],
}

impl Draw {
    /// Cycles until the target is met; `None` where it never is.
    pub(super) fn cycles_to(&self, start: f64, target: f64) -> Option<usize> {
        let mut oxygen = start;
        (1..=MOST_CYCLES).find(|_| {
            oxygen = self.mean_cycle[0] * oxygen + self.mean_cycle[1];
            oxygen <= target
        })
    }
}

impl Dilution<'_> {
    /// Standard uncertainty of a pressure near full vacuum that is common to all cycles, Pa.
    pub(super) fn common_pa(&self) -> f64 {
        let gauge = &self.settings.gauge;
        if self.settings.from_room {
            gauge.zero.hypot(self.room_uncertainty_pa).hypot(gauge.scale * self.room_pa)
        } else {
            // The scale of an absolute gauge cancels between low and high.
            gauge.zero
        }
    }

    /// Lowest pressure over its standard uncertainty, of the worst cycle.
    pub(super) fn significance(&self) -> f64 {
        let of = |cycle: &Cycle| cycle.low_pa / self.common_pa().hypot(own_pa(self.settings, cycle)).max(1e-300);
        self.cycles.iter().map(of).fold(f64::INFINITY, f64::min)
    }

    /// `count` weighted draws; the common error is at least `least_common_pa`.
    pub(super) fn draws(&self, count: usize, source: Source, least_common_pa: f64) -> Vec<Draw> {
        let mut random = Random::new(20_260_504);
        (0..count).map(|_| self.draw(&mut random, source, least_common_pa)).collect()
    }

    fn draw(&self, random: &mut Random, source: Source, least_common_pa: f64) -> Draw {
        let on = |one: Source| f64::from(u8::from(source == Source::All || source == one));
        let common_pa = self.common_pa().max(least_common_pa) * on(Source::Gauge);
        let readings = on(Source::Readings);
        // Steps of a display that show the same number in every cycle hide the same error.
        let shared_step = random.uniform(-0.5, 0.5);
        let lows: Vec<f64> = self.cycles.iter().map(|cycle| self.low(cycle, shared_step, readings, random)).collect();
        let lowest = lows.iter().copied().fold(f64::INFINITY, f64::min);
        let (error, weight) = above(-lowest, common_pa, random.uniform(0.0, 1.0));
        let high_error =
            self.settings.gauge.zero.hypot(if self.settings.from_room { self.room_uncertainty_pa } else { 0.0 })
                * on(Source::Gauge)
                * random.normal();
        let leak = match source {
            Source::All | Source::Leak => self.leak.draw(random.uniform(0.0, 1.0)),
            _ => self.leak.draw(0.5),
        };
        // Between the last reading under vacuum and the filling goes up to one interval.
        let unseen_s = random.uniform(0.0, 1.0) * self.cadence_s * on(Source::Readings);
        // A leak is like a capillary or like an orifice, and the pump was shut off at some time while the pressure was lowest.
        let [law, shut] = match source {
            Source::All | Source::Leak => [random.uniform(0.0, 1.0).round(), random.uniform(0.0, 1.0)],
            _ => [0.5; 2],
        };
        let supply = self.settings.supply_oxygen;
        let supply = (supply.value + supply.standard_uncertainty * on(Source::Supply) * random.normal()).max(0.0);
        let temperature = 1.0 + GAS_TEMPERATURE * on(Source::Temperature) * random.normal();
        let mut draw = Draw { weight, oxygen: Vec::new(), leaked: 0.0, supplied: 0.0, mean_cycle: [0.0; 2] };
        let mut oxygen = self.settings.room_oxygen;
        let mut log_left = 0.0;
        for (cycle, low) in self.cycles.iter().zip(lows) {
            let low = (low + error).max(1e-6) * temperature;
            let high = (self.high(cycle, random, readings) + high_error).max(low);
            let step =
                CycleStep::new(cycle, [low, high], leak, [law, shut * (cycle.low_s - cycle.low_from_s), unseen_s]);
            let (leaked, supplied) = (self.settings.room_oxygen * step.leaked, supply * step.filled);
            oxygen = (step.left * oxygen + leaked + supplied).min(self.settings.room_oxygen);
            draw.leaked = step.left * draw.leaked + leaked;
            draw.supplied = step.left * draw.supplied + supplied;
            log_left += step.left.max(1e-300).ln();
            draw.mean_cycle[1] += (leaked + supplied) / self.cycles.len() as f64;
            draw.oxygen.push(oxygen);
        }
        draw.mean_cycle[0] = (log_left / self.cycles.len() as f64).exp();
        draw
    }

    /// Lowest pressure of a cycle without the error that is common to all.
    fn low(&self, cycle: &Cycle, shared_step: f64, on: f64, random: &mut Random) -> f64 {
        let resolution = self.settings.gauge.resolution;
        let rounding = if cycle.noise_pa < 0.5 * resolution { resolution * shared_step } else { 0.0 };
        let noise = cycle.noise_pa / (cycle.low_readings as f64).sqrt() * random.normal();
        let unseen = cycle.unseen_fall.map_or(0.0, |(fall, ratio)| {
            let share = random.uniform(0.0, 1.0);
            fall * ratio * (1.0 - ratio.powf(share)) / (1.0 - ratio)
        });
        let low = cycle.low_pa + on * (rounding + noise) - unseen;
        // What falls on unseen does not fall below nothing.
        if unseen > 0.0 { low.max(0.02 * cycle.low_pa) } else { low }
    }

    /// Pressure after the filling; of one or two readings the top may have been missed.
    fn high(&self, cycle: &Cycle, random: &mut Random, on: f64) -> f64 {
        let highest = self.cycles.iter().map(|cycle| cycle.high_pa).fold(0.0, f64::max);
        let missed = if cycle.high_readings < 3 { (highest - cycle.high_pa) * random.uniform(0.0, 1.0) } else { 0.0 };
        cycle.high_pa + on * missed
    }
}

/// Standard uncertainty of the lowest pressure of a cycle from its own readings, Pa.
pub(super) fn own_pa(settings: &Settings, cycle: &Cycle) -> f64 {
    let resolution = settings.gauge.resolution;
    let rounding = if cycle.noise_pa < 0.5 * resolution { resolution / 12.0_f64.sqrt() } else { 0.0 };
    (cycle.noise_pa / (cycle.low_readings as f64).sqrt()).hypot(rounding)
}

/// What one cycle does to the oxygen.
struct CycleStep {
    /// Share of the mole fraction that is left.
    left: f64,
    /// Air that leaked in, over the amount of gas at the end.
    leaked: f64,
    /// Backfill gas, over the amount of gas at the end.
    filled: f64,
}

impl CycleStep {
    /// While the pump runs, what leaks in is drawn out again with everything else: the air in the chamber nears the
    /// pressure itself, it does not grow for ever.
    fn new(cycle: &Cycle, [low, high]: [f64; 2], leak: f64, [law, until_shut_s, unseen_s]: [f64; 3]) -> Self {
        let between = |[capillary, orifice]: [f64; 2]| capillary + law * (orifice - capillary);
        let pumped = leak * (between(cycle.pumping_exposure_s) + until_shut_s);
        let swept = pumped / low;
        let held = leak * (cycle.fill_s - cycle.low_from_s - until_shut_s + unseen_s);
        let rise = cycle.before_fill_pa - cycle.low_pa;
        let before = low + rise;
        let swept_later = (held - rise).max(0.0) / before;
        let keep = (-swept_later).exp();
        let air = pumped * mean_decay(swept) * keep + held * mean_decay(swept_later);
        let filling = leak * between(cycle.filling_exposure_s);
        Self {
            left: low * (-swept).exp() * keep / high,
            leaked: (air + filling) / high,
            filled: ((high - before - filling) / high).max(0.0),
        }
    }
}

/// (1 − e^(−k))/k.
fn mean_decay(k: f64) -> f64 {
    if k < 1e-6 { 1.0 - 0.5 * k } else { -(-k).exp_m1() / k }
}

/// A normal error with the given standard deviation that lies above `floor`, and the probability that one does.
fn above(floor: f64, sd: f64, uniform: f64) -> (f64, f64) {
    if sd <= 0.0 {
        return (0.0, f64::from(u8::from(floor < 0.0)));
    }
    let normal = Normal::standard();
    let above = normal.sf(floor / sd);
    if above < 1e-280 {
        return (floor, 0.0);
    }
    // From the upper tail, where small probabilities are exact.
    let z = -normal.inverse_cdf((uniform * above).max(1e-300));
    ((sd * z).max(floor), above)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_truncated_error_stays_above_its_floor() {
        for floor in [-3.0, 0.0, 4.0, 20.0] {
            let (error, weight) = above(floor, 1.0, 0.7);
            assert!(error >= floor && (0.0..=1.0).contains(&weight), "{floor} {error} {weight}");
        }
    }
}
