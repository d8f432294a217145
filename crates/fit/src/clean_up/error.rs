//! What stops an evaluation.

use std::fmt;

use crate::input::InputError;

/// Why a record gives no clean-up.
#[derive(Debug, Clone, PartialEq)]
pub enum CleanUpError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Too few readings that are numbers.
    TooFewReadings {
        /// Found in the window.
        found: usize,
        /// Needed at least.
        needed: usize,
    },
    /// Nothing in the record comes down.
    NoDecay,
    /// The readings do not determine a time constant.
    NoFit,
}

impl fmt::Display for CleanUpError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings of the decay are numbers, at least {needed} are needed")
            }
            Self::NoDecay => write!(f, "the content does not come down anywhere in the record"),
            Self::NoFit => write!(f, "the readings do not determine a time constant"),
        }
    }
}

impl std::error::Error for CleanUpError {}

impl From<InputError> for CleanUpError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
