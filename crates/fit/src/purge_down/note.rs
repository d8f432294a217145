//! Findings in words that a technician understands.

use std::fmt;

/// Something that must be known to read the result.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// No flow: taken as steady, no mixing factor.
    FlowUnknown,
    /// No volume: no mixing factor.
    VolumeUnknown,
    /// The mixing factor comes out above 1.
    MixingAboveOne {
        /// The value.
        value: f64,
        /// Whether its uncertainty allows for 1.
        possible: bool,
    },
    /// The mixing is poor.
    PoorMixing {
        /// The value.
        value: f64,
    },
    /// The floor lies above what the supply gas is said to hold.
    FloorAboveSupply {
        /// Floor and supply, ppm.
        ppm: [f64; 2],
    },
    /// Volumes exchanged in the evaluated part.
    Exchanged {
        /// Number of volumes.
        volumes: f64,
    },
    /// Something that the fit of the decay found.
    Decay(crate::clean_up::Note),
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FlowUnknown => write!(
                f,
                "the purge flow is neither logged nor stated: it is taken as steady, and there is no mixing factor"
            ),
            Self::VolumeUnknown => write!(f, "without the volume of the enclosure there is no mixing factor"),
            Self::MixingAboveOne { value, possible: true } => write!(
                f,
                "the mixing factor comes out as {value:.2}; more than 1 is not possible, and within the uncertainty of flow and volume it is none"
            ),
            Self::MixingAboveOne { value, possible: false } => write!(
                f,
                "a mixing factor of {value:.2} is not possible: check volume, purge flow and the conditions that the flow meter refers to"
            ),
            Self::PoorMixing { value } => write!(
                f,
                "the mixing factor of {value:.2} is low: gas leaves before it has mixed; move the inlet, or let the circulation run"
            ),
            Self::FloorAboveSupply { ppm: [floor, supply] } => write!(
                f,
                "the floor of {floor:.2} ppm lies above the {supply:.2} ppm that the supply gas holds: something else comes in with it, through leaks, gloves, the supply line or off the walls"
            ),
            Self::Exchanged { volumes } => {
                write!(f, "the evaluated part holds {volumes:.1} exchanged volumes of the enclosure")
            }
            Self::Decay(note) => note.fmt(f),
        }
    }
}
