//! How long a channel lies beyond a threshold, and how that depends on the instrument's error.

use super::Trace;
use crate::noise::{LocalLevel, scatter};

/// Steps longer than so many cadences are gaps: what happened in them is not known.
const GAP: f64 = 5.0;
/// A step belongs to a slope that the readings resolve where a neighbour changes by this share of it.
const RESOLVED: f64 = 0.3;
/// Readings that a smoothed copy may have at most; beyond, noise averages out over the many crossings anyway.
const SMOOTHED: usize = 100_000;

/// Readings near the threshold from which their noise is taken out.
const SMOOTHED_FROM: usize = 10;
/// Readings count as near within so many times their noise and the instrument's common error.
const REACHES_NOISE: f64 = 6.0;
const REACHES_ZERO: f64 = 4.0;
/// A mean step of so many times the noise is one of a ramp.
const STEEP: f64 = 4.0;

/// A stretch of time, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    /// Variance of its two ends together that comes from the time between readings, s².
    pub(super) edge_variance_s2: f64,
}

impl Stretch {
    pub(super) fn duration_s(&self) -> f64 {
        self.to_s - self.from_s
    }
}

/// A channel made ready: its lag put back, noise that would flicker about a threshold taken out.
pub(super) struct Level {
    time_s: Vec<f64>,
    value: Vec<f64>,
    gap_s: f64,
}

impl Level {
    /// `threshold` is where the crossings will be looked for.
    pub(super) fn new(trace: &Trace<'_>, threshold: f64) -> Self {
        let samples = &trace.samples;
        let time_s: Vec<f64> = samples.time_s().iter().map(|t| t - trace.response_tau_s).collect();
        let gap_s = GAP * samples.cadence_s().max(f64::MIN_POSITIVE);
        let value = quiet(trace, &time_s, threshold);
        Self { time_s, value, gap_s }
    }

    pub(super) fn last_s(&self) -> f64 {
        self.time_s[self.time_s.len() - 1]
    }

    /// Time in gaps of the record, s.
    pub(super) fn gaps_s(&self) -> f64 {
        self.time_s.windows(2).map(|t| t[1] - t[0]).filter(|step| *step > self.gap_s).sum()
    }

