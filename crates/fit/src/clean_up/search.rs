//! Where the likelihood lies: noise, time constant and lag that matter, then the posterior over them.

use super::blocks::Blocks;
use super::columns::Shape;
use super::likelihood::{Noise, Rows, Solved, fitted};
use super::posterior::{Posterior, Table};
use super::{CleanUpError, Lag, Settings};
use crate::ppm_rise::Trace;

/// Fewest blocks that are numbers.
const NEEDED: usize = 8;
/// Bayes factor from which a slow second term counts as supported: e⁵ = 150, to make up for many shapes tried.
const SUPPORTED: f64 = 5.0;
/// Time constants of analysers of trace gases in enclosures where none is stated, s.
const USUAL_LAG_S: [f64; 2] = [1.0, 60.0];
/// Relative standard uncertainty of a stated response without one of its own.
const RESPONSE_UNCERTAINTY: f64 = 0.1;

/// A fitted clean-up.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub posterior: Posterior,
    /// Most probable model.
    pub shape: Shape,
    pub noise: Noise,
    pub solved: Solved,
}

/// A time constant of the analyser with its prior weight.
type LagNode = (f64, f64);

pub(super) fn fit(blocks: &Blocks, trace: &Trace<'_>, settings: &Settings) -> Result<Fit, CleanUpError> {
    let found = blocks.measured().count();
    if found < NEEDED {
        return Err(CleanUpError::TooFewReadings { found, needed: NEEDED });
    }
    let lags = lag_nodes(settings.lag, blocks);
    let middle = lags.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |node| node.0);
    let top = blocks.measured().map(|block| block.value.abs()).fold(0.0, f64::max).max(1e-300);
    let mut rows = Rows {
        blocks,
        level: blocks.blocks.iter().map(|block| (block.value.abs() / top).min(1.0)).collect(),
        least_variance: blocks.step * blocks.step / 12.0,
    };
    let scan = TauScan { from_s: blocks.span_s / 300.0, to_s: 3.0 * blocks.span_s, slow_ratio: None };
    // Relative noise is judged by the fitted content, so the fit comes twice.
    let (mut shape, mut noise, mut solved) =
        scan.best(&rows, &kappas(blocks.span_s), middle).ok_or(CleanUpError::NoFit)?;
    for _ in 0..2 {
        rows.level =
            blocks.blocks.iter().map(|block| (fitted(&shape, &solved.beta, block).abs() / top).min(1.0)).collect();
        let noises = noises(blocks.span_s, mean_worth(blocks));
        noise = heaviest(&rows, &shape, &noises).ok_or(CleanUpError::NoFit)?;
        (shape, noise, solved) = scan.best(&rows, &[noise], middle).ok_or(CleanUpError::NoFit)?;
    }
    let noise_models = matter(&rows, &shape, &noises(blocks.span_s, mean_worth(blocks)));
    let slow_ratio = slow_ratio(&rows, &scan, &noise_models, middle, &shape);
    let scan = TauScan { slow_ratio, ..scan };
    let table = Table::new(&rows, &noise_models, &lags, &scan, trace.analyser.zero).ok_or(CleanUpError::NoFit)?;
    if slow_ratio.is_some() {
        (shape, noise, solved) = scan.best(&rows, &noise_models, middle).ok_or(CleanUpError::NoFit)?;
    }
    Ok(Fit { posterior: table.into_posterior(), shape, noise, solved })
}

/// Lags and their prior weights.
fn lag_nodes(lag: Lag, blocks: &Blocks) -> Vec<LagNode> {
    const NODES: i32 = 7;
    match lag {
        Lag::Stated(lag) if lag.value < blocks.span_s / 3000.0 => vec![(0.0, 1.0)],
        Lag::Stated(lag) => {
            let given = lag.standard_uncertainty;
            let relative = if given > 0.0 { given / lag.value } else { RESPONSE_UNCERTAINTY };
            (-NODES..=NODES)
                .map(|i| {
                    let u = 2.5 * f64::from(i) / f64::from(NODES);
                    (lag.value * (relative * u).exp(), (-0.5 * u * u).exp())
                })
                .collect()
        }
        Lag::Unknown => {
            let ratio: f64 = USUAL_LAG_S[1] / USUAL_LAG_S[0];
            (0..=2 * NODES).map(|i| (USUAL_LAG_S[0] * ratio.powf(f64::from(i) / f64::from(2 * NODES)), 1.0)).collect()
        }
    }
}

fn mean_worth(blocks: &Blocks) -> f64 {
    let (sum, count) = blocks.measured().fold((0.0, 0.0), |(sum, count), block| (sum + block.worth, count + 1.0));
    sum / count
}

fn kappas(span_s: f64) -> Vec<Noise> {
    let noise = |kappa| Noise { kappa, correlated: 0.0, memory_s: span_s, log_prior: 0.4_f64.ln() };
    std::iter::once(0.0).chain((0..7).map(|i| 10.0_f64.powi(i))).map(noise).collect()
}

