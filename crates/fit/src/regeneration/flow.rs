//! Where the reducing gas flowed, and what the meter shows while nothing does.

use super::Trace;
use super::threshold::Stretch;
use crate::noise::scatter;

/// A flow counts from this share of the flow while purging.
const LEAST_SHARE: f64 = 0.1;
/// … and from so many standard deviations of the meter's noise above its zero.
const LEAST_DEVIATIONS: f64 = 6.0;
/// Readings that a zero must be seen in.
const LEAST_ZERO_READINGS: usize = 10;
/// Steps longer than so many cadences are gaps.
const GAP: f64 = 5.0;

/// What was found in a flow's readings.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Purge {
    /// Stretches with flow.
    pub(super) stretches: Vec<Stretch>,
    /// What the meter shows without flow, and its standard uncertainty.
    pub(super) zero: f64,
    pub(super) zero_uncertainty: f64,
    /// Whether that was seen in this record.
    pub(super) zero_seen: bool,
    /// Standard deviation of single readings.
    pub(super) noise: f64,
    /// Integral of the flow over the stretches, zero taken off, m³, and the standard uncertainty that edges and noise
    /// give it.
    pub(super) volume_m3: f64,
    pub(super) volume_uncertainty_m3: f64,
    /// Time in gaps of the record, s.
    pub(super) gaps_s: f64,
}

pub(super) fn find(trace: &Trace<'_>) -> Purge {
    let value = trace.samples.value();
    let noise = scatter(trace.samples.value()).max(trace.resolution / 12.0_f64.sqrt());
    let calm = median_of_three(value);
    let top = calm.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (zero, zero_uncertainty, zero_seen) = meter_zero(trace, value, top, noise);
    let on_level = typical(calm.iter().copied().filter(|v| *v > 0.5 * (top + zero)));
    let threshold = zero + (LEAST_SHARE * (on_level - zero)).max(LEAST_DEVIATIONS * noise).max(3.0 * zero_uncertainty);
    let gap_s = GAP * trace.samples.cadence_s().max(f64::MIN_POSITIVE);
    let mut purge = Purge {
        stretches: Vec::new(),
        zero,
        zero_uncertainty,
        zero_seen,
        noise,
        volume_m3: 0.0,
        volume_uncertainty_m3: 0.0,
        gaps_s: trace.samples.time_s().windows(2).map(|t| t[1] - t[0]).filter(|step| *step > gap_s).sum(),
    };
    if on_level <= threshold {
        return purge;
    }
    let mut variance = 0.0;
    for run in runs(trace, &calm, threshold, gap_s) {
        let (stretch, volume, of_edges) = measure(trace, &calm, run, zero, gap_s);
        variance += of_edges + noise.powi(2) * trace.samples.cadence_s() * stretch.duration_s();
        purge.volume_m3 += volume;
        purge.stretches.push(stretch);
    }
    purge.volume_uncertainty_m3 = variance.sqrt();
    purge
}

/// What the meter shows without flow. Readings that never move (a meter that cuts small flows off) say nothing about
/// its zero error.
fn meter_zero(trace: &Trace<'_>, value: &[f64], top: f64, noise: f64) -> (f64, f64, bool) {
    let bottom = value.iter().copied().fold(f64::INFINITY, f64::min);
    let low: Vec<f64> = value.iter().copied().filter(|v| *v < bottom + 0.5 * (top - bottom)).collect();
    // A record that is all flow has no bottom that could be the meter's zero.
    let is_zero =
        low.len() >= LEAST_ZERO_READINGS && typical(low.iter().copied()).abs() < (0.2 * top).max(4.0 * trace.zero);
    if !is_zero {
        return (0.0, trace.zero, false);
    }
    let level = typical(low.iter().copied());
    let moves = low.iter().any(|v| (v - level).abs() > 0.0);
    if !moves && level.abs() < f64::EPSILON {
        return (0.0, trace.zero, false);
    }
    // Half the readings lie on either side of a median; its uncertainty is 1.25 times that of a mean.
    let of_median = 1.25 * noise / (low.len() as f64).sqrt();
    let rounding = if moves && noise > 0.5 * trace.resolution { 0.0 } else { trace.resolution / 12.0_f64.sqrt() };
    (level, of_median.hypot(rounding), true)
}

/// First and last index of each run above the threshold, gaps splitting them.
fn runs(trace: &Trace<'_>, calm: &[f64], threshold: f64, gap_s: f64) -> Vec<(usize, usize)> {
    let time = trace.samples.time_s();
    let mut found: Vec<(usize, usize)> = Vec::new();
    for index in (0..calm.len()).filter(|i| calm[*i] > threshold) {
        match found.last_mut() {
            Some((_, last)) if *last + 1 == index && time[index] - time[*last] <= gap_s => *last = index,
            _ => found.push((index, index)),
        }
    }
    // A single reading is a spike of the meter.
    found.retain(|(first, last)| last > first);
    found
}

