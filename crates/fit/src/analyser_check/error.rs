//! What stops an evaluation.

use std::fmt;

use crate::input::InputError;

/// Why a record gives no check.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AnalyserCheckError {
    /// What was handed over does not fit.
    Input(InputError),
    /// No content is stated.
    NoReferenceGas,
    /// No stretch of the record stays at a stated content.
    NoPlateau,
}

impl fmt::Display for AnalyserCheckError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::NoReferenceGas => write!(f, "the content of the reference gas is not stated"),
            Self::NoPlateau => write!(f, "no stretch of the record stays at a reference gas for long enough"),
        }
    }
}

impl std::error::Error for AnalyserCheckError {}

impl From<InputError> for AnalyserCheckError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
