//! Joint posterior of conductance and permeation over a grid.
//!
//! Given the conductance over volume g, the permeation π of a species is all that its runs depend on: r_i = g·c_i + π.
//! So each species has a grid over g, and for each g a grid over π that follows the likelihood. Both are what the
//! analyser shows; its scale error multiplies them alike and is common to the runs. What the species say about the true
//! g are the shown densities smeared by that error, multiplied together and with what a pressure-change test says.

use super::run_likelihood::RunLikelihood;
use crate::ppm_rise::Quantity;
use crate::uncertainty::Distribution;

/// All runs of one species.
#[derive(Debug, Clone, Default)]
pub(super) struct SpeciesRuns {
    pub runs: Vec<RunLikelihood>,
    /// Relative standard uncertainty of the analyser's scale, common to the runs.
    pub scale: f64,
    /// Relative standard uncertainty of the content of the room's air, common to the runs.
    pub air: f64,
    /// Power of the likelihood of a run that gives a value: 1, or one over their number where all err alike.
    pub power: f64,
}

/// Range of the parameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Domain {
    /// Any sign: estimates scatter about the truth even where that is zero.
    Real,
    /// Nothing negative: bounds where the runs do not separate the parts.
    NotNegative,
}

/// What the runs of one species say, as the analyser shows it.
struct Table {
    /// Shown conductances, evenly spaced.
    g: Vec<f64>,
    /// For every g the permeations with their log weight.
    points: Vec<Vec<(f64, f64)>>,
    /// Log likelihood of every g.
    log_total: Vec<f64>,
    scale: f64,
    /// Relative standard uncertainty with which a shown conductance follows the true one.
    smear: f64,
}

/// Posterior on the grid.
pub(super) struct Posterior {
    /// True conductances, evenly spaced, and their weights.
    g: Vec<f64>,
    weight: Vec<f64>,
    tables: Vec<Option<Table>>,
    pressure: Option<Quantity>,
}

const CONDUCTANCES: usize = 121;
const PERMEATIONS: usize = 61;

impl SpeciesRuns {
    fn values(&self) -> impl Iterator<Item = &RunLikelihood> {
        self.runs.iter().filter(|run| !run.is_bound)
    }

    fn weight(&self, run: &RunLikelihood) -> f64 {
        self.power * run.standard_deviation.powi(-2)
    }

    /// Log likelihood of all runs.
    fn log_likelihood(&self, g: f64, permeation: f64) -> f64 {
        let log = |run: &RunLikelihood| {
            run.at(g * run.leak_coefficient + permeation) * if run.is_bound { 1.0 } else { self.power }
        };
        self.runs.iter().map(log).sum()
    }

    /// Relative standard uncertainty of the conductance that the analyser shows: its scale, and the air that came in.
    fn smear(&self) -> f64 {
        self.scale.hypot(self.air)
    }

    /// Information on g with the permeation free, and g's weighted target: (Σwc² − (Σwc)²/Σw, likewise with r).
    pub(super) fn information(&self) -> (f64, f64) {
        let (mut w, mut wc, mut wcc, mut wr, mut wcr) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for run in self.values() {
            let weight = self.weight(run);
            let c = run.leak_coefficient;
            w += weight;
            wc += weight * c;
            wcc += weight * c * c;
            wr += weight * run.centre;
            wcr += weight * c * run.centre;
        }
        if w > 0.0 { ((wcc - wc * wc / w).max(0.0), wcr - wc * wr / w) } else { (0.0, 0.0) }
    }

    /// Centre and spread of the permeation given g, from the runs that give values; `None` without such.
    fn permeation_given(&self, g: f64) -> Option<(f64, f64)> {
        let (mut w, mut sum) = (0.0, 0.0);
        for run in self.values() {
            let weight = self.weight(run);
            w += weight;
            sum += weight * (run.centre - g * run.leak_coefficient);
        }
        (w > 0.0).then(|| (sum / w, w.sqrt().recip()))
    }

    /// Whether there are runs, and none gives a value.
    pub(super) fn is_bounded_only(&self) -> bool {
        !self.runs.is_empty() && self.runs.iter().all(|run| run.is_bound)
    }

    /// Largest ingress at a leak coefficient that bounds and conductances between `g` allow: with the conductance in that
    /// range, what a run leaves for permeation and what leaks at the coefficient.
    pub(super) fn highest_ingress(&self, leak_coefficient: f64, g: [f64; 2]) -> f64 {
        let widened = 1.0 + 2.0 * self.scale;
        let allows = |run: &RunLikelihood| {
            let more = leak_coefficient - run.leak_coefficient;
            run.upper * widened + more * if more > 0.0 { g[1] } else { g[0] }
        };
        self.runs.iter().map(allows).fold(f64::INFINITY, f64::min).max(0.0)
    }

