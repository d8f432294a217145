//! Where the likelihood lies: noise, time constant and lag that matter, then the posterior over them.

use super::blocks::{self, Blocks};
use super::columns::{DOSE, Shape};
use super::likelihood::{Noise, Rows, Solved, fitted};
use super::posterior::{Posterior, Table};
use super::response::{self, LagNode, LagPrior, Node};
use super::rise::{self, Fitted, Onset, Path, Search};
use super::window::RiseSpan;
use super::{CleanUpError, Settings, Window};
use crate::ppm_rise::{ReadingStatus, Trace};

/// Fewest blocks that are numbers.
const NEEDED: usize = 8;
/// Bayes factor from which a second term counts as supported: e⁵ = 150, to make up for many shapes tried.
const SUPPORTED: f64 = 5.0;
/// A fitted clean-up.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub posterior: Posterior,
    /// Most probable model.
    pub shape: Shape,
    pub noise: Noise,
    pub solved: Solved,
}

/// The decay alone, roughly: what all further search starts from.
#[derive(Debug, Clone)]
pub(super) struct Start<'a> {
    rows: Rows<'a>,
    lag: LagPrior,
    shape: Shape,
    noise: Noise,
    solved: Solved,
}

pub(super) fn begin<'a>(blocks: &'a Blocks, settings: &Settings) -> Result<Start<'a>, CleanUpError> {
    let found = blocks.measured().count();
    if found < NEEDED {
        return Err(CleanUpError::TooFewReadings { found, needed: NEEDED });
    }
    let lag = LagPrior::new(settings.lag, blocks);
    let middle = LagNode { lag_s: lag.middle_s(), weight: 1.0, rise: None };
    let mut rows = Rows { blocks, level: measured_levels(blocks), least_variance: blocks.step * blocks.step / 12.0 };
    let scan = TauScan::over(blocks.span_s);
    // Relative noise is judged by the fitted content, so the fit comes twice.
    let (mut shape, mut noise, mut solved) = scan.best(&rows, &kappas(blocks), &middle).ok_or(CleanUpError::NoFit)?;
    for noises in [kappas(blocks), noises(blocks)] {
        rows.level = levels(blocks, &shape, &solved);
        noise = heaviest(&rows, &shape, &noises).ok_or(CleanUpError::NoFit)?;
        (shape, noise, solved) = scan.best(&rows, &[noise], &middle).ok_or(CleanUpError::NoFit)?;
    }
    Ok(Start { rows, lag, shape, noise, solved })
}

/// From the decay alone.
pub(super) fn fit(start: &Start<'_>, trace: &Trace<'_>) -> Result<Fit, CleanUpError> {
    let scan = TauScan::over(start.rows.blocks.span_s);
    let nodes = start.lag.nodes(|lag_s, _: Option<&Shape>| {
        let node = LagNode { lag_s, weight: 1.0, rise: None };
        let (shape, _, solved) = scan.best(&start.rows, &[start.noise], &node)?;
        Some((solved.log_marginal, shape))
    });
    let lags: Vec<LagNode> =
        nodes.iter().map(|node| LagNode { lag_s: node.lag_s, weight: node.weight, rise: None }).collect();
    let best = response::best(&nodes).ok_or(CleanUpError::NoFit)?;
    finish(&start.rows, &nodes[best].fitted, &lags, best, &scan, trace.analyser.zero).ok_or(CleanUpError::NoFit)
}

