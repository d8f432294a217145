//! Readings gathered into blocks that are short at the start and grow with time, as the decay slows.

use super::Window;
use crate::ppm_rise::{ReadingStatus, Trace};

/// Consecutive readings of one status. Times count from the start of the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Block {
    /// Time of its first reading, s.
    pub from_s: f64,
    /// Time of its last reading, s.
    pub to_s: f64,
    /// Number of readings.
    pub count: usize,
    /// Number of readings that it is worth: readings that repeat one step of the display are worth one.
    pub worth: f64,
    /// Mean reading; the limit where censored.
    pub value: f64,
    pub status: ReadingStatus,
}

impl Block {
    pub(super) fn middle_s(&self) -> f64 {
        0.5 * (self.from_s + self.to_s)
    }

    /// Mean of e^(−(t − origin)/τ) over the readings of the block, taken as equally spaced.
    pub(super) fn mean_decay(&self, origin_s: f64, tau_s: f64) -> f64 {
        if self.count < 2 {
            return (-(self.from_s - origin_s) / tau_s).exp();
        }
        let count = self.count as f64;
        let half_step = 0.5 * (self.to_s - self.from_s) / (count - 1.0) / tau_s;
        let half = count * half_step;
        if half < 1.0 {
            // One exponential where two more would cost most of the time of a fit.
            let middle = (-(self.middle_s() - origin_s) / tau_s).exp();
            return middle * sinh_over(half) / sinh_over(half_step);
        }
        let first = (-(self.from_s - origin_s) / tau_s).exp();
        first * (-2.0 * half).exp_m1() / (-2.0 * half_step).exp_m1() / count
    }
}

/// sinh x/x of x up to 1.
fn sinh_over(x: f64) -> f64 {
    /// One over 2k(2k + 1), the last first.
    const RATIOS: [f64; 7] = [1.0 / 210.0, 1.0 / 156.0, 1.0 / 110.0, 1.0 / 72.0, 1.0 / 42.0, 1.0 / 20.0, 1.0 / 6.0];
    RATIOS.into_iter().fold(1.0, |sum, ratio| 1.0 + x * x * ratio * sum)
}

/// The blocks of a window.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Blocks {
    pub blocks: Vec<Block>,
    pub span_s: f64,
    /// Usual time between readings, s.
    pub cadence_s: f64,
    /// Readings around the reporting limit that are not used.
    pub set_aside: usize,
    /// Smallest step between readings that differ, where readings repeat; 0 otherwise.
    pub step: f64,
}

impl Blocks {
    pub(super) fn measured(&self) -> impl Iterator<Item = &Block> {
        self.blocks.iter().filter(|block| block.status == ReadingStatus::Measured)
    }

    /// Sets aside the readings below the reporting limit from a time on until the first number: the moment of a rise is
    /// fitted to the numbers alone, and a bound close to it would weigh by how the fit happens to fall.
    pub(super) fn set_bounds_aside(&mut self, from_s: f64) {
        let first_number = self.blocks.iter().position(|block| block.status == ReadingStatus::Measured);
        let before = first_number.unwrap_or(0);
        let kept = self.blocks[..before].partition_point(|block| block.to_s < from_s);
        self.set_aside += self.blocks[kept..before].iter().map(|block| block.count).sum::<usize>();
        self.blocks.drain(kept..before);
    }

    pub(super) fn count(&self, status: ReadingStatus) -> usize {
        self.blocks.iter().filter(|block| block.status == status).map(|block| block.count).sum()
    }
}

/// Readings repeated at least so often show that the noise does not reach over a step of the display.
const REPEATED: usize = 8;

/// `still` is the part, s after the start, in which the content changes fast and blocks stay short.
pub(super) fn gather(trace: &Trace<'_>, window: &Window, still: [f64; 2]) -> Blocks {
    let time = trace.samples.time_s();
    let start = time.partition_point(|&t| t < window.from_s);
    let end = time.partition_point(|&t| t <= window.to_s);
    let value = trace.samples.value();
    let span_s = time[end - 1] - window.from_s;
    let mut out = Blocks {
        blocks: Vec::new(),
        span_s,
        cadence_s: trace.samples.cadence_s(),
        set_aside: 0,
        step: step(&value[start..end], trace.analyser.resolution),
    };
    // Below the limit before a dose is no mixture with what comes after it.
    let decay = time.partition_point(|&t| t < window.from_s + still[1]).clamp(start, end);
    let mixed = mixed(trace, decay, end);
    let mut index = start;
    while index < end {
        if mixed.contains(&index) {
            out.set_aside += mixed.len();
            index = mixed.end;
            continue;
        }
        let status = trace.status_of(index);
        let same = |i: &usize| trace.status_of(*i) == status && !mixed.contains(i);
        let run = (index..end).take_while(|i| same(i) && repeats(value[*i], value[index])).count();
        let t = time[index] - window.from_s;
        let calm = (t - still[1]).max(still[0] - t).max(0.0);
        let until = t + span_s / 3000.0 + calm / 16.0;
        let wide = (index..end).take_while(|i| same(i) && time[*i] - window.from_s < until).count().max(1);
        let stuck = status == ReadingStatus::Measured && run >= REPEATED;
        // A block must not reach into a run of repeated readings that begins inside it: the run is found from its start.
        let count = if stuck { run } else { wide };
        let part = &value[index..index + count];
        out.blocks.push(Block {
            from_s: t,
            to_s: time[index + count - 1] - window.from_s,
            count,
            worth: if stuck { 1.0 } else { count as f64 },
            value: match status {
                ReadingStatus::Measured => part.iter().sum::<f64>() / count as f64,
                ReadingStatus::BelowLimit => trace.analyser.reporting_limit.unwrap_or(value[index]),
                ReadingStatus::AboveRange => trace.analyser.range_top.unwrap_or(value[index]),
            },
            status,
        });
        index += count;
    }
    out
}

/// The readings of a decay from the first below the reporting limit to the last above it.
///
/// Those of them that are numbers were selected for being high and would pull the decay up; where they are few they are
/// left out. Where they are many the content stays near the limit, and both kinds say so together.
fn mixed(trace: &Trace<'_>, start: usize, end: usize) -> std::ops::Range<usize> {
    let below = (start..end).find(|&i| trace.status_of(i) == ReadingStatus::BelowLimit);
    let measured = (start..end).rev().find(|&i| trace.status_of(i) == ReadingStatus::Measured);
    match below.zip(measured) {
        Some((below, measured)) if below < measured && 3 * (measured - below) < end - start => below..measured + 1,
        _ => end..end,
    }
}

fn repeats(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * b.abs()
}

/// Step of the display: the stated one, or the smallest difference where most neighbours are equal.
fn step(values: &[f64], stated: f64) -> f64 {
    if stated > 0.0 {
        return stated;
    }
    let steps = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let equal = values.windows(2).filter(|pair| repeats(pair[1], pair[0])).count();
    let smallest = steps.filter(|step| *step > 1e-15).fold(f64::INFINITY, f64::min);
    if 4 * equal > values.len() && smallest.is_finite() { smallest } else { 0.0 }
}
