//! The channels of a pressure-change test, as the fit wants them.

use tightfit_fit::Samples;
use tightfit_fit::pressure_change::{
    Clock, InsidePressure, Instrument as FitInstrument, Place, Record, ReferenceVessel, Response, RoomPressure,
    Thermometer, VesselPressure,
};
use tightfit_ingest::{Channel, PressureReference};
use tightfit_quantity::Dimension;
use tightfit_quantity::constant::STANDARD_ATMOSPHERE_PA;

use crate::data::{ChannelData, DataError, TestData};
use crate::plan::{ClockOffset, Instrument};

use super::TestError;

/// Temperature of the gas where neither a thermometer nor the plan tells it, K (22 °C).
const USUAL_ROOM_TEMPERATURE_K: f64 = 295.15;

/// A bound on drift is taken as the limits of a rectangular distribution (JCGM 100:2008, 4.3.7).
const RECTANGULAR: f64 = 1.732_050_807_568_877_2;

/// The channels of a test, owned.
#[derive(Debug)]
pub(super) struct Channels<'p> {
    pub(super) inside: ChannelData<'p>,
    pub(super) inside_is_gauge: bool,
    pub(super) room: Option<ChannelData<'p>>,
    pub(super) room_stated_pa: f64,
    /// Whether the room's pressure is known at all, or the standard atmosphere stands in.
    pub(super) room_is_known: bool,
    pub(super) thermometers: Vec<(Place, ChannelData<'p>)>,
    pub(super) vessels: Vec<ChannelData<'p>>,
    vapour: Option<ChannelData<'p>>,
    stated_temperature_k: f64,
    /// Columns beside the inside pressure with how many of their readings are marked as outside the range.
    pub(super) outside_range: Vec<(String, usize)>,
}

impl<'p> Channels<'p> {
    pub(super) fn gather(data: &TestData<'p>) -> Result<Self, TestError> {
        let plan = data.plan();
        let gauge = data.channel(Channel::GaugePressure)?;
        let absolute = data.channel(Channel::AbsolutePressure)?;
        let mut room = data.channel(Channel::RoomPressure)?;
        let inside_is_gauge = gauge.is_some();
        let inside = match (gauge, absolute) {
            (Some(gauge), absolute) => {
                room = room.or_else(|| room_from_pair(&gauge, absolute.as_ref()?));
                gauge
            }
            (None, Some(absolute)) => absolute,
            (None, None) => return Err(missing_inside(data).into()),
        };
        let stated = plan.room.pressure.as_ref().map(|pressure| pressure.si);
        if !inside_is_gauge && room.is_none() && stated.is_none() {
            return Err(missing_room(data).into());
        }
        let gas = data.channels(Channel::GasTemperature)?.into_iter().map(|channel| (Place::Gas, channel));
        let wall = data.channels(Channel::WallTemperature)?.into_iter().map(|channel| (Place::Wall, channel));
        let water = data.channel(Channel::Water).unwrap_or_default();
        let mut thermometers: Vec<(Place, ChannelData<'p>)> = gas.chain(wall).collect();
        let beside = room.iter_mut().chain(thermometers.iter_mut().map(|(_, channel)| channel));
        let outside_range = beside.map(|channel| (channel.column.clone(), channel.keep_measured()));
        let outside_range = outside_range.filter(|(_, count)| *count > 0).collect();
        thermometers.retain(|(_, channel)| !channel.time_s.is_empty());
        room = room.filter(|room| !room.time_s.is_empty());
        Ok(Self {
            outside_range,
            inside_is_gauge,
            room_is_known: room.is_some() || stated.is_some(),
            room_stated_pa: stated.unwrap_or(STANDARD_ATMOSPHERE_PA),
            thermometers,
            vessels: data.channels(Channel::ReferenceVesselPressure)?,
            vapour: water.map(|water| vapour_pressure(water, stated.unwrap_or(STANDARD_ATMOSPHERE_PA))),
            stated_temperature_k: stated_temperature(data)?,
            room,
            inside,
        })
    }

    pub(super) fn record(&self) -> Result<Record<'_>, TestError> {
        let inside = samples(&self.inside)?;
        Ok(Record {
            inside: if self.inside_is_gauge { InsidePressure::Gauge(inside) } else { InsidePressure::Absolute(inside) },
            room: match &self.room {
                Some(room) => RoomPressure::Logged(samples(room)?),
                None => RoomPressure::Stated(self.room_stated_pa),
            },
            thermometers: self.thermometers.iter().map(|own| self.thermometer(own)).collect::<Result<_, _>>()?,
            reference_vessels: self.vessels.iter().map(vessel).collect::<Result<_, _>>()?,
            vapour_pressure_pa: self.vapour.as_ref().map(samples).transpose()?,
            stated_temperature_k: self.stated_temperature_k,
        })
    }

