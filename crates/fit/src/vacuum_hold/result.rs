//! What an evaluation hands back.

use super::{Note, Window};
use crate::Estimate;

/// Result of a vacuum hold.
#[derive(Debug, Clone, PartialEq)]
pub struct VacuumHold {
    /// Steady leak into the vessel at the mean pressure of the window, Pa·m³/s. An upper bound where it cannot be told
    /// from none or from outgassing.
    pub leak_throughput: Estimate,
    /// What the walls still give off at the end of the window, Pa·m³/s.
    pub outgassing_throughput: Estimate,
    /// The part of the record that was evaluated.
    pub window: Window,
    /// Probability that anything comes off the walls at a decaying rate.
    pub outgassing_probability: f64,
    /// Standard deviation of a reading about its neighbours, Pa.
    pub noise_pa: f64,
    /// Readings set aside as outliers.
    pub outliers: usize,
    /// Series for plotting.
    pub series: Series,
    /// Findings.
    pub notes: Vec<Note>,
}

/// Series for plotting, in s and Pa.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Whole record, thinned: time in s.
    pub record_time_s: Vec<f64>,
    /// Whole record, thinned: absolute pressure in Pa.
    pub record_pa: Vec<f64>,
    /// Blocks of the window: time in s.
    pub time_s: Vec<f64>,
    /// Blocks: mean pressure in Pa.
    pub pressure_pa: Vec<f64>,
    /// Blocks: fitted pressure in Pa.
    pub fitted_pa: Vec<f64>,
    /// Blocks: the part of the fit that came off the walls since the start, Pa.
    pub outgassed_pa: Vec<f64>,
}
