//! Mass point: a straight line through p/T, with its published upper confidence limit.
//!
//! Formulas: ANSI/ANS-56.8 (1981, 1987, 1994), Containment System Leakage Testing Requirements, from memory; the
//! practice of US 10 CFR 50, Appendix J.

use crate::noise::straight_line;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Result of a mass-point evaluation. Rates are relative to the amount of gas at the first reading (B in W = A·t + B).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassPoint {
    /// Relative loss −A/B, 1/s: positive when gas goes out.
    pub loss_per_s: f64,
    /// Standard deviation of the slope over B, 1/s (the uncertainty of B is neglected, as published).
    pub standard_error_per_s: f64,
    /// Half the width of the one-sided 95 % bound, t₀.₉₅(N−2)·s_A/B, 1/s.
    pub one_sided_margin_per_s: f64,
    /// Degrees of freedom N − 2.
    pub degrees_of_freedom: f64,
}

/// Fits W_i = (p_i − p_v,i)/T_i by ordinary least squares, with B taken at time 0 of `time_s`.
///
/// Slices of equal length, pressures absolute and dry in Pa, temperatures in K. `None` for fewer than three readings
/// or no time between them. Assumes white residuals: wandering ones make the limit too low.
pub fn mass_point(time_s: &[f64], dry_pressure_pa: &[f64], temperature_k: &[f64]) -> Option<MassPoint> {
    let amount: Vec<f64> = dry_pressure_pa.iter().zip(temperature_k).map(|(p, t)| p / t).collect();
    let line = straight_line(time_s, &amount, 0)?;
    let degrees_of_freedom = line.points as f64 - 2.0;
    let intercept = line.value_at_centre - line.slope * line.centre;
    let student = StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()?;
    let standard_error_per_s = line.slope_standard_error / intercept;
    Some(MassPoint {
        loss_per_s: -line.slope / intercept,
        standard_error_per_s,
        one_sided_margin_per_s: student.inverse_cdf(0.95) * standard_error_per_s,
        degrees_of_freedom,
    })
}
