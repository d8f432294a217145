//! Why ppm rises: a working log of a plan, explained.

mod channels;
mod earlier;
mod page;
mod result;
mod words;

use std::fmt;
use std::path::{Path, PathBuf};

use tightfit_fit::diagnose::{self as fit, Cause, Diagnosis, Explanation};

use crate::PROGRAM;
use crate::catalogue::Method;
use crate::data::{DataError, Folders, TestData};
use crate::method::operating_log;
use crate::method::validity::{self, Findings};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock};
use crate::result::TestResult;
use crate::write::{Existing, NewFile, WriteError, write_folder};

pub(crate) use page::words_of;
pub use result::{DIAGNOSIS_SCHEMA, DiagnosisResult, Evidence, ExplanationResult, NextMeasurement, Speaks};
pub(crate) use words::{letters, name};

/// The page of a diagnosis, and its JSON.
pub const PAGE_FILE: &str = "diagnosis.html";
/// Its machine-readable twin.
pub const RECORD_FILE: &str = "diagnosis.json";

/// The leader must be this probable and as many times as probable as the next.
const DECIDED: f64 = 0.5;
const AHEAD: f64 = 2.0;

/// A diagnosis with what its page is drawn from.
#[derive(Debug)]
pub struct Diagnosed {
    /// As scripts read it.
    pub result: DiagnosisResult,
    /// The numbers behind it; none where the log could not be judged.
    diagnosis: Option<Diagnosis>,
    /// The conclusion with times as the page gives them.
    conclusion: String,
    /// What was looked at, s on the log's clock.
    window_s: [f64; 2],
    pub(crate) clock: Clock,
}

/// Why there is no diagnosis.
#[derive(Debug)]
pub enum DiagnosisError {
    /// The plan names no working log.
    NoLog,
    /// The plan has no test of that name with the method.
    NoSuchTest {
        /// The name.
        test: String,
    },
    /// The files cannot be used.
    Data(DataError),
}

impl DiagnosisError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::NoLog => {
                "add one: [[test]] id = \"log\", method = \"operating-log\", files = [\"log.csv\"]".to_owned()
            }
            Self::NoSuchTest { .. } => "name a test with method = \"operating-log\"".to_owned(),
            Self::Data(error) => error.hint(),
        }
    }
}

impl fmt::Display for DiagnosisError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoLog => write!(f, "the plan has no test with the method \"operating-log\""),
            Self::NoSuchTest { test } => write!(f, "the plan has no working log called \"{test}\""),
            Self::Data(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for DiagnosisError {}

impl From<DataError> for DiagnosisError {
    fn from(error: DataError) -> Self {
        Self::Data(error)
    }
}

/// Diagnoses the working log of a plan: the test called `test`, or the first one. Other tests of the plan, and what the
/// store of results holds of the enclosure, tell the state that the log started from; those made while it ran or after
/// count as evidence.
///
/// # Errors
/// See [`DiagnosisError`].
pub fn diagnose(
    plan: &Plan,
    test: Option<&str>,
    folders: &Folders,
    store: &[tightfit_history::Entry],
) -> Result<Diagnosed, DiagnosisError> {
    let log = find(plan, test)?;
    let data = TestData::read(plan, log, &log.files, folders)?;
    let window_s = operating_log::window(&data, log);
    let channels = channels::Channels::gather(&data, window_s, channels::room_pressure(plan))?;
    let mut background = channels::background(plan, &channels);
    let tests = earlier_tests(plan, folders);
    let mut notes = earlier::take(&mut background, tests.as_ref(), store, &data, &channels.log, window_s);
    let mut findings = Findings::noting(data.assumptions());
    for analyser in &channels.analysers {
        validity::calibration(analyser, data.day(window_s[1]), &mut findings);
    }
    if channels.above_range > 0 {
        notes.push(format!("{} readings lay above an analyser's range and were left out", channels.above_range));
    }
    let mut account = TestResult::empty(&log.id, log.method.name());
    operating_log::account(&mut account, &data, window_s);
    let found = fit::diagnose(&channels.log, &background);
    let (explanations, diagnosis) = match found {
        Ok(diagnosis) => (diagnosis.explanations.clone(), Some(diagnosis)),
        Err(error) => {
            findings.problems.push(error.to_string());
            (fit::undecided(), None)
        }
    };
    if let Some(diagnosis) = &diagnosis {
        notes.extend(words::limits(diagnosis.resolution));
    }
    notes.extend(findings.notes);
    let twins: Vec<Cause> = match (&diagnosis, explanations.first()) {
        (Some(diagnosis), Some(first)) => fit::twins(first.cause, diagnosis.resolution),
        _ => Vec::new(),
    };
    let decided = diagnosis.is_some() && stands_out(&explanations) && twins.is_empty();
    let explained: Vec<ExplanationResult> = explanations.iter().map(|own| explained(own, &data)).collect();
    let clock = Clock::new(data.dated.then_some(data.origin_s), plan.room.time_zone.as_deref());
    let first_began = explanations.first().and_then(|first| first.began_s);
    let conclusion = |span: &dyn Fn([f64; 2]) -> String| match &diagnosis {
        Some(_) => words::conclusion(&explanations, decided, first_began.map(span).as_deref(), &twins),
        None => "the log cannot be judged".to_owned(),
    };
    let for_page = conclusion(&|range| clock.span(range, "and"));
    let for_scripts = conclusion(&|range| range.map(|time_s| data.time_text(time_s.round())).join(" and "));
    let leaders: Vec<Cause> = explanations.iter().filter(|own| own.probability > 0.1).map(|own| own.cause).collect();
    let result = DiagnosisResult {
        schema: DIAGNOSIS_SCHEMA.to_owned(),
        program: PROGRAM.to_owned(),
        plan_sha256: plan.sha256.clone(),
        enclosure: plan.enclosure.id.clone(),
        test: log.id.clone(),
        valid: findings.problems.is_empty(),
        conclusion: for_scripts,
        problems: findings.problems,
        window: Some(window_s.map(|time_s| data.time_text(time_s))),
        rows_read: account.rows_read,
        rows_used: account.rows_used,
        rows_set_aside: account.rows_set_aside,
        set_aside: account.set_aside,
        files: account.files,
        decided,
        next_measurement: diagnosis.as_ref().map_or_else(
            || NextMeasurement {
                text: "log oxygen, water, pressure, flow and the state of the purifier for a week".to_owned(),
                expected_gain: 0.0,
            },
            |diagnosis| NextMeasurement {
                text: words::next_measurement(&diagnosis.next),
                expected_gain: (diagnosis.next.gain_bits * 1e3).round() / 1e3,
            },
        ),
        cautions: words::cautions(&leaders, diagnosis.as_ref().map(|diagnosis| diagnosis.next.measurement)),
        explanations: explained,
        notes,
    };
    Ok(Diagnosed { result, diagnosis, conclusion: for_page, window_s, clock })
}

fn find<'p>(plan: &'p Plan, test: Option<&str>) -> Result<&'p Test, DiagnosisError> {
    let mut logs = plan.tests.iter().filter(|own| own.method == Method::OperatingLog);
    match test {
        None => logs.next().ok_or(DiagnosisError::NoLog),
        Some(name) => {
            logs.find(|own| own.id == name).ok_or_else(|| DiagnosisError::NoSuchTest { test: name.to_owned() })
        }
    }
}

