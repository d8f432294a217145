//! Regeneration record: how long a purifier's vessel was hot, purged with reducing gas and evacuated, and what that can
//! have restored.
//!
//! Oxygen bound by the bed leaves with two hydrogen molecules each, 2 H₂ + O₂ → 2 H₂O: the hydrogen given restores at
//! most half its amount of oxygen capacity. Temperatures in K, pressures in Pa absolute, flows in m³/s of the meter's
//! own cubic metres, times in s, amounts in mol.

mod dose;
mod error;
mod flow;
mod note;
mod result;
mod threshold;

pub use error::RegenerationError;
pub use note::Note;
pub use result::{Phase, PhaseKind, Regeneration, Series};

use crate::Samples;
use crate::ppm_rise::Quantity;

/// One logged channel of a regeneration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trace<'a> {
    /// Readings.
    pub samples: Samples<'a>,
    /// Standard uncertainty common to all readings: for thermometer and pressure gauge at the threshold, for the
    /// flow meter at zero.
    pub zero: f64,
    /// Standard uncertainty of the scale, relative; used for the flow meter.
    pub scale: f64,
    /// Step of the readings; 0 for none.
    pub resolution: f64,
    /// Time constant of the first-order response in s; 0 where immediate or unknown.
    pub response_tau_s: f64,
}

/// What was logged. What is absent leaves its results out.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Record<'a> {
    /// Temperature of the vessel, K.
    pub temperature: Option<Trace<'a>>,
    /// Flow of the reducing gas, m³/s as the meter shows it.
    pub flow: Option<Trace<'a>>,
    /// Pressure in the vessel, Pa absolute.
    pub pressure: Option<Trace<'a>>,
}

/// What the plan states.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Settings {
    /// Temperature at and above which the vessel counts as heated, K.
    pub plateau_k: Option<f64>,
    /// Pressure below which it counts as evacuated, Pa absolute.
    pub evacuated_below_pa: Option<f64>,
    /// Mole fraction of hydrogen in the reducing gas.
    pub hydrogen_fraction: Option<Quantity>,
    /// Amount of gas in a cubic metre as the meter counts it, mol/m³.
    pub amount_per_volume: Option<Quantity>,
}

/// Evaluates one regeneration.
///
/// Times above or below a threshold carry the instrument's error through the slope at each crossing: a plateau within
/// the thermometer's uncertainty of the threshold gives the wide interval that it deserves. A flow meter that shows
/// something while nothing flows has that zero taken off.
///
/// Checked by simulation with instrument errors drawn as stated: see `tests/coverage/regeneration.rs`.
///
/// # Errors
/// When nothing that could be evaluated was logged and stated; see [`RegenerationError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<Regeneration, RegenerationError> {
    let can_heat = record.temperature.is_some() && settings.plateau_k.is_some();
    let can_evacuate = record.pressure.is_some() && settings.evacuated_below_pa.is_some();
    if !can_heat && !can_evacuate && record.flow.is_none() {
        return Err(RegenerationError::NothingToEvaluate);
    }
    Ok(result::summarise(record, settings))
}
