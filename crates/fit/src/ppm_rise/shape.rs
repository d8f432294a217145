//! Shapes of outgassing: what has come off the walls until a time, as a share of what comes off in the window.

use super::{Outgassing, Species};

/// Outgassing of one shape; `u` and `v` are its coordinates (see [`Shape::domain`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    pub kind: Outgassing,
    pub u: f64,
    pub v: f64,
}

/// Range of the two coordinates.
pub(super) type Domain = [[f64; 2]; 2];

impl Shape {
    /// Number of terms.
    pub(super) fn terms(self) -> usize {
        match self.kind {
            Outgassing::None => 0,
            Outgassing::OneExponential | Outgassing::PowerLaw => 1,
            Outgassing::TwoExponentials => 2,
        }
    }

    /// Range of the coordinates: ln(τ/window) of the exponentials, from a 300th of the window to three times the window
    /// for one term, to the window for two; exponent and ln(t₀/window) of the power law.
    pub(super) fn domain(kind: Outgassing) -> Domain {
        let exponential = [(1.0_f64 / 300.0).ln(), 3.0_f64.ln()];
        match kind {
            Outgassing::None => [[0.0; 2]; 2],
            Outgassing::OneExponential => [exponential, [0.0; 2]],
            Outgassing::TwoExponentials => [[exponential[0], 0.0]; 2],
            Outgassing::PowerLaw => [[0.4, 1.8], [(5e-4_f64).ln(), 0.0]],
        }
    }

    /// Whether the coordinates stand for a shape of their own.
    pub(super) fn is_admissible(self) -> bool {
        let [u, v] = Self::domain(self.kind);
        let inside = |x: f64, range: [f64; 2]| x >= range[0] - 1e-9 && x <= range[1] + 1e-9;
        match self.kind {
            Outgassing::None => true,
            Outgassing::OneExponential => inside(self.u, u),
            Outgassing::TwoExponentials => inside(self.u, u) && inside(self.v, v) && self.v >= self.u + 0.4,
            Outgassing::PowerLaw => inside(self.u, u) && inside(self.v, v),
        }
    }

    /// Logarithm of the prior density of the coordinates, up to the constant of [`Shape::prior_area`].
    ///
    /// Flat in what distinguishes shapes: in ln τ the density follows the rate at which the visible part of the rise
    /// (what start and steady ingress cannot imitate) turns as τ changes. Computed for even readings that rate is
    /// 0.5/√(1 + (6τ/window)²) within 5 %: slow decays all look alike, and a prior flat in ln τ would favour them and
    /// with them an ingress too small.
    pub(super) fn log_density(self) -> f64 {
        let of = |u: f64| -0.5 * (36.0 * (2.0 * u).exp()).ln_1p();
        match self.kind {
            Outgassing::None | Outgassing::PowerLaw => 0.0,
            Outgassing::OneExponential => of(self.u),
            Outgassing::TwoExponentials => of(self.u) + of(self.v),
        }
    }

    /// Integral of the prior density over the admissible coordinates.
    pub(super) fn prior_area(kind: Outgassing) -> f64 {
        let [u, v] = Self::domain(kind);
        let integral = |range: [f64; 2]| ((-range[0]).exp() / 6.0).asinh() - ((-range[1]).exp() / 6.0).asinh();
        match kind {
            Outgassing::None => 1.0,
            Outgassing::OneExponential => integral(u),
            // Half of the square, since the terms are in order.
            Outgassing::TwoExponentials => 0.5 * integral(u).powi(2),
            Outgassing::PowerLaw => (u[1] - u[0]) * (v[1] - v[0]),
        }
    }

    /// What term `term` releases over a window.
    pub(super) fn release(self, term: usize, span_s: f64) -> Release {
        match self.kind {
            Outgassing::None => Release::Nothing,
            Outgassing::OneExponential | Outgassing::TwoExponentials => {
                let tau = if term == 0 { self.u } else { self.v }.exp();
                Release::Exponential { per_s: -1.0 / (tau * span_s), factor: 1.0 / (-1.0 / tau).exp_m1() }
            }
            Outgassing::PowerLaw => {
                let t0 = self.v.exp();
                let factor = 1.0 / power_integral(self.u, 1.0 + 1.0 / t0);
                Release::PowerLaw { exponent: self.u, per_s: 1.0 / (t0 * span_s), factor }
            }
        }
    }

