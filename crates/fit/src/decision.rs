//! Decision rules on a limit (JCGM 106:2012; guard bands as in ISO 14253-1).

/// Decision rule on a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// Passes when the value is within the limit, fails when it is not; undecided unless the uncertainty is small against
    /// the limit.
    Simple {
        /// Largest expanded uncertainty as a share of the limit.
        max_uncertainty: f64,
    },
    /// Passes when the conformance probability is at least 1 − risk, fails when it is at most the risk by the readings alone as
    /// well, else undecided.
    GuardedAcceptance {
        /// Consumer's risk.
        risk: f64,
    },
    /// Fails when the conformance probability is at most the risk by the readings alone as well, else passes.
    GuardedRejection {
        /// Producer's risk of a single decision.
        risk: f64,
    },
}

/// What a rule looks at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Probability that the quantity keeps its limit, 0 to 1.
    pub conformance_probability: f64,
    /// The same by the readings alone, without what is known beforehand (that a leak is not negative): readings that tell
    /// nothing show no limit exceeded.
    pub probability_by_readings: f64,
    /// Whether the value itself lies within the limit.
    pub is_within: bool,
    /// Expanded uncertainty (half the 95 % interval), in the unit of the limit.
    pub expanded_uncertainty: f64,
    /// The limit.
    pub limit: f64,
}

/// What a rule comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// The limit counts as met.
    Pass,
    /// The limit counts as not met.
    Fail,
    /// Neither.
    Undecided,
}

impl Rule {
    /// The rule's name, as plans write it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Simple { .. } => "simple",
            Self::GuardedAcceptance { .. } => "guarded-acceptance",
            Self::GuardedRejection { .. } => "guarded-rejection",
        }
    }

    /// Decides. An uncertainty that is not a number counts as too large.
    pub fn decide(self, found: &Found) -> Decision {
        let conformance = found.conformance_probability;
        let is_exceeded = |risk: f64| conformance <= risk && found.probability_by_readings <= risk;
        match self {
            Self::Simple { max_uncertainty } if found.expanded_uncertainty <= max_uncertainty * found.limit.abs() => {
                if found.is_within {
                    Decision::Pass
                } else {
                    Decision::Fail
                }
            }
            Self::GuardedAcceptance { risk } if conformance >= 1.0 - risk => Decision::Pass,
            Self::GuardedAcceptance { risk } | Self::GuardedRejection { risk } if is_exceeded(risk) => Decision::Fail,
            Self::Simple { .. } | Self::GuardedAcceptance { .. } => Decision::Undecided,
            Self::GuardedRejection { .. } => Decision::Pass,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decided(rule: Rule, conformance_probability: f64, expanded_uncertainty: f64) -> Decision {
        let is_within = conformance_probability > 0.5;
        rule.decide(&Found {
            conformance_probability,
            probability_by_readings: conformance_probability,
            is_within,
            expanded_uncertainty,
            limit: -1.0,
        })
    }

    #[test]
    fn readings_that_tell_nothing_fail_no_limit() {
        // A leak known to be positive, a hundred times more uncertain than the limit, most likely lies above it.
        let found = Found {
            conformance_probability: 0.01,
            probability_by_readings: 0.5,
            is_within: true,
            expanded_uncertainty: 100.0,
            limit: 1.0,
        };
        assert_eq!(Rule::GuardedAcceptance { risk: 0.05 }.decide(&found), Decision::Undecided);
        assert_eq!(Rule::GuardedRejection { risk: 0.05 }.decide(&found), Decision::Pass);
    }

    #[test]
    fn guarded_acceptance_passes_and_fails_only_on_good_evidence() {
        let rule = Rule::GuardedAcceptance { risk: 0.05 };
        let decisions = [0.96, 0.5, 0.04].map(|conformance| decided(rule, conformance, 9.0));
        assert_eq!(decisions, [Decision::Pass, Decision::Undecided, Decision::Fail]);
    }

    #[test]
    fn guarded_rejection_fails_only_on_good_evidence() {
        let rule = Rule::GuardedRejection { risk: 0.05 };
        let decisions = [0.96, 0.06, 0.04].map(|conformance| decided(rule, conformance, 9.0));
        assert_eq!(decisions, [Decision::Pass, Decision::Pass, Decision::Fail]);
    }

    #[test]
    fn the_simple_rule_decides_by_the_value_where_its_uncertainty_is_small_enough() {
        let rule = Rule::Simple { max_uncertainty: 0.25 };
        assert_eq!(decided(rule, 0.6, 0.25), Decision::Pass);
        assert_eq!(decided(rule, 0.4, 0.25), Decision::Fail);
        assert_eq!(decided(rule, 0.999, 0.26), Decision::Undecided);
        assert_eq!(decided(rule, 0.999, f64::NAN), Decision::Undecided);
    }
}
