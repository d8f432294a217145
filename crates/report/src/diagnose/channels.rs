//! From the files and the plan to what the diagnosis reads.

use tightfit_fit::diagnose::{Background, Known, Log, Trace};
use tightfit_ingest::{Channel, Status};
use tightfit_quantity::Dimension;
use tightfit_quantity::constant::{OXYGEN_IN_DRY_AIR, STANDARD_ATMOSPHERE_PA};
use tightfit_quantity::moisture::room_air_mole_fraction;
use tightfit_quantity::permeability::{Elastomer, Permeant};

use crate::data::{ChannelData, DataError, TestData};
use crate::plan::{Measured, Plan};

const PPM: f64 = 1e6;
/// Compounding and age add this to the spread of ln(water over oxygen) that is published.
const BEYOND: f64 = 0.5;
const SECONDS_PER_HOUR: f64 = 3600.0;
/// Room of which nothing is known: 22 °C and 45 % (common practice, no source).
const USUAL_ROOM_K: f64 = 295.15;
const USUAL_HUMIDITY: f64 = 0.45;

/// The channels of the log inside its window.
pub(super) struct Channels<'p> {
    pub(super) log: Log,
    /// The analysers' channels, for their calibration.
    pub(super) analysers: Vec<ChannelData<'p>>,
    /// Readings above an analyser's range, which are no numbers.
    pub(super) above_range: usize,
}

impl<'p> Channels<'p> {
    pub(super) fn gather(data: &TestData<'p>, window_s: [f64; 2], room_pa: f64) -> Result<Self, DataError> {
        let (oxygen, water) = (data.channel(Channel::Oxygen)?, data.channel(Channel::Water)?);
        if oxygen.is_none() && water.is_none() {
            return Err(DataError::MissingChannel {
                needed: "oxygen or water content".to_owned(),
                columns: data.columns(),
                hint: "name it in the plan: [test.columns] oxygen = { column = \"…\", unit = \"ppm\" }".to_owned(),
            });
        }
        let above = |channel: &ChannelData<'_>| channel.status.iter().filter(|s| **s == Status::AboveRange).count();
        let above_range = oxygen.iter().chain(&water).map(above).sum();
        let optional = |channel| -> Result<Option<Trace>, DataError> {
            Ok(trace(data.channel(channel)?.as_ref(), window_s, |v| v))
        };
        let log = Log {
            oxygen_ppm: trace(oxygen.as_ref(), window_s, |x| x * PPM),
            water_ppm: trace(water.as_ref(), window_s, |x| x * PPM),
            gauge_pressure_pa: match optional(Channel::GaugePressure)? {
                Some(gauge) => Some(gauge),
                None => gauge_from_absolute(data, window_s)?,
            },
            circulation_flow: optional(Channel::CirculationFlow)?,
            purifier_on: optional(Channel::PurifierOn)?,
            makeup_flow_m3_per_h: makeup(data, window_s)?,
            transfer: match optional(Channel::Transfer)? {
                Some(transfer) => Some(transfer),
                None => optional(Channel::Event)?,
            },
            temperature_k: first_of(&[
                optional(Channel::GasTemperature)?,
                optional(Channel::WallTemperature)?,
                optional(Channel::RoomTemperature)?,
            ]),
            room_water_ppm: room_water(data, window_s, room_pa)?,
        };
        Ok(Self { log, analysers: oxygen.into_iter().take(1).chain(water.into_iter().take(1)).collect(), above_range })
    }
}

fn first_of(traces: &[Option<Trace>]) -> Option<Trace> {
    traces.iter().flatten().next().cloned()
}

/// A channel inside the window, without readings above the range; `None` where fewer than two are left.
fn trace(channel: Option<&ChannelData<'_>>, [from_s, to_s]: [f64; 2], map: impl Fn(f64) -> f64) -> Option<Trace> {
    let channel = channel?;
    let mut rows: Vec<(f64, f64, bool)> = Vec::new();
    for (index, (time, value)) in channel.time_s.iter().zip(&channel.value).enumerate() {
        let status = channel.status.get(index).copied().unwrap_or_default();
        if (from_s..=to_s).contains(time) && value.is_finite() && status != Status::AboveRange {
            rows.push((*time, map(*value), status == Status::BelowLimit));
        }
    }
    let censored = rows.iter().any(|row| row.2);
    (rows.len() > 1).then(|| Trace {
        time_s: rows.iter().map(|row| row.0).collect(),
        value: rows.iter().map(|row| row.1).collect(),
        below_limit: if censored { rows.iter().map(|row| row.2).collect() } else { Vec::new() },
    })
}

/// Inside less room pressure, where only absolute pressures were logged.
fn gauge_from_absolute(data: &TestData<'_>, window_s: [f64; 2]) -> Result<Option<Trace>, DataError> {
    let Some(mut inside) = trace(data.channel(Channel::AbsolutePressure)?.as_ref(), window_s, |v| v) else {
        return Ok(None);
    };
    let Some(room) = trace(data.channel(Channel::RoomPressure)?.as_ref(), window_s, |v| v) else {
        // Without a barometer the weather is larger than any set-point.
        return Ok(None);
    };
    let mut at = 0;
    for (time, value) in inside.time_s.iter().zip(&mut inside.value) {
        while at + 1 < room.time_s.len() && room.time_s[at + 1] <= *time {
            at += 1;
        }
        *value -= room.value[at];
    }
    Ok(Some(inside))
}

