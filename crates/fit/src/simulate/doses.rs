//! Simulated log of an enclosure with purification on: doses that come down, seen by a lagging analyser.

use super::Random;
use crate::noise::{NoiseModel, OrnsteinUhlenbeck, whiten};

/// A dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// When it begins, s.
    pub at_s: f64,
    /// Rise of the content if it were given at once, ppm.
    pub amount_ppm: f64,
    /// How long it is fed in at a steady rate, s; 0 for at once.
    pub lasting_s: f64,
}

/// What happens in a simulated log, and how it is seen. Contents in ppm, times in s.
#[derive(Debug, Clone, PartialEq)]
pub struct Doses {
    /// Length of the log.
    pub duration_s: f64,
    /// Time between readings.
    pub cadence_s: f64,
    /// Time constant of the gas at the start of the log and its relative change per day.
    pub time_constant_s: [f64; 2],
    /// Part by which the removal is slower at a high content: it is divided by 1 + x/this; infinite for none.
    pub half_load_ppm: f64,
    /// Content with purification on and nothing dosed.
    pub floor_ppm: f64,
    /// The doses, in order of time.
    pub doses: Vec<Dose>,
    /// Time constant with which a dose mixes into the gas; 0 for at once.
    pub mixing_s: f64,
    /// Time constant of the analyser; 0 for none.
    pub lag_s: f64,
    /// Noise of a reading: floor in ppm and part relative to the content.
    pub noise: [f64; 2],
    /// Correlated noise: standard deviation in ppm and memory in s.
    pub wander: [f64; 2],
    /// Drift of the analyser's zero, ppm/day.
    pub drift_ppm_per_day: f64,
    /// Step of the readings in ppm; 0 for none.
    pub resolution_ppm: f64,
}

impl Doses {
    /// One dose of 60 ppm on a floor of 0.6 ppm, two minutes after the start, read every 5 s with 0.05 ppm and 1 %.
    pub fn one(time_constant_s: f64, lag_over_tau: f64, length_over_tau: f64) -> Self {
        Self {
            duration_s: 120.0 + length_over_tau * time_constant_s,
            cadence_s: 5.0,
            time_constant_s: [time_constant_s, 0.0],
            half_load_ppm: f64::INFINITY,
            floor_ppm: 0.6,
            doses: vec![Dose { at_s: 120.0, amount_ppm: 60.0, lasting_s: 0.0 }],
            mixing_s: 0.0,
            lag_s: lag_over_tau * time_constant_s,
            noise: [0.05, 0.01],
            wander: [0.0, 600.0],
            drift_ppm_per_day: 0.0,
            resolution_ppm: 0.0,
        }
    }

    /// Time constant at a time, s.
    pub fn time_constant_at(&self, time_s: f64) -> f64 {
        self.time_constant_s[0] * (self.time_constant_s[1] * time_s / 86_400.0).exp()
    }

    /// Draws readings, as mole fractions.
    pub fn simulate(&self, seed: u64) -> (Vec<f64>, Vec<f64>) {
        let mut random = Random::new(seed);
        let (time_s, exact) = self.exact();
        let [floor, relative] = self.noise;
        let mut wander = self.wander[0] * random.normal();
        let reading = exact
            .iter()
            .zip(&time_s)
            .map(|(x, t)| {
                wander = random.ornstein_uhlenbeck(wander, self.wander[0], self.wander[1], self.cadence_s);
                let drift = self.drift_ppm_per_day * t / 86_400.0;
                let noisy = x + wander + drift + floor.hypot(relative * x) * random.normal();
                let step = self.resolution_ppm;
                1e-6 * if step > 0.0 { (noisy / step).round() * step } else { noisy }
            })
            .collect();
        (time_s, reading)
    }

    /// Times in s and what the analyser shows without noise, drift and rounding, in ppm. At the start gas and reading stand
    /// at the floor.
    pub fn exact(&self) -> (Vec<f64>, Vec<f64>) {
        let readings = (self.duration_s / self.cadence_s).floor() as usize + 1;
        let step_s = self.step_s();
        let fine = (self.cadence_s / step_s).round();
        let (mut unmixed, mut above, mut shown) = (0.0, 0.0, 0.0);
        let (mut time_s, mut exact) = (Vec::with_capacity(readings), Vec::with_capacity(readings));
        let mut next = 0;
        for reading in 0..readings {
            time_s.push(reading as f64 * self.cadence_s);
            exact.push(self.floor_ppm + shown);
            for sub in 0..fine as usize {
                let t = reading as f64 * self.cadence_s + sub as f64 * step_s;
                while next < self.doses.len() && self.doses[next].ends_s() <= t - step_s {
                    next += 1;
                }
                let (at_once, steady) = self.doses[next..].iter().fold((0.0, 0.0), |(once, steady), dose| {
                    let fed = dose.fed_between(t, t + step_s);
                    if dose.lasting_s > 0.0 { (once, steady + fed) } else { (once + fed, steady) }
                });
                // Half of what is fed in steadily acts before the step and half after it: exact to second order.
                let early = at_once + 0.5 * steady;
                let mixed = if self.mixing_s > 0.0 {
                    let mixed = (unmixed + early) * (-(-step_s / self.mixing_s).exp_m1());
                    unmixed += early + 0.5 * steady - mixed;
                    [0.5 * mixed, 0.5 * mixed]
                } else {
                    [early, 0.5 * steady]
                };
                let before = above + mixed[0];
                above = self.removed(before, t, step_s) + mixed[1];
                shown = if self.lag_s > 0.0 {
                    let middle = 0.5 * (before + above);
                    middle + (shown - middle) * (-step_s / self.lag_s).exp()
                } else {
                    above
                };
            }
        }
        (time_s, exact)
    }

