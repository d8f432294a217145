//! Purge-down: how inert gas drives the air out of an enclosure.
//!
//! The content follows x = x_gas + (x₀ − x_gas)·e^(−K·N) with N the volumes exchanged, N = ∫q dt/V, and the mixing factor
//! K, which is 1 for a perfectly stirred enclosure. On an axis of volumes exchanged this is the decay that
//! [`clean_up`] fits, with its noise over decades, its censored readings and its floor; only the axis is
//! of its own. Mole fractions are pure numbers, times seconds, flows m³/s at the enclosure's temperature and pressure.
//!
//! A lag of the analyser only shifts a steady exponential; readings are held against the gas one lag and dead time earlier.

mod axis;
mod note;

pub use note::Note;

use axis::PurgeAxis;

use crate::clean_up::{self, CleanUp, CleanUpError, Lag, RESPONSE_UNCERTAINTY};
use crate::input::InputError;
use crate::ppm_rise::{Quantity, ReadingStatus, Trace};
use crate::{BudgetLine, Estimate, Kind, Samples};

const PPM: f64 = 1e6;

/// What is known before the readings are looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings<'a> {
    /// Purge flow.
    pub flow: Flow<'a>,
    /// Volume of the enclosure in m³.
    pub volume_m3: Option<Quantity>,
    /// Content of the supply gas, where stated.
    pub supply: Option<Quantity>,
    /// Content to be reached, as a mole fraction.
    pub target: Option<f64>,
    /// Time constant and dead time of the analyser together, s.
    pub delay_s: f64,
    /// Closed interval to be evaluated, s on the record's time axis; found from the readings where absent.
    pub window_s: Option<[f64; 2]>,
}

/// Flow of purge gas, m³/s at the enclosure's temperature and pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Flow<'a> {
    /// Not known; taken as steady.
    Unknown,
    /// A steady flow.
    Constant(Quantity),
    /// Logged.
    Logged {
        /// Flow.
        samples: Samples<'a>,
        /// Relative standard uncertainty of the meter.
        relative_uncertainty: f64,
    },
}

/// Result of a purge-down.
#[derive(Debug, Clone, PartialEq)]
pub struct PurgeDown {
    /// Time constant at the mean flow, s.
    pub time_constant: Estimate,
    /// Mixing factor K; needs flow and volume.
    pub mixing_factor: Option<Estimate>,
    /// Content that it comes down to, ppm.
    pub floor: Estimate,
    /// Time from the start of the purge to the target, s; needs the target.
    pub time_to_limit: Option<Estimate>,
    /// The evaluated part, s on the record's time axis.
    pub window_s: [f64; 2],
    /// When the purge began, s.
    pub onset_s: f64,
    /// Whether the window was set by hand.
    pub window_set: bool,
    /// Readings in the window: measured, below the reporting limit, above the range.
    pub readings: [usize; 3],
    /// Readings around the reporting limit that were set aside.
    pub set_aside: usize,
    /// Readings in the window that stand out alone and were set aside.
    pub spikes: usize,
    /// Readings while no gas flowed.
    pub idle: usize,
    /// Series for plotting.
    pub series: clean_up::Series,
    /// Findings.
    pub notes: Vec<Note>,
}

/// Evaluates one purge-down.
///
/// `trace` holds contents as mole fractions; readings beyond the analyser's range and below its reporting limit enter as
/// bounds. Checked by simulation over five decades with steady and changing flow: see `tests/coverage/purge_down.rs`.
///
/// # Errors
/// When the record allows no estimate at all; see [`CleanUpError`].
pub fn evaluate(trace: &Trace<'_>, settings: &Settings<'_>) -> Result<PurgeDown, CleanUpError> {
    if let Some(volume) = settings.volume_m3.filter(|volume| !(volume.value > 0.0)) {
        return Err(InputError::NotPositive { what: "volume", value: volume.value }.into());
    }
    let axis = PurgeAxis::new(&settings.flow);
    let purged = OnAxis::new(trace, &axis, settings.delay_s);
    let samples = Samples::new(&purged.time_s, &purged.value)
        .map_err(|_| CleanUpError::TooFewReadings { found: purged.time_s.len(), needed: 8 })?;
    let on_axis = Trace { samples, status: &purged.status, analyser: trace.analyser };
    let decay = clean_up::evaluate(
        &on_axis,
        &clean_up::Settings {
            target: settings.target,
            lag: Lag::Exactly(0.0),
            window_s: settings.window_s.map(|ends| ends.map(|t| axis.purge_s(t - settings.delay_s))),
            ..clean_up::Settings::default()
        },
    )?;
    Ok(summarise(decay, &axis, settings, purged.idle))
}

/// Readings on the axis of purge time; those while no gas flowed are left out.
struct OnAxis {
    time_s: Vec<f64>,
    value: Vec<f64>,
    status: Vec<ReadingStatus>,
    idle: usize,
}

