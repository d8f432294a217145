//! What the reports of simulated tests foretell.

use super::Demand;
use crate::{BudgetLine, Estimate};

/// Decision rule on a limit that must not be exceeded (JCGM 106:2012; the rules of plans).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// Passes when the value is within the limit and the expanded uncertainty at most this share of the limit.
    Simple {
        /// Largest expanded uncertainty over the limit.
        max_uncertainty: f64,
    },
    /// Passes when the conformance probability is at least 1 − risk, fails when it is at most the risk.
    GuardedAcceptance {
        /// Consumer's risk.
        risk: f64,
    },
    /// Fails when the conformance probability is at most the risk, else passes.
    GuardedRejection {
        /// Producer's risk of a single decision.
        risk: f64,
    },
}

/// One report of the evaluation, with its error.
#[derive(Debug, Clone)]
pub(crate) struct Reported {
    pub(crate) estimate: Estimate,
    /// Estimate minus truth.
    pub(crate) error: f64,
}

/// Prediction for a test, in the unit of the limited quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// Expanded uncertainty (half the 95 % interval) that will be reported on the tight enclosure: mean.
    pub expanded_uncertainty: f64,
    /// The same: in eight of ten tests it lies between these.
    pub expanded_uncertainty_range: [f64; 2],
    /// Standard uncertainty that will be reported: root mean square.
    pub standard_uncertainty: f64,
    /// Root mean square of estimate minus truth.
    pub error: f64,
    /// Probability that the tight enclosure passes.
    pub passes_when_tight: f64,
    /// Probability that an enclosure exactly at the limit passes.
    pub passes_at_the_limit: f64,
    /// Probability that the leaky enclosure fails.
    pub fails_when_leaky: f64,
    /// Smallest leak that is told from none in 95 of 100 tests, at 5 % false alarms.
    pub smallest_leak: f64,
    /// Root mean square of each line of the budget, largest first.
    pub budget: Vec<BudgetLine>,
    /// Records behind it.
    pub records: usize,
}

impl Forecast {
    /// From reports on the tight enclosure; `None` where there are fewer than four.
    pub(crate) fn new(demand: &Demand, reported: &[Reported]) -> Option<Self> {
        if reported.len() < 4 {
            return None;
        }
        let n = reported.len() as f64;
        let mean = |value: &dyn Fn(&Reported) -> f64| reported.iter().map(value).sum::<f64>() / n;
        let mut widths: Vec<f64> = reported.iter().map(|r| r.estimate.expanded_uncertainty()).collect();
        widths.sort_by(f64::total_cmp);
        let at = |share: f64| widths[(share * (n - 1.0)).round() as usize];
        let chance = |truth: f64, wanted| probability(demand, reported, truth, wanted);
        let share = demand.tight_share;
        Some(Self {
            expanded_uncertainty: mean(&|r| r.estimate.expanded_uncertainty()),
            expanded_uncertainty_range: [at(0.1), at(0.9)],
            standard_uncertainty: mean(&|r| r.estimate.standard_uncertainty.powi(2)).sqrt(),
            error: mean(&|r| r.error.powi(2)).sqrt(),
            passes_when_tight: chance(share * demand.limit, Verdict::Pass),
            passes_at_the_limit: chance(demand.limit, Verdict::Pass),
            fails_when_leaky: chance(demand.limit / share, Verdict::Fail),
            smallest_leak: mean(&|r| {
                let of = &r.estimate.distribution;
                of.quantile(0.95) - of.quantile(0.05)
            }),
            budget: budget(reported),
            records: reported.len(),
        })
    }
}

/// Probability of a verdict when the truth is `truth`. Every error, in units of the spread reported beside it, is put to
/// every report, with either sign: how far off an estimate is in these units hardly depends on how wide its interval
/// came out. So some thirty records tell a probability as well as some hundred counted verdicts would.
fn probability(demand: &Demand, reported: &[Reported], truth: f64, wanted: Verdict) -> f64 {
    let spreads: Vec<f64> = reported.iter().map(Reported::spread).collect();
    let scores: Vec<f64> = reported.iter().zip(&spreads).map(|(report, spread)| report.error / spread).collect();
    let mut hits = 0;
    for (report, spread) in reported.iter().zip(&spreads) {
        for error in scores.iter().flat_map(|score| [score * spread, -score * spread]) {
            hits += usize::from(verdict(demand, &report.estimate, truth + error) == wanted);
        }
    }
    hits as f64 / (2 * reported.len() * reported.len()) as f64
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Pass,
    Fail,
    Undecided,
}

/// The verdict on an estimate of this shape that came out at `value`.
fn verdict(demand: &Demand, shape: &Estimate, value: f64) -> Verdict {
    let limit = demand.limit;
    let conformance = || {
        let by = value - shape.value;
        shape.distribution.shifted(by).probability_at_most_given_not_negative(limit)
    };
    match demand.rule {
        Rule::Simple { max_uncertainty } if shape.expanded_uncertainty() > max_uncertainty * limit => {
            Verdict::Undecided
        }
        Rule::Simple { .. } if value <= limit => Verdict::Pass,
        Rule::Simple { .. } => Verdict::Fail,
        Rule::GuardedAcceptance { risk } => match conformance() {
            probability if probability >= 1.0 - risk => Verdict::Pass,
            probability if probability <= risk => Verdict::Fail,
            _ => Verdict::Undecided,
        },
        Rule::GuardedRejection { risk } if conformance() <= risk => Verdict::Fail,
        Rule::GuardedRejection { .. } => Verdict::Pass,
    }
}

impl Reported {
    /// Half the central 68 %: unlike the standard deviation it does not hang on a suspicion of a gross error, which
    /// stretches the tails alone.
    fn spread(&self) -> f64 {
        let of = &self.estimate.distribution;
        (0.5 * (of.quantile(0.84) - of.quantile(0.16))).max(f64::MIN_POSITIVE)
    }
}

/// Root mean square of every budget line.
fn budget(reported: &[Reported]) -> Vec<BudgetLine> {
    let mut lines: Vec<BudgetLine> = Vec::new();
    for line in reported.iter().flat_map(|r| &r.estimate.budget) {
        let square = line.standard_uncertainty.powi(2) / reported.len() as f64;
        match lines.iter_mut().find(|known| known.source == line.source) {
            Some(known) => known.standard_uncertainty += square,
            None => lines.push(BudgetLine::new(line.source.clone(), square)),
        }
    }
    for line in &mut lines {
        line.standard_uncertainty = line.standard_uncertainty.sqrt();
    }
    lines.sort_by(|a, b| b.standard_uncertainty.total_cmp(&a.standard_uncertainty));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::Limited;
    use crate::uncertainty::Distribution;

    #[test]
    fn a_normal_estimate_passes_up_to_its_guard_band() {
        // Far from zero the guard band of a 5 % risk is 1.645 standard uncertainties (JCGM 106:2012, 8.3.2).
        let demand = Demand {
            limited: Limited::HourlyLeakRate,
            limit: 1.0,
            rule: Rule::GuardedAcceptance { risk: 0.05 },
            producers_risk: 0.05,
            tight_share: 0.5,
            longest_s: 3600.0,
        };
        let estimate = Estimate::from_distribution(Distribution::normal(0.3, 0.01), Vec::new());
        assert_eq!(verdict(&demand, &estimate, 1.0 - 0.0165), Verdict::Pass);
        assert_eq!(verdict(&demand, &estimate, 1.0 - 0.0164), Verdict::Undecided);
        assert_eq!(verdict(&demand, &estimate, 1.0 + 0.0165), Verdict::Fail);
    }
}
