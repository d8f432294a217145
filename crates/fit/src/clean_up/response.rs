//! The analyser's response: what is known of it before, and the values over which the result is averaged.

use super::Lag;
use super::blocks::Blocks;
use super::rise::Path;
use crate::ppm_rise::Quantity;

/// Time constants of analysers of trace gases in enclosures where none is stated, s.
const USUAL_LAG_S: [f64; 2] = [1.0, 180.0];
/// Relative standard uncertainty of an analyser's stated response without one of its own.
pub(crate) const RESPONSE_UNCERTAINTY: f64 = 0.1;
/// Standard uncertainties on each side of a stated response.
const REACH: f64 = 3.0;

/// A time constant of the analyser with its prior weight, and the rise that goes with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LagNode {
    pub lag_s: f64,
    pub weight: f64,
    /// Shortest time constant of the gas that is thought possible beside it, s.
    pub least_tau_s: f64,
    pub rise: Option<Path>,
}

/// A time constant of the analyser with what fits best there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Node<F> {
    pub lag_s: f64,
    /// Prior probability, up to a factor.
    pub weight: f64,
    /// Log likelihood, with the prior density.
    log: f64,
    pub fitted: F,
}

/// Index of the most probable node.
pub(super) fn best<F>(nodes: &[Node<F>]) -> Option<usize> {
    (0..nodes.len()).max_by(|a, b| nodes[*a].log.total_cmp(&nodes[*b].log))
}

/// What is known of the response before the readings are looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum LagPrior {
    /// One value, s; 0 for an immediate response.
    Exactly(f64),
    /// Log-normal: centre in s and relative standard uncertainty.
    Stated(f64, f64),
    /// Anything that analysers do, evenly in the logarithm.
    Unknown,
}

impl LagPrior {
    pub(super) fn new(lag: Lag, blocks: &Blocks) -> Self {
        match lag {
            Lag::Exactly(lag_s) | Lag::Stated(Quantity { value: lag_s, .. }) if lag_s < blocks.span_s / 3000.0 => {
                Self::Exactly(0.0)
            }
            Lag::Exactly(lag_s) => Self::Exactly(lag_s),
            Lag::Stated(lag) => {
                let given = lag.standard_uncertainty / lag.value;
                Self::Stated(lag.value, if given > 0.0 { given } else { RESPONSE_UNCERTAINTY })
            }
            Lag::Unknown => Self::Unknown,
        }
    }

    /// Shortest time constant of the gas beside a response, s. Where none is stated the analyser is taken to be quicker than
    /// the gas: the two act alike and would change places.
    pub(super) fn least_tau_s(self, lag_s: f64) -> f64 {
        if self == Self::Unknown { lag_s } else { 0.0 }
    }

    /// A node at a response, for the decay alone.
    pub(super) fn at(self, lag_s: f64) -> LagNode {
        LagNode { lag_s, weight: 1.0, least_tau_s: self.least_tau_s(lag_s), rise: None }
    }

    /// A node with its prior weight, without its fit.
    pub(super) fn weighed<F>(self, node: &Node<F>, rise: Option<&Path>) -> LagNode {
        LagNode { weight: node.weight, rise: rise.copied(), ..self.at(node.lag_s) }
    }

    pub(super) fn middle_s(self) -> f64 {
        match self {
            Self::Exactly(middle_s) | Self::Stated(middle_s, _) => middle_s,
            Self::Unknown => (USUAL_LAG_S[0] * USUAL_LAG_S[1]).sqrt(),
        }
    }

    /// A few values all over what is thought possible, s.
    pub(super) fn spread(self) -> Vec<f64> {
        match self {
            Self::Exactly(lag_s) => vec![lag_s],
            Self::Stated(middle_s, relative) => [-1.5, 0.0, 1.5].map(|by| middle_s * (by * relative).exp()).into(),
            Self::Unknown => {
                (0..6).map(|i| USUAL_LAG_S[0] * (USUAL_LAG_S[1] / USUAL_LAG_S[0]).powf(f64::from(i) / 5.0)).collect()
            }
        }
    }

    /// Steps in the logarithm by which the best of these values is looked for more closely.
    pub(super) fn finer_steps(self) -> [f64; 3] {
        let first = match self {
            Self::Exactly(_) => return [0.0; 3],
            Self::Stated(_, relative) => 1.5 * relative,
            Self::Unknown => 0.2 * (USUAL_LAG_S[1] / USUAL_LAG_S[0]).ln(),
        };
        [0.5, 0.25, 0.125].map(|part| part * first)
    }

