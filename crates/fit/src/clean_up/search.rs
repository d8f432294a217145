//! How a clean-up is found: roughly from the decay, then with the rise where there is one, then the laws of the decay that the
//! readings support.

use super::blocks::{self, Blocks};
use super::columns::{Law, Shape};
use super::likelihood::{Noise, Rows, Solved};
use super::loading::{LoadedDecay, MOST_LOAD};
use super::noise_models::{
    Scored, evidence, heaviest, kappas, levels, matter, measured_levels, noises, noises_about, representative, scored,
};
use super::posterior::{Model, Posterior, Table};
use super::response::{self, LagNode, LagPrior, Node};
use super::rise::{self, Fitted, Onset, Path, Search};
use super::scan::TauScan;
use super::seen::Seen;
use super::window::{self, RiseSpan};
use super::{CleanUpError, Settings, Window};
use crate::ppm_rise::{ReadingStatus, Trace};

/// Fewest blocks that are numbers.
const NEEDED: usize = 8;
/// Log Bayes factor from which a slow tail counts as supported: a million. It is chosen, not averaged, and changes what the
/// time constant is of; real decays that pass for exponential have been seen to give a factor of a hundred thousand.
const SUPPORTED: f64 = 14.0;
/// Time constants of a slow tail over that of the fast part that are looked at.
const SLOW: [f64; 4] = [3.0, 6.0, 12.0, 25.0];
/// What loading has to weigh, beside the exponential, to be carried on with.
const LEAST_SHARE: f64 = 0.01;

/// A fitted clean-up.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub posterior: Posterior,
    /// Most probable model.
    pub shape: Shape,
    pub noise: Noise,
    pub solved: Solved,
    /// Probability of its law of the decay, beside the others that were averaged.
    pub law_probability: f64,
}

impl Fit {
    /// The decay, from a window that begins in it.
    pub(super) fn decay(&self) -> window::Decay {
        let height = self.posterior.height();
        window::Decay { floor: self.posterior.floor().mean(), height, tau_s: self.shape.tau_s }
    }
}

/// The decay alone, roughly: what all further search starts from.
#[derive(Debug, Clone)]
pub(super) struct Start<'a> {
    rows: Rows<'a>,
    lag: LagPrior,
    shape: Shape,
    noise: Noise,
}

/// Responses of the analyser, each with what fits best there under one law.
struct Responses {
    law: Law,
    lags: Vec<LagNode>,
    /// Index of the most probable.
    best: usize,
    /// Best shape there.
    shape: Shape,
}

pub(super) fn begin<'a>(blocks: &'a Blocks, settings: &Settings) -> Result<Start<'a>, CleanUpError> {
    let found = blocks.measured().count();
    if found < NEEDED {
        return Err(CleanUpError::TooFewReadings { found, needed: NEEDED });
    }
    let lag = LagPrior::new(settings.lag, blocks);
    let middle = lag.at(lag.middle_s());
    let mut rows = Rows { blocks, level: measured_levels(blocks), least_variance: blocks.step * blocks.step / 12.0 };
    let scan = TauScan::over(blocks.span_s);
    // Relative noise is judged by the fitted content, so the fit comes twice.
    let (mut shape, mut noise, mut solved) = scan.best(&rows, &kappas(blocks), &middle).ok_or(CleanUpError::NoFit)?;
    for noises in [kappas(blocks), noises(blocks)] {
        rows.level = levels(blocks, &shape, &solved);
        noise = heaviest(&rows, &shape, &noises).ok_or(CleanUpError::NoFit)?;
        (shape, noise, solved) = scan.best(&rows, &[noise], &middle).ok_or(CleanUpError::NoFit)?;
    }
    Ok(Start { rows, lag, shape, noise })
}

