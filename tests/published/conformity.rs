//! Conformance probability and guard bands of JCGM 106:2012, clauses 7 and 8 (inputs and printed results from memory of
//! the document; the long figures follow from the inputs and the normal distribution alone).

use tightfit_cross_check::CrossCheck;
use tightfit_fit::uncertainty::Distribution;

/// Clause 7, breakdown voltage of a Zener diode: estimate −5.47 V, u = 0.05 V, upper limit −5.40 V; printed 0.92.
#[test]
fn breakdown_voltage_with_one_upper_limit() {
    let mut check =
        CrossCheck::against("Conformity, breakdown voltage", "JCGM 106:2012, clause 7 (from memory): one upper limit");
    let found = Distribution::normal(-5.47, 0.05).cdf(-5.40);
    check.absolute("conformance probability", found, 0.919_243_340_8, 1e-9);
    check.absolute("as printed", found, 0.92, 0.005);
}

/// Clause 7, kinematic viscosity: estimate 13.6 mm²/s, u = 1.8 mm²/s, limits 12.5 and 16.3; printed 0.66.
#[test]
fn kinematic_viscosity_with_two_limits() {
    let mut check =
        CrossCheck::against("Conformity, kinematic viscosity", "JCGM 106:2012, clause 7 (from memory): two limits");
    let viscosity = Distribution::normal(13.6, 1.8);
    let found = viscosity.cdf(16.3) - viscosity.cdf(12.5);
    check.absolute("conformance probability", found, 0.662_629_786_5, 1e-9);
    check.absolute("as printed", found, 0.66, 0.005);
}

/// Clause 8, vehicle speed: limit 100 km/h, relative standard uncertainty 2 %; a driver is charged where the limit is
/// exceeded with a probability of at least 99.9 %: from 106.6 km/h, printed rounded up as 107 km/h.
#[test]
fn vehicle_speed_with_a_guarded_limit() {
    let mut check =
        CrossCheck::against("Conformity, vehicle speed", "JCGM 106:2012, clause 8 (from memory): a guarded limit");
    let charged_from = 106.587_6;
    let found = Distribution::normal(charged_from, 0.02 * charged_from).cdf(100.0);
    check.absolute("probability of no excess at 106.5876 km/h", found, 1e-3, 1e-7);
    check.absolute("speed as printed, km/h", f64::ceil(charged_from), 107.0, 0.0);
}

/// Table of one-sided coverage factors: printed z for conformance probabilities of 80 % to 99.9 %.
#[test]
fn one_sided_factors() {
    let mut check = CrossCheck::against(
        "Conformity, one-sided factors",
        "JCGM 106:2012, clause 7 (from memory): table of z, printed and exact",
    );
    let table = [
        (0.80, 0.84, 0.841_621_233_6),
        (0.90, 1.28, 1.281_551_565_6),
        (0.95, 1.64, 1.644_853_627_0),
        (0.99, 2.33, 2.326_347_874_0),
        (0.999, 3.09, 3.090_232_306_2),
    ];
    for (probability, printed, exact) in table {
        let found = Distribution::normal(0.0, 1.0).quantile(probability);
        check.absolute("z of 80 % to 99.9 %", found, exact, 1e-8);
        check.absolute("z as printed", found, printed, 0.005_1);
    }
}

/// Clause 8: with a guard band of r times the expanded uncertainty (k = 2), the largest probability that an accepted item
/// does not conform.
#[test]
fn guard_bands_as_parts_of_the_expanded_uncertainty() {
    let mut check = CrossCheck::against(
        "Conformity, guard bands",
        "JCGM 106:2012, clause 8 (from memory): guard band r times the expanded uncertainty",
    );
    for (r, expected) in [(0.0, 0.5), (0.5, 0.158_655_253_9), (1.0, 0.022_750_131_9)] {
        let (limit, u) = (10.0, 0.3);
        let largest_accepted = limit - r * 2.0 * u;
        let found = 1.0 - Distribution::normal(largest_accepted, u).cdf(limit);
        check.absolute("largest probability not to conform", found, expected, 1e-9);
    }
}

/// Clause 7 asks for the distribution that describes the knowledge, whatever its form: an exponential one has closed
/// forms, 1 − exp(−x), and a normal one of the same mean and deviation would be far off.
#[test]
fn a_skewed_distribution_gives_its_own_conformance_probability() {
    let mut check = CrossCheck::against(
        "Conformity, skewed distribution",
        "JCGM 106:2012, clause 7, with the closed form of the exponential distribution",
    );
    let x: Vec<f64> = (0..=40_000).map(|k| f64::from(k) * 1e-3).collect();
    let density: Vec<f64> = x.iter().map(|x| (-x).exp()).collect();
    let skewed = Distribution::from_density(x, &density);
    for limit in [0.1, 1.0, 3.0] {
        check.absolute("conformance probability", skewed.cdf(limit), 1.0 - f64::exp(-limit), 1e-6);
    }
    assert!((Distribution::normal(1.0, 1.0).cdf(3.0) - skewed.cdf(3.0)).abs() > 0.02);
}

/// A truth that cannot be negative: the probability is that of the part at or above zero (clause 6, prior knowledge).
/// For the standard normal distribution about zero: 2·Φ(x) − 1.
#[test]
fn a_leak_that_cannot_be_negative_is_judged_on_what_is_left_of_the_distribution() {
    let mut check = CrossCheck::against(
        "Conformity, a truth that cannot be negative",
        "JCGM 106:2012, clause 6, with the closed form 2·Φ(x) − 1",
    );
    let about_zero = Distribution::normal(0.0, 1.0);
    for (limit, expected) in [(1.0, 0.682_689_492_1), (2.0, 0.954_499_736_1)] {
        let found = about_zero.probability_at_most_given_not_negative(limit);
        check.absolute("conformance probability", found, expected, 1e-9);
    }
}
