//! What stops an evaluation.

use std::fmt;

use crate::input::InputError;

/// Why a record gives no endurance run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EnduranceError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Too few readings with the purifier on.
    TooFewReadings {
        /// Found.
        found: usize,
        /// Needed at least.
        needed: usize,
    },
}

impl fmt::Display for EnduranceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings with the purifier on, at least {needed} are needed")
            }
        }
    }
}

impl std::error::Error for EnduranceError {}

impl From<InputError> for EnduranceError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
