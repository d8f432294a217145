//! What an evaluation hands back.

use super::{Event, Note, Window};
use crate::Estimate;

/// Result of a pressure-change test. Leak rates are signed, positive towards the room's pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct PressureChange {
    /// The part of the record that was evaluated, and why.
    pub window: Window,
    /// Steps, glove pulls, outliers and gaps that were found.
    pub events: Vec<Event>,
    /// Readings of the inside pressure: how many stood in the record and what became of them.
    pub rows: RowUse,
    /// Mean pressure difference to the room over the window in Pa.
    pub mean_difference_pa: f64,
    /// Room pressure at the start of the window in Pa.
    pub room_pressure_at_start_pa: f64,
    /// Hourly leak rate at the reference pressure, 1/h.
    pub hourly_leak_rate: Estimate,
    /// Leak conductance over volume, 1/s.
    pub conductance_per_volume: Estimate,
    /// Leak conductance G, m³/s; needs the volume.
    pub leak_conductance: Option<Estimate>,
    /// Throughput G·|Δp_ref| at the reference pressure, Pa·m³/s; needs the volume.
    pub leak_throughput: Option<Estimate>,
    /// Hourly leak rate by the two-point evaluation at the window's mean difference, 1/h.
    pub two_point: Option<Estimate>,
    /// Hourly leak rate by the mass point at the window's mean difference, 1/h, with its published upper limit.
    pub mass_point: Option<Estimate>,
    /// Plain mean slope of the inside pressure (as logged) over the window, Pa/s.
    pub pressure_rate: Estimate,
    /// Superimposed leak: found over applied, 1.
    pub superimposed_leak_ratio: Option<Estimate>,
    /// How the fit went.
    pub diagnostics: Diagnostics,
    /// Findings for the reader, most important first.
    pub notes: Vec<Note>,
    /// Data, fit and residuals for plotting.
    pub series: Series,
}

/// What became of the readings of the inside pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RowUse {
    /// In the record.
    pub read: usize,
    /// Used by the conductance model.
    pub used: usize,
    /// Before or after the window.
    pub outside_window: usize,
    /// In a gap of the barometer.
    pub without_room_pressure: usize,
    /// Outliers and readings during a glove pull.
    pub disturbed: usize,
}

/// Diagnostics of the fit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Diagnostics {
    /// One entry a thermometer or reference vessel.
    pub thermometers: Vec<ThermometerDiagnostics>,
    /// Compliance in m³/Pa with its standard uncertainty after the fit; needs the volume.
    pub compliance_m3_per_pa: Option<[f64; 2]>,
    /// How much wider the interval is than it would be if the residuals were uncorrelated (1: not wider).
    pub interval_widening: f64,
    /// Lag-1 autocorrelation of the standardised one-step prediction errors.
    pub innovation_autocorrelation: f64,
    /// p-value of a Jarque-Bera test of the prediction errors for normality.
    pub normality_p_value: f64,
    /// Number of outliers set aside.
    pub outliers: usize,
    /// Clock offsets that were looked for.
    pub clock_offsets: Vec<ClockOffset>,
}

/// What the data tell about the clock of one channel against that of the inside pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockOffset {
    /// Channel.
    pub name: String,
    /// Offset in s, positive when its clock is ahead.
    pub offset_s: f64,
    /// Standard uncertainty in s.
    pub standard_uncertainty_s: f64,
    /// Whether the data tell it; otherwise the best guess was used, and the budget allows for the whole range.
    pub is_told: bool,
    /// Whether the clock was said to be off, and not merely another one.
    pub doubted: bool,
}

/// What the fit found about one thermometer.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermometerDiagnostics {
    /// Its name.
    pub name: String,
    /// First-order lag behind the gas in s, and its standard uncertainty.
    pub lag_s: [f64; 2],
    /// White noise of one reading in K.
    pub noise_sd_k: f64,
    /// Standard deviation of its slow wander against the mean gas in K.
    pub wander_sd_k: f64,
    /// Memory of the wander in s.
    pub wander_memory_s: f64,
    /// Difference of its own estimate of the leak to that of all, in joint standard uncertainties.
    pub pull: f64,
}

/// Series for plotting, block averages of at most about 1500 points.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// The whole record, so that the window can be drawn in it: time in s.
    pub record_time_s: Vec<f64>,
    /// The whole record: pressure difference to the room in Pa.
    pub record_difference_pa: Vec<f64>,
    /// Window: time in s.
    pub time_s: Vec<f64>,
    /// Window: pressure difference to the room in Pa.
    pub difference_pa: Vec<f64>,
    /// Window: absolute pressure inside in Pa.
    pub absolute_pa: Vec<f64>,
    /// Window: room pressure in Pa.
    pub room_pa: Vec<f64>,
    /// Window: pressure difference in Pa that the fitted leak alone would have left, temperature and room steady.
    pub fitted_difference_pa: Vec<f64>,
    /// Window: mean gas temperature in K that the pressure tells, with the fitted leak taken out.
    pub gas_temperature_k: Vec<f64>,
    /// One entry a thermometer or reference vessel.
    pub thermometers: Vec<ThermometerSeries>,
}

/// Readings of one thermometer and what the fit makes of them.
#[derive(Debug, Clone, PartialEq)]
pub struct ThermometerSeries {
    /// Its name.
    pub name: String,
    /// Time in s.
    pub time_s: Vec<f64>,
    /// Reading in K.
    pub reading_k: Vec<f64>,
    /// Fitted reading in K (without the wander).
    pub fitted_k: Vec<f64>,
    /// Reading minus fit in K.
    pub residual_k: Vec<f64>,
}
