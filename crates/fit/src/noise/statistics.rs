//! Plain statistics of a series.

use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Mean and sample standard deviation (n − 1), in two passes; the standard deviation of one value is 0.
pub fn mean_and_standard_deviation(values: &[f64]) -> (f64, f64) {
    if values.is_empty() {
        return (f64::NAN, f64::NAN);
    }
    let n = values.len() as f64;
    let rough = values.iter().sum::<f64>() / n;
    // The second pass takes the rounding of the first out of mean and sum of squares.
    let mean = rough + values.iter().map(|v| v - rough).sum::<f64>() / n;
    let correction: f64 = values.iter().map(|v| v - mean).sum();
    let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() - correction * correction / n;
    (mean, (squares / (n - 1.0).max(1.0)).max(0.0).sqrt())
}

/// Standard deviation of single readings about a smooth course: from second differences and their median, so that
/// steps and slow changes do not count. Where most readings repeat the one before (a coarse step) their mean is taken.
/// 0 for fewer than three values.
pub fn scatter(values: &[f64]) -> f64 {
    // Median and mean of |N(0, 1)|, and the variance of a second difference of white noise: 1 + 4 + 1.
    const MEDIAN: f64 = 0.674_489_75;
    const MEAN: f64 = 0.797_884_56;
    let mut differences: Vec<f64> = values.windows(3).map(|v| (v[0] - 2.0 * v[1] + v[2]).abs()).collect();
    if differences.is_empty() {
        return 0.0;
    }
    let middle = differences.len() / 2;
    let median = *differences.select_nth_unstable_by(middle, f64::total_cmp).1;
    if median > 0.0 {
        return median / MEDIAN / 6.0_f64.sqrt();
    }
    // The largest hundredth are steps of what is measured.
    let kept = differences.len() - differences.len() / 100;
    differences.sort_unstable_by(f64::total_cmp);
    differences[..kept].iter().sum::<f64>() / kept as f64 / MEAN / 6.0_f64.sqrt()
}

/// Lag-1 autocorrelation Σ(y_i − ȳ)(y_{i+1} − ȳ)/Σ(y_i − ȳ)², as NIST defines it; 0 for a constant series.
pub fn lag1_autocorrelation(values: &[f64]) -> f64 {
    let (mean, _) = mean_and_standard_deviation(values);
    let total: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
    if total <= 0.0 {
        return 0.0;
    }
    values.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum::<f64>() / total
}

/// Durbin-Watson statistic Σ(e_i − e_{i−1})²/Σe_i² (no centring); NaN where all residuals are zero.
///
/// J. Durbin, G. S. Watson, Biometrika 37, 409 (1950), from memory.
pub fn durbin_watson(residuals: &[f64]) -> f64 {
    let total: f64 = residuals.iter().map(|e| e * e).sum();
    residuals.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).sum::<f64>() / total
}

/// p-value of the Jarque-Bera test of normality (χ² with two degrees of freedom, so for long series); 1 for a constant one.
///
/// C. M. Jarque, A. K. Bera, Economics Letters 6, 255 (1980), from memory.
pub fn jarque_bera_p_value(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let (mean, _) = mean_and_standard_deviation(values);
    let moment = |power: i32| values.iter().map(|v| (v - mean).powi(power)).sum::<f64>() / n;
    let variance = moment(2);
    if !(variance > 0.0) {
        return 1.0;
    }
    let skewness = moment(3) / variance.powf(1.5);
    let excess = moment(4) / (variance * variance) - 3.0;
    let statistic = n / 6.0 * (skewness * skewness + excess * excess / 4.0);
    ChiSquared::new(2.0).map_or(f64::NAN, |chi| 1.0 - chi.cdf(statistic))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn alternating_values_have_negative_autocorrelation() {
        let values: Vec<f64> = (0..100).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
        assert!((lag1_autocorrelation(&values) + 0.99).abs() < 1e-12);
    }

    #[test]
    fn a_constant_series_is_taken_as_normal() {
        assert!((jarque_bera_p_value(&[2.0; 10]) - 1.0).abs() < 1e-12);
    }
}
