//! What stops an evaluation.

use std::fmt;

/// Why a record gives no antechamber cycles.
#[derive(Debug, Clone, PartialEq)]
pub enum AntechamberError {
    /// Too few readings.
    TooFewReadings {
        /// Found.
        found: usize,
        /// Needed at least.
        needed: usize,
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
    /// The chamber was not evacuated and backfilled anywhere in the record.
    NoCycle {
        /// Lowest and highest pressure, Pa.
        range_pa: [f64; 2],
    },
}

impl fmt::Display for AntechamberError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings of the antechamber's pressure were found, at least {needed} are needed")
            }
            Self::NotPositive { what, value } => write!(f, "{what} must be positive, found {value}"),
            Self::WindowOutsideRecord { window_s, record_s } => write!(
                f,
                "the window from {} s to {} s lies outside the record, which runs from {} s to {} s",
                window_s[0], window_s[1], record_s[0], record_s[1]
            ),
            Self::NoCycle { range_pa: [low, high] } => write!(
                f,
                "the antechamber was not evacuated and backfilled anywhere in the record; its pressure lies between \
                 {low:.0} Pa and {high:.0} Pa absolute"
            ),
        }
    }
}

impl std::error::Error for AntechamberError {}