/// Make-up flow, logged or from its running total.
fn makeup(data: &TestData<'_>, window_s: [f64; 2]) -> Result<Option<Trace>, DataError> {
    if let Some(flow) = trace(data.channel(Channel::MakeupFlow)?.as_ref(), window_s, |flow| flow * SECONDS_PER_HOUR) {
        return Ok(Some(flow));
    }
    let Some(total) = trace(data.channel(Channel::MakeupTotal)?.as_ref(), window_s, |v| v) else { return Ok(None) };
    let rows = total.time_s.windows(2).zip(total.value.windows(2));
    // A counter that was reset runs backwards once.
    let flows =
        rows.map(|(time, value)| (time[1], (value[1] - value[0]).max(0.0) / (time[1] - time[0]) * SECONDS_PER_HOUR));
    let flows: Vec<(f64, f64)> = flows.filter(|(_, flow)| flow.is_finite()).collect();
    Ok((flows.len() > 1).then(|| Trace {
        time_s: flows.iter().map(|row| row.0).collect(),
        value: flows.iter().map(|row| row.1).collect(),
        below_limit: Vec::new(),
    }))
}

/// Water in the air of the room over time, where its humidity was logged.
fn room_water(data: &TestData<'_>, window_s: [f64; 2], room_pa: f64) -> Result<Option<Trace>, DataError> {
    let Some(mut humidity) = trace(data.channel(Channel::RoomRelativeHumidity)?.as_ref(), window_s, |v| v) else {
        return Ok(None);
    };
    let temperature = trace(data.channel(Channel::RoomTemperature)?.as_ref(), window_s, |v| v);
    let stated = data.plan().room.temperature.as_ref().map_or(USUAL_ROOM_K, |stated| stated.si);
    let mut at = 0;
    for (time, value) in humidity.time_s.iter().zip(&mut humidity.value) {
        let temperature_k = temperature.as_ref().map_or(stated, |temperature| {
            while at + 1 < temperature.time_s.len() && temperature.time_s[at + 1] <= *time {
                at += 1;
            }
            temperature.value[at]
        });
        *value = PPM * room_air_mole_fraction(*value, temperature_k, room_pa);
    }
    Ok(Some(humidity))
}

/// Pressure of the room, Pa: stated or the standard atmosphere.
pub(super) fn room_pressure(plan: &Plan) -> f64 {
    plan.room.pressure.as_ref().map_or(STANDARD_ATMOSPHERE_PA, |pressure| pressure.si)
}

/// What the plan tells beside the log.
pub(super) fn background(plan: &Plan, channels: &Channels<'_>) -> Background {
    let flows: Option<Vec<f64>> =
        plan.enclosure.purifiers.iter().map(|p| p.flow.as_ref().map(|flow| flow.si)).collect();
    let room = &plan.room;
    let temperature_k = room.temperature.as_ref().map_or(USUAL_ROOM_K, |stated| stated.si);
    let logged = channels.log.room_water_ppm.as_ref().map(|trace| mean(&trace.value));
    let stated = room
        .relative_humidity
        .as_ref()
        .map(|humidity| PPM * room_air_mole_fraction(humidity.si, temperature_k, room_pressure(plan)));
    let usual = PPM * room_air_mole_fraction(USUAL_HUMIDITY, temperature_k, room_pressure(plan));
    let room_water_ppm = logged.or(stated);
    let zero = |channel: Channel| {
        let own = channels.analysers.iter().find(|own| own.instrument.is_some() && species(own, channel, channels));
        let uncertainty = own.and_then(|own| own.instrument)?.uncertainty.as_ref()?;
        uncertainty.absolute(Dimension::Ratio).ok().map(|zero| zero * PPM)
    };
    let known = |measured: &Option<Measured>| {
        measured.as_ref().map(|measured| Known {
            value: measured.si * PPM,
            standard_uncertainty: measured.standard_uncertainty.unwrap_or(0.3 * measured.si) * PPM,
        })
    };
    Background {
        volume_m3: plan.enclosure.volume.as_ref().map(|volume| volume.si),
        purifier_flow_m3_per_h: flows
            .filter(|flows| !flows.is_empty())
            .map(|flows| flows.iter().sum::<f64>() * SECONDS_PER_HOUR),
        room_water_ppm,
        permeation_ratio: permeation_ratio(plan, room_water_ppm.unwrap_or(usual)),
        zero_ppm: [zero(Channel::Oxygen), zero(Channel::Water)],
        supply_ppm: [known(&plan.supply.oxygen), known(&plan.supply.water)],
        ..Background::default()
    }
}

/// Whether an analyser's channel is that of the species.
fn species(own: &ChannelData<'_>, channel: Channel, channels: &Channels<'_>) -> bool {
    let is_first = channels.analysers.first().is_some_and(|first| std::ptr::eq(first, own));
    let oxygen_is_first = channels.log.oxygen_ppm.is_some();
    (channel == Channel::Oxygen) == (is_first && oxygen_is_first)
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Water over oxygen that the plan's gloves let through, and the spread of its logarithm: the published ranges.
fn permeation_ratio(plan: &Plan, room_water_ppm: f64) -> Option<(f64, f64)> {
    let air = room_water_ppm / (PPM * OXYGEN_IN_DRY_AIR);
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    for glove in &plan.enclosure.gloves {
        let material = Elastomer::parse(&glove.material)?;
        let (water, oxygen) = (material.permeability(Permeant::Water)?, material.permeability(Permeant::Oxygen)?);
        low = low.min(water[0] / oxygen[1] * air);
        high = high.max(water[1] / oxygen[0] * air);
    }
    (high > 0.0).then(|| ((low * high).sqrt(), (0.5 * (high / low).ln()).hypot(BEYOND)))
}
