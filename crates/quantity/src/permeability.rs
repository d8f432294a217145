//! Permeability of glove and seal elastomers: ranges, for orders of magnitude.
//!
//! All figures are from memory of the sources named and stated in barrer, 10⁻¹⁰ cm³(STP)·cm/(cm²·s·cmHg).
//! Compounding and filler change them by factors of two to five, so that a range is all that can honestly be given.
//!
//! Sources: Pauly, Permeability and diffusion data, Polymer Handbook, 4th edition (1999), VI/543; Peacock,
//! J. Vac. Sci. Technol. 17 (1980) 330; van Amerongen (1946, 1950). Ethylene-propylene and chlorosulfonated
//! polyethylene: general handbook ranges, the weakest.

use crate::Gas;
use crate::constant::{BARRER, MOLAR_GAS_CONSTANT};

/// Material of gloves and seals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Elastomer {
    /// Butyl rubber (IIR).
    Butyl,
    /// Natural rubber (NR), latex.
    NaturalRubber,
    /// Polychloroprene (CR).
    Chloroprene,
    /// Nitrile rubber (NBR).
    Nitrile,
    /// Fluoroelastomer (FKM).
    Fluoroelastomer,
    /// Polyurethane (AU, EU).
    Polyurethane,
    /// Ethylene-propylene-diene rubber (EPDM).
    Epdm,
    /// Chlorosulfonated polyethylene (CSM).
    ChlorosulfonatedPolyethylene,
}

/// What permeates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Permeant {
    /// Oxygen.
    Oxygen,
    /// Nitrogen.
    Nitrogen,
    /// Argon.
    Argon,
    /// Helium.
    Helium,
    /// Water vapour.
    Water,
}

/// A permeability known within a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Permeability {
    /// Median, mol·m/(m²·s·Pa).
    pub median: f64,
    /// Standard deviation of the natural logarithm.
    pub log_standard_deviation: f64,
}

/// Temperature of the published figures, K.
const PUBLISHED_AT_K: f64 = 298.15;
/// Activation energy of permeation and its standard uncertainty, J/mol: gases through rubbers lie between 28 kJ/mol (natural)
/// and 50 kJ/mol (butyl); water, which dissolves better in the cold, much lower (van Amerongen 1946; Polymer Handbook; from
/// memory).
const GAS_ACTIVATION: [f64; 2] = [40e3, 10e3];
const WATER_ACTIVATION: [f64; 2] = [10e3, 10e3];
/// Factor within which compounding and filler leave a permeability with 95 %, and the same for the materials whose figures are
/// weakest.
const COMPOUNDING: f64 = 3.0;
const WEAKEST: f64 = 5.0;

/// Lowest and highest published value, barrer.
type Range = Option<(f64, f64)>;

