//! The pressure of a vessel under vacuum, absolute, whatever its gauge counts from.

use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::pressure_change::Instrument;
use tightfit_ingest::{Channel, PressureReference};
use tightfit_quantity::Dimension;
use tightfit_quantity::constant::STANDARD_ATMOSPHERE_PA;

use crate::data::{ChannelData, DataError, TestData};

use super::pressure_change::relative;
use super::pressure_channels::{fit_instrument, mean};
use super::validity::{self, Findings};
use super::{TestError, ppm_rise};

/// Standard uncertainty of the room's pressure where nothing tells it, Pa: weather and height above the sea.
const UNKNOWN_ROOM_PA: f64 = 2000.0;

/// Pressure of a vessel.
pub(super) struct VesselPressure<'p> {
    pub(super) channel: ChannelData<'p>,
    /// Absolute pressure, Pa, at the channel's times.
    pub(super) absolute_pa: Vec<f64>,
    /// Whether the gauge counts from the room.
    pub(super) from_room: bool,
    pub(super) gauge: Instrument,
    pub(super) room: RoomPressure<'p>,
    /// What had to be assumed.
    pub(super) notes: Vec<String>,
}

/// Pressure of the room during a record.
pub(super) struct RoomPressure<'p> {
    pub(super) logged: Option<ChannelData<'p>>,
    /// Mean, and its standard uncertainty, Pa.
    pub(super) mean_pa: Quantity,
}

impl<'p> VesselPressure<'p> {
    /// The first of the channels that was logged.
    pub(super) fn gather(data: &TestData<'p>, channels: &[Channel]) -> Result<Self, TestError> {
        let mut notes = Vec::new();
        let room = RoomPressure::gather(data, &mut notes)?;
        let mut found = None;
        for channel in channels {
            if found.is_none() {
                found = data.channel(*channel)?.map(|data| (*channel, data));
            }
        }
        let Some((kind, channel)) = found else { return Err(missing(data, channels).into()) };
        let gauge = fit_instrument(channel.instrument, Dimension::Pressure);
        let counted = counted_from(kind, &channel, room.mean_pa.value, &mut notes);
        let absolute_pa = room.plus(&channel.time_s, &channel.value, counted);
        Ok(Self { absolute_pa, from_room: counted != Counted::FromVacuum, gauge, room, notes, channel })
    }

    /// Calibration of gauge and barometer, and what was assumed.
    pub(super) fn check(&self, data: &TestData<'_>, end_s: f64, findings: &mut Findings) {
        let day = data.day(end_s);
        validity::calibration(&self.channel, day, findings);
        if let Some(barometer) = &self.room.logged {
            validity::calibration(barometer, day, findings);
        }
        validity::range(&self.channel, Dimension::Pressure, findings);
        findings.notes.extend(self.notes.iter().cloned());
    }
}

impl<'p> RoomPressure<'p> {
    pub(super) fn gather(data: &TestData<'p>, notes: &mut Vec<String>) -> Result<Self, TestError> {
        let logged = data.channel(Channel::RoomPressure)?;
        let stated = data.plan().room.pressure.as_ref();
        let mean_pa = match (&logged, stated) {
            (Some(logged), _) => {
                let barometer = fit_instrument(logged.instrument, Dimension::Pressure);
                let value = mean(&logged.value);
                let rounding = barometer.resolution / 12.0_f64.sqrt();
                Quantity::new(value, barometer.zero.hypot(rounding).hypot(barometer.scale * value))
            }
            (None, Some(stated)) => {
                let uncertainty = stated.standard_uncertainty.unwrap_or_else(|| relative(stated) * stated.si);
                Quantity::new(stated.si, uncertainty)
            }
            (None, None) => {
                notes.push(
                    "neither barometer nor [room] pressure is given: 1013.25 hPa, give or take 20 hPa, stands in for the \
                     room's pressure"
                        .to_owned(),
                );
                Quantity::new(STANDARD_ATMOSPHERE_PA, UNKNOWN_ROOM_PA)
            }
        };
        Ok(Self { logged, mean_pa })
    }

