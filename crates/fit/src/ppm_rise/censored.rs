//! Censored readings as pseudo-readings.
//!
//! A reading below the limit L contributes Φ((L − x)/σ) to the likelihood. Around the current fit its logarithm is
//! replaced by the parabola with the same slope and curvature, which is the contribution of a measured reading with a
//! certain value and variance; fit and replacement are repeated until they agree (Laplace's approximation at the mode).
//! Censored readings count as independent of each other and of the correlated part of the noise.

use super::ReadingStatus;
use super::likelihood::{density, phi};

/// A measured reading that stands for censored ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pseudo {
    pub value: f64,
    pub variance: f64,
}

/// Stands for `count` readings beyond `limit` where the fit is `fitted` and a reading has standard deviation `sd`.
///
/// Far on the wrong side of the limit the parabola is taken three standard deviations from it, which keeps the
/// iteration from overshooting; where fit and replacement agree no reading lies there.
pub(super) fn pseudo(status: ReadingStatus, limit: f64, fitted: f64, sd: f64, count: f64) -> Pseudo {
    let sign = if status == ReadingStatus::AboveRange { -1.0 } else { 1.0 };
    let z = (sign * (limit - fitted) / sd).max(-3.0);
    let at = limit - sign * sd * z;
    let hazard = density(z) / phi(z).max(1e-300);
    let curvature = (hazard * (hazard + z)).clamp(1e-12, 1.0);
    let shift = -sign * sd / (hazard + z).max(1e-3);
    let variance = sd * sd / (count * curvature);
    Pseudo { value: at + shift, variance }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_far_below_its_limit_says_nothing() {
        assert!(pseudo(ReadingStatus::BelowLimit, 1.0, 0.0, 0.1, 10.0).variance > 1e6);
    }

    #[test]
    fn slope_and_curvature_are_those_of_the_log_probability() {
        let (limit, sd) = (1.0, 0.2);
        let log = |x: f64| phi((limit - x) / sd).ln();
        for x in [0.8, 1.0, 1.1] {
            let p = pseudo(ReadingStatus::BelowLimit, limit, x, sd, 1.0);
            let h = 0.01;
            let slope = (log(x + h) - log(x - h)) / (2.0 * h);
            assert!(((p.value - x) / p.variance - slope).abs() < 2e-3 * slope.abs(), "{x}");
        }
        let above = pseudo(ReadingStatus::AboveRange, limit, 0.9, sd, 1.0);
        assert!(above.value > 0.9);
    }
}
