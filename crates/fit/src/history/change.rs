//! A change at an unknown time.

use nalgebra::DMatrix;

use super::scatter::{Mixture, Model};
use super::{HistoryError, Point, checked};
use crate::Estimate;

/// A step of the level at an unknown time.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangePoint {
    /// Probability that there was a step, rather than nothing or a steady drift.
    pub probability: f64,
    /// Last day before and first day after the most probable step.
    pub between_days: [f64; 2],
    /// Probability that the step lies there, given that there was one.
    pub location_probability: f64,
    /// Shortest run of days that holds the step with 95 %, given that there was one.
    pub days95: [f64; 2],
    /// Size of the step at its most probable place.
    pub step: Estimate,
}

/// Results that a change at an unknown time takes.
const NEEDED_DAYS: usize = 5;

/// Looks for one step of the level between any two days.
///
/// "A step after day k" is weighed against "nothing changed" and "a steady drift" by their likelihoods with level,
/// scatter and size integrated out (step and drift are normal around zero, twice the spread of the values wide); the
/// three, and the places of a step, are equally probable beforehand.
///
/// # Errors
/// [`HistoryError::TooFew`] below five different days, [`HistoryError::NotUsable`] for a number that is not finite.
pub fn change_point(points: &[Point]) -> Result<ChangePoint, HistoryError> {
    checked(points, NEEDED_DAYS)?;
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.day.total_cmp(&b.day));
    let too_few = HistoryError::TooFew { days: 1, needed: NEEDED_DAYS };
    let width = 2.0 * spread(&sorted);
    let model = |column: &dyn Fn(usize) -> f64| Model {
        design: DMatrix::from_fn(sorted.len(), 2, |i, j| if j == 0 { 1.0 } else { column(i) }),
        priors: vec![(1, width)],
        places: vec![0, 1],
        log_prior: 0.0,
    };
    let level = Model {
        design: DMatrix::from_element(sorted.len(), 1, 1.0),
        priors: Vec::new(),
        places: vec![0],
        log_prior: 0.0,
    };
    let plain = Mixture::new(&[level], 1, &sorted).ok_or(too_few)?.log_evidence;
    let [first, last] = [sorted[0].day, sorted[sorted.len() - 1].day];
    let drift = |i: usize| (sorted[i].day - first) / (last - first);
    let drifting = Mixture::new(&[model(&drift)], 2, &sorted).ok_or(too_few)?.log_evidence;
    let places: Vec<(usize, Mixture)> = (1..sorted.len())
        .filter(|k| sorted[*k].day > sorted[*k - 1].day)
        .filter_map(|k| Some((k, Mixture::new(&[model(&|i| f64::from(u8::from(i >= k)))], 2, &sorted)?)))
        .collect();
    let top = places.iter().map(|(_, fit)| fit.log_evidence).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = places.iter().map(|(_, fit)| (fit.log_evidence - top).exp()).collect();
    let sum: f64 = weights.iter().sum();
    let best = weights.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|(index, _)| index).ok_or(too_few)?;
    // The three are equally probable beforehand.
    let step = top + (sum / weights.len() as f64).ln();
    let others = (plain - step).exp() + (drifting - step).exp();
    let (k, fit) = &places[best];
    let [first_place, last_place] = shortest(&weights, sum, best);
    Ok(ChangePoint {
        probability: 1.0 / (1.0 + others),
        between_days: [sorted[k - 1].day, sorted[*k].day],
        location_probability: weights[best] / sum,
        days95: [sorted[places[first_place].0 - 1].day, sorted[places[last_place].0].day],
        step: Estimate::from_distribution(fit.combination(&[0.0, 1.0]), Vec::new()),
    })
}

/// Standard deviation of the values.
fn spread(points: &[Point]) -> f64 {
    let mean = points.iter().map(|point| point.value).sum::<f64>() / points.len() as f64;
    let sum: f64 = points.iter().map(|point| (point.value - mean).powi(2)).sum();
    (sum / (points.len() - 1) as f64).sqrt().max(f64::MIN_POSITIVE.sqrt())
}

/// First and last place of a run around the best that holds 95 %.
fn shortest(weights: &[f64], sum: f64, best: usize) -> [usize; 2] {
    let (mut first, mut last, mut held) = (best, best, weights[best]);
    while held < 0.95 * sum {
        let before = first.checked_sub(1).map_or(-1.0, |k| weights[k]);
        let after = weights.get(last + 1).copied().unwrap_or(-1.0);
        if before < 0.0 && after < 0.0 {
            break;
        }
        if before > after {
            first -= 1;
            held += before;
        } else {
            last += 1;
            held += after;
        }
    }
    [first, last]
}
