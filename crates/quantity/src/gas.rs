//! The gases that fill an enclosure.

use std::fmt;

/// A fill gas, or air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Gas {
    /// Argon.
    Argon,
    /// Nitrogen.
    Nitrogen,
    /// Helium.
    Helium,
    /// Air.
    Air,
}

impl Gas {
    /// All gases, in the order in which messages list them.
    pub const ALL: [Self; 4] = [Self::Argon, Self::Nitrogen, Self::Helium, Self::Air];

    /// The gas's English name, as plans write it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Argon => "argon",
            Self::Nitrogen => "nitrogen",
            Self::Helium => "helium",
            Self::Air => "air",
        }
    }

    /// Reads a name or formula.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        match text.trim().to_ascii_lowercase().as_str() {
            "argon" | "ar" => Some(Self::Argon),
            "nitrogen" | "n2" => Some(Self::Nitrogen),
            "helium" | "he" => Some(Self::Helium),
            "air" => Some(Self::Air),
            _ => None,
        }
    }

    /// Molar mass, kg/mol. Air: CIPM-2007 dry air; the others from standard atomic weights (from memory).
    #[must_use]
    pub fn molar_mass(self) -> f64 {
        match self {
            Self::Argon => 39.948e-3,
            Self::Nitrogen => 28.0134e-3,
            Self::Helium => 4.002_602e-3,
            Self::Air => 28.965_46e-3,
        }
    }

    /// Dynamic viscosity at 20 °C and 101.325 kPa, Pa·s.
    ///
    /// Reference equations as in the general-purpose package `CoolProp` 8.0.0; within 0.5 % of the
    /// CRC Handbook of Chemistry and Physics (figures at 300 K, from memory).
    #[must_use]
    pub fn viscosity(self) -> f64 {
        match self {
            Self::Argon => 22.3065e-6,
            Self::Nitrogen => 17.5729e-6,
            Self::Helium => 19.6176e-6,
            Self::Air => 18.2057e-6,
        }
    }

    /// Leak conductance for this gas over that for air, through viscous leaks: the inverse ratio of
    /// viscosities (Hagen and Poiseuille). Argon 0.816.
    #[must_use]
    pub fn viscous_conductance_over_air(self) -> f64 {
        Self::Air.viscosity() / self.viscosity()
    }

    /// Leak conductance for this gas over that for air, through molecular leaks: the inverse ratio of
    /// the square roots of molar masses (Knudsen). Argon 0.852.
    #[must_use]
    pub fn molecular_conductance_over_air(self) -> f64 {
        (Self::Air.molar_mass() / self.molar_mass()).sqrt()
    }

    /// Leak conductance for this gas over that for air where nobody knows what kind of leak it is, and its standard
    /// uncertainty: the viscous ratio, the molecular one being the end of what is possible (a rectangular distribution
    /// between them). Argon 0.82 ± 0.02, helium 0.93 ± 1.0.
    #[must_use]
    pub fn conductance_over_air(self) -> (f64, f64) {
        let viscous = self.viscous_conductance_over_air();
        (viscous, (self.molecular_conductance_over_air() - viscous).abs() / 3.0_f64.sqrt())
    }
}

impl fmt::Display for Gas {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
