//! What an evaluation hands back.

use super::Note;
use crate::Estimate;
use crate::input::InputError;
use std::fmt;

/// Result of a constant-pressure test.
#[derive(Debug, Clone, PartialEq)]
pub struct MakeUp {
    /// Hourly leak rate at the reference pressure, 1/h. `None` where the pressure difference is not known.
    pub hourly_leak_rate: Option<Estimate>,
    /// Mean flow fed in (or extracted), m³/s at gas temperature and room pressure.
    pub makeup_flow_mean: Estimate,
    /// Share of the time with the pressure difference within the band.
    pub share_in_band: Option<f64>,
    /// Smallest and largest pressure difference of the whole record, Pa.
    pub difference_range_pa: Option<[f64; 2]>,
    /// Mean pressure difference over the window, Pa.
    pub mean_difference_pa: Option<f64>,
    /// Valve pulses per hour; `None` where gas flowed all the time.
    pub pulses_per_hour: Option<f64>,
    /// The part of the record that was evaluated.
    pub window: Window,
    /// Series for plotting.
    pub series: Series,
    /// Findings.
    pub notes: Vec<Note>,
}

/// The part of a record that was evaluated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Whether it was set by hand.
    pub set: bool,
    /// Whole valve cycles in it.
    pub cycles: Option<usize>,
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.set, self.cycles) {
            (true, _) => f.write_str("set by hand"),
            (false, Some(cycles)) => {
                write!(f, "{cycles} whole valve cycles, from the start of a pulse to that of another")
            }
            (false, None) => f.write_str("the whole record: gas flowed all the time"),
        }
    }
}

/// Series for plotting, in s, m³ and Pa.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Blocks: time in s.
    pub time_s: Vec<f64>,
    /// Gas fed in since the start of the window, m³ at gas temperature and room pressure.
    pub fed_m3: Vec<f64>,
    /// The same less what the enclosure stored: what leaked.
    pub leaked_m3: Vec<f64>,
    /// Pressure difference over the whole record: time in s, and Pa.
    pub difference_time_s: Vec<f64>,
    /// See above.
    pub difference_pa: Vec<f64>,
}

/// Why a record gives no make-up flow.
#[derive(Debug, Clone, PartialEq)]
pub enum MakeUpError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Too few readings.
    TooFewReadings {
        /// Found.
        found: usize,
        /// Needed at least.
        needed: usize,
    },
    /// A leak rate at no pressure difference has no meaning.
    ReferencePressureZero,
    /// The readings do not determine a flow.
    NoFit,
}

impl fmt::Display for MakeUpError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings of the make-up gas were found, at least {needed} are needed")
            }
            Self::ReferencePressureZero => write!(f, "a leak rate at a pressure difference of zero has no meaning"),
            Self::NoFit => write!(f, "the readings do not determine a flow"),
        }
    }
}

impl std::error::Error for MakeUpError {}

impl From<InputError> for MakeUpError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
