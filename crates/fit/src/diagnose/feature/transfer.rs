//! Transfers: how their doses decay, how large they are and how many come.

use super::circumstances::{Circumstances, Usual};
use super::{HOURS_PER_DAY, Kind, Row, Stream};
use crate::diagnose::dose::Doses;
use crate::diagnose::grid::Grid;
use crate::diagnose::log::Species;
use crate::diagnose::robust::{deviation_from_absolute, median_in_place};

pub(super) fn decays(grid: &Grid, usual: &Usual, doses: &Doses, species: Species) -> Stream {
    let rows = doses.doses.iter().filter_map(|dose| {
        let [y, sd] = dose.decay?;
        let at = usual.over(grid, &(dose.span[0]..=dose.span[1]));
        Some(Row { time_h: grid.time_h(dose.span[0]), value: y, y, sd, censored: false, at })
    });
    daily(grid, Kind::Decay(species), &rows.collect::<Vec<_>>(), 0.05)
}

pub(super) fn areas(grid: &Grid, usual: &Usual, doses: &Doses, species: Species) -> Stream {
    /// A mean known worse than this, relative, tells nothing.
    const WORST: f64 = 0.4;
    let kind = Kind::DoseArea(species);
    let bin_h = daily_bin_h(grid);
    let all: Vec<(usize, f64)> = doses.doses.iter().filter_map(|dose| Some((dose.span[0], dose.area?))).collect();
    let logarithms: Vec<f64> = all.iter().filter(|(_, area)| *area > 0.0).map(|(_, area)| area.ln()).collect();
    let mut steps: Vec<f64> = logarithms.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let scatter = (deviation_from_absolute(&mut steps) / std::f64::consts::SQRT_2).max(0.2);
    let scatter = if scatter.is_finite() { scatter } else { 0.5 };
    // Doses that nobody marked are those that stand out, which are fewer and larger over a high floor.
    let selected = if grid.transfer.is_some() { 0.05 } else { 0.3 };
    let mut rows = Vec::new();
    for bin in all.chunk_by(|a, b| (grid.time_h(a.0) / bin_h).floor() >= (grid.time_h(b.0) / bin_h).floor()) {
        let n = bin.len() as f64;
        let mean = bin.iter().map(|(_, area)| area).sum::<f64>() / n;
        let noise = doses.noise_ppm * (grid.step_h / n).sqrt();
        if mean > 0.0 && noise / mean < WORST {
            let middle = bin[bin.len() / 2].0;
            // Both species come in with the same doses, and a few large ones make the mean.
            let sd = std::f64::consts::SQRT_2 * (scatter.max(0.35) / n.sqrt()).hypot(noise / mean).hypot(selected);
            let at = usual.over(grid, &(middle..=middle));
            rows.push(Row { time_h: grid.time_h(middle), value: mean.ln(), y: mean.ln(), sd, censored: false, at });
        }
    }
    Stream { kind, scale: 0.0, rows }
}

fn daily_bin_h(grid: &Grid) -> f64 {
    (grid.duration_h() / 60.0).clamp(1.0, HOURS_PER_DAY / 2.0)
}

/// Rows of logarithms, gathered by sixth to half days; the scatter between them is found from neighbours.
fn daily(grid: &Grid, kind: Kind, rows: &[Row], least_scatter: f64) -> Stream {
    let bin_h = daily_bin_h(grid);
    let mut steps: Vec<f64> = rows.windows(2).map(|pair| pair[1].y - pair[0].y).collect();
    let scatter = (deviation_from_absolute(&mut steps) / std::f64::consts::SQRT_2).max(least_scatter);
    let scatter = if scatter.is_finite() { scatter } else { 2.0 * least_scatter };
    let mut gathered: Vec<Row> = Vec::new();
    for bin in rows.chunk_by(|a, b| (a.time_h / bin_h).floor() >= (b.time_h / bin_h).floor()) {
        let n = bin.len() as f64;
        let mean = |f: &dyn Fn(&Row) -> f64| bin.iter().map(f).sum::<f64>() / n;
        let y = median_in_place(&mut bin.iter().map(|row| row.y).collect::<Vec<_>>());
        let own = mean(&|row| row.sd);
        let sd = 1.25 * scatter.hypot(own) / n.sqrt();
        let middle = bin[bin.len() / 2];
        gathered.push(Row { time_h: mean(&|row| row.time_h), value: y, y, sd, ..middle });
    }
    Stream { kind, scale: 0.0, rows: gathered }
}

