//! From a log to the few hundred numbers that models are compared on: floors, rises, decays, doses and flows.

use super::dose::{Doses, find};
use super::grid::{Grid, State};
use super::log::{Background, Species};
use super::robust::{deviation_from_absolute, median_in_place, trimmed_mean};
use super::{regime, rhythm, tested};

/// Cells of floor: about so many in a log, none shorter or longer than these, h.
const CELLS: f64 = 180.0;
const SHORTEST_CELL_H: f64 = 0.5;
const LONGEST_CELL_H: f64 = 6.0;
/// Longest and shortest piece of a rise, h, and what is left out after switching off.
const LONGEST_RISE_H: f64 = 3.0;
const SHORTEST_RISE_H: f64 = 0.15;
const SETTLING_H: f64 = 0.05;
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

/// Circumstances of a row.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Circumstances {
    /// Mean pressure below that of the room, Pa; 0 where it lies above.
    pub(super) under_pressure_pa: f64,
    /// Mean pressure above that of the room, Pa.
    pub(super) over_pressure_pa: f64,
    /// Make-up flow over its mean.
    pub(super) makeup: f64,
    /// Temperature less its mean, K.
    pub(super) temperature_k: f64,
    /// Cosine and sine of the time of day.
    pub(super) day: [f64; 2],
    /// Logarithm of the circulation flow over its median.
    pub(super) ln_flow: f64,
    /// Logarithm of the room's water over its mean.
    pub(super) ln_room_water: f64,
    /// Transfers of the last hours over their mean.
    pub(super) transfers: f64,
    /// What repeats daily or weekly, oxygen and water, relative.
    pub(super) rhythm: [f64; 2],
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
            streams.push(floors(grid, &usual, own, species, cell_h));
            streams.push(rises(grid, &usual, own, background, species));
            streams.push(decays(grid, &usual, own, species));
            streams.push(areas(grid, &usual, own, species));
        }
        streams.push(counts(grid, &doses));
        streams.push(flows(grid, &usual, Kind::Flow, cell_h));
        streams.push(flows(grid, &usual, Kind::Makeup, cell_h));
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

/// Means that circumstances are counted from.
struct Usual {
    makeup: f64,
    temperature_k: f64,
    flow: f64,
    room_water: f64,
    /// Transfers of the last hours in each step, over their mean.
    transfers: Vec<f64>,
    /// Make-up flow around each step, over its mean.
    makeup_around: Vec<f64>,
}

impl Usual {
    fn new(grid: &Grid, doses: &[Doses; 2]) -> Self {
        let mean = |values: &[f64]| {
            let finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
            finite.iter().sum::<f64>() / finite.len() as f64
        };
        let running = grid.flow.iter().zip(&grid.state).filter(|(flow, state)| **state == State::On && **flow > 0.0);
        let mut running: Vec<f64> = running.map(|(flow, _)| *flow).collect();
        Self {
            makeup: mean(&grid.makeup),
            temperature_k: mean(&grid.temperature),
            flow: median_in_place(&mut running),
            room_water: mean(&grid.room_water),
            transfers: recent(grid, &starts(grid, doses)),
            makeup_around: around(grid, &grid.makeup),
        }
    }

    /// Circumstances over some steps. What was not logged is as usual.
    fn over<I: Iterator<Item = usize> + Clone>(&self, grid: &Grid, steps: &I) -> Circumstances {
        let mean = |values: &[f64]| {
            let (sum, count) = steps
                .clone()
                .map(|i| values[i])
                .filter(|value| value.is_finite())
                .fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
            sum / count
        };
        let or = |value: f64, otherwise: f64| if value.is_finite() { value } else { otherwise };
        let under = mean(&grid.under_pressure);
        let (mut cos, mut sin, mut count) = (0.0, 0.0, 0.0);
        for step in steps.clone() {
            let phase = std::f64::consts::TAU * (grid.start_s / 3600.0 + grid.time_h(step)) / HOURS_PER_DAY;
            cos += phase.cos();
            sin += phase.sin();
            count += 1.0;
        }
        Circumstances {
            under_pressure_pa: or(under, 1.0),
            over_pressure_pa: or(mean(&grid.gauge) + under, 0.0).max(0.0),
            makeup: or(mean(&self.makeup_around), 1.0),
            temperature_k: or(mean(&grid.temperature) - self.temperature_k, 0.0),
            day: [cos / count, sin / count],
            ln_flow: or((mean(&grid.flow) / self.flow).ln(), 0.0).clamp(-3.0, 3.0),
            ln_room_water: or((mean(&grid.room_water) / self.room_water).ln(), 0.0).clamp(-2.0, 2.0),
            transfers: or(mean(&self.transfers), 0.0),
            rhythm: [0.0; 2],
        }
    }
}

