//! What stops an evaluation.

use super::Species;
use std::fmt;

use crate::input::InputError;

/// Why a record cannot be evaluated at all. Anything less is a [`Note`](super::Note) of the result.
#[derive(Debug, Clone, PartialEq)]
pub enum PpmRiseError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Neither oxygen nor water was logged.
    NoSpecies,
    /// Too few readings.
    TooFewReadings {
        /// Species.
        species: Species,
        /// Readings in the window.
        found: usize,
        /// Least number needed.
        needed: usize,
    },
    /// As many statuses as readings are needed.
    StatusLength {
        /// Species.
        species: Species,
        /// Statuses given.
        statuses: usize,
        /// Readings given.
        readings: usize,
    },
    /// All readings lie above the range.
    AllAboveRange {
        /// Species.
        species: Species,
    },
    /// The readings do not determine a fit, such as a record without duration.
    NoFit {
        /// Species.
        species: Species,
    },
}

impl fmt::Display for PpmRiseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::NoSpecies => write!(f, "neither oxygen nor water was logged"),
            Self::TooFewReadings { species, found, needed } => {
                write!(f, "{found} readings of {species} in the window, at least {needed} are needed")
            }
            Self::StatusLength { species, statuses, readings } => {
                write!(f, "{statuses} statuses for {readings} readings of {species}")
            }
            Self::AllAboveRange { species } => {
                write!(f, "all readings of {species} lie above the range of the analyser")
            }
            Self::NoFit { species } => write!(f, "the readings of {species} do not determine a rise"),
        }
    }
}

impl std::error::Error for PpmRiseError {}

impl From<InputError> for PpmRiseError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
