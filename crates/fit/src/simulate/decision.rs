//! How decisions come out where the truth is known.

use std::ops::Range;

use super::{Hold, Random, Room, evaluate_simulated};
use crate::decision::{Decision, Found, Rule};
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
        let decision = Rule::GuardedAcceptance { risk }.decide(&Found {
            conformance_probability: estimate.probability_at_most(limit),
            probability_by_readings: estimate.distribution.cdf(limit),
            is_within: estimate.value <= limit,
            expanded_uncertainty: estimate.expanded_uncertainty(),
            limit,
        });
        match decision {
            Decision::Pass if estimate.kind != Kind::NotDetermined => self.pass += 1,
            Decision::Fail if estimate.kind == Kind::Estimate => self.fail += 1,
            _ => self.undecided += 1,
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

    /// Holds in a room, decided with this risk, whose limit is a leak of 5·10⁻⁴ 1/h; the truth is a multiple of it. Settling
    /// and the memory of the thermometer's wander are drawn anew for each seed. A hold that cannot be evaluated is undecided.
    pub fn of_holds(room: Room, hours: f64, wander_k: f64, risk: f64, seeds: Range<u64>) -> Self {
        Self::run(|truth_over_limit| {
            let mut decisions = Decisions::default();
            for seed in seeds.clone() {
                let mut random = Random::new(seed ^ 0xdec1);
                let mut hold = Hold::ordinary(room, 3600.0 * hours, 5e-4 * truth_over_limit);
                hold.settling_k = random.uniform(0.0, 0.6);
                hold.settling_s = random.uniform(300.0, 1200.0);
                hold.thermometers[0].wander_k = wander_k;
                hold.thermometers[0].wander_memory_s = 600.0 * 12.0_f64.powf(random.uniform(0.0, 1.0));
                let simulated = hold.simulate(seed);
                let settings = hold.settings();
                let truth = simulated.truth.hourly_leak_rate(settings.reference_pressure_pa);
                match evaluate_simulated(&simulated, &hold, &settings) {
                    Ok(found) => decisions.decide(&found.hourly_leak_rate, truth / truth_over_limit, risk),
                    Err(_) => decisions.undecided += 1,
                }
            }
            decisions
        })
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
