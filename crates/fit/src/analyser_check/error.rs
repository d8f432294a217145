//! What stops an evaluation.

use std::fmt;

/// Why a record gives no check.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AnalyserCheckError {
    /// No content is stated.
    NoReferenceGas,
    /// No stretch of the record stays at a stated content.
    NoPlateau,
    /// The slice of statuses has another length than the readings.
    StatusLength {
        /// Number of statuses.
        statuses: usize,
        /// Number of readings.
        readings: usize,
    },
}

impl fmt::Display for AnalyserCheckError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoReferenceGas => write!(f, "the content of the reference gas is not stated"),
            Self::NoPlateau => write!(f, "no stretch of the record stays at a reference gas for long enough"),
            Self::StatusLength { statuses, readings } => write!(f, "{statuses} statuses for {readings} readings"),
        }
    }
}

impl std::error::Error for AnalyserCheckError {}