    /// Rate at the end of the window of a term that releases 1 in the window, per window.
    pub(super) fn rate_at_end(self, term: usize) -> f64 {
        match self.kind {
            Outgassing::None => 0.0,
            Outgassing::OneExponential | Outgassing::TwoExponentials => {
                let tau = if term == 0 { self.u } else { self.v }.exp();
                1.0 / (tau * (1.0 / tau).exp_m1())
            }
            Outgassing::PowerLaw => {
                let t0 = self.v.exp();
                let ratio = 1.0 + 1.0 / t0;
                ratio.powf(-self.u) / (t0 * power_integral(self.u, ratio))
            }
        }
    }

    /// Rate at the start of the window of a term that releases 1 in the window, per window.
    pub(super) fn rate_at_start(self, term: usize) -> f64 {
        match self.kind {
            Outgassing::None => 0.0,
            Outgassing::OneExponential | Outgassing::TwoExponentials => {
                let tau = self.time_constant(term);
                -1.0 / (tau * (-1.0 / tau).exp_m1())
            }
            Outgassing::PowerLaw => {
                let t0 = self.v.exp();
                1.0 / (t0 * power_integral(self.u, 1.0 + 1.0 / t0))
            }
        }
    }

    /// Time constant of a term in windows; t₀ of the power law.
    pub(super) fn time_constant(self, term: usize) -> f64 {
        match self.kind {
            Outgassing::None => 0.0,
            Outgassing::OneExponential | Outgassing::TwoExponentials => if term == 0 { self.u } else { self.v }.exp(),
            Outgassing::PowerLaw => self.v.exp(),
        }
    }

    /// Time constants in h, or exponent and t₀ in h.
    pub(super) fn described(self, span_s: f64) -> [f64; 2] {
        let hours = |x: f64| x.exp() * span_s / 3600.0;
        match self.kind {
            Outgassing::None => [0.0; 2],
            Outgassing::OneExponential => [hours(self.u), 0.0],
            Outgassing::TwoExponentials => [hours(self.u), hours(self.v)],
            Outgassing::PowerLaw => [self.u, hours(self.v)],
        }
    }
}

/// Amount that a term has released until a time: 0 at the start and 1 at the end of the window.
#[derive(Debug, Clone, Copy)]
pub(super) enum Release {
    Nothing,
    Exponential { per_s: f64, factor: f64 },
    PowerLaw { exponent: f64, per_s: f64, factor: f64 },
}

impl Release {
    /// Amount released until `t_s` after the start.
    pub(super) fn until(self, t_s: f64) -> f64 {
        match self {
            Self::Nothing => 0.0,
            Self::Exponential { per_s, factor } => factor * (per_s * t_s).exp_m1(),
            Self::PowerLaw { exponent, per_s, factor } => factor * power_integral(exponent, 1.0 + per_s * t_s),
        }
    }
}

/// ∫₁^ratio s^(−n) ds.
fn power_integral(n: f64, ratio: f64) -> f64 {
    let exponent = 1.0 - n;
    let logarithm = ratio.ln();
    if (exponent * logarithm).abs() < 1e-9 { logarithm } else { (exponent * logarithm).exp_m1() / exponent }
}

/// Models considered for a species, with their prior probabilities: oxygen hardly outgasses, water nearly always does,
/// and only water is known to desorb with power-law tails.
pub(super) fn considered(species: Species) -> &'static [(Outgassing, f64)] {
    match species {
        Species::Oxygen => {
            &[(Outgassing::None, 0.475), (Outgassing::OneExponential, 0.475), (Outgassing::TwoExponentials, 0.05)]
        }
        Species::Water => &[
            (Outgassing::None, 0.2),
            (Outgassing::OneExponential, 0.3),
            (Outgassing::TwoExponentials, 0.3),
            (Outgassing::PowerLaw, 0.2),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rates_at_both_ends_are_slopes_of_what_is_released() {
        for shape in [
            Shape { kind: Outgassing::OneExponential, u: -1.0, v: 0.0 },
            Shape { kind: Outgassing::PowerLaw, u: 1.0, v: -3.0 },
            Shape { kind: Outgassing::PowerLaw, u: 0.7, v: -5.0 },
        ] {
            let released = |t: f64| shape.release(0, 1.0).until(t);
            let slope = (released(1.0) - released(1.0 - 1e-6)) / 1e-6;
            assert!((slope - shape.rate_at_end(0)).abs() < 1e-4, "{slope} {}", shape.rate_at_end(0));
            let first = released(1e-6) / 1e-6;
            assert!((first / shape.rate_at_start(0) - 1.0).abs() < 1e-3, "{first} {}", shape.rate_at_start(0));
            assert!((released(1.0) - 1.0).abs() < 1e-12 && released(0.0).abs() < 1e-12);
        }
    }
}
