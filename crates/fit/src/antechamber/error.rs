//! What stops an evaluation.

use std::fmt;

use crate::input::InputError;

/// Why a record gives no antechamber cycles.
#[derive(Debug, Clone, PartialEq)]
pub enum AntechamberError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Too few readings.
    TooFewReadings {
        /// Found.
        found: usize,
        /// Needed at least.
        needed: usize,
    },
    /// The chamber was not evacuated and backfilled anywhere in the record.
    NoCycle {
        /// Lowest and highest pressure, Pa.
        range_pa: [f64; 2],
    },
}

impl fmt::Display for AntechamberError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings of the antechamber's pressure were found, at least {needed} are needed")
            }
            Self::NoCycle { range_pa: [low, high] } => write!(
                f,
                "the antechamber was not evacuated and backfilled anywhere in the record; its pressure lies between \
                 {low:.0} Pa and {high:.0} Pa absolute"
            ),
        }
    }
}

impl std::error::Error for AntechamberError {}

impl From<InputError> for AntechamberError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
