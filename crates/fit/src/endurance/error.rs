//! What stops an evaluation.

use std::fmt;

/// Why a record gives no endurance run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EnduranceError {
    /// Too few readings with the purifier on.
    TooFewReadings {
        /// Found.
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
    /// The window holds no reading.
    WindowOutsideRecord {
        /// Window, s.
        window_s: [f64; 2],
        /// Record, s.
        record_s: [f64; 2],
    },
}

impl fmt::Display for EnduranceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings with the purifier on, at least {needed} are needed")
            }
            Self::StatusLength { statuses, readings } => write!(f, "{statuses} statuses for {readings} readings"),
            Self::WindowOutsideRecord { window_s, record_s } => write!(
                f,
                "the window from {} s to {} s lies outside the record, which runs from {} s to {} s",
                window_s[0], window_s[1], record_s[0], record_s[1]
            ),
        }
    }
}

impl std::error::Error for EnduranceError {}
