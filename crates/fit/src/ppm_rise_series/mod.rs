//! Several runs with purification off at different pressures: what comes through leaks, what by permeation.
//!
//! A leak lets in more the lower the inside pressure and carries oxygen and water as the room's air has them; permeation
//! does not depend on the pressure and carries far more water; outgassing was taken out run by run
//! ([`ppm_rise`](crate::ppm_rise)).

mod evaluate;
mod posterior;
mod result;
mod run_likelihood;

pub use evaluate::evaluate;
pub use result::{Consistency, ExtraRun, Note, PpmRiseSeries, PpmRiseSeriesError, RunPoint};

use crate::Estimate;
use crate::ppm_rise::{Quantity, RoomAir};

/// One run, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Name for messages.
    pub name: String,
    /// Mean pressure difference to the room in Pa, negative below it.
    pub pressure_difference_pa: f64,
    /// Pressure of the room in Pa.
    pub room_pressure_pa: f64,
    /// Composition of the room's air.
    pub room_air: RoomAir,
    /// Ingress of oxygen in ppm/h, outgassing excluded.
    pub oxygen_ingress: Option<Estimate>,
    /// Ingress of water in ppm/h, outgassing excluded.
    pub water_ingress: Option<Estimate>,
}

/// What holds for all runs.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Pressure difference at which results are stated, Pa, with its sign.
    pub reference_pressure_pa: f64,
    /// Pressure of the room for which results are stated, Pa.
    pub room_pressure_pa: f64,
    /// Room's air for which results are stated.
    pub room_air: RoomAir,
    /// Standard uncertainty of the oxygen analyser's scale, common to all runs, relative.
    pub oxygen_scale: f64,
    /// The same of the water analyser.
    pub water_scale: f64,
    /// Conductance over volume G/V for air flowing in, 1/s, from a pressure-change test.
    pub conductance_from_pressure: Option<Quantity>,
}
