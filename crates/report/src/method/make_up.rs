//! Method `make-up`: the flow that holds the pressure, and how well the pressure was held.

use tightfit_fit::Estimate;
use tightfit_fit::make_up::{self as fit, Feed, MakeUp, Settings};
use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::uncertainty::Distribution;
use tightfit_ingest::Channel;
use tightfit_quantity::Dimension;

use crate::data::{ChannelData, DataError, Folders, TestData};
use crate::plan::{Compliance, Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::outcome::Evaluated;
use super::pressure_change::relative;
use super::pressure_channels::{fit_instrument, mean, samples};
use super::vacuum_channels::RoomPressure;
use super::validity::{self, Findings};
use super::{Evaluation, Outcome, TestError, ppm_rise};

const SECONDS_PER_HOUR: f64 = 3600.0;
/// Temperature of the gas where neither a thermometer nor the plan tells it, K (22 °C).
const USUAL_ROOM_TEMPERATURE_K: f64 = 295.15;

/// Evaluates a constant-pressure test.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let volume = plan.enclosure.volume.as_ref().ok_or(TestError::VolumeMissing { needed_for: "the make-up flow" })?;
    let meter = Meter::gather(&data)?;
    let (gauge, absolute) = (data.channel(Channel::GaugePressure)?, data.channel(Channel::AbsolutePressure)?);
    let thermometer = data.channel(Channel::GasTemperature)?;
    let mut findings = Findings::default();
    let room = RoomPressure::gather(&data, &mut findings.notes)?;
    let difference = gauge.or_else(|| absolute.map(|absolute| below_room(absolute, &room)));
    let record = fit::Record {
        feed: meter.feed()?,
        difference: difference.as_ref().map(samples).transpose()?,
        stated_difference_pa: test.pressure.as_ref().map(tightfit_quantity::Quantity::si),
        room_pressure: room.logged.as_ref().map(samples).transpose()?,
        stated_room_pressure_pa: room.mean_pa.value,
        gas_temperature: thermometer.as_ref().map(samples).transpose()?,
        stated_temperature_k: stated_temperature(&data)?,
    };
    let settings = Settings {
        volume_m3: ppm_rise::quantity(volume),
        compliance_m3_per_pa: compliance(plan, &room),
        reference_pressure_pa: test.reference_pressure.as_ref().map(tightfit_quantity::Quantity::si),
        meter_reference: meter.reference,
        meter: meter.instrument,
        gauge: fit_instrument(difference.as_ref().and_then(|channel| channel.instrument), Dimension::Pressure),
        band_pa: test.keys.band.as_ref().map(|(low, high)| [low.si(), high.si()]),
        window_s: test.window.map(|window| data.window_s(&meter.channel, window)),
    };
    let evaluation = fit::evaluate(&record, &settings).map_err(TestError::not_evaluable)?;
    let window_s = [evaluation.window.from_s, evaluation.window.to_s];
    validity::restarts(&data, window_s, &mut findings);
    let day = data.day(window_s[1]);
    validity::calibration(&meter.channel, day, &mut findings);
    for channel in difference.iter().chain(&room.logged).chain(&thermometer) {
        validity::calibration(channel, day, &mut findings);
    }
    validity::range(&meter.channel, meter.dimension, &mut findings);
    if let Some(range_pa) = evaluation.difference_range_pa {
        validity::rated_pressure(plan.enclosure.rated_pressure.as_ref(), range_pa, &mut findings);
    }
    findings.notes.extend(evaluation.notes.iter().map(ToString::to_string));
    let extraction = evaluation.mean_difference_pa.is_some_and(|difference| difference < 0.0);
    let mut outcome = Evaluated {
        findings,
        estimates: estimates(&evaluation),
        window_s,
        window_reason: evaluation.window.to_string(),
        unused: Vec::new(),
        evaluation: Box::new(evaluation),
        data,
    }
    .into_outcome(test);
    let gas = if extraction { tightfit_quantity::Gas::Air } else { plan.enclosure.gas };
    outcome.result.gas = Some(gas.name().to_owned());
    Ok(outcome)
}

/// What tells the gas that was fed in.
struct Meter<'p> {
    channel: ChannelData<'p>,
    kind: Channel,
    dimension: Dimension,
    instrument: tightfit_fit::pressure_change::Instrument,
    /// Conditions that its volumes refer to: K and Pa.
    reference: Option<[f64; 2]>,
    /// Flow through an open valve, m³/s.
    valve_flow: f64,
}

