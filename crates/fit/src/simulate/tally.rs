//! How often intervals held the truth.

use crate::{Estimate, Kind};

/// Counts over the tests of a study.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tally {
    /// Tests with an estimate.
    pub tests: usize,
    /// Tests whose result was a bound.
    pub bounds: usize,
    /// Bounds on the wrong side of the truth.
    pub bounds_missed: usize,
    /// Truth below the interval.
    pub below: usize,
    /// Truth above the interval.
    pub above: usize,
    sum_of_errors: f64,
    sum_of_squares: f64,
    sum_of_half_widths: f64,
}

impl Tally {
    /// Adds a test.
    pub fn add(&mut self, estimate: &Estimate, truth: f64) {
        let [low, high] = estimate.interval95;
        // Rounding of sums over a million readings is no error of the interval.
        let rounding = 1e-9 * truth.abs();
        if estimate.kind != Kind::Estimate {
            self.bounds += 1;
            self.bounds_missed += usize::from(truth < low - rounding || truth > high + rounding);
            return;
        }
        self.tests += 1;
        self.below += usize::from(truth < low - rounding);
        self.above += usize::from(truth > high + rounding);
        self.sum_of_errors += estimate.value - truth;
        self.sum_of_squares += (estimate.value - truth).powi(2);
        self.sum_of_half_widths += estimate.expanded_uncertainty();
    }

    /// Adds another tally's tests; errors of different quantities do not add, so they are dropped.
    pub fn pool(&mut self, other: &Self) {
        self.tests += other.tests;
        self.bounds += other.bounds;
        self.bounds_missed += other.bounds_missed;
        self.below += other.below;
        self.above += other.above;
        (self.sum_of_errors, self.sum_of_squares, self.sum_of_half_widths) = (f64::NAN, f64::NAN, f64::NAN);
    }

    /// Share of the intervals that held the truth.
    pub fn coverage(&self) -> f64 {
        1.0 - (self.below + self.above) as f64 / self.tests.max(1) as f64
    }

    /// Mean of estimate minus truth.
    pub fn bias(&self) -> f64 {
        self.sum_of_errors / self.tests.max(1) as f64
    }

    /// Root mean square of estimate minus truth.
    pub fn rms(&self) -> f64 {
        (self.sum_of_squares / self.tests.max(1) as f64).sqrt()
    }

    /// Mean half width of the intervals.
    pub fn half_width(&self) -> f64 {
        self.sum_of_half_widths / self.tests.max(1) as f64
    }
}