/// Noise models that are looked at.
fn noises(span_s: f64, worth: f64) -> Vec<Noise> {
    let mut noises = kappas(span_s);
    for plain in noises.clone() {
        for memory in [0.005, 0.02, 0.07, 0.2] {
            for ratio in [0.05, 0.2, 0.7, 2.5, 9.0] {
                noises.push(Noise {
                    correlated: ratio / worth,
                    memory_s: memory * span_s,
                    log_prior: (0.6_f64 / 20.0).ln(),
                    ..plain
                });
            }
        }
    }
    noises
}

fn log_evidence(rows: &Rows<'_>, shape: &Shape, noise: &Noise) -> Option<f64> {
    Some(rows.solve(shape, noise)?.log_marginal + noise.log_prior)
}

fn heaviest(rows: &Rows<'_>, shape: &Shape, noises: &[Noise]) -> Option<Noise> {
    let scored = noises.iter().filter_map(|noise| Some((log_evidence(rows, shape, noise)?, *noise)));
    scored.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, noise)| noise)
}

/// The noise models that carry nearly all of the weight, at most eight.
fn matter(rows: &Rows<'_>, shape: &Shape, noises: &[Noise]) -> Vec<Noise> {
    let mut scored: Vec<(f64, Noise)> =
        noises.iter().filter_map(|noise| Some((log_evidence(rows, shape, noise)?, *noise))).collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let top = scored.first().map_or(0.0, |best| best.0);
    scored.into_iter().take(8).take_while(|(score, _)| *score > top - 5.0).map(|(_, noise)| noise).collect()
}

/// Range of time constants that is searched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TauScan {
    pub from_s: f64,
    pub to_s: f64,
    /// Time constant of a slow second term over that of the first.
    pub slow_ratio: Option<f64>,
}

impl TauScan {
    pub(super) fn shape(&self, tau_s: f64, lag_s: f64) -> Shape {
        Shape { tau_s, lag_s, slow_s: self.slow_ratio.map(|ratio| ratio * tau_s) }
    }

    /// Time constants spread evenly in their logarithm.
    pub(super) fn nodes(&self, count: usize) -> impl Iterator<Item = f64> + use<> {
        let (from_s, ratio) = (self.from_s, self.to_s / self.from_s);
        (0..count).map(move |i| from_s * ratio.powf(i as f64 / (count - 1) as f64))
    }

    fn best(&self, rows: &Rows<'_>, noises: &[Noise], lag_s: f64) -> Option<(Shape, Noise, Solved)> {
        let mut scan = *self;
        let mut best = None;
        for _ in 0..4 {
            let mut top = f64::NEG_INFINITY;
            for tau_s in scan.nodes(31) {
                let shape = scan.shape(tau_s, lag_s);
                for noise in noises {
                    let Some(solved) = rows.solve(&shape, noise) else { continue };
                    let score = solved.log_marginal + noise.log_prior;
                    if solved.beta[0] > 0.0 && score > top {
                        top = score;
                        best = Some((shape, *noise, solved));
                    }
                }
            }
            let tau_s = best.as_ref()?.0.tau_s;
            let step = (scan.to_s / scan.from_s).powf(1.0 / 30.0);
            scan = Self { from_s: tau_s / step, to_s: tau_s * step, ..scan };
        }
        best
    }
}

/// The slow second term that the readings support, if any. Its amount is positive, with a prior as wide as the dose.
fn slow_ratio(rows: &Rows<'_>, scan: &TauScan, noises: &[Noise], lag_s: f64, shape: &Shape) -> Option<f64> {
    let alone = noises.iter().filter_map(|noise| log_evidence(rows, shape, noise)).fold(f64::NEG_INFINITY, f64::max);
    let narrow = TauScan { from_s: shape.tau_s / 2.5, to_s: 1.3 * shape.tau_s, ..*scan };
    let gains = [3.0, 6.0, 12.0, 25.0].into_iter().filter_map(|ratio| {
        let with = TauScan { slow_ratio: Some(ratio), ..narrow };
        let (shape, noise, solved) = with.best(rows, noises, lag_s)?;
        let amount = solved.beta[shape.slow()?];
        let dose = solved.beta[0];
        // The marginal likelihood has a flat prior in the amount; one as wide as the dose makes the models comparable.
        let evidence = solved.log_marginal + noise.log_prior + 0.919 - dose.max(1e-300).ln();
        // Both marginals leave out (2π·variance)^½ a part, which the wider model has once more.
        let evidence = evidence + 0.5 * (solved.squares / solved.degrees_of_freedom).ln();
        (amount > 0.0).then_some((evidence - alone, ratio))
    });
    gains.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(gain, _)| *gain > SUPPORTED).map(|(_, ratio)| ratio)
}
