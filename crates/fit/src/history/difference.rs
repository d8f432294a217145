//! The last result against the one before.

use crate::uncertainty::Distribution;

/// A part of a result's uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// What it comes from; a part of both results with the same source that is `lasting` is the same error in both.
    pub source: String,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Whether the error lasts from one test to the other: the same instrument with the same calibration, the volume.
    pub lasting: bool,
}

/// How far two results differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Present minus last.
    pub value: f64,
    /// Its standard uncertainty, errors that both share taken out.
    pub standard_uncertainty: f64,
    /// Two-sided 95 % interval.
    pub interval95: [f64; 2],
    /// Probability of a difference at least so large if nothing had changed, two-sided.
    pub significance: f64,
    /// Standard uncertainty that both results share.
    pub shared: f64,
}

/// Compares two results: values and standard uncertainties, and the parts of their budgets.
///
/// Errors that last are proportional to the cause: of two lasting parts u₁ and u₂ with one source the difference keeps
/// u₁ − u₂ (JCGM 100:2008, F.1.2.3, correlation 1). `scatter` is what tests of one enclosure differ by beyond their
/// uncertainties, where that is known; 0 otherwise.
pub fn difference(present: (f64, f64), last: (f64, f64), parts: [&[Component]; 2], scatter: f64) -> Difference {
    let [of_present, of_last] = parts;
    let lasting = |component: &&Component| component.lasting;
    let shared: Vec<(f64, f64)> = of_present
        .iter()
        .filter(lasting)
        .filter_map(|a| {
            let b = of_last.iter().filter(lasting).find(|b| b.source == a.source)?;
            Some((a.standard_uncertainty, b.standard_uncertainty))
        })
        .collect();
    // Rounded budgets may hold a hair more than the whole; what is left over is at least nothing.
    let alone = |u: f64, parts: &mut dyn Iterator<Item = f64>| (u * u - parts.map(|p| p * p).sum::<f64>()).max(0.0);
    let variance = alone(present.1, &mut shared.iter().map(|(a, _)| *a))
        + alone(last.1, &mut shared.iter().map(|(_, b)| *b))
        + shared.iter().map(|(a, b)| (a - b).powi(2)).sum::<f64>()
        + 2.0 * scatter * scatter;
    let value = present.0 - last.0;
    let standard_uncertainty = variance.sqrt();
    let distribution = Distribution::normal(0.0, 1.0);
    let z = if standard_uncertainty > 0.0 { value.abs() / standard_uncertainty } else { f64::INFINITY };
    let half = distribution.quantile(0.975) * standard_uncertainty;
    Difference {
        value,
        standard_uncertainty,
        interval95: [value - half, value + half],
        significance: if value == 0.0 { 1.0 } else { 2.0 * distribution.cdf(-z) },
        shared: shared.iter().map(|(a, b)| a * b).sum::<f64>().sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(source: &str, standard_uncertainty: f64, lasting: bool) -> Component {
        Component { source: source.to_owned(), standard_uncertainty, lasting }
    }

    #[test]
    fn independent_results_add_in_quadrature() {
        let found = difference((5.0, 0.3), (4.0, 0.4), [&[], &[]], 0.0);
        assert!((found.standard_uncertainty - 0.5).abs() < 1e-12);
        // Two standard uncertainties: 4.55 % (tables of the normal distribution).
        assert!((found.significance - 0.0455).abs() < 1e-4);
    }

    #[test]
    fn the_same_instrument_takes_its_error_out_of_the_difference() {
        let present = [part("gauge scale", 0.4, true), part("noise", 0.3, false)];
        let last = [part("gauge scale", 0.4, true), part("noise", 0.3, false)];
        let same = difference((1.0, 0.5), (0.0, 0.5), [&present, &last], 0.0);
        assert!((same.standard_uncertainty - 0.3 * std::f64::consts::SQRT_2).abs() < 1e-12);
        assert!((same.shared - 0.4).abs() < 1e-12);
        let recalibrated = [part("gauge scale", 0.4, false), part("noise", 0.3, false)];
        let other = difference((1.0, 0.5), (0.0, 0.5), [&recalibrated, &last], 0.0);
        assert!((other.standard_uncertainty - 0.5 * std::f64::consts::SQRT_2).abs() < 1e-12);
    }
}
