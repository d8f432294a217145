//! Numerics of tightness tests on plain slices: leak rates with honest intervals.
//!
//! This crate knows no files, no clock, no data frames and prints nothing. Channels come in as [`Samples`] in SI units,
//! results go out as [`Estimate`]s with distribution and budget.

pub mod analyser_check;
pub mod antechamber;
pub mod clean_up;
pub mod clean_up_series;
pub mod design;
pub mod diagnose;
pub mod endurance;
pub mod history;
pub mod make_up;
pub mod noise;
pub mod permeation;
pub mod ppm_rise;
pub mod ppm_rise_series;
pub mod pressure_change;
pub mod purge_down;
pub mod regeneration;
pub mod simulate;
pub mod solve;
pub mod uncertainty;
pub mod vacuum_hold;

mod estimate;
mod samples;

pub use estimate::{BudgetLine, Estimate, Kind};
pub use samples::{Samples, SamplesError};

/// Runs the examples of the method's document.
#[cfg(doctest)]
#[doc = include_str!("../../../notebooks-free-docs/method/pressure-change.md")]
struct PressureChangeDocument;