/// From the decay alone.
pub(super) fn fit(start: &Start<'_>, trace: &Trace<'_>) -> Result<Fit, CleanUpError> {
    let rows = &start.rows;
    let whole = TauScan::over(rows.blocks.span_s);
    let respond = |law: Law, noise: &Noise, near: &Shape| {
        let scan = if law == Law::Exponential { whole } else { whole.about(near.tau_s, law) };
        let nodes = start.lag.nodes(|lag_s, _: Option<&Shape>| {
            let node = start.lag.at(lag_s);
            let (shape, _, solved) = scan.best(rows, &[*noise], &node)?;
            (shape.tau_s >= node.least_tau_s).then_some((solved.log_marginal, shape))
        });
        let best = response::best(&nodes)?;
        let lags = nodes.iter().map(|node| start.lag.weighed(node, None)).collect();
        Some(Responses { law, lags, best, shape: nodes[best].fitted })
    };
    let follow = |noise: &Noise, shape: &Shape| {
        let node = start.lag.at(shape.lag_s);
        whole.about(shape.tau_s, shape.law).best_within(rows, &[*noise], &node, [13; 3]).map(|(shape, ..)| shape)
    };
    let one = respond(Law::Exponential, &start.noise, &start.shape).ok_or(CleanUpError::NoFit)?;
    finish(
        rows,
        start.noise.kappa,
        one,
        &Refit { lag: start.lag, respond: &respond, follow: &follow },
        trace.analyser.zero,
    )
    .ok_or(CleanUpError::NoFit)
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
    let mut blocks = blocks::gather(trace, &window, still);
    let foot_s = span.foot_s - span.from_s;
    let rest = told_before(&blocks, foot_s)? == Told::Content;
    if !rest {
        // Without a lag to be told the rise adds nothing to the decay.
        (start.lag != LagPrior::Exactly(0.0)).then_some(())?;
        blocks.set_bounds_aside(foot_s - 0.25 * start.lag.middle_s() - 5.0 * blocks.cadence_s);
    }
    let blocks = blocks;
    let mut rows = Rows { blocks: &blocks, level: measured_levels(&blocks), least_variance: start.rows.least_variance };
    let onset = |lag_s: f64| Onset::about(foot_s, still[1], lag_s, blocks.cadence_s);
    let noise = set_levels(&mut rows, start, foot_s, onset(start.lag.middle_s()), rest)?;
    let rows = &rows;
    let search =
        |law: Law, noise: Noise, lag_s: f64| Search { rows, noise, lag_s, law, onset: onset(lag_s), first: 0, rest };
    let respond = |law: Law, noise: &Noise, near: &Shape| {
        let nodes = start.lag.nodes(|lag_s, beside: Option<&Fitted>| {
            let search = search(law, *noise, lag_s);
            let found = match (beside, near.rise) {
                (Some(beside), _) => search.from(beside.tau_s, beside.rise),
                (None, Some(rise)) => search.from(near.tau_s, rise),
                (None, None) => rise::begin(&search, near.tau_s, foot_s),
            }?;
            (found.tau_s >= start.lag.least_tau_s(lag_s)).then_some((found.log_likelihood, found))
        });
        let best = response::best(&nodes)?;
        let path = |node: &Node<Fitted>| Path::along(&search(law, *noise, node.lag_s), &node.fitted);
        let lags = nodes.iter().map(|node| start.lag.weighed(node, Some(&path(node)))).collect();
        let Fitted { tau_s, rise, .. } = nodes[best].fitted;
        Some(Responses { law, lags, best, shape: Shape { tau_s, lag_s: nodes[best].lag_s, law, rise: Some(rise) } })
    };
    let follow = |noise: &Noise, shape: &Shape| {
        let found = search(shape.law, *noise, shape.lag_s).from(shape.tau_s, shape.rise?)?;
        Some(Shape { tau_s: found.tau_s, rise: Some(found.rise), ..*shape })
    };
    let one = respond(Law::Exponential, &noise, &start.shape)?;
    describes_rise(rows, &noise, &one.shape, still[1]).then_some(())?;
    let fit = finish(
        rows,
        noise.kappa,
        one,
        &Refit { lag: start.lag, respond: &respond, follow: &follow },
        trace.analyser.zero,
    )?;
    window.onset_s = window.from_s + fit.shape.rise?.at_s;
    window.onset_uncertainty_s = window::between_readings(trace.samples.time_s(), window.onset_s);
    // In a gap over the rise moment and amount of a dose are exchangeable.
    let next_s = trace.samples.time_s().iter().copied().find(|t| *t > span.foot_s).unwrap_or(span.foot_s);
    if next_s - span.foot_s > 3.0 * trace.samples.cadence_s() {
        window.onset_s = 0.5 * (span.foot_s + next_s);
        window.onset_uncertainty_s = (next_s - span.foot_s) / 12.0_f64.sqrt();
    }
    Some((window, blocks, fit))
}

/// What is told of the content before a dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Told {
    /// What it was: enough to part a rest of earlier doses from the floor.
    Content,
    /// That it was below the reporting limit: the floor was, then, and a rest passes for some of the dose.
    Bound,
}

/// `None` where what is told is too little, or changes between numbers and bounds.
fn told_before(blocks: &Blocks, foot_s: f64) -> Option<Told> {
    const NEEDED: usize = 3;
    let before = || blocks.blocks.iter().take_while(|block| block.middle_s() < foot_s);
    // Of a record that begins below the limit the first numbers are those of the rise.
    let bounds: usize =
        before().take_while(|block| block.status == ReadingStatus::BelowLimit).map(|block| block.count).sum();
    let rest = || before().skip_while(|block| block.status == ReadingStatus::BelowLimit);
    let numbers: usize = rest().map(|block| block.count).sum();
    let all_numbers = rest().all(|block| block.status == ReadingStatus::Measured);
    match (bounds, numbers) {
        _ if !all_numbers => None,
        (NEEDED.., _) => Some(Told::Bound),
        (0, NEEDED..) => Some(Told::Content),
        _ => None,
    }
}

