//! Where doses begin in a long log: sudden rises that relax.
//!
//! Readings are gathered into bins; at several scales the mean after a moment is held against the mean before it, in units
//! of what such a difference usually is in this log. The usual size comes from second differences, which a slow decay or
//! drift hardly enters, at a low quantile, so that a log full of doses still shows its noise.

use std::ops::Range;

use crate::ppm_rise::{ReadingStatus, Trace};

/// Readings of equal lengths of time, the content over time in short.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Bins {
    pub from_s: f64,
    pub width_s: f64,
    /// Sums and numbers of readings before each bin, one more than bins.
    sums: Vec<f64>,
    counts: Vec<f64>,
}

/// A dose as found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    /// Where the rise begins, s on the record's time axis.
    pub onset_s: f64,
    /// Where the content is highest, s.
    pub peak_s: f64,
    /// Content at the peak less that before the rise.
    pub rise: f64,
    /// From the peak until the rise has fallen to 1/e, s, where it does before the next dose.
    pub fall_s: Option<f64>,
}

/// Most bins of a log.
const BINS: f64 = 60_000.0;
/// Longest time over which means are taken, s.
const LONGEST_S: f64 = 1800.0;
/// A rise of so many of its usual differences is a dose.
const CLEAR: f64 = 5.0;
/// The same where a transfer or the purifier's switch is logged.
const CLEAR_WHERE_LOGGED: f64 = 3.5;
/// A reading that lies beyond both neighbours by so many usual steps stands out alone.
const SPIKE: f64 = 4.0;
/// A display that stands still tells differences no better than to this part of its step.
const LEAST_STEP: f64 = 0.1;
/// A slow drift may move the display by a step at once; a dose moves it by more.
const MORE_THAN_A_STEP: f64 = 1.1;
/// A logged dose may show so much later, s.
const SHOWS_WITHIN_S: f64 = 600.0;
/// The foot of a rise is looked for so far before its steepest part, s.
const RISES_WITHIN_S: f64 = 300.0;

impl Bins {
    pub(super) fn gather(trace: &Trace<'_>) -> Self {
        let time = trace.samples.time_s();
        let from_s = trace.samples.first_time_s();
        let length_s = trace.samples.last_time_s() - from_s;
        let width_s = trace.samples.cadence_s().max(length_s / BINS).max(1e-3);
        let bins = (length_s / width_s) as usize + 1;
        // On a display that mostly stands still, four of its steps would be a dose.
        let margin = (SPIKE * usual_step(trace)).max(trace.analyser.resolution);
        let (mut sums, mut counts) = (vec![0.0; bins + 1], vec![0.0; bins + 1]);
        for (index, t) in time.iter().enumerate() {
            let bin = (((t - from_s) / width_s + 1e-6) as usize).min(bins - 1);
            sums[bin + 1] += without_spike(trace, index, margin);
            counts[bin + 1] += 1.0;
        }
        for bin in 0..bins {
            sums[bin + 1] += sums[bin];
            counts[bin + 1] += counts[bin];
        }
        Self { from_s, width_s, sums, counts }
    }

    pub(super) fn len(&self) -> usize {
        self.counts.len() - 1
    }

    /// Mean number of readings in a bin.
    fn readings_each(&self) -> f64 {
        self.counts.last().copied().unwrap_or(0.0) / self.len().max(1) as f64
    }

    pub(super) fn time_s(&self, bin: usize) -> f64 {
        self.from_s + bin as f64 * self.width_s
    }

    pub(super) fn bin_at(&self, time_s: f64) -> usize {
        (((time_s - self.from_s) / self.width_s).max(0.0) as usize).min(self.len() - 1)
    }

    /// Mean of the readings of some bins; `None` where there are none.
    pub(super) fn mean(&self, from: usize, to: usize) -> Option<f64> {
        let count = self.counts[to] - self.counts[from];
        (count > 0.0).then(|| (self.sums[to] - self.sums[from]) / count)
    }