    /// Log density over the logarithm of the response.
    pub(super) fn log_density(self, lag_s: f64) -> f64 {
        match self {
            Self::Stated(middle_s, relative) => -0.5 * ((lag_s / middle_s).ln() / relative).powi(2),
            Self::Exactly(_) | Self::Unknown => 0.0,
        }
    }

    /// The nodes that matter. `fit` gets a response and what fitted best beside it, and returns log likelihood and fit.
    ///
    /// Evenly spread at first, in the logarithm; then gaps are halved where most of the weight lies, which may be in several
    /// places.
    pub(super) fn nodes<F>(self, mut fit: impl FnMut(f64, Option<&F>) -> Option<(f64, F)>) -> Vec<Node<F>> {
        const FIRST: u32 = 9;
        const MOST: usize = 40;
        /// A gap with no more than this share of the weight is fine enough.
        const FINE: f64 = 0.1;
        let mut node = |lag_s: f64, near: Option<&F>| {
            let (log, fitted) = fit(lag_s, near)?;
            Some(Node { lag_s, weight: 1.0, log: log + self.log_density(lag_s), fitted })
        };
        let [from_s, to_s] = match self {
            Self::Exactly(lag_s) => return node(lag_s, None).into_iter().collect(),
            Self::Stated(middle_s, relative) => [-REACH, REACH].map(|by| middle_s * (by * relative).exp()),
            Self::Unknown => USUAL_LAG_S,
        };
        let mut nodes: Vec<Node<F>> = Vec::new();
        for i in 0..FIRST {
            let lag_s = from_s * (to_s / from_s).powf(f64::from(i) / f64::from(FIRST - 1));
            nodes.extend(node(lag_s, None));
        }
        // What fits best at one response may be a better start at the next than a fresh one.
        for i in (1..nodes.len()).chain((0..nodes.len().max(1) - 1).rev()) {
            for near in [i.checked_sub(1), (i + 1 < nodes.len()).then_some(i + 1)].into_iter().flatten() {
                if let Some(better) = node(nodes[i].lag_s, Some(&nodes[near].fitted)).filter(|n| n.log > nodes[i].log) {
                    nodes[i] = better;
                }
            }
        }
        while nodes.len() < MOST {
            let Some(gap) = heaviest_gap(&nodes).filter(|(_, share)| *share > FINE).map(|(gap, _)| gap) else { break };
            let near = if nodes[gap].log > nodes[gap + 1].log { gap } else { gap + 1 };
            let lag_s = (nodes[gap].lag_s * nodes[gap + 1].lag_s).sqrt();
            let Some(between) = node(lag_s, Some(&nodes[near].fitted)) else { break };
            nodes.insert(gap + 1, between);
        }
        weigh(&mut nodes, self);
        nodes
    }
}

/// The gap between nodes that may hold most of the weight, and its share.
fn heaviest_gap<F>(nodes: &[Node<F>]) -> Option<(usize, f64)> {
    let top = nodes.iter().map(|node| node.log).fold(f64::NEG_INFINITY, f64::max);
    let held = |pair: &[Node<F>]| {
        let density = |node: &Node<F>| (node.log - top).exp();
        let width = (pair[1].lag_s / pair[0].lag_s).ln();
        width * density(&pair[0]).max(density(&pair[1]))
    };
    let all: f64 = nodes.windows(2).map(held).sum();
    let gaps = nodes.windows(2).map(held).enumerate();
    gaps.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(gap, mass)| (gap, mass / all))
}

/// Prior weights by the trapezoidal rule; nodes that do not matter go.
fn weigh<F>(nodes: &mut Vec<Node<F>>, prior: LagPrior) {
    const DEPTH: f64 = 16.0;
    let logs: Vec<f64> = nodes.iter().map(|node| node.lag_s.ln()).collect();
    for (i, node) in nodes.iter_mut().enumerate() {
        let width = logs[(i + 1).min(logs.len() - 1)] - logs[i.saturating_sub(1)];
        node.weight = prior.log_density(node.lag_s).exp() * width.max(1e-12);
    }
    let top = nodes.iter().map(|node| node.log).fold(f64::NEG_INFINITY, f64::max);
    nodes.retain(|node| node.log > top - DEPTH);
}
