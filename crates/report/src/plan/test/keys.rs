//! Keys of a test that single methods read.

use tightfit_quantity::Dimension;

use super::{Measured, Section};

/// What single methods read beside files and columns.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MethodKeys {
    /// Content to be reached or kept, a mole fraction.
    pub target: Option<Measured>,
    /// Which content is evaluated where both are logged: `oxygen` or `water`.
    pub species: Option<String>,
    /// Flow of purge gas at the enclosure's temperature and pressure, m³/s, where it is not logged.
    pub purge_flow: Option<Measured>,
    /// Names of the purifiers that ran; empty for all.
    pub purifiers: Vec<String>,
    /// Temperature that counts as heated, K.
    pub plateau: Option<Measured>,
    /// Mole fraction of hydrogen in the regeneration gas.
    pub hydrogen_fraction: Option<Measured>,
    /// Pressure below which a vessel counts as evacuated, Pa absolute.
    pub evacuated_below: Option<Measured>,
    /// Durations that the regeneration needs.
    pub required: Required,
}

/// Durations that a regeneration needs, s.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Required {
    /// At or above the plateau.
    pub heating: Option<Measured>,
    /// With reducing gas flowing.
    pub purge: Option<Measured>,
    /// Below the pressure.
    pub evacuation: Option<Measured>,
}

impl MethodKeys {
    pub(super) fn read(section: &Section<'_>) -> Self {
        Self {
            target: section.measured("target", Dimension::Ratio),
            species: section.word("species", &["oxygen", "water"]),
            purge_flow: section.measured("purge_flow", Dimension::VolumeFlow),
            purifiers: section.texts("purifiers"),
            plateau: section.measured("plateau", Dimension::Temperature),
            hydrogen_fraction: section.measured("hydrogen_fraction", Dimension::Ratio),
            evacuated_below: section.measured("evacuated_below", Dimension::Pressure),
            required: section.section("required").map(|required| Required::read(&required)).unwrap_or_default(),
        }
    }
}

impl Required {
    fn read(section: &Section<'_>) -> Self {
        let required = Self {
            heating: section.measured("heating", Dimension::Time),
            purge: section.measured("purge", Dimension::Time),
            evacuation: section.measured("evacuation", Dimension::Time),
        };
        section.finish();
        required
    }
}
