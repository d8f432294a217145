//! What stops an evaluation.

use super::Species;
use std::fmt;

/// Why a record cannot be evaluated at all. Anything less is a [`Note`](super::Note) of the result.
#[derive(Debug, Clone, PartialEq)]
pub enum PpmRiseError {
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
    /// A number that must be positive is not.
    NotPositive {
        /// What it is.
        what: &'static str,
        /// Value found, in SI.
        value: f64,
    },
    /// The window that was set holds no part of the record.
    WindowOutsideRecord {
        /// Window in s.
        window_s: [f64; 2],
        /// Record in s.
        record_s: [f64; 2],
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
            Self::NoSpecies => write!(f, "neither oxygen nor water was logged"),
            Self::TooFewReadings { species, found, needed } => {
                write!(f, "{found} readings of {species} in the window, at least {needed} are needed")
            }
            Self::StatusLength { species, statuses, readings } => {
                write!(f, "{statuses} statuses for {readings} readings of {species}")
            }
            Self::NotPositive { what, value } => write!(f, "{what} must be positive, found {value}"),
            Self::WindowOutsideRecord { window_s, record_s } => write!(
                f,
                "the window from {} s to {} s lies outside the record, which runs from {} s to {} s",
                window_s[0], window_s[1], record_s[0], record_s[1]
            ),
            Self::AllAboveRange { species } => {
                write!(f, "all readings of {species} lie above the range of the analyser")
            }
            Self::NoFit { species } => write!(f, "the readings of {species} do not determine a rise"),
        }
    }
}

impl std::error::Error for PpmRiseError {}