impl OnAxis {
    fn new(trace: &Trace<'_>, axis: &PurgeAxis, delay_s: f64) -> Self {
        let mut out = Self { time_s: Vec::new(), value: Vec::new(), status: Vec::new(), idle: 0 };
        let least = 1e-6 * trace.samples.cadence_s();
        for (index, (time, value)) in trace.samples.time_s().iter().zip(trace.samples.value()).enumerate() {
            let purge_s = axis.purge_s(time - delay_s);
            if out.time_s.last().is_some_and(|last| purge_s < last + least) {
                out.idle += 1;
                continue;
            }
            out.time_s.push(purge_s);
            out.value.push(*value);
            out.status.push(trace.status_of(index));
        }
        out
    }
}

fn summarise(decay: CleanUp, axis: &PurgeAxis, settings: &Settings<'_>, idle: usize) -> PurgeDown {
    let time = |purge_s: f64| axis.time_s(purge_s) + settings.delay_s;
    let window_s = [decay.window.from_s, decay.window.to_s].map(time);
    // The gas began to change one delay before the reading did.
    let onset_s = axis.last_time_s(decay.window.onset_s);
    let onset_purge_s = decay.window.onset_s;
    let time_to_limit = decay.time_to_limit.as_ref().map(|found| {
        let delay_s = RESPONSE_UNCERTAINTY * settings.delay_s;
        let mut budget = found.budget.clone();
        if delay_s > 0.0 {
            budget.push(BudgetLine::new("delay of the analyser", delay_s));
        }
        let after = found.distribution.mapped(|after_s| axis.time_s(onset_purge_s + after_s) - onset_s);
        let mut estimate =
            Estimate { kind: found.kind, ..Estimate::from_distribution(after.with_normal_error(delay_s), budget) };
        if found.kind != Kind::Estimate {
            estimate.interval95[1] = f64::INFINITY;
        }
        if found.kind == Kind::NotDetermined {
            estimate.interval95[0] = f64::NEG_INFINITY;
        }
        estimate
    });
    let mixing_factor = mixing_factor(&decay.time_constant, axis, settings);
    let notes = notes(&decay, axis, settings, mixing_factor.as_ref());
    let mut series = decay.series;
    for t in series.record_time_s.iter_mut().chain(&mut series.time_s) {
        *t = time(*t);
    }
    PurgeDown {
        time_constant: decay.time_constant,
        mixing_factor,
        floor: decay.floor,
        time_to_limit,
        window_s,
        onset_s,
        window_set: decay.window.set,
        readings: decay.readings,
        set_aside: decay.set_aside,
        spikes: decay.spikes,
        idle,
        series,
        notes,
    }
}

/// V/(q·τ), with the errors of volume and flow meter.
fn mixing_factor(time_constant: &Estimate, axis: &PurgeAxis, settings: &Settings<'_>) -> Option<Estimate> {
    let volume = settings.volume_m3?;
    let flow = axis.mean_flow_m3_per_s?;
    let meter = match settings.flow {
        Flow::Unknown => return None,
        Flow::Constant(flow) => flow.standard_uncertainty / flow.value,
        Flow::Logged { relative_uncertainty, .. } => relative_uncertainty,
    };
    let own = time_constant.distribution.mapped(|tau_s| -volume.value / flow / tau_s).scaled(-1.0);
    let value = own.median();
    let size = volume.standard_uncertainty / volume.value;
    let budget = vec![
        BudgetLine::new("time constant", own.standard_deviation()),
        BudgetLine::new("purge flow", meter * value),
        BudgetLine::new("volume of the enclosure", size * value),
    ];
    Some(Estimate::from_distribution(own.with_normal_error(value * meter.hypot(size)), budget))
}

fn notes(decay: &CleanUp, axis: &PurgeAxis, settings: &Settings<'_>, mixing_factor: Option<&Estimate>) -> Vec<Note> {
    let mut notes = Vec::new();
    if axis.mean_flow_m3_per_s.is_none() {
        notes.push(Note::FlowUnknown);
    } else if settings.volume_m3.is_none() {
        notes.push(Note::VolumeUnknown);
    }
    match mixing_factor {
        Some(found) if found.value > 1.0 => {
            notes.push(Note::MixingAboveOne { value: found.value, possible: found.interval95[0] <= 1.0 });
        }
        Some(found) if found.interval95[1] < 0.7 => notes.push(Note::PoorMixing { value: found.value }),
        _ => {}
    }
    if let (Some(volume), Some(flow)) = (settings.volume_m3, axis.mean_flow_m3_per_s) {
        let volumes = (decay.window.to_s - decay.window.from_s) * flow / volume.value;
        notes.push(Note::Exchanged { volumes });
    }
    if let Some(supply) = settings.supply {
        let ppm = [decay.floor.interval95[0], (supply.value + 2.0 * supply.standard_uncertainty) * PPM];
        if ppm[0] > ppm[1] {
            notes.push(Note::FloorAboveSupply { ppm: [decay.floor.value, supply.value * PPM] });
        }
    }
    let of_a_purifier =
        |note: &clean_up::Note| matches!(note, clean_up::Note::ImpliedIngress { .. } | clean_up::Note::LagUnknown);
    notes.extend(decay.notes.iter().filter(|note| !of_a_purifier(note)).cloned().map(Note::Decay));
    notes
}