/// From the decay and the rise before it, where one dose, steadily fed in or mixing in, describes the rise.
pub(super) fn fit_with_rise(
    start: &Start<'_>,
    trace: &Trace<'_>,
    decay: Window,
    span: RiseSpan,
) -> Option<(Window, Blocks, Fit)> {
    let mut window = Window { from_s: span.from_s, ..decay };
    let still = [span.foot_s - 10.0 * trace.samples.cadence_s(), span.start_s].map(|t| t - span.from_s);
    let blocks = blocks::gather(trace, &window, still);
    let mut rows = Rows { blocks: &blocks, level: measured_levels(&blocks), least_variance: start.rows.least_variance };
    let foot_s = span.foot_s - span.from_s;
    // What a censored reading says of the content before the dose is not enough to part it from the floor.
    let before = blocks.measured().filter(|block| block.middle_s() < foot_s).count();
    let censored =
        blocks.blocks.iter().any(|block| block.status != ReadingStatus::Measured && block.middle_s() < foot_s);
    (before >= 3 && !censored).then_some(())?;
    let nodes = rise_nodes(&mut rows, start, foot_s, still[1])?;
    let best = response::best(&nodes)?;
    let Fitted { tau_s, rise, .. } = nodes[best].fitted;
    let shape = Shape { tau_s, lag_s: nodes[best].lag_s, second_s: None, rise: Some(rise) };
    describes_rise(&rows, start, &shape, still[1]).then_some(())?;
    let lags: Vec<LagNode> = nodes
        .iter()
        .map(|node| {
            let onset = Onset::about(foot_s, still[1], node.lag_s, blocks.cadence_s);
            let path = Path::along(&rows, &start.noise, node.lag_s, &node.fitted, onset);
            LagNode { lag_s: node.lag_s, weight: node.weight, rise: Some(path) }
        })
        .collect();
    let scan = TauScan::over(start.rows.blocks.span_s);
    let fit = finish(&rows, &shape, &lags, best, &scan, trace.analyser.zero)?;
    window.onset_s = window.from_s + fit.shape.rise?.at_s;
    Some((window, blocks, fit))
}

/// The nodes of the response, each with the rise that fits best.
fn rise_nodes(rows: &mut Rows<'_>, start: &Start<'_>, foot_s: f64, end_s: f64) -> Option<Vec<Node<Fitted>>> {
    let noise = start.noise;
    let cadence_s = rows.blocks.cadence_s;
    let onset = |lag_s: f64| Onset::about(foot_s, end_s, lag_s, cadence_s);
    let middle_s = start.lag.middle_s();
    for _ in 0..2 {
        let fitted = rise::begin(rows, &noise, middle_s, start.shape.tau_s, foot_s, onset(middle_s))?;
        let shape = Shape { tau_s: fitted.tau_s, lag_s: middle_s, second_s: None, rise: Some(fitted.rise) };
        let solved = rows.solve(&shape, &noise)?;
        rows.level = levels(rows.blocks, &shape, &solved);
    }
    let rows = &*rows;
    let nodes = start.lag.nodes(|lag_s, near: Option<&Fitted>| {
        let found = match near {
            None => rise::begin(rows, &noise, lag_s, start.shape.tau_s, foot_s, onset(lag_s)),
            Some(near) => {
                Search { rows, noise: &noise, lag_s, onset: onset(lag_s), first: 0 }.from(near.tau_s, near.rise)
            }
        }?;
        Some((found.log_likelihood, found))
    });
    (!nodes.is_empty()).then_some(nodes)
}

/// Whether the readings before the decay follow the model as closely as those of the decay do.
fn describes_rise(rows: &Rows<'_>, start: &Start<'_>, shape: &Shape, until_s: f64) -> bool {
    let Some(solved) = rows.solve(shape, &start.noise) else { return false };
    let scale = start.solved.squares / start.solved.degrees_of_freedom;
    let (mut sum, mut count) = (0.0, 0.0);
    for (block, level) in rows.blocks.blocks.iter().zip(&rows.level) {
        if block.status != ReadingStatus::Measured || block.middle_s() > until_s {
            continue;
        }
        let variance = scale * start.noise.variance_of_mean(*level, block.worth);
        sum += (block.value - fitted(shape, &solved.beta, block)).powi(2) / variance;
        count += 1.0;
    }
    count > 3.0 && sum / count < 2.0 + 4.0 * f64::sqrt(2.0 / count)
}

