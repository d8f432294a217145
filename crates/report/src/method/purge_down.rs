//! Method `purge-down`: how inert gas drives the air out.

use tightfit_fit::Estimate;
use tightfit_fit::clean_up::CleanUpError;
use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::purge_down::{self as fit, Flow, PurgeDown, Settings};
use tightfit_ingest::Channel;
use tightfit_quantity::constant::STANDARD_ATMOSPHERE_PA;
use tightfit_quantity::{Dimension, StandardReference};

use crate::data::{ChannelData, Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::clean_up::{missing_content, species_channels};
use super::outcome::Evaluated;
use super::pressure_channels::{fit_instrument, mean, samples};
use super::validity::{self, Findings};
use super::{Evaluation, Outcome, TestError, ppm_rise};

/// Temperature of the gas inside where none is logged or stated, K.
const USUAL_TEMPERATURE_K: f64 = 295.15;

/// Evaluates a purge-down.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let purge = PurgeFlow::gather(test, &data)?;
    let (channel, evaluation) = best_known(plan, test, &data, &purge)?;
    let mut findings = Findings::default();
    validity::calibration(&channel, data.day(evaluation.window_s[1]), &mut findings);
    validity::restarts(&data, evaluation.window_s, &mut findings);
    if let Some(meter) = &purge.logged {
        validity::calibration(meter, data.day(evaluation.window_s[1]), &mut findings);
    }
    findings.notes.extend(purge.note());
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    findings.notes.push(format!("the time constant is that of column \"{}\"", channel.column));
    Ok(Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s: evaluation.window_s,
        window_reason: if evaluation.window_set { "set by hand" } else { "from where the reading began to fall" }
            .to_owned(),
        unused: vec![
            ("around the reporting limit", evaluation.set_aside),
            ("single readings far off", evaluation.spikes),
            ("while no purge gas flowed", evaluation.idle),
        ],
        evaluation: Box::new(evaluation),
        data,
    }
    .into_outcome(test))
}

impl Evaluation for PurgeDown {
    fn window_s(&self) -> [f64; 2] {
        self.window_s
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::purge_down::figures(self, clock)
    }
}

/// Of several analysers the one that knows the time constant best: a trace analyser is off its scale at first, one for
/// percent stands still at the end.
fn best_known<'p>(
    plan: &Plan,
    test: &Test,
    data: &TestData<'p>,
    purge: &PurgeFlow<'p>,
) -> Result<(ChannelData<'p>, PurgeDown), TestError> {
    let mut error = missing_content(test, data);
    let mut best: Option<(ChannelData<'p>, PurgeDown)> = None;
    for channel in species_channels(test, data)? {
        let found = match evaluate(plan, test, data, &channel, purge)? {
            Ok(found) => found,
            Err(why) => {
                error = TestError::not_evaluable(why);
                continue;
            }
        };
        let relative = |found: &PurgeDown| found.time_constant.standard_uncertainty / found.time_constant.value;
        if best.as_ref().is_none_or(|(_, so_far)| relative(&found) < relative(so_far)) {
            best = Some((channel, found));
        }
    }
    best.ok_or(error)
}

fn evaluate(
    plan: &Plan,
    test: &Test,
    data: &TestData<'_>,
    channel: &ChannelData<'_>,
    purge: &PurgeFlow<'_>,
) -> Result<Result<PurgeDown, CleanUpError>, TestError> {
    let status = ppm_rise::statuses(Some(channel));
    let trace = ppm_rise::trace_of(channel, &status)?;
    let species = data.channels(Channel::Oxygen)?.iter().any(|oxygen| oxygen.column == channel.column);
    let supply = if species { &plan.supply.oxygen } else { &plan.supply.water };
    let settings = Settings {
        flow: purge.flow()?,
        volume_m3: plan.enclosure.volume.as_ref().map(ppm_rise::quantity),
        supply: supply.as_ref().map(ppm_rise::quantity),
        target: test.keys.target.as_ref().map(|target| target.si),
        delay_s: trace.analyser.response_tau_s + trace.analyser.dead_time_s,
        window_s: test.window.map(|window| data.window_s(channel, window)),
    };
    Ok(fit::evaluate(&trace, &settings))
}

/// The flow of purge gas, at the enclosure's temperature and pressure.
struct PurgeFlow<'p> {
    logged: Option<ChannelData<'p>>,
    stated: Option<Quantity>,
    /// What the meter's volumes refer to, and the factor that this makes.
    reference: Option<(StandardReference, f64)>,
}

impl<'p> PurgeFlow<'p> {
    fn gather(test: &Test, data: &TestData<'p>) -> Result<Self, TestError> {
        let mut logged = data.channel(Channel::PurgeFlow)?;
        let column = logged.as_ref().map(|flow| flow.column.as_str());
        let series = data.files.iter().flat_map(|file| &file.recording.series);
        let standard = series
            .filter(|series| series.channel == Channel::PurgeFlow && Some(series.column.as_str()) == column)
            .find_map(|series| series.standard_reference);
        let reference = match standard {
            Some(standard) => {
                let mean_of = |channel| -> Result<Option<f64>, TestError> {
                    Ok(data.channel(channel)?.map(|channel| mean(&channel.value)))
                };
                let room = &data.plan().room;
                let temperature_k = mean_of(Channel::GasTemperature)?
                    .or(room.temperature.as_ref().map(|stated| stated.si))
                    .unwrap_or(USUAL_TEMPERATURE_K);
                let pressure_pa = mean_of(Channel::RoomPressure)?
                    .or(room.pressure.as_ref().map(|stated| stated.si))
                    .unwrap_or(STANDARD_ATMOSPHERE_PA);
                let factor = standard.pressure_pa / pressure_pa * temperature_k / standard.temperature_k;
                Some((standard, factor))
            }
            None => None,
        };
        if let (Some(flow), Some((_, factor))) = (&mut logged, reference) {
            for value in &mut flow.value {
                *value *= factor;
            }
        }
        Ok(Self { logged, stated: test.keys.purge_flow.as_ref().map(ppm_rise::quantity), reference })
    }

    fn flow(&self) -> Result<Flow<'_>, TestError> {
        Ok(match (&self.logged, self.stated) {
            (Some(logged), _) => {
                let meter = fit_instrument(logged.instrument, Dimension::VolumeFlow);
                let typical = mean(&logged.value).max(f64::MIN_POSITIVE);
                let relative_uncertainty = meter.scale.hypot(meter.zero / typical);
                Flow::Logged { samples: samples(logged)?, relative_uncertainty }
            }
            (None, Some(stated)) => Flow::Constant(stated),
            (None, None) => Flow::Unknown,
        })
    }

    fn note(&self) -> Option<String> {
        let (standard, factor) = self.reference?;
        Some(format!(
            "the purge flow refers to {:.2} °C and {:.3} kPa; at the enclosure's temperature and pressure it is {factor:.4} times that",
            standard.temperature_k - 273.15,
            standard.pressure_pa / 1000.0
        ))
    }
}

fn estimates(evaluation: &PurgeDown) -> Vec<(&'static str, Estimate)> {
    let mut estimates = vec![("time_constant", evaluation.time_constant.clone()), ("floor", evaluation.floor.clone())];
    let optional = [("mixing_factor", &evaluation.mixing_factor), ("time_to_limit", &evaluation.time_to_limit)];
    estimates.extend(optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?))));
    estimates
}
