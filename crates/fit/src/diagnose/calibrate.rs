//! From evidence to probabilities that are worth their number.

use super::compare::{Weighed, prior_of};

/// Evidence is computed as if the model were the truth. Its errors come back every day, so that they do not average out:
/// a lead in evidence is worth less than it says, and less the larger it is. A lead of d nats, or 2 d in χ², counts as
/// (1 + d/SCALE)^−POWER, which is Student's law with four degrees of freedom: as if the noise were known from five
/// independent readings, however long the log. Held on two generators of logs, see `validation-diagnose.md`.
const SCALE: f64 = 2.0;
const POWER: f64 = 2.5;

/// Share of logs that the best model misjudges for reasons it does not know, however large its lead; then the prior holds.
/// Chosen on logs of both generators that played a part in its making, where one in eight was wrong of those that were
/// called 95 % without it.
const MISJUDGED: f64 = 0.05;

/// Probabilities of the weighed causes, in their order; they sum to 1.
pub(super) fn probabilities(weighed: &[Weighed]) -> Vec<f64> {
    let best = weighed.iter().map(|own| own.ln_weight).fold(f64::NEG_INFINITY, f64::max);
    let worth: Vec<f64> = weighed.iter().map(|own| (1.0 + (best - own.ln_weight) / SCALE).powf(-POWER)).collect();
    let prior: Vec<f64> = weighed.iter().map(|own| prior_of(own.cause).exp()).collect();
    let sums = [worth.iter().sum::<f64>(), prior.iter().sum()];
    let each = worth.iter().zip(&prior);
    each.map(|(worth, prior)| (1.0 - MISJUDGED) * worth / sums[0] + MISJUDGED * prior / sums[1]).collect()
}
