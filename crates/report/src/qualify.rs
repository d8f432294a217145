//! The main job: a plan in, tests evaluated, limits judged.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use crate::bench::LeakFlags;
use crate::catalogue::Method;
use crate::data::Folders;
use crate::history::HistoryReport;
use crate::method::checked::Corrected;
use crate::method::{self, Outcome, TestError};
use crate::plan::{CheckResult, Plan, PlanError, Test};
use crate::result::{CheckLine, Qualification, RESULT_SCHEMA, TestResult};
use crate::tightness_class;
use crate::verdict::{self, Judged};

/// Name and version as results carry them.
pub const PROGRAM: &str = concat!("tightfit ", env!("CARGO_PKG_VERSION"));

/// A qualification: the result, and all that a dossier shows beside it.
#[derive(Debug)]
pub struct Qualified {
    /// The plan.
    pub plan: Plan,
    /// The result as scripts read it.
    pub result: Qualification,
    /// What became of each test, in the order of the plan; `Err` where its files could not be used.
    pub outcomes: Vec<Result<Outcome, TestError>>,
    /// Earlier results beside these, where they were recorded.
    pub earlier: Option<HistoryReport>,
}

/// Why there is no qualification at all.
#[derive(Debug)]
pub enum QualifyError {
    /// The plan cannot be read.
    Read {
        /// The file as the user gave it.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The plan has mistakes.
    Plan(PlanError),
}

impl QualifyError {
    /// What to do about it, where the message does not say it already.
    #[must_use]
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Read { source, .. } if source.kind() == io::ErrorKind::InvalidData => {
                Some("save it as UTF-8 text; tightfit draft writes a first plan")
            }
            Self::Read { .. } => {
                Some("check the name and that the file may be read; tightfit draft writes a first plan")
            }
            Self::Plan(_) => None,
        }
    }
}

impl fmt::Display for QualifyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read { file, source } if source.kind() == io::ErrorKind::InvalidData => {
                write!(f, "{file}: the plan is not UTF-8 text")
            }
            Self::Read { file, source } => write!(f, "{file}: the plan cannot be read: {source}"),
            Self::Plan(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for QualifyError {}

/// Reads the plan at `path`.
///
/// # Errors
/// See [`QualifyError`].
pub fn read_plan(path: &Path) -> Result<Plan, QualifyError> {
    let file = path.display().to_string();
    Plan::parse(&file, &plan_text(path)?).map_err(QualifyError::Plan)
}

/// The text of the plan at `path`.
pub(crate) fn plan_text(path: &Path) -> Result<String, QualifyError> {
    std::fs::read_to_string(path).map_err(|source| QualifyError::Read { file: path.display().to_string(), source })
}

/// The folders in which the plan's files may lie.
#[must_use]
pub fn folders(plan_path: &Path, data_root: Option<PathBuf>) -> Folders {
    let plan = plan_path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Folders { plan: plan.to_owned(), data_root, ..Folders::default() }
}

/// Evaluates every test of a plan and judges every limit. `progress` is told the test that begins.
#[must_use]
pub fn qualify(plan: Plan, folders: &Folders, mut progress: impl FnMut(&str)) -> Qualified {
    let outcomes = evaluate(&plan, folders, &mut progress);
    let judged: Vec<_> = outcomes.iter().flatten().flat_map(judged).collect();
    let verdicts = verdict::judge(&plan, &judged);
    let overall = verdict::overall(&plan, &verdicts, outcomes.iter().any(Result::is_err));
    let result = Qualification {
        schema: RESULT_SCHEMA.to_owned(),
        program: PROGRAM.to_owned(),
        plan_sha256: plan.sha256.clone(),
        enclosure: plan.enclosure.id.clone(),
        tests: plan.tests.iter().zip(&outcomes).map(|(test, outcome)| test_result(test, outcome)).collect(),
        verdicts,
        checks: plan.checks.iter().map(check_line).collect(),
        overall,
    };
    Qualified { plan, result, outcomes, earlier: None }
}

/// Evaluates all tests: those that use the results of others after these, whatever their order in the plan.
fn evaluate(plan: &Plan, folders: &Folders, progress: &mut impl FnMut(&str)) -> Vec<Result<Outcome, TestError>> {
    let mut outcomes: Vec<Option<Result<Outcome, TestError>>> = plan.tests.iter().map(|_| None).collect();
    let mut turn = |plan: &Plan, turn: Turn, outcomes: &mut Vec<Option<Result<Outcome, TestError>>>| {
        for (index, test) in plan.tests.iter().enumerate().filter(|(_, test)| Turn::of(test.method) == turn) {
            progress(&test.id);
            outcomes[index] = Some(run(plan, test, folders, outcomes));
        }
    };
    turn(plan, Turn::Check, &mut outcomes);
    let corrected = Corrected::of(plan, &outcomes);
    for later in [Turn::Independent, Turn::UsesLeak, Turn::UsesIngress] {
        turn(&corrected.plan, later, &mut outcomes);
    }
    let mut outcomes: Vec<_> = outcomes.into_iter().flatten().collect();
    corrected.note_in(&mut outcomes);
    method::purifiers::compare(plan, &mut outcomes);
    outcomes
}

/// When a test is evaluated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Turn {
    /// What it finds corrects the others.
    Check,
    Independent,
    /// Takes the leak that a pressure test found, where there is one.
    UsesLeak,
    /// Takes the ingress that a rise found.
    UsesIngress,
}