pub(super) fn counts(grid: &Grid, doses: &[Doses; 2]) -> Stream {
    /// Days are taken together until they hold so many transfers, so that the logarithm of their number means something.
    const ENOUGH: f64 = 6.0;
    /// Share of a day that may be missing.
    const MISSING: f64 = 0.1;
    let starts = starts(grid, doses);
    let per_day = (HOURS_PER_DAY / grid.step_h).max(1.0);
    let mut rows = Vec::new();
    let (mut days, mut count, mut time_h) = (0.0, 0.0, 0.0);
    for day in 0..(grid.duration_h() / HOURS_PER_DAY).floor() as usize {
        let range = (day as f64 * per_day) as usize..((day + 1) as f64 * per_day) as usize;
        let own = starts.iter().filter(|start| range.contains(*start)).count() as f64;
        // Days without any are weekends and holidays, which say nothing of habits; nor do days of which a part is missing.
        if own == 0.0 || unseen(grid, range) > MISSING {
            continue;
        }
        days += 1.0;
        count += own;
        time_h += (day as f64 + 0.5) * HOURS_PER_DAY;
        if count >= ENOUGH {
            let y = (count / days).ln();
            let at = Circumstances::default();
            let sd = (1.0 / count).sqrt();
            rows.push(Row { time_h: time_h / days, value: count / days, y, sd, censored: false, at });
            (days, count, time_h) = (0.0, 0.0, 0.0);
        }
    }
    Stream { kind: Kind::TransferCount, scale: 0.0, rows: if rows.len() < 2 { Vec::new() } else { rows } }
}

/// Share of the steps that lie in gaps of the log, in which nobody saw what happened.
fn unseen(grid: &Grid, range: std::ops::Range<usize>) -> f64 {
    /// Rows come with some jitter, so that single steps without reading are no gap.
    const GAP: usize = 4;
    let length = range.len() as f64;
    let is_missing: Vec<bool> = range.map(|i| grid.content.iter().all(|content| content[i].is_nan())).collect();
    let runs = is_missing.chunk_by(|a, b| a == b).filter(|run| run[0] && run.len() >= GAP);
    runs.map(<[bool]>::len).sum::<usize>() as f64 / length
}

/// Steps in which transfers start: marked ones, else doses that were found.
pub(super) fn starts(grid: &Grid, doses: &[Doses; 2]) -> Vec<usize> {
    match &grid.transfer {
        Some(starts) => (0..grid.len()).filter(|i| starts[*i]).collect(),
        None => found_starts(grid, doses),
    }
}

/// Transfers of the last hours in each step, over their mean.
pub(super) fn recent(grid: &Grid, starts: &[usize]) -> Vec<f64> {
    /// What a transfer leaves on the walls comes off over about so long, h (an order of magnitude, common practice, no
    /// source).
    const MEMORY_H: f64 = 5.0;
    let keep = (-grid.step_h / MEMORY_H).exp();
    let mut values = vec![0.0; grid.len()];
    for start in starts {
        values[*start] += 1.0;
    }
    let mut sum = 0.0;
    for value in &mut values {
        sum = sum * keep + *value;
        *value = sum;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    if mean > 0.0 {
        for value in &mut values {
            *value /= mean;
        }
    }
    values
}

/// Starts of doses of either species; those within ten minutes are one transfer.
fn found_starts(grid: &Grid, doses: &[Doses; 2]) -> Vec<usize> {
    let own = doses.iter().flat_map(|doses| &doses.doses).filter(|dose| !dose.is_pull_down && dose.decay.is_some());
    let mut starts: Vec<usize> = own.map(|dose| dose.span[0]).collect();
    starts.sort_unstable();
    let apart = (10.0 / 60.0 / grid.step_h).ceil() as usize;
    starts.dedup_by(|later, earlier| *later - *earlier < apart);
    starts
}
