//! What stops an evaluation.

use std::fmt;

use crate::input::InputError;

/// Why a record gives no leak under vacuum.
#[derive(Debug, Clone, PartialEq)]
pub enum VacuumHoldError {
    /// What was handed over does not fit.
    Input(InputError),
    /// Too few readings.
    TooFewReadings {
        /// Found in the window.
        found: usize,
        /// Needed at least.
        needed: usize,
    },
    /// The pressure falls: the vessel was being pumped, not held.
    NotHeld {
        /// Pressure at the start and at the end of the record or window, Pa.
        pressure_pa: [f64; 2],
        /// From when on the pressure runs away, s after the first reading, and the pressure there, Pa.
        runs_away: Option<[f64; 2]>,
    },
    /// Nowhere in the record does the vessel stay evacuated.
    NotEvacuated {
        /// Lowest pressure, Pa.
        lowest_pa: f64,
    },
    /// The readings do not determine a rise.
    NoFit,
}

impl fmt::Display for VacuumHoldError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::TooFewReadings { found, needed } => {
                write!(f, "{found} readings of the isolated vessel were found, at least {needed} are needed")
            }
            Self::NotHeld { pressure_pa: [from, to], runs_away } => {
                write!(f, "the pressure falls from {from:.4} Pa to {to:.4} Pa: the vessel was being pumped, not held")?;
                match runs_away {
                    Some([time_s, pressure_pa]) => write!(
                        f,
                        "; from {time_s:.0} s after the first reading on it runs away downwards from {pressure_pa:.4} Pa, \
                         which neither gas nor outgassing does: look at gauge, valve and pump"
                    ),
                    None => Ok(()),
                }
            }
            Self::NotEvacuated { lowest_pa } => {
                write!(
                    f,
                    "the vessel does not stay evacuated anywhere in the record; its lowest pressure is {lowest_pa:.0} Pa"
                )
            }
            Self::NoFit => write!(f, "the readings do not determine how fast the pressure rises"),
        }
    }
}

impl std::error::Error for VacuumHoldError {}

impl From<InputError> for VacuumHoldError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