    /// Largest ingress through leaks per conductance, with the largest ingress any run there allows.
    pub(super) fn at_strongest_leak(&self) -> Option<(f64, f64)> {
        self.runs
            .iter()
            .max_by(|a, b| a.leak_coefficient.total_cmp(&b.leak_coefficient))
            .map(|run| (run.leak_coefficient, (run.centre + 2.0 * run.standard_deviation).max(0.0)))
    }

    fn highest_permeation(&self) -> f64 {
        let highest = |run: &RunLikelihood| (run.centre + 7.0 * run.standard_deviation).max(run.standard_deviation);
        self.runs.iter().map(highest).fold(f64::INFINITY, f64::min)
    }

    /// Grid of permeations for one g: around what the values say, or anything up to the bounds.
    fn permeations(&self, g: f64, domain: Domain) -> Option<(f64, f64)> {
        let (low, high) = match self.permeation_given(g) {
            Some((centre, spread)) => (centre - 8.0 * spread, centre + 8.0 * spread),
            None => (0.0, self.highest_permeation()),
        };
        match domain {
            Domain::Real => Some((low, high)),
            Domain::NotNegative => (high > 0.0).then_some((low.max(0.0), high)),
        }
    }

    fn table(&self, g: Vec<f64>, domain: Domain) -> Table {
        let mut points = Vec::with_capacity(g.len());
        let mut log_total = Vec::with_capacity(g.len());
        for &g in &g {
            let mut at_g = Vec::with_capacity(PERMEATIONS);
            if let Some((low, high)) = self.permeations(g, domain) {
                let step = (high - low) / (PERMEATIONS - 1) as f64;
                for i in 0..PERMEATIONS {
                    let permeation = low + step * i as f64;
                    let log = self.log_likelihood(g, permeation);
                    at_g.push((permeation, log + step.ln()));
                }
            }
            log_total.push(if domain == Domain::Real && self.is_bounded_only() {
                // Bounds exclude what exceeds them and favour nothing below, so the permeation is not averaged over.
                self.log_likelihood(g, 0.0)
            } else {
                log_sum(at_g.iter().map(|p| p.1))
            });
            points.push(at_g);
        }
        Table { g, points, log_total, scale: self.scale, smear: self.smear() }
    }
}

impl Table {
    /// Log likelihood of a true conductance: the shown one smeared by the scale error.
    fn log_likelihood(&self, g: f64) -> f64 {
        let step = self.g[1] - self.g[0];
        let smear = self.smear * g.abs();
        if smear < 0.7 * step {
            return interpolated(&self.g, &self.log_total, g);
        }
        // The factor of the sum over the grid, so that it goes over into the interpolation where there is little to smear.
        let factor = (step / (smear * (2.0 * std::f64::consts::PI).sqrt())).ln();
        let kernel = |shown: f64| -0.5 * ((shown - g) / smear).powi(2) + factor;
        log_sum(self.g.iter().zip(&self.log_total).map(|(shown, log)| log + kernel(*shown)))
    }
}

/// Linear in between, falling off steeply outside.
fn interpolated(x: &[f64], y: &[f64], at: f64) -> f64 {
    let step = x[1] - x[0];
    let position = (at - x[0]) / step;
    let last = (x.len() - 1) as f64;
    if !(0.0..=last).contains(&position) {
        return f64::NEG_INFINITY;
    }
    let cell = (position as usize).min(x.len() - 2);
    if !y[cell].is_finite() || !y[cell + 1].is_finite() {
        return f64::NEG_INFINITY;
    }
    y[cell] + (position - cell as f64) * (y[cell + 1] - y[cell])
}

fn log_sum(logs: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = logs.clone().fold(f64::NEG_INFINITY, f64::max);
    if top.is_finite() { top + logs.map(|l| (l - top).exp()).sum::<f64>().ln() } else { f64::NEG_INFINITY }
}

