//! What most methods hand back the same way.

use tightfit_fit::Estimate;

use crate::data::TestData;
use crate::plan::Test;
use crate::result::TestResult;

use super::validity::Findings;
use super::{Drawing, Evaluation, Outcome, pressure_change, rows};

/// An evaluated test of one record.
pub(super) struct Evaluated<'p> {
    pub(super) data: TestData<'p>,
    pub(super) findings: Findings,
    /// Results by name, in the units of the result.
    pub(super) estimates: Vec<(&'static str, Estimate)>,
    /// Evaluated window, s on the data's time axis, and why it is this one.
    pub(super) window_s: [f64; 2],
    pub(super) window_reason: String,
    /// Rows inside the window that were not used: reason and count.
    pub(super) unused: Vec<(&'static str, usize)>,
    pub(super) evaluation: Box<dyn Evaluation>,
}

impl Evaluated<'_> {
    pub(super) fn into_outcome(self, test: &Test) -> Outcome {
        let data = self.data;
        let mut result = TestResult {
            window: Some(self.window_s.map(|time_s| data.time_text(time_s))),
            window_reason: Some(self.window_reason),
            results: pressure_change::results(&self.estimates),
            ..TestResult::empty(&test.id, test.method.name())
        };
        self.findings.into_result(&mut result);
        rows::account(&mut result, &data, self.window_s, &self.unused);
        let origin_s = data.dated.then_some(data.origin_s);
        Outcome {
            result,
            estimates: self.estimates,
            window_s: self.window_s[1] - self.window_s[0],
            runs: Vec::new(),
            drawings: vec![Drawing {
                title: test.boundary.clone().unwrap_or_default(),
                evaluation: self.evaluation,
                origin_s,
            }],
            files: data.files.iter().map(rows::file_account).collect(),
            raw: data.files.into_iter().map(|file| (file.name, file.content)).collect(),
        }
    }
}
