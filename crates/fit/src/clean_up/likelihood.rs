//! Likelihood of the readings given noise, time constants and floor, with the amounts integrated out.
//!
//! Dose, start of the reading and second term have flat priors, the variance scale has Jeffreys' prior.

use super::blocks::Blocks;
use super::columns::{DOSE, FLOOR, MOST, Shape, Weights};
use super::loading;
use super::seen::Seen;
use crate::noise::{NoiseModel, OrnsteinUhlenbeck, Whitened, whiten};
use crate::ppm_rise::ReadingStatus;
use statrs::function::erf::erfc;

/// Noise of a mean of n readings up to a common scale: variance (1 + kappa·level²)·(1/n + correlated), or
/// (1 + kappa·level²)/n + correlated where the correlated part is steady.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Noise {
    pub kappa: f64,
    /// Variance of the correlated part over that of a single reading.
    pub correlated: f64,
    pub memory_s: f64,
    /// Whether the correlated part stays the same while the content falls.
    pub steady: bool,
    pub log_prior: f64,
}

/// Blocks with what the noise needs to know of them.
#[derive(Debug, Clone)]
pub(super) struct Rows<'a> {
    pub blocks: &'a Blocks,
    /// Content of each block over the largest, from 0 to 1.
    pub level: Vec<f64>,
    /// Least variance of a single reading.
    pub least_variance: f64,
}

/// A shape and a noise solved for the amounts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Solved {
    pub beta: [f64; MOST],
    /// Inverse of the matrix of products: covariance over the variance scale.
    pub inverse: [[f64; MOST]; MOST],
    pub squares: f64,
    /// Rows less parts.
    pub degrees_of_freedom: f64,
    /// Log marginal likelihood of the measured readings.
    pub log_marginal: f64,
}

impl Rows<'_> {
    /// What measured blocks would show of each part: the dear part of a solution, shared by all noise models.
    pub(super) fn parts(&self, shape: &Shape) -> Vec<[f64; MOST]> {
        let seen = Seen::of(shape);
        self.blocks.measured().map(|block| seen.parts(block)).collect()
    }

    pub(super) fn solve(&self, shape: &Shape, noise: &Noise) -> Option<Solved> {
        self.solve_parts(&self.parts(shape), shape.len(), noise)
    }

    /// Solves for the amounts of the first `size` parts.
    pub(super) fn solve_parts(&self, parts: &[[f64; MOST]], size: usize, noise: &Noise) -> Option<Solved> {
        let width = size + 1;
        let measured = parts.len();
        let (whitened, log_scale) = self.whitened(width, noise, |index, row| {
            row.extend_from_slice(&parts[index][..size]);
        });
        let gram = |i: usize, j: usize| whitened.gram[i * width + j];
        let (inverse, log_determinant) = invert(&gram, size)?;
        let mut beta = [0.0; MOST];
        for i in 0..size {
            beta[i] = (0..size).map(|j| inverse[i][j] * gram(j, size)).sum();
        }
        let total = gram(size, size);
        let explained: f64 = (0..size).map(|i| beta[i] * gram(i, size)).sum();
        let degrees_of_freedom = measured as f64 - size as f64;
        if degrees_of_freedom < 1.0 {
            return None;
        }
        let squares = (total - explained).max(1e-22 * total).max(self.least_variance * degrees_of_freedom).max(1e-300);
        let log_marginal =
            -0.5 * (whitened.log_determinant + log_scale + log_determinant + degrees_of_freedom * squares.ln());
        log_marginal.is_finite().then_some(Solved { beta, inverse, squares, degrees_of_freedom, log_marginal })
    }

    /// Whitens the columns that `fill` adds for each measured block, by its index, with the readings as the last of `width`
    /// columns. Returns the log determinant of the scaling beside.
    pub(super) fn whitened(
        &self,
        width: usize,
        noise: &Noise,
        mut fill: impl FnMut(usize, &mut Vec<f64>),
    ) -> (Whitened, f64) {
        let measured = self.level.len();
        let mut matrix = Vec::with_capacity(measured * width);
        let (mut time, mut worth) = (Vec::with_capacity(measured), Vec::with_capacity(measured));
        let mut log_scale = 0.0;
        let pairs = self.blocks.blocks.iter().zip(&self.level);
        for (index, (block, level)) in pairs.filter(|(b, _)| b.status == ReadingStatus::Measured).enumerate() {
            let variance = noise.variance(*level);
            fill(index, &mut matrix);
            matrix.push(block.value);
            time.push(block.middle_s());
            if noise.steady {
                worth.push(block.worth / variance);
                continue;
            }
            let factor = 1.0 / variance.sqrt();
            log_scale += variance.ln();
            worth.push(block.worth);
            matrix[index * width..].iter_mut().for_each(|value| *value *= factor);
        }
        (whiten(&time, &worth, &matrix, width, &noise.model()), log_scale)
    }

    /// Log probability that the censored readings lie where they do, given solution and floor.
    pub(super) fn log_censored(&self, shape: &Shape, noise: &Noise, solved: &Solved, floor: f64) -> f64 {
        let beta = solved.amounts_given(floor);
        let scale = (solved.squares / solved.degrees_of_freedom).sqrt();
        let seen = Seen::of(shape);
        let mut sum = 0.0;
        for (block, level) in self.blocks.blocks.iter().zip(&self.level) {
            let sign = match block.status {
                ReadingStatus::Measured => continue,
                ReadingStatus::BelowLimit => 1.0,
                ReadingStatus::AboveRange => -1.0,
            };
            let fitted = seen.reading(&beta, block);
            let variance = noise.variance(*level);
            let sd = scale * variance.sqrt();
            // Readings that wander together are worth fewer independent ones.
            let worth = variance / noise.variance_of_mean(*level, block.worth);
            sum += worth * phi(sign * (block.value - fitted) / sd).max(1e-300).ln();
        }
        sum
    }
}

