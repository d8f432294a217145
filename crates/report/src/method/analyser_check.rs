//! Method `analyser-check`: an analyser against reference gas.

use tightfit_fit::Estimate;
use tightfit_fit::analyser_check::{self as fit, AnalyserCheck, Step};
use tightfit_ingest::Channel;

use crate::data::{ChannelData, DataError, Folders, TestData};
use crate::plan::{Measured, Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::checked::Checked;
use super::outcome::Evaluated;
use super::stretch::{cut, whole_or_set};
use super::validity::Findings;
use super::{Evaluation, Outcome, TestError, ppm_rise};

/// A check as the dossier shows it and as other tests use it.
#[derive(Debug)]
struct Check {
    evaluation: AnalyserCheck,
    checked: Option<Checked>,
}

/// Evaluates a check.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let (kind, mut channel) = checked_channel(test, &data)?;
    cut(&data, &mut channel, test.window);
    let status = ppm_rise::statuses(Some(&channel));
    let trace = ppm_rise::trace_of(&channel, &status)?;
    let evaluation = fit::evaluate(&trace, &steps(test, &data)).map_err(not_evaluable)?;
    let window_s = window_s(&evaluation);
    let mut findings = Findings::noting(data.assumptions());
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    findings.notes.extend(zero_in_other_tests(&channel, &evaluation));
    let checked = checked(&channel, kind, &data, &evaluation);
    Ok(Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s,
        window_reason: whole_or_set(test.window),
        unused: Vec::new(),
        evaluation: Box::new(Check { evaluation, checked }),
        data,
    }
    .into_outcome(test))
}

/// Oxygen where it is logged, else water; the plan may choose.
fn checked_channel<'p>(test: &Test, data: &TestData<'p>) -> Result<(Channel, ChannelData<'p>), TestError> {
    let wanted = test.keys.species.as_deref();
    for (channel, name) in [(Channel::Oxygen, "oxygen"), (Channel::Water, "water")] {
        if wanted.is_none_or(|wanted| wanted == name)
            && let Some(found) = data.channel(channel)?
        {
            return Ok((channel, found));
        }
    }
    Err(DataError::MissingChannel {
        needed: format!("{} content", wanted.unwrap_or("oxygen or water")),
        columns: data.columns(),
        hint: "name it in the plan: [test.columns] oxygen = { column = \"…\", unit = \"ppm\" }".to_owned(),
    }
    .into())
}

/// The reference gases of the plan. A step with one end open reaches to that end of the record.
fn steps(test: &Test, data: &TestData<'_>) -> Vec<Step> {
    let stated = test.keys.steps.iter().map(|step| {
        let from_s = step.from.map(|moment| data.moment_s(moment));
        let to_s = step.to.map(|moment| data.moment_s(moment));
        let span_s = (from_s.is_some() || to_s.is_some())
            .then(|| [from_s.unwrap_or(f64::NEG_INFINITY), to_s.unwrap_or(f64::INFINITY)]);
        Step { content: quantity(&step.content), span_s }
    });
    let single = test.keys.reference_gas.iter().map(|gas| Step { content: quantity(gas), span_s: None });
    stated.chain(single).collect()
}

fn quantity(content: &Measured) -> tightfit_fit::ppm_rise::Quantity {
    ppm_rise::quantity(content)
}

/// What becomes of the zero error in the other tests.
fn zero_in_other_tests(channel: &ChannelData<'_>, evaluation: &AnalyserCheck) -> Option<String> {
    let zero = evaluation.zero_error.as_ref().filter(|zero| zero.kind == tightfit_fit::Kind::Estimate)?;
    let instrument = channel.instrument?;
    let name = &instrument.name;
    if instrument.zero_check.is_some() {
        return Some(format!("the zero_check of {name} is taken off already; the zero error is what is left after it"));
    }
    Some(format!(
        "the zero error is taken off in the plan's other tests that use {name}, as their notes say; in other plans state \
         in [instruments.{name}]: zero_check = {{ value = \"{:.4} ppm\", uncertainty = \"{:.4} ppm\" }}",
        zero.value, zero.standard_uncertainty
    ))
}

fn estimates(evaluation: &AnalyserCheck) -> Vec<(&'static str, Estimate)> {
    let named = [
        ("zero_error", &evaluation.zero_error),
        ("span_error", &evaluation.span_error),
        ("response_t90", &evaluation.response_t90),
    ];
    named.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?))).collect()
}

/// A check as the other tests of the plan see it; `None` where no instrument is named.
fn checked(
    channel: &ChannelData<'_>,
    kind: Channel,
    data: &TestData<'_>,
    evaluation: &AnalyserCheck,
) -> Option<Checked> {
    let contents = || evaluation.plateaus.iter().map(|plateau| plateau.content_ppm);
    let least = contents().fold(f64::INFINITY, f64::min);
    let middle_s = |span_s: [f64; 2]| data.dated.then(|| data.origin_s + 0.5 * (span_s[0] + span_s[1]));
    Some(Checked {
        instrument: channel.instrument?.name.clone(),
        channel: kind,
        contents_ppm: [least, contents().fold(f64::NEG_INFINITY, f64::max)],
        zeros: evaluation
            .plateaus
            .iter()
            .filter(|plateau| plateau.content_ppm <= least)
            .map(|plateau| (middle_s(plateau.span_s), plateau.reading_ppm - plateau.content_ppm))
            .collect(),
        zero_error: evaluation.zero_error.clone(),
    })
}

impl Evaluation for Check {
    fn window_s(&self) -> [f64; 2] {
        window_s(&self.evaluation)
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::analyser_check::figures(&self.evaluation, clock)
    }

    fn analyser_check(&self) -> Option<&Checked> {
        self.checked.as_ref()
    }
}

fn window_s(evaluation: &AnalyserCheck) -> [f64; 2] {
    let times = &evaluation.series.time_s;
    let last_plateau = evaluation.plateaus.iter().map(|plateau| plateau.span_s[1]).fold(f64::NEG_INFINITY, f64::max);
    [times.first().copied().unwrap_or(0.0), times.last().copied().unwrap_or(0.0).max(last_plateau)]
}

fn not_evaluable(error: fit::AnalyserCheckError) -> TestError {
    match error {
        fit::AnalyserCheckError::NoReferenceGas => TestError::NotEvaluable {
            error: Box::new(error),
            hint: "state it in the test: reference_gas = \"50 ppm\", or a [[test.step]] with content for each gas",
        },
        error => TestError::not_evaluable(error),
    }
}
