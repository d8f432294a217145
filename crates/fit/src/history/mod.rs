//! Results of one enclosure over years: trend, steps at service, forecast, and the last result against the one before.
//!
//! A result i of the day t_i has a value y_i with standard uncertainty u_i. Two tests of the same enclosure differ by
//! more than their uncertainties say: gloves sit differently, the season is another. So the model is
//!
//! `y_i = a + b (t_i − t_0) + Σ_k d_k [t_i > s_k] + e_i`, var e_i = u_i² + σ²
//!
//! with a scatter σ between tests that is not known and is integrated out (a half-Cauchy prior of the scale of the
//! uncertainties; Gelman 2006, Bayesian Analysis 1:515), and steps d_k at services s_k kept only where the data
//! support them. With few results the interval is wide because σ may be anything, which is what few results mean.
//!
//! ```
//! use tightfit_fit::history::{Point, Settings, trend};
//!
//! // A leak rate that grows by 1e-5 1/h a year, tested every year.
//! let points: Vec<Point> = (0..6)
//!     .map(|year| Point::new(365.25 * f64::from(year), 1e-4 + 1e-5 * f64::from(year), 1e-6))
//!     .collect();
//! let found = trend(&points, &Settings::default())?;
//! let per_year = found.slope_per_day.scaled(365.25);
//! assert!(per_year.interval95[0] < 1e-5 && 1e-5 < per_year.interval95[1]);
//! # Ok::<(), tightfit_fit::history::HistoryError>(())
//! ```

mod change;
mod crossing;
mod difference;
mod regression;
mod scatter;
mod trend;

use std::fmt;

pub use change::{ChangePoint, change_point};
pub use crossing::{Crossing, Side};
pub use difference::{Component, Difference, difference};
pub use trend::{ServiceStep, Settings, Trend, trend};

/// One result of an enclosure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When, days on any common scale.
    pub day: f64,
    /// The value, in any unit that all points share.
    pub value: f64,
    /// Its standard uncertainty in that unit, without what all points have in common.
    pub standard_uncertainty: f64,
}

impl Point {
    /// A result of the day `day` (days on any common scale), value and standard uncertainty in one unit.
    pub fn new(day: f64, value: f64, standard_uncertainty: f64) -> Self {
        Self { day, value, standard_uncertainty }
    }
}

/// Why results cannot be followed over time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HistoryError {
    /// A number is not finite, or an uncertainty is negative.
    NotUsable {
        /// Number of the point, from 0.
        index: usize,
    },
    /// There are too few results on different days.
    TooFew {
        /// How many there are.
        days: usize,
        /// How many it takes.
        needed: usize,
    },
}

impl fmt::Display for HistoryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotUsable { index } => {
                write!(f, "result {} has no usable value, day or uncertainty", index + 1)
            }
            Self::TooFew { days, needed } => {
                write!(f, "results of {days} different days are too few: {needed} are needed")
            }
        }
    }
}

impl std::error::Error for HistoryError {}

/// Checks the points once at the door.
fn checked(points: &[Point], needed: usize) -> Result<(), HistoryError> {
    let usable = |point: &Point| {
        point.day.is_finite() && point.value.is_finite() && point.standard_uncertainty >= 0.0 && {
            point.standard_uncertainty.is_finite()
        }
    };
    if let Some(index) = points.iter().position(|point| !usable(point)) {
        return Err(HistoryError::NotUsable { index });
    }
    let mut days: Vec<f64> = points.iter().map(|point| point.day).collect();
    days.sort_by(f64::total_cmp);
    days.dedup();
    if days.len() < needed {
        return Err(HistoryError::TooFew { days: days.len(), needed });
    }
    Ok(())
}