    fn thermometer<'a>(&self, (place, channel): &'a (Place, ChannelData<'p>)) -> Result<Thermometer<'a>, TestError> {
        Ok(Thermometer {
            name: self.thermometer_name(channel),
            samples: samples(channel)?,
            place: *place,
            response: response(channel),
            instrument: FitInstrument {
                clock: self.clock(channel),
                ..fit_instrument(channel.instrument, Dimension::Temperature)
            },
        })
    }

    /// Its column, with the file where two loggers of one kind name theirs alike.
    fn thermometer_name(&self, channel: &ChannelData<'_>) -> String {
        let alike = self.thermometers.iter().filter(|(_, other)| other.column == channel.column).count();
        if alike > 1 { format!("{} of {}", channel.column, channel.file) } else { channel.column.clone() }
    }

    /// The barometer, as the plan describes it.
    pub(super) fn barometer(&self) -> FitInstrument {
        let Some(room) = &self.room else { return FitInstrument::default() };
        FitInstrument { clock: self.clock(room), ..fit_instrument(room.instrument, Dimension::Pressure) }
    }

    /// The clock of a channel against that of the inside pressure: a file of its own comes from another logger.
    fn clock(&self, channel: &ChannelData<'_>) -> Clock {
        match channel.instrument.map_or(ClockOffset::NotStated, |instrument| instrument.clock) {
            ClockOffset::NotStated if channel.file != self.inside.file => Clock::Apart,
            ClockOffset::NotStated | ClockOffset::Known(_) => Clock::Common,
            ClockOffset::UnknownWithin(seconds) => Clock::UnknownWithin(seconds),
        }
    }

    /// Every instrument that the test relies on, with the column it reads.
    pub(super) fn all(&self) -> impl Iterator<Item = &ChannelData<'p>> {
        std::iter::once(&self.inside)
            .chain(&self.room)
            .chain(self.thermometers.iter().map(|(_, channel)| channel))
            .chain(&self.vessels)
    }

    /// Pressure difference to the room over the whole record, smallest and largest, Pa.
    pub(super) fn difference_range_pa(&self) -> [f64; 2] {
        let offset = if self.inside_is_gauge { 0.0 } else { -self.room_mean_pa() };
        let fold = |start, pick: fn(f64, f64) -> f64| self.inside.value.iter().copied().fold(start, pick) + offset;
        [fold(f64::INFINITY, f64::min), fold(f64::NEG_INFINITY, f64::max)]
    }

    /// Mean temperature of the gas, or what stands in for it, K.
    pub(super) fn temperature_k(&self) -> f64 {
        self.thermometers.first().map_or(self.stated_temperature_k, |(_, channel)| mean(&channel.value))
    }

    /// Median pressure difference to the room, Pa.
    pub(super) fn median_difference_pa(&self) -> f64 {
        let mut values = self.inside.value.clone();
        values.sort_unstable_by(f64::total_cmp);
        values[values.len() / 2] - if self.inside_is_gauge { 0.0 } else { self.room_mean_pa() }
    }

    pub(super) fn room_mean_pa(&self) -> f64 {
        self.room.as_ref().map_or(self.room_stated_pa, |room| mean(&room.value))
    }
}

