//! Likelihood of the readings given noise and shape of outgassing, with all that enters linearly integrated out.
//!
//! Linear parameters: content at the start, ingress over the window, transient of the analyser (flat priors), amounts
//! outgassed in the window (not negative). The prior of an amount is flat in what the readings can see of it, its part
//! that no start and no steady ingress can imitate. Flat in the amount itself, the posterior would drift along the
//! ridge on which slow outgassing replaces ingress. The variance scale has Jeffreys' prior and is integrated out too,
//! which leaves a Student t for each combination of noise and shape.

use super::forward::Forward;
use super::shape::Shape;
use crate::noise::{NoiseModel, OrnsteinUhlenbeck, whiten_columns};

/// Rows of the fit: blocks of readings, and readings that stand for censored ones.
#[derive(Debug, Clone, Default)]
pub(super) struct Rows {
    /// Time from the start of the window, s, not decreasing.
    pub time_s: Vec<f64>,
    /// Readings less what is known to come from make-up gas.
    pub target: Vec<f64>,
    /// Number of readings averaged (effective; any positive number).
    pub readings: Vec<f64>,
    /// Content over its typical value, not negative: what relative noise is proportional to.
    pub level: Vec<f64>,
    /// Number of rows that were measured.
    pub measured: usize,
    /// Variance of a reading at low content where it is taken as known: with censored readings, whose stand-ins leave
    /// no residuals to learn it from.
    pub known_variance: Option<f64>,
    /// Least variance of a single reading.
    pub least_variance: f64,
    /// Observed rise: amounts much beyond it are out of the question.
    pub rise: f64,
}

/// Noise of a reading, up to a common scale: variance (1 + kappa·level²)·(1/n + correlated).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Noise {
    pub kappa: f64,
    /// Variance of the correlated part over that of a single reading.
    pub correlated: f64,
    pub memory_s: f64,
    pub log_prior: f64,
}

/// Whitened design: shared columns, amplitude columns, target.
pub(super) struct Whitened {
    columns: Vec<f64>,
    rows: usize,
    shared: usize,
    /// Products of the shared columns and the target.
    base: Vec<f64>,
    log_determinant: f64,
}

/// Parameters that every model has.
pub(super) struct Shared {
    columns: Vec<Vec<f64>>,
}

/// Index of the ingress among the shared parameters.
pub(super) const INGRESS: usize = 1;
/// Width of the prior of an amount in standard errors of its visible part. As wide as a single reading would leave it
/// (the Bayesian information criterion), small amounts would be taken for none and go into the ingress.
const PRIOR_WIDTH: f64 = 4.0;
/// Logarithm of the probability of positive amounts up to which a model is out of the question.
const IMPOSSIBLE: f64 = -40.0;
/// Most linear parameters of a model.
pub(super) const MOST: usize = 7;

/// A model solved for its linear parameters.
#[derive(Debug, Clone, Copy)]
pub(super) struct Solved {
    pub size: usize,
    pub terms: usize,
    pub beta: [f64; MOST],
    /// Covariance of `beta`, scale included.
    pub covariance: [[f64; MOST]; MOST],
    pub degrees_of_freedom: f64,
    pub variance: f64,
    /// Log marginal likelihood without the restriction to positive amounts.
    pub log_marginal: f64,
}

impl Shared {
    /// Start, ingress (its amount over the window) and, for an analyser that lags, its transient.
    pub(super) fn new(forward: &Forward, ingress: &dyn Fn(f64) -> f64) -> Self {
        let mut columns = vec![forward.start(), forward.source(ingress)];
        if forward.has_lag() {
            columns.push(forward.transient());
        }
        Self { columns }
    }

    pub(super) fn len(&self) -> usize {
        self.columns.len()
    }

    pub(super) fn column(&self, index: usize) -> &[f64] {
        &self.columns[index]
    }
}

impl Rows {
    pub(super) fn len(&self) -> usize {
        self.time_s.len()
    }

    fn mean_readings(&self) -> f64 {
        (self.readings.iter().sum::<f64>() / self.len() as f64).max(1.0)
    }

