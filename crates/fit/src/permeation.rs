//! What sound gloves let through by permeation, and how a measured ingress compares with it.
//!
//! Published permeabilities of one kind of rubber differ by factors, so what is expected is known as a logarithm: median and
//! standard deviation of the logarithm ([`LogNormal`]). Nothing here depends on the pressure difference.

use crate::ppm_rise::Quantity;
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Kind};

/// Molar gas constant, J/(mol K). Exact: SI Brochure, 9th edition (2019).
const MOLAR_GAS_CONSTANT: f64 = 8.314_462_618_153_24;
/// 1/s in ppm/h.
const PPM_PER_H: f64 = 3600.0 * 1e6;
/// Ratio up to which gloves count as sound though the interval holds 1: beyond it ten times as much could pass unseen.
const TELLING: f64 = 10.0;

/// A positive quantity known within a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogNormal {
    /// Median.
    pub median: f64,
    /// Standard deviation of the natural logarithm: 0.56 is a factor of 3 either way with 95 %.
    pub log_standard_deviation: f64,
}

impl LogNormal {
    /// The value below which the quantity lies with the probability of `deviations` normal standard deviations.
    fn at(self, deviations: f64) -> f64 {
        self.median * (self.log_standard_deviation * deviations).exp()
    }

    /// As a tabulated distribution, out to five standard deviations.
    pub fn distribution(self) -> Distribution {
        if self.log_standard_deviation <= 0.0 {
            return Distribution::normal(self.median, 0.0);
        }
        let normal = Distribution::normal(0.0, 1.0);
        let deviations = (-100..=100).map(|step| f64::from(step) / 20.0);
        let (x, mut cumulative): (Vec<f64>, Vec<f64>) = deviations.map(|z| (self.at(z), normal.cdf(z))).unzip();
        if let [first, .., last] = cumulative.as_mut_slice() {
            (*first, *last) = (0.0, 1.0);
        }
        Distribution::Tabulated { x, cumulative }
    }
}

/// Gloves of one kind: what a species must permeate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Barrier {
    /// Permeability at the temperature of the gloves, mol·m/(m²·s·Pa).
    pub permeability: LogNormal,
    /// Area of all gloves of this kind, m².
    pub area_m2: f64,
    /// Thickness, m.
    pub thickness_m: f64,
    /// Relative standard uncertainty of area over thickness.
    pub shape_uncertainty: f64,
}

/// Both sides of the gloves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sides {
    /// Mole fraction of the species in the room's air.
    pub room_air: Quantity,
    /// Temperature of the gas inside, K.
    pub temperature_k: f64,
    /// Volume of the enclosure, m³.
    pub volume_m3: Quantity,
}

/// Ingress at x = 0 in ppm/h that sound gloves would let through: r = Σ P·A/l · x_air · R·T/V.
///
/// The room's pressure cancels: it drives the species and it fills the enclosure. Gloves of several kinds are taken as off
/// by a common factor, which is wider than independence would be. `None` without gloves or where something is not positive.
pub fn expected_ingress(barriers: &[Barrier], sides: &Sides) -> Option<Expected> {
    let per_conductance =
        PPM_PER_H * sides.room_air.value * MOLAR_GAS_CONSTANT * sides.temperature_k / sides.volume_m3.value;
    let parts: Vec<f64> = barriers.iter().map(|b| b.permeability.median * b.area_m2 / b.thickness_m).collect();
    let conductance: f64 = parts.iter().sum();
    let median = per_conductance * conductance;
    if !(median > 0.0 && median.is_finite()) {
        return None;
    }
    let weighted = |of: fn(&Barrier) -> f64| {
        barriers.iter().zip(&parts).map(|(barrier, part)| of(barrier) * part / conductance).sum::<f64>()
    };
    let relative = |quantity: Quantity| quantity.standard_uncertainty / quantity.value;
    let sources = [
        ("published permeability", weighted(|barrier| barrier.permeability.log_standard_deviation)),
        ("area and thickness of the gloves", weighted(|barrier| barrier.shape_uncertainty)),
        ("room's air", relative(sides.room_air)),
        ("volume of the enclosure", relative(sides.volume_m3)),
    ];
    let variance: f64 = sources.iter().map(|(_, log)| log * log).sum();
    let ingress = LogNormal { median, log_standard_deviation: variance.sqrt() };
    let mut estimate = Estimate::from_distribution(ingress.distribution(), Vec::new());
    // The lines share the standard uncertainty as they share the variance of the logarithm.
    let share = |log: f64| estimate.standard_uncertainty * log / ingress.log_standard_deviation.max(f64::MIN_POSITIVE);
    estimate.budget =
        sources.into_iter().filter(|s| s.1 > 0.0).map(|(source, log)| BudgetLine::new(source, share(log))).collect();
    Some(Expected { ingress, estimate })
}

