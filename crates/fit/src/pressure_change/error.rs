//! What stops an evaluation.

use std::fmt;

use crate::input::InputError;

/// Why a record cannot be evaluated at all. Anything less is a [`Note`](super::Note) of the result.
#[derive(Debug, Clone, PartialEq)]
pub enum PressureChangeError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Too few readings of the inside pressure for any estimate.
    TooFewReadings {
        /// Readings of the inside pressure in the window.
        found: usize,
        /// Least number needed.
        needed: usize,
    },
    /// The reference pressure is zero or not finite.
    ReferencePressureUnusable {
        /// Value given in Pa.
        value_pa: f64,
    },
    /// The barometer covers no part of the hold.
    BarometerDoesNotCover {
        /// Part of the record needed, in s.
        needed_s: [f64; 2],
        /// Part that the barometer has, in s.
        found_s: [f64; 2],
    },
    /// No stretch with a pressure difference to the room was found.
    NoHoldFound {
        /// Largest difference seen, in Pa.
        largest_difference_pa: f64,
    },
    /// The pressure difference is too near zero for a leak to show.
    NoPressureDifference {
        /// Mean difference over the window in Pa.
        mean_difference_pa: f64,
    },
}

impl fmt::Display for PressureChangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::TooFewReadings { found, needed } => {
                write!(f, "usable readings of the inside pressure: {found}, at least {needed} are needed")
            }
            Self::ReferencePressureUnusable { value_pa } => {
                write!(f, "the reference pressure must be a difference to the room other than 0, found {value_pa} Pa")
            }
            Self::BarometerDoesNotCover { needed_s, found_s } => write!(
                f,
                "the barometer was logged from {} s to {} s, but the hold runs from {} s to {} s",
                found_s[0], found_s[1], needed_s[0], needed_s[1]
            ),
            Self::NoHoldFound { largest_difference_pa } => write!(
                f,
                "no stretch with a steady pressure difference was found (largest difference to the room {largest_difference_pa:.1} Pa)"
            ),
            Self::NoPressureDifference { mean_difference_pa } => {
                write!(f, "the mean pressure difference to the room is {mean_difference_pa:.2} Pa: no leak can show")
            }
        }
    }
}

impl std::error::Error for PressureChangeError {}

impl From<InputError> for PressureChangeError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
