//! Clean-up: how fast a purifier brings a dose down, and how far.
//!
//! With purification on, the content of the gas follows x(t) = x∞ + A·e^(−t/τ); the analyser follows the gas with its own
//! first-order lag. [`evaluate`] finds the time constant τ of the gas and the floor x∞ with the analyser's response
//! taken out. Mole fractions are pure numbers, times seconds, unless a name says otherwise.
//!
//! In the decay alone τ and the lag are exchangeable: which is which comes from the stated response, over whose
//! uncertainty the result is averaged, and from the rise of the dose where the record holds it.

mod blocks;
mod columns;
mod error;
mod likelihood;
mod loading;
mod noise_models;
mod note;
mod posterior;
mod response;
mod result;
mod rise;
mod scan;
mod search;
mod seen;
mod sound;
mod window;

pub use error::CleanUpError;
pub use note::Note;
pub(crate) use response::RESPONSE_UNCERTAINTY;
pub use result::{CleanUp, Series};
pub(crate) use sound::Sound;
pub use window::Window;

use crate::input::InputError;
use crate::ppm_rise::{Quantity, Trace};

/// What is known before the readings are looked at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Volume of the enclosure in m³, for the effective clean-up flow.
    pub volume_m3: Option<Quantity>,
    /// Circulation flow in m³/s, for the single-pass efficiency.
    pub flow_m3_per_s: Option<Quantity>,
    /// Content to be reached, as a mole fraction.
    pub target: Option<f64>,
    /// The analyser's response.
    pub lag: Lag,
    /// When purification was switched on, s on the record's time axis, where known.
    pub purifier_on_s: Option<f64>,
    /// Closed interval to be evaluated, s on the record's time axis; found from the readings where absent.
    pub window_s: Option<[f64; 2]>,
}

/// What is known of the time constant of the analyser's first-order response.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Lag {
    /// Nothing: anything that analysers of trace gases do is thought possible.
    #[default]
    Unknown,
    /// Stated, in s; a value of 0 means an immediate response. Without an uncertainty of its own it is known to 10 %.
    Stated(Quantity),
    /// Known, in s, as far as the result is concerned: its uncertainty is accounted for elsewhere.
    Exactly(f64),
}

/// Evaluates one clean-up.
///
/// `trace` holds contents as mole fractions; censored readings enter as bounds. The result is averaged over noise (floor and
/// relative part, correlated part), the analyser's lag and the floor, which is not negative but for the error of the
/// analyser's zero, and over whether the purifier takes up a smaller share at high content. A slow tail is used where the
/// readings support it clearly. Readings that stand out alone are set aside.
///
/// Checked by simulation with lags of 0, 0.1 and 0.4 τ, records of 3 to 10 τ and steps of 0.1 ppm: see
/// `tests/coverage/clean_up.rs` and the method's page for coverage, bias and spread.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`CleanUpError`].
pub fn evaluate(trace: &Trace<'_>, settings: &Settings) -> Result<CleanUp, CleanUpError> {
    check(trace, settings)?;
    let sound = Sound::of(trace);
    let mut found = evaluate_sound(&sound.trace(), settings)?;
    let Window { from_s, to_s, .. } = found.window;
    found.spikes = sound.spikes_s.iter().filter(|t| (from_s..=to_s).contains(*t)).count();
    (found.series.record_time_s, found.series.record_ppm) = result::record(trace);
    Ok(found)
}

/// Evaluates a record without readings that stand out alone.
pub(crate) fn evaluate_sound(trace: &Trace<'_>, settings: &Settings) -> Result<CleanUp, CleanUpError> {
    let window::Found { window: mut decay, rise, begins_high } = window::find(trace, settings)?;
    let blocks = blocks::gather(trace, &decay, [0.0; 2]);
    let start = search::begin(&blocks, settings)?;
    if let Some((window, blocks, fit)) = rise.and_then(|rise| search::fit_with_rise(&start, trace, decay, rise)) {
        return Ok(result::summarise(trace, settings, window, &blocks, &fit));
    }
    let fit = search::fit(&start, trace)?;
    if begins_high && let Some((onset_s, uncertainty_s)) = window::end_of_plateau(trace, &decay, fit.decay()) {
        (decay.onset_s, decay.onset_uncertainty_s) = (onset_s, uncertainty_s);
    }
    Ok(result::summarise(trace, settings, decay, &blocks, &fit))
}

fn check(trace: &Trace<'_>, settings: &Settings) -> Result<(), CleanUpError> {
    if !trace.status.is_empty() && trace.status.len() != trace.samples.len() {
        return Err(InputError::StatusLength { statuses: trace.status.len(), readings: trace.samples.len() }.into());
    }
    let lag_s = match settings.lag {
        Lag::Stated(lag) => 1.0 + lag.value,
        Lag::Exactly(lag_s) => 1.0 + lag_s,
        Lag::Unknown => 1.0,
    };
    let positive = [
        ("volume", settings.volume_m3.map_or(1.0, |volume| volume.value)),
        ("circulation flow", settings.flow_m3_per_s.map_or(1.0, |flow| flow.value)),
        ("target", settings.target.unwrap_or(1.0)),
        ("response time", lag_s),
    ];
    match positive.into_iter().find(|(_, value)| !(*value > 0.0)) {
        Some((what, value)) => Err(InputError::NotPositive { what, value }.into()),
        None => Ok(()),
    }
}
