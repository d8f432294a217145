//! Joint distribution of time constant and floor, averaged over noise and lag.

use super::columns::{DOSE, Law, Shape};
use super::likelihood::{Noise, Rows, Solved, phi};
use super::response::LagNode;
use super::scan::TauScan;
use crate::uncertainty::Distribution;

/// Nodes of the final grid, for each law of the decay.
const TAUS: usize = 51;
const FLOORS: usize = 61;
/// What lies further below the top does not count.
const DEPTH: f64 = 16.0;

/// Log weights on a grid, before they are normalised.
#[derive(Debug)]
pub(super) struct Table {
    taus: Vec<f64>,
    floors: Vec<f64>,
    cells: Vec<Cell>,
    response: Response,
}

/// What the readings say of the analyser's response, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Response {
    /// Mean of its time constant.
    pub lag_s: f64,
    /// Standard deviation of its time constant.
    pub uncertainty_s: f64,
    /// Standard deviation of the gas's time constant that comes from it.
    pub time_constant_s: f64,
}

/// One combination of time constant and floor.
#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    weight: f64,
    /// Means over the models: the dose as a pure decay from the start of the window, as it ends.
    dose: f64,
    dose_variance: f64,
    /// The same as it begins, which loading makes less.
    height: f64,
    /// Slow tail as a pure decay from the start of the window.
    tail: f64,
    /// Inverse of the content at which loading halves the removal; 0 without loading.
    per_half_load: f64,
}

/// A law of the decay with the responses and noises over which it is averaged.
#[derive(Debug, Clone, Copy)]
pub(super) struct Model<'a> {
    pub law: Law,
    pub lags: &'a [LagNode],
    pub noises: &'a [Noise],
}

/// Normalised joint distribution.
#[derive(Debug, Clone)]
pub(super) struct Posterior {
    taus: Vec<f64>,
    floors: Vec<f64>,
    cells: Vec<Cell>,
    pub response: Response,
}

/// One solved model on the grid of time constants.
struct Component {
    tau: usize,
    /// Priors of noise, response and law.
    log_weight: f64,
    shape: Shape,
    noise: Noise,
    solved: Solved,
}

impl Table {
    /// `zero` is the standard uncertainty of the analyser's zero, by which a floor may seem negative.
    pub(super) fn new(rows: &Rows<'_>, models: &[Model<'_>], scan: &TauScan, zero: f64) -> Option<Self> {
        let narrow = narrowed(rows, models, scan)?;
        let taus: Vec<f64> = narrow.nodes(1 + (TAUS - 1) * models.len()).collect();
        let mut components = Vec::new();
        for model in models {
            let narrow = TauScan { law: model.law, ..narrow };
            for node in model.lags {
                for (tau, tau_s) in taus.iter().enumerate().filter(|(_, tau_s)| **tau_s >= node.least_tau_s) {
                    let shape = narrow.shape(*tau_s, node);
                    let parts = rows.parts(&shape);
                    components.extend(model.noises.iter().filter_map(|noise| {
                        let solved = rows.solve_parts(&parts, shape.len(), noise).filter(|s| s.beta[DOSE] > 0.0)?;
                        let log_weight = noise.log_prior + node.weight.ln() + solved.log_prior_of_law(&shape);
                        Some(Component { tau, log_weight, shape, noise: *noise, solved })
                    }));
                }
            }
        }
        let score = |c: &Component| c.solved.log_marginal + c.log_weight;
        let top = components.iter().map(score).fold(f64::NEG_INFINITY, f64::max);
        components.retain(|component| score(component) > top - DEPTH);
        let floors = floor_nodes(rows, &components, zero)?;
        let response = response(&components, &taus);
        let cells = tabulate(rows, &components, &taus, &floors, zero)?;
        Some(Self { taus, floors, cells, response })
    }

    pub(super) fn into_posterior(self) -> Posterior {
        Posterior { taus: self.taus, floors: self.floors, cells: self.cells, response: self.response }
    }
}

