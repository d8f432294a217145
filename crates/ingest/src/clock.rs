//! By how much the clock of one logger differs from that of another, told from signals that answer each other.
//!
//! The gauge of an enclosure answers the barometer and the temperature. With the right shift one channel, its trend
//! taken off, is a multiple of the other; the sum of squared residuals over the shift is the profile from which
//! estimate and interval are read. Neighbouring residuals are alike, so the interval counts only as many readings as
//! are worth an independent one (lag-1 autocorrelation r: n (1 - r)/(1 + r)).

use crate::recording::{Series, Status};

/// What is known about the difference of two clocks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClockOffset {
    /// The first channel's times plus `offset_s` are on the second one's clock.
    Estimated {
        /// Best shift, s.
        offset_s: f64,
        /// Standard uncertainty, s.
        standard_uncertainty_s: f64,
    },
    /// The signals do not tell.
    NotDeterminable(WhyNot),
}

/// Why the signals do not tell the difference of their clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyNot {
    /// Fewer than twenty readings overlap under every shift.
    TooFewReadings,
    /// One channel does not follow the other under any shift.
    NoCommonSignal,
    /// Every shift within the bounds, or one at their end, fits about as well.
    NotWithinBounds,
}

const FEWEST: usize = 20;
/// Following the other channel must be worth this much chi-square: two free numbers, one searched over a range.
const CLEARLY_FOLLOWS: f64 = 20.0;

/// Estimate the shift, within ±`within_s`, that brings `of` onto the clock of `against`.
///
/// Assumes that `of` is a straight line plus a multiple of `against` plus noise. Checked on 300 simulated gauges and
/// barometers (`tests/exports/clocks.rs` runs 60 of them): mean error -0.7 s of 137 s, and 91 of 100 intervals of 95 %
/// held the truth, so they are a little narrow.
pub fn clock_offset(of: &Series, against: &Series, within_s: f64) -> ClockOffset {
    const GRID: usize = 240;
    let (times, values) = thinned(of);
    let against = smoothed(against);
    let profile: Vec<(f64, Option<Fit>)> = (0..=GRID)
        .map(|i| {
            let shift = within_s * (2.0 * i as f64 / GRID as f64 - 1.0);
            (shift, fit(&times, &values, &against, shift))
        })
        .collect();
    let Some((best, found)) = best(&profile) else { return ClockOffset::NotDeterminable(WhyNot::TooFewReadings) };
    let step = 2.0 * within_s / GRID as f64;
    let (shift, found) = refine(best, found, step, |shift| fit(&times, &values, &against, shift));
    if found.sum_squares_without - found.sum_squares
        < CLEARLY_FOLLOWS * found.sum_squares / found.count as f64 * found.correlation_length()
    {
        return ClockOffset::NotDeterminable(WhyNot::NoCommonSignal);
    }
    let uncertainty = standard_uncertainty(&times, &values, &against, shift);
    match uncertainty.filter(|u| u.is_finite() && shift.abs() + 3.0 * u < within_s) {
        Some(standard_uncertainty_s) => ClockOffset::Estimated { offset_s: shift, standard_uncertainty_s },
        None => ClockOffset::NotDeterminable(WhyNot::NotWithinBounds),
    }
}

/// Measured readings, at most some thousands, evenly picked.
fn thinned(series: &Series) -> (Vec<f64>, Vec<f64>) {
    const MOST: usize = 4000;
    let step = series.len() / MOST + 1;
    (0..series.len())
        .step_by(step)
        .filter(|i| series.status_at(*i) == Status::Measured)
        .map(|i| (series.time_s[i], series.value[i]))
        .unzip()
}

/// The other channel without most of its noise, which would otherwise drown its own slope: a symmetric mean over seven
/// readings, which shifts nothing.
fn smoothed(series: &Series) -> Series {
    const WEIGHTS: [f64; 4] = [4.0, 3.0, 2.0, 1.0];
    let mut smooth = series.clone();
    for i in 3..series.len().saturating_sub(3) {
        let sum = WEIGHTS[0] * series.value[i]
            + (1..=3).map(|k| WEIGHTS[k] * (series.value[i - k] + series.value[i + k])).sum::<f64>();
        smooth.value[i] = sum / 16.0;
    }
    smooth
}

