//! Checks that decide whether a test may be judged, and what must be said beside it.
//!
//! Each check has a name, a finding in words and a consequence. A calibration that had run out and a record beyond the
//! rated pressure make a test not valid, and so do a gauge that stood still, a clock that lost the duration of a
//! hold, an analyser at the end of a range that nobody stated, and a sensor that stood still for a good part of the window:
//! no interval can allow for these. What an interval does allow for (no thermometer, a coarse step, a short
//! window) is said beside the result.

mod instrument;
mod record;
mod standing;

use crate::result::{Consequence, TestResult, ValidityLine};

pub(crate) use instrument::{calibration, fitness, range, rated_pressure};
pub(crate) use record::{all_alike, recordings, restarts};
pub(crate) use standing::bound_at_end_of_range;

/// What the checks found.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Findings {
    /// The test may not be judged because of these.
    pub(crate) problems: Vec<String>,
    /// These must be known to read its results.
    pub(crate) notes: Vec<String>,
    /// The checks behind them, those that found all well too.
    pub(crate) checks: Vec<ValidityLine>,
}

impl Findings {
    /// Findings that begin with these notes.
    pub(crate) fn noting(notes: Vec<String>) -> Self {
        Self { notes, ..Self::default() }
    }

    /// A check that found all well.
    pub(crate) fn pass(&mut self, check: impl Into<String>, finding: impl Into<String>) {
        self.add(check.into(), finding.into(), Consequence::None);
    }

    /// A finding that the results are to be read with.
    pub(crate) fn say(&mut self, check: impl Into<String>, finding: impl Into<String>) {
        let finding = finding.into();
        if !self.notes.contains(&finding) {
            self.notes.push(finding.clone());
        }
        self.add(check.into(), finding, Consequence::Said);
    }

    /// A finding that the result says elsewhere already, among its events.
    pub(crate) fn list(&mut self, check: impl Into<String>, finding: impl Into<String>) {
        self.add(check.into(), finding.into(), Consequence::Said);
    }

    /// A finding that forbids to judge the test.
    pub(crate) fn refuse(&mut self, check: impl Into<String>, finding: impl Into<String>) {
        let finding = finding.into();
        self.problems.push(finding.clone());
        self.add(check.into(), finding, Consequence::NotValid);
    }

    fn add(&mut self, check: String, finding: String, consequence: Consequence) {
        let line = ValidityLine { check, finding, passed: consequence == Consequence::None, consequence };
        // One instrument may read several columns.
        if !self.checks.contains(&line) {
            self.checks.push(line);
        }
    }

    /// Hands the findings to the result of a test.
    pub(crate) fn into_result(self, result: &mut TestResult) {
        result.problems.extend(self.problems);
        result.notes.extend(self.notes);
        result.validity.extend(self.checks);
        result.valid = result.problems.is_empty();
    }

    /// Hands the findings of one run to the result of a series.
    pub(crate) fn add_to_series(&self, run: &str, result: &mut TestResult) {
        let named = |text: &String| format!("{run}: {text}");
        result.problems.extend(self.problems.iter().map(named));
        result.notes.extend(self.notes.iter().map(named));
        let lines = self.checks.iter().map(|line| ValidityLine { finding: named(&line.finding), ..line.clone() });
        result.validity.extend(lines);
        result.valid = result.problems.is_empty();
    }
}