    /// Mean after a bin's start less mean before it, over `reach` bins each.
    fn difference(&self, bin: usize, reach: usize) -> Option<f64> {
        if bin < reach || bin + reach > self.len() {
            return None;
        }
        Some(self.mean(bin, bin + reach)? - self.mean(bin - reach, bin)?)
    }

    /// Means over `N` times `reach` bins one after the other, evenly spread over the log.
    fn runs<const N: usize>(&self, reach: usize) -> impl Iterator<Item = [f64; N]> {
        let stride = (self.len() / 8000).max(1);
        let run = move |bin: usize| {
            let mut means = [0.0; N];
            for (part, mean) in means.iter_mut().enumerate() {
                *mean = self.mean(bin + part * reach, bin + (part + 1) * reach)?;
            }
            Some(means)
        };
        (0..(self.len() + 1).saturating_sub(N * reach)).step_by(stride).filter_map(run)
    }
}

/// What differences between means are without a dose, as standard deviations.
#[derive(Debug, Clone, PartialEq)]
struct Usual {
    /// At low content, over 1, 2, 4, … bins.
    low: Vec<f64>,
    /// Over one bin, relative to the content.
    relative: f64,
}

/// Three in ten of normal deviations lie within so many standard deviations.
const LOW_QUANTILE: f64 = 0.385;
/// Half of them lie within so many.
const MEDIAN: f64 = 0.674;
/// A second difference of independent means over a first one, as standard deviations.
const SECOND_OVER_FIRST: f64 = 1.732;

impl Usual {
    fn of(bins: &Bins, step: f64) -> Self {
        let mut low = Vec::new();
        let mut reach = 1;
        while reach == 1 || (reach as f64 * bins.width_s <= LONGEST_S && 20 * reach < bins.len()) {
            let bends = bins.runs(reach).map(|[a, b, c]| (a - 2.0 * b + c).abs());
            // A display that flickers between two steps hides its noise from a low quantile.
            let readings = (bins.readings_each() * reach as f64).max(1.0);
            let flicker = step * (0.7 / readings.sqrt()).max(LEAST_STEP);
            low.push((quantile(bends, 0.3) / LOW_QUANTILE / SECOND_OVER_FIRST).max(flicker));
            reach *= 2;
        }
        let quiet = quantile(bins.runs(1).map(|[content]| content.abs()), 0.5);
        let is_high = |content: &f64| *content > 5.0 * quiet && *content > 30.0 * low[0];
        // In the logarithm a decay is straight: what bends there is noise, also where the readings lie far apart in it. The
        // top of a dose bends by itself.
        let falls = bins.runs(1).filter(|run: &[f64; 4]| run.iter().all(is_high) && run[0] > run[1]);
        let bends = falls.map(|[_, a, b, c]| {
            let [a, b, c] = [a, b, c].map(|content| (content - quiet).ln());
            (a - 2.0 * b + c).abs()
        });
        let relative = quantile(bends, 0.5) / MEDIAN / SECOND_OVER_FIRST;
        Self { low, relative: if relative.is_finite() { relative } else { 0.0 } }
    }

    /// Over 2^`scale` bins at a content.
    fn at(&self, scale: usize, content: f64) -> f64 {
        self.low[scale].hypot(self.relative * content / f64::from(1_u32 << scale).sqrt())
    }
}

/// Infinite for fewer than twenty values.
fn quantile(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.collect();
    if values.len() < 20 {
        return f64::INFINITY;
    }
    let rank = (values.len() as f64 * share) as usize;
    *values.select_nth_unstable_by(rank, f64::total_cmp).1
}

/// Median difference between neighbours.
fn usual_step(trace: &Trace<'_>) -> f64 {
    let stride = (trace.samples.len() / 5000).max(1);
    let steps = (1..trace.samples.len()).step_by(stride).map(|i| (value(trace, i) - value(trace, i - 1)).abs());
    let step = quantile(steps, 0.5);
    if step.is_finite() { step } else { 0.0 }
}

