//! Small simulation studies with known truth: coverage, bias and spread of the estimators. The large study is
//! `cargo run --release -p tightfit-fit --example pressure-change-study`.
#![allow(clippy::unwrap_used, reason = "a test stops where a simulated record cannot be evaluated")]

mod analyser_check;
mod antechamber;
mod clean_up;
mod clean_up_series;
mod decision;
mod design;
mod diagnose;
mod endurance;
mod history;
mod make_up;
mod ppm_rise;
mod pressure_change;
mod purge_down;
mod regeneration;
mod vacuum_hold;

/// Fails when so few intervals hold the truth as happens once in a thousand at 95 % coverage.
fn covers(name: &str, tally: &tightfit_fit::simulate::Tally) {
    use statrs::distribution::{Binomial, DiscreteCDF};
    let outside = (tally.below + tally.above) as u64;
    let chance = 1.0 - Binomial::new(0.05, tally.tests as u64).unwrap().cdf(outside.saturating_sub(1));
    assert!(outside == 0 || chance > 1e-3, "{name}: {outside} of {} outside", tally.tests);
}