/// An instrument's standard uncertainties for a channel measured in `dimension`.
pub(crate) fn fit_instrument(instrument: Option<&Instrument>, dimension: Dimension) -> FitInstrument {
    let Some(instrument) = instrument else { return FitInstrument::default() };
    let uncertainty = instrument.uncertainty.as_ref();
    let zero_check = instrument.zero_check_si(dimension).map_or(0.0, |(_, uncertainty)| uncertainty);
    let drift_dimension = match dimension {
        Dimension::Pressure => Dimension::PressureRate,
        Dimension::Temperature => Dimension::TemperatureRate,
        _ => Dimension::PerTime,
    };
    FitInstrument {
        zero: uncertainty.and_then(|u| u.absolute(dimension).ok()).unwrap_or(0.0).hypot(zero_check),
        scale: uncertainty.map_or(0.0, tightfit_quantity::Uncertainty::relative),
        drift_per_s: instrument.drift_si(drift_dimension).unwrap_or(0.0) / RECTANGULAR,
        resolution: instrument.resolution_si(dimension).unwrap_or(0.0),
        clock: Clock::Common,
    }
}

pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

pub(super) fn samples<'a>(channel: &'a ChannelData<'_>) -> Result<Samples<'a>, TestError> {
    Samples::new(&channel.time_s, &channel.value)
        .map_err(|error| TestError::Samples { column: channel.column.clone(), error })
}

fn vessel<'a>(channel: &'a ChannelData<'_>) -> Result<ReferenceVessel<'a>, TestError> {
    let samples = samples(channel)?;
    Ok(ReferenceVessel {
        name: channel.column.clone(),
        pressure: match channel.reference {
            PressureReference::Gauge => VesselPressure::DifferenceToEnclosure(samples),
            PressureReference::Absolute | PressureReference::OfChannel => VesselPressure::Absolute(samples),
        },
        response: response(channel),
        instrument: fit_instrument(channel.instrument, Dimension::Pressure),
    })
}

fn response(channel: &ChannelData<'_>) -> Option<Response> {
    let response = channel.instrument?.response.as_ref()?;
    (response.tau_s > 0.0).then_some(Response { tau_s: response.tau_s, standard_uncertainty_s: 0.0 })
}

/// The room's pressure where gauge and absolute pressure stand in the same rows.
fn room_from_pair<'p>(gauge: &ChannelData<'p>, absolute: &ChannelData<'p>) -> Option<ChannelData<'p>> {
    let same_rows = gauge.time_s == absolute.time_s;
    same_rows.then(|| ChannelData {
        column: format!("{} − {}", absolute.column, gauge.column),
        value: absolute.value.iter().zip(&gauge.value).map(|(absolute, gauge)| absolute - gauge).collect(),
        ..absolute.clone()
    })
}

fn vapour_pressure(mut water: ChannelData<'_>, pressure_pa: f64) -> ChannelData<'_> {
    water.value.iter_mut().for_each(|fraction| *fraction *= pressure_pa);
    water
}

fn stated_temperature(data: &TestData<'_>) -> Result<f64, TestError> {
    if let Some(temperature) = &data.plan().room.temperature {
        return Ok(temperature.si);
    }
    let room = data.channel(Channel::RoomTemperature)?;
    Ok(room.map_or(USUAL_ROOM_TEMPERATURE_K, |room| mean(&room.value)))
}

fn missing_inside(data: &TestData<'_>) -> DataError {
    DataError::MissingChannel {
        needed: "pressure inside the enclosure".to_owned(),
        columns: data.columns(),
        hint: "name it in the plan: [test.columns] gauge_pressure = { column = \"…\", unit = \"Pa\" }".to_owned(),
    }
}

fn missing_room(data: &TestData<'_>) -> DataError {
    DataError::MissingChannel {
        needed: "room pressure, without which an absolute pressure shows no pressure difference".to_owned(),
        columns: data.columns(),
        hint: "log a barometer, or state [room] pressure = \"1013 hPa\"".to_owned(),
    }
}