/// The stretch of a run with its edges at half the flow beside them, the volume, and the variance of the volume that
/// the edges give.
fn measure(
    trace: &Trace<'_>,
    calm: &[f64],
    (first, last): (usize, usize),
    zero: f64,
    gap_s: f64,
) -> (Stretch, f64, f64) {
    let (time, value) = (trace.samples.time_s(), trace.samples.value());
    let beside = |range: std::ops::Range<usize>| typical(calm[range].iter().copied()) - zero;
    let reach = ((last - first) / 2).clamp(1, 5);
    let levels = [beside(first..first + reach + 1), beside(last - reach..last + 1)];
    let edge = |from: usize, to: usize, level: f64, steps: &dyn Fn(usize) -> Option<usize>| {
        // Walks outward until the reading is at or under half the level beside the edge.
        let half = zero + 0.5 * level;
        let mut inside = from;
        while inside != to && calm[inside] < half {
            let Some(next) = steps(inside) else { break };
            inside = next;
        }
        inside
    };
    let start = edge(first, last, levels[0], &|i| Some(i + 1));
    let end = edge(last, start, levels[1], &|i| i.checked_sub(1));
    let (from_s, from_variance) =
        half_crossing(time, value, start, start.checked_sub(1), zero + 0.5 * levels[0], gap_s);
    let next = Some(end + 1).filter(|next| *next < value.len());
    let (to_s, to_variance) = half_crossing(time, value, end, next, zero + 0.5 * levels[1], gap_s);
    let volume = integral(time, value, first.saturating_sub(2), (last + 2).min(value.len() - 1), zero, gap_s);
    let of_edges = levels[0].powi(2) * from_variance + levels[1].powi(2) * to_variance;
    let lag = trace.response_tau_s;
    (
        Stretch { from_s: from_s - lag, to_s: to_s - lag, edge_variance_s2: from_variance + to_variance },
        volume,
        of_edges,
    )
}

/// Where the flow crosses half its level between the last reading inside and its neighbour outside.
fn half_crossing(
    time: &[f64],
    value: &[f64],
    inside: usize,
    outside: Option<usize>,
    half: f64,
    gap_s: f64,
) -> (f64, f64) {
    let Some(outside) = outside.filter(|o| (time[*o] - time[inside]).abs() <= gap_s) else {
        return (time[inside], 0.0);
    };
    let step_s = (time[outside] - time[inside]).abs();
    let change = value[outside] - value[inside];
    let fraction = if change == 0.0 { 0.5 } else { ((half - value[inside]) / change).clamp(0.0, 1.0) };
    let crossing = time[inside] + fraction * (time[outside] - time[inside]);
    (crossing, step_s * step_s / 12.0)
}

fn integral(time: &[f64], value: &[f64], first: usize, last: usize, zero: f64, gap_s: f64) -> f64 {
    (first + 1..=last)
        .filter(|i| time[*i] - time[i - 1] <= gap_s)
        .map(|i| (time[i] - time[i - 1]) * (0.5 * (value[i] + value[i - 1]) - zero))
        .sum()
}

fn median_of_three(value: &[f64]) -> Vec<f64> {
    let at = |i: usize| {
        if i == 0 || i + 1 == value.len() {
            return value[i];
        }
        let (a, b, c) = (value[i - 1], value[i], value[i + 1]);
        a.min(b).max(a.max(b).min(c))
    };
    (0..value.len()).map(at).collect()
}

/// The median; 0 of nothing.
fn typical(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Samples;
    use crate::simulate::Random;

    #[test]
    fn a_meter_that_shows_a_little_without_flow_has_that_taken_off() {
        let mut random = Random::new(5);
        let time_s: Vec<f64> = (0..600).map(|i| f64::from(i) * 10.0).collect();
        let flow = |t: f64| if (1005.0..4005.0).contains(&t) { 2.0 } else { 0.0 };
        let value: Vec<f64> = time_s.iter().map(|t| flow(*t) + 0.15 + 0.01 * random.normal()).collect();
        let samples = Samples::new(&time_s, &value).unwrap();
        let purge = find(&Trace { samples, zero: 0.0, scale: 0.0, resolution: 0.0, response_tau_s: 0.0 });
        assert_eq!(purge.stretches.len(), 1);
        assert!((purge.zero - 0.15).abs() < 0.005, "{purge:?}");
        assert!((purge.stretches[0].duration_s() - 3000.0).abs() < 10.0, "{purge:?}");
        assert!((purge.volume_m3 - 6000.0).abs() < 40.0, "{purge:?}");
    }

    #[test]
    fn no_flow_gives_no_stretch() {
        let mut random = Random::new(5);
        let time_s: Vec<f64> = (0..600).map(|i| f64::from(i) * 10.0).collect();
        let value: Vec<f64> = time_s.iter().map(|_| 0.01 * random.normal()).collect();
        let samples = Samples::new(&time_s, &value).unwrap();
        let purge = find(&Trace { samples, zero: 0.01, scale: 0.0, resolution: 0.0, response_tau_s: 0.0 });
        assert!(purge.stretches.is_empty(), "{purge:?}");
    }

    #[test]
    fn an_interruption_is_counted_out() {
        let time_s: Vec<f64> = (0..600).map(|i| f64::from(i) * 10.0).collect();
        let flow = |t: f64| if (1000.0..2000.0).contains(&t) || (2500.0..4000.0).contains(&t) { 2.0 } else { 0.0 };
        let value: Vec<f64> = time_s.iter().map(|t| flow(*t)).collect();
        let samples = Samples::new(&time_s, &value).unwrap();
        let purge = find(&Trace { samples, zero: 0.0, scale: 0.0, resolution: 0.0, response_tau_s: 0.0 });
        assert_eq!(purge.stretches.len(), 2);
        assert!((purge.volume_m3 - 5000.0).abs() < 1e-6);
    }
}
