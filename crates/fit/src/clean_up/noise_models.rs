//! Models of the noise over which a clean-up is averaged.

use super::blocks::Blocks;
use super::columns::Shape;
use super::likelihood::{Noise, Rows, Solved};
use super::seen::Seen;

fn top(blocks: &Blocks) -> f64 {
    blocks.measured().map(|block| block.value.abs()).fold(0.0, f64::max).max(1e-300)
}

/// Content shown by each block over the largest.
pub(super) fn measured_levels(blocks: &Blocks) -> Vec<f64> {
    let top = top(blocks);
    blocks.blocks.iter().map(|block| (block.value.abs() / top).min(1.0)).collect()
}

/// Fitted content of each block over the largest.
pub(super) fn levels(blocks: &Blocks, shape: &Shape, solved: &Solved) -> Vec<f64> {
    let top = top(blocks);
    let seen = Seen::of(shape);
    blocks.blocks.iter().map(|block| (seen.reading(&solved.beta, block).abs() / top).min(1.0)).collect()
}

fn mean_worth(blocks: &Blocks) -> f64 {
    let (sum, count) = blocks.measured().fold((0.0, 0.0), |(sum, count), block| (sum + block.worth, count + 1.0));
    sum / count
}

/// Ratios of relative to constant variance that are looked at: as many decades as the content spans, twice over.
pub(super) fn kappas(blocks: &Blocks) -> Vec<Noise> {
    let span_s = blocks.span_s;
    let lowest = blocks.measured().map(|block| block.value.abs()).fold(f64::INFINITY, f64::min);
    let decades = (top(blocks) / lowest.max(1e-30)).log10().clamp(0.0, 6.0);
    let powers = (2.0 * decades + 2.0).round().clamp(6.0, 13.0) as i32;
    std::iter::once(0.0).chain((0..=powers).map(|i| 10.0_f64.powi(i))).map(|kappa| plain(kappa, span_s)).collect()
}

fn plain(kappa: f64, span_s: f64) -> Noise {
    Noise { kappa, correlated: 0.0, memory_s: span_s, steady: false, log_prior: 0.25_f64.ln() }
}

/// Noise models that are looked at first.
pub(super) fn noises(blocks: &Blocks) -> Vec<Noise> {
    with_correlated(blocks, kappas(blocks))
}

/// Noise models about a ratio of relative to constant variance: a ratio that is twice too large or too small in a long record
/// is as unlikely as a wander that makes up for it.
pub(super) fn noises_about(blocks: &Blocks, kappa: f64) -> Vec<Noise> {
    const FACTORS: [f64; 9] = [0.1, 0.3, 0.5, 0.7, 1.0, 1.4, 2.0, 3.3, 10.0];
    let kappas =
        if kappa > 0.0 { FACTORS.map(|factor| kappa * factor) } else { [0.0, 0.1, 0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0] };
    with_correlated(blocks, kappas.map(|kappa| plain(kappa, blocks.span_s)).into())
}

fn with_correlated(blocks: &Blocks, kappas: Vec<Noise>) -> Vec<Noise> {
    const MEMORIES: [f64; 5] = [0.005, 0.02, 0.07, 0.2, 0.6];
    const RATIOS: [f64; 5] = [0.05, 0.2, 0.7, 2.5, 9.0];
    let (span_s, worth) = (blocks.span_s, mean_worth(blocks));
    let mut noises = kappas.clone();
    for plain in kappas {
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

/// A noise model with what the readings say of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scored {
    /// Log marginal likelihood of the readings, with the prior of the law's load.
    marginal: f64,
    pub noise: Noise,
}

impl Scored {
    /// Log weight.
    pub(super) fn weight(&self) -> f64 {
        self.marginal + self.noise.log_prior
    }
}

pub(super) fn scored(rows: &Rows<'_>, shape: &Shape, noises: &[Noise]) -> Vec<Scored> {
    let parts = rows.parts(shape);
    let score = |noise: &Noise| {
        let solved = rows.solve_parts(&parts, shape.len(), noise)?;
        Some(Scored { marginal: solved.log_marginal + solved.log_prior_of_law(shape), noise: *noise })
    };
    noises.iter().filter_map(score).collect()
}

pub(super) fn heaviest(rows: &Rows<'_>, shape: &Shape, noises: &[Noise]) -> Option<Noise> {
    let models = scored(rows, shape, noises);
    models.into_iter().max_by(|a, b| a.weight().total_cmp(&b.weight())).map(|model| model.noise)
}

/// Log of the summed weights.
pub(super) fn evidence(models: &[Scored]) -> f64 {
    let top = models.iter().map(Scored::weight).fold(f64::NEG_INFINITY, f64::max);
    top + models.iter().map(|model| (model.weight() - top).exp()).sum::<f64>().ln()
}

/// The noise models that weigh most, at most ten.
pub(super) fn matter(models: &[Scored]) -> Vec<Noise> {
    let mut models = models.to_vec();
    models.sort_by(|a, b| b.weight().total_cmp(&a.weight()));
    let top = models.first().map_or(0.0, Scored::weight);
    models.into_iter().take(10).take_while(|model| model.weight() > top - 5.0).map(|model| model.noise).collect()
}

/// For each of several laws a few noise models that stand for all: taken at even steps of the weight, so that many that weigh
/// little each are not lost beside few that weigh much. Their priors are such that each weighs as much as those that it
/// stands for.
pub(super) fn representative(laws: &[&[Scored]]) -> Vec<Vec<Noise>> {
    const STEPS: usize = 16;
    let all = || laws.iter().flat_map(|models| models.iter());
    let likeliest = all().map(|model| model.marginal).fold(f64::NEG_INFINITY, f64::max);
    let top = all().map(Scored::weight).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = all().map(|model| (model.weight() - top).exp()).sum();
    let (mut passed, mut next) = (0.0, 0);
    let mut of_law = |models: &[Scored]| {
        let mut chosen = Vec::new();
        for model in models {
            passed += (model.weight() - top).exp() / sum * STEPS as f64;
            let mut steps = 0;
            while next < STEPS && passed > next as f64 + 0.5 {
                (next, steps) = (next + 1, steps + 1);
            }
            if steps > 0 {
                chosen.push(Noise { log_prior: f64::from(steps).ln() + likeliest - model.marginal, ..model.noise });
            }
        }
        chosen
    };
    laws.iter().map(|models| of_law(models)).collect()
}
