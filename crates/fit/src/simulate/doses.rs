//! Simulated log of an enclosure with purification on: doses that come down, seen by a lagging analyser.

use super::Random;

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
    /// One dose of 60 ppm on a floor of 0.6 ppm, half a minute after the start, read every 5 s with 0.05 ppm and 1 %.
    pub fn one(time_constant_s: f64, lag_over_tau: f64, length_over_tau: f64) -> Self {
        Self {
            duration_s: 30.0 + length_over_tau * time_constant_s,
            cadence_s: 5.0,
            time_constant_s: [time_constant_s, 0.0],
            half_load_ppm: f64::INFINITY,
            floor_ppm: 0.6,
            doses: vec![Dose { at_s: 30.0, amount_ppm: 60.0, lasting_s: 0.0 }],
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
        let fine = (self.cadence_s / self.longest_step_s()).ceil().max(1.0);
        let step_s = self.cadence_s / fine;
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

    fn longest_step_s(&self) -> f64 {
        let fastest =
            [self.lag_s, self.mixing_s].into_iter().filter(|t| *t > 0.0).fold(self.time_constant_s[0], f64::min);
        fastest / 40.0
    }

    fn removed(&self, above: f64, time_s: f64, step_s: f64) -> f64 {
        above * (-step_s / self.time_constant_at(time_s) / (1.0 + above / self.half_load_ppm)).exp()
    }

    /// Cramér-Rao bound on the time constant of the first dose, as a standard deviation in s: white noise of known size, dose
    /// and floor free, the analyser's time constant known to `lag_relative` where there is a lag. With `from_s` only
    /// readings from then on count, and where the reading stood at that time is free as well.
    pub fn cramer_rao_s(&self, lag_relative: f64, from_s: Option<f64>) -> f64 {
        let (time_s, exact) = self.exact();
        let kept = time_s.partition_point(|&t| t < from_s.unwrap_or(f64::NEG_INFINITY));
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let mut vary = |change: &dyn Fn(&mut Self, f64)| {
            let half = 1e-3;
            let varied = |by: f64| {
                let mut log = self.clone();
                change(&mut log, by);
                log.exact().1
            };
            columns
                .push(varied(half).iter().zip(varied(-half)).skip(kept).map(|(a, b)| (a - b) / (2.0 * half)).collect());
        };
        // The steps of the calculation are fixed by the time constants; all variations are relative.
        vary(&|log, d| log.time_constant_s[0] *= 1.0 + d);
        vary(&|log, d| log.doses[0].amount_ppm *= 1.0 + d);
        vary(&|log, d| log.floor_ppm += d);
        if self.lag_s > 0.0 {
            vary(&|log, d| log.lag_s *= 1.0 + d);
            if let Some(from_s) = from_s {
                columns.push(time_s[kept..].iter().map(|t| (-(t - from_s) / self.lag_s).exp()).collect());
            }
        }
        let variance =
            |x: &f64| self.noise[0].powi(2) + (self.noise[1] * x).powi(2) + self.resolution_ppm.powi(2) / 12.0;
        let weights: Vec<f64> = exact[kept..].iter().map(|x| 1.0 / variance(x).sqrt()).collect();
        let rows = weights.len();
        let mut scaled = nalgebra::DMatrix::zeros(rows + 1, columns.len());
        for (j, column) in columns.iter().enumerate() {
            for (i, value) in column.iter().enumerate() {
                scaled[(i, j)] = value * weights[i];
            }
        }
        if self.lag_s > 0.0 {
            scaled[(rows, 3)] = 1.0 / lag_relative;
        }
        let identity = nalgebra::DMatrix::identity(columns.len(), columns.len());
        let relative =
            scaled.qr().r().solve_upper_triangular(&identity).map_or(f64::NAN, |inverse| inverse.row(0).norm());
        relative * self.time_constant_s[0]
    }
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
