//! Method `ppm-rise`: what comes in while the purifier is off.

use tightfit_fit::permeation::Measured as MeasuredIngress;
use tightfit_fit::ppm_rise::{
    self as fit, Analyser, MakeUp, PpmRise, PressureDifference, Quantity, ReadingStatus, Record, RoomAir, Settings,
    Supply, Trace, WindowChoice,
};
use tightfit_fit::{Estimate, Kind};
use tightfit_ingest::{Channel, Status};
use tightfit_quantity::Dimension;
use tightfit_quantity::constant::{OXYGEN_IN_DRY_AIR, STANDARD_ATMOSPHERE_PA};
use tightfit_quantity::moisture::room_air_mole_fraction;

use crate::data::{ChannelData, DataError, Folders, TestData};
use crate::plan::{Measured, Plan, Test, Window};
use crate::plot::{self, Clock, Figure};
use crate::result::TestResult;

use super::fed_in::{FedIn, exchange_that_held};
use super::leak_from_pressure::conductance_for_air;
use super::permeation::{self, Surroundings};
use super::pressure_channels::{fit_instrument, mean, samples};
use super::validity::{self, Findings};
use super::{Drawing, Evaluation, Outcome, TestError, pressure_change, rows};

/// Relative humidity of a room that nobody measured, and its standard uncertainty: a heated or cooled laboratory.
const USUAL_HUMIDITY: (f64, f64) = (0.45, 0.15);
/// Standard uncertainty of a stated or logged humidity without one of its own, points.
const HUMIDITY_UNCERTAINTY: f64 = 0.03;

/// One evaluated run.
pub(super) struct Evaluated<'p> {
    pub(super) data: TestData<'p>,
    pub(super) evaluation: PpmRise,
    pub(super) findings: Findings,
    pub(super) window_s: [f64; 2],
    pub(super) room_pressure_pa: f64,
    pub(super) room_air: RoomAir,
    pub(super) room_temperature_k: f64,
    /// Relative standard uncertainties of the scales of the oxygen and the water analyser.
    pub(super) analyser_scales: [f64; 2],
}

impl Evaluated<'_> {
    /// What gloves stand in: the room's air at the room's temperature.
    pub(super) fn around_gloves(&self) -> Surroundings {
        Surroundings { room_air: self.room_air, temperature_k: self.room_temperature_k }
    }
}

/// Where the uncertainty of the analysers' scales enters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scales {
    /// In the result of the run.
    InEachRun,
    /// In the joint fit: the same analysers read all runs.
    CommonToRuns,
}

/// One run to be evaluated.
#[derive(Debug, Clone, Copy)]
pub(super) struct RunPlan<'p> {
    pub(super) files: &'p [String],
    /// Pressure difference that the plan states, Pa.
    pub(super) stated_pressure_pa: Option<f64>,
    pub(super) window: Option<Window>,
    pub(super) scales: Scales,
    /// Leak conductance over volume for air, 1/s, where another test gives it.
    pub(super) conductance_for_air: Option<Quantity>,
}

/// Evaluates a test of one run. `earlier` are the outcomes of the plan's other tests: a leak found from pressure says what
/// leaked out and was made up for, and what part of the ingress is air through leaks.
pub(crate) fn run(
    plan: &Plan,
    test: &Test,
    folders: &Folders,
    earlier: &[Option<Result<Outcome, TestError>>],
) -> Result<Outcome, TestError> {
    let run = RunPlan {
        files: &test.files,
        stated_pressure_pa: test.pressure.as_ref().map(tightfit_quantity::Quantity::si),
        window: test.window,
        scales: Scales::InEachRun,
        conductance_for_air: conductance_for_air(plan, earlier),
    };
    let mut evaluated = evaluate(plan, test, run, folders)?;
    let through_leaks = through_leaks(&evaluated, run.conductance_for_air);
    evaluated.findings.notes.extend(through_leaks);
    let mut estimates = estimates(&evaluated.evaluation);
    let found = [&evaluated.evaluation.oxygen_ingress, &evaluated.evaluation.water_ingress].map(Option::as_ref);
    let gloves = permeation::compare(&plan.enclosure, &evaluated.around_gloves(), MeasuredIngress::Total, found);
    estimates.extend(gloves.estimates);
    let mut result = TestResult {
        window: Some(evaluated.window_s.map(|time_s| evaluated.data.time_text(time_s))),
        window_reason: window_reason(&evaluated.evaluation),
        results: pressure_change::results(&estimates),
        ..TestResult::empty(&test.id, test.method.name())
    };
    evaluated.findings.into_result(&mut result);
    result.notes.extend(gloves.notes);
    rows::account(&mut result, &evaluated.data, evaluated.window_s, &within(&evaluated.evaluation));
    let origin_s = evaluated.data.dated.then_some(evaluated.data.origin_s);
    Ok(Outcome {
        result,
        estimates,
        window_s: evaluated.window_s[1] - evaluated.window_s[0],
        runs: Vec::new(),
        drawings: vec![Drawing {
            title: test.boundary.clone().unwrap_or_default(),
            evaluation: Box::new(evaluated.evaluation),
            origin_s,
        }],
        files: evaluated.data.files.iter().map(rows::file_account).collect(),
        raw: evaluated.data.files.into_iter().map(|file| (file.name, file.content)).collect(),
    })
}

