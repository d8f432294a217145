//! Make-up: the flow that holds the pressure difference equals the leak, once temperature and room pressure are taken out.
//!
//! With n·R = p·(V + κ·Δp)/T the gas that was fed in less what the enclosure stored is what leaked:
//! `q_leak = q_fed − V·(d ln p/dt − d ln T/dt)`, over whole valve cycles. Extraction that holds an under-pressure is the mirror
//! image. Flows are in m³/s at gas temperature and room pressure; leak rates are positive towards the room's pressure.

mod evaluate;
mod fed;
mod line;
mod result;
mod story;

pub use evaluate::evaluate;
pub use fed::Feed;
pub use result::{MakeUp, MakeUpError, Series, Window};
pub use story::Note;

use crate::Samples;
use crate::ppm_rise::Quantity;
use crate::pressure_change::Instrument;

/// What was logged while the pressure was held. Every channel has its own time base; times count from one origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record<'a> {
    /// Gas fed in, or extracted at under-pressure.
    pub feed: Feed<'a>,
    /// Pressure difference to the room, Pa, where logged.
    pub difference: Option<Samples<'a>>,
    /// Pressure difference that was held, Pa, where it is not logged.
    pub stated_difference_pa: Option<f64>,
    /// Pressure of the room, Pa, where logged.
    pub room_pressure: Option<Samples<'a>>,
    /// Pressure of the room where it is not logged, Pa.
    pub stated_room_pressure_pa: f64,
    /// Temperature of the gas, K, where logged.
    pub gas_temperature: Option<Samples<'a>>,
    /// Temperature where it is not logged, K.
    pub stated_temperature_k: f64,
}

/// What is known before the readings are looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Volume of the enclosure, m³.
    pub volume_m3: Quantity,
    /// Compliance of gloves and walls, m³/Pa.
    pub compliance_m3_per_pa: Quantity,
    /// Pressure difference that the leak rate is stated at, Pa; the mean of the record where absent.
    pub reference_pressure_pa: Option<f64>,
    /// Conditions that the meter's volumes refer to: temperature in K and pressure in Pa; those of the gas where absent.
    pub meter_reference: Option<[f64; 2]>,
    /// The flow meter, in m³/s or (for a running total) m³; for a valve, the relative uncertainty of its flow is its scale.
    pub meter: Instrument,
    /// The gauge.
    pub gauge: Instrument,
    /// Band in which the pressure difference is to stay, Pa.
    pub band_pa: Option<[f64; 2]>,
    /// Closed interval to be evaluated, s on the record's axis; whole valve cycles of the record where absent.
    pub window_s: Option<[f64; 2]>,
}
