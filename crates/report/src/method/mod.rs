//! From a plan's test to results: one file a method.

pub(crate) mod clean_up;
mod outcome;
mod permeation;
pub(crate) mod ppm_rise;
pub(crate) mod ppm_rise_series;
pub(crate) mod pressure_change;
pub(crate) mod pressure_change_series;
mod pressure_channels;
mod rows;
pub(crate) mod validity;

use std::fmt;

use tightfit_fit::Estimate;
use tightfit_fit::clean_up::{CleanUp, CleanUpError};
use tightfit_fit::ppm_rise::{PpmRise, PpmRiseError};
use tightfit_fit::ppm_rise_series::PpmRiseSeriesError;
use tightfit_fit::pressure_change::{Event, PressureChange, PressureChangeError};
use tightfit_fit::{Kind, SamplesError};

use crate::data::DataError;
use crate::result::{BudgetEntry, ResultValue, ResultValueKind, TestResult};

/// What became of a test.
#[derive(Debug)]
pub struct Outcome {
    /// The result as scripts read it.
    pub result: TestResult,
    /// The estimates behind it, by name, in the units of the result.
    pub estimates: Vec<(&'static str, Estimate)>,
    /// Length of the evaluated window, s.
    pub window_s: f64,
    /// The runs of a series; empty for a single test.
    pub runs: Vec<RunEstimates>,
    /// What the plots are drawn from.
    pub drawings: Vec<Drawing>,
    /// How the files were read: file and choices.
    pub files: Vec<FileAccount>,
    /// The contents of the raw files, by name, for a dossier that carries its data.
    pub raw: Vec<(String, Vec<u8>)>,
}

/// The estimates of one run of a series.
#[derive(Debug)]
pub struct RunEstimates {
    /// Name of the run: what was inside its boundary.
    pub name: String,
    /// Its estimates, by name, in the units of the result.
    pub estimates: Vec<(&'static str, Estimate)>,
    /// Length of its window, s.
    pub window_s: f64,
}

/// An evaluation to be drawn.
#[derive(Debug)]
pub struct Drawing {
    /// What was inside the boundary, where that tells runs apart.
    pub title: String,
    /// The evaluation.
    pub evaluation: Evaluation,
    /// Time that counts as zero, s since 1970, where logs are dated.
    pub origin_s: Option<f64>,
}

/// An evaluation by one of the methods.
#[derive(Debug)]
pub enum Evaluation {
    /// Of a pressure-change test.
    PressureChange(Box<PressureChange>),
    /// Of a run with purification off.
    PpmRise(Box<PpmRise>),
    /// Of a clean-up.
    CleanUp(Box<CleanUp>),
}

impl Drawing {
    /// The evaluated window, s on the data's time axis.
    #[must_use]
    pub fn window_s(&self) -> [f64; 2] {
        match &self.evaluation {
            Evaluation::PressureChange(evaluation) => [evaluation.window.from_s, evaluation.window.to_s],
            Evaluation::PpmRise(evaluation) => ppm_rise::window_s(evaluation),
            Evaluation::CleanUp(evaluation) => [evaluation.window.from_s, evaluation.window.to_s],
        }
    }

    /// What happened during the record.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        match &self.evaluation {
            Evaluation::PressureChange(evaluation) => &evaluation.events,
            Evaluation::PpmRise(_) | Evaluation::CleanUp(_) => &[],
        }
    }
}

/// How a file was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileAccount {
    /// The file.
    pub file: String,
    /// What was chosen and why, one sentence each.
    pub choices: Vec<String>,
    /// Columns: header, what it was taken for, unit, why.
    pub columns: Vec<[String; 4]>,
    /// Rows read and rows used.
    pub rows: [u64; 2],
    /// Rows set aside: reason, count, first lines.
    pub set_aside: Vec<(String, u64, String)>,
    /// Readings set aside inside used rows, and other remarks.
    pub remarks: Vec<String>,
}

/// Why a test gave no result.
#[derive(Debug)]
pub enum TestError {
    /// Its files cannot be used.
    Data(DataError),
    /// A channel is not what a channel must be.
    Samples {
        /// The column.
        column: String,
        /// Why.
        error: SamplesError,
    },
    /// The record cannot be evaluated.
    PressureChange(PressureChangeError),
    /// The run cannot be evaluated.
    PpmRise(PpmRiseError),
    /// The clean-up cannot be evaluated.
    CleanUp(CleanUpError),
    /// The runs cannot be fitted together.
    PpmRiseSeries(PpmRiseSeriesError),
    /// A run of a series has no pressure, logged or stated.
    RunPressureMissing,
    /// The method is one that this version does not compute.
    NotComputed {
        /// The method.
        method: &'static str,
    },
    /// The volume is needed and not given.
    VolumeMissing {
        /// What for.
        needed_for: &'static str,
    },
}