/// `best` is the index of the most probable response.
fn finish(rows: &Rows<'_>, shape: &Shape, lags: &[LagNode], best: usize, scan: &TauScan, zero: f64) -> Option<Fit> {
    let blocks = rows.blocks;
    let middle = *lags.get(best)?;
    let noises = noises(blocks);
    let scored_with = |shape: &Shape| scored(rows, shape, &noises);
    let mut scored = scored_with(shape);
    let mut scan = *scan;
    if let Some(shape) = second_term(rows, &scan, &scored, &middle, shape) {
        scan.second_ratio = shape.second_s.map(|second_s| second_s / shape.tau_s);
        scored = scored_with(&shape);
    }
    let table = Table::new(rows, &representative(&scored), lags, &scan, zero)?;
    let (shape, noise, solved) = scan.best(rows, &matter(&scored), &middle)?;
    Some(Fit { posterior: table.into_posterior(), shape, noise, solved })
}

fn top(blocks: &Blocks) -> f64 {
    blocks.measured().map(|block| block.value.abs()).fold(0.0, f64::max).max(1e-300)
}

/// Content shown by each block over the largest.
fn measured_levels(blocks: &Blocks) -> Vec<f64> {
    let top = top(blocks);
    blocks.blocks.iter().map(|block| (block.value.abs() / top).min(1.0)).collect()
}

/// Fitted content of each block over the largest.
fn levels(blocks: &Blocks, shape: &Shape, solved: &Solved) -> Vec<f64> {
    let top = top(blocks);
    blocks.blocks.iter().map(|block| (fitted(shape, &solved.beta, block).abs() / top).min(1.0)).collect()
}

fn mean_worth(blocks: &Blocks) -> f64 {
    let (sum, count) = blocks.measured().fold((0.0, 0.0), |(sum, count), block| (sum + block.worth, count + 1.0));
    sum / count
}

/// Ratios of relative to constant variance that are looked at: as many decades as the content spans, twice over.
fn kappas(blocks: &Blocks) -> Vec<Noise> {
    let span_s = blocks.span_s;
    let lowest = blocks.measured().map(|block| block.value.abs()).fold(f64::INFINITY, f64::min);
    let decades = (top(blocks) / lowest.max(1e-30)).log10().clamp(0.0, 6.0);
    let powers = (2.0 * decades + 2.0).round().clamp(6.0, 13.0) as i32;
    let noise = |kappa| Noise { kappa, correlated: 0.0, memory_s: span_s, steady: false, log_prior: 0.25_f64.ln() };
    std::iter::once(0.0).chain((0..=powers).map(|i| 10.0_f64.powi(i))).map(noise).collect()
}

/// Noise models that are looked at.
fn noises(blocks: &Blocks) -> Vec<Noise> {
    const MEMORIES: [f64; 5] = [0.005, 0.02, 0.07, 0.2, 0.6];
    const RATIOS: [f64; 5] = [0.05, 0.2, 0.7, 2.5, 9.0];
    let (span_s, worth) = (blocks.span_s, mean_worth(blocks));
    let mut noises = kappas(blocks);
    for plain in noises.clone() {
        // Without relative noise both kinds of correlated noise are one.
        let kinds: &[bool] = if plain.kappa > 0.0 { &[true, false] } else { &[true] };
        let share = 0.75 / (MEMORIES.len() * RATIOS.len() * kinds.len()) as f64;
        for (memory, ratio) in MEMORIES.into_iter().flat_map(|memory| RATIOS.map(|ratio| (memory, ratio))) {
            noises.extend(kinds.iter().map(|steady| Noise {
                correlated: ratio / worth,
                memory_s: memory * span_s,
                steady: *steady,
                log_prior: share.ln(),
                ..plain
            }));
        }
    }
    noises
}