/// Range of time constants with any weight, over all laws and lags.
fn narrowed(rows: &Rows<'_>, models: &[Model<'_>], scan: &TauScan) -> Option<TauScan> {
    let mut range = *scan;
    for pass in 0..3 {
        let nodes: Vec<f64> = range.nodes(if pass == 0 { 61 } else { 31 }).collect();
        let of_model = |model: &Model<'_>, tau_s: f64| {
            let scan = TauScan { law: model.law, ..range };
            let score = |node: &LagNode| {
                if tau_s < node.least_tau_s {
                    return None;
                }
                let (shape, noise) = (scan.shape(tau_s, node), model.noises.first()?);
                let solved = rows.solve(&shape, noise).filter(|solved| solved.beta[DOSE] > 0.0)?;
                Some(solved.log_marginal + noise.log_prior + node.weight.ln() + solved.log_prior_of_law(&shape))
            };
            model.lags.iter().filter_map(score).fold(f64::NEG_INFINITY, f64::max)
        };
        let score = |tau_s: f64| models.iter().map(|m| of_model(m, tau_s)).fold(f64::NEG_INFINITY, f64::max);
        let scores: Vec<f64> = nodes.iter().map(|tau_s| score(*tau_s)).collect();
        let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if !top.is_finite() {
            return None;
        }
        let first = scores.iter().position(|s| *s > top - DEPTH)?.saturating_sub(1);
        let last = (scores.iter().rposition(|s| *s > top - DEPTH)? + 1).min(nodes.len() - 1);
        range = TauScan { from_s: nodes[first], to_s: nodes[last], ..range };
    }
    Some(range)
}

/// How plausible it is that the gas has a floor that shows as `floor`: it is not negative, the analyser's zero may be off.
fn admissible(floor: f64, zero: f64) -> f64 {
    if zero > 0.0 { phi(floor / zero) } else { f64::from(u8::from(floor >= 0.0)) }
}

fn floor_nodes(rows: &Rows<'_>, components: &[Component], zero: f64) -> Option<Vec<f64>> {
    let ends = components.iter().map(|c| (c.solved.floor(), 8.0 * c.solved.floor_scale()));
    let (low, high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (middle, reach)| {
        (low.min(middle - reach), high.max(middle + reach))
    });
    let least = -5.0 * zero;
    let (mut low, mut high) = (low.max(least), high.max(least + 1e-12));
    let stride = components.len().div_ceil(60);
    for _ in 0..4 {
        let nodes: Vec<f64> = (0..FLOORS).map(|i| low + (high - low) * i as f64 / (FLOORS - 1) as f64).collect();
        let score = |floor: f64| {
            let log = |c: &Component| {
                c.solved.log_density(floor) + c.log_weight + rows.log_censored(&c.shape, &c.noise, &c.solved, floor)
            };
            components.iter().step_by(stride).map(log).fold(f64::NEG_INFINITY, f64::max)
                + admissible(floor, zero).max(1e-300).ln()
        };
        let scores: Vec<f64> = nodes.iter().map(|floor| score(*floor)).collect();
        let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let first = scores.iter().position(|s| *s > top - DEPTH)?.saturating_sub(1);
        let last = (scores.iter().rposition(|s| *s > top - DEPTH)? + 1).min(FLOORS - 1);
        (low, high) = (nodes[first], nodes[last]);
    }
    Some((0..FLOORS).map(|i| low + (high - low) * i as f64 / (FLOORS - 1) as f64).collect())
}

