//! The same enclosure tested with different boundaries: where the leak is.

use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate};

/// Difference of two estimates of one quantity, `with − without`, from tests with the same gauge.
///
/// Contributions that both budgets name and that come from the same instrument (`common`, such as "gauge zero" or
/// "gauge scale") are fully correlated: of them only the difference counts. All else is independent. The
/// distribution is the convolution of the two after the common parts are taken out.
pub fn difference(with: &Estimate, without: &Estimate, common: &[&str]) -> Estimate {
    let part = |estimate: &Estimate, source: &str| {
        estimate
            .budget
            .iter()
            .filter(|line| line.source == source)
            .map(|line| line.standard_uncertainty.powi(2))
            .sum::<f64>()
            .sqrt()
    };
    let mut budget = Vec::new();
    let (mut shared_with, mut shared_without, mut left) = (0.0, 0.0, 0.0);
    for source in common {
        let (a, b) = (part(with, source), part(without, source));
        shared_with += a * a;
        shared_without += b * b;
        // Both move with the result: the same relative error in both.
        let remaining = (a * with.value.signum() - b * without.value.signum()).abs();
        left += remaining * remaining;
        if a > 0.0 || b > 0.0 {
            budget.push(BudgetLine::new(format!("{source}, common to both"), remaining));
        }
    }
    let own = |estimate: &Estimate, shared: f64| {
        let variance = (estimate.standard_uncertainty.powi(2) - shared).max(0.0);
        narrowed(&estimate.distribution, estimate.standard_uncertainty, variance.sqrt())
    };
    let (a, b) = (own(with, shared_with), own(without, shared_without));
    budget.push(BudgetLine::new("test with the part", a.standard_deviation()));
    budget.push(BudgetLine::new("test without the part", b.standard_deviation()));
    let mut result = Estimate::from_distribution(a.minus(&b).with_normal_error(left.sqrt()), budget);
    result.at_pa = with.at_pa;
    result
}

/// The same shape about the same median with another standard deviation.
fn narrowed(distribution: &Distribution, from: f64, to: f64) -> Distribution {
    if !(from > 0.0 && from.is_finite()) {
        return distribution.clone();
    }
    let median = distribution.median();
    distribution.shifted(-median).scaled((to / from).max(1e-6)).shifted(median)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(value: f64, noise: f64, scale: f64) -> Estimate {
        Estimate::from_distribution(
            Distribution::normal(value, noise.hypot(scale)),
            vec![BudgetLine::new("noise", noise), BudgetLine::new("gauge scale", scale)],
        )
    }

    #[test]
    fn independent_parts_add_and_common_ones_cancel() {
        let result = difference(&estimate(5.0, 0.3, 0.5), &estimate(3.0, 0.4, 0.5), &["gauge scale"]);
        assert!((result.value - 2.0).abs() < 1e-3);
        assert!((result.standard_uncertainty - 0.5).abs() < 5e-3, "{}", result.standard_uncertainty);
    }

    #[test]
    fn without_common_parts_all_adds_in_quadrature() {
        let result = difference(&estimate(5.0, 0.3, 0.4), &estimate(3.0, 0.3, 0.4), &[]);
        assert!((result.standard_uncertainty - 0.5_f64.sqrt()).abs() < 5e-3);
    }
}