/// What sound gloves would let through.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// In ppm/h.
    pub ingress: LogNormal,
    /// The same with interval and budget.
    pub estimate: Estimate,
}

/// What a measured ingress holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measured {
    /// Permeation alone: a series told it from leaks.
    Permeation,
    /// Leaks too: permeation is at most that.
    Total,
}

/// A measured ingress over what sound gloves would let through.
///
/// A measured value that noise made negative counts as zero. Where the measured value is a bound, or holds more than
/// permeation, so is the ratio.
pub fn ratio(measured: &Estimate, what: Measured, expected: LogNormal) -> Estimate {
    match (measured.kind, what) {
        (Kind::Estimate, Measured::Permeation) => quotient(&measured.distribution, expected),
        (Kind::Estimate, Measured::Total) => at_most(quotient(&measured.distribution, expected).interval95[1]),
        (Kind::UpperBound, _) => at_most(measured.interval95[1] / expected.at(-1.96)),
        (Kind::LowerBound | Kind::NotDetermined, _) => Estimate { kind: Kind::NotDetermined, ..at_most(f64::INFINITY) },
    }
}

fn quotient(measured: &Distribution, expected: LogNormal) -> Estimate {
    const VALUES: i32 = 200;
    let normal = Distribution::normal(0.0, 1.0);
    let expected: Vec<f64> =
        (0..VALUES).map(|k| expected.at(normal.quantile((f64::from(k) + 0.5) / f64::from(VALUES)))).collect();
    let cumulative_at =
        |ratio: f64| expected.iter().map(|e| measured.cdf(ratio * e)).sum::<f64>() / expected.len() as f64;
    // Four decades up from the largest plausible ratio would hold nothing; six decades down is nothing.
    let largest = measured.quantile(0.9999).max(f64::MIN_POSITIVE) / expected[0];
    let ratios = (0..=600).map(|k| largest * 10f64.powf(f64::from(k) / 100.0 - 6.0));
    let (mut x, mut cumulative) = (vec![0.0], vec![0.0]);
    for ratio in ratios {
        x.push(ratio);
        cumulative.push(cumulative_at(ratio));
    }
    if let Some(last) = cumulative.last_mut() {
        *last = 1.0;
    }
    let mut ratio = Estimate::from_distribution(Distribution::Tabulated { x, cumulative }, Vec::new());
    ratio.budget = vec![BudgetLine::new("measured over expected permeation", ratio.standard_uncertainty)];
    // What noise made negative is piled up at zero.
    let below_zero = measured.cdf(0.0);
    let cut = |end: f64, probability: f64| if probability <= below_zero { 0.0 } else { end };
    ratio.value = cut(ratio.value, 0.5);
    ratio.interval95 = [cut(ratio.interval95[0], 0.025), ratio.interval95[1]];
    ratio
}

fn at_most(bound: f64) -> Estimate {
    Estimate {
        value: bound,
        standard_uncertainty: f64::INFINITY,
        interval95: [f64::NEG_INFINITY, bound],
        kind: Kind::UpperBound,
        degrees_of_freedom: f64::INFINITY,
        distribution: Distribution::normal(bound, 0.0),
        budget: Vec::new(),
        at_pa: None,
        upper95: None,
    }
}

/// What a ratio says of the gloves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Judgement {
    /// They pass what sound gloves pass, as far as that is known.
    AsSoundGloves,
    /// They pass more than sound gloves would.
    MoreThanSoundGloves,
    /// The data do not tell.
    CannotTell,
}