impl<'p> Meter<'p> {
    /// A running total, which misses nothing; else a flow; else a valve with its flow.
    fn gather(data: &TestData<'p>) -> Result<Self, TestError> {
        for (kind, dimension) in
            [(Channel::MakeupTotal, Dimension::Volume), (Channel::MakeupFlow, Dimension::VolumeFlow)]
        {
            if let Some(channel) = data.channel(kind)? {
                let instrument = fit_instrument(channel.instrument, dimension);
                let stated = channel.instrument.and_then(|instrument| instrument.reference);
                let reference = stated.or(channel.standard_reference);
                let reference = reference.map(|reference| [reference.temperature_k, reference.pressure_pa]);
                return Ok(Self { channel, kind, dimension, instrument, reference, valve_flow: 0.0 });
            }
        }
        let valve = data.channel(Channel::ValveOpen)?;
        let flow = data.test().keys.valve_flow.as_ref();
        let Some(channel) = valve else { return Err(missing(data).into()) };
        let Some(flow) = flow else { return Err(TestError::ValveFlowMissing) };
        let scale =
            flow.measured.standard_uncertainty.map_or_else(|| relative(&flow.measured), |u| u / flow.measured.si);
        let ends = |range: [f64; 2], value: &f64| [range[0].min(*value), range[1].max(*value)];
        let range = channel.value.iter().fold([f64::INFINITY, f64::NEG_INFINITY], ends);
        if range[0] < -0.01 || range[1] > 1.01 {
            return Err(TestError::ValvePosition { range });
        }
        let stated = channel.instrument.and_then(|instrument| instrument.reference).or(flow.reference);
        Ok(Self {
            kind: Channel::ValveOpen,
            dimension: Dimension::Ratio,
            instrument: tightfit_fit::pressure_change::Instrument { scale, ..Default::default() },
            reference: stated.map(|reference| [reference.temperature_k, reference.pressure_pa]),
            valve_flow: flow.measured.si,
            channel,
        })
    }

    fn feed(&self) -> Result<Feed<'_>, TestError> {
        let samples = samples(&self.channel)?;
        Ok(match self.kind {
            Channel::MakeupTotal => Feed::Total(samples),
            Channel::MakeupFlow => Feed::Flow(samples),
            _ => Feed::Valve { position: samples, flow_m3_per_s: self.valve_flow },
        })
    }
}

/// An absolute pressure as a difference to the room.
fn below_room<'p>(mut absolute: ChannelData<'p>, room: &RoomPressure<'_>) -> ChannelData<'p> {
    let mut follower = room.follower();
    for (time, value) in absolute.time_s.iter().zip(&mut absolute.value) {
        *value -= follower(*time);
    }
    absolute
}

fn stated_temperature(data: &TestData<'_>) -> Result<f64, TestError> {
    if let Some(temperature) = &data.plan().room.temperature {
        return Ok(temperature.si);
    }
    let room = data.channel(Channel::RoomTemperature)?;
    Ok(room.map_or(USUAL_ROOM_TEMPERATURE_K, |room| mean(&room.value)))
}

/// Compliance matters little while the pressure is held: over whole valve cycles gloves end where they began.
fn compliance(plan: &Plan, room: &RoomPressure<'_>) -> Quantity {
    match &plan.enclosure.compliance {
        Compliance::Stated(stated) => ppm_rise::quantity(stated),
        Compliance::StiffnessCheck { injected, rise } => {
            let volume = plan.enclosure.volume.as_ref().map_or(0.0, |volume| volume.si);
            Quantity::new((injected.si / rise.si - volume / room.mean_pa.value).max(0.0), 0.0)
        }
        Compliance::NotStated => Quantity::default(),
    }
}

fn estimates(evaluation: &MakeUp) -> Vec<(&'static str, Estimate)> {
    let flow = &evaluation.makeup_flow_mean;
    let known = |value: f64| Estimate::from_distribution(Distribution::normal(value, 0.0), Vec::new());
    let optional = [
        ("hourly_leak_rate", evaluation.hourly_leak_rate.clone()),
        ("makeup_flow_mean", Some(flow.scaled(SECONDS_PER_HOUR))),
        ("gas_use", Some(flow.scaled(24.0 * SECONDS_PER_HOUR))),
        ("pulses_per_hour", evaluation.pulses_per_hour.map(known)),
        ("pressure_share_within", evaluation.share_in_band.map(known)),
        ("gauge_pressure_min", evaluation.difference_range_pa.map(|range| known(range[0]))),
        ("gauge_pressure_max", evaluation.difference_range_pa.map(|range| known(range[1]))),
    ];
    optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate?))).collect()
}

impl Evaluation for MakeUp {
    fn window_s(&self) -> [f64; 2] {
        [self.window.from_s, self.window.to_s]
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::make_up::figures(self, clock)
    }
}

fn missing(data: &TestData<'_>) -> DataError {
    DataError::MissingChannel {
        needed: "make-up gas (a running total, a flow, or a valve with its flow)".to_owned(),
        columns: data.columns(),
        hint: "name it in the plan: [test.columns] makeup_total = { column = \"…\", unit = \"L\" }, makeup_flow, or \
               valve_open with valve_flow = \"2 L/min\" in the test"
            .to_owned(),
    }
}