    /// Step of the simulation, s: a whole part of the time between readings.
    fn step_s(&self) -> f64 {
        let fastest =
            [self.lag_s, self.mixing_s].into_iter().filter(|t| *t > 0.0).fold(self.time_constant_s[0], f64::min);
        self.cadence_s / (self.cadence_s / (fastest / 40.0)).ceil().max(1.0)
    }

    fn removed(&self, above: f64, time_s: f64, step_s: f64) -> f64 {
        above * (-step_s / self.time_constant_at(time_s) / (1.0 + above / self.half_load_ppm)).exp()
    }

    /// Cramér-Rao bound on the time constant of the first dose, as a standard deviation in s: noise of known size and memory,
    /// steps of the display as they are, dose, floor and the content before the dose free, the analyser's time constant known
    /// to `lag_relative` where there is a lag. Nobody notes to the second how a dose was given: its moment, and its length and
    /// mixing where it has any, are free as well; where it has none and a lag smears it, by how much it was drawn out.
    ///
    /// With `from_s` only readings from then on count, and where the reading stood at that time is free instead of what went
    /// before. Readings below `reporting_limit_ppm` count as bounds.
    pub fn cramer_rao_s(&self, lag_relative: f64, from_s: Option<f64>, reporting_limit_ppm: Option<f64>) -> f64 {
        let (time_s, exact) = self.exact();
        let kept = time_s.partition_point(|&t| t < from_s.unwrap_or(f64::NEG_INFINITY));
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let mut vary = |half: f64, change: &dyn Fn(&mut Self, f64)| {
            let varied = |by: f64| {
                let mut log = self.clone();
                change(&mut log, by);
                log.exact().1
            };
            let pairs = varied(half).into_iter().zip(varied(-half)).skip(kept);
            columns.push(pairs.map(|(a, b)| (a - b) / (2.0 * half)).collect());
        };
        vary(1e-3, &|log, d| log.time_constant_s[0] *= 1.0 + d);
        vary(1e-3, &|log, d| log.doses[0].amount_ppm *= 1.0 + d);
        vary(1e-3, &|log, d| log.floor_ppm += d);
        if self.lag_s > 0.0 {
            vary(1e-3, &|log, d| log.lag_s *= 1.0 + d);
        }
        // Where nothing smears it a dose shows as a jump, whose moment no reading tells from its size; nor do readings of which
        // those before are censored.
        let censored = reporting_limit_ppm.is_some_and(|limit| limit > self.floor_ppm);
        if from_s.is_none() && !censored && (self.lag_s > 0.0 || self.mixing_s > 0.0) {
            // Half a step off the grid, so that rounding puts no dose into the step beside it.
            let step_s = self.step_s();
            let moved = |log: &mut Self, by_s: f64| log.doses[0].at_s += 0.5 * step_s + by_s;
            vary(step_s, &moved);
        }
        if from_s.is_none() && self.mixing_s > 0.0 {
            vary(0.1 * self.mixing_s, &|log, d| log.mixing_s += d);
        }
        if from_s.is_none() && self.doses[0].lasting_s > 0.0 {
            vary(0.1 * self.doses[0].lasting_s, &|log, d| log.doses[0].lasting_s += d);
        }
        // To first order a short mixing is a later moment; what is left over is the spread about it.
        if from_s.is_none() && self.mixing_s <= 0.0 && self.doses[0].lasting_s <= 0.0 && self.lag_s > 0.0 {
            let spread = Self { mixing_s: 0.2 * self.lag_s, ..self.clone() };
            let spread = spread.exact().1;
            columns.push(spread.into_iter().zip(&exact).skip(kept).map(|(spread, at_once)| spread - at_once).collect());
        }
        let fading =
            |origin_s: f64, tau_s: f64| time_s[kept..].iter().map(|t| (-(t - origin_s) / tau_s).exp()).collect();
        match from_s {
            // What the readings before the dose do not show, and no lag tells from it, is part of the dose.
            None if self.lag_s <= 0.0 && censored => {}
            None => columns.push(fading(0.0, self.time_constant_s[0])),
            Some(from_s) if self.lag_s > 0.0 => columns.push(fading(from_s, self.lag_s)),
            Some(_) => {}
        }
        let width = columns.len();
        let mut worth = Vec::with_capacity(exact.len());
        let mut rows = Vec::with_capacity(width * exact.len());
        for (index, x) in exact[kept..].iter().enumerate() {
            let sd = self.noise[0].hypot(self.noise[1] * x);
            let share = reporting_limit_ppm.map_or(1.0, |limit| information_share((limit - x) / sd));
            worth.push(share * rounded_information(*x / sd, self.resolution_ppm / sd) / (sd * sd));
            rows.extend(columns.iter().map(|column| column[index]));
        }
        let noise = NoiseModel {
            white_variance: 1.0,
            correlated: [
                OrnsteinUhlenbeck { variance: self.wander[0].powi(2), memory_s: self.wander[1] },
                OrnsteinUhlenbeck::NONE,
            ],
        };
        let mut information = nalgebra::DMatrix::from_row_slice(
            width,
            width,
            &whiten(&time_s[kept..], &worth, &rows, width, &noise).gram,
        );
        if self.lag_s > 0.0 {
            information[(3, 3)] += lag_relative.powi(-2);
        }
        let inverse = information.cholesky().map(|factor| factor.inverse());
        inverse.map_or(f64::NAN, |inverse| inverse[(0, 0)].sqrt()) * self.time_constant_s[0]
    }
}

