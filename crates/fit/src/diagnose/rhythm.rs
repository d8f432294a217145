//! What repeats by the hour of the day or of the week: temperature, pressure and habits that nobody logged.

use super::feature::{Kind, Row, Stream};
use super::log::Species;
use super::robust::median_in_place;

const DAY_H: f64 = 24.0;
const WEEK_H: f64 = 168.0;
/// A period must come so often before anything can be said to repeat.
const FEWEST_PERIODS: f64 = 3.0;
/// Rows count as of the same hour within this, h, or half a cell of floor.
const SHORTEST_REACH_H: f64 = 1.0;
/// What repeats must account for this share of the deviations from the day's median.
const WORTH: f64 = 0.15;

/// Fills the rhythm of each species into the circumstances of its floors and rises.
pub(super) fn add(streams: &mut [Stream], duration_h: f64, cell_h: f64) {
    let reach_h = SHORTEST_REACH_H.max(0.55 * cell_h);
    for species in Species::BOTH {
        let Some(floors) = streams.iter().find(|stream| stream.kind == Kind::Floor(species)) else { continue };
        let deviations = deviations(&floors.rows);
        let periods = [DAY_H, WEEK_H].into_iter().filter(|period_h| duration_h >= FEWEST_PERIODS * period_h);
        let folded = periods.map(|period_h| Folded { deviations: &deviations, period_h, reach_h });
        let total: f64 = deviations.iter().map(|[_, off]| off.abs()).sum();
        let left = |folded: &Folded<'_>| {
            deviations.iter().map(|[time_h, off]| (off - folded.at(*time_h)).abs()).sum::<f64>() / total
        };
        let best = folded.map(|folded| (left(&folded), folded)).min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, folded)) = best.filter(|(left, _)| *left < 1.0 - WORTH) else { continue };
        let values: Vec<(usize, Vec<f64>)> = streams
            .iter()
            .enumerate()
            .filter(|(_, stream)| [Kind::Floor(species), Kind::Rise(species)].contains(&stream.kind))
            .map(|(index, stream)| (index, stream.rows.iter().map(|row| folded.at(row.time_h)).collect()))
            .collect();
        for (index, values) in values {
            for (row, value) in streams[index].rows.iter_mut().zip(values) {
                row.at.rhythm[species.index()] = value;
            }
        }
    }
}

/// Time in h, and difference from the median of the day around.
fn deviations(rows: &[Row]) -> Vec<[f64; 2]> {
    let mut from = 0;
    let mut to = 0;
    let mut around = Vec::new();
    let each = rows.iter().map(|row| {
        while rows[from].time_h < row.time_h - 0.5 * DAY_H {
            from += 1;
        }
        while to < rows.len() && rows[to].time_h <= row.time_h + 0.5 * DAY_H {
            to += 1;
        }
        around.clear();
        around.extend(rows[from..to].iter().map(|row| row.y));
        [row.time_h, row.y - median_in_place(&mut around)]
    });
    each.collect()
}

struct Folded<'a> {
    deviations: &'a [[f64; 2]],
    period_h: f64,
    reach_h: f64,
}

impl Folded<'_> {
    /// Median deviation at the same phase in other periods, so that no row explains itself.
    fn at(&self, time_h: f64) -> f64 {
        const FEWEST: usize = 2;
        let mut same: Vec<f64> = Vec::new();
        for [other_h, off] in self.deviations {
            let apart = (other_h - time_h).abs();
            let phase = apart - self.period_h * (apart / self.period_h).round();
            if apart > 0.5 * self.period_h && phase.abs() < self.reach_h {
                same.push(*off);
            }
        }
        if same.len() < FEWEST { 0.0 } else { median_in_place(&mut same) }
    }
}
