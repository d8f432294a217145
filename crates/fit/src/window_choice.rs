//! Which part of a record is evaluated.

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
