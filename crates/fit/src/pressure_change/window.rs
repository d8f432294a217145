//! The settled part of a record, and what disturbed it.

use std::fmt;

/// The part of a record that is evaluated.
#[derive(Debug, Clone, PartialEq)]
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
    /// After pumping and the first settling of the gas.
    AfterPumping,
    /// After a disturbance too large to be modelled.
    AfterDisturbance,
}

/// Why a window ends where it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowEnd {
    /// Set by hand.
    Set,
    /// End of the record.
    RecordEnd,
    /// The pressure was let out or pumped again.
    BeforeVenting,
    /// A disturbance too large to be modelled.
    BeforeDisturbance,
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let start = match self.start {
            WindowStart::Set => "set by hand",
            WindowStart::RecordStart => "from the start of the record",
            WindowStart::AfterPumping => "from after pumping and first settling",
            WindowStart::AfterDisturbance => "from after a large disturbance",
        };
        let end = match self.end {
            WindowEnd::Set => "set by hand",
            WindowEnd::RecordEnd => "to the end of the record",
            WindowEnd::BeforeVenting => "to just before the pressure was let out or pumped again",
            WindowEnd::BeforeDisturbance => "to just before a large disturbance",
        };
        if start == end { write!(f, "{start}") } else { write!(f, "{start} {end}") }
    }
}

/// Something that happened inside the record.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When it began, in s.
    pub from_s: f64,
    /// When it was over, in s.
    pub to_s: f64,
    /// Size: Pa for pressures, K for temperatures.
    pub size: f64,
    /// What it looks like.
    pub kind: EventKind,
}

/// What an event looks like.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EventKind {
    /// The pressure jumped and stayed: valve, door, tray.
    Step,
    /// The pressure jumped and came back: a hand in a glove.
    GlovePull,
    /// Single readings far off, in the named channel.
    Outlier {
        /// Channel.
        channel: String,
    },
    /// No readings.
    Gap {
        /// Channel.
        channel: String,
    },
}

impl fmt::Display for EventKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Step => write!(f, "pressure step"),
            Self::GlovePull => write!(f, "glove pull or other passing disturbance"),
            Self::Outlier { channel } => write!(f, "outlier in {channel}"),
            Self::Gap { channel } => write!(f, "gap in {channel}"),
        }
    }
}