fn median_step(time_s: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    Some(*steps.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Least squares of a line plus a multiple of the other channel.
#[derive(Debug, Clone, Copy)]
struct Fit {
    count: usize,
    sum_squares: f64,
    /// With the line alone.
    sum_squares_without: f64,
    /// Lag-1 autocorrelation of the residuals.
    autocorrelation: f64,
}

impl Fit {
    fn mean_square(&self) -> f64 {
        self.sum_squares / self.count as f64
    }

    /// How many neighbouring readings are worth one.
    fn correlation_length(&self) -> f64 {
        let r = self.autocorrelation.clamp(0.0, 0.99);
        (1.0 + r) / (1.0 - r)
    }
}

/// Readings of the first channel and the other channel's values at their shifted times.
struct Aligned {
    t: Vec<f64>,
    y: Vec<f64>,
    x: Vec<f64>,
}

fn aligned(times: &[f64], values: &[f64], against: &Series, shift: f64) -> Option<Aligned> {
    let mut t = Vec::with_capacity(times.len());
    let mut y = Vec::with_capacity(times.len());
    let mut x = Vec::with_capacity(times.len());
    let mut next = 0;
    for (time, value) in times.iter().zip(values) {
        let at = time + shift;
        while next < against.len() && against.time_s[next] < at {
            next += 1;
        }
        if next == 0 || next == against.len() {
            continue;
        }
        let (before, behind) = (against.time_s[next - 1], against.time_s[next]);
        let share = if behind > before { (at - before) / (behind - before) } else { 0.0 };
        t.push(*time);
        y.push(*value);
        x.push(against.value[next - 1] + share * (against.value[next] - against.value[next - 1]));
    }
    (t.len() >= FEWEST).then_some(Aligned { t, y, x })
}

fn fit(times: &[f64], values: &[f64], against: &Series, shift: f64) -> Option<Fit> {
    let Aligned { t, y, x } = aligned(times, values, against, shift)?;
    let (y, x) = (without_line(&t, &y), without_line(&t, &x));
    let (xx, xy, yy) = (dot(&x, &x), dot(&x, &y), dot(&y, &y));
    let gain = if xx > 0.0 { xy / xx } else { 0.0 };
    let residuals: Vec<f64> = y.iter().zip(&x).map(|(y, x)| y - gain * x).collect();
    let sum_squares = dot(&residuals, &residuals);
    let lagged = dot(&residuals[1..], &residuals[..residuals.len() - 1]);
    let autocorrelation = if sum_squares > 0.0 { lagged / sum_squares } else { 0.0 };
    Some(Fit { count: t.len(), sum_squares, sum_squares_without: yy, autocorrelation })
}

/// Residuals of a least-squares line.
fn without_line(t: &[f64], y: &[f64]) -> Vec<f64> {
    let n = t.len() as f64;
    let (mean_t, mean_y) = (t.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let squares: f64 = t.iter().map(|t| (t - mean_t).powi(2)).sum();
    let products: f64 = t.iter().zip(y).map(|(t, y)| (t - mean_t) * (y - mean_y)).sum();
    let slope = if squares > 0.0 { products / squares } else { 0.0 };
    t.iter().zip(y).map(|(t, y)| y - mean_y - slope * (t - mean_t)).collect()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn best(profile: &[(f64, Option<Fit>)]) -> Option<(f64, Fit)> {
    profile
        .iter()
        .filter_map(|(shift, fit)| Some((*shift, (*fit)?)))
        .min_by(|a, b| a.1.mean_square().total_cmp(&b.1.mean_square()))
}

/// Golden-section search around the best grid point.
fn refine(shift: f64, fit: Fit, step: f64, at: impl Fn(f64) -> Option<Fit>) -> (f64, Fit) {
    const GOLDEN: f64 = 0.618_033_988_749_895;
    let (mut low, mut high) = (shift - step, shift + step);
    let mut found = (shift, fit);
    for _ in 0..30 {
        let (a, b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        let (Some(left), Some(right)) = (at(a), at(b)) else { break };
        let better = if left.mean_square() < right.mean_square() { (a, left) } else { (b, right) };
        if better.1.mean_square() < found.1.mean_square() {
            found = better;
        }
        if left.mean_square() < right.mean_square() {
            high = b;
        } else {
            low = a;
        }
    }
    found
}

/// First-order uncertainty of the shift: by how much each reading moves it, summed as correlated errors are (Newey and
/// West, Econometrica 55 (1987) 703), over lags that cover the smoothing of the other channel.
fn standard_uncertainty(times: &[f64], values: &[f64], against: &Series, shift: f64) -> Option<f64> {
    let step = median_step(&against.time_s)?;
    let slope_over = 6.0 * step;
    let at = aligned(times, values, against, shift)?;
    let later = aligned(&at.t, &at.y, against, shift + slope_over)?;
    let earlier = aligned(&later.t, &later.y, against, shift - slope_over)?;
    // The three must stand at the same readings: those that the narrowest of them has.
    let at = aligned(&earlier.t, &earlier.y, against, shift)?;
    let later = aligned(&at.t, &at.y, against, shift + slope_over)?;
    if at.t.len() != later.t.len() || at.t.len() != earlier.t.len() {
        return None;
    }
    let y = without_line(&at.t, &at.y);
    let x = without_line(&at.t, &at.x);
    let gain = dot(&x, &y) / dot(&x, &x);
    let rate: Vec<f64> =
        later.x.iter().zip(&earlier.x).map(|(later, earlier)| gain * (later - earlier) / (2.0 * slope_over)).collect();
    let rate = without_line(&at.t, &rate);
    let along = dot(&rate, &x) / dot(&x, &x);
    let rate: Vec<f64> = rate.iter().zip(&x).map(|(rate, x)| rate - along * x).collect();
    let scores: Vec<f64> = y.iter().zip(&x).zip(&rate).map(|((y, x), rate)| (y - gain * x) * rate).collect();
    let lags =
        (20.0 * step / median_step(&at.t)?).ceil().max(4.0 * (scores.len() as f64 / 100.0).powf(2.0 / 9.0)) as usize;
    let lags = lags.min(scores.len() / 4);
    let mut total = dot(&scores, &scores);
    for lag in 1..=lags {
        let weight = 1.0 - lag as f64 / (lags as f64 + 1.0);
        total += 2.0 * weight * dot(&scores[lag..], &scores[..scores.len() - lag]);
    }
    // Wide lags make the sum itself uncertain (Kiefer and Vogelsang, Econometric Theory 21 (2005) 1130: Bartlett weights,
    // two-sided 95 %; from memory).
    let share = lags as f64 / scores.len() as f64;
    let widening = 1.0 + (2.9694 * share + 0.4160 * share.powi(2) - 0.5324 * share.powi(3)) / 1.96;
    Some(widening * total.max(0.0).sqrt() / dot(&rate, &rate))
}
