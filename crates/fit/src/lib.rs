//! Numerics of tightness tests on plain slices: leak rates with honest intervals.
//!
//! This crate knows no files, no clock, no data frames and prints nothing. Channels come in as [`Samples`] in SI units,
//! results go out as [`Estimate`]s with distribution and budget.
//!
//! ```
//! use tightfit_fit::Samples;
//! use tightfit_fit::clean_up::{Settings, evaluate};
//! use tightfit_fit::ppm_rise::{Analyser, Trace};
//!
//! // A dose of 60 ppm that comes down to 0.5 ppm with a time constant of 300 s, a reading every 5 s.
//! let time_s: Vec<f64> = (0..600).map(|k| f64::from(k) * 5.0).collect();
//! let reading: Vec<f64> = time_s.iter().map(|t| 1e-6 * (0.5 + 60.0 * (-t / 300.0).exp())).collect();
//!
//! let trace = Trace { samples: Samples::new(&time_s, &reading)?, status: &[], analyser: Analyser::default() };
//! let result = evaluate(&trace, &Settings::default())?;
//! let [low, high] = result.time_constant.interval95;
//! assert!(low < 300.0 && 300.0 < high);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod analyser_check;
pub mod antechamber;
pub mod clean_up;
pub mod clean_up_series;
pub mod decision;
pub mod design;
pub mod diagnose;
pub mod endurance;
pub mod history;
pub mod make_up;
pub mod noise;
mod note_number;
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
mod input;
mod samples;
mod window_choice;

pub use estimate::{BudgetLine, Estimate, Kind};
pub use input::InputError;
pub use samples::{Samples, SamplesError};
pub use window_choice::WindowChoice;

/// Runs the examples of the method's document.
#[cfg(doctest)]
#[doc = include_str!("../../../notebooks-free-docs/method/pressure-change.md")]
struct PressureChangeDocument;