/// A noise model with its log marginal likelihood and its log weight.
type Scored = (f64, f64, Noise);

fn scored(rows: &Rows<'_>, shape: &Shape, noises: &[Noise]) -> Vec<Scored> {
    let parts = rows.parts(shape);
    let marginal = |noise: &Noise| Some(rows.solve_parts(&parts, shape.len(), noise)?.log_marginal);
    let score = |noise: &Noise| marginal(noise).map(|log| (log, log + noise.log_prior, *noise));
    noises.iter().filter_map(score).collect()
}

fn heaviest(rows: &Rows<'_>, shape: &Shape, noises: &[Noise]) -> Option<Noise> {
    scored(rows, shape, noises).into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|(_, _, noise)| noise)
}

/// The noise models that weigh most, at most ten.
fn matter(scored: &[Scored]) -> Vec<Noise> {
    let mut scored = scored.to_vec();
    scored.sort_by(|a, b| b.1.total_cmp(&a.1));
    let top = scored.first().map_or(0.0, |best| best.1);
    scored.into_iter().take(10).take_while(|(_, score, _)| *score > top - 5.0).map(|(.., noise)| noise).collect()
}

/// A few noise models that stand for all: taken at even steps of the weight, so that many that weigh little each are not lost
/// beside few that weigh much. Their priors are such that each weighs as much as those that it stands for.
fn representative(scored: &[Scored]) -> Vec<Noise> {
    const STEPS: usize = 16;
    let (likeliest, top) = scored.iter().fold((f64::NEG_INFINITY, f64::NEG_INFINITY), |(likeliest, top), model| {
        (likeliest.max(model.0), top.max(model.1))
    });
    let all: f64 = scored.iter().map(|model| (model.1 - top).exp()).sum();
    let mut chosen = Vec::new();
    let (mut passed, mut next) = (0.0, 0);
    for (marginal, score, noise) in scored {
        passed += (score - top).exp() / all * STEPS as f64;
        let mut steps = 0;
        while next < STEPS && passed > next as f64 + 0.5 {
            (next, steps) = (next + 1, steps + 1);
        }
        if steps > 0 {
            chosen.push(Noise { log_prior: f64::from(steps).ln() + likeliest - marginal, ..*noise });
        }
    }
    chosen
}

/// Range of time constants that is searched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TauScan {
    pub from_s: f64,
    pub to_s: f64,
    /// Time constant of a second term over that of the first.
    pub second_ratio: Option<f64>,
}

impl TauScan {
    fn over(span_s: f64) -> Self {
        Self { from_s: span_s / 300.0, to_s: 3.0 * span_s, second_ratio: None }
    }

    pub(super) fn shape(&self, tau_s: f64, node: &LagNode) -> Shape {
        let second_s = self.second_ratio.map(|ratio| ratio * tau_s);
        Shape { tau_s, lag_s: node.lag_s, second_s, rise: node.rise.map(|path| path.at(tau_s)) }
    }

    /// Time constants spread evenly in their logarithm.
    pub(super) fn nodes(&self, count: usize) -> impl Iterator<Item = f64> + use<> {
        let (from_s, ratio) = (self.from_s, self.to_s / self.from_s);
        (0..count).map(move |i| from_s * ratio.powf(i as f64 / (count - 1) as f64))
    }

    /// Most probable time constant and noise: all noise models are looked at once, then the best of them more closely.
    fn best(&self, rows: &Rows<'_>, noises: &[Noise], node: &LagNode) -> Option<(Shape, Noise, Solved)> {
        self.best_within(rows, noises, node, 4)
    }