impl Elastomer {
    /// Reads a material by its English name or its ISO 1629 symbol.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.to_lowercase();
        let is = |words: &[&str]| words.iter().any(|word| text.contains(word));
        let symbol = |wanted: &str| text.split(|c: char| !c.is_alphanumeric()).any(|word| word == wanted);
        if is(&["chlorosulf"]) || symbol("csm") {
            Some(Self::ChlorosulfonatedPolyethylene)
        } else if is(&["butyl"]) || symbol("iir") {
            Some(Self::Butyl)
        } else if is(&["natural", "latex"]) || symbol("nr") {
            Some(Self::NaturalRubber)
        } else if is(&["chloroprene"]) || symbol("cr") {
            Some(Self::Chloroprene)
        } else if is(&["nitrile"]) || symbol("nbr") {
            Some(Self::Nitrile)
        } else if is(&["fluoro"]) || symbol("fkm") {
            Some(Self::Fluoroelastomer)
        } else if is(&["urethane"]) || symbol("pu") || symbol("au") || symbol("eu") {
            Some(Self::Polyurethane)
        } else if is(&["ethylene-propylene", "ethylene propylene"]) || symbol("epdm") {
            Some(Self::Epdm)
        } else {
            None
        }
    }

    /// Lowest and highest permeability, mol·m/(m²·s·Pa), near 25 °C.
    ///
    /// Argon is taken as oxygen where no figure of its own is known: in natural rubber the two differ by 3 %.
    #[must_use]
    pub fn permeability(self, permeant: Permeant) -> Option<[f64; 2]> {
        let range = self.barrer(permeant).or_else(|| match permeant {
            Permeant::Argon => self.barrer(Permeant::Oxygen),
            _ => None,
        });
        range.map(|(low, high)| [low * BARRER, high * BARRER])
    }

    /// What a sound specimen has at a temperature: the published range, compounding and filler, and the step from the
    /// published temperature, as a median with a factor. `None` where no figure is known.
    #[must_use]
    pub fn expected(self, permeant: Permeant, temperature_k: f64) -> Option<Permeability> {
        let [low, high] = self.permeability(permeant)?;
        let [activation, activation_uncertainty] = match permeant {
            Permeant::Water => WATER_ACTIVATION,
            _ => GAS_ACTIVATION,
        };
        let step = (1.0 / PUBLISHED_AT_K - 1.0 / temperature_k) / MOLAR_GAS_CONSTANT;
        // The published range is taken as a rectangle of the logarithm, the factor as 95 % of a normal.
        let range = 0.5 * (high / low).ln() / 3f64.sqrt();
        let compounding = self.compounding().ln() / 1.96;
        Some(Permeability {
            median: (low * high).sqrt() * (activation * step).exp(),
            log_standard_deviation: range.hypot(compounding).hypot(activation_uncertainty * step),
        })
    }

    fn compounding(self) -> f64 {
        match self {
            Self::Polyurethane | Self::Epdm | Self::ChlorosulfonatedPolyethylene => WEAKEST,
            _ => COMPOUNDING,
        }
    }

    fn barrer(self, permeant: Permeant) -> Range {
        use Permeant::{Argon, Helium, Nitrogen, Oxygen, Water};
        Some(match (self, permeant) {
            (Self::Butyl, Oxygen) => (1.3, 1.7),
            (Self::Butyl, Nitrogen) => (0.32, 0.46),
            (Self::Butyl, Helium) => (6.8, 10.5),
            (Self::Butyl, Water) => (39.0, 197.0),
            (Self::NaturalRubber, Oxygen) => (23.6, 23.6),
            (Self::NaturalRubber, Nitrogen) => (8.2, 9.5),
            (Self::NaturalRubber, Argon) => (22.9, 22.9),
            (Self::NaturalRubber, Helium) => (31.0, 31.0),
            (Self::NaturalRubber, Water) => (2290.0, 2290.0),
            (Self::Chloroprene, Oxygen) => (3.9, 5.3),
            (Self::Chloroprene, Nitrogen) => (1.05, 1.58),
            (Self::Chloroprene, Helium) => (13.2, 14.5),
            (Self::Chloroprene, Water) => (911.0, 1842.0),
            (Self::Nitrile, Oxygen) => (0.92, 8.2),
            (Self::Nitrile, Nitrogen) => (0.236, 2.6),
            (Self::Nitrile, Helium) => (6.8, 7.9),
            (Self::Nitrile, Water) => (1000.0, 1000.0),
            (Self::Fluoroelastomer, Oxygen) => (1.3, 1.45),
            (Self::Fluoroelastomer, Nitrogen) => (0.066, 0.39),
            (Self::Fluoroelastomer, Helium) => (11.8, 21.1),
            (Self::Fluoroelastomer, Water) => (53.0, 53.0),
            (Self::Polyurethane, Oxygen) => (1.45, 4.74),
            (Self::Polyurethane, Nitrogen) => (0.53, 1.45),
            (Self::Polyurethane, Water) => (342.0, 12_500.0),
            (Self::Epdm, Oxygen) => (19.0, 28.0),
            (Self::Epdm, Nitrogen) => (6.0, 9.0),
            (Self::ChlorosulfonatedPolyethylene, Oxygen) => (2.1, 2.8),
            (Self::ChlorosulfonatedPolyethylene, Nitrogen) => (0.9, 1.2),
            _ => return None,
        })
    }
}

impl Permeant {
    /// The permeant that a fill gas is; air is a mixture and none.
    #[must_use]
    pub fn of_fill_gas(gas: Gas) -> Option<Self> {
        match gas {
            Gas::Argon => Some(Self::Argon),
            Gas::Nitrogen => Some(Self::Nitrogen),
            Gas::Helium => Some(Self::Helium),
            Gas::Air => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use tightfit_cross_check::CrossCheck;

    use super::*;

    #[test]
    fn materials_are_known_by_name_and_symbol() {
        assert_eq!(Elastomer::parse("butyl"), Some(Elastomer::Butyl));
        assert_eq!(Elastomer::parse("Natural rubber (latex)"), Some(Elastomer::NaturalRubber));
        assert_eq!(Elastomer::parse("CSM"), Some(Elastomer::ChlorosulfonatedPolyethylene));
        assert_eq!(Elastomer::parse("polychloroprene"), Some(Elastomer::Chloroprene));
        assert_eq!(Elastomer::parse("leather"), None);
    }

    #[test]
    fn what_is_expected_covers_the_published_range_and_falls_with_the_temperature() {
        for permeant in [Permeant::Oxygen, Permeant::Water] {
            let published = Elastomer::Butyl.permeability(permeant).unwrap();
            let expected = Elastomer::Butyl.expected(permeant, PUBLISHED_AT_K).unwrap();
            let factor = (1.96 * expected.log_standard_deviation).exp();
            assert!(expected.median / factor < published[0] && published[1] < expected.median * factor);
            assert!((3.0..7.0).contains(&factor), "{factor}");
            assert!(Elastomer::Butyl.expected(permeant, 285.0).unwrap().median < expected.median);
        }
        assert_eq!(Elastomer::Epdm.expected(Permeant::Water, 295.0), None);
    }

    #[test]
    fn a_permeability_in_barrer_converts_by_the_definition() {
        let source = "Polymer Handbook (from memory): 17.7e-13 cm³(STP)·cm/(cm²·s·Pa) at 25 °C";
        let mut check = CrossCheck::against("Oxygen in natural rubber", source);
        let [low, _] = Elastomer::NaturalRubber.permeability(Permeant::Oxygen).unwrap();
        check.relative("permeability, mol·m/(m²·s·Pa)", low, 17.7 * 4.461_503_340_5e-16, 2e-3);
    }
}
