//! How decisions come out where the truth is known.

use crate::{Estimate, Kind};

/// Decisions by guarded acceptance (JCGM 106:2012): pass from a conformance probability of 1 − risk, fail up to the risk.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Decisions {
    /// The limit counted as met.
    pub pass: usize,
    /// The limit counted as not met.
    pub fail: usize,
    /// Neither.
    pub undecided: usize,
}

impl Decisions {
    /// Decides whether the quantity of `estimate` is at most `limit`. A bound never fails a limit.
    pub fn decide(&mut self, estimate: &Estimate, limit: f64, risk: f64) {
        let conformance = estimate.probability_at_most(limit);
        if estimate.kind == Kind::NotDetermined {
            self.undecided += 1;
        } else if conformance >= 1.0 - risk {
            self.pass += 1;
        } else if conformance <= risk && estimate.kind == Kind::Estimate {
            self.fail += 1;
        } else {
            self.undecided += 1;
        }
    }

    /// Number of decisions.
    pub fn tests(&self) -> usize {
        self.pass + self.fail + self.undecided
    }
}

/// Decisions with the truth at the limit, at half and at twice of it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DecisionStudy {
    /// The truth is exactly the limit: a pass is a false one.
    pub at_the_limit: Decisions,
    /// The truth is half the limit: a pass is right.
    pub at_half_the_limit: Decisions,
    /// The truth is twice the limit: a fail is right.
    pub at_twice_the_limit: Decisions,
}

impl DecisionStudy {
    /// Asks for the decisions at each truth over limit.
    pub fn run(decisions: impl Fn(f64) -> Decisions) -> Self {
        Self { at_the_limit: decisions(1.0), at_half_the_limit: decisions(0.5), at_twice_the_limit: decisions(2.0) }
    }

    /// Adds the tests of another study.
    pub fn merge(&mut self, other: &Self) {
        for (own, other) in [
            (&mut self.at_the_limit, &other.at_the_limit),
            (&mut self.at_half_the_limit, &other.at_half_the_limit),
            (&mut self.at_twice_the_limit, &other.at_twice_the_limit),
        ] {
            own.pass += other.pass;
            own.fail += other.fail;
            own.undecided += other.undecided;
        }
    }
}
