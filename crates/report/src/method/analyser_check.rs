//! Method `analyser-check`: an analyser against reference gas.

use tightfit_fit::Estimate;
use tightfit_fit::analyser_check::{self as fit, AnalyserCheck, Step};
use tightfit_ingest::Channel;

use crate::data::{ChannelData, DataError, Folders, TestData};
use crate::plan::{Measured, Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::joined::{cut, joined, whole_or_set};
use super::outcome::Evaluated;
use super::validity::{self, Findings};
use super::{Evaluation, Outcome, TestError, ppm_rise};

/// Evaluates a check.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let mut channel = checked_channel(test, &data)?;
    cut(&data, &mut channel, test.window);
    let status = ppm_rise::statuses(Some(&channel));
    let trace = ppm_rise::trace_of(&channel, &status)?;
    let evaluation = fit::evaluate(&trace, &steps(test, &data)).map_err(TestError::not_evaluable)?;
    let window_s = evaluation.window_s();
    let mut findings = Findings::noting(data.assumptions());
    validity::recordings(&data, window_s, &mut findings);
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    findings.notes.extend(zero_check_hint(&channel, &evaluation));
    Ok(Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s,
        window_reason: whole_or_set(test.window),
        unused: Vec::new(),
        evaluation: Box::new(evaluation),
        data,
    }
    .into_outcome(test))
}

/// Oxygen where it is logged, else water; the plan may choose.
fn checked_channel<'p>(test: &Test, data: &TestData<'p>) -> Result<ChannelData<'p>, TestError> {
    let wanted = test.keys.species.as_deref();
    for (channel, name) in [(Channel::Oxygen, "oxygen"), (Channel::Water, "water")] {
        if wanted.is_none_or(|wanted| wanted == name)
            && let Some(found) = joined(data, channel)?
        {
            return Ok(found);
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

/// What the plan would say to have the zero error taken off in the other tests.
fn zero_check_hint(channel: &ChannelData<'_>, evaluation: &AnalyserCheck) -> Option<String> {
    let zero = evaluation.zero_error.as_ref().filter(|zero| zero.kind == tightfit_fit::Kind::Estimate)?;
    let instrument = channel.instrument?;
    let taken_off = instrument.zero_check.as_ref().map_or(0.0, |_| 1.0);
    let name = &instrument.name;
    if taken_off > 0.0 {
        return Some(format!("the zero_check of {name} is taken off already; the zero error is what is left after it"));
    }
    Some(format!(
        "the other tests keep the stated uncertainty of {name} as it is; to take the zero error off there, state in \
         [instruments.{name}]: zero_check = {{ value = \"{:.4} ppm\", uncertainty = \"{:.4} ppm\" }}",
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

/// What is said in the other tests that used a checked analyser.
pub(crate) fn note_for_others(checked: &Outcome, instrument: &str) -> Option<String> {
    let found = |name| checked.estimates.iter().find(|(known, _)| *known == name).map(|(_, estimate)| estimate);
    let part = |words: &str, estimate: Option<&Estimate>, unit: &str| {
        estimate.map(|e| format!("{words} {:.3} {unit} ({:.3} to {:.3})", e.value, e.interval95[0], e.interval95[1]))
    };
    let parts: Vec<String> = [
        part("a zero error of", found("zero_error"), "ppm"),
        part("a span error of", found("span_error"), "ppm"),
        part("a t90 of", found("response_t90"), "s"),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| {
        format!(
            "the check \"{}\" of {instrument} found {}; they are not taken off here, the uncertainty stated for \
             {instrument} must cover them (or state zero_check)",
            checked.result.id,
            parts.join(", ")
        )
    })
}

impl Evaluation for AnalyserCheck {
    fn window_s(&self) -> [f64; 2] {
        let times = &self.series.time_s;
        let last_plateau = self.plateaus.iter().map(|plateau| plateau.span_s[1]).fold(f64::NEG_INFINITY, f64::max);
        [times.first().copied().unwrap_or(0.0), times.last().copied().unwrap_or(0.0).max(last_plateau)]
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::analyser_check::figures(self, clock)
    }
}
