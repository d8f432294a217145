//! From a plan's test to results: one file a method.

pub(crate) mod analyser_check;
pub(crate) mod antechamber;
mod check_of_the_hold;
pub(crate) mod checked;
pub(crate) mod clean_up;
pub(crate) mod clean_up_series;
pub(crate) mod endurance;
mod fed_in;
mod leak_from_pressure;
pub(crate) mod make_up;
pub(crate) mod operating_log;
mod outcome;
mod permeation;
pub(crate) mod ppm_rise;
pub(crate) mod ppm_rise_series;
pub(crate) mod pressure_change;
pub(crate) mod pressure_change_series;
pub(crate) mod pressure_channels;
pub(crate) mod purge_down;
pub(crate) mod purifiers;
mod reducing_gas;
pub(crate) mod regeneration;
mod rows;
mod stretch;
mod vacuum_channels;
pub(crate) mod vacuum_hold;
pub(crate) mod validity;

use std::fmt;
use std::rc::Rc;

use tightfit_fit::pressure_change::PressureChange;
use tightfit_fit::{Estimate, Kind, SamplesError};

pub(crate) use rows::OUTSIDE;

use crate::data::DataError;
use crate::plot::{Clock, Figure};
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
    pub(crate) drawings: Vec<Drawing>,
    /// How the files were read: file and choices.
    pub files: Vec<FileAccount>,
    /// The contents of the raw files, by name, for a dossier that carries its data.
    pub raw: Vec<(String, Rc<Vec<u8>>)>,
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
pub(crate) struct Drawing {
    /// What was inside the boundary, where that tells runs apart.
    pub(crate) title: String,
    /// The evaluation.
    pub(crate) evaluation: Box<dyn Evaluation>,
    /// Time that counts as zero, s since 1970, where logs are dated.
    pub(crate) origin_s: Option<f64>,
}

/// Something that happened during a record.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct EventLine {
    /// From and to, s on the data's time axis.
    pub(crate) span_s: [f64; 2],
    /// What it was.
    pub(crate) words: String,
}

/// What the dossier shows of an evaluation, whatever its method.
pub(crate) trait Evaluation: fmt::Debug {
    /// The evaluated window, s on the data's time axis.
    fn window_s(&self) -> [f64; 2];

    /// Its figures, times read on the clock.
    fn figures(&self, clock: &Clock) -> Vec<Figure>;

    /// What happened during the record, numbered as the marks of the figure called "record".
    fn events(&self) -> Vec<EventLine> {
        Vec::new()
    }

    /// The evaluation as an analyser check, for the tests that used the analyser.
    fn analyser_check(&self) -> Option<&checked::Checked> {
        None
    }

    /// The evaluation as a pressure-change test, for methods that build on its leak.
    fn pressure_change(&self) -> Option<&PressureChange> {
        None
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
    /// The record cannot be evaluated by the method.
    NotEvaluable {
        /// Why, as the estimator says it.
        error: Box<dyn std::error::Error + Send + Sync>,
        /// What to do about it.
        hint: &'static str,
    },
    /// A run of a series has no pressure, logged or stated.
    RunPressureMissing,
    /// The method is one that this version does not compute.
    NotComputed {
        /// The method.
        method: &'static str,
    },
    /// The volume of the evacuated vessel is not given.
    VesselVolumeMissing,
    /// A valve is logged, and what flows through it is not given.
    ValveFlowMissing,
    /// The positions of a valve are not from 0 to 1.
    ValvePosition {
        /// Least and largest.
        range: [f64; 2],
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
            Self::NotEvaluable { hint, .. } => (*hint).to_owned(),
            Self::RunPressureMissing => {
                "log the gauge pressure, or state it: [[test.run]] pressure = \"-250 Pa\"".to_owned()
            }
            Self::NotComputed { .. } => "remove the test from the plan; the others are reported".to_owned(),
            Self::VesselVolumeMissing => {
                "add [enclosure.antechamber] volume = \"38 L\", or to the test vessel = \"enclosure\" or volume = \"12 L\"".to_owned()
            }
            Self::ValveFlowMissing => "add to the test: valve_flow = { value = \"2.0 L/min\", uncertainty = \"2 %\" }".to_owned(),
            Self::ValvePosition { .. } => "log 0 and 1, or say what the numbers are: [test.columns] valve_open = { column = \"…\", unit = \"%\" }".to_owned(),
            Self::VolumeMissing { .. } => "add it to [enclosure]: volume = \"0.92 m3\"".to_owned(),
        }
    }
}

impl fmt::Display for TestError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Data(error) => error.fmt(f),
            Self::Samples { column, error } => write!(f, "column \"{column}\": {error}"),
            Self::NotEvaluable { error, .. } => error.fmt(f),
            Self::RunPressureMissing => {
                write!(f, "a run has no pressure, and leak and permeation part only by the pressure")
            }
            Self::NotComputed { method } => write!(f, "the method \"{method}\" is not computed by this version"),
            Self::VesselVolumeMissing => {
                write!(f, "the volume of the evacuated vessel is needed for a leak throughput")
            }
            Self::ValveFlowMissing => {
                write!(f, "the valve is logged, and the flow through it when open is needed for a leak rate")
            }
            Self::ValvePosition { range: [from, to] } => write!(
                f,
                "valve_open holds values from {} to {}, where 0 is closed and 1 is open",
                tightfit_quantity::display_number(*from, 4),
                tightfit_quantity::display_number(*to, 4)
            ),
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

impl TestError {
    /// For what an estimator says where its error has no advice of its own.
    fn not_evaluable(error: impl std::error::Error + Send + Sync + 'static) -> Self {
        Self::NotEvaluable {
            error: Box::new(error),
            hint: "look at the file with tightfit inspect, or set the window by hand",
        }
    }
}

/// What to do about a window that holds no reading.
pub(crate) const CORRECT_WINDOW: &str = "correct the window of the test, or leave it out to have it found";

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
    // A vacuum of many kilopascals needs no tenths.
    let step = if pressure_pa.abs() < 10_000.0 { 0.1 } else { 10.0 };
    format!("{} Pa", ((pressure_pa / step).round() * step * 10.0).round() / 10.0)
}