    /// Whitens shared columns, amplitude columns and target.
    pub(super) fn whiten(&self, noise: &Noise, shared: &Shared, amounts: &[Vec<f64>]) -> Whitened {
        let rows = self.len();
        let width = shared.len() + amounts.len() + 1;
        let mut matrix = Vec::with_capacity(rows * width);
        let mut log_scale = 0.0;
        for row in 0..rows {
            let variance = 1.0 + noise.kappa * self.level[row] * self.level[row];
            log_scale += variance.ln();
            let factor = 1.0 / variance.sqrt();
            matrix.extend(shared.columns.iter().chain(amounts).map(|column| column[row] * factor));
            matrix.push(self.target[row] * factor);
        }
        let model = NoiseModel {
            white_variance: 1.0,
            correlated: [
                OrnsteinUhlenbeck { variance: noise.correlated, memory_s: noise.memory_s },
                OrnsteinUhlenbeck::NONE,
            ],
        };
        let (columns, log_determinant) = whiten_columns(&self.time_s, &self.readings, &matrix, width, &model);
        let mut whitened = Whitened {
            columns,
            rows,
            shared: shared.len(),
            base: Vec::new(),
            log_determinant: log_determinant + log_scale,
        };
        let m = shared.len() + 1;
        let place = |i: usize| if i + 1 == m { width - 1 } else { i };
        whitened.base = (0..m * m).map(|k| whitened.dot(place(k / m), place(k % m))).collect();
        whitened
    }

    /// Solves the model with the amounts in the given amplitude columns.
    pub(super) fn solve(&self, whitened: &Whitened, amounts: &[usize]) -> Option<Solved> {
        let gram = whitened.gram(amounts);
        let first = self.solve_with(whitened, &gram, amounts.len(), 0.0)?;
        if amounts.is_empty() {
            return Some(first);
        }
        let precision = first.variance / (self.rise * self.rise);
        self.solve_with(whitened, &gram, amounts.len(), precision)
    }

    fn solve_with(&self, whitened: &Whitened, gram: &Gram, terms: usize, precision: f64) -> Option<Solved> {
        let shared = whitened.shared;
        let size = shared + terms;
        let mut factor = [[0.0; MOST]; MOST];
        let mut log_determinant = 0.0;
        // In this order the first pivots are those of the shared parameters alone.
        for i in 0..size {
            for j in 0..=i {
                let mut value = gram.products[i][j];
                if i == j && i >= shared {
                    // A trace of a prior keeps shapes that act alike apart even before the width of it is known.
                    value += precision + 1e-12 * value;
                }
                value -= (0..j).map(|k| factor[i][k] * factor[j][k]).sum::<f64>();
                if i == j {
                    if !(value > 1e-12 * gram.products[i][i]) {
                        return None;
                    }
                    factor[i][i] = value.sqrt();
                    if i < shared {
                        log_determinant += value.ln();
                    }
                } else {
                    factor[i][j] = value / factor[j][j];
                }
            }
        }
        let inverse = inverse_lower(&factor, size);
        let mut covariance = [[0.0; MOST]; MOST];
        for i in 0..size {
            for j in 0..size {
                covariance[i][j] = (i.max(j)..size).map(|k| inverse[k][i] * inverse[k][j]).sum();
            }
        }
        // By substitution, not with the covariance: shapes that act alike make that too inexact for the sum of squares.
        let mut forward = [0.0; MOST];
        for i in 0..size {
            let sum: f64 = (0..i).map(|k| factor[i][k] * forward[k]).sum();
            forward[i] = (gram.target[i] - sum) / factor[i][i];
        }
        let mut beta = [0.0; MOST];
        for i in (0..size).rev() {
            let sum: f64 = (i + 1..size).map(|k| factor[k][i] * beta[k]).sum();
            beta[i] = (forward[i] - sum) / factor[i][i];
        }
        let explained: f64 = forward.iter().map(|z| z * z).sum();
        let total = gram.target_square - explained;
        let degrees_of_freedom = (self.measured as f64 - shared as f64).max(2.0);
        let least = (1e-24 * gram.target_square).max(self.least_variance * degrees_of_freedom);
        let squares = total.max(least);
        let variance = self.known_variance.unwrap_or(squares / degrees_of_freedom);
        let misfit = self.known_variance.map_or(degrees_of_freedom * squares.ln(), |known| total / known);
        for row in covariance.iter_mut().take(size) {
            for value in row.iter_mut().take(size) {
                *value *= variance;
            }
        }
        let width = std::f64::consts::LN_2 - PRIOR_WIDTH.ln();
        let log_marginal = terms as f64 * width - 0.5 * (whitened.log_determinant + log_determinant + misfit);
        log_marginal.is_finite().then_some(Solved {
            size,
            terms,
            beta,
            covariance,
            degrees_of_freedom,
            variance,
            log_marginal,
        })
    }

