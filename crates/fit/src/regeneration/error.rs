//! What stops an evaluation.

use std::fmt;

/// Why a record gives no regeneration.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegenerationError {
    /// No channel with what is needed to evaluate it.
    NothingToEvaluate,
}

impl fmt::Display for RegenerationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NothingToEvaluate => write!(
                f,
                "nothing can be evaluated: neither a vessel temperature with a stated plateau, nor a vessel pressure with a stated threshold, nor a flow was found"
            ),
        }
    }
}

impl std::error::Error for RegenerationError {}
