//! Readings gathered into blocks: a few hundred carry what a hundred thousand readings say about a slow rise.

use super::{ReadingStatus, Trace};
use crate::noise::mean_and_standard_deviation;

/// Readings of a window, averaged where they are many. Times count from the start of the window.
#[derive(Debug, Clone, Default)]
pub(super) struct Blocks {
    /// Start of the window on the record's time axis, s.
    pub origin_s: f64,
    /// Duration from the first to the last reading, s.
    pub span_s: f64,
    /// Mean time of each block.
    pub time_s: Vec<f64>,
    /// Standard deviation of the times within each block.
    pub width_s: Vec<f64>,
    /// Mean reading; the limit for censored blocks.
    pub value: Vec<f64>,
    /// Number of readings.
    pub readings: Vec<f64>,
    /// What the block says; readings of different status never share a block.
    pub status: Vec<ReadingStatus>,
    /// Readings set aside as outliers.
    pub outliers: usize,
    /// Standard deviation of a single reading about its neighbours.
    pub scatter: f64,
}

impl Blocks {
    pub(super) fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Readings with a status.
    pub(super) fn count(&self, status: ReadingStatus) -> usize {
        self.status.iter().zip(&self.readings).filter(|(s, _)| **s == status).map(|(_, n)| *n as usize).sum()
    }
}

/// Gathers the readings in `[from_s, to_s]`. Blocks are short at the start, where outgassing changes fast, and at most
/// a 150th of the window.
pub(super) fn gather(trace: &Trace<'_>, from_s: f64, to_s: f64) -> Blocks {
    let time = trace.samples.time_s();
    let start = time.partition_point(|&t| t < from_s);
    let end = time.partition_point(|&t| t <= to_s);
    if start >= end {
        return Blocks::default();
    }
    let origin_s = time[start];
    let span_s = time[end - 1] - origin_s;
    let status: Vec<ReadingStatus> = (start..end).map(|i| trace.status_of(i)).collect();
    let values = &trace.samples.value()[start..end];
    let (outlier, scatter) = outliers(values, &status, trace.analyser.resolution);
    let mut blocks =
        Blocks { origin_s, span_s, outliers: outlier.iter().filter(|o| **o).count(), scatter, ..Blocks::default() };
    let mut sums = [Sum::default(); 3];
    let mut block_end = block_width(0.0, span_s);
    for index in 0..values.len() {
        let t = time[start + index] - origin_s;
        if t >= block_end {
            blocks.close(&mut sums, trace);
            block_end = t + block_width(t, span_s);
        }
        if !outlier[index] {
            let sum = &mut sums[status[index] as usize];
            sum.add(t, values[index]);
        }
    }
    blocks.close(&mut sums, trace);
    blocks
}

fn block_width(t: f64, span_s: f64) -> f64 {
    (span_s / 2000.0 + t / 40.0).min(span_s / 150.0)
}

const ALL: [ReadingStatus; 3] = [ReadingStatus::Measured, ReadingStatus::BelowLimit, ReadingStatus::AboveRange];

/// Readings of one status on their way into a block.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    first_s: f64,
    time: f64,
    time_squared: f64,
    value: f64,
    count: f64,
}

impl Sum {
    fn add(&mut self, time_s: f64, value: f64) {
        if self.count < 0.5 {
            self.first_s = time_s;
        }
        let since = time_s - self.first_s;
        self.time += since;
        self.time_squared += since * since;
        self.value += value;
        self.count += 1.0;
    }

    fn mean_time_s(&self) -> f64 {
        self.first_s + self.time / self.count
    }

    fn width_s(&self) -> f64 {
        let mean = self.time / self.count;
        (self.time_squared / self.count - mean * mean).max(0.0).sqrt()
    }
}

impl Blocks {
    fn close(&mut self, sums: &mut [Sum; 3], trace: &Trace<'_>) {
        let mut parts: Vec<(Sum, ReadingStatus)> =
            ALL.iter().map(|&status| (sums[status as usize], status)).filter(|(sum, _)| sum.count > 0.0).collect();
        parts.sort_by(|a, b| a.0.mean_time_s().total_cmp(&b.0.mean_time_s()));
        for (sum, status) in parts {
            let mean = sum.value / sum.count;
            self.time_s.push(sum.mean_time_s());
            self.width_s.push(sum.width_s());
            self.value.push(match status {
                ReadingStatus::Measured => mean,
                ReadingStatus::BelowLimit => trace.analyser.reporting_limit.unwrap_or(mean),
                ReadingStatus::AboveRange => trace.analyser.range_top.unwrap_or(mean),
            });
            self.readings.push(sum.count);
            self.status.push(status);
        }
        *sums = [Sum::default(); 3];
    }
}

/// Single readings far from the middle of the two before and the two after, and the scatter of the others.
///
/// More than one in fifty is no longer a matter of single readings: then none is set aside.
pub(super) fn outliers(values: &[f64], status: &[ReadingStatus], resolution: f64) -> (Vec<bool>, f64) {
    let measured: Vec<usize> = (0..values.len()).filter(|&i| status[i] == ReadingStatus::Measured).collect();
    let mut flags = vec![false; values.len()];
    if measured.len() < 8 {
        return (flags, 0.0);
    }
    let mut differences = Vec::with_capacity(measured.len());
    for window in measured.windows(5) {
        let mut five = [0.0; 5];
        for (slot, index) in five.iter_mut().zip(window) {
            *slot = values[*index];
        }
        let own = five[2];
        five.sort_by(f64::total_cmp);
        // Noise that grows with the reading must not make high readings outliers.
        differences.push((own - five[2]).abs());
    }
    let local: Vec<f64> = differences.chunks(50).map(|part| 1.4826 * upper_middle(part)).collect();
    for (position, difference) in differences.iter().enumerate() {
        let spread = local[position / 50].max(0.5 * resolution);
        flags[measured[position + 2]] = spread > 0.0 && *difference > 12.0 * spread;
    }
    if flags.iter().filter(|f| **f).count() * 50 > measured.len() {
        flags.fill(false);
    }
    let steps: Vec<f64> = measured
        .windows(2)
        .filter(|pair| !flags[pair[0]] && !flags[pair[1]])
        .map(|pair| values[pair[1]] - values[pair[0]])
        .collect();
    let (_, scatter) = mean_and_standard_deviation(&steps);
    (flags, scatter / std::f64::consts::SQRT_2)
}

/// The 70 % point: a median would be zero where readings repeat.
fn upper_middle(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[(sorted.len() * 7 / 10).min(sorted.len() - 1)]
}
