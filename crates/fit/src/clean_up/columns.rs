//! What a reading would show of each part of the content, for unit amounts.

use super::blocks::Block;

/// Time constants of one model, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shape {
    pub tau_s: f64,
    /// Of the analyser; 0 where it follows at once.
    pub lag_s: f64,
    /// Of a slow second term, where there is one.
    pub slow_s: Option<f64>,
}

/// Most parts: dose, floor, start of the reading, slow term.
pub(super) const MOST: usize = 4;
/// The dose left at the start of the window.
pub(super) const DOSE: usize = 0;
/// The floor.
pub(super) const FLOOR: usize = 1;

impl Shape {
    /// Number of parts.
    pub(super) fn len(&self) -> usize {
        2 + usize::from(self.lag_s > 0.0) + usize::from(self.slow_s.is_some())
    }

    /// Index of the slow term.
    pub(super) fn slow(&self) -> Option<usize> {
        self.slow_s.map(|_| self.len() - 1)
    }

    /// Mean over a block of each part: dose (as the lagging analyser shows it), floor, what the reading differed from the
    /// floor at the start, slow term.
    pub(super) fn parts(&self, block: &Block) -> [f64; MOST] {
        let mut parts = [0.0; MOST];
        parts[DOSE] = self.seen(block, self.tau_s);
        parts[FLOOR] = 1.0;
        if self.lag_s > 0.0 {
            parts[2] = block.mean_decay(self.lag_s);
        }
        if let (Some(index), Some(slow_s)) = (self.slow(), self.slow_s) {
            parts[index] = self.seen(block, slow_s);
        }
        parts
    }

    /// A decay with `tau_s` as an analyser shows it that stood at zero at the start.
    fn seen(&self, block: &Block, tau_s: f64) -> f64 {
        if self.lag_s <= 0.0 {
            return block.mean_decay(tau_s);
        }
        // At equal time constants the difference quotient is taken a little beside them; the limit is smooth.
        let ratio = if (self.lag_s / tau_s - 1.0).abs() < 1e-4 { 1.0002 } else { self.lag_s / tau_s };
        (block.mean_decay(tau_s) - block.mean_decay(ratio * tau_s)) / (1.0 - ratio)
    }
}