/// Value of a reading; one that stands out alone by more than `margin` is drawn in to that.
fn without_spike(trace: &Trace<'_>, index: usize, margin: f64) -> f64 {
    let here = value(trace, index);
    if index == 0 || index + 1 == trace.samples.len() {
        return here;
    }
    let (before, after) = (value(trace, index - 1), value(trace, index + 1));
    here.clamp(before.min(after) - margin, before.max(after) + margin)
}

fn value(trace: &Trace<'_>, index: usize) -> f64 {
    let shown = trace.samples.value()[index];
    match trace.status_of(index) {
        ReadingStatus::Measured => shown,
        ReadingStatus::BelowLimit => trace.analyser.reporting_limit.unwrap_or(shown),
        ReadingStatus::AboveRange => trace.analyser.range_top.unwrap_or(shown),
    }
}

/// A rise at a scale of 2^`scale` bins.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    bin: usize,
    scale: usize,
    rise: f64,
    /// The rise over its usual difference.
    clear: f64,
}

impl Candidate {
    fn reach(&self) -> usize {
        1 << self.scale
    }
}

/// Doses in order of time. `logged_s` are moments at which a dose is to be expected; `step` that of the display.
pub(super) fn find(bins: &Bins, logged_s: &[f64], step: f64) -> Vec<Found> {
    let usual = Usual::of(bins, step);
    let mut candidates = candidates(bins, &usual, logged_s);
    candidates.sort_by_key(|candidate| candidate.bin);
    let starts = merge(bins, &usual, &candidates);
    let mut feet: Vec<usize> = Vec::new();
    for start in &starts {
        feet.push(foot(bins, &usual, start, feet.last().map_or(0, |last| last + 1)));
    }
    let until = |index: usize| feet.get(index + 1).copied().unwrap_or(bins.len());
    let describe = |(index, start)| describe(bins, &usual, start, feet[index]..until(index), step);
    starts.iter().enumerate().filter_map(describe).collect()
}

fn candidates(bins: &Bins, usual: &Usual, logged_s: &[f64]) -> Vec<Candidate> {
    let logged: Vec<[usize; 2]> =
        logged_s.iter().map(|at| [at - 60.0, at + SHOWS_WITHIN_S].map(|t| bins.bin_at(t))).collect();
    let clear = |bin: usize| {
        let expected = logged.iter().any(|[from, to]| (*from..=*to).contains(&bin));
        if expected { CLEAR_WHERE_LOGGED } else { CLEAR }
    };
    let mut found: Vec<Candidate> = Vec::new();
    for scale in 0..usual.low.len() {
        let reach = 1 << scale;
        let mut best: Option<Candidate> = None;
        for bin in reach..=bins.len().saturating_sub(reach) {
            // The largest difference of a stretch counts once nothing larger has come for a reach.
            if let Some(candidate) = best
                && (bin > candidate.bin + reach || bin + reach >= bins.len())
            {
                // A short scale tells best when; but one that only just shows there may be chance beside the dose.
                let near = |other: &Candidate| candidate.bin.abs_diff(other.bin) <= reach + other.reach();
                found.retain(|other| !near(other) || other.clear > 8.0 || candidate.clear < 1.5 * other.clear);
                if !found.iter().any(near) {
                    found.push(candidate);
                }
                best = None;
            }
            let (Some(rise), Some(content)) =
                (bins.difference(bin, reach), bins.mean(bin, (bin + reach).min(bins.len())))
            else {
                continue;
            };
            let quick = rise > clear(bin) * usual.low[scale] && best.is_none_or(|largest| rise > largest.rise);
            if quick && rise > clear(bin) * usual.at(scale, content) {
                best = Some(Candidate { bin, scale, rise, clear: rise / usual.at(scale, content) });
            }
        }
    }
    found
}

