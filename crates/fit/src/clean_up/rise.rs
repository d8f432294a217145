//! The rise of a dose: what it tells of the analyser's response, and of the floor by the content before it.

use super::columns::{DOSE, Law, Shape};
use super::likelihood::{Noise, Rows, Solved};
use super::seen::Seen;
use nalgebra::{DMatrix, DVector};

/// How a dose came in. Times count from the start of the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rise {
    /// When it began to show, s.
    pub at_s: f64,
    /// How long it was fed in, s.
    pub lasting_s: f64,
    /// Time constant with which it mixed into the gas, s.
    pub mixing_s: f64,
    /// Whether a rest of earlier doses is told apart from the floor.
    pub rest: bool,
}

/// When a rise can have begun, s from the start of the window. Without a reading in the rise, moment and amount of a dose
/// are exchangeable, and without these ends nothing would keep the moment inside the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Onset {
    pub earliest_s: f64,
    pub latest_s: f64,
}

impl Onset {
    /// Around the foot of a rise that is over at `end_s`: a lag lets it show late.
    pub(super) fn about(foot_s: f64, end_s: f64, lag_s: f64, cadence_s: f64) -> Self {
        const READINGS: f64 = 5.0;
        Self { earliest_s: foot_s - lag_s - READINGS * cadence_s, latest_s: end_s.max(foot_s) }
    }
}

impl Rise {
    /// Amount that a pure decay with `tau_s` from the start of the window would have to have to end like a unit dose.
    pub(super) fn as_decay_from_start(&self, tau_s: f64) -> f64 {
        let lasting = (self.lasting_s / tau_s).max(1e-6);
        lasting.exp_m1() / lasting / (1.0 - (self.mixing_s / tau_s).min(0.9)) * (self.at_s / tau_s).exp()
    }
}

/// Time constant and rise that fit best with a given response of the analyser.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    pub tau_s: f64,
    pub rise: Rise,
    /// With the prior of the rise.
    pub log_likelihood: f64,
    /// Standard uncertainty of the time constant with this response and this noise, s.
    pub uncertainty_s: f64,
}

/// The rise that fits best for each of several time constants of the gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Path([(f64, Rise); KNOTS]);

/// Knots on each side of the best time constant.
const REACH: usize = 3;
const KNOTS: usize = 2 * REACH + 1;
/// Standard uncertainties between knots.
const KNOT_STEP: f64 = 1.4;

impl Path {
    /// Follows the best rise away from the best time constant on both sides.
    pub(super) fn along(search: &Search<'_>, best: &Fitted) -> Self {
        let mut knots = [(best.tau_s, best.rise); KNOTS];
        for away in [-1.0, 1.0] {
            let mut rise = best.rise;
            for step in 1..=REACH {
                let by = away * step as f64;
                // Steps in the logarithm keep time constants positive.
                let tau_s = best.tau_s * (by * KNOT_STEP * (best.uncertainty_s / best.tau_s).min(0.3)).exp();
                let fixed = Search { first: 1, ..*search };
                rise = fixed.from(tau_s, rise).map_or(rise, |found| found.rise);
                knots[(REACH as f64 + by) as usize] = (tau_s, rise);
            }
        }
        Self(knots)
    }

    /// The rise that goes with a time constant.
    pub(super) fn at(&self, tau_s: f64) -> Rise {
        let next = self.0.partition_point(|knot| knot.0 <= tau_s).clamp(1, KNOTS - 1);
        let [(from_s, a), (to_s, b)] = [self.0[next - 1], self.0[next]];
        let share = if to_s > from_s { ((tau_s - from_s) / (to_s - from_s)).clamp(0.0, 1.0) } else { 0.0 };
        let between = |a: f64, b: f64| a + share * (b - a);
        Rise {
            at_s: between(a.at_s, b.at_s),
            lasting_s: between(a.lasting_s, b.lasting_s),
            mixing_s: between(a.mixing_s, b.mixing_s).min(0.5 * tau_s),
            rest: a.rest,
        }
    }
}

/// Time constant of the gas, then moment, length and mixing of the rise, s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Times([f64; 4]);

impl Times {
    fn of(tau_s: f64, rise: &Rise) -> Self {
        Self([tau_s, rise.at_s, rise.lasting_s, rise.mixing_s])
    }

    fn rise(self, rest: bool) -> Rise {
        Rise { at_s: self.0[1], lasting_s: self.0[2], mixing_s: self.0[3], rest }
    }

