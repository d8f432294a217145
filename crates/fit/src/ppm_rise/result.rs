//! What an evaluation hands back.

use super::{Note, Window};
use crate::Estimate;

/// Result of one run with purification off.
#[derive(Debug, Clone, PartialEq)]
pub struct PpmRise {
    /// Steady ingress of oxygen at x = 0 in ppm/h, outgassing excluded.
    pub oxygen_ingress: Option<Estimate>,
    /// Steady ingress of water at x = 0 in ppm/h, outgassing excluded. An upper bound where outgassing cannot be told
    /// from ingress.
    pub water_ingress: Option<Estimate>,
    /// Hourly leak rate by the oxygen method of ISO 10648-2 in 1/h: rise from the first to the last reading of the
    /// window over 20 % and the time between, positive for a rise. Outgassing and permeation are in it.
    pub hourly_leak_rate_oxygen_method: Option<Estimate>,
    /// Mean pressure difference to the room over the window in Pa, where known.
    pub mean_difference_pa: Option<f64>,
    /// All about the evaluation of oxygen.
    pub oxygen: Option<SpeciesFit>,
    /// All about the evaluation of water.
    pub water: Option<SpeciesFit>,
    /// Findings for the reader, most important first.
    pub notes: Vec<Note>,
}

/// Which species.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Species {
    /// Oxygen.
    Oxygen,
    /// Water vapour.
    Water,
}

impl std::fmt::Display for Species {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Oxygen => "oxygen",
            Self::Water => "water",
        })
    }
}

/// Evaluation of one species.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeciesFit {
    /// Steady ingress at x = 0 in ppm/h, outgassing excluded.
    pub ingress: Estimate,
    /// Rise at the end of the window in ppm/h, what is left of outgassing included: an upper limit of the ingress.
    pub rise_at_end: Estimate,
    /// The part of the record that was evaluated, and why.
    pub window: Window,
    /// Readings: how many stood in the record and what became of them.
    pub rows: RowUse,
    /// Models of the outgassing with their weights, heaviest first; those of less than a thousandth are left out.
    pub models: Vec<ModelWeight>,
    /// How the fit went.
    pub diagnostics: Diagnostics,
    /// Readings, fit and parts for plotting.
    pub series: Series,
}

/// What became of the readings of one species.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RowUse {
    /// In the record.
    pub read: usize,
    /// Used as measured values.
    pub used: usize,
    /// Used as "below the reporting limit".
    pub used_below_limit: usize,
    /// Used as "above the range".
    pub used_above_range: usize,
    /// Before or after the window.
    pub outside_window: usize,
    /// Single readings far off, set aside.
    pub outliers: usize,
}

/// A model of the outgassing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outgassing {
    /// None.
    None,
    /// a·e^(−t/τ)/τ.
    OneExponential,
    /// Two such terms.
    TwoExponentials,
    /// c·(t + t₀)^(−n).
    PowerLaw,
}

impl std::fmt::Display for Outgassing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::None => "no outgassing",
            Self::OneExponential => "outgassing that decays exponentially",
            Self::TwoExponentials => "outgassing that decays with two time constants",
            Self::PowerLaw => "outgassing that decays as a power of time",
        })
    }
}

/// A model, how far the readings support it, and what it says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ModelWeight {
    /// The model.
    pub outgassing: Outgassing,
    /// Its probability among the models considered.
    pub weight: f64,
    /// The steady ingress it gives in ppm/h.
    pub ingress_ppm_per_h: f64,
    /// Standard uncertainty of that in ppm/h.
    pub standard_uncertainty_ppm_per_h: f64,
    /// Time constants of its outgassing in h, 0 where it has none; for the power law exponent and t₀ in h.
    pub shape: [f64; 2],
}

/// Diagnostics of a fit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Diagnostics {
    /// Standard deviation of one reading at low content, ppm.
    pub floor_noise_ppm: f64,
    /// Standard deviation of one reading relative to its value, where that dominates.
    pub relative_noise: f64,
    /// Share of the correlated part in the variance of a single reading.
    pub correlated_share: f64,
    /// Memory of the correlated part in s.
    pub correlation_time_s: f64,
    /// How much wider the interval is than with uncorrelated noise (1: not wider).
    pub interval_widening: f64,
    /// Lag-1 autocorrelation of the standardised one-step prediction errors.
    pub innovation_autocorrelation: f64,
    /// p-value of a Jarque-Bera test of the prediction errors for normality.
    pub normality_p_value: f64,
    /// Share of the readings in the window that are censored.
    pub censored_share: f64,
    /// Standard uncertainty that the ingress would have, in ppm/h, if something came off the walls as slowly as the run is
    /// long.
    pub slow_term_uncertainty_ppm_per_h: f64,
    /// Plain straight line through the measured readings, ppm/h: what the record would seem to say without a model.
    pub straight_line_ppm_per_h: f64,
    /// Share of the rise over the window that the fit ascribes to outgassing.
    pub outgassed_share: f64,
}

/// Series for plotting: block averages of at most about 1500 points, in s and ppm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// The whole record: time in s.
    pub record_time_s: Vec<f64>,
    /// The whole record: readings in ppm (censored ones at the limit).
    pub record_ppm: Vec<f64>,
    /// Window: time in s of each block.
    pub time_s: Vec<f64>,
    /// Window: readings in ppm (censored ones at the limit).
    pub reading_ppm: Vec<f64>,
    /// Window: what the block says.
    pub censored: Vec<bool>,
    /// Window: fitted reading in ppm, averaged over the models.
    pub fitted_ppm: Vec<f64>,
    /// Part of the fit: content at the start, after dilution, and the analyser's first response.
    pub start_part_ppm: Vec<f64>,
    /// Part of the fit: came in steadily (leak and permeation).
    pub ingress_part_ppm: Vec<f64>,
    /// Part of the fit: outgassed.
    pub outgassing_part_ppm: Vec<f64>,
    /// Part of the fit: brought by the gas fed in.
    pub make_up_part_ppm: Vec<f64>,
    /// Reading minus fit in ppm; NaN nowhere, 0 for censored blocks that agree with the fit.
    pub residual_ppm: Vec<f64>,
}