/// Levels by a first fit with the rise, and the noise that they show.
fn set_levels(rows: &mut Rows<'_>, start: &Start<'_>, foot_s: f64, onset: Onset, rest: bool) -> Option<Noise> {
    let lag_s = start.lag.middle_s();
    let mut noise = start.noise;
    for _ in 0..2 {
        let search = Search { rows: &*rows, noise, lag_s, law: Law::Exponential, onset, first: 0, rest };
        let Fitted { tau_s, rise, .. } = rise::begin(&search, start.shape.tau_s, foot_s)?;
        let shape = Shape { tau_s, lag_s, law: Law::Exponential, rise: Some(rise) };
        let solved = rows.solve(&shape, &noise)?;
        rows.level = levels(rows.blocks, &shape, &solved);
        // A short decay does not come down to where the noise before the dose is seen. Beside an unstated response a rise
        // that is taken at its word would let mixing and decay change places.
        if start.lag != LagPrior::Unknown {
            noise = heaviest(rows, &shape, &kappas(rows.blocks))?;
        }
    }
    Some(noise)
}

/// Whether the readings before the decay follow the model as closely as those of the decay do.
fn describes_rise(rows: &Rows<'_>, noise: &Noise, shape: &Shape, until_s: f64) -> bool {
    let Some(solved) = rows.solve(shape, noise) else { return false };
    let seen = Seen::of(shape);
    // Sum of squares and number, before the decay and in it.
    let mut parts = [[0.0, 0.0]; 2];
    for (block, level) in rows.blocks.blocks.iter().zip(&rows.level) {
        if block.status != ReadingStatus::Measured {
            continue;
        }
        let variance = noise.variance_of_mean(*level, block.worth);
        let [sum, count] = &mut parts[usize::from(block.middle_s() > until_s)];
        *sum += (block.value - seen.reading(&solved.beta, block)).powi(2) / variance;
        *count += 1.0;
    }
    let [[sum, count], [of_decay, in_decay]] = parts;
    count > 3.0 && in_decay > 3.0 && sum / count < (2.0 + 4.0 * f64::sqrt(2.0 / count)) * of_decay / in_decay
}

/// How the fit is made again under another law.
struct Refit<'a> {
    lag: LagPrior,
    /// At all responses, for a law and a noise, from near a shape.
    respond: &'a dyn Fn(Law, &Noise, &Shape) -> Option<Responses>,
    /// At the response of a shape and under its law.
    follow: &'a dyn Fn(&Noise, &Shape) -> Option<Shape>,
}

/// A law of the decay with what weighs for it.
struct Candidate {
    found: Responses,
    models: Vec<Scored>,
}

fn finish(rows: &Rows<'_>, kappa: f64, one: Responses, refit: &Refit<'_>, zero: f64) -> Option<Fit> {
    let noises = noises_about(rows.blocks, kappa);
    let one = Candidate { models: scored(rows, &one.shape, &noises), found: one };
    let candidates = match slow_tail(rows, &one) {
        Some(shape) => {
            let found = Responses { law: shape.law, shape, ..one.found };
            vec![Candidate { models: scored(rows, &shape, &noises), found }]
        }
        None => match loaded(rows, &noises, &one, refit) {
            Some(loaded) => vec![one, loaded],
            None => vec![one],
        },
    };
    let evidences: Vec<f64> = candidates.iter().map(|candidate| evidence(&candidate.models)).collect();
    let heaviest = (0..candidates.len()).max_by(|a, b| evidences[*a].total_cmp(&evidences[*b]))?;
    let rest: f64 = evidences.iter().map(|evidence| (evidence - evidences[heaviest]).exp()).sum();
    let chosen = representative(&candidates.iter().map(|candidate| candidate.models.as_slice()).collect::<Vec<_>>());
    let averaged: Vec<Model<'_>> = candidates
        .iter()
        .zip(&chosen)
        .filter(|(_, noises)| !noises.is_empty())
        .map(|(Candidate { found, .. }, noises)| Model { law: found.law, lags: &found.lags, noises })
        .collect();
    let whole = TauScan::over(rows.blocks.span_s);
    let table = Table::new(rows, &averaged, &whole, zero)?;
    let Candidate { found, models } = &candidates[heaviest];
    let scan = TauScan { law: found.law, ..whole };
    let (shape, noise, solved) = scan.best(rows, &matter(models), found.lags.get(found.best)?)?;
    Some(Fit { posterior: table.into_posterior(), shape, noise, solved, law_probability: 1.0 / rest })
}

