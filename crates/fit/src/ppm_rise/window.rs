//! The part of a record with the purifier off.

use std::fmt;

/// The part of a record that is evaluated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Start in s on the record's time axis.
    pub from_s: f64,
    /// End in s.
    pub to_s: f64,
    /// Why it starts there.
    pub start: WindowStart,
    /// Why it ends there.
    pub end: WindowEnd,
}

/// Why a window starts where it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowStart {
    /// Set by hand.
    Set,
    /// Start of the record.
    RecordStart,
    /// The content began to rise there.
    RiseStart,
}

/// Why a window ends where it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowEnd {
    /// Set by hand.
    Set,
    /// End of the record.
    RecordEnd,
    /// The content fell steeply there: the purifier was on again, or the gas was changed.
    BeforeFall,
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let start = match self.start {
            WindowStart::Set => "set by hand",
            WindowStart::RecordStart => "from the start of the record",
            WindowStart::RiseStart => "from where the content began to rise",
        };
        let end = match self.end {
            WindowEnd::Set => "set by hand",
            WindowEnd::RecordEnd => "to the end of the record",
            WindowEnd::BeforeFall => "to just before the content fell steeply",
        };
        if start == end { write!(f, "{start}") } else { write!(f, "{start} {end}") }
    }
}
