//! Runs of one unchanging value: a sensor that stood still, or that has come to the end of its range.
//!
//! A coarse display rests on one step for long while the quantity moves slowly, and that is no fault. So a run is
//! compared with how the channel moves beside it: cut into pieces of at most a quarter of the run's length, the rest of
//! the readings must move by several steps of the display in *every* piece, and right beside the run hardly slower than
//! elsewhere. A display that dithers between two steps, a quantity that levels off and a turning point all fail that.

use crate::channel::Kind;
use crate::recording::{Place, Series, Status, Stuck};

/// Fewest readings of a run, and of one at the highest or lowest value of the record, which a limit holds there.
const SHORTEST: usize = 30;
const SHORTEST_AT_END: usize = 20;
/// Pieces of the rest are this share of the run, and no shorter than this.
const PIECES_TO_RUN: usize = 4;
const SHORTEST_PIECE: usize = 5;
const FEWEST_PIECES: usize = 3;
/// Steps of the display that every piece must cover.
const STEPS: f64 = 3.0;
/// Steps that do where the readings also go up and down in every fourth reading or more: noise of a third of a step.
const STEPS_OF_NOISE: f64 = 2.0;
/// A piece beside the run that covers less than this of what pieces usually cover shows a quantity that came to rest.
const SLOWED: f64 = 0.25;

/// Runs of one value between two times (s; the whole series without them) for which the channel moves too much elsewhere.
pub fn stuck_runs(series: &Series, within_s: Option<[f64; 2]>) -> Vec<Stuck> {
    if series.channel.kind() == Kind::State {
        return Vec::new();
    }
    let [from_s, to_s] = within_s.unwrap_or([f64::NEG_INFINITY, f64::INFINITY]);
    // What lies below the reporting limit shows that limit, as often as it likes.
    let measured = |i: &usize| series.status_at(*i) == Status::Measured;
    let inside = |i: &usize| (from_s..=to_s).contains(&series.time_s[*i]);
    let readings = || (0..series.len()).filter(measured).filter(inside);
    if !stands(readings().map(|i| series.value[i])) {
        return Vec::new();
    }
    let index: Vec<usize> = readings().collect();
    let value: Vec<f64> = index.iter().map(|i| series.value[*i]).collect();
    let all = || (0..series.len()).filter(measured).map(|i| series.value[i]);
    let (lowest, highest) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    let place = |value: f64| match value {
        value if value >= highest => Place::Highest,
        value if value <= lowest => Place::Lowest,
        _ => Place::Between,
    };
    let runs = runs(&value);
    let mut long: Vec<Run> = runs.iter().filter(|run| run.count >= SHORTEST_AT_END).copied().collect();
    long.sort_by_key(|run| std::cmp::Reverse(run.count));
    let mut found: Vec<Run> = Vec::new();
    for run in &long {
        let place = place(value[run.start]);
        let shortest = if place == Place::Between { SHORTEST } else { SHORTEST_AT_END };
        if run.count < shortest {
            continue;
        }
        // At the end of a range the readings may stand more than once, and for as long.
        let same_end =
            |other: &&Run| place != Place::Between && value[other.start].to_bits() == value[run.start].to_bits();
        let alike: Vec<Run> = runs.iter().filter(same_end).chain(&found).chain([run]).copied().collect();
        if !is_out_of_proportion(&value, *run, &alike) {
            break;
        }
        found.push(*run);
    }
    found.sort_by_key(|run| run.start);
    let stuck = |run: &Run| Stuck {
        channel: series.channel,
        column: series.column.clone(),
        span_s: (series.time_s[index[run.start]], series.time_s[index[run.start + run.count - 1]]),
        value: value[run.start],
        count: run.count,
        place: place(value[run.start]),
    };
    found.iter().map(stuck).collect()
}

/// Whether any value stands long enough to be asked about; most channels never do, and are not copied for it.
fn stands(values: impl Iterator<Item = f64>) -> bool {
    let (mut last, mut count) = (f64::NAN, 0);
    for value in values {
        count = if value.to_bits() == last.to_bits() { count + 1 } else { 1 };
        if count >= SHORTEST_AT_END {
            return true;
        }
        last = value;
    }
    false
}

/// Readings of one value, one after the other.
#[derive(Debug, Clone, Copy)]
struct Run {
    start: usize,
    count: usize,
}

fn runs(value: &[f64]) -> Vec<Run> {
    let mut runs = Vec::new();
    let mut start = 0;
    for i in 1..=value.len() {
        if i == value.len() || value[i].to_bits() != value[start].to_bits() {
            runs.push(Run { start, count: i - start });
            start = i;
        }
    }
    runs
}

/// Whether every piece of the rest moves so much that a run of this length is no rest. `aside` are runs that do not
/// count as rest, this one among them.
fn is_out_of_proportion(value: &[f64], run: Run, aside: &[Run]) -> bool {
    let at = value[run.start];
    let mut keep = vec![true; value.len()];
    for run in aside {
        keep[run.start..run.start + run.count].fill(false);
    }
    let rest = |range: std::ops::Range<usize>| range.filter(|i| keep[*i]).map(|i| value[i]).collect::<Vec<f64>>();
    let (mut before, after) = (rest(0..run.start), rest(run.start + run.count..value.len()));
    before.reverse();
    let step = before.iter().chain(&after).map(|value| (value - at).abs()).filter(|gap| *gap > 0.0);
    let step = step.fold(f64::INFINITY, f64::min);
    let length =
        (run.count / PIECES_TO_RUN).min((before.len() + after.len()) / (FEWEST_PIECES + 1)).max(SHORTEST_PIECE);
    let sides = [&before, &after].map(|side| side.chunks_exact(length).map(Piece::of).collect::<Vec<_>>());
    let pieces: Vec<Piece> = sides.iter().flatten().copied().collect();
    if pieces.len() < FEWEST_PIECES || !pieces.iter().all(|piece| piece.moves(step, length)) {
        return false;
    }
    let mut usual: Vec<f64> = pieces.iter().map(|piece| piece.covers).collect();
    usual.sort_unstable_by(f64::total_cmp);
    let usual = usual[usual.len() / 2];
    sides.iter().filter_map(|side| side.first()).all(|beside| beside.covers >= SLOWED * usual)
}

/// A stretch of readings.
#[derive(Debug, Clone, Copy)]
struct Piece {
    /// What its readings cover, the outermost on each side left out where there are many: one spike is no movement.
    covers: f64,
    /// How often they turn from rising to falling or back.
    turns: usize,
}

impl Piece {
    fn of(values: &[f64]) -> Self {
        let mut sorted = values.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let spare = usize::from(values.len() >= 4 * SHORTEST_PIECE);
        let changes = values.windows(2).map(|pair| pair[1] - pair[0]).filter(|change| *change != 0.0);
        let signs: Vec<bool> = changes.map(|change| change > 0.0).collect();
        Self {
            covers: sorted[sorted.len() - 1 - spare] - sorted[spare],
            turns: signs.windows(2).filter(|pair| pair[0] != pair[1]).count(),
        }
    }

    fn moves(self, step: f64, length: usize) -> bool {
        const ROUNDING: f64 = 1e-6;
        let steps = self.covers / step + ROUNDING;
        steps >= STEPS || steps >= STEPS_OF_NOISE && self.turns * PIECES_TO_RUN >= length
    }
}