impl Posterior {
    /// `None` where nothing limits the conductance.
    pub(super) fn new(species: &[SpeciesRuns], pressure: Option<Quantity>, domain: Domain) -> Option<Self> {
        let mut tables = Vec::with_capacity(species.len());
        for own in species {
            tables.push(if own.runs.is_empty() {
                None
            } else {
                Some(own.table(shown_conductances(own, species, pressure, domain)?, domain))
            });
        }
        let g = conductances(species, pressure, domain)?;
        let log_weight: Vec<f64> = g
            .iter()
            .map(|&g| {
                let from_rises: f64 = tables.iter().flatten().map(|t| t.log_likelihood(g)).sum();
                from_rises + log_pressure(pressure, g)
            })
            .collect();
        let total = log_sum(log_weight.iter().copied());
        let weight = log_weight.iter().map(|l| (l - total).exp()).collect();
        total.is_finite().then_some(Self { g, weight, tables, pressure })
    }

    /// Distribution of the conductance over volume, 1/s.
    pub(super) fn conductance(&self) -> Distribution {
        Distribution::from_density(self.g.clone(), &self.weight)
    }

    /// Distribution of `leak_coefficient`·g + π of a species, in ppm/h; with a coefficient of 0 of its permeation.
    pub(super) fn ingress(&self, species: usize, leak_coefficient: f64) -> Option<Distribution> {
        let table = self.tables[species].as_ref()?;
        // What the other species and the pressure say about g, carried over to what this analyser shows.
        let others: Vec<f64> = self
            .g
            .iter()
            .map(|&g| {
                let rises: f64 = self
                    .tables
                    .iter()
                    .enumerate()
                    .filter(|(index, _)| *index != species)
                    .filter_map(|(_, t)| t.as_ref())
                    .map(|t| t.log_likelihood(g))
                    .sum();
                rises + log_pressure(self.pressure, g)
            })
            .collect();
        let elsewhere =
            Table { g: self.g.clone(), points: Vec::new(), log_total: others, scale: table.scale, smear: table.smear };
        let log_weight: Vec<f64> =
            table.g.iter().zip(&table.log_total).map(|(g, own)| own + elsewhere.log_likelihood(*g)).collect();
        let total = log_sum(log_weight.iter().copied());
        let mut points = Vec::new();
        for (i, g) in table.g.iter().enumerate() {
            let log_rest = log_weight[i] - table.log_total[i] - total;
            for (permeation, log) in &table.points[i] {
                let mass = (log + log_rest).exp();
                if mass > 1e-10 {
                    points.push((leak_coefficient * g + permeation, mass));
                }
            }
        }
        let shown = (!points.is_empty()).then(|| from_points(&points))?;
        let scale_error = table.scale * shown.median().abs();
        Some(shown.with_normal_error(scale_error))
    }
}

fn log_pressure(pressure: Option<Quantity>, g: f64) -> f64 {
    pressure.map_or(0.0, |p| -0.5 * ((g - p.value) / p.standard_uncertainty).powi(2))
}

/// Correlation matrix of (g, π of oxygen, π of water), every run taken as normal, linear around the best fit, scale errors
/// of the analysers included; zeros for what was not measured.
pub(super) fn correlation(species: &[SpeciesRuns], pressure: Option<Quantity>) -> [[f64; 3]; 3] {
    let Some((g, _)) = normal_conductance(species, pressure) else { return [[0.0; 3]; 3] };
    // In units of the largest coefficient, so that the matrix is well scaled.
    let unit = species.iter().flat_map(SpeciesRuns::values).fold(0.0_f64, |a, run| a.max(run.leak_coefficient));
    let unit = if unit > 0.0 { unit } else { 1.0 };
    // The last two are the relative errors of the scales.
    let mut precision = nalgebra::Matrix5::<f64>::zeros();
    if let Some(p) = pressure {
        precision[(0, 0)] += (unit * p.standard_uncertainty).powi(-2);
    }
    let mut present = [false; 5];
    for (index, own) in species.iter().enumerate() {
        let (permeation, scale) = (index + 1, index + 3);
        let level = own.permeation_given(g).map_or(0.0, |(centre, _)| centre);
        for run in own.values() {
            let weight = own.weight(run);
            let shown = g * run.leak_coefficient + level;
            let slopes = [(0, run.leak_coefficient / unit), (permeation, 1.0), (scale, shown)];
            for (a, slope_a) in slopes {
                for (b, slope_b) in slopes {
                    precision[(a, b)] += weight * slope_a * slope_b;
                }
            }
            (present[0], present[permeation]) = (true, true);
        }
        precision[(scale, scale)] += own.scale.max(1e-6).powi(-2);
    }
    for axis in 0..3 {
        if !present[axis] {
            precision[(axis, axis)] = 1.0;
        }
    }
    let Some(covariance) = precision.cholesky().map(|c| c.inverse()) else { return [[0.0; 3]; 3] };
    let mut matrix = [[0.0; 3]; 3];
    for a in 0..3 {
        for b in 0..3 {
            if present[a] && present[b] {
                matrix[a][b] = covariance[(a, b)] / (covariance[(a, a)] * covariance[(b, b)]).sqrt();
            }
        }
    }
    matrix
}