/// A flow over its mean, averaged over so many steps around each that pulses of a valve do not show: what a cell of
/// floor got would otherwise hang on the few pulses that were caught in it.
fn around(grid: &Grid, flow: &[f64]) -> Vec<f64> {
    const WELL_KNOWN: f64 = 0.1;
    let known: Vec<f64> = flow.iter().copied().filter(|value| value.is_finite()).collect();
    let mean = known.iter().sum::<f64>() / known.len() as f64;
    let squares = known.windows(2).map(|pair| 0.5 * (pair[1] - pair[0]).powi(2)).sum::<f64>() / known.len() as f64;
    let needed = squares / (WELL_KNOWN * mean).powi(2);
    let longest = 0.5 * HOURS_PER_DAY / grid.step_h;
    let reach = (0.5 * needed).min(0.5 * longest) as usize;
    let mut sums = vec![(0.0, 0.0)];
    for value in flow {
        let (sum, count) = sums[sums.len() - 1];
        sums.push(if value.is_finite() { (sum + value, count + 1.0) } else { (sum, count) });
    }
    let each = (0..flow.len()).map(|index| {
        let from = sums[index.saturating_sub(reach)];
        let to = sums[(index + reach + 1).min(flow.len())];
        (to.0 - from.0) / (to.1 - from.1) / mean
    });
    each.collect()
}

fn floors(grid: &Grid, usual: &Usual, doses: &Doses, species: Species, cell_h: f64) -> Stream {
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

fn rises(grid: &Grid, usual: &Usual, doses: &Doses, background: &Background, species: Species) -> Stream {
    let content = &grid.content[species.index()];
    let mut rows = Vec::new();
    let mut ses = Vec::new();
    for piece in off_pieces(grid, content, doses.noise_ppm) {
        let Some([slope, se]) = slope(grid, content, &piece) else { continue };
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
    let scale = (0.2 * median_in_place(&mut values)).max(median_in_place(&mut ses)).max(1e-3);
    // Where nobody logged the purifier, what looks like a rise with it off may have other ends and reasons.
    let relative = if !grid.state_is_known {
        0.25
    } else if species == Species::Oxygen {
        0.05
    } else {
        0.1
    };
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

fn decays(grid: &Grid, usual: &Usual, doses: &Doses, species: Species) -> Stream {
    let rows = doses.doses.iter().filter_map(|dose| {
        let [y, sd] = dose.decay?;
        let at = usual.over(grid, &(dose.span[0]..=dose.span[1]));
        Some(Row { time_h: grid.time_h(dose.span[0]), value: y, y, sd, censored: false, at })
    });
    daily(grid, Kind::Decay(species), &rows.collect::<Vec<_>>(), 0.05)
}

fn areas(grid: &Grid, usual: &Usual, doses: &Doses, species: Species) -> Stream {
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

fn counts(grid: &Grid, doses: &[Doses; 2]) -> Stream {
    /// Days are taken together until they hold so many transfers, so that the logarithm of their number means something.
    const ENOUGH: f64 = 6.0;
    let starts = starts(grid, doses);
    let per_day = (HOURS_PER_DAY / grid.step_h).max(1.0);
    let mut rows = Vec::new();
    let (mut days, mut count, mut time_h) = (0.0, 0.0, 0.0);
    for day in 0..(grid.duration_h() / HOURS_PER_DAY).floor() as usize {
        let range = (day as f64 * per_day) as usize..((day + 1) as f64 * per_day) as usize;
        let own = starts.iter().filter(|start| range.contains(*start)).count() as f64;
        // Days without any are weekends and holidays, which say nothing of habits.
        if own == 0.0 {
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

/// Steps in which transfers start: marked ones, else doses that were found.
fn starts(grid: &Grid, doses: &[Doses; 2]) -> Vec<usize> {
    match &grid.transfer {
        Some(starts) => (0..grid.len()).filter(|i| starts[*i]).collect(),
        None => found_starts(grid, doses),
    }
}

/// Transfers of the last hours in each step, over their mean.
fn recent(grid: &Grid, starts: &[usize]) -> Vec<f64> {
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

fn flows(grid: &Grid, usual: &Usual, kind: Kind, cell_h: f64) -> Stream {
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
