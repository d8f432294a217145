//! What stops an evaluation.

use std::fmt;

/// Why a record gives no clean-up.
#[derive(Debug, Clone, PartialEq)]
pub enum CleanUpError {
    /// Too few readings that are numbers.
    TooFewReadings {
        /// Found in the window.
        found: usize,
        /// Needed at least.
        needed: usize,
    },
    /// The slice of statuses has another length than the readings.
    StatusLength {
        /// Number of statuses.
        statuses: usize,
        /// Number of readings.
        readings: usize,
    },
    /// A quantity that must be positive is not.
    NotPositive {
        /// Which.
        what: &'static str,
        /// What was found.
        value: f64,
    },
    /// The window holds no reading.
    WindowOutsideRecord {
        /// Window, s.
        window_s: [f64; 2],
        /// Record, s.
        record_s: [f64; 2],
    },
    /// Nothing in the record comes down.
    NoDecay,
    /// The readings do not determine a time constant.
    NoFit,
}

impl fmt::Display for CleanUpError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings of the decay are numbers, at least {needed} are needed")
            }
            Self::StatusLength { statuses, readings } => write!(f, "{statuses} statuses for {readings} readings"),
            Self::NotPositive { what, value } => write!(f, "{what} must be positive, found {value}"),
            Self::WindowOutsideRecord { window_s, record_s } => write!(
                f,
                "the window from {} s to {} s lies outside the record, which runs from {} s to {} s",
                window_s[0], window_s[1], record_s[0], record_s[1]
            ),
            Self::NoDecay => write!(f, "the content does not come down anywhere in the record"),
            Self::NoFit => write!(f, "the readings do not determine a time constant"),
        }
    }
}

impl std::error::Error for CleanUpError {}