    pub(super) fn largest(&self) -> f64 {
        self.value.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    pub(super) fn smallest(&self) -> f64 {
        self.value.iter().copied().fold(f64::INFINITY, f64::min)
    }

    /// Stretches at or above a threshold, gaps left out. Crossings are interpolated along `scale` (identity or
    /// logarithm).
    pub(super) fn at_or_above(&self, threshold: f64, scale: fn(f64) -> f64) -> Vec<Stretch> {
        self.beyond(threshold, scale, |value, threshold| value >= threshold)
    }

    /// Stretches below a threshold, likewise.
    pub(super) fn below(&self, threshold: f64, scale: fn(f64) -> f64) -> Vec<Stretch> {
        self.beyond(threshold, scale, |value, threshold| value < threshold)
    }

    fn beyond(&self, threshold: f64, scale: fn(f64) -> f64, inside: fn(f64, f64) -> bool) -> Vec<Stretch> {
        let mut found = Vec::new();
        let mut open = inside(self.value[0], threshold).then_some((self.time_s[0], 0.0));
        for index in 1..self.value.len() {
            let (before, here) = (inside(self.value[index - 1], threshold), inside(self.value[index], threshold));
            let (t0, t1) = (self.time_s[index - 1], self.time_s[index]);
            if t1 - t0 > self.gap_s {
                if let Some((from_s, variance)) = open {
                    found.push(Stretch { from_s, to_s: t0, edge_variance_s2: variance });
                }
                open = here.then_some((t1, 0.0));
                continue;
            }
            if before == here {
                continue;
            }
            let (a, b, c) = (scale(self.value[index - 1]), scale(self.value[index]), scale(threshold));
            let fraction = if a.is_finite() && b.is_finite() { ((c - a) / (b - a)).clamp(0.0, 1.0) } else { 0.5 };
            let (crossing, variance) = self.crossing(index, fraction);
            match open.take() {
                Some((from_s, first)) => {
                    found.push(Stretch { from_s, to_s: crossing, edge_variance_s2: first + variance });
                }
                None => open = Some((crossing, variance)),
            }
        }
        if let Some((from_s, variance)) = open {
            found.push(Stretch { from_s, to_s: self.last_s(), edge_variance_s2: variance });
        }
        found
    }

    /// Time of a crossing between two readings and its variance. On a slope that the readings resolve, interpolation
    /// is good; a jump may have happened anywhere between the two.
    fn crossing(&self, index: usize, fraction: f64) -> (f64, f64) {
        let step_s = self.time_s[index] - self.time_s[index - 1];
        let change = |i: usize| {
            if i == 0 || i >= self.value.len() { 0.0 } else { (self.value[i] - self.value[i - 1]).abs() }
        };
        let neighbours = change(index - 1).max(change(index + 1));
        if neighbours >= RESOLVED * change(index) {
            (self.time_s[index - 1] + fraction * step_s, (0.1 * step_s).powi(2))
        } else {
            (self.time_s[index - 1] + 0.5 * step_s, step_s * step_s / 12.0)
        }
    }
}

/// Readings with their noise taken out near the threshold, where it is not small beside the instrument's common error.
///
/// Each stretch near the threshold has a level of its own: the ramps before and after would have it follow the noise, and
/// steep ones are left as they were read.
fn quiet(trace: &Trace<'_>, time_s: &[f64], threshold: f64) -> Vec<f64> {
    let mut value = trace.samples.value().to_vec();
    let noise = scatter(&value);
    if noise < 0.2 * trace.zero || value.len() > SMOOTHED {
        return value;
    }
    let least = trace.resolution.powi(2) / 12.0;
    let reach = REACHES_NOISE * noise + REACHES_ZERO * trace.zero;
    let is_near: Vec<bool> = (0..value.len())
        .map(|i| {
            // Over two steps, so that one far reading on a plateau is no ramp.
            let (before, after) = (value[i.saturating_sub(1)], value[(i + 1).min(value.len() - 1)]);
            (value[i] - threshold).abs() < reach && 0.5 * (after - before).abs() < STEEP * noise
        })
        .collect();
    let mut from = 0;
    for run in is_near.chunk_by(|a, b| a == b) {
        let near = from..from + run.len();
        from = near.end;
        if !run[0] || run.len() < SMOOTHED_FROM {
            continue;
        }
        let (time, seen) = (time_s[near.clone()].to_vec(), value[near.clone()].to_vec());
        if let Some(level) = LocalLevel::fit(time, seen, vec![1.0; near.len()], least) {
            value[near].copy_from_slice(&level.smoothed());
        }
    }
    value
}

/// Duration of all stretches together, s.
pub(super) fn total_s(stretches: &[Stretch]) -> f64 {
    stretches.iter().map(Stretch::duration_s).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Samples;

    fn level(time_s: &[f64], value: &[f64]) -> Level {
        let samples = Samples::new(time_s, value).unwrap();
        Level::new(&Trace { samples, zero: 10.0, scale: 0.0, resolution: 0.0, response_tau_s: 0.0 }, 45.0)
    }

    #[test]
    fn a_ramp_crosses_where_interpolation_says() {
        let time_s: Vec<f64> = (0..=10).map(|i| f64::from(i) * 60.0).collect();
        let value: Vec<f64> = (0..=10).map(|i| f64::from(i) * 10.0).collect();
        let found = level(&time_s, &value).at_or_above(45.0, |v| v);
        assert_eq!(found.len(), 1);
        assert!((found[0].from_s - 270.0).abs() < 1e-9 && (found[0].to_s - 600.0).abs() < 1e-9);
    }

    #[test]
    fn a_jump_may_have_happened_anywhere_between_two_readings() {
        let found = level(&[0.0, 60.0, 120.0, 180.0], &[0.0, 0.0, 100.0, 100.0]).at_or_above(50.0, |v| v);
        assert!((found[0].from_s - 90.0).abs() < 1e-9);
        assert!((found[0].edge_variance_s2 - 300.0).abs() < 1e-9);
    }

    #[test]
    fn a_gap_is_not_counted() {
        let found = level(&[0.0, 1.0, 2.0, 100.0, 101.0], &[5.0; 5]).at_or_above(1.0, |v| v);
        assert!((total_s(&found) - 3.0).abs() < 1e-9);
    }
}
