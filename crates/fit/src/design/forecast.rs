//! What the reports of simulated tests foretell.

use super::Demand;
use crate::decision::{Decision, Found};
use crate::{BudgetLine, Estimate};

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
            passes_when_tight: chance(share * demand.limit, Decision::Pass),
            passes_at_the_limit: chance(demand.limit, Decision::Pass),
            fails_when_leaky: chance(demand.limit / share, Decision::Fail),
            smallest_leak: mean(&|r| {
                let of = &r.estimate.distribution;
                of.quantile(0.95) - of.quantile(0.05)
            }),
            budget: budget(reported),
            records: reported.len(),
        })
    }
}

/// Probability of a decision when the truth is `truth`. Every error, in units of the spread reported beside it, is put to
/// every report, with either sign: how far off an estimate is in these units hardly depends on how wide its interval
/// came out. So some thirty records tell a probability as well as some hundred counted verdicts would.
fn probability(demand: &Demand, reported: &[Reported], truth: f64, wanted: Decision) -> f64 {
    let spreads: Vec<f64> = reported.iter().map(Reported::spread).collect();
    let scores: Vec<f64> = reported.iter().zip(&spreads).map(|(report, spread)| report.error / spread).collect();
    let mut hits = 0;
    for (report, spread) in reported.iter().zip(&spreads) {
        for error in scores.iter().flat_map(|score| [score * spread, -score * spread]) {
            hits += usize::from(decision(demand, &report.estimate, truth + error) == wanted);
        }
    }
    hits as f64 / (2 * reported.len() * reported.len()) as f64
}

/// The decision on an estimate of this shape that came out at `value`.
fn decision(demand: &Demand, shape: &Estimate, value: f64) -> Decision {
    let shifted = shape.distribution.shifted(value - shape.value);
    demand.rule.decide(&Found {
        conformance_probability: shifted.probability_at_most_given_not_negative(demand.limit),
        probability_by_readings: shifted.cdf(demand.limit),
        is_within: value <= demand.limit,
        expanded_uncertainty: shape.expanded_uncertainty(),
        limit: demand.limit,
    })
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
    use crate::decision::Rule;
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
        assert_eq!(decision(&demand, &estimate, 1.0 - 0.0165), Decision::Pass);
        assert_eq!(decision(&demand, &estimate, 1.0 - 0.0164), Decision::Undecided);
        assert_eq!(decision(&demand, &estimate, 1.0 + 0.0165), Decision::Fail);
    }
}
