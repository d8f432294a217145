//! Method `clean-up`: how fast the purifier brings a dose down, and how far.

use tightfit_fit::Estimate;
use tightfit_fit::clean_up::{self as fit, CleanUp, CleanUpError, Lag, Settings};
use tightfit_fit::ppm_rise::Quantity;
use tightfit_ingest::Channel;
use tightfit_quantity::Dimension;

use crate::data::{ChannelData, DataError, Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::outcome::Evaluated;
use super::pressure_channels::{fit_instrument, mean};
use super::validity::{self, Findings};
use super::{Evaluation, Outcome, TestError, ppm_rise};

const SECONDS_PER_HOUR: f64 = 3600.0;

/// Evaluates a clean-up.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let (channel, evaluation) = first_that_comes_down(plan, test, &data)?;
    let window = evaluation.window;
    let mut findings = Findings::default();
    validity::calibration(&channel, data.day(window.to_s), &mut findings);
    validity::restarts(&data, [window.from_s, window.to_s], &mut findings);
    for limit in plan.limits_of(test, "floor") {
        let bound = limit.bound.quantity();
        validity::fitness(&channel, Dimension::Ratio, bound.si().abs(), bound.text(), &mut findings);
    }
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    findings.notes.push(format!("the time constant is that of column \"{}\"", channel.column));
    Ok(Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s: [window.from_s, window.to_s],
        window_reason: window.to_string(),
        unused: vec![
            ("around the reporting limit", evaluation.set_aside),
            ("single readings far off", evaluation.spikes),
        ],
        evaluation: Box::new(evaluation),
        data,
    }
    .into_outcome(test))
}

impl Evaluation for CleanUp {
    fn window_s(&self) -> [f64; 2] {
        [self.window.from_s, self.window.to_s]
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::clean_up::figures(self, self.window_s(), clock)
    }
}

/// Oxygen where it was dosed, else water; the plan may choose.
fn first_that_comes_down<'p>(
    plan: &Plan,
    test: &Test,
    data: &TestData<'p>,
) -> Result<(ChannelData<'p>, CleanUp), TestError> {
    let mut error = missing_content(test, data);
    for found in species_channels(test, data)? {
        match evaluate(plan, test, data, &found)? {
            Ok(evaluation) => return Ok((found, evaluation)),
            Err(why @ (CleanUpError::NoDecay | CleanUpError::TooFewReadings { .. })) => {
                error = TestError::not_evaluable(why);
            }
            Err(other) => return Err(TestError::not_evaluable(other)),
        }
    }
    Err(error)
}

/// Channels of the content that the plan chooses; without a choice oxygen first, then water.
pub(super) fn species_channels<'p>(test: &Test, data: &TestData<'p>) -> Result<Vec<ChannelData<'p>>, TestError> {
    let wanted = test.keys.species.as_deref();
    let mut channels = Vec::new();
    for (channel, name) in [(Channel::Oxygen, "oxygen"), (Channel::Water, "water")] {
        if wanted.is_none_or(|wanted| wanted == name) {
            channels.extend(data.channels(channel)?);
        }
    }
    Ok(channels)
}

pub(super) fn missing_content(test: &Test, data: &TestData<'_>) -> TestError {
    TestError::from(DataError::MissingChannel {
        needed: format!("{} content", test.keys.species.as_deref().unwrap_or("oxygen or water")),
        columns: data.columns(),
        hint: "name it in the plan: [test.columns] oxygen = { column = \"…\", unit = \"ppm\" }".to_owned(),
    })
}

/// The stated response of a channel's analyser.
pub(super) fn response_of(channel: &ChannelData<'_>) -> Lag {
    let response = channel.instrument.and_then(|instrument| instrument.response.as_ref());
    response.map_or(Lag::Unknown, |response| Lag::Stated(Quantity::new(response.tau_s, 0.0)))
}

fn evaluate(
    plan: &Plan,
    test: &Test,
    data: &TestData<'_>,
    channel: &ChannelData<'_>,
) -> Result<Result<CleanUp, CleanUpError>, TestError> {
    let status = ppm_rise::statuses(Some(channel));
    let trace = ppm_rise::trace_of(channel, &status)?;
    let settings = Settings {
        volume_m3: plan.enclosure.volume.as_ref().map(ppm_rise::quantity),
        flow_m3_per_s: circulation(plan, test, data)?,
        target: test.keys.target.as_ref().map(|target| target.si),
        lag: response_of(channel),
        purifier_on_s: switched_on(data)?,
        window_s: test.window.map(|window| data.window_s(channel, window)),
    };
    Ok(fit::evaluate(&trace, &settings))
}

/// Circulation flow, logged or that of the purifiers that ran, m³/s.
fn circulation(plan: &Plan, test: &Test, data: &TestData<'_>) -> Result<Option<Quantity>, TestError> {
    if let Some(logged) = data.channel(Channel::CirculationFlow)? {
        let flow = mean(&logged.value);
        let meter = fit_instrument(logged.instrument, Dimension::VolumeFlow);
        return Ok((flow > 0.0).then(|| Quantity::new(flow, meter.zero.hypot(meter.scale * flow))));
    }
    let ran = |name: Option<&String>| {
        let named = &test.keys.purifiers;
        named.is_empty() || name.is_some_and(|name| named.contains(name))
    };
    let running = plan.enclosure.purifiers.iter().filter(|purifier| ran(purifier.name.as_ref()));
    let flows: Option<Vec<Quantity>> = running.map(|purifier| purifier.flow.as_ref().map(ppm_rise::quantity)).collect();
    let sum = |flows: &Vec<Quantity>| {
        let variance: f64 = flows.iter().map(|flow| flow.standard_uncertainty.powi(2)).sum();
        Quantity::new(flows.iter().map(|flow| flow.value).sum(), variance.sqrt())
    };
    Ok(flows.as_ref().filter(|flows| !flows.is_empty()).map(sum))
}

/// When the purifier was last switched on, where that is logged.
fn switched_on(data: &TestData<'_>) -> Result<Option<f64>, TestError> {
    let state = data.channel(Channel::PurifierOn)?;
    Ok(state.and_then(|state| {
        let mut pairs = state.value.windows(2).zip(&state.time_s[1..]).rev();
        pairs.find(|(pair, _)| pair[0] < 0.5 && pair[1] >= 0.5).map(|(_, time)| *time)
    }))
}

/// The results by name, in the units of the result.
fn estimates(evaluation: &CleanUp) -> Vec<(&'static str, Estimate)> {
    let mut estimates = vec![("time_constant", evaluation.time_constant.clone()), ("floor", evaluation.floor.clone())];
    let optional = [
        ("cleanup_flow", evaluation.cleanup_flow.as_ref().map(|flow| flow.scaled(SECONDS_PER_HOUR))),
        ("single_pass_efficiency", evaluation.single_pass_efficiency.clone()),
        ("time_to_limit", evaluation.time_to_limit.clone()),
        ("implied_ingress", Some(evaluation.implied_ingress.clone())),
    ];
    estimates.extend(optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate?))));
    estimates
}
