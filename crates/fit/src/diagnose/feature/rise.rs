//! Rises with the purifier off: straight lines over pieces.

use super::circumstances::Usual;
use super::{Kind, Row, Stream, compress};
use crate::diagnose::dose::Doses;
use crate::diagnose::grid::{Grid, State};
use crate::diagnose::log::{Background, Species};
use crate::diagnose::robust::{deviation_from_absolute, median_in_place};

/// Longest and shortest piece of a rise, h, and what is left out after switching off.
const LONGEST_RISE_H: f64 = 3.0;
const SHORTEST_RISE_H: f64 = 0.15;
const SETTLING_H: f64 = 0.05;
/// A purifier turns a box over more often than this, 1/h (common practice, no source).
const LEAST_TURNOVER: f64 = 2.0;

pub(super) fn rises(grid: &Grid, usual: &Usual, doses: &Doses, background: &Background, species: Species) -> Stream {
    let content = &grid.content[species.index()];
    let mut rows = Vec::new();
    let mut ses = Vec::new();
    for piece in off_pieces(grid, content, doses.noise_ppm) {
        let Some([slope, se]) = slope(grid, content, &piece) else { continue };
        if !grid.state_is_known && slope < LEAST_TURNOVER * floor_before(grid, content, piece.start) {
            // Taken for a rise only because of what came before or after it, or a floor that creeps up.
            continue;
        }
        let at = usual.over(grid, &piece);
        let time_h = 0.5 * (grid.time_h(piece.start) + grid.time_h(piece.end - 1));
        // Make-up gas thins what has gathered.
        let gathered = content[piece.clone()].iter().filter(|v| v.is_finite()).sum::<f64>() / piece.len() as f64;
        let thinned = background
            .volume_m3
            .map_or(0.0, |volume| at.makeup * usual.makeup / volume * gathered)
            .clamp(0.0, f64::MAX);
        let value = slope + if thinned.is_finite() { thinned } else { 0.0 };
        ses.push(se);
        rows.push(Row { time_h, value, y: 0.0, sd: se, censored: false, at });
    }
    let mut values: Vec<f64> = rows.iter().map(|row| row.value.abs()).collect();
    // Where nobody logged the purifier, what looks like a rise with it off may have other ends and reasons, and small ones
    // tell nothing.
    let (least, relative) = match (grid.state_is_known, species) {
        (false, _) => (1.0, 0.25),
        (true, Species::Oxygen) => (0.2, 0.05),
        (true, Species::Water) => (0.2, 0.1),
    };
    let scale = (least * median_in_place(&mut values)).max(median_in_place(&mut ses)).max(1e-3);
    for row in &mut rows {
        row.y = compress(row.value, scale);
    }
    // Rises bend: water comes off walls, analysers stand in still gas. What neighbours differ by says how much.
    let mut steps: Vec<f64> = rows.windows(2).map(|pair| pair[1].y - pair[0].y).collect();
    let scatter = deviation_from_absolute(&mut steps) / std::f64::consts::SQRT_2;
    let scatter = if scatter.is_finite() { scatter.min(0.5) } else { 0.0 };
    for row in &mut rows {
        row.sd = (row.sd / row.value.hypot(scale)).hypot(relative).max(scatter);
    }
    Stream { kind: Kind::Rise(species), scale, rows }
}

/// The content when the purifier was switched off, ppm; what comes in with it off is at least this times how often the
/// purifier turned the box over.
fn floor_before(grid: &Grid, content: &[f64], start: usize) -> f64 {
    let switched = (0..start).rev().find(|i| grid.state[*i] != State::Off).unwrap_or(0);
    let before = content[..=switched].iter().rev().find(|value| value.is_finite());
    before.copied().unwrap_or(0.0).max(0.0)
}

/// Stretches with the purifier off, without transfers and jumps, cut to pieces.
fn off_pieces(grid: &Grid, content: &[f64], noise_ppm: f64) -> Vec<std::ops::Range<usize>> {
    let steps = |hours: f64| (hours / grid.step_h).ceil() as usize;
    let mut pieces = Vec::new();
    let mut index = 0;
    while index < grid.len() {
        if grid.state[index] != State::Off {
            index += 1;
            continue;
        }
        let end = (index..grid.len()).find(|i| grid.state[*i] != State::Off).unwrap_or(grid.len());
        let start = (index + steps(SETTLING_H).max(2)).min(end);
        let mut changes: Vec<f64> = content[start..end].windows(2).map(|pair| pair[1] - pair[0]).collect();
        changes.retain(|change| change.is_finite());
        let usual = median_in_place(&mut changes).abs();
        let jumps = |i: usize| {
            let jump = (content[i] - content[i - 1]).abs();
            grid.transfer.as_ref().is_some_and(|starts| starts[i]) || jump > 8.0 * noise_ppm + 8.0 * usual
        };
        let mut from = start;
        for i in start + 1..=end {
            if i <= from {
                continue;
            }
            let jumped = i < end && jumps(i);
            if i == end || jumped || i - from >= steps(LONGEST_RISE_H) {
                if i - from >= steps(SHORTEST_RISE_H).max(4) {
                    pieces.push(from..i);
                }
                // What a transfer brought mixes for a quarter of an hour.
                from = if jumped { (i + steps(0.25)).min(end) } else { i };
            }
        }
        index = end;
    }
    pieces
}

/// Slope of a straight line and its standard uncertainty, ppm/h.
fn slope(grid: &Grid, content: &[f64], piece: &std::ops::Range<usize>) -> Option<[f64; 2]> {
    let points: Vec<[f64; 2]> =
        piece.clone().filter(|i| content[*i].is_finite()).map(|i| [grid.time_h(i), content[i]]).collect();
    let n = points.len() as f64;
    if points.len() < 4 {
        return None;
    }
    let [t, x] = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
    let spread = points.iter().map(|p| (p[0] - t).powi(2)).sum::<f64>();
    let slope = points.iter().map(|p| (p[0] - t) * (p[1] - x)).sum::<f64>() / spread;
    let rest = points.iter().map(|p| (p[1] - x - slope * (p[0] - t)).powi(2)).sum::<f64>() / (n - 2.0);
    // Twice that of white residuals: they are not.
    Some([slope, 2.0 * (rest / spread).sqrt()])
}
