//! Method `clean-up-series`: doses found in a long log, each with its time constant, and how these change.

use tightfit_fit::Estimate;
use tightfit_fit::InputError;
use tightfit_fit::clean_up::CleanUpError;
use tightfit_fit::clean_up_series::{self as fit, CleanUpSeries, Settings};
use tightfit_ingest::Channel;

use crate::data::{ChannelData, Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::clean_up::{response_of, species_channels};
use super::outcome::Evaluated;
use super::validity::{self, Findings};
use super::{Evaluation, EventLine, Outcome, TestError, ppm_rise};

/// Evaluates a series of clean-ups.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let (channel, window_s, evaluation) = with_most_doses(test, &data)?;
    let mut findings = Findings::default();
    validity::calibration(&channel, data.day(window_s[1]), &mut findings);
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    findings.notes.push(format!("the doses are those of column \"{}\"", channel.column));
    Ok(Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s,
        window_reason: if test.window.is_some() { "set by hand" } else { "the whole log" }.to_owned(),
        unused: vec![("single readings far off", evaluation.spikes)],
        evaluation: Box::new(Drawn { evaluation, window_s }),
        data,
    }
    .into_outcome(test))
}

/// The evaluation with the part of the log it looked at.
#[derive(Debug)]
struct Drawn {
    evaluation: CleanUpSeries,
    window_s: [f64; 2],
}

impl Evaluation for Drawn {
    fn window_s(&self) -> [f64; 2] {
        self.window_s
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::clean_up_series::figures(&self.evaluation, clock)
    }

    fn events(&self) -> Vec<EventLine> {
        let dose = |dose: &fit::Dose| {
            let words = match &dose.evaluation {
                Some(found) => {
                    let [low, high] = found.time_constant.interval95;
                    format!(
                        "dose of {:.3} ppm; time constant {:.0} s (95 %: {low:.0} s to {high:.0} s)",
                        found.size_ppm.value, found.time_constant.value
                    )
                }
                None => format!("dose with a rise of {:.3} ppm; its decay gives no time constant", dose.rise_ppm),
            };
            let until_s = dose.evaluation.as_ref().map_or(dose.onset_s, |found| found.window_s[1]);
            EventLine { span_s: [dose.onset_s, until_s], words }
        };
        self.evaluation.doses.iter().map(dose).collect()
    }
}

/// Of the contents that the plan admits the one with most doses; oxygen where they are as many.
fn with_most_doses<'p>(
    test: &Test,
    data: &TestData<'p>,
) -> Result<(ChannelData<'p>, [f64; 2], CleanUpSeries), TestError> {
    let expected_s = expected(data)?;
    let mut best: Option<(ChannelData<'p>, [f64; 2], CleanUpSeries)> = None;
    for channel in species_channels(test, data)? {
        let (window_s, found) = evaluate(test, data, &channel, &expected_s)?;
        let found = found.map_err(TestError::not_evaluable)?;
        if best.as_ref().is_none_or(|(.., so_far)| found.doses.len() > so_far.doses.len()) {
            best = Some((channel, window_s, found));
        }
    }
    best.ok_or_else(|| super::clean_up::missing_content(test, data))
}

fn evaluate(
    test: &Test,
    data: &TestData<'_>,
    channel: &ChannelData<'_>,
    expected_s: &[f64],
) -> Result<([f64; 2], Result<CleanUpSeries, CleanUpError>), TestError> {
    let status = ppm_rise::statuses(Some(channel));
    let whole = ppm_rise::trace_of(channel, &status)?;
    let window_s = match test.window {
        Some(window) => data.window_s(channel, window),
        None => [whole.samples.first_time_s(), whole.samples.last_time_s()],
    };
    let time = whole.samples.time_s();
    let (start, end) = (time.partition_point(|&t| t < window_s[0]), time.partition_point(|&t| t <= window_s[1]));
    let Some(samples) = whole.samples.between(window_s[0], window_s[1]) else {
        let record_s = [whole.samples.first_time_s(), whole.samples.last_time_s()];
        return Ok((window_s, Err(InputError::WindowOutsideRecord { window_s, record_s }.into())));
    };
    let status = whole.status.get(start..end).unwrap_or(&[]);
    let part = tightfit_fit::ppm_rise::Trace { samples, status, analyser: whole.analyser };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let settings = Settings { lag: response_of(channel), expected_s: expected_s.to_vec(), threads };
    Ok((window_s, fit::evaluate(&part, &settings)))
}

/// Moments at which a transfer or the purifier's start is logged.
fn expected(data: &TestData<'_>) -> Result<Vec<f64>, TestError> {
    let mut moments = Vec::new();
    for channel in [Channel::Transfer, Channel::PurifierOn] {
        for state in data.channels(channel)? {
            let pairs = state.value.windows(2).zip(&state.time_s[1..]);
            moments.extend(pairs.filter(|(pair, _)| pair[0] < 0.5 && pair[1] >= 0.5).map(|(_, time)| *time));
        }
    }
    Ok(moments)
}

fn estimates(evaluation: &CleanUpSeries) -> Vec<(&'static str, Estimate)> {
    let mut estimates = vec![("dose_count", evaluation.dose_count.clone())];
    let optional = [
        ("time_constant_first", &evaluation.time_constant_first),
        ("time_constant_last", &evaluation.time_constant_last),
        ("time_constant_trend", &evaluation.time_constant_trend),
    ];
    estimates.extend(optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?))));
    estimates
}