    /// Noise models that are looked at.
    pub(super) fn noises(&self, span_s: f64) -> Vec<Noise> {
        let levels = self.level.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), l| (a.min(*l), b.max(*l)));
        let kappas: &[f64] = if levels.1 > 1.3 * levels.0 { &[0.0, 0.3, 3.0, 1e3] } else { &[0.0] };
        let block = self.mean_readings();
        let mut noises = Vec::new();
        for &kappa in kappas {
            noises.push(Noise { kappa, correlated: 0.0, memory_s: span_s, log_prior: 0.7_f64.ln() });
            for memory in [0.01, 0.05, 0.25] {
                for ratio in [0.05, 0.3, 1.5, 8.0] {
                    noises.push(Noise {
                        kappa,
                        correlated: ratio / block,
                        memory_s: memory * span_s,
                        log_prior: (0.3_f64 / 12.0).ln(),
                    });
                }
            }
        }
        noises
    }
}

/// Products of the columns of one model.
struct Gram {
    products: [[f64; MOST]; MOST],
    target: [f64; MOST],
    target_square: f64,
}

impl Whitened {
    fn dot(&self, i: usize, j: usize) -> f64 {
        let column = |k: usize| &self.columns[k * self.rows..(k + 1) * self.rows];
        column(i).iter().zip(column(j)).map(|(a, b)| a * b).sum()
    }

    fn gram(&self, amounts: &[usize]) -> Gram {
        let (shared, m) = (self.shared, self.shared + 1);
        let last = self.columns.len() / self.rows - 1;
        let mut gram = Gram { products: [[0.0; MOST]; MOST], target: [0.0; MOST], target_square: self.base[m * m - 1] };
        for i in 0..shared {
            for j in 0..shared {
                gram.products[i][j] = self.base[i * m + j];
            }
            gram.target[i] = self.base[i * m + shared];
        }
        for (a, &column) in amounts.iter().enumerate() {
            let i = shared + a;
            for j in 0..shared {
                gram.products[i][j] = self.dot(shared + column, j);
            }
            for (b, &other) in amounts.iter().enumerate().take(a + 1) {
                gram.products[i][shared + b] = self.dot(shared + column, shared + other);
            }
            gram.target[i] = self.dot(shared + column, last);
        }
        gram
    }
}

fn inverse_lower(factor: &[[f64; MOST]; MOST], size: usize) -> [[f64; MOST]; MOST] {
    let mut inverse = [[0.0; MOST]; MOST];
    for j in 0..size {
        inverse[j][j] = 1.0 / factor[j][j];
        for i in j + 1..size {
            let sum: f64 = (j..i).map(|k| factor[i][k] * inverse[k][j]).sum();
            inverse[i][j] = -sum / factor[i][i];
        }
    }
    inverse
}

impl Solved {
    /// Logarithm of the probability that the amounts are positive, given the data and this model.
    pub(super) fn log_positive(&self) -> f64 {
        let shared = self.size - self.terms;
        let mean: Vec<f64> = (shared..self.size).map(|i| self.beta[i]).collect();
        let covariance = |a: usize, b: usize| self.covariance[shared + a][shared + b];
        log_positive(&mean, &covariance)
    }

    /// Whether the amounts can be positive. A model whose amounts would have to be negative is, held at zero, one with fewer
    /// terms; and what is left of its probability is too small to be known.
    pub(super) fn is_possible(&self) -> bool {
        self.log_positive() > IMPOSSIBLE
    }

    /// Log marginal likelihood with the amounts restricted to be positive.
    pub(super) fn log_evidence(&self) -> f64 {
        self.log_marginal + self.log_positive()
    }
}

