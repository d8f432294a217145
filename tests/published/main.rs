//! Checks of `tightfit-fit` against published values. Each file names its source; where a value comes from memory of the
//! source it says so. What they find stands in `notebooks-free-docs/cross-checks.md`.
#![allow(clippy::unwrap_used, reason = "a test stops where a transcribed figure does not parse")]
#![allow(clippy::unreadable_literal, clippy::excessive_precision, reason = "figures stand as they are printed")]

mod antechamber;
mod closed_chambers;
mod conformity;
mod design;
mod distribution_quantiles;
mod exponential_approach;
#[allow(clippy::approx_constant, reason = "a reading may look like a constant")]
mod exponential_records;
mod general_library;
mod gum;
mod history;
mod leak_test;
mod nist_linear;
mod nist_nonlinear;
mod nist_univariate;
mod ppm_rise;
mod regeneration;
mod regression_with_autocorrelation;
