//! The parts of the content, and how each is seen.

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
        let before = self.rise.map_or(self.lag_s > 0.0, |rise| rise.rest);
        2 + usize::from(before) + usize::from(self.law != Law::Exponential)
    }

    /// Index of the second amount of the law.
    pub(super) fn second(&self) -> Option<usize> {
        (self.law != Law::Exponential).then(|| self.len() - 1)
    }

    /// How much of each amount counts as the pure decay with τ, from the start of the window, that the content ends in.
    pub(super) fn as_decay_from_start(&self) -> Weights {
        let factor = |tau_s: f64| self.rise.map_or(1.0, |rise| rise.as_decay_from_start(tau_s));
        let mut weights = [0.0; MOST];
        if self.rise.is_some_and(|rise| rise.rest) {
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
}