/// Candidates between which the content did not come down are one rise.
fn merge(bins: &Bins, usual: &Usual, candidates: &[Candidate]) -> Vec<Candidate> {
    let mut kept: Vec<Candidate> = Vec::new();
    for candidate in candidates {
        let comes_down = |last: &Candidate| {
            let gap = candidate.bin - last.bin;
            (0..usual.low.len()).take_while(|scale| *scale == 0 || 3 << scale <= gap).any(|scale| {
                let mut highest = f64::NEG_INFINITY;
                (last.bin..candidate.bin).step_by((1 << scale) / 2 + usize::from(scale == 0)).any(|bin| {
                    let Some(level) = bins.mean(bin, (bin + (1 << scale)).min(candidate.bin)) else { return false };
                    highest = highest.max(level);
                    highest - level > 6.0 * usual.at(scale, highest)
                })
            })
        };
        match kept.last_mut() {
            Some(last) if !comes_down(last) => {
                // What only just shows hours before may have been chance.
                let apart = (candidate.bin - last.bin) as f64 * bins.width_s > RISES_WITHIN_S;
                if apart && candidate.clear > last.clear {
                    *last = *candidate;
                }
            }
            _ => kept.push(*candidate),
        }
    }
    kept
}

/// The foot of a rise: where the content last stood near its lowest in the minutes before, not before `earliest`.
fn foot(bins: &Bins, usual: &Usual, candidate: &Candidate, earliest: usize) -> usize {
    let (bin, reach) = (candidate.bin, candidate.reach());
    let back = (4 * reach).max((RISES_WITHIN_S / bins.width_s) as usize);
    let from = bin.saturating_sub(back).max(earliest);
    let levels = || (from..=bin).filter_map(|at| Some((at, bins.mean(at, at + 1)?)));
    let lowest = levels().map(|(_, level)| level).fold(f64::INFINITY, f64::min);
    let near = lowest + (0.05 * candidate.rise).max(2.5 * usual.at(0, lowest.abs()));
    levels().rfind(|(_, level)| *level <= near).map_or(bin, |(at, _)| at)
}

/// The dose that begins at a candidate; `None` where the rise does not relax.
fn describe(bins: &Bins, usual: &Usual, candidate: &Candidate, span: Range<usize>, step: f64) -> Option<Found> {
    let (foot, until) = (span.start, span.end);
    let (bin, reach) = (candidate.bin.min(until - 1), candidate.reach());
    let before = bins.mean(foot.saturating_sub(reach.max(3)), (foot + 1).min(bins.len()))?;
    let smooth = |at: usize| bins.mean(at, (at + reach).min(until));
    let (mut peak, mut highest) = (bin, f64::NEG_INFINITY);
    for at in bin..until {
        if let Some(level) = smooth(at)
            && level > highest
        {
            (peak, highest) = (at, level);
        }
    }
    let rise = highest - before;
    let usual = usual.at(candidate.scale, highest);
    let levels = || (peak..until).filter_map(|at| Some((at, smooth(at)?)));
    let lowest = levels().map(|(_, level)| level).fold(f64::INFINITY, f64::min);
    let relaxes = highest - lowest > (0.3 * rise).max(3.0 * usual);
    // At the end of the log there is no time left to relax; a rise that is clear many times over counts all the same.
    let cut_off = until == bins.len() && until - peak < 4 * reach.max(peak - bin) && rise > 2.0 * CLEAR * usual;
    if !(relaxes || cut_off) || rise < MORE_THAN_A_STEP * step {
        return None;
    }
    let fall = levels().find(|(_, level)| *level < before + rise / std::f64::consts::E);
    Some(Found {
        onset_s: bins.time_s(foot),
        peak_s: bins.time_s(peak),
        rise,
        fall_s: fall.map(|(at, _)| bins.time_s(at) - bins.time_s(peak)),
    })
}