/// Reads and evaluates one run.
pub(super) fn evaluate<'p>(
    plan: &'p Plan,
    test: &'p Test,
    run: RunPlan<'_>,
    folders: &Folders,
) -> Result<Evaluated<'p>, TestError> {
    let RunPlan { stated_pressure_pa, window, .. } = run;
    let data = TestData::read(plan, test, run.files, folders)?;
    let channels = Channels::gather(&data)?;
    let room = room(plan, &data)?;
    let mut record = channels.record(plan, stated_pressure_pa, &room)?;
    let held =
        exchange_that_held(&record.pressure_difference, room.pressure_pa, run.conductance_for_air, plan.enclosure.gas);
    record.make_up = channels.fed_in.make_up(held)?;
    if run.scales == Scales::CommonToRuns {
        for trace in record.oxygen.iter_mut().chain(&mut record.water) {
            trace.analyser.scale = 0.0;
        }
    }
    let evaluation =
        fit::evaluate(&record, &settings(plan, &data, &channels, window)).map_err(TestError::not_evaluable)?;
    let window_s = window_s(&evaluation);
    let mut findings = Findings::noting(data.assumptions());
    validity::restarts(&data, window_s, &mut findings);
    let day = data.day(window_s[1]);
    for channel in channels.oxygen.iter().chain(&channels.water) {
        validity::calibration(channel, day, &mut findings);
    }
    if let Some(gauge) = &channels.gauge {
        let range =
            gauge.value.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], p| [low.min(*p), high.max(*p)]);
        validity::rated_pressure(plan.enclosure.rated_pressure.as_ref(), range, &mut findings);
    }
    for note in room.notes {
        findings.say("humidity of the room", note);
    }
    for (quantity, channel) in [("oxygen_ingress", &channels.oxygen), ("water_ingress", &channels.water)] {
        let Some(channel) = channel else { continue };
        if validity::all_alike(channel, window_s) && channel.status.iter().all(|status| *status == Status::Measured) {
            let column = &channel.column;
            findings.say(
                "stuck sensor",
                format!("column \"{column}\" shows one value throughout: is the analyser at work?"),
            );
        }
        for limit in plan.limits_of(test, quantity) {
            let allowed = limit.bound.quantity().si().abs() * (window_s[1] - window_s[0]);
            let text = limit.bound.quantity().text();
            validity::fitness(channel, Dimension::Ratio, allowed, text, &mut findings);
        }
    }
    let scale = |channel: &Option<ChannelData<'_>>| {
        channel.as_ref().map_or(0.0, |channel| fit_instrument(channel.instrument, Dimension::Ratio).scale)
    };
    if held.is_some() && !channels.fed_in.is_logged() {
        findings.notes.push(made_up_in_words(run.conductance_for_air.is_some()));
    }
    let analyser_scales = [scale(&channels.oxygen), scale(&channels.water)];
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    Ok(Evaluated {
        data,
        evaluation,
        findings,
        window_s,
        room_pressure_pa: room.pressure_pa,
        room_air: room.air,
        room_temperature_k: room.temperature_k,
        analyser_scales,
    })
}

fn made_up_in_words(conductance_is_known: bool) -> String {
    let by = if conductance_is_known {
        "as much as the leak found lets out"
    } else {
        "somewhere between nothing and what a leaky enclosure would need, since no test gives the leak"
    };
    format!("the pressure was held above the room's, so gas fed in replaced what leaked out: {by}")
}