/// Probability that one or two jointly normal numbers are positive.
pub(super) fn positive(mean: &[f64], covariance: &dyn Fn(usize, usize) -> f64) -> f64 {
    standardised(mean, covariance).iter().flatten().map(|&z| phi(z)).product()
}

/// Its logarithm, also where the probability is too small for a number.
fn log_positive(mean: &[f64], covariance: &dyn Fn(usize, usize) -> f64) -> f64 {
    standardised(mean, covariance).iter().flatten().map(|&z| log_phi(z)).sum()
}

/// Standardised means whose normal probabilities, multiplied, are that of all being positive.
///
/// For two, the one less likely to be positive comes first, and the other is taken as normal given that, with its exact mean
/// and variance. The other way round two amounts that hang together could each look nearly possible where both are not.
fn standardised(mean: &[f64], covariance: &dyn Fn(usize, usize) -> f64) -> [Option<f64>; 2] {
    let alone = |i: usize| mean[i] / covariance(i, i).max(1e-300).sqrt();
    let (first, second) = match mean.len() {
        0 => return [None; 2],
        1 => return [Some(alone(0)), None],
        _ if alone(0) <= alone(1) => (0, 1),
        _ => (1, 0),
    };
    let z = alone(first);
    let variance = covariance(first, first).max(1e-300);
    let hazard = if z > -30.0 { density(z) / phi(z).max(1e-300) } else { -z };
    let slope = covariance(second, first) / variance;
    let shifted = mean[second] + slope * hazard * variance.sqrt();
    let shrunk = (hazard * (hazard + z)).clamp(0.0, 1.0);
    let rest = (covariance(second, second) - slope * slope * variance * shrunk).max(1e-300);
    [Some(z), Some(shifted / rest.sqrt())]
}

/// Density of the standard normal distribution.
pub(super) fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() * 0.398_942_280_401_432_7
}

/// Cumulative standard normal distribution to about 1e-7 relative in the lower tail as well (W. J. Cody's three ranges
/// are more than is needed here; this is the complementary error function of Numerical Recipes, "erfcc").
pub(super) fn phi(z: f64) -> f64 {
    let x = z.abs() / std::f64::consts::SQRT_2;
    let t = 1.0 / (1.0 + 0.5 * x);
    let series = t
        * (1.000_023_68
            + t * (0.374_091_96
                + t * (0.096_784_18
                    + t * (-0.186_288_06
                        + t * (0.278_868_07
                            + t * (-1.135_203_98 + t * (1.488_515_87 + t * (-0.822_152_23 + t * 0.170_872_77))))))));
    let tail = 0.5 * t * (-x * x - 1.265_512_23 + series).exp();
    if z >= 0.0 { 1.0 - tail } else { tail }
}

/// Logarithm of [`phi`]; far out the first terms of its asymptotic series.
fn log_phi(z: f64) -> f64 {
    if z > -8.0 { phi(z).ln() } else { -0.5 * z * z - (-z).ln() - 0.918_938_533_204_672_7 - 1.0 / (z * z) }
}

/// Amplitude columns of a shape.
pub(super) fn amounts(forward: &Forward, shape: Shape) -> Vec<Vec<f64>> {
    let span_s = forward.span_s();
    let column = |term| {
        let release = shape.release(term, span_s);
        forward.source(&|t| release.until(t))
    };
    (0..shape.terms()).map(column).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_amounts_that_cannot_both_be_positive_are_not_taken_for_possible() {
        // On the line second = −first − 2, nearly: wherever one is positive the other is not.
        let covariance = |a: usize, b: usize| if a == b { 1.0 } else { -0.999 };
        for mean in [[3.0, -5.0], [-5.0, 3.0]] {
            assert!(log_positive(&mean, &covariance) < -60.0, "{}", log_positive(&mean, &covariance));
        }
    }

    #[test]
    fn the_logarithm_of_a_probability_goes_on_where_the_probability_ends() {
        assert!((log_phi(-8.0 + 1e-9) - log_phi(-8.0 - 1e-9)).abs() < 2e-3);
        assert!((log_phi(-1.0) - phi(-1.0).ln()).abs() < 1e-12);
        assert!(log_phi(-100.0) < -5000.0);
    }
}