fn tabulate(rows: &Rows<'_>, components: &[Component], taus: &[f64], floors: &[f64], zero: f64) -> Option<Vec<Cell>> {
    let censored = rows.blocks.blocks.len() > rows.blocks.measured().count();
    let score = |c: &Component, floor: f64| {
        let bounds = if censored { rows.log_censored(&c.shape, &c.noise, &c.solved, floor) } else { 0.0 };
        c.solved.log_density(floor) + c.log_weight + bounds
    };
    let scores: Vec<f64> = components.iter().flat_map(|c| floors.iter().map(move |f| score(c, *f))).collect();
    let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut cells = vec![Cell::default(); taus.len() * floors.len()];
    for (component, scores) in components.iter().zip(scores.chunks(floors.len())) {
        for (index, (floor, log)) in floors.iter().zip(scores).enumerate() {
            let weight = (log - top).exp() * admissible(*floor, zero);
            let amounts = component.solved.amounts_given(*floor);
            let cell = &mut cells[component.tau * floors.len() + index];
            cell.weight += weight;
            let weights = component.shape.as_decay_from_start();
            let dose: f64 = weights.iter().zip(&amounts).map(|(weight, amount)| weight * amount).sum();
            let half_load = component.shape.load(&amounts).map(|load| load / amounts[DOSE]);
            cell.dose += weight * dose;
            cell.dose_variance += weight * component.solved.variance_of(&weights);
            cell.height += weight * component.shape.height(dose, &amounts);
            cell.tail += weight * component.shape.slow_tail(&amounts);
            cell.per_half_load += weight * half_load.unwrap_or(0.0);
        }
    }
    let total: f64 = cells.iter().map(|cell| cell.weight).sum();
    if !(total > 0.0) {
        return None;
    }
    for cell in &mut cells {
        if cell.weight > 0.0 {
            cell.dose /= cell.weight;
            cell.dose_variance /= cell.weight;
            cell.height /= cell.weight;
            cell.tail /= cell.weight;
            cell.per_half_load /= cell.weight;
        }
        cell.weight /= total;
    }
    Some(cells)
}

fn response(components: &[Component], taus: &[f64]) -> Response {
    let top = components.iter().map(|c| c.solved.log_marginal + c.log_weight).fold(f64::NEG_INFINITY, f64::max);
    let mut by_lag: Vec<(f64, f64, f64)> = Vec::new();
    for component in components {
        let weight = (component.solved.log_marginal + component.log_weight - top).exp();
        let lag_s = component.shape.lag_s;
        let tau_s = taus[component.tau];
        match by_lag.iter_mut().find(|(lag, ..)| (*lag - lag_s).abs() <= 1e-12 * lag_s) {
            Some((_, sum, weights)) => (*sum, *weights) = (*sum + weight * tau_s, *weights + weight),
            None => by_lag.push((lag_s, weight * tau_s, weight)),
        }
    }
    let total: f64 = by_lag.iter().map(|lag| lag.2).sum();
    by_lag.retain(|lag| lag.2 > 0.0);
    let spread = |of: &dyn Fn(&(f64, f64, f64)) -> f64| {
        let mean = by_lag.iter().map(|lag| lag.2 * of(lag)).sum::<f64>() / total;
        (mean, (by_lag.iter().map(|lag| lag.2 * (of(lag) - mean).powi(2)).sum::<f64>() / total).sqrt())
    };
    let (lag_s, uncertainty_s) = spread(&|lag| lag.0);
    Response { lag_s, uncertainty_s, time_constant_s: spread(&|lag| lag.1 / lag.2).1 }
}

/// When the content reaches a target, over the joint distribution.
#[derive(Debug, Clone)]
pub(super) struct TimeToTarget {
    /// Distribution of the times that are finite, s after the start of the window.
    pub distribution: Option<Distribution>,
    /// Probability that it never gets there.
    pub never: f64,
}

impl Posterior {
    /// Distribution of the time constant, s.
    pub(super) fn time_constant(&self) -> Distribution {
        let width = self.floors.len();
        let density: Vec<f64> = self
            .cells
            .chunks(width)
            .zip(&self.taus)
            // The grid is even in the logarithm, which is the prior too; the density is per second.
            .map(|(row, tau_s)| row.iter().map(|cell| cell.weight).sum::<f64>() / tau_s)
            .collect();
        Distribution::from_density(self.taus.clone(), &density)
    }

    /// Height of the dose as if it decayed purely from the start of the window, and its standard deviation.
    pub(super) fn height(&self) -> [f64; 2] {
        let mean: f64 = self.cells.iter().map(|cell| cell.weight * cell.height).sum();
        let spread = |cell: &Cell| cell.weight * ((cell.height - mean).powi(2) + cell.dose_variance);
        [mean, self.cells.iter().map(spread).sum::<f64>().sqrt()]
    }

    /// Distribution of the floor as the analyser shows it.
    pub(super) fn floor(&self) -> Distribution {
        let width = self.floors.len();
        let density: Vec<f64> =
            (0..width).map(|f| self.cells.iter().skip(f).step_by(width).map(|cell| cell.weight).sum()).collect();
        Distribution::from_density(self.floors.clone(), &density)
    }