/// The shape with the slow tail that the readings support most, if any.
fn slow_tail(rows: &Rows<'_>, one: &Candidate) -> Option<Shape> {
    // What one term leaves over looks like correlated noise; with the right second term the noise may be plain.
    let mut noises = matter(&one.models);
    let mut plain: Vec<Noise> = noises.iter().map(|noise| Noise { correlated: 0.0, ..*noise }).collect();
    plain.sort_by(|a, b| a.kappa.total_cmp(&b.kappa));
    plain.dedup_by_key(|noise| noise.kappa.to_bits());
    noises.extend(plain);
    let alone = one.models.iter().map(Scored::weight).fold(f64::NEG_INFINITY, f64::max);
    let node = one.found.lags.get(one.found.best)?;
    let whole = TauScan::over(rows.blocks.span_s);
    let with = |ratio: f64| {
        let scan = whole.about(one.found.shape.tau_s, Law::SlowTail(ratio));
        let (shape, noise, solved) = scan.best_within(rows, &noises, node, [13, 13])?;
        Some((solved.log_marginal + noise.log_prior - solved.width_of_dose() - alone, shape))
    };
    let best = SLOW.into_iter().filter_map(with).max_by(|a, b| a.0.total_cmp(&b.0));
    best.filter(|(gain, _)| *gain > SUPPORTED).map(|(_, shape)| shape)
}

/// The decay of a purifier that takes up a smaller share at high content, where that weighs anything.
fn loaded(rows: &Rows<'_>, noises: &[Noise], one: &Candidate, refit: &Refit<'_>) -> Option<Candidate> {
    /// What weighs less than this, by the noise that the search begins with, comes to nothing by another.
    const NEAR: f64 = 5.0;
    // What one exponential leaves over has gone into its correlated noise, and some into the response: so the search begins
    // with plain noise of the same relative part, and at responses all over what is thought possible.
    let plain = Noise { correlated: 0.0, ..*matter(&one.models).first()? };
    let at = |lag_s: f64, near: &Shape| {
        let shape = loaded_near(rows, &[plain], &Shape { lag_s, ..*near }, refit)?;
        let likely = rows.solve(&shape, &plain)?.log_marginal + refit.lag.log_density(lag_s);
        Some((likely, shape))
    };
    let better = |a: (f64, Shape), b: (f64, Shape)| if b.0 > a.0 { b } else { a };
    let mut begun = refit.lag.spread().into_iter().filter_map(|lag_s| at(lag_s, &one.found.shape)).reduce(better)?;
    for step in refit.lag.finer_steps().into_iter().filter(|step| *step > 0.0) {
        let beside = [-step, step].map(|step| at(begun.1.lag_s * step.exp(), &begun.1));
        begun = beside.into_iter().flatten().fold(begun, better);
    }
    let least = evidence(&one.models) + LEAST_SHARE.ln();
    let models = scored(rows, &begun.1, noises);
    let begun = (evidence(&models), begun.1);
    (begun.0 > least - NEAR).then_some(())?;
    let moved = loaded_near(rows, &matter(&models), &begun.1, refit)
        .map(|shape| (evidence(&scored(rows, &shape, noises)), shape));
    let (weight, shape) = moved.into_iter().fold(begun, better);
    (weight > least).then_some(())?;
    let found = (refit.respond)(shape.law, &heaviest(rows, &shape, noises)?, &shape)?;
    let models = scored(rows, &found.shape, noises);
    (evidence(&models) > least).then_some(Candidate { found, models })
}

/// The best loaded decay near a shape: the curve is taken anew about the load that the round before found.
fn loaded_near(rows: &Rows<'_>, noises: &[Noise], near: &Shape, refit: &Refit<'_>) -> Option<Shape> {
    const ROUNDS: usize = 4;
    let mut load = if let Law::Loading(decay) = near.law { decay.load } else { 0.0 };
    let mut shape = Shape { law: Law::Loading(LoadedDecay::about(load)), ..*near };
    for _ in 0..ROUNDS {
        let noise = heaviest(rows, &shape, noises)?;
        shape = (refit.follow)(&noise, &shape)?;
        let before = load;
        load = shape.load(&rows.solve(&shape, &noise)?.beta)?.clamp(0.0, MOST_LOAD);
        shape.law = Law::Loading(LoadedDecay::about(load));
        if (load - before).abs() < 1e-3 {
            break;
        }
    }
    Some(shape)
}