impl Turn {
    fn of(method: Method) -> Self {
        match method {
            Method::AnalyserCheck => Self::Check,
            Method::PpmRise | Method::PpmRiseSeries | Method::Antechamber => Self::UsesLeak,
            Method::Regeneration => Self::UsesIngress,
            _ => Self::Independent,
        }
    }
}

fn run(
    plan: &Plan,
    test: &Test,
    folders: &Folders,
    earlier: &[Option<Result<Outcome, TestError>>],
) -> Result<Outcome, TestError> {
    match test.method {
        Method::PressureChange => method::pressure_change::run(plan, test, folders),
        Method::PressureChangeSeries => method::pressure_change_series::run(plan, test, folders),
        Method::PpmRiseSeries => method::ppm_rise_series::run(plan, test, folders, earlier),
        Method::PpmRise => method::ppm_rise::run(plan, test, folders, earlier),
        Method::CleanUp => method::clean_up::run(plan, test, folders),
        Method::OperatingLog => method::operating_log::run(plan, test, folders),
        Method::CleanUpSeries => method::clean_up_series::run(plan, test, folders),
        Method::PurgeDown => method::purge_down::run(plan, test, folders),
        Method::Endurance => method::endurance::run(plan, test, folders),
        Method::AnalyserCheck => method::analyser_check::run(plan, test, folders),
        Method::Regeneration => method::regeneration::run(plan, test, folders, earlier),
        Method::Antechamber => method::antechamber::run(plan, test, folders, earlier),
        Method::VacuumHold => method::vacuum_hold::run(plan, test, folders),
        Method::MakeUp => method::make_up::run(plan, test, folders),
        Method::Unknown => Err(TestError::NotComputed { method: test.method.name() }),
    }
}

/// A test as verdicts see it; a series is judged run by run.
fn judged(outcome: &Outcome) -> Vec<Judged<'_>> {
    let (id, problems) = (outcome.result.id.as_str(), outcome.result.problems.as_slice());
    let single = Judged {
        id,
        run: None,
        method: &outcome.result.method,
        problems,
        estimates: &outcome.estimates,
        window_s: outcome.window_s,
    };
    let runs = outcome.runs.iter().map(|run| Judged {
        run: Some(&run.name),
        estimates: &run.estimates,
        window_s: run.window_s,
        ..single
    });
    std::iter::once(single).filter(|_| outcome.runs.is_empty()).chain(runs).collect()
}

/// A test whose files could not be used still stands in the result, with the reason.
fn test_result(test: &Test, outcome: &Result<Outcome, TestError>) -> TestResult {
    match outcome {
        Ok(outcome) => TestResult { tightness_class: tightness_class::assign(test, outcome), ..outcome.result.clone() },
        Err(error) => {
            TestResult { problems: vec![error.to_string()], ..TestResult::empty(&test.id, test.method.name()) }
        }
    }
}

fn check_line(check: &crate::plan::Check) -> CheckLine {
    let result = match check.result {
        CheckResult::Ok => "ok",
        CheckResult::NotOk => "not ok",
        CheckResult::NotDone => "not done",
    };
    CheckLine { item: check.item.clone(), result: result.to_owned(), note: check.note.clone() }
}

impl Qualified {
    /// The errors of tests whose files could not be used: test, error.
    pub fn errors(&self) -> impl Iterator<Item = (&str, &TestError)> {
        let tests = self.plan.tests.iter().zip(&self.outcomes);
        tests.filter_map(|(test, outcome)| Some((test.id.as_str(), outcome.as_ref().err()?)))
    }

    /// Exit code of the program.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        self.result.overall.exit_code()
    }
}

/// A qualification by the flags of the bench instead of a plan; files may lie anywhere.
///
/// # Errors
/// [`QualifyError::Plan`] where a flag has a wrong value.
pub fn qualify_by_flags(flags: &LeakFlags) -> Result<Qualified, QualifyError> {
    let plan = Plan::parse("flags", &flags.plan_text()).map_err(QualifyError::Plan)?;
    let folders = Folders { plan: PathBuf::from("."), data_root: Some(PathBuf::from("/")), ..Folders::default() };
    Ok(qualify(plan, &folders, |_| {}))
}