impl Noise {
    /// White variance of a single reading at a level, over that at level 0.
    fn variance(&self, level: f64) -> f64 {
        1.0 + self.kappa * level * level
    }

    /// Variance of a mean that is worth so many readings, over that of a single reading at level 0.
    pub(super) fn variance_of_mean(&self, level: f64, worth: f64) -> f64 {
        let white = self.variance(level);
        white / worth + if self.steady { self.correlated } else { self.correlated * white }
    }

    pub(super) fn model(&self) -> NoiseModel {
        NoiseModel {
            white_variance: 1.0,
            correlated: [
                OrnsteinUhlenbeck { variance: self.correlated, memory_s: self.memory_s },
                OrnsteinUhlenbeck::NONE,
            ],
        }
    }
}

impl Solved {
    pub(super) fn floor(&self) -> f64 {
        self.beta[FLOOR]
    }

    /// Standard uncertainty of the floor.
    pub(super) fn floor_scale(&self) -> f64 {
        (self.inverse[FLOOR][FLOOR] * self.squares / self.degrees_of_freedom).sqrt()
    }

    /// Log density of floor and data together: `log_marginal` is its integral over the floor.
    pub(super) fn log_density(&self, floor: f64) -> f64 {
        let variance = self.inverse[FLOOR][FLOOR];
        let grown = (floor - self.floor()).powi(2) / (variance * self.squares);
        self.log_marginal
            - 0.5 * (variance * self.squares / self.degrees_of_freedom).ln()
            - 0.5 * (self.degrees_of_freedom + 1.0) * grown.ln_1p()
    }

    /// Amounts where the floor is known.
    pub(super) fn amounts_given(&self, floor: f64) -> [f64; MOST] {
        let mut beta = self.beta;
        for (i, amount) in beta.iter_mut().enumerate() {
            *amount += self.inverse[i][FLOOR] / self.inverse[FLOOR][FLOOR] * (floor - self.floor());
        }
        beta
    }

    /// Variance of a weighted sum of the amounts where the floor is known.
    pub(super) fn variance_of(&self, weights: &Weights) -> f64 {
        let through = |column: usize| (0..MOST).map(|i| weights[i] * self.inverse[i][column]).sum::<f64>();
        let all: f64 = (0..MOST).map(|j| through(j) * weights[j]).sum();
        let shared = through(FLOOR).powi(2) / self.inverse[FLOOR][FLOOR];
        (all - shared).max(0.0) * self.squares / self.degrees_of_freedom
    }

    /// What a further amount costs: minus the log of its prior density, one over the dose, with the constants of the marginal
    /// likelihood that change with the number of amounts. That has a flat prior of density one in the unit of the readings.
    pub(super) fn width_of_dose(&self) -> f64 {
        const HALF_LOG_TWO_PI: f64 = 0.918_938_5;
        self.beta[DOSE].max(1e-300).ln() + 0.5 * self.degrees_of_freedom.ln() - HALF_LOG_TWO_PI
    }

    /// Log prior of the law of the decay, which the marginal likelihood with its flat prior of the amounts does not know:
    /// loading is the rarer, and its load more often small than large; a slow tail is less than the fast part.
    pub(super) fn log_prior_of_law(&self, shape: &Shape) -> f64 {
        /// Odds of loading before the readings are looked at.
        const ODDS: f64 = 0.25;
        let Some(index) = shape.second() else { return 0.0 };
        let Some(load) = shape.load(&self.beta) else {
            // Else fast part and tail could change places.
            let share = self.beta[index] / self.beta[DOSE];
            return if (0.0..1.0).contains(&share) { 0.0 } else { f64::NEG_INFINITY };
        };
        let scale =
            (self.inverse[index][index] * self.squares / self.degrees_of_freedom).sqrt() / self.beta[DOSE].abs();
        (ODDS * loading::mean_prior(load, scale).max(1e-300)).ln() - self.width_of_dose()
    }
}

/// Inverse and log determinant of a positive definite matrix; `None` where parts act alike.
fn invert(gram: &dyn Fn(usize, usize) -> f64, size: usize) -> Option<([[f64; MOST]; MOST], f64)> {
    let mut factor = [[0.0; MOST]; MOST];
    let mut log_determinant = 0.0;
    for i in 0..size {
        for j in 0..=i {
            let value = gram(i, j) - (0..j).map(|k| factor[i][k] * factor[j][k]).sum::<f64>();
            if i != j {
                factor[i][j] = value / factor[j][j];
            } else if value > 1e-13 * gram(i, i) {
                factor[i][i] = value.sqrt();
                log_determinant += value.ln();
            } else {
                return None;
            }
        }
    }
    let mut lower = [[0.0; MOST]; MOST];
    for j in 0..size {
        lower[j][j] = 1.0 / factor[j][j];
        for i in j + 1..size {
            lower[i][j] = -(j..i).map(|k| factor[i][k] * lower[k][j]).sum::<f64>() / factor[i][i];
        }
    }
    let mut inverse = [[0.0; MOST]; MOST];
    for i in 0..size {
        for j in 0..size {
            inverse[i][j] = (i.max(j)..size).map(|k| lower[k][i] * lower[k][j]).sum();
        }
    }
    Some((inverse, log_determinant))
}

/// Cumulative standard normal distribution, accurate in the lower tail as well.
pub(super) fn phi(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}