impl TestError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Data(error) => error.hint(),
            Self::Samples { .. } => "look at the column with tightfit inspect".to_owned(),
            Self::PressureChange(PressureChangeError::WindowOutsideRecord { .. }) => {
                "correct the window of the test, or leave it out to have it found".to_owned()
            }
            Self::PressureChange(PressureChangeError::ReferencePressureUnusable { .. }) => {
                "state it in the test: reference_pressure = \"-1000 Pa\"".to_owned()
            }
            Self::PressureChange(_) | Self::PpmRise(_) | Self::CleanUp(_) => {
                "look at the file with tightfit inspect, or set the window by hand".to_owned()
            }
            Self::PpmRiseSeries(_) => "look at each run with method = \"ppm-rise\" first".to_owned(),
            Self::RunPressureMissing => {
                "log the gauge pressure, or state it: [[test.run]] pressure = \"-250 Pa\"".to_owned()
            }
            Self::NotComputed { .. } => "remove the test from the plan; the others are reported".to_owned(),
            Self::VolumeMissing { .. } => "add it to [enclosure]: volume = \"0.92 m3\"".to_owned(),
        }
    }
}

impl fmt::Display for TestError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Data(error) => error.fmt(f),
            Self::Samples { column, error } => write!(f, "column \"{column}\": {error}"),
            Self::PressureChange(error) => error.fmt(f),
            Self::PpmRise(error) => error.fmt(f),
            Self::PpmRiseSeries(error) => error.fmt(f),
            Self::RunPressureMissing => {
                write!(f, "a run has no pressure, and leak and permeation part only by the pressure")
            }
            Self::CleanUp(error) => error.fmt(f),
            Self::NotComputed { method } => write!(f, "the method \"{method}\" is not computed by this version"),
            Self::VolumeMissing { needed_for } => write!(f, "the enclosure's volume is needed for {needed_for}"),
        }
    }
}

impl std::error::Error for TestError {}

impl From<DataError> for TestError {
    fn from(error: DataError) -> Self {
        Self::Data(error)
    }
}

impl From<PressureChangeError> for TestError {
    fn from(error: PressureChangeError) -> Self {
        Self::PressureChange(error)
    }
}

impl From<CleanUpError> for TestError {
    fn from(error: CleanUpError) -> Self {
        Self::CleanUp(error)
    }
}

impl From<PpmRiseSeriesError> for TestError {
    fn from(error: PpmRiseSeriesError) -> Self {
        Self::PpmRiseSeries(error)
    }
}

impl From<PpmRiseError> for TestError {
    fn from(error: PpmRiseError) -> Self {
        Self::PpmRise(error)
    }
}

/// Whether there is a number to judge and to show: degenerate records (all readings alike, two readings) may leave none.
pub(crate) fn is_determined(estimate: &Estimate) -> bool {
    estimate.kind != Kind::NotDetermined && estimate.value.is_finite()
}

/// An estimate in the form of the result.
pub(crate) fn result_value(estimate: &Estimate, unit: &str) -> ResultValue {
    let finite = |value: f64| value.is_finite().then_some(value);
    let determined = is_determined(estimate);
    ResultValue {
        value: finite(estimate.value).filter(|_| determined),
        unit: unit.to_owned(),
        standard_uncertainty: finite(estimate.standard_uncertainty).filter(|_| determined),
        interval95: estimate.interval95.map(|end| finite(end).filter(|_| determined)),
        kind: match estimate.kind {
            _ if !determined => ResultValueKind::NotDetermined,
            Kind::Estimate => ResultValueKind::Estimate,
            Kind::UpperBound => ResultValueKind::UpperBound,
            Kind::LowerBound => ResultValueKind::LowerBound,
            Kind::NotDetermined => ResultValueKind::NotDetermined,
        },
        at: estimate.at_pa.map(pressure_text),
        upper95: estimate.upper95.and_then(finite),
        degrees_of_freedom: finite(estimate.degrees_of_freedom).filter(|dof| *dof < 1e6),
        budget: estimate
            .budget
            .iter()
            .filter(|line| determined && line.standard_uncertainty.is_finite())
            .map(budget_entry)
            .collect(),
    }
}

fn budget_entry(line: &tightfit_fit::BudgetLine) -> BudgetEntry {
    BudgetEntry { source: line.source.clone(), standard_uncertainty: line.standard_uncertainty }
}

/// A pressure difference as results state it: `-1000 Pa`, `-498.7 Pa`.
pub(crate) fn pressure_text(pressure_pa: f64) -> String {
    format!("{} Pa", (pressure_pa * 10.0).round() / 10.0)
}
