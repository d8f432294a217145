//! What a rise that slackens may mean where the species hardly outgasses.
//!
//! Outgassing that decays and a sink (a purifier's valve that is not tight, contents that react) make the same curve:
//! dx/dt = r − k·x has the solution r/k·(1 − e^(−kt)). With the one the ingress is the late rate, with the other the rate at
//! the start, brought to content zero. Mostly it is outgassing, so the value is the late rate; that it may be a sink, or a bit
//! of both, is never so improbable that a verdict could leave it out.

use super::likelihood::{INGRESS, MOST, density, phi};
use super::mixture::{Bell, Component, Mixture, of_bells};
use crate::uncertainty::Distribution;

/// Time constant in windows from which a term counts as a bend, however little it carries: the rate at the start is then
/// not far from the late one.
const SLOW: f64 = 0.2;
/// Share of the rise from which quicker terms count too; with less they are what mixes and warms up after the purifier was
/// switched off.
const SUBSTANTIAL: f64 = 0.5;
/// Share of all the terms that a quick one must carry then: a tiny one can have any rate at the start.
const OWN_SHARE: f64 = 0.2;

/// Probability that a bend is outgassing, and of each of the others: all of it a sink, a bit of both. An order of magnitude; what
/// matters is that the rest is more than the risk that a verdict takes (common practice, no source).
const OUTGASSING: f64 = 0.8;
const OTHER: f64 = 0.1;

/// A bend and what it may mean. Rates are per window.
#[derive(Debug, Clone)]
pub(super) struct Bend {
    /// Probability of the models that have one.
    pub(super) probability: f64,
    /// The ingress if outgassing makes it.
    pub(super) late: Distribution,
    /// The ingress if a sink makes it.
    pub(super) at_start: Distribution,
    /// The ingress with all models, a bend being outgassing, a sink, or both.
    pub(super) all: Distribution,
}

impl Bend {
    /// `None` where no model has a bend.
    pub(super) fn of(mixture: &Mixture) -> Option<Self> {
        let bent = mixture.part(|component| counted(component).is_some())?;
        let probability: f64 = mixture.weight_of(|component| counted(component).is_some());
        let (mut between, mut first) = (Vec::new(), Vec::new());
        for (component, weight) in bent.weighted() {
            let Some(rate) = counted(component) else { continue };
            let [from, to] = Slackening::new(component, &rate).bells(*weight);
            between.push(from);
            first.push(to);
        }
        let (late, at_start) = (bent.ingress(), of_bells(&first));
        let other = OTHER * probability;
        let mut parts =
            vec![(OUTGASSING * probability, late.clone()), (other, of_bells(&between)), (other, at_start.clone())];
        if let Some(straight) = mixture.part(|component| counted(component).is_none()) {
            parts.push((1.0 - probability, straight.ingress()));
        }
        let mut all = Distribution::mixed(&parts);
        if probability > 0.5 {
            all = all.reaching([late.quantile(0.025), at_start.quantile(0.975)]);
        }
        Some(Self { probability, late, at_start, all })
    }
}

/// Rate at the start of each term that counts as a bend, per unit of its amount; `None` where no term does.
fn counted(component: &Component) -> Option<[f64; 2]> {
    let (shape, solved) = (component.shape, &component.solved);
    let shared = solved.size - solved.terms;
    let amounts: f64 = (shared..solved.size).map(|i| solved.beta[i].max(0.0)).sum();
    // What falls is taken up anyhow, and how fast is the result.
    if !(solved.beta[INGRESS] + amounts > 0.0) {
        return None;
    }
    let substantial = amounts >= SUBSTANTIAL * (amounts + solved.beta[INGRESS].max(0.0));
    let mut rate = [0.0; 2];
    for (term, rate) in rate.iter_mut().enumerate().take(solved.terms) {
        let own = solved.beta[shared + term].max(0.0);
        if shape.time_constant(term) >= SLOW || (substantial && own >= OWN_SHARE * amounts) {
            *rate = shape.rate_at_start(term);
        }
    }
    rate.iter().any(|rate| *rate > 0.0).then_some(rate)
}

/// How much the rate falls in a window by one model, as a normal number that is not negative, and the ingress beside it.
struct Slackening {
    mean: f64,
    variance: f64,
    ingress: f64,
    ingress_variance: f64,
    covariance: f64,
    /// What a sink as quick as the slowest term takes from the content at the start.
    taken_at_start: f64,
}

impl Slackening {
    fn new(component: &Component, rate: &[f64; 2]) -> Self {
        let solved = &component.solved;
        let shared = solved.size - solved.terms;
        let mut gradient = [0.0; MOST];
        gradient[shared..solved.size].copy_from_slice(&rate[..solved.terms]);
        let times = |i: usize| (0..solved.size).map(|j| solved.covariance[i][j] * gradient[j]).sum::<f64>();
        let free: f64 = (0..solved.size).map(|i| gradient[i] * solved.beta[i]).sum();
        let free_variance: f64 = (0..solved.size).map(|i| gradient[i] * times(i)).sum::<f64>().max(1e-300);
        // Given that it is not negative: moments of a normal number cut at zero.
        let sd = free_variance.sqrt();
        let z = (free / sd).max(-8.0);
        let hazard = density(z) / phi(z);
        let shrunk = (hazard * (hazard + z)).clamp(0.0, 1.0);
        let slope = times(INGRESS) / free_variance;
        let variance = free_variance * (1.0 - shrunk);
        let ingress_variance = solved.covariance[INGRESS][INGRESS] - slope * slope * free_variance * shrunk;
        let (mean, ingress) = (free.max(-8.0 * sd) + sd * hazard, solved.beta[INGRESS] + slope * sd * hazard);
        let slowest =
            (0..solved.terms).filter(|term| rate[*term] > 0.0).map(|term| component.shape.time_constant(term));
        let share = mean / (mean + ingress.max(0.0)).max(1e-300);
        // A content at the start beyond the rise is what the sink, if any, stands in balance with.
        let rise: f64 = solved.beta[INGRESS] + solved.beta[shared..solved.size].iter().sum::<f64>();
        let start = if solved.beta[0] < rise { solved.beta[0].max(0.0) } else { 0.0 };
        let taken_at_start = share * start / slowest.fold(0.0, f64::max).max(1e-3);
        Self { mean, variance, ingress, ingress_variance, covariance: slope * variance, taken_at_start }
    }

    /// The ingress if a part of the bend, anything from none to all, is a sink, and if all of it is.
    fn bells(&self, weight: f64) -> [Bell; 2] {
        let fall = self.mean + self.taken_at_start;
        let bell = |share: f64, more: f64| {
            let variance = self.ingress_variance + 2.0 * share * self.covariance + share * share * self.variance + more;
            Bell { location: self.ingress + share * fall, scale: variance.max(1e-300).sqrt(), weight }
        };
        [bell(0.5, fall * fall / 12.0), bell(1.0, 0.0)]
    }
}