    /// Distribution of floor over time constant, 1/s, as a set of weighted values.
    pub(super) fn ingress(&self) -> Distribution {
        distribution(self.each().map(|(tau_s, floor, cell)| (floor / tau_s, cell.weight)).collect())
    }

    /// Time at which the content falls to `target`; `zero` and `scale` are those of the analyser.
    pub(super) fn time_to(&self, target: f64, zero: f64, scale: f64, tail_ratio: Option<f64>) -> TimeToTarget {
        let error = zero.hypot(scale * target);
        // Ends of intervals are read off, so the nodes lie close where they may fall.
        let shares: f64 = error_nodes().map(|(_, share)| share).sum();
        let (mut times, mut never, mut log_variance) = (Vec::new(), 0.0, 0.0);
        for (tau_s, floor, cell) in self.each() {
            for (node, share) in error_nodes() {
                let weight = cell.weight * share / shares;
                let shown = target + node * error;
                match reach(tau_s, floor, cell, shown, tail_ratio) {
                    Some(time_s) => times.push((time_s, weight)),
                    None => never += weight,
                }
            }
            log_variance += cell.weight * tau_s * tau_s * cell.dose_variance / (cell.dose * cell.dose);
        }
        // What never gets there takes longer than all that does.
        let longest_s = times.iter().map(|(time_s, _)| *time_s).fold(f64::NEG_INFINITY, f64::max);
        times.push((longest_s, never));
        let distribution = (never < 0.5).then(|| distribution(times).with_normal_error(log_variance.max(0.0).sqrt()));
        TimeToTarget { distribution, never }
    }

    fn each(&self) -> impl Iterator<Item = (f64, f64, &Cell)> {
        let width = self.floors.len();
        self.cells
            .iter()
            .enumerate()
            .filter(|(_, cell)| cell.weight > 1e-9)
            .map(move |(i, cell)| (self.taus[i / width], self.floors[i % width], cell))
    }
}

/// Errors of an instrument in standard uncertainties, with what each stands for up to a factor.
fn error_nodes() -> impl Iterator<Item = (f64, f64)> {
    const STEP: f64 = 0.25;
    (-14..=14).map(|i| STEP * f64::from(i)).map(|z| (z, (-0.5 * z * z).exp()))
}

/// Time after the start of the window at which the content would show as `target`.
fn reach(tau_s: f64, floor: f64, cell: &Cell, target: f64, tail_ratio: Option<f64>) -> Option<f64> {
    if target <= floor {
        return None;
    }
    let above = target - floor;
    let Some(ratio) = tail_ratio.filter(|_| cell.tail != 0.0) else {
        // ln x + x/h falls evenly.
        return Some(tau_s * ((cell.dose / above).ln() - above * cell.per_half_load));
    };
    let content = |t: f64| cell.dose * (-t / tau_s).exp() + cell.tail * (-t / (ratio * tau_s)).exp();
    let (mut low, mut high) = (-60.0 * tau_s, 60.0 * ratio * tau_s);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if content(middle) > above { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

/// A distribution from weighted values.
fn distribution(mut values: Vec<(f64, f64)>) -> Distribution {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = values.iter().map(|value| value.1).sum();
    let (mut x, mut cumulative) = (Vec::new(), Vec::new());
    let mut sum = 0.0;
    for (value, weight) in values {
        // Half of a value's weight lies below it.
        let below = sum + 0.5 * weight / total;
        sum += weight / total;
        let far_enough = cumulative.last().is_none_or(|last| below - last > 1e-3);
        if far_enough && x.last().is_none_or(|last| value > *last) {
            x.push(value);
            cumulative.push(if cumulative.is_empty() { 0.0 } else { below });
        }
    }
    match (x.len(), cumulative.last_mut()) {
        (0 | 1, _) | (_, None) => Distribution::normal(x.first().copied().unwrap_or(f64::NAN), 0.0),
        (_, Some(last)) => {
            *last = 1.0;
            Distribution::Tabulated { x, cumulative }
        }
    }
}
