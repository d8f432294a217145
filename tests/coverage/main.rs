//! Small simulation studies with known truth: coverage, bias and spread of the estimators. The large study is
//! `cargo run --release -p tightfit-fit --example pressure-change-study`.
#![allow(clippy::unwrap_used, reason = "a test stops where a simulated record cannot be evaluated")]

mod clean_up;
mod ppm_rise;
mod pressure_change;