/// Grid of true conductances that holds the posterior.
fn conductances(species: &[SpeciesRuns], pressure: Option<Quantity>, domain: Domain) -> Option<Vec<f64>> {
    Some(match domain {
        Domain::Real => {
            let (centre, spread) = normal_conductance(species, pressure)?;
            even(centre - 8.0 * spread, centre + 8.0 * spread)
        }
        Domain::NotNegative => even(0.0, highest_conductance(species, pressure)?),
    })
}

/// Grid of conductances as one analyser shows them: around what its own runs say, or, where these say little, around
/// what all say.
fn shown_conductances(
    own: &SpeciesRuns,
    all: &[SpeciesRuns],
    pressure: Option<Quantity>,
    domain: Domain,
) -> Option<Vec<f64>> {
    if domain == Domain::NotNegative {
        return conductances(all, pressure, domain);
    }
    let (centre, spread) = normal_conductance(all, pressure)?;
    let spread = spread.hypot(own.smear() * centre);
    let (own_information, own_target) = own.information();
    if own_information.sqrt() * spread < 0.3 {
        return Some(even(centre - 8.0 * spread, centre + 8.0 * spread));
    }
    let (own_centre, own_spread) = (own_target / own_information, own_information.sqrt().recip());
    Some(even(own_centre - 8.0 * own_spread, own_centre + 8.0 * own_spread))
}

fn even(low: f64, high: f64) -> Vec<f64> {
    let step = (high - low) / (CONDUCTANCES - 1) as f64;
    (0..CONDUCTANCES).map(|i| low + step * i as f64).collect()
}

/// Centre and spread of g with every run taken as normal, scale errors included; `None` where nothing tells g from the
/// permeations.
pub(super) fn normal_conductance(species: &[SpeciesRuns], pressure: Option<Quantity>) -> Option<(f64, f64)> {
    let (mut information, mut target) = (0.0, 0.0);
    for own in species {
        let (plain, weighted) = own.information();
        let all: f64 = own.values().map(|run| own.weight(run) * run.leak_coefficient.powi(2)).sum();
        if plain > 1e-9 * all {
            let centre = weighted / plain;
            let variance = 1.0 / plain + (own.smear() * centre).powi(2);
            information += 1.0 / variance;
            target += centre / variance;
        }
    }
    if let Some(p) = pressure {
        information += p.standard_uncertainty.powi(-2);
        target += p.value * p.standard_uncertainty.powi(-2);
    }
    (information > 0.0).then(|| (target / information, information.sqrt().recip()))
}

fn highest_conductance(species: &[SpeciesRuns], pressure: Option<Quantity>) -> Option<f64> {
    let from_runs = species
        .iter()
        .flat_map(|s| &s.runs)
        .filter(|run| run.leak_coefficient > 0.0)
        .map(|run| (run.centre + 7.0 * run.standard_deviation).max(run.standard_deviation) / run.leak_coefficient);
    let from_pressure =
        pressure.into_iter().map(|p| (p.value + 7.0 * p.standard_uncertainty).max(p.standard_uncertainty));
    from_runs.chain(from_pressure).min_by(f64::total_cmp)
}

/// Cells of a histogram.
const BINS: usize = 400;

/// Distribution of weighted points, by a histogram over the central mass.
fn from_points(points: &[(f64, f64)]) -> Distribution {
    let total: f64 = points.iter().map(|p| p.1).sum();
    let mean = points.iter().map(|p| p.0 * p.1).sum::<f64>() / total;
    let spread = (points.iter().map(|p| (p.0 - mean).powi(2) * p.1).sum::<f64>() / total).sqrt();
    let (low, high) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| (a.min(p.0), b.max(p.0)));
    let (low, high) = (low.max(mean - 9.0 * spread), high.min(mean + 9.0 * spread));
    let width = (high - low) / BINS as f64;
    if !(width > 0.0) {
        return Distribution::normal(mean, 0.0);
    }
    let mut cumulative = vec![0.0; BINS + 1];
    for (value, mass) in points {
        let bin = ((value - low) / width).clamp(0.0, BINS as f64 - 1.0) as usize;
        cumulative[bin + 1] += mass / total;
    }
    for bin in 1..=BINS {
        cumulative[bin] += cumulative[bin - 1];
    }
    Distribution::Tabulated { x: (0..=BINS).map(|i| low + width * i as f64).collect(), cumulative }
}