    /// The same, to fewer places.
    fn best_within(
        &self,
        rows: &Rows<'_>,
        noises: &[Noise],
        node: &LagNode,
        passes: usize,
    ) -> Option<(Shape, Noise, Solved)> {
        const NODES: usize = 25;
        let mut scan = *self;
        let mut best: Option<(Shape, Noise, Solved)> = None;
        for _ in 0..passes {
            let mut top = f64::NEG_INFINITY;
            let models = best.map_or(noises.to_vec(), |(_, noise, _)| vec![noise]);
            for tau_s in scan.nodes(NODES) {
                let shape = scan.shape(tau_s, node);
                let parts = rows.parts(&shape);
                for noise in &models {
                    let Some(solved) = rows.solve_parts(&parts, shape.len(), noise) else { continue };
                    let score = solved.log_marginal + noise.log_prior;
                    if solved.beta[0] > 0.0 && score > top {
                        top = score;
                        best = Some((shape, *noise, solved));
                    }
                }
            }
            let tau_s = best.as_ref()?.0.tau_s;
            let step = (scan.to_s / scan.from_s).powf(1.0 / (NODES - 1) as f64);
            scan = Self { from_s: tau_s / step, to_s: tau_s * step, ..scan };
        }
        best
    }
}

/// Time constants of a slow second term over that of the first that are looked at.
const SLOW: [f64; 4] = [3.0, 6.0, 12.0, 25.0];
/// That of the term which appears where a purifier takes up a smaller share at high content: with dx/dt = −x/(τ(1 + x/h)) a
/// dose A comes down as A(1 + A/h)·e^(−t/τ) − (A²/h)·e^(−2t/τ), to first order in A/h.
const LOADING: f64 = 0.5;

/// The shape with the second term that the readings support, if any: a slow one with a positive amount, or that of loading
/// with a negative one.
fn second_term(rows: &Rows<'_>, scan: &TauScan, scored: &[Scored], node: &LagNode, shape: &Shape) -> Option<Shape> {
    // What one term leaves over looks like correlated noise; with the right second term the noise may be plain.
    let plain = kappas(rows.blocks);
    let noises: Vec<Noise> = matter(scored).into_iter().chain(plain.clone()).collect();
    let heaviest_of = |keep: fn(&Noise) -> bool| {
        scored.iter().filter(|model| keep(&model.2)).map(|model| model.1).fold(f64::NEG_INFINITY, f64::max)
    };
    let alone = heaviest_of(|_| true);
    let narrow = TauScan { from_s: shape.tau_s / 2.5, to_s: 1.3 * shape.tau_s, ..*scan };
    let with = |ratio: f64, noises: &[Noise]| {
        let (shape, noise, solved) =
            TauScan { second_ratio: Some(ratio), ..narrow }.best_within(rows, noises, node, 2)?;
        let rightly_signed = (solved.beta[shape.second()?] > 0.0) == (ratio > 1.0);
        rightly_signed.then(|| (solved.log_marginal + noise.log_prior, width_of_prior(&solved), shape))
    };
    let slow = SLOW
        .into_iter()
        .filter_map(|ratio| with(ratio, &noises))
        .map(|(score, width, shape)| (score - width - alone, shape));
    if let Some((_, shape)) = slow.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(gain, _)| *gain > SUPPORTED) {
        return Some(shape);
    }
    // Noise that wanders slowly can stand for loading in any record. So loading counts where plain noise asks for it clearly
    // and where, with it, the readings are no less likely than with wandering noise in its place.
    let (_, _, shape) = with(LOADING, &noises).filter(|(likely, ..)| *likely > alone)?;
    let (score, width, _) = with(LOADING, &plain)?;
    let plain_alone = heaviest_of(|noise| noise.correlated <= 0.0);
    (score - width > plain_alone + SUPPORTED).then_some(shape)
}

/// What a further amount costs: the log of how much wider its prior, as wide as the dose, is than one standard deviation of the
/// noise, which the marginal likelihood with its flat prior leaves out.
fn width_of_prior(solved: &Solved) -> f64 {
    let sigma = (solved.squares / solved.degrees_of_freedom).sqrt();
    (solved.beta[DOSE].max(1e-300) / sigma).ln() - 0.919
}
