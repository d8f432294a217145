//! What the joint fit hands back.

use crate::Estimate;
use crate::input::InputError;
use crate::ppm_rise::Species;
use std::fmt;

/// Result of a joint fit over runs. Rates in ppm/h at the reference pressure; none is negative.
#[derive(Debug, Clone, PartialEq)]
pub struct PpmRiseSeries {
    /// Steady ingress of oxygen: leak and permeation together.
    pub oxygen_ingress: Option<Estimate>,
    /// Steady ingress of water: leak and permeation together.
    pub water_ingress: Option<Estimate>,
    /// Oxygen through leaks.
    pub oxygen_from_leak: Option<Estimate>,
    /// Oxygen by permeation.
    pub oxygen_from_permeation: Option<Estimate>,
    /// Water through leaks.
    pub water_from_leak: Option<Estimate>,
    /// Water by permeation.
    pub water_from_permeation: Option<Estimate>,
    /// Hourly leak rate at the reference pressure, 1/h.
    pub hourly_leak_rate: Estimate,
    /// Conductance over volume G/V, 1/s.
    pub conductance_per_volume: Estimate,
    /// Correlation of (G/V, permeation of oxygen, permeation of water); rows and columns of species not measured are 0.
    pub correlation: [[f64; 3]; 3],
    /// Conductance from pressure against conductance from the rises, where both exist.
    pub consistency: Option<Consistency>,
    /// The runs and the fit, for a plot of ingress against pressure.
    pub points: Vec<RunPoint>,
    /// Findings for the reader.
    pub notes: Vec<Note>,
}

/// Comparison of the conductance from a pressure-change test with that from the rises.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Consistency {
    /// G/V from the rises alone, 1/s, and its standard uncertainty.
    pub from_rises_per_s: [f64; 2],
    /// G/V from pressure, 1/s, and its standard uncertainty.
    pub from_pressure_per_s: [f64; 2],
    /// Difference over its standard uncertainty.
    pub pull: f64,
    /// Two-sided p-value of the difference.
    pub p_value: f64,
}

/// One run beside the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct RunPoint {
    /// Run.
    pub name: String,
    /// Species.
    pub species: Species,
    /// Pressure difference in Pa.
    pub pressure_difference_pa: f64,
    /// Ingress found in the run, ppm/h, and its standard uncertainty.
    pub ingress_ppm_per_h: [f64; 2],
    /// Ingress by the joint fit, ppm/h.
    pub fitted_ppm_per_h: f64,
    /// Part of that through leaks, ppm/h.
    pub leak_ppm_per_h: f64,
    /// Difference over the run's standard uncertainty.
    pub pull: f64,
    /// Whether the run gives only an upper bound.
    pub is_bound: bool,
}

/// The run that would separate what the given ones do not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExtraRun {
    /// One clearly below the room's pressure.
    AtUnderPressure,
    /// One at or above the room's pressure.
    AtOverPressure,
    /// A longer one.
    Longer,
}

impl fmt::Display for ExtraRun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::AtUnderPressure => {
                "a run at a clearly lower pressure than the room, within what gloves and windows bear"
            }
            Self::AtOverPressure => "a run at or above the room's pressure, where no air leaks in",
            Self::Longer => "a longer run, in which outgassing has decayed",
        })
    }
}

/// A finding of the joint fit.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// Leak and permeation cannot be told apart: each is a bound, the sum is known.
    NotSeparable {
        /// Species.
        species: Species,
        /// What would separate them.
        extra_run: ExtraRun,
    },
    /// The conductances from pressure and from the rises agree.
    ConductancesAgree {
        /// From the rises over from pressure.
        ratio: f64,
        /// Standard uncertainty of the ratio.
        standard_uncertainty: f64,
        /// p-value of the difference.
        p_value: f64,
    },
    /// Air that comes in through leaks for every 100 Pa below the room's pressure.
    ThroughLeaks {
        /// Oxygen, ppm/h.
        oxygen_ppm_per_h: f64,
        /// Volumes of air an hour.
        air_per_h: f64,
    },
    /// The conductances from pressure and from the rises disagree.
    ConductancesDisagree {
        /// p-value.
        p_value: f64,
    },
    /// A run does not fit the others.
    RunStandsOut {
        /// Run.
        name: String,
        /// Species.
        species: Species,
        /// Difference over its standard uncertainty.
        pull: f64,
    },
    /// A run gave only a bound.
    RunIsBound {
        /// Run.
        name: String,
        /// Species.
        species: Species,
    },
    /// A part is not distinguishable from zero.
    PartNotSeen {
        /// Species.
        species: Species,
        /// Through leaks (else by permeation).
        leak: bool,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotSeparable { species, extra_run } => write!(
                f,
                "these runs do not tell {species} through leaks from {species} by permeation; their sum is known, each is at most its bound; {extra_run} would tell"
            ),
            Self::ConductancesAgree { ratio, standard_uncertainty, p_value } => write!(
                f,
                "the leak found from the rises is {ratio:.2} ± {:.2} (k = 2) of that found from pressure: they agree (p = {p_value:.2})",
                2.0 * standard_uncertainty
            ),
            Self::ThroughLeaks { oxygen_ppm_per_h, air_per_h } => write!(
                f,
                "every 100 Pa below the room's pressure let in {air_per_h:.1e} volumes of air an hour through leaks, {oxygen_ppm_per_h:.3} ppm/h of oxygen; at or above the room's pressure none comes in that way"
            ),
            Self::ConductancesDisagree { p_value } => write!(
                f,
                "the leak found from pressure and the leak found from the rises disagree (p = {p_value:.4}): check volume, scale of the analysers and that both tests had the same boundary"
            ),
            Self::RunStandsOut { name, species, pull } => {
                write!(
                    f,
                    "the {species} ingress of run {name} stands {pull:.1} standard uncertainties off the common fit"
                )
            }
            Self::RunIsBound { name, species } => {
                write!(f, "run {name} gives only an upper bound for {species}; it counts as such")
            }
            Self::PartNotSeen { species, leak } => write!(
                f,
                "{species} {} is not distinguishable from none",
                if *leak { "through leaks" } else { "by permeation" }
            ),
        }
    }
}

/// Why runs cannot be fitted together.
#[derive(Debug, Clone, PartialEq)]
pub enum PpmRiseSeriesError {
    /// What was handed over does not fit.
    Input(InputError),
    /// No run at all, or no species in any.
    NoRuns,
}

impl fmt::Display for PpmRiseSeriesError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input(error) => write!(f, "{error}"),
            Self::NoRuns => write!(f, "no run with an ingress of oxygen or water"),
        }
    }
}

impl std::error::Error for PpmRiseSeriesError {}

impl From<InputError> for PpmRiseSeriesError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}
