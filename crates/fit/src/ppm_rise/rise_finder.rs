//! Finds the part of a record in which the purifier was off.

use super::blocks::outliers;
use super::{ReadingStatus, Trace, Window, WindowEnd, WindowStart};

/// The rise in a trace: after a flat part at the start, before a steep fall.
pub(super) fn find(trace: &Trace<'_>) -> Window {
    let samples = trace.samples;
    let mut window = Window {
        from_s: samples.first_time_s(),
        to_s: samples.last_time_s(),
        start: WindowStart::RecordStart,
        end: WindowEnd::RecordEnd,
    };
    let blocks = even_blocks(trace, &window);
    if blocks.0.len() < 12 {
        return window;
    }
    let (first, last) = longest_rise(&blocks.1);
    if last + 1 < blocks.1.len() {
        window.to_s = blocks.0[last];
        window.end = WindowEnd::BeforeFall;
    }
    if first > 0 {
        window.from_s = blocks.0[first];
        window.start = WindowStart::RiseStart;
    }
    let corner = corner(&blocks.0[first..=last], &blocks.1[first..=last]);
    // Below the reporting limit everything looks flat, and says that the content was low: that is not left out.
    if let Some(corner) = corner.filter(|corner| !mostly_censored(trace, window.from_s, blocks.0[first + corner])) {
        window.from_s = blocks.0[first + corner];
        window.start = WindowStart::RiseStart;
    }
    window
}

/// Whether more than a third of the readings between two times are censored.
fn mostly_censored(trace: &Trace<'_>, from_s: f64, to_s: f64) -> bool {
    let time = trace.samples.time_s();
    let range = time.partition_point(|&t| t < from_s)..time.partition_point(|&t| t <= to_s);
    let all = range.len();
    3 * range.filter(|&i| trace.status_of(i) != ReadingStatus::Measured).count() > all
}

/// Mean time and reading of at most 300 stretches of equal length; censored readings at their limit, single readings far
/// off left out: where readings are few a stretch holds but one.
fn even_blocks(trace: &Trace<'_>, window: &Window) -> (Vec<f64>, Vec<f64>) {
    let width = (window.to_s - window.from_s) / 300.0;
    let mut times = Vec::new();
    let mut values = Vec::new();
    let mut part: Vec<(f64, f64)> = Vec::new();
    let mut close = |part: &mut Vec<(f64, f64)>| {
        if part.is_empty() {
            return;
        }
        times.push(part.iter().map(|p| p.0).sum::<f64>() / part.len() as f64);
        part.sort_by(|a, b| a.1.total_cmp(&b.1));
        values.push(part[part.len() / 2].1);
        part.clear();
    };
    let status: Vec<ReadingStatus> = (0..trace.samples.len()).map(|i| trace.status_of(i)).collect();
    let (far_off, _) = outliers(trace.samples.value(), &status, trace.analyser.resolution);
    let mut edge = window.from_s + width;
    for (index, (&time, &value)) in trace.samples.time_s().iter().zip(trace.samples.value()).enumerate() {
        if time > edge {
            close(&mut part);
            edge = time + width;
        }
        if far_off[index] {
            continue;
        }
        let value = match status[index] {
            ReadingStatus::Measured => value,
            ReadingStatus::BelowLimit => trace.analyser.reporting_limit.unwrap_or(value),
            ReadingStatus::AboveRange => trace.analyser.range_top.unwrap_or(value),
        };
        part.push((time, value));
    }
    close(&mut part);
    (times, values)
}

/// The stretch with the largest rise that no steep fall interrupts.
fn longest_rise(values: &[f64]) -> (usize, usize) {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let range = sorted[sorted.len() * 98 / 100] - sorted[sorted.len() * 2 / 100];
    let noise = neighbour_scatter(values);
    let steep = (0.25 * range).max(10.0 * noise);
    let mut best = (0, values.len() - 1);
    let mut best_rise = f64::NEG_INFINITY;
    let (mut first, mut low, mut high) = (0, 0, 0);
    let mut keep = |first: usize, low: usize, end: usize, values: &[f64]| {
        let rise = values[end] - values[low];
        if rise > best_rise {
            best_rise = rise;
            best = (first, end);
        }
    };
    let mut index = 1;
    let mut fell = false;
    while index < values.len() {
        if values[index] > values[high] {
            high = index;
        }
        if values[index] < values[low] && index > high {
            low = index;
        }
        if values[high] - values[index] > steep {
            keep(first, first.max(low.min(high)), high, values);
            // Down to the bottom of the fall; the next rise begins there.
            let mut bottom = index;
            while index < values.len() && values[index] < values[bottom] + steep {
                if values[index] < values[bottom] {
                    bottom = index;
                }
                index += 1;
            }
            (first, low, high) = (bottom, bottom, bottom);
            index = bottom;
            fell = true;
        }
        index += 1;
    }
    if !fell {
        return (0, values.len() - 1);
    }
    keep(first, low.max(first), values.len() - 1, values);
    best
}

/// Robust standard deviation of one value from the differences to the next.
fn neighbour_scatter(values: &[f64]) -> f64 {
    // Readings held at a limit do not scatter; what does not move says nothing about noise.
    let mut steps: Vec<f64> =
        values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|step| *step > 0.0).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).map_or(0.0, |middle| middle * 1.4826 / std::f64::consts::SQRT_2)
}

/// Index at which a flat start turns into a rise; `None` where the record rises from its start.
///
/// A flat part followed by a straight line and a decaying rise is compared with the same without the flat part.
fn corner(times: &[f64], values: &[f64]) -> Option<usize> {
    let n = times.len();
    if n < 20 {
        return None;
    }
    let squares = |corner: usize| hinge_squares(times, values, corner);
    let without = squares(0)?;
    let (mut best, mut least) = (0, without);
    let stride = (n / 60).max(1);
    let mut look = |candidates: &mut dyn Iterator<Item = usize>| {
        for candidate in candidates {
            if let Some(value) = squares(candidate).filter(|value| *value < least) {
                (best, least) = (candidate, value);
            }
        }
        best
    };
    let rough = look(&mut (2..n * 9 / 10).step_by(stride));
    look(&mut (rough.saturating_sub(stride).max(2)..rough + stride));
    let clear = n as f64 * (without / least.max(1e-300)).ln() > 30.0;
    (best >= n / 50 + 2 && clear && is_flat_before(values, best)).then_some(best)
}

/// Whether the values rise far less before an index than in the same number of values after it.
fn is_flat_before(values: &[f64], corner: usize) -> bool {
    let width = corner.min(values.len() - 1 - corner);
    let mean = |from: usize, to: usize| values[from..to].iter().sum::<f64>() / (to - from).max(1) as f64;
    let third = (width / 3).max(1);
    let before = mean(corner - third, corner) - mean(corner - width, corner - width + third);
    let after = mean(corner + width - third, corner + width) - mean(corner, corner + third);
    after > 0.0 && before < 0.2 * after
}

/// Residual sum of squares of c + b·(t − t_c)₊ + d·(1 − e^(−(t − t_c)₊/s)), s a tenth of what follows the corner.
fn hinge_squares(times: &[f64], values: &[f64], corner: usize) -> Option<f64> {
    let (start, end) = (times[corner], times[times.len() - 1]);
    let scale = 0.1 * (end - start);
    let rows: Vec<Vec<f64>> = times
        .iter()
        .map(|t| {
            let after = (t - start).max(0.0);
            vec![1.0, after / (end - start), -(-after / scale).exp_m1()]
        })
        .collect();
    crate::solve::fit_linear(&rows, values, None).ok().map(|fit| fit.residual_sum_of_squares)
}
