//! What is known before the readings are looked at.

use super::Quantity;

/// Settings of an evaluation.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Volume of the enclosure in m³; needed only where make-up flow was logged.
    pub volume_m3: Option<Quantity>,
    /// The part of the record that is evaluated.
    pub window: WindowChoice,
}

/// Choice of the window.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum WindowChoice {
    /// Found from the readings.
    #[default]
    Auto,
    /// Set by hand or known from the log: closed interval in seconds on the record's time axis.
    Set {
        /// Start in s.
        from_s: f64,
        /// End in s.
        to_s: f64,
    },
}
