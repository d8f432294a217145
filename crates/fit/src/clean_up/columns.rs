//! What a reading would show of each part of the content, for unit amounts.

use super::blocks::Block;
use super::rise::Rise;

/// Time constants of one model, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    pub tau_s: f64,
    /// Of the analyser; 0 where it follows at once.
    pub lag_s: f64,
    /// Of a second term, where there is one.
    pub second_s: Option<f64>,
    /// How the dose came in, where the window begins before it.
    pub rise: Option<Rise>,
}

/// Most parts: dose, floor, what was there at the start, second term.
pub(super) const MOST: usize = 4;
/// The dose: what is left of it at the start of the window, or all of it where the window begins before it.
pub(super) const DOSE: usize = 0;
/// The floor.
pub(super) const FLOOR: usize = 1;

impl Shape {
    /// Number of parts.
    pub(super) fn len(&self) -> usize {
        2 + usize::from(self.lag_s > 0.0 || self.rise.is_some()) + usize::from(self.second_s.is_some())
    }

    /// Index of the second term.
    pub(super) fn second(&self) -> Option<usize> {
        self.second_s.map(|_| self.len() - 1)
    }

    /// Mean over a block of each part: dose (as the lagging analyser shows it), floor, what the reading differed from the
    /// floor at the start (before a dose: the rest of earlier ones), second term.
    pub(super) fn parts(&self, block: &Block) -> [f64; MOST] {
        let mut parts = [0.0; MOST];
        parts[DOSE] = self.seen(block, self.tau_s);
        parts[FLOOR] = 1.0;
        if self.rise.is_some() {
            parts[2] = block.mean_decay(self.tau_s);
        } else if self.lag_s > 0.0 {
            parts[2] = block.mean_decay(self.lag_s);
        }
        if let (Some(index), Some(second_s)) = (self.second(), self.second_s) {
            parts[index] = self.seen(block, second_s);
        }
        parts
    }

    /// Amounts that pure decays from the start of the window would need to end like unit amounts of dose and second term.
    pub(super) fn as_decays_from_start(&self) -> [f64; 2] {
        let of = |tau_s: f64| self.rise.map_or(1.0, |rise| rise.as_decay_from_start(tau_s));
        [of(self.tau_s), self.second_s.map_or(1.0, of)]
    }

    /// A decay with `tau_s` as an analyser shows it that stood at zero before.
    fn seen(&self, block: &Block, tau_s: f64) -> f64 {
        if let Some(rise) = &self.rise {
            return rise.response(block, tau_s, self.lag_s);
        }
        if self.lag_s <= 0.0 {
            return block.mean_decay(tau_s);
        }
        // At equal time constants the difference quotient is taken a little beside them; the limit is smooth.
        let ratio = if (self.lag_s / tau_s - 1.0).abs() < 1e-4 { 1.0002 } else { self.lag_s / tau_s };
        (block.mean_decay(tau_s) - block.mean_decay(ratio * tau_s)) / (1.0 - ratio)
    }
}
