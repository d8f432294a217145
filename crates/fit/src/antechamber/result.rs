//! What an evaluation hands back.

use super::{Cycle, Note};
use crate::Estimate;

/// Result of antechamber cycles.
#[derive(Debug, Clone, PartialEq)]
pub struct Antechamber {
    /// Cycles that were backfilled.
    pub cycle_count: usize,
    /// Oxygen left in the chamber after the last cycle, ppm. An upper bound where the gauge cannot tell.
    pub residual_oxygen: Estimate,
    /// Step of oxygen in the enclosure on opening the inner door, ppm; needs both volumes.
    pub oxygen_step: Option<Estimate>,
    /// Leak into the evacuated chamber, Pa·m³/s; needs the chamber's volume.
    pub leak_throughput: Option<Estimate>,
    /// Cycles after which the target is met; needs a target.
    pub cycles_needed: Option<Estimate>,
    /// The cycles, in order.
    pub cycles: Vec<Cycle>,
    /// The part of the record that was evaluated, s.
    pub window_s: [f64; 2],
    /// Series for plotting.
    pub series: Series,
    /// Findings.
    pub notes: Vec<Note>,
}

/// Series for plotting, in s and Pa.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Time in s.
    pub time_s: Vec<f64>,
    /// Absolute pressure in Pa.
    pub pressure_pa: Vec<f64>,
    /// Oxygen left after each cycle: time in s, and lower end, value, upper end in ppm.
    pub oxygen: Vec<(f64, [f64; 3])>,
}
