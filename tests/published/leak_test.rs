//! Leak tests by pressure change.
//!
//! - Mass point: formulas of ANSI/ANS-56.8, from memory; the nine readings are a constructed case, computed from these
//!   formulas in 30-digit arithmetic, not published.
//! - Vacuum decay: US Code of Federal Regulations, title 40, section 1065.644 and its example (inputs as printed, result
//!   printed with two digits and recomputed).
//! - Gas line: pressure-drop example attributed to E. W. McAllister (ed.), Pipe Line Rules of Thumb Handbook, from a page
//!   that reproduces it.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::pressure_change::{mass_point, two_point_rate_per_h};

/// The formulas are published, the case is not.
const CONSTRUCTED: &str = "ANSI/ANS-56.8 (formulas from memory), a constructed case in 30-digit arithmetic";

const HOURS: [f64; 9] = [0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0];
const PRESSURE_PA: [f64; 9] =
    [149325.0, 149301.2, 149270.9, 149248.1, 149231.0, 149188.3, 149160.2, 149149.7, 149117.6];
const VAPOUR_PA: [f64; 9] = [1520.0, 1522.0, 1519.0, 1523.0, 1525.0, 1521.0, 1524.0, 1526.0, 1523.0];
const TEMPERATURE_K: [f64; 9] = [295.150, 295.142, 295.121, 295.115, 295.120, 295.074, 295.058, 295.075, 295.050];

#[test]
fn mass_point_has_the_rate_and_upper_limit_of_the_constructed_case() {
    let mut check = CrossCheck::against("Mass point", CONSTRUCTED);
    let seconds: Vec<f64> = HOURS.iter().map(|h| h * 3600.0).collect();
    let dry: Vec<f64> = PRESSURE_PA.iter().zip(VAPOUR_PA).map(|(p, v)| p - v).collect();
    let fit = mass_point(&seconds, &dry, &TEMPERATURE_K).unwrap();
    let percent_per_day = 100.0 * 86400.0;
    check.relative("rate, %/day", fit.loss_per_s * percent_per_day, 0.10943417838688819, 1e-9);
    let upper = (fit.loss_per_s + fit.one_sided_margin_per_s) * percent_per_day;
    check.relative("its upper 95 % limit, %/day", upper, 0.11200295420259944, 1e-9);
    check.relative("degrees of freedom", fit.degrees_of_freedom, 7.0, 0.0);
}

#[test]
fn two_point_has_the_rate_of_the_constructed_case() {
    let mut check = CrossCheck::against("Two points", CONSTRUCTED);
    let dry = |i: usize| PRESSURE_PA[i] - VAPOUR_PA[i];
    let per_hour = two_point_rate_per_h(dry(0), TEMPERATURE_K[0], dry(8), TEMPERATURE_K[8], 24.0 * 3600.0);
    check.relative("loss, %/day", -per_hour * 2400.0, 0.10850540291453893, 1e-9);
}

#[test]
fn vacuum_decay_example_of_the_regulation_comes_out() {
    let source = "US Code of Federal Regulations, title 40, section 1065.644, example (recomputed, and as printed)";
    let mut check = CrossCheck::against("Vacuum decay", source);
    let seconds = 70.0;
    let per_hour = two_point_rate_per_h(25_300.0, 293.15, 50_600.0, 293.15, seconds);
    // Relative rate of the amount at the start, times that amount n = pV/(RT), with the R that the example prints.
    let amount = 25_300.0 * 0.002 / (8.314472 * 293.15);
    let mol_per_s = per_hour / 3600.0 * amount;
    check.relative("leak rate, mol/s", mol_per_s, 0.000296570468464, 1e-9);
    check.relative("leak rate as printed, mol/s", mol_per_s, 0.00030, 0.02);
}

#[test]
fn gas_line_example_comes_out_within_the_error_that_its_formula_states() {
    let source =
        "Example attributed to E. W. McAllister (ed.), Pipe Line Rules of Thumb Handbook, whose formula is good to 4 %";
    let mut check = CrossCheck::against("Gas line", source);
    // 204.9 and 204.4 psia at 52 °F over an hour; volume of a mile of 10.136 inch pipe.
    let psi = 6894.757293168;
    let kelvin = (52.0 + 459.67) / 1.8;
    let per_hour = two_point_rate_per_h(204.9 * psi, kelvin, 204.4 * psi, kelvin, 3600.0);
    let amount = 204.9 * psi * 83.7798162594 / (8.31446261815324 * kelvin);
    check.relative("loss by the exact formula, mol/s", -per_hour / 3600.0 * amount, 0.0339448783, 1e-8);
    // Printed 0.903 million cubic feet a year at 14.4 psia and 60 °F; the formula is said to be good to about 4 %.
    let cubic_feet = 0.0339448783 * 8760.0 * 3600.0 * 8.31446261815324 * (519.67 / 1.8) / (14.4 * psi) / 0.028316846592;
    check.relative("loss as printed, million cubic feet a year", cubic_feet / 1e6, 0.903, 0.04);
}
