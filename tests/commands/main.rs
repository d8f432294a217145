//! The program from the outside: what goes in, what comes out, how it ends.
#![allow(clippy::unwrap_used, reason = "a test that cannot prepare its input should stop")]

mod bad_input;
mod clean_up;
mod clean_up_series;
mod convert;
mod demo;
mod design;
mod diagnose;
mod history;
mod isolated_chamber;
mod pdf;
mod ppm_rise;
mod ppm_rise_series;
mod purge_down;
mod recheck;
mod records;
mod series;
mod several_files;
#[path = "../support/mod.rs"]
mod support;
mod told;
mod vacuum;
mod writing;
