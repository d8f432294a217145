//! Vacuum hold: a vessel pumped down and isolated; its pressure rises by what leaks in and what the walls give off.
//!
//! V·dp/dt = Q_leak(p) + Q_outgassing(t). A leak is steady until the pressure nears that of the room; outgassing decays.
//! [`evaluate`] parts the two. Pressures are absolute and in Pa, throughputs in Pa·m³/s, positive into the vessel.

mod error;
mod evaluate;
mod hold_finder;
mod note;
mod result;

pub use error::VacuumHoldError;
pub use evaluate::evaluate;
pub use note::Note;
pub use result::{Series, VacuumHold};

pub(crate) use hold_finder::noise_of;

use crate::Samples;
use crate::ppm_rise::Quantity;
use crate::pressure_change::Instrument;
use std::fmt;

/// What was logged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record<'a> {
    /// Absolute pressure in the vessel, Pa. Readings of a gauge that counts from the room come with the room's
    /// pressure put back.
    pub pressure: Samples<'a>,
    /// Temperature of the gas, K, where logged.
    pub gas_temperature: Option<Samples<'a>>,
    /// Pressure of the room, Pa.
    pub room_pressure_pa: f64,
    /// Times at which the clock started again, s on the record's axis: a hold does not reach across one.
    pub restarts_s: &'a [f64],
}

/// What is known before the readings are looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Volume of the vessel, m³.
    pub volume_m3: Quantity,
    /// The gauge; its zero does not matter here.
    pub gauge: Instrument,
    /// How the gauge and the room's pressure go together.
    pub room: RoomReference,
    /// Closed interval to be evaluated, s on the record's axis; found from the readings where absent.
    pub window_s: Option<[f64; 2]>,
    /// How long the vessel was pumped before the hold, s, where the record does not show it.
    pub pumped_s: Option<f64>,
}

/// What the weather does to the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RoomReference {
    /// Nothing: the gauge is absolute, or the room's pressure was logged and put back.
    Followed,
    /// The gauge counts from the room, whose pressure is known at one time only.
    NotLogged,
}

/// The part of a record in which the vessel was isolated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Start, s on the record's axis.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Why it ends there.
    pub end: WindowEnd,
}

/// Why a hold ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowEnd {
    /// Set by hand.
    Set,
    /// With the record.
    RecordEnd,
    /// The vessel was vented or filled.
    Filled,
    /// The pressure fell: the vessel was pumped on again.
    Pumped,
    /// The clock started again.
    Restart,
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.end {
            WindowEnd::Set => "set by hand",
            WindowEnd::RecordEnd => "from the lowest pressure to the end of the record",
            WindowEnd::Filled => "from the lowest pressure to just before gas was let in",
            WindowEnd::Pumped => "from the lowest pressure to just before the pressure fell again",
            WindowEnd::Restart => "from the lowest pressure to where the clock started again",
        })
    }
}