/// What of the oxygen is air that comes in through the leak found from pressure.
fn through_leaks(evaluated: &Evaluated<'_>, conductance_for_air: Option<Quantity>) -> Option<String> {
    let difference_pa = evaluated.evaluation.mean_difference_pa.filter(|pa| *pa < 0.0)?;
    let found = evaluated.evaluation.oxygen_ingress.as_ref().filter(|estimate| estimate.kind == Kind::Estimate)?;
    let conductance = conductance_for_air?;
    let factor = -difference_pa / evaluated.room_pressure_pa * evaluated.room_air.oxygen.value * 3600.0 * 1e6;
    let (leak, uncertainty) = (conductance.value * factor, 2.0 * conductance.standard_uncertainty * factor);
    let rest = found.value - leak;
    let rest_uncertainty = uncertainty.hypot(2.0 * found.standard_uncertainty);
    Some(format!(
        "the leak found from pressure lets in {leak:.2} ± {uncertainty:.2} ppm/h of oxygen as air at {difference_pa:.0} Pa \
         (k = 2); {rest:.2} ± {rest_uncertainty:.2} ppm/h are left for permeation"
    ))
}

/// The results of a run by name, in the units of the result.
pub(super) fn estimates(evaluation: &PpmRise) -> Vec<(&'static str, Estimate)> {
    let named = [
        ("oxygen_ingress", &evaluation.oxygen_ingress),
        ("water_ingress", &evaluation.water_ingress),
        ("hourly_leak_rate_oxygen_method", &evaluation.hourly_leak_rate_oxygen_method),
    ];
    let at = |estimate: Estimate| match evaluation.mean_difference_pa {
        Some(pressure_pa) => estimate.at(pressure_pa),
        None => estimate,
    };
    named.into_iter().filter_map(|(name, estimate)| Some((name, at(estimate.clone()?)))).collect()
}

/// Rows inside the window that were not used after all.
pub(super) fn within(evaluation: &PpmRise) -> [(&'static str, usize); 1] {
    let outliers = evaluation.oxygen.iter().chain(&evaluation.water).map(|species| species.rows.outliers).max();
    [("single readings far off", outliers.unwrap_or(0))]
}

fn window_reason(evaluation: &PpmRise) -> Option<String> {
    evaluation.oxygen.as_ref().or(evaluation.water.as_ref()).map(|species| species.window.to_string())
}

pub(super) fn window_s(evaluation: &PpmRise) -> [f64; 2] {
    let windows = evaluation.oxygen.iter().chain(&evaluation.water).map(|species| species.window);
    windows
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[from, to], window| [from.min(window.from_s), to.max(window.to_s)])
}

struct Channels<'p> {
    oxygen: Option<ChannelData<'p>>,
    oxygen_status: Vec<ReadingStatus>,
    water: Option<ChannelData<'p>>,
    water_status: Vec<ReadingStatus>,
    gauge: Option<ChannelData<'p>>,
    fed_in: FedIn,
}

impl<'p> Channels<'p> {
    fn gather(data: &TestData<'p>) -> Result<Self, TestError> {
        let (oxygen, water) = (data.channel(Channel::Oxygen)?, data.channel(Channel::Water)?);
        if oxygen.is_none() && water.is_none() {
            return Err(DataError::MissingChannel {
                needed: "oxygen or water content".to_owned(),
                columns: data.columns(),
                hint: "name it in the plan: [test.columns] oxygen = { column = \"…\", unit = \"ppm\" }".to_owned(),
            }
            .into());
        }
        Ok(Self {
            oxygen_status: statuses(oxygen.as_ref()),
            water_status: statuses(water.as_ref()),
            oxygen,
            water,
            gauge: data.channel(Channel::GaugePressure)?,
            fed_in: FedIn::gather(data)?,
        })
    }

    fn record(&self, plan: &Plan, stated_pressure_pa: Option<f64>, room: &Room) -> Result<Record<'_>, TestError> {
        Ok(Record {
            oxygen: self.oxygen.as_ref().map(|oxygen| trace_of(oxygen, &self.oxygen_status)).transpose()?,
            water: self.water.as_ref().map(|water| trace_of(water, &self.water_status)).transpose()?,
            pressure_difference: match (&self.gauge, stated_pressure_pa) {
                (Some(gauge), _) => PressureDifference::Logged(samples(gauge)?),
                (None, Some(pressure_pa)) => PressureDifference::Stated(pressure_pa),
                (None, None) => PressureDifference::Unknown,
            },
            room_pressure_pa: room.pressure_pa,
            room_air: room.air,
            make_up: MakeUp::None,
            supply: Supply {
                oxygen: fraction(plan.supply.oxygen.as_ref()),
                water: fraction(plan.supply.water.as_ref()),
            },
        })
    }
}

