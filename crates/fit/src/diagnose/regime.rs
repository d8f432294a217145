//! By day and by night: two levels between which a floor jumps to and fro, where nobody logged the pressure that does it.
//!
//! Boxes are held above the room's pressure while people work and below it at night, or the other way round, and their
//! leaks show only below. Without the pressure that looks like unrest of a factor of ten. The two levels are told apart
//! by the content itself, and the upper one counts as if the pressure then lay below that of the room.

use super::grid::{Grid, State};
use super::robust::quantile_in_place;

/// Under-pressure that stands for the upper level, Pa: any will do, since only proportions count.
pub(super) const UPPER_PA: f64 = 100.0;
/// Levels are sought in the readings of so long around, h.
const REACH_H: f64 = 36.0;
/// The upper level lies this factor above the lower, and the levels so many of their own spreads apart.
const FACTOR: f64 = 1.3;
const APART: f64 = 4.0;
/// A floor that jumps once has changed; one that jumps this often within twice the reach goes to and fro.
const FEWEST_JUMPS: usize = 3;
/// Each level holds at least this share of the readings.
const LEAST_SHARE: f64 = 0.12;
/// Share of the log in which two levels must be seen.
const LEAST_SEEN: f64 = 0.5;

/// Under-pressure of each step by the two levels of a species' content; `None` where there are no two levels.
pub(super) fn under_pressure(grid: &Grid, content: &[f64], busy: &[bool]) -> Option<Vec<f64>> {
    let block = ((0.25 / grid.step_h).round() as usize).max(1);
    let blocks = blocks(grid, content, busy, block);
    let reach = (REACH_H / (block as f64 * grid.step_h)) as usize;
    let every = (reach / 12).max(1);
    let mut thresholds: Vec<Option<f64>> = Vec::new();
    for middle in (0..blocks.len()).step_by(every) {
        thresholds.push(threshold(&blocks[middle.saturating_sub(reach)..(middle + reach + 1).min(blocks.len())]));
    }
    let seen = thresholds.iter().flatten().count() as f64;
    if seen < LEAST_SEEN * thresholds.len() as f64 || thresholds.is_empty() {
        return None;
    }
    let mut under = vec![f64::NAN; grid.len()];
    let mut upper = 0.5;
    for (index, value) in under.iter_mut().enumerate() {
        let own = blocks[index / block];
        let threshold = nearest(&thresholds, index / block / every);
        if let Some(threshold) = threshold.filter(|_| own.is_finite()) {
            upper = f64::from(u8::from(own > threshold));
        }
        *value = UPPER_PA * upper;
    }
    Some(under)
}

/// Logarithms of medians over a quarter of an hour; NaN where the floor is not seen.
fn blocks(grid: &Grid, content: &[f64], busy: &[bool], block: usize) -> Vec<f64> {
    let each = (0..grid.len()).step_by(block).map(|start| {
        let steps = start..(start + block).min(grid.len());
        let free = steps.filter(|i| grid.state[*i] == State::On && !busy[*i] && content[*i] > 0.0);
        quantile_in_place(&mut free.map(|i| content[i]).collect::<Vec<_>>(), 0.5).ln()
    });
    each.collect()
}

/// The value between two levels, where there are two and the content goes to and fro between them.
fn threshold(window: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = window.iter().copied().filter(|value| value.is_finite()).collect();
    if sorted.len() < 24 {
        return None;
    }
    sorted.sort_unstable_by(f64::total_cmp);
    let n = sorted.len() as f64;
    let (sum, squares) = sorted.iter().fold((0.0, 0.0), |(s, q), v| (s + v, q + v * v));
    let edge = (LEAST_SHARE * n) as usize;
    let (mut below, mut below_squares) = (0.0, 0.0);
    let mut best: Option<(f64, f64, usize)> = None;
    for (index, value) in sorted.iter().enumerate() {
        if index >= edge.max(1) && index <= sorted.len() - edge.max(1) {
            let (low, high) = (index as f64, n - index as f64);
            let within = (below_squares - below * below / low)
                + (squares - below_squares - (sum - below) * (sum - below) / high);
            if best.is_none_or(|(least, _, _)| within < least) {
                best = Some((within, (sum - below) / high - below / low, index));
            }
        }
        below += value;
        below_squares += value * value;
    }
    let (within, apart, index) = best?;
    let spread = (within.max(0.0) / n).sqrt();
    let middle = 0.5 * (sorted[index - 1] + sorted[index]);
    let sides: Vec<bool> = window.iter().filter(|value| value.is_finite()).map(|value| *value > middle).collect();
    let jumps = sides.windows(2).filter(|pair| pair[0] != pair[1]).count();
    // Noise at the threshold jumps all the time; two levels seldom.
    let is_slow = jumps * 8 < sides.len();
    (apart > FACTOR.ln() && apart > APART * spread && jumps >= FEWEST_JUMPS && is_slow).then_some(middle)
}

/// The threshold at a place or the next one known.
fn nearest(thresholds: &[Option<f64>], at: usize) -> Option<f64> {
    (0..thresholds.len()).find_map(|away| {
        let before = at.checked_sub(away).and_then(|i| thresholds.get(i)).copied().flatten();
        before.or_else(|| thresholds.get(at + away).copied().flatten())
    })
}
