//! Floors and flows: means over cells of time.

use super::circumstances::Usual;
use super::{FINEST_PPM, HOURS_PER_DAY, Kind, Row, Stream, compress};
use crate::diagnose::dose::Doses;
use crate::diagnose::grid::{Grid, State};
use crate::diagnose::log::Species;
use crate::diagnose::robust::{deviation_from_absolute, median_in_place, trimmed_mean};

pub(super) fn floors(grid: &Grid, usual: &Usual, doses: &Doses, species: Species, cell_h: f64) -> Stream {
    let kind = Kind::Floor(species);
    let content = &grid.content[species.index()];
    let per_cell = ((cell_h / grid.step_h).round() as usize).max(1);
    let mut rows = Vec::new();
    for start in (0..grid.len()).step_by(per_cell) {
        let cell = start..(start + per_cell).min(grid.len());
        let free = |i: &usize| grid.state[*i] == State::On && !doses.busy[*i] && content[*i].is_finite();
        let steps: Vec<usize> = cell.filter(free).collect();
        if steps.len() < (per_cell / 8).max(2) {
            continue;
        }
        let mut values: Vec<f64> = steps.iter().map(|i| content[*i]).collect();
        let censored = 2 * steps.iter().filter(|i| grid.censored[species.index()][**i]).count() > steps.len();
        let time_h = steps.iter().map(|i| grid.time_h(*i)).sum::<f64>() / steps.len() as f64;
        let at = usual.over(grid, &steps.iter().copied());
        let value = trimmed_mean(&mut values);
        rows.push(Row { time_h, value, y: value, sd: 0.0, censored, at });
    }
    let mut values: Vec<f64> = rows.iter().map(|row| row.value.abs()).collect();
    let scale =
        (0.3 * median_in_place(&mut values)).max(2.0 * doses.noise_ppm / (per_cell as f64).sqrt()).max(FINEST_PPM);
    scaled(kind, scale, rows, 0.01)
}

/// Puts rows on the compressed scale and finds their white noise from neighbours and from the day before.
fn scaled(kind: Kind, scale: f64, mut rows: Vec<Row>, least_sd: f64) -> Stream {
    for row in &mut rows {
        row.y = compress(row.value, scale);
    }
    let mut neighbours: Vec<f64> = rows.windows(2).map(|pair| pair[1].y - pair[0].y).collect();
    let mut second: Vec<f64> =
        rows.windows(3).map(|three| (three[2].y - 2.0 * three[1].y + three[0].y) / 1.732).collect();
    let sd =
        deviation_from_absolute(&mut neighbours).min(deviation_from_absolute(&mut second)) / std::f64::consts::SQRT_2;
    let sd = if sd.is_finite() { sd.max(least_sd) } else { 0.1 };
    let y: Vec<f64> = rows.iter().map(|row| row.y).collect();
    for (index, row) in rows.iter_mut().enumerate() {
        let around = index.saturating_sub(3)..(index + 4).min(y.len());
        let off = (row.y - median_in_place(&mut y[around].to_vec())).abs();
        // One odd cell among its neighbours, a forgotten glove or an open door, must not outvote the rest.
        row.sd = sd.max(if off > 5.0 * sd { 0.5 * off } else { 0.0 });
    }
    Stream { kind, scale, rows }
}

pub(super) fn flows(grid: &Grid, usual: &Usual, kind: Kind, cell_h: f64) -> Stream {
    let values = if kind == Kind::Flow { &grid.flow } else { &grid.makeup };
    // Make-up follows the hours of work, so that only whole days compare.
    let long_h = if kind == Kind::Makeup { HOURS_PER_DAY } else { 2.0 * cell_h };
    let per_cell = ((long_h / grid.step_h).round() as usize).max(1);
    let mut rows = Vec::new();
    for start in (0..grid.len()).step_by(per_cell) {
        let wanted = |i: &usize| values[*i].is_finite() && (kind == Kind::Makeup || grid.state[*i] == State::On);
        let steps: Vec<usize> = (start..(start + per_cell).min(grid.len())).filter(wanted).collect();
        let mut own: Vec<f64> = steps.iter().map(|i| values[*i]).collect();
        let value = match kind {
            // Make-up comes in pulses, which a median would miss.
            Kind::Makeup => own.iter().sum::<f64>() / own.len() as f64,
            _ => median_in_place(&mut own),
        };
        if steps.len() < (if kind == Kind::Makeup { per_cell / 2 } else { per_cell / 4 }).max(1) || !(value > 0.0) {
            continue;
        }
        let time_h = steps.iter().map(|i| grid.time_h(*i)).sum::<f64>() / steps.len() as f64;
        rows.push(Row {
            time_h,
            value,
            y: value.ln(),
            sd: 0.0,
            censored: false,
            at: usual.over(grid, &steps.into_iter()),
        });
    }
    for row in &mut rows {
        row.value = row.y;
    }
    if kind == Kind::Flow {
        return scaled(kind, 0.0, rows, 0.02);
    }
    // Make-up differs by weekday, so that the ordinary step between days says too little.
    let squares: f64 = rows.windows(2).map(|pair| 0.5 * (pair[1].y - pair[0].y).powi(2)).sum();
    let scatter = (squares / (rows.len() as f64 - 1.0).max(1.0)).sqrt();
    scaled(kind, 0.0, rows, scatter.max(0.15))
}