pub(super) fn trace_of<'a>(channel: &'a ChannelData<'_>, status: &'a [ReadingStatus]) -> Result<Trace<'a>, TestError> {
    let instrument = fit_instrument(channel.instrument, Dimension::Ratio);
    // Limits are of what the analyser shows, its zero error with it.
    let zero = channel.instrument.and_then(|i| i.zero_check_si(Dimension::Ratio)).map_or(0.0, |(zero, _)| zero);
    let si = |quantity: &tightfit_quantity::Quantity| Some(quantity.si_of(Dimension::Ratio).ok()? - zero);
    Ok(Trace {
        samples: samples(channel)?,
        status,
        analyser: Analyser {
            zero: instrument.zero,
            scale: instrument.scale,
            drift_per_s: instrument.drift_per_s,
            resolution: instrument.resolution,
            floor_noise: 0.0,
            response_tau_s: channel.instrument.and_then(|i| i.response.as_ref()).map_or(0.0, |response| response.tau_s),
            dead_time_s: channel.instrument.and_then(|i| i.dead_time_s).unwrap_or(0.0),
            reporting_limit: channel.instrument.and_then(|i| i.reporting_limit.as_ref()).and_then(si),
            range_top: channel.instrument.and_then(|i| i.range.as_ref()).and_then(|(_, high)| si(high)),
        },
    })
}

pub(super) fn statuses(channel: Option<&ChannelData<'_>>) -> Vec<ReadingStatus> {
    let status = channel.map(|channel| channel.status.as_slice()).unwrap_or_default();
    let reading = |status: &Status| match status {
        Status::Measured => ReadingStatus::Measured,
        Status::BelowLimit => ReadingStatus::BelowLimit,
        Status::AboveRange => ReadingStatus::AboveRange,
    };
    status.iter().map(reading).collect()
}

fn settings(plan: &Plan, data: &TestData<'_>, channels: &Channels<'_>, window: Option<Window>) -> Settings {
    let times: &[f64] = channels.oxygen.as_ref().or(channels.water.as_ref()).map_or(&[], |channel| &channel.time_s);
    let end = |time: Option<&f64>| time.copied().unwrap_or(0.0);
    Settings {
        volume_m3: plan.enclosure.volume.as_ref().map(quantity),
        window: window.map_or(WindowChoice::Auto, |window| WindowChoice::Set {
            from_s: window.from.map_or(end(times.first()), |moment| data.moment_s(moment)),
            to_s: window.to.map_or(end(times.last()), |moment| data.moment_s(moment)),
        }),
    }
}

/// The room's air and pressure.
pub(super) struct Room {
    pub(super) pressure_pa: f64,
    pub(super) temperature_k: f64,
    pub(super) air: RoomAir,
    pub(super) notes: Vec<String>,
}

pub(super) fn room(plan: &Plan, data: &TestData<'_>) -> Result<Room, TestError> {
    let logged =
        |channel| -> Result<Option<f64>, TestError> { Ok(data.channel(channel)?.map(|channel| mean(&channel.value))) };
    let stated = |measured: &Option<Measured>| measured.as_ref().map(|measured| measured.si);
    let mut notes = Vec::new();
    let pressure_pa = logged(Channel::RoomPressure)?.or(stated(&plan.room.pressure)).unwrap_or(STANDARD_ATMOSPHERE_PA);
    let temperature_k = logged(Channel::RoomTemperature)?.or(stated(&plan.room.temperature)).unwrap_or(295.15);
    let own_uncertainty = plan.room.relative_humidity.as_ref().and_then(|humidity| humidity.standard_uncertainty);
    let humidity = logged(Channel::RoomRelativeHumidity)?.or(stated(&plan.room.relative_humidity));
    if humidity.is_none() {
        notes.push("the room's humidity is neither logged nor stated: 45 % ± 15 % stands in for it".to_owned());
    }
    let (humidity, uncertainty) =
        humidity.map_or(USUAL_HUMIDITY, |humidity| (humidity, own_uncertainty.unwrap_or(HUMIDITY_UNCERTAINTY)));
    let water = Quantity::new(
        room_air_mole_fraction(humidity, temperature_k, pressure_pa),
        room_air_mole_fraction(uncertainty, temperature_k, pressure_pa),
    );
    let oxygen = Quantity::new(OXYGEN_IN_DRY_AIR * (1.0 - water.value), OXYGEN_IN_DRY_AIR * water.standard_uncertainty);
    Ok(Room { pressure_pa, temperature_k, air: RoomAir { oxygen, water }, notes })
}

pub(super) fn quantity(measured: &Measured) -> Quantity {
    Quantity::new(measured.si, measured.standard_uncertainty.unwrap_or(0.0))
}

fn fraction(measured: Option<&Measured>) -> Quantity {
    measured.map(quantity).unwrap_or_default()
}

impl Evaluation for PpmRise {
    fn window_s(&self) -> [f64; 2] {
        window_s(self)
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::ppm_rise::figures(self, [None; 2], window_s(self), clock)
    }
}
