//! From a log to the few hundred numbers that models are compared on: floors, rises, decays, doses and flows.

mod circumstances;
mod floor;
mod rise;
mod transfer;

pub(super) use circumstances::Circumstances;
use circumstances::Usual;

use super::dose::find;
use super::grid::Grid;
use super::log::{Background, Species};
use super::{regime, rhythm, tested};

/// Cells of floor: about so many in a log, none shorter or longer than these, h.
const CELLS: f64 = 180.0;
const SHORTEST_CELL_H: f64 = 0.5;
const LONGEST_CELL_H: f64 = 6.0;
const HOURS_PER_DAY: f64 = 24.0;
/// Displays of trace analysers resolve no better than this.
const FINEST_PPM: f64 = 0.005;

/// What a row measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Content while the purifier runs and no dose is under way.
    Floor(Species),
    /// Rate of rise while the purifier is off.
    Rise(Species),
    /// Rate at which a dose decays.
    Decay(Species),
    /// Size of doses, as the area over the floor.
    DoseArea(Species),
    /// Transfers a day, on days that have any.
    TransferCount,
    /// Circulation flow.
    Flow,
    /// Make-up flow.
    Makeup,
    /// Oxygen through leaks per Pa of under-pressure, by leak tests.
    Leakage,
}

/// One number with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Row {
    /// h after the start of the log.
    pub(super) time_h: f64,
    /// The number itself: ppm, ppm/h, or a logarithm.
    pub(super) value: f64,
    /// The same on the scale of the comparison.
    pub(super) y: f64,
    /// Standard deviation on that scale, white.
    pub(super) sd: f64,
    /// Whether the truth lies below.
    pub(super) censored: bool,
    /// Circumstances.
    pub(super) at: Circumstances,
}

/// Rows of one kind in order of time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stream {
    pub(super) kind: Kind,
    /// Scale below which differences count absolutely, ppm or ppm/h; 0 for logarithms.
    pub(super) scale: f64,
    pub(super) rows: Vec<Row>,
}

/// Everything that a log tells.
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each says of one channel whether it is there")]
pub(super) struct Features {
    pub(super) streams: Vec<Stream>,
    pub(super) duration_h: f64,
    pub(super) has_pressure: bool,
    /// Whether the content by itself showed two levels that stand for the pressure.
    pub(super) has_levels: bool,
    pub(super) has_makeup: bool,
    pub(super) has_flow: bool,
    pub(super) has_transfer_marks: bool,
    pub(super) has_temperature: bool,
    pub(super) has_room_water: bool,
    /// Length of a cell of floor, h.
    pub(super) cell_h: f64,
    /// Mean make-up flow, m³/h.
    pub(super) makeup_mean: f64,
    /// Step of the log, h.
    pub(super) step_h: f64,
}

/// The number that [`compress`] was given, or of a logarithm.
pub(super) fn expand(y: f64, scale: f64) -> f64 {
    if scale > 0.0 { y.sinh() * scale } else { y.exp() }
}

/// Compresses large values so that relative differences count there and absolute ones near zero.
pub(super) fn compress(value: f64, scale: f64) -> f64 {
    if scale > 0.0 {
        // Inverse hyperbolic sine by its formula, which is several times faster than the library's and exact enough.
        let size = (value / scale).abs();
        (size + (size * size + 1.0).sqrt()).ln().copysign(value)
    } else {
        value
    }
}

impl Features {
    pub(super) fn new(grid: &Grid, background: &Background) -> Self {
        let doses = Species::BOTH.map(|species| find(grid, species));
        let has_pressure = grid.gauge.iter().any(|value| value.is_finite());
        let levels = || {
            let mut each = Species::BOTH.iter().map(|species| species.index());
            each.find_map(|s| regime::under_pressure(grid, &grid.content[s], &doses[s].busy))
        };
        let levelled =
            (!has_pressure).then(levels).flatten().map(|under_pressure| Grid { under_pressure, ..grid.clone() });
        let has_levels = levelled.is_some();
        let grid = levelled.as_ref().unwrap_or(grid);
        let usual = Usual::new(grid, &doses);
        let duration_h = grid.duration_h();
        let cell_h = (duration_h / CELLS).clamp(SHORTEST_CELL_H, LONGEST_CELL_H).max(3.0 * grid.step_h);
        let mut streams = Vec::new();
        for species in Species::BOTH {
            let own = &doses[species.index()];
            streams.push(floor::floors(grid, &usual, own, species, cell_h));
            streams.push(rise::rises(grid, &usual, own, background, species));
            streams.push(transfer::decays(grid, &usual, own, species));
            streams.push(transfer::areas(grid, &usual, own, species));
        }
        streams.push(transfer::counts(grid, &doses));
        streams.push(floor::flows(grid, &usual, Kind::Flow, cell_h));
        streams.push(floor::flows(grid, &usual, Kind::Makeup, cell_h));
        streams.retain(|stream| !stream.rows.is_empty());
        tested::add(&mut streams, &background.tested, grid.start_s, duration_h);
        rhythm::add(&mut streams, duration_h, cell_h);
        let has = |kind: Kind| streams.iter().any(|stream| stream.kind == kind);
        Self {
            duration_h,
            has_pressure,
            has_levels,
            has_makeup: has(Kind::Makeup),
            has_flow: has(Kind::Flow),
            has_transfer_marks: grid.transfer.is_some(),
            has_temperature: grid.temperature.iter().any(|value| value.is_finite()),
            has_room_water: grid.room_water.iter().any(|value| value.is_finite()),
            cell_h,
            makeup_mean: usual.makeup,
            step_h: grid.step_h,
            streams,
        }
    }

    pub(super) fn stream(&self, kind: Kind) -> Option<&Stream> {
        self.streams.iter().find(|stream| stream.kind == kind)
    }
}
