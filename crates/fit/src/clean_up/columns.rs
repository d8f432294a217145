//! What a reading would show of each part of the content, for unit amounts.

use super::blocks::Block;
use super::loading::LoadedDecay;
use super::rise::Rise;

/// One model of how the content comes down and how it is seen; times in s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    pub tau_s: f64,
    /// Of the analyser; 0 where it follows at once.
    pub lag_s: f64,
    pub law: Law,
    /// How the dose came in, where the window begins before it.
    pub rise: Option<Rise>,
}

/// How a dose comes down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Law {
    /// As one exponential.
    Exponential,
    /// With a slow second one, whose time constant is so many times the first.
    SlowTail(f64),
    /// More slowly at high content; the second amount is the dose times what its load exceeds that of the curve by.
    Loading(LoadedDecay),
}

/// Most parts: dose, floor, what was there at the start, second amount of the law.
pub(super) const MOST: usize = 4;
/// The dose: what is left of it at the start of the window, or all of it where the window begins before it.
pub(super) const DOSE: usize = 0;
/// The floor.
pub(super) const FLOOR: usize = 1;
/// What was there at the start, where there is such a part.
pub(super) const BEFORE: usize = 2;

/// Amounts by which parts count.
pub(super) type Weights = [f64; MOST];

impl Shape {
    /// Number of parts.
    pub(super) fn len(&self) -> usize {
        let before = self.lag_s > 0.0 || self.rise.is_some();
        2 + usize::from(before) + usize::from(self.law != Law::Exponential)
    }

    /// Index of the second amount of the law.
    pub(super) fn second(&self) -> Option<usize> {
        (self.law != Law::Exponential).then(|| self.len() - 1)
    }

    /// Mean over a block of each part: dose (as the lagging analyser shows it), floor, what the reading differed from the
    /// floor at the start (before a dose: the rest of earlier ones), second amount.
    pub(super) fn parts(&self, block: &Block) -> [f64; MOST] {
        let mut parts = [0.0; MOST];
        parts[FLOOR] = 1.0;
        if self.rise.is_some() {
            parts[BEFORE] = block.mean_decay(self.tau_s);
        } else if self.lag_s > 0.0 {
            parts[BEFORE] = block.mean_decay(self.lag_s);
        }
        let last = self.len() - 1;
        let rise = self.rise.as_ref().map(|rise| rise.seen(block, self.lag_s));
        let seen = |tau_s: f64| rise.as_ref().map_or_else(|| self.seen(block, tau_s), |rise| rise.response(tau_s));
        match &self.law {
            Law::Exponential => parts[DOSE] = seen(self.tau_s),
            Law::SlowTail(ratio) => {
                parts[DOSE] = seen(self.tau_s);
                parts[last] = seen(ratio * self.tau_s);
            }
            Law::Loading(decay) => {
                for (k, content, slope) in decay.terms() {
                    let seen = seen(self.tau_s / k);
                    parts[DOSE] += content * seen;
                    parts[last] += slope * seen;
                }
            }
        }
        parts
    }

    /// How much of each amount counts as the pure decay with τ, from the start of the window, that the content ends in.
    pub(super) fn as_decay_from_start(&self) -> Weights {
        let factor = |tau_s: f64| self.rise.map_or(1.0, |rise| rise.as_decay_from_start(tau_s));
        let mut weights = [0.0; MOST];
        if self.rise.is_some() {
            weights[BEFORE] = 1.0;
        }
        weights[DOSE] = factor(self.tau_s);
        if let Law::Loading(decay) = &self.law {
            weights[self.len() - 1] = decay.slope[0] * weights[DOSE];
            weights[DOSE] *= decay.content[0];
        }
        weights
    }

    /// The slow tail as a pure decay from the start of the window.
    pub(super) fn slow_tail(&self, amounts: &[f64; MOST]) -> f64 {
        let Law::SlowTail(ratio) = self.law else { return 0.0 };
        let factor = self.rise.map_or(1.0, |rise| rise.as_decay_from_start(ratio * self.tau_s));
        factor * amounts[self.len() - 1]
    }

    /// Height of the dose, drawn back like the pure decay `ending` that the content ends in.
    pub(super) fn height(&self, ending: f64, amounts: &[f64; MOST]) -> f64 {
        self.load(amounts).map_or(ending, |load| ending * (-load).exp())
    }

    /// Load of the dose with these amounts, where the law has one: dose over the content at which the removal is halved.
    pub(super) fn load(&self, amounts: &[f64; MOST]) -> Option<f64> {
        match &self.law {
            Law::Loading(decay) => Some(decay.load + amounts[self.len() - 1] / amounts[DOSE]),
            Law::Exponential | Law::SlowTail(_) => None,
        }
    }

    /// A decay with `tau_s` from the start of the window, as an analyser shows it that stood at zero before.
    fn seen(&self, block: &Block, tau_s: f64) -> f64 {
        if self.lag_s <= 0.0 {
            return block.mean_decay(tau_s);
        }
        // At equal time constants the difference quotient is taken a little beside them; the limit is smooth.
        let ratio = if (self.lag_s / tau_s - 1.0).abs() < 1e-4 { 1.0002 } else { self.lag_s / tau_s };
        (block.mean_decay(tau_s) - block.mean_decay(ratio * tau_s)) / (1.0 - ratio)
    }
}
