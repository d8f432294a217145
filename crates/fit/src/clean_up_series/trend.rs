//! A straight line through values with known errors that scatter by more than these.
//!
//! The scatter between the values is integrated over with a prior that is flat in its logarithm down to one per cent and
//! flat below; level and slope have flat priors. Few values with much scatter so give a wide slope.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::uncertainty::Distribution;

/// A value in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// Abscissa.
    pub at: f64,
    /// Value.
    pub value: f64,
    /// Its own standard uncertainty.
    pub standard_uncertainty: f64,
}

/// Slope and scatter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Trend {
    /// Slope per unit of the abscissa.
    pub slope: Distribution,
    /// Value at the mean abscissa.
    pub level: f64,
    /// Mean abscissa.
    pub centre: f64,
    /// Standard deviation between the values beyond their own errors.
    pub scatter: f64,
}

/// Fewest values for a trend.
pub(super) const NEEDED: usize = 4;
const SCATTERS: u32 = 60;

/// `None` for fewer than [`NEEDED`] values or where all stand at one abscissa.
pub(super) fn trend(points: &[Point]) -> Option<Trend> {
    if points.len() < NEEDED {
        return None;
    }
    let centre = points.iter().map(|p| p.at).sum::<f64>() / points.len() as f64;
    let lines: Vec<(f64, Line)> = (0..SCATTERS)
        .filter_map(|i| {
            let scatter = 1e-5 * 1e5_f64.powf(f64::from(i) / f64::from(SCATTERS - 1));
            let line = Line::through(points, centre, scatter)?;
            Some((line.log_likelihood + (scatter / (scatter + 0.01)).ln(), line))
        })
        .collect();
    let top = lines.iter().map(|line| line.0).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = lines.iter().map(|line| (line.0 - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let mean = |of: &dyn Fn(&Line) -> f64| {
        lines.iter().zip(&weights).map(|((_, line), weight)| weight * of(line)).sum::<f64>() / total
    };
    let weighted: Vec<(Line, f64)> = lines.iter().map(|line| line.1).zip(weights.iter().map(|w| w / total)).collect();
    Some(Trend {
        slope: mixture(&weighted)?,
        level: mean(&|line| line.level),
        centre,
        scatter: mean(&|line| line.scatter),
    })
}

/// A logarithm that is off the line of the others by more than this is of something else.
const FAR: f64 = 1.1;

/// The values, logarithms, without those that are off the others' line by more than a factor of three and by far more than
/// the others scatter. The line is Theil's and Sen's: the medians of the slopes between pairs and of what they leave.
pub(super) fn without_far(points: &[Point]) -> Vec<Point> {
    let pairs = points.iter().enumerate().flat_map(|(i, a)| points[..i].iter().map(move |b| (a, b)));
    let slopes = pairs.filter(|(a, b)| (a.at - b.at).abs() > 0.0).map(|(a, b)| (a.value - b.value) / (a.at - b.at));
    let slope = median(slopes.collect());
    let level = median(points.iter().map(|p| p.value - slope * p.at).collect());
    let off = |p: &Point| (p.value - level - slope * p.at).abs();
    let scatter = median(points.iter().map(off).collect());
    points.iter().filter(|p| off(p) < FAR.max(8.0 * scatter)).copied().collect()
}

/// 0 for no value.
fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// A weighted line for one scatter.
#[derive(Debug, Clone, Copy)]
struct Line {
    scatter: f64,
    level: f64,
    slope: f64,
    slope_sd: f64,
    log_likelihood: f64,
}

impl Line {
    fn through(points: &[Point], centre: f64, scatter: f64) -> Option<Self> {
        let weighted = |of: &dyn Fn(&Point) -> f64| -> f64 {
            points.iter().map(|p| of(p) / (p.standard_uncertainty.powi(2) + scatter * scatter)).sum()
        };
        let (w, wt, wtt) = (weighted(&|_| 1.0), weighted(&|p| p.at - centre), weighted(&|p| (p.at - centre).powi(2)));
        let (wy, wty) = (weighted(&|p| p.value), weighted(&|p| (p.at - centre) * p.value));
        let determinant = w * wtt - wt * wt;
        if !(determinant > 1e-12 * w * wtt) {
            return None;
        }
        let slope = (w * wty - wt * wy) / determinant;
        let level = (wtt * wy - wt * wty) / determinant;
        let squares = weighted(&|p| (p.value - level - slope * (p.at - centre)).powi(2));
        let log_weights: f64 = points.iter().map(|p| -(p.standard_uncertainty.powi(2) + scatter * scatter).ln()).sum();
        let log_likelihood = 0.5 * (log_weights - determinant.ln() - squares);
        Some(Self { scatter, level, slope, slope_sd: (w / determinant).sqrt(), log_likelihood })
    }
}

fn mixture(lines: &[(Line, f64)]) -> Option<Distribution> {
    let reach = lines.iter().filter(|(_, weight)| *weight > 1e-7);
    let (low, high) = reach.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (line, _)| {
        (low.min(line.slope - 6.0 * line.slope_sd), high.max(line.slope + 6.0 * line.slope_sd))
    });
    let heaviest = lines.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let normal = Normal::standard();
    let stretch = ((high - low) / heaviest.slope_sd).asinh();
    let x: Vec<f64> =
        (-200..=200).map(|i| heaviest.slope + heaviest.slope_sd * (stretch * f64::from(i) / 200.0).sinh()).collect();
    let cumulative = x
        .iter()
        .map(|at| lines.iter().map(|(line, weight)| weight * normal.cdf((at - line.slope) / line.slope_sd)).sum())
        .collect();
    Some(Distribution::Tabulated { x, cumulative })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(scatter: &[f64]) -> Vec<Point> {
        let at = |i: usize| i as f64;
        scatter
            .iter()
            .enumerate()
            .map(|(i, s)| Point { at: at(i), value: 2.0 + 0.1 * at(i) + s, standard_uncertainty: 0.01 })
            .collect()
    }

    #[test]
    fn values_on_a_line_give_its_slope_with_the_error_of_least_squares() {
        let found = trend(&points(&[0.0; 20])).unwrap();
        // Σ(t − t̄)² of 0…19 is 665; the scatter, which might be small but not nothing, widens a little.
        let least = 0.01 / 665.0_f64.sqrt();
        assert!((found.slope.median() - 0.1).abs() < 1e-6);
        assert!((0.95 * least..1.4 * least).contains(&found.slope.standard_deviation()), "{found:?}");
    }

    #[test]
    fn scatter_beyond_the_errors_widens_the_slope() {
        let rough: Vec<f64> = (0..20).map(|i| if i % 2 == 0 { 0.2 } else { -0.2 }).collect();
        let found = trend(&points(&rough)).unwrap();
        assert!((0.15..0.3).contains(&found.scatter), "{found:?}");
        assert!(found.slope.standard_deviation() > 0.15 / 665.0_f64.sqrt());
    }

    #[test]
    fn a_value_far_off_the_line_is_left_out_and_scatter_is_not() {
        let mut found = points(&[0.0; 20]);
        found[7].value -= 5.0;
        let kept = without_far(&found);
        assert_eq!(kept.len(), 19);
        assert!((trend(&kept).unwrap().slope.median() - 0.1).abs() < 1e-3);
        let rough: Vec<f64> = (0..20).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
        assert_eq!(without_far(&points(&rough)).len(), 20);
        assert_eq!(without_far(&points(&[0.0; 1])).len(), 1);
    }

    #[test]
    fn three_values_have_no_trend() {
        assert!(trend(&points(&[0.0; 3])).is_none());
    }
}