    /// Readings as absolute pressures: those that count from the room with its pressure put back.
    fn plus(&self, time_s: &[f64], value: &[f64], counted: Counted) -> Vec<f64> {
        let sign = match counted {
            Counted::FromVacuum => return value.to_vec(),
            Counted::UpFromRoom => 1.0,
            Counted::DownFromRoom => -1.0,
        };
        let mut follower = self.follower();
        time_s.iter().zip(value).map(|(time, value)| follower(*time) + sign * value).collect()
    }

    /// The room's pressure at rising times.
    pub(super) fn follower(&self) -> impl FnMut(f64) -> f64 + '_ {
        let stated = self.mean_pa.value;
        let mut upper = 0;
        move |time_s| {
            let Some(logged) = &self.logged else { return stated };
            let (time, value) = (&logged.time_s, &logged.value);
            while upper < time.len() && time[upper] < time_s {
                upper += 1;
            }
            match upper {
                0 => value[0],
                upper if upper == time.len() => value[upper - 1],
                upper => {
                    let share = (time_s - time[upper - 1]) / (time[upper] - time[upper - 1]);
                    value[upper - 1] + share * (value[upper] - value[upper - 1])
                }
            }
        }
    }
}

/// What readings count from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Counted {
    FromVacuum,
    /// Negative below the room.
    UpFromRoom,
    /// Positive below the room.
    DownFromRoom,
}

fn counted_from(kind: Channel, channel: &ChannelData<'_>, room_pa: f64, notes: &mut Vec<String>) -> Counted {
    let column = &channel.column;
    let lowest = channel.value.iter().copied().fold(f64::INFINITY, f64::min);
    match channel.reference {
        PressureReference::Gauge => Counted::UpFromRoom,
        PressureReference::OfChannel if kind == Channel::GaugePressure => Counted::UpFromRoom,
        // Mercury columns of vacuum are counted down from the room wherever the header speaks of vacuum.
        PressureReference::OfChannel if is_mercury_vacuum(channel) && lowest > -0.05 * room_pa => {
            notes.push(format!(
                "column \"{column}\" is taken as vacuum below the room's pressure (unit \"inHg vacuum\")"
            ));
            Counted::DownFromRoom
        }
        PressureReference::OfChannel if lowest < -0.05 * room_pa => {
            notes.push(format!("column \"{column}\" goes below zero and is taken to count from the room's pressure"));
            Counted::UpFromRoom
        }
        PressureReference::Absolute | PressureReference::OfChannel => Counted::FromVacuum,
    }
}

fn is_mercury_vacuum(channel: &ChannelData<'_>) -> bool {
    let header = channel.column.to_lowercase();
    channel.unit.to_lowercase().contains("inhg") && header.contains("vac")
}

/// Volume of the vessel that a test names, or of the antechamber.
pub(super) fn volume(data: &TestData<'_>) -> Option<Quantity> {
    let keys = &data.test().keys;
    let enclosure = &data.plan().enclosure;
    let volume = match (&keys.volume, keys.vessel.as_deref()) {
        (Some(volume), _) => Some(volume),
        (None, Some("enclosure")) => enclosure.volume.as_ref(),
        (None, _) => enclosure.antechamber_volume.as_ref(),
    };
    volume.map(ppm_rise::quantity)
}

/// Times at which the clock started again, s on the data's axis.
pub(super) fn restarts_s(data: &TestData<'_>) -> Vec<f64> {
    let phases = data.files.iter().flat_map(|file| &file.recording.phases);
    phases.map(|phase| phase.time_s - data.origin_s).collect()
}

fn missing(data: &TestData<'_>, channels: &[Channel]) -> DataError {
    let name = channels.first().map_or("antechamber_pressure", |channel| channel.as_str());
    DataError::MissingChannel {
        needed: "pressure of the vessel".to_owned(),
        columns: data.columns(),
        hint: format!("name it in the plan: [test.columns] {name} = {{ column = \"…\", unit = \"mbar absolute\" }}"),
    }
}
