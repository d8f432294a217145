//! Weighted linear regression with known variances, and its restricted likelihood.

use nalgebra::{DMatrix, DVector};

use super::Point;

/// A fit with given variances.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) coefficients: DVector<f64>,
    /// Covariance of the coefficients, from the variances alone.
    pub(super) covariance: DMatrix<f64>,
    /// ln of the restricted likelihood, up to a constant of the design.
    pub(super) log_restricted: f64,
}

/// Fits `y` to the columns of `design`; `None` where these depend on each other or a variance is zero.
///
/// Restricted likelihood: −½ [Σ ln v_i + ln |X'V⁻¹X| + r'V⁻¹r] (Patterson and Thompson 1971, Biometrika 58:545).
pub(super) fn fit(design: &DMatrix<f64>, y: &DVector<f64>, variance: &[f64]) -> Option<Fit> {
    if variance.iter().any(|v| !(*v > 0.0)) {
        return None;
    }
    let weights = DVector::from_iterator(variance.len(), variance.iter().map(|v| 1.0 / v));
    let weighted = DMatrix::from_fn(design.nrows(), design.ncols(), |i, j| design[(i, j)] * weights[i]);
    let normal = weighted.transpose() * design;
    let factor = normal.cholesky()?;
    let coefficients = factor.solve(&(weighted.transpose() * y));
    let residual = y - design * &coefficients;
    let sum: f64 = residual.iter().zip(&weights).map(|(r, w)| r * r * w).sum();
    let log_variances: f64 = variance.iter().map(|v| v.ln()).sum();
    let log_determinant = 2.0 * factor.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
    Some(Fit {
        coefficients,
        covariance: factor.inverse(),
        log_restricted: -0.5 * (log_variances + log_determinant + sum),
    })
}

/// The scatter that maximises the restricted likelihood, and the fit there: the conventional random-effects estimate.
pub(super) fn restricted(design: &DMatrix<f64>, points: &[Point]) -> Option<(f64, Fit)> {
    let y = DVector::from_iterator(points.len(), points.iter().map(|point| point.value));
    let at = |scatter: f64| {
        let variance: Vec<f64> = points.iter().map(|p| p.standard_uncertainty.powi(2) + scatter * scatter).collect();
        fit(design, &y, &variance)
    };
    let largest = 3.0 * (y.variance() * points.len() as f64).sqrt();
    let value = |scatter: f64| at(scatter).map_or(f64::NEG_INFINITY, |fit| fit.log_restricted);
    // The likelihood may have its maximum at zero or far up: a coarse look, then thirds of the best neighbourhood.
    let grid: Vec<f64> = (0..=200).map(|k| largest * (f64::from(k) / 200.0).powi(3)).collect();
    let best = (0..grid.len()).max_by(|a, b| value(grid[*a]).total_cmp(&value(grid[*b])))?;
    let (mut low, mut high) = (grid[best.saturating_sub(1)], grid[(best + 1).min(grid.len() - 1)]);
    for _ in 0..100 {
        let third = (high - low) / 3.0;
        if value(low + third) < value(high - third) { low += third } else { high -= third }
    }
    let scatter = 0.5 * (low + high);
    Some((scatter, at(scatter)?))
}
