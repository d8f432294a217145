//! Straight line by ordinary least squares with an autocorrelation-robust uncertainty (Newey and West 1987).

use nalgebra::DMatrix;

/// A straight line y = a + b·(t − t̄) and its uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLine {
    /// Mean of the abscissae t̄.
    pub centre: f64,
    /// Value at t̄.
    pub value_at_centre: f64,
    /// Slope b.
    pub slope: f64,
    /// Textbook standard error of the slope: white residuals, n − 2 degrees of freedom.
    pub slope_standard_error: f64,
    /// Newey-West standard error of the slope: Bartlett kernel, no small-sample factor.
    pub slope_newey_west: f64,
    /// Residual sum of squares.
    pub residual_sum_of_squares: f64,
    /// Number of points.
    pub points: usize,
}

/// Lag of the Bartlett kernel for `points` readings, ⌊4·(n/100)^(2/9)⌋ (Newey and West 1994, first stage).
pub fn newey_west_lag(points: usize) -> usize {
    (4.0 * (points as f64 / 100.0).powf(2.0 / 9.0)).floor() as usize
}

/// Fits a straight line; `None` for fewer than three points or abscissae that are all equal.
///
/// `lag` is the largest lag of the Bartlett kernel, in points. Slices of equal length, finite values.
pub fn straight_line(abscissa: &[f64], ordinate: &[f64], lag: usize) -> Option<StraightLine> {
    let points = abscissa.len().min(ordinate.len());
    if points < 3 {
        return None;
    }
    let n = points as f64;
    let centre = abscissa.iter().sum::<f64>() / n;
    let value_at_centre = ordinate.iter().sum::<f64>() / n;
    let sum_of_squares: f64 = abscissa.iter().map(|t| (t - centre).powi(2)).sum();
    if sum_of_squares <= 0.0 {
        return None;
    }
    let slope =
        abscissa.iter().zip(ordinate).map(|(t, y)| (t - centre) * (y - value_at_centre)).sum::<f64>() / sum_of_squares;
    let mut residual_sum_of_squares = 0.0;
    let scores: Vec<f64> = abscissa
        .iter()
        .zip(ordinate)
        .map(|(t, y)| {
            let residual = y - value_at_centre - slope * (t - centre);
            residual_sum_of_squares += residual * residual;
            (t - centre) * residual
        })
        .collect();
    let meat = bartlett_sum(&scores, lag.min(points - 1));
    Some(StraightLine {
        centre,
        value_at_centre,
        slope,
        slope_standard_error: (residual_sum_of_squares / (n - 2.0) / sum_of_squares).sqrt(),
        slope_newey_west: meat.max(0.0).sqrt() / sum_of_squares,
        residual_sum_of_squares,
        points,
    })
}

/// Σ s² + 2 Σ_l (1 − l/(L+1)) Σ s_i s_{i−l}.
fn bartlett_sum(scores: &[f64], lag: usize) -> f64 {
    let mut sum: f64 = scores.iter().map(|s| s * s).sum();
    for l in 1..=lag {
        let weight = 1.0 - l as f64 / (lag as f64 + 1.0);
        sum += 2.0 * weight * dot(&scores[l..], scores);
    }
    sum
}

/// Scalar product over the shorter slice, in four interleaved sums: a single one would wait for every addition.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len());
    let (quads_a, rest_a) = a[..n].as_chunks::<4>();
    let (quads_b, rest_b) = b[..n].as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (x, y) in quads_a.iter().zip(quads_b) {
        for lane in 0..4 {
            sums[lane] += x[lane] * y[lane];
        }
    }
    let rest: f64 = rest_a.iter().zip(rest_b).map(|(x, y)| x * y).sum();
    sums.iter().sum::<f64>() + rest
}

/// Newey-West covariance (XᵀX)⁻¹·S·(XᵀX)⁻¹ of least-squares coefficients, Bartlett kernel up to `lag`, no small-sample
/// factor, in rows. `rows` are the rows of X, `residuals` one a row; `None` where the columns depend on each other or
/// lengths differ.
pub fn newey_west_covariance(rows: &[Vec<f64>], residuals: &[f64], lag: usize) -> Option<Vec<Vec<f64>>> {
    let columns = rows.first()?.len();
    if rows.len() != residuals.len() || rows.iter().any(|row| row.len() != columns) || rows.len() <= columns {
        return None;
    }
    let scores = DMatrix::from_fn(rows.len(), columns, |i, j| rows[i][j] * residuals[i]);
    let mut meat = scores.transpose() * &scores;
    for l in 1..=lag.min(rows.len() - 1) {
        let weight = 1.0 - l as f64 / (lag as f64 + 1.0);
        let shifted = scores.rows(l, rows.len() - l).transpose() * scores.rows(0, rows.len() - l);
        meat += (&shifted + shifted.transpose()) * weight;
    }
    let r = DMatrix::from_fn(rows.len(), columns, |i, j| rows[i][j]).qr().r();
    let inverse = r.solve_upper_triangular(&DMatrix::identity(columns, columns))?;
    let bread = &inverse * inverse.transpose();
    let covariance = &bread * meat * &bread;
    Some((0..columns).map(|i| covariance.row(i).iter().copied().collect()).collect())
}

#[cfg(test)]
mod tests {
    use tightfit_cross_check::CrossCheck;

    use super::*;

    #[test]
    fn an_exact_line_has_no_uncertainty() {
        let t: Vec<f64> = (0..50).map(f64::from).collect();
        let y: Vec<f64> = t.iter().map(|t| 3.0 - 0.25 * t).collect();
        let line = straight_line(&t, &y, 4).unwrap();
        assert!((line.slope + 0.25).abs() < 1e-13);
        assert!(line.slope_newey_west < 1e-12);
    }

    #[test]
    fn the_lag_follows_the_published_rule() {
        let source = "Newey and West (1994, from memory): ⌊4 (n/100)^(2/9)⌋, computed by hand";
        let mut check = CrossCheck::against("Lag of robust errors", source);
        for (readings, lag) in [(997, 6.0), (1310, 7.0), (100, 4.0)] {
            check.absolute("lag", newey_west_lag(readings) as f64, lag, 0.0);
        }
    }
}
