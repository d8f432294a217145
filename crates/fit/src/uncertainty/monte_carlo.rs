//! Propagation of distributions by Monte Carlo (JCGM 101:2008, clause 7).

use crate::noise::mean_and_standard_deviation;
use crate::simulate::Random;

/// What a Monte Carlo propagation found.
#[derive(Debug, Clone, PartialEq)]
pub struct MonteCarlo {
    /// Mean of the output.
    pub mean: f64,
    /// Its standard deviation.
    pub standard_deviation: f64,
    /// Interval with 2.5 % of the draws on either side.
    pub interval95: [f64; 2],
    /// Shortest interval that holds 95 % of the draws.
    pub shortest95: [f64; 2],
}

/// Draws an output `draws` times (at least 100) from a seeded generator and sums it up.
pub fn monte_carlo(draws: usize, seed: u64, mut output: impl FnMut(&mut Random) -> f64) -> MonteCarlo {
    let mut random = Random::new(seed);
    let mut values: Vec<f64> = (0..draws.max(100)).map(|_| output(&mut random)).collect();
    values.sort_by(f64::total_cmp);
    let (mean, standard_deviation) = mean_and_standard_deviation(&values);
    let inside = (0.95 * values.len() as f64).round() as usize;
    let last = values.len() - 1;
    let width = |start: usize| values[(start + inside).min(last)] - values[start];
    let symmetric = (values.len() - inside) / 2;
    let shortest = (0..values.len() - inside).min_by(|a, b| width(*a).total_cmp(&width(*b))).unwrap_or(symmetric);
    let ends = |start: usize| [values[start], values[(start + inside).min(last)]];
    MonteCarlo { mean, standard_deviation, interval95: ends(symmetric), shortest95: ends(shortest) }
}