/// Results of the plan's other tests; none where there are none. What cannot be evaluated has no results.
fn earlier_tests(plan: &Plan, folders: &Folders) -> Option<crate::result::Qualification> {
    let mut others = plan.clone();
    others.tests.retain(|test| test.method != Method::OperatingLog);
    others.limits.clear();
    (!others.tests.is_empty()).then(|| crate::qualify(others, folders, |_| {}).result)
}

fn stands_out(explanations: &[Explanation]) -> bool {
    match explanations {
        [first, second, ..] => {
            first.probability >= DECIDED
                && first.probability >= AHEAD * second.probability
                && first.cause != Cause::NoneOfThese
        }
        _ => false,
    }
}

fn explained(own: &Explanation, data: &TestData<'_>) -> ExplanationResult {
    ExplanationResult {
        cause: own.cause.as_str().to_owned(),
        probability: own.probability,
        began: own.began_s.map(|range| range.map(|time_s| data.time_text(time_s.round()))),
        size: words::size(own),
        evidence: words::evidence(own),
    }
}

impl Diagnosed {
    /// Whether the leading explanation is that nothing changed.
    pub(crate) fn leads_to_nothing(&self) -> bool {
        let first = self.diagnosis.as_ref().and_then(|diagnosis| diagnosis.explanations.first());
        first.is_some_and(|first| first.cause == Cause::NothingChanged)
    }

    /// Exit code of the program: 0 decided, 3 undecided, 4 not valid.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match (self.result.valid, self.result.decided) {
            (false, _) => 4,
            (true, true) => 0,
            (true, false) => 3,
        }
    }

    /// Writes the page, its figures and the JSON into a folder. Returns the files written.
    ///
    /// # Errors
    /// See [`WriteError`]; then nothing at `out` has changed.
    pub fn write(&self, out: &Path, replace: bool) -> Result<Vec<PathBuf>, WriteError> {
        let figures = self.diagnosis.as_ref().map(plot::diagnose::figures).unwrap_or_default();
        let mut json = serde_json::to_string_pretty(&self.result).unwrap_or_default();
        json.push('\n');
        let mut files = vec![
            NewFile { path: PAGE_FILE.into(), content: page::render(self, &figures).into_bytes() },
            NewFile { path: RECORD_FILE.into(), content: json.into_bytes() },
        ];
        for figure in &figures {
            let content = figure.svg(&self.clock, "log").into_bytes();
            files.push(NewFile { path: format!("{}.svg", figure.name).into(), content });
        }
        let known: Vec<PathBuf> =
            [PAGE_FILE, RECORD_FILE, "content.svg", "purifier.svg"].iter().map(PathBuf::from).collect();
        write_folder(out, &files, if replace { Existing::Replace(&known) } else { Existing::Refuse })
    }
}