/// Judges a ratio of found to expected (1 = as sound gloves) by its 95 % interval: more than sound gloves where all of it
/// lies above 1, sound where none of it exceeds 10, of an upper bound too; else the data do not tell.
pub fn judge(ratio: &Estimate) -> Judgement {
    let [low, high] = ratio.interval95;
    match ratio.kind {
        Kind::Estimate if low > 1.0 => Judgement::MoreThanSoundGloves,
        Kind::Estimate | Kind::UpperBound if high <= TELLING => Judgement::AsSoundGloves,
        _ => Judgement::CannotTell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BUTYL: LogNormal = LogNormal { median: 5e-16, log_standard_deviation: 0.56 };

    fn sides() -> Sides {
        Sides { room_air: Quantity::new(0.207, 0.0), temperature_k: 295.15, volume_m3: Quantity::new(0.92, 0.0) }
    }

    fn gloves() -> Barrier {
        Barrier { permeability: BUTYL, area_m2: 1.1, thickness_m: 0.4e-3, shape_uncertainty: 0.0 }
    }

    fn measured(value: f64, u: f64) -> Estimate {
        Estimate::from_distribution(Distribution::normal(value, u), Vec::new())
    }

    #[test]
    fn the_expected_ingress_is_that_of_the_gas_law() {
        // Moles per second over the enclosure's moles, both at 101 325 Pa.
        let moles_per_s = 5e-16 * 1.1 / 0.4e-3 * 0.207 * 101_325.0;
        let moles = 101_325.0 * 0.92 / (MOLAR_GAS_CONSTANT * 295.15);
        let expected = expected_ingress(&[gloves()], &sides()).unwrap();
        assert!((expected.ingress.median / (moles_per_s / moles * PPM_PER_H) - 1.0).abs() < 1e-12);
        let [low, high] = expected.estimate.interval95.map(|end| end / expected.ingress.median);
        assert!((high / 3.0 - 1.0).abs() < 0.01 && (low * 3.0 - 1.0).abs() < 0.01, "{low} {high}");
    }

    #[test]
    fn two_halves_of_the_gloves_pass_what_the_whole_does() {
        let half = Barrier { area_m2: 0.55, ..gloves() };
        assert_eq!(expected_ingress(&[half, half], &sides()), expected_ingress(&[gloves()], &sides()));
        assert_eq!(expected_ingress(&[], &sides()), None);
    }

    #[test]
    fn the_ratio_of_an_exact_value_is_as_wide_as_what_is_expected() {
        let ratio = ratio(&measured(6.0, 1e-6), Measured::Permeation, LogNormal { median: 2.0, ..BUTYL });
        let [low, high] = ratio.interval95;
        assert!((ratio.value - 3.0).abs() < 0.02, "{}", ratio.value);
        assert!((low - 1.0).abs() < 0.03 && (high - 9.0).abs() < 0.2, "{low} {high}");
    }

    #[test]
    fn a_ratio_holds_the_truth_in_95_of_100_draws_of_both() {
        let mut random = crate::simulate::Random::new(5);
        let mut inside = 0;
        for _ in 0..400 {
            let published = LogNormal { median: 2.0, log_standard_deviation: 0.5 };
            let sound = published.at(random.normal());
            let truth = 1.5;
            let found = measured(truth * sound + 0.4 * random.normal(), 0.4);
            let [low, high] = ratio(&found, Measured::Permeation, published).interval95;
            inside += i32::from(low <= truth && truth <= high);
        }
        assert!((366..=393).contains(&inside), "{inside} of 400");
    }

    #[test]
    fn gloves_are_judged_by_the_interval() {
        let expected = LogNormal { median: 2.0, ..BUTYL };
        let judged = |estimate: &Estimate, what| judge(&ratio(estimate, what, expected));
        assert_eq!(judged(&measured(20.0, 1.0), Measured::Permeation), Judgement::MoreThanSoundGloves);
        assert_eq!(judged(&measured(2.0, 0.2), Measured::Permeation), Judgement::AsSoundGloves);
        assert_eq!(judged(&measured(-1.0, 1.0), Measured::Permeation), Judgement::AsSoundGloves);
        assert_eq!(judged(&measured(2.0, 40.0), Measured::Permeation), Judgement::CannotTell);
        assert_eq!(judged(&measured(2.0, 0.2), Measured::Total), Judgement::AsSoundGloves);
        // Leaks are in it: that much need not come through the gloves.
        assert_eq!(judged(&measured(200.0, 1.0), Measured::Total), Judgement::CannotTell);
        let bound = Estimate { kind: Kind::UpperBound, ..measured(2.0, 0.1) };
        assert_eq!(ratio(&bound, Measured::Permeation, expected).kind, Kind::UpperBound);
    }
}