/// Fisher information on the mean of a normal reading that is censored below a limit `z` standard deviations above the mean,
/// over that of one that is not.
fn information_share(z: f64) -> f64 {
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let below = 0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2);
    1.0 - below + z * density + density * density / below.max(1e-300)
}

/// Fisher information on the mean of a normal reading of unit standard deviation that is shown in whole steps.
fn rounded_information(mean: f64, step: f64) -> f64 {
    /// Steps this short hide nothing.
    const FINE: f64 = 0.05;
    /// Further from the mean, in standard deviations, there are no readings.
    const REACH: f64 = 8.0;
    if step < FINE {
        return 1.0;
    }
    let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let beyond = |z: f64| 0.5 * statrs::function::erf::erfc(z / std::f64::consts::SQRT_2);
    let shown = |k: f64| {
        let [low, high] = [-0.5, 0.5].map(|half| (k + half) * step - mean);
        // In the tail that both ends lie in, so that no digits are lost.
        let probability = if low > 0.0 { beyond(low) - beyond(high) } else { beyond(-high) - beyond(-low) };
        (density(low) - density(high)).powi(2) / probability.max(1e-300)
    };
    let [first, last] = [-REACH, REACH].map(|z| ((mean + z) / step).round());
    (0..=(last - first) as usize).map(|i| shown(first + i as f64)).sum()
}

impl Dose {
    fn ends_s(&self) -> f64 {
        self.at_s + self.lasting_s
    }

    /// What is fed in between two times, ppm.
    fn fed_between(&self, from_s: f64, to_s: f64) -> f64 {
        if self.lasting_s > 0.0 {
            let overlap = (self.at_s + self.lasting_s).min(to_s) - self.at_s.max(from_s);
            return self.amount_ppm * overlap.max(0.0) / self.lasting_s;
        }
        if (from_s..to_s).contains(&self.at_s) { self.amount_ppm } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_hide_what_the_textbook_says() {
        // A step as long as the noise is one more noise, of a twelfth of its square; of an endless step only the sign is
        // left, which is worth 2/π of a reading (Cox and Hinkley, Theoretical Statistics, 1974, on the sign test; from memory).
        assert!((rounded_information(3.3, 0.01) - 1.0).abs() < 1e-12);
        assert!((rounded_information(3.3, 1.0) - 12.0 / 13.0).abs() < 2e-3);
        assert!((rounded_information(500.0, 1000.0) - 2.0 / std::f64::consts::PI).abs() < 1e-9);
        // In the middle of a long step nothing is told.
        assert!(rounded_information(0.0, 20.0) < 1e-9);
    }

    #[test]
    fn a_bound_is_higher_where_less_is_known() {
        let log = Doses::one(300.0, 0.4, 3.0);
        let plain = log.cramer_rao_s(0.1, None, None);
        let noisier = Doses { noise: [0.1, 0.02], ..log.clone() }.cramer_rao_s(0.1, None, None);
        assert!((1.5..2.05).contains(&(noisier / plain)), "{}", noisier / plain);
        assert!(log.cramer_rao_s(0.2, None, None) > plain);
        assert!(Doses { resolution_ppm: 0.1, ..log.clone() }.cramer_rao_s(0.1, None, None) > plain);
        assert!(log.cramer_rao_s(0.1, Some(270.0), None) > plain);
    }
}
