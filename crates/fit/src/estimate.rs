//! What every estimator hands back: a value with its uncertainty, interval, distribution and budget.

use crate::uncertainty::Distribution;

/// A result with everything that is known about how far it can be trusted.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// The value, in the unit its field or function names.
    pub value: f64,
    /// Standard uncertainty, all contributions together.
    pub standard_uncertainty: f64,
    /// Two-sided 95 % interval (2.5 % in each tail); an end that does not exist is infinite.
    pub interval95: [f64; 2],
    /// Whether the value is an estimate, a bound, or nothing.
    pub kind: Kind,
    /// Effective degrees of freedom; infinite for a normal distribution.
    pub degrees_of_freedom: f64,
    /// State of knowledge about the quantity; conformance probabilities come from it.
    pub distribution: Distribution,
    /// Contributions to the standard uncertainty, largest first.
    pub budget: Vec<BudgetLine>,
    /// Pressure difference to the room at which the value holds, in Pa (negative below the room).
    pub at_pa: Option<f64>,
    /// One-sided 95 % upper confidence limit where a published method defines one.
    pub upper95: Option<f64>,
}

/// Kind of a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A value with a two-sided interval.
    Estimate,
    /// The quantity is at most the upper interval end.
    UpperBound,
    /// The quantity is at least the lower interval end.
    LowerBound,
    /// The data do not determine the quantity.
    NotDetermined,
}

/// One contribution to a standard uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetLine {
    /// What contributes, in words a technician knows.
    pub source: String,
    /// Its standard uncertainty in the unit of the result.
    pub standard_uncertainty: f64,
}

impl BudgetLine {
    /// A line of a budget.
    pub fn new(source: impl Into<String>, standard_uncertainty: f64) -> Self {
        Self { source: source.into(), standard_uncertainty: standard_uncertainty.abs() }
    }
}

impl Estimate {
    /// An estimate whose value, uncertainty and interval are those of its distribution (median, standard deviation,
    /// central 95 %).
    pub fn from_distribution(distribution: Distribution, budget: Vec<BudgetLine>) -> Self {
        Self {
            value: distribution.median(),
            standard_uncertainty: distribution.standard_deviation(),
            interval95: [distribution.quantile(0.025), distribution.quantile(0.975)],
            kind: Kind::Estimate,
            degrees_of_freedom: distribution.degrees_of_freedom(),
            distribution,
            budget: sorted(budget),
            at_pa: None,
            upper95: None,
        }
    }

    /// The same estimate, stated at a pressure difference to the room in Pa.
    #[must_use]
    pub fn at(mut self, pressure_difference_pa: f64) -> Self {
        self.at_pa = Some(pressure_difference_pa);
        self
    }

    /// The estimate of `factor` times the quantity, the factor being exact.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        let mut interval95 = self.interval95.map(|end| end * factor);
        if factor < 0.0 {
            interval95.reverse();
        }
        Self {
            value: self.value * factor,
            standard_uncertainty: self.standard_uncertainty * factor.abs(),
            interval95,
            kind: self.kind,
            degrees_of_freedom: self.degrees_of_freedom,
            distribution: self.distribution.scaled(factor),
            budget: self
                .budget
                .iter()
                .map(|line| BudgetLine::new(line.source.clone(), line.standard_uncertainty * factor))
                .collect(),
            at_pa: self.at_pa,
            upper95: self.upper95.map(|limit| limit * factor),
        }
    }

    /// Probability that a quantity which cannot be negative is at most `limit`, given the estimate
    /// (JCGM 106:2012, conformance probability, with the truth known to be at least zero).
    pub fn probability_at_most(&self, limit: f64) -> f64 {
        self.distribution.probability_at_most_given_not_negative(limit)
    }

    /// Whether a quantity that cannot be negative comes out so far below zero that something else was measured: noise does
    /// that once in three hundred tests of an enclosure without any leak.
    pub fn is_surely_negative(&self) -> bool {
        const SURE: f64 = 0.997;
        self.distribution.cdf(0.0) > SURE
    }

    /// The same as a bound that the quantity is at most: the upper end of the interval, which has no lower one.
    #[must_use]
    pub fn into_upper_bound(self) -> Self {
        let high = self.interval95[1];
        Self { kind: Kind::UpperBound, value: high, interval95: [f64::NEG_INFINITY, high], ..self }
    }

    /// The same as a bound that the quantity is at least: the lower end of the interval, which has no upper one.
    #[must_use]
    pub fn into_lower_bound(self) -> Self {
        let low = self.interval95[0];
        Self { kind: Kind::LowerBound, value: low, interval95: [low, f64::INFINITY], ..self }
    }

    /// The middle of what is known: the value of an estimate, the median of what a bound leaves possible.
    #[must_use]
    pub fn middle(&self) -> f64 {
        if self.kind == Kind::Estimate { self.value } else { self.distribution.median() }
    }

    /// Expanded uncertainty: half the width of the 95 % interval.
    pub fn expanded_uncertainty(&self) -> f64 {
        (self.interval95[1] - self.interval95[0]) / 2.0
    }
}

fn sorted(mut budget: Vec<BudgetLine>) -> Vec<BudgetLine> {
    budget.sort_by(|a, b| b.standard_uncertainty.total_cmp(&a.standard_uncertainty));
    budget
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scaling_by_a_negative_factor_keeps_the_interval_in_order() {
        let estimate = Estimate::from_distribution(Distribution::normal(2.0, 1.0), vec![BudgetLine::new("noise", 1.0)]);
        let scaled = estimate.scaled(-3.0);
        assert!(scaled.interval95[0] < scaled.value && scaled.value < scaled.interval95[1]);
        assert!((scaled.standard_uncertainty - 3.0).abs() < 1e-12);
    }
}