    fn bounds(tau_s: f64, onset: &Onset) -> [[f64; 2]; 4] {
        [
            [1e-6, f64::INFINITY],
            [onset.earliest_s, onset.latest_s],
            [0.0, f64::INFINITY],
            // What mixes in more slowly is not told from what decays.
            [0.0, 0.5 * tau_s],
        ]
    }

    fn within(self, onset: &Onset) -> Self {
        let bounds = Self::bounds(self.0[0].max(0.0), onset);
        Self(std::array::from_fn(|i| self.0[i].clamp(bounds[i][0], bounds[i][1])))
    }
}

/// What is thought of moment, length and mixing of a rise before the readings are looked at: normal and wide, so that times
/// which the readings do not tell stay where they are.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Prior {
    middle_s: [f64; 4],
    precision: [f64; 4],
}

impl Prior {
    fn about(onset: &Onset) -> Self {
        let width_s = (onset.latest_s - onset.earliest_s).max(1e-3);
        let precision = width_s.powi(-2);
        let middle_s = [0.0, 0.5 * (onset.earliest_s + onset.latest_s), 0.0, 0.0];
        Self { middle_s, precision: [0.0, precision, precision, precision] }
    }

    fn log(&self, times: &Times) -> f64 {
        (0..4).map(|i| -0.5 * self.precision[i] * (times.0[i] - self.middle_s[i]).powi(2)).sum()
    }
}

/// A first fit of a rise that begins about `foot_s`: once as if given at once, once as if fed in.
pub(super) fn begin(search: &Search<'_>, tau_s: f64, foot_s: f64) -> Option<Fitted> {
    let step_s = search.rows.blocks.cadence_s.max(1e-3);
    let whole_s = (search.onset.latest_s - foot_s).max(step_s);
    let starts = [Times([tau_s, foot_s, step_s, 0.5 * step_s]), Times([tau_s, foot_s, 0.5 * whole_s, 0.1 * whole_s])];
    let fits = starts.into_iter().filter_map(|times| search.from(tau_s, times.rise(search.rest)));
    fits.max_by(|a, b| a.log_likelihood.total_cmp(&b.log_likelihood))
}

/// The best time constant and rise for a response.
///
/// Levenberg-Marquardt on the whitened readings with the amounts eliminated; times at one of their ends stay there as long
/// as the fit pushes them out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Search<'a> {
    pub rows: &'a Rows<'a>,
    pub noise: Noise,
    pub lag_s: f64,
    pub law: Law,
    pub onset: Onset,
    /// First of the times that is free: 1 where the time constant stays.
    pub first: usize,
    /// Whether a rest of earlier doses is told apart from the floor.
    pub rest: bool,
}

impl Search<'_> {
    pub(super) fn from(&self, tau_s: f64, rise: Rise) -> Option<Fitted> {
        /// A step that gains less, in log likelihood, is the last.
        const CONVERGED: f64 = 1e-3;
        const STEPS: usize = 40;
        let prior = Prior::about(&self.onset);
        let mut times = Times::of(tau_s, &rise).within(&self.onset);
        let (mut score, mut solved) = self.solve(times, &prior)?;
        let mut damping = 1e-3;
        let mut slope = Slope::at(self, times, &solved).with(&prior, &times, &solved);
        for _ in 0..STEPS {
            let Some(step) = slope.step(self.first, times, &self.onset, damping) else { break };
            let tried = Times(std::array::from_fn(|i| times.0[i] + step[i])).within(&self.onset);
            match self.solve(tried, &prior).filter(|(found, _)| *found > score) {
                Some((found, with)) => {
                    let gain = found - score;
                    (times, score, solved) = (tried, found, with);
                    slope = Slope::at(self, times, &solved).with(&prior, &times, &solved);
                    damping = (0.2 * damping).max(1e-9);
                    if gain < CONVERGED {
                        break;
                    }
                }
                None if damping > 1e6 => break,
                None => damping *= 8.0,
            }
        }
        let scale = solved.squares / solved.degrees_of_freedom;
        let uncertainty_s = (scale / slope.information(times, &self.onset)).sqrt();
        Some(Fitted { tau_s: times.0[0], rise: times.rise(self.rest), log_likelihood: score, uncertainty_s })
    }

    fn solve(&self, times: Times, prior: &Prior) -> Option<(f64, Solved)> {
        let solved = self.rows.solve(&self.shape(times), &self.noise).filter(|solved| solved.beta[DOSE] > 0.0)?;
        Some((solved.log_marginal + prior.log(&times), solved))
    }

    fn shape(&self, times: Times) -> Shape {
        Shape { tau_s: times.0[0], lag_s: self.lag_s, law: self.law, rise: Some(times.rise(self.rest)) }
    }
}

