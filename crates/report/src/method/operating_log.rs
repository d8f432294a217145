//! Method `operating-log`: a working log. It gives no results to be judged; `tightfit diagnose` explains it.

use crate::data::{Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{Clock, Figure};
use crate::result::TestResult;

use super::outcome::Evaluated;
use super::validity::Findings;
use super::{Evaluation, Outcome, TestError, rows};

/// Reads the log and says who explains it.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let window_s = window(&data, test);
    let mut findings = Findings::noting(data.assumptions());
    findings.say(
        "results",
        "a working log has no results to be judged; tightfit diagnose says why oxygen or water rises in it",
    );
    Ok(Evaluated {
        findings,
        estimates: Vec::new(),
        window_s,
        window_reason: if test.window.is_some() { "set by hand" } else { "the whole log" }.to_owned(),
        unused: Vec::new(),
        evaluation: Box::new(Whole(window_s)),
        data,
    }
    .into_outcome(test))
}

/// The window of the plan, or the whole log, s on the data's time axis.
pub(crate) fn window(data: &TestData<'_>, test: &Test) -> [f64; 2] {
    let spans = data.files.iter().filter_map(|file| file.recording.span_s);
    let [first, last] =
        spans.fold([f64::INFINITY, f64::NEG_INFINITY], |[first, last], (from, to)| [first.min(from), last.max(to)]);
    let [first, last] = [first, last].map(|time| if time.is_finite() { time - data.origin_s } else { 0.0 });
    let window = test.window;
    [
        window.and_then(|window| window.from).map_or(first, |moment| data.moment_s(moment)),
        window.and_then(|window| window.to).map_or(last, |moment| data.moment_s(moment)),
    ]
}

/// The account of the log's rows.
pub(crate) fn account(result: &mut TestResult, data: &TestData<'_>, window_s: [f64; 2]) {
    rows::account(result, data, window_s, &[]);
}

/// A log without figures of its own.
#[derive(Debug)]
struct Whole([f64; 2]);

impl Evaluation for Whole {
    fn window_s(&self) -> [f64; 2] {
        self.0
    }

    fn figures(&self, _clock: &Clock) -> Vec<Figure> {
        Vec::new()
    }
}
