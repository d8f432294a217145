//! Antechamber cycles: evacuated and backfilled, how much of the room's oxygen is left when the inner door opens.
//!
//! Each cycle leaves p_low/p_high of what was there; what leaks in while the chamber is below the room's pressure, and
//! what the backfill gas carries, is added. Pressures are absolute and in Pa, throughputs in Pa·m³/s into the chamber,
//! oxygen as a mole fraction unless a name says ppm.

mod cycle_finder;
mod dilution;
mod error;
mod evaluate;
mod in_leak;
mod note;
mod result;

pub use cycle_finder::Cycle;
pub use error::AntechamberError;
pub use evaluate::evaluate;
pub use note::Note;
pub use result::{Antechamber, Series};

use crate::ppm_rise::Quantity;
use crate::pressure_change::Instrument;
use crate::{Estimate, Samples};

/// What was logged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record<'a> {
    /// Absolute pressure of the chamber, Pa. Readings of a gauge that counts from the room come with the room's
    /// pressure put back, and may then lie below zero by the errors of both.
    pub pressure: Samples<'a>,
    /// Pressure of the room, Pa, and its standard uncertainty.
    pub room_pressure_pa: Quantity,
    /// Times at which the clock started again, s on the record's axis.
    pub restarts_s: &'a [f64],
}

/// What is known before the readings are looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Volume of the chamber, m³, for throughput and step.
    pub volume_m3: Option<Quantity>,
    /// Volume of the enclosure, m³, for the step.
    pub enclosure_m3: Option<Quantity>,
    /// The gauge.
    pub gauge: Instrument,
    /// Whether the gauge counts from the room: then its scale acts on that difference, and the barometer errs with it.
    pub from_room: bool,
    /// Oxygen in the backfill gas, mole fraction.
    pub supply_oxygen: Quantity,
    /// Oxygen in the room's air, mole fraction.
    pub room_oxygen: f64,
    /// Leak of the chamber under vacuum from a hold of its own, Pa·m³/s, where there is one.
    pub leak_throughput: Option<Estimate>,
    /// Oxygen in the chamber to be reached, mole fraction.
    pub target: Option<f64>,
    /// Closed interval to be evaluated, s on the record's axis; all of it where absent.
    pub window_s: Option<[f64; 2]>,
}