/// The readings' slope in the times, amounts eliminated: normal equations JᵀJ and Jᵀr, whitened.
struct Slope {
    normal: [[f64; 4]; 4],
    pull: [f64; 4],
}

impl Slope {
    fn at(search: &Search<'_>, times: Times, solved: &Solved) -> Self {
        let Search { rows, noise, .. } = *search;
        let shape = search.shape(times);
        let size = shape.len();
        let parts = rows.parts(&shape);
        let slopes: [Vec<f64>; 4] = std::array::from_fn(|i| {
            let by_s = 1e-4 * if i == 0 { times.0[0] } else { rows.blocks.cadence_s + times.0[i].abs() };
            let moved = |by_s: f64| {
                let mut moved = times;
                moved.0[i] += by_s;
                search.shape(moved)
            };
            // Length and mixing are not negative: one-sided at their end.
            let (low, high) = (moved(if i > 1 && times.0[i] < by_s { 0.0 } else { -by_s }), moved(by_s));
            let over_s = if i > 1 && times.0[i] < by_s { by_s } else { 2.0 * by_s };
            let [low, high] = [low, high].map(|shape| Seen::of(&shape));
            let slope = |block| (high.reading(&solved.beta, block) - low.reading(&solved.beta, block)) / over_s;
            rows.blocks.measured().map(slope).collect()
        });
        let width = size + 5;
        let (whitened, _) = rows.whitened(width, &noise, |index, row| {
            row.extend_from_slice(&parts[index][..size]);
            row.extend(slopes.iter().map(|slope| slope[index]));
        });
        let gram = |i: usize, j: usize| whitened.gram[i * width + j];
        let eliminated = |i: usize, j: usize| {
            let through: f64 = (0..size)
                .flat_map(|a| (0..size).map(move |b| (a, b)))
                .map(|(a, b)| gram(i, a) * solved.inverse[a][b] * gram(b, j))
                .sum();
            gram(i, j) - through
        };
        Self {
            normal: std::array::from_fn(|i| std::array::from_fn(|j| eliminated(size + i, size + j))),
            pull: std::array::from_fn(|i| eliminated(size + i, size + 4)),
        }
    }

    /// With the prior, in units of the variance scale that `solved` found.
    fn with(mut self, prior: &Prior, times: &Times, solved: &Solved) -> Self {
        let scale = solved.squares / solved.degrees_of_freedom;
        for i in 0..4 {
            self.normal[i][i] += scale * prior.precision[i];
            self.pull[i] += scale * prior.precision[i] * (prior.middle_s[i] - times.0[i]);
        }
        self
    }

    /// Times that may move: not those at an end that the fit pushes out.
    fn free(&self, times: Times, onset: &Onset) -> Vec<usize> {
        let bounds = Times::bounds(times.0[0], onset);
        let held = |i: &usize| {
            let (time, pull) = (times.0[*i], self.pull[*i]);
            self.normal[*i][*i] <= 0.0
                || (time <= bounds[*i][0] && pull <= 0.0)
                || (time >= bounds[*i][1] && pull >= 0.0)
        };
        (0..4).filter(|i| !held(i)).collect()
    }

    fn step(&self, first: usize, times: Times, onset: &Onset, damping: f64) -> Option<[f64; 4]> {
        let free: Vec<usize> = self.free(times, onset).into_iter().filter(|i| *i >= first).collect();
        let found = self.solve(&free, |i| self.pull[i], damping)?;
        let mut step = [0.0; 4];
        free.iter().zip(found.iter()).for_each(|(i, by)| step[*i] = *by);
        Some(step)
    }

    /// Information on the time constant with the rise eliminated.
    fn information(&self, times: Times, onset: &Onset) -> f64 {
        let free: Vec<usize> = self.free(times, onset).into_iter().filter(|i| *i > 0).collect();
        let through = self
            .solve(&free, |i| self.normal[i][0], 1e-9)
            .map_or(0.0, |found| free.iter().zip(found.iter()).map(|(i, by)| self.normal[0][*i] * by).sum());
        (self.normal[0][0] - through).max(1e-6 * self.normal[0][0])
    }

    fn solve(&self, free: &[usize], right: impl Fn(usize) -> f64, damping: f64) -> Option<DVector<f64>> {
        let matrix = DMatrix::from_fn(free.len(), free.len(), |a, b| {
            self.normal[free[a]][free[b]] * if a == b { 1.0 + damping } else { 1.0 }
        });
        let right = DVector::from_fn(free.len(), |a, _| right(free[a]));
        matrix.cholesky().map(|factor| factor.solve(&right))
    }
}
