//! Method `pressure-change-series`: the same enclosure with different boundaries; the differences tell where the leak is.

use tightfit_fit::Estimate;
use tightfit_fit::pressure_change::difference;

use crate::data::Folders;
use crate::plan::{Plan, Test};
use crate::result::{Results, RunResult, TestResult};

use super::pressure_change::{self, Evaluated};
use super::{Drawing, Outcome, RunEstimates, TestError, result_value, rows};

/// Contributions of the instruments, which are the same ones in every run.
const COMMON: [&str; 2] = ["gauge zero", "gauge scale"];
const RATE: &str = "hourly_leak_rate";

/// Evaluates a series.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let mut result = TestResult::empty(&test.id, test.method.name());
    let mut outcome_runs = Vec::new();
    let (mut drawings, mut files, mut raw) = (Vec::new(), Vec::new(), Vec::new());
    for (number, run) in (1..).zip(&test.runs) {
        let name = test.run_name(number);
        let evaluated = pressure_change::evaluate(plan, test, &run.files, run.window.or(test.window), folders)?;
        let estimates = pressure_change::estimates(&evaluated.evaluation);
        add_run(plan, &mut result, &name, &evaluated, &estimates);
        let Evaluated { data, evaluation, .. } = evaluated;
        let window_s = evaluation.window.to_s - evaluation.window.from_s;
        files.extend(data.files.iter().map(rows::file_account));
        let origin_s = data.dated.then_some(data.origin_s);
        let evaluation = Box::new(evaluation);
        drawings.push(Drawing { title: name.clone(), evaluation, origin_s });
        for file in data.files {
            if !raw.iter().any(|(known, _)| *known == file.name) {
                raw.push((file.name, file.content));
            }
        }
        outcome_runs.push(RunEstimates { name, estimates, window_s });
    }
    result.valid = result.problems.is_empty();
    result.results = results(&outcome_runs);
    Ok(Outcome { result, estimates: Vec::new(), window_s: 0.0, runs: outcome_runs, drawings, files, raw })
}

fn add_run(
    plan: &Plan,
    result: &mut TestResult,
    name: &str,
    evaluated: &Evaluated<'_>,
    estimates: &[(&'static str, Estimate)],
) {
    let Evaluated { data, evaluation, findings } = evaluated;
    let named = |text: &String| format!("{name}: {text}");
    findings.add_to_series(name, result);
    result.events.extend(evaluation.events.iter().map(|event| named(&pressure_change::event_text(data, event))));
    result.gas = Some(pressure_change::flowing_gas(plan, evaluation).name().to_owned());
    let window_s = [evaluation.window.from_s, evaluation.window.to_s];
    rows::account(result, data, window_s, &pressure_change::within(evaluation));
    result.runs.push(RunResult {
        boundary: name.to_owned(),
        window: Some(pressure_change::window_text(data, evaluation)),
        results: pressure_change::results(estimates),
    });
}

/// The leak rate of each run, and of each pair of runs the later minus the earlier.
fn results(runs: &[RunEstimates]) -> Results {
    let rate = |run: &RunEstimates| run.estimates.iter().find(|(name, _)| *name == RATE).map(|(_, rate)| rate.clone());
    let rates: Vec<(&str, Estimate)> = runs.iter().filter_map(|run| Some((run.name.as_str(), rate(run)?))).collect();
    let own = rates.iter().map(|(name, rate)| (format!("{RATE}[{name}]"), result_value(rate, "1/h")));
    let pairs = (0..rates.len()).flat_map(|later| (0..later).map(move |earlier| (later, earlier)));
    let differences = pairs.map(|(later, earlier)| {
        let ((with, with_rate), (without, without_rate)) = (&rates[later], &rates[earlier]);
        let name = format!("{RATE}[{with}]-[{without}]");
        (name, result_value(&difference(with_rate, without_rate, &COMMON), "1/h"))
    });
    Results(own.chain(differences).collect())
}
