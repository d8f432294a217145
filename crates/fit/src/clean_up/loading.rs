//! The decay where a purifier takes up a smaller share at high content.
//!
//! With dx/dt = −x/(τ(1 + x/h)) a dose A comes down as x = A·f(t/τ), where ln f + λf = λ − t/τ and λ = A/h. As a sum of
//! exponentials e^(−kt/τ) it passes through a lagging analyser like the pure decay does.

use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

/// Exponentials in the sum: the curve is met to a thousandth at the highest load, and far better below.
pub(super) const TERMS: usize = 8;
/// Highest load of a dose that is looked for.
pub(super) const MOST_LOAD: f64 = 1.0;

/// The decay of a unit dose and its slope in the load, each as amounts of e^(−kt/τ), k = 1, 2, …
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LoadedDecay {
    /// Load λ about which the curve is taken: dose over half-load.
    pub load: f64,
    pub content: [f64; TERMS],
    pub slope: [f64; TERMS],
}

impl LoadedDecay {
    pub(super) fn about(load: f64) -> Self {
        // As polynomials in u = e^(−t/τ) without a constant, through the zeros of Chebyshev's: relative to u, so that the
        // tail is met as well as the height. The curve's nearest singularity lies the further off the smaller the load.
        let terms =
            [(0.0, 2), (0.1, 4), (0.3, 6)].iter().find(|(most, _)| load <= *most).map_or(TERMS, |found| found.1);
        let nodes: Vec<f64> =
            (0..terms).map(|i| 0.5 + 0.5 * (std::f64::consts::PI * (i as f64 + 0.5) / terms as f64).cos()).collect();
        let powers = DMatrix::from_fn(terms, terms, |i, k| nodes[i].powi(k as i32)).lu();
        let amounts = |of: &dyn Fn(f64) -> f64| -> [f64; TERMS] {
            let values = DVector::from_fn(terms, |i, _| of(left(load, nodes[i])) / nodes[i]);
            let found = powers.solve(&values);
            std::array::from_fn(|k| found.as_ref().map_or(f64::NAN, |found| if k < terms { found[k] } else { 0.0 }))
        };
        Self { load, content: amounts(&|f| f), slope: amounts(&|f| f * (1.0 - f) / (1.0 + load * f)) }
    }

    /// Amounts of content and slope of each exponential that is used, with its k.
    pub(super) fn terms(&self) -> impl Iterator<Item = (f64, f64, f64)> {
        let amounts = (1..).zip(&self.content).zip(&self.slope);
        amounts
            .map(|((k, content), slope)| (f64::from(k), *content, *slope))
            .filter(|term| term.1 != 0.0 || term.2 != 0.0)
    }
}

/// Prior density of the load, 1/(λ + 0.02) up to its norm, averaged over a normal distribution.
pub(super) fn mean_prior(load: f64, standard_deviation: f64) -> f64 {
    /// Loads below this are as good as none.
    const SMALL: f64 = 0.02;
    const NODES: usize = 24;
    let [low, high] = [-4.0, 4.0].map(|by| (load + by * standard_deviation).clamp(0.0, MOST_LOAD));
    let step = (high - low) / NODES as f64;
    let density = |at: f64| {
        let normal = (-0.5 * ((at - load) / standard_deviation).powi(2)).exp() / standard_deviation / TAU.sqrt();
        normal / (at + SMALL)
    };
    let sum: f64 = (0..NODES).map(|i| density(low + (i as f64 + 0.5) * step)).sum();
    sum * step / (MOST_LOAD / SMALL).ln_1p()
}

/// f where a pure decay would have left u: ln f + λf = λ + ln u.
fn left(load: f64, pure: f64) -> f64 {
    let wanted = load + pure.ln();
    let mut log = pure.ln();
    // The left side grows with ln f at 1 to 1 + λ: Newton's steps from below do not overshoot far.
    for _ in 0..30 {
        let content = log.exp();
        log -= (log + load * content - wanted) / (1.0 + load * content);
    }
    log.exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sum(amounts: &[f64; TERMS], since: f64) -> f64 {
        amounts.iter().zip(1..).map(|(amount, k)| amount * (-f64::from(k) * since).exp()).sum()
    }

    #[test]
    fn the_sum_follows_the_differential_equation() {
        for load in [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, MOST_LOAD] {
            let decay = LoadedDecay::about(load);
            let (mut content, step) = (1.0_f64, 1e-3);
            for i in 0..8000 {
                let since = f64::from(i) * step;
                let error = sum(&decay.content, since) / content - 1.0;
                assert!(error.abs() < 1e-3 * (load / MOST_LOAD).max(1e-6), "load {load} after {since}: {error}");
                // Runge-Kutta of second order on ln f.
                let rate = |log: f64| -1.0 / (1.0 + load * log.exp());
                let log = content.ln();
                content = (log + step * rate(log + 0.5 * step * rate(log))).exp();
            }
        }
    }

    #[test]
    fn the_prior_is_one_in_all_and_small_loads_are_the_likelier() {
        let all: f64 = (0..2000).map(|i| mean_prior((f64::from(i) + 0.5) / 2000.0, 1e-5) / 2000.0).sum();
        assert!((all - 1.0).abs() < 1e-3, "{all}");
        assert!(mean_prior(0.1, 0.01) > 2.0 * mean_prior(0.4, 0.01));
        assert!(mean_prior(-1.0, 0.1) < 1e-20);
    }

    #[test]
    fn the_slope_is_that_of_the_content() {
        let [low, high] = [0.29, 0.31].map(LoadedDecay::about);
        let middle = LoadedDecay::about(0.3);
        for since in [0.0, 0.2, 1.0, 3.0] {
            let slope = (sum(&high.content, since) - sum(&low.content, since)) / 0.02;
            assert!((sum(&middle.slope, since) - slope).abs() < 1e-3, "after {since}");
        }
    }
}
