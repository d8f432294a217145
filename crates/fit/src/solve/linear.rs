//! Linear least squares by Householder QR.

use super::FitError;
use nalgebra::{DMatrix, DVector};

/// A linear fit y ≈ X·β.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// Coefficients β, one a column.
    pub coefficients: Vec<f64>,
    /// Covariance matrix s²·(XᵀWX)⁻¹, row after row in rows.
    pub covariance: Vec<Vec<f64>>,
    /// Weighted residual sum of squares.
    pub residual_sum_of_squares: f64,
    /// Rows minus columns.
    pub degrees_of_freedom: usize,
}

impl LinearFit {
    /// Standard error of each coefficient.
    pub fn standard_errors(&self) -> Vec<f64> {
        (0..self.coefficients.len()).map(|j| self.covariance[j][j].sqrt()).collect()
    }

    /// Residual standard deviation √(RSS/ν); NaN without degrees of freedom.
    pub fn residual_standard_deviation(&self) -> f64 {
        (self.residual_sum_of_squares / self.degrees_of_freedom as f64).sqrt()
    }
}

/// Fits y ≈ X·β by weighted linear least squares.
///
/// `rows` are the rows of X, all of one length; `weights` are inverse variances up to a factor (all 1 where `None`).
/// Columns are scaled to unit length and the solution is refined once, so that polynomials of high degree keep their
/// digits (checked on the ten NIST linear problems).
///
/// # Errors
/// [`FitError::Sizes`] when lengths differ, [`FitError::TooFewPoints`] with fewer rows than columns,
/// [`FitError::NotFinite`] for a number that is not finite, [`FitError::RankDeficient`] when columns depend on each
/// other.
pub fn fit_linear(rows: &[Vec<f64>], y: &[f64], weights: Option<&[f64]>) -> Result<LinearFit, FitError> {
    let n = rows.len();
    let columns = rows.first().map_or(0, Vec::len);
    if n != y.len() || weights.is_some_and(|w| w.len() != n) || rows.iter().any(|row| row.len() != columns) {
        return Err(FitError::Sizes);
    }
    if columns == 0 || n < columns {
        return Err(FitError::TooFewPoints { points: n, parameters: columns });
    }
    let root = |i: usize| weights.map_or(1.0, |w| w[i].sqrt());
    let mut x = DMatrix::from_fn(n, columns, |i, j| rows[i][j] * root(i));
    let target = DVector::from_fn(n, |i, _| y[i] * root(i));
    if x.iter().chain(target.iter()).any(|v| !v.is_finite()) {
        return Err(FitError::NotFinite);
    }
    let lengths: Vec<f64> = x.column_iter().map(|column| column.norm()).collect();
    for (mut column, length) in x.column_iter_mut().zip(&lengths) {
        if *length > 0.0 {
            column /= *length;
        }
    }
    let qr = x.clone().qr();
    let r = qr.r();
    let rank = r.diagonal().iter().filter(|d| d.abs() > 1e-14 * n as f64).count();
    if rank < columns {
        return Err(FitError::RankDeficient { rank, parameters: columns });
    }
    let deficient = FitError::RankDeficient { rank: columns - 1, parameters: columns };
    let solve = |right: &DVector<f64>| {
        let projected = qr.q().transpose() * right;
        r.solve_upper_triangular(&projected)
    };
    let mut scaled = solve(&target).ok_or_else(|| deficient.clone())?;
    for _ in 0..2 {
        let residual = &target - &x * &scaled;
        scaled += solve(&residual).ok_or_else(|| deficient.clone())?;
    }
    let residual_sum_of_squares = (&target - &x * &scaled).norm_squared();
    let inverse = r.solve_upper_triangular(&DMatrix::identity(columns, columns)).ok_or(deficient)?;
    let degrees_of_freedom = n - columns;
    let variance = if degrees_of_freedom > 0 { residual_sum_of_squares / degrees_of_freedom as f64 } else { f64::NAN };
    let product = &inverse * inverse.transpose();
    Ok(LinearFit {
        coefficients: scaled.iter().zip(&lengths).map(|(b, length)| b / length).collect(),
        covariance: (0..columns)
            .map(|i| (0..columns).map(|j| variance * product[(i, j)] / (lengths[i] * lengths[j])).collect())
            .collect(),
        residual_sum_of_squares,
        degrees_of_freedom,
    })
}
