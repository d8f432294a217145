//! What every evaluation asks of what it is handed.

use std::fmt;

/// Why record and settings do not fit each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InputError {
    /// The slice of statuses has another length than the readings.
    StatusLength {
        /// Number of statuses.
        statuses: usize,
        /// Number of readings.
        readings: usize,
    },
    /// A quantity that must be positive is not.
    NotPositive {
        /// What it is.
        what: &'static str,
        /// Value found, in SI.
        value: f64,
    },
    /// The window holds no reading.
    WindowOutsideRecord {
        /// Window, s.
        window_s: [f64; 2],
        /// Record, s.
        record_s: [f64; 2],
    },
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::StatusLength { statuses, readings } => write!(f, "{statuses} statuses for {readings} readings"),
            Self::NotPositive { what, value } => write!(f, "{what} must be positive, found {value}"),
            Self::WindowOutsideRecord { window_s, record_s } => write!(
                f,
                "the window from {} s to {} s lies outside the record, which runs from {} s to {} s",
                window_s[0], window_s[1], record_s[0], record_s[1]
            ),
        }
    }
}

impl std::error::Error for InputError {}
