//! The quantities a recording may hold, under the names plans and results use.

use std::fmt;

use serde::{Deserialize, Serialize};

/// One quantity of an enclosure, its room or its attachments. Values of a channel are always in its SI unit
/// ([`Channel::si_unit`]), whatever the export wrote.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Channel {
    /// The time base itself; never a series, but a plan names its columns.
    Time,
    /// Enclosure pressure minus room pressure, Pa.
    GaugePressure,
    /// Enclosure pressure, Pa.
    AbsolutePressure,
    /// Barometric pressure of the room, Pa.
    RoomPressure,
    /// Temperature of the gas in the enclosure, K.
    GasTemperature,
    /// Temperature of the enclosure's wall, K.
    WallTemperature,
    /// Temperature of the room, K.
    RoomTemperature,
    /// Pressure of a closed reference vessel inside the enclosure, Pa.
    ReferenceVesselPressure,
    /// Oxygen, mole fraction (1 ppm = 1e-6).
    Oxygen,
    /// Water vapour, mole fraction; dew and frost points are converted.
    Water,
    /// Relative humidity of the room, 1.
    RoomRelativeHumidity,
    /// Flow through the purifier, m³/s.
    CirculationFlow,
    /// Flow of make-up gas, m³/s.
    MakeupFlow,
    /// Running total of make-up gas, m³.
    MakeupTotal,
    /// Flow of purge gas, m³/s.
    PurgeFlow,
    /// Pressure of the antechamber, Pa absolute (gauge where [`Series::reference`](crate::Series) says so).
    AntechamberPressure,
    /// Temperature of the purifier vessel, K.
    VesselTemperature,
    /// Pressure of the purifier vessel, Pa.
    VesselPressure,
    /// Flow of regeneration gas, m³/s.
    RegenerationFlow,
    /// Position of a valve: 0 shut, 1 open.
    ValveOpen,
    /// Purifier: 0 off, 1 on.
    PurifierOn,
    /// Antechamber transfer: 0 no, 1 under way.
    Transfer,
    /// An event: non-zero where something was noted.
    Event,
}

/// What kind of number a channel holds; the unit of a column must fit it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Seconds.
    Time,
    /// Pascal.
    Pressure,
    /// Kelvin.
    Temperature,
    /// Mole fraction; for water also a dew or frost point.
    MoleFraction,
    /// Relative humidity, 1.
    RelativeHumidity,
    /// Cubic metres a second.
    VolumeFlow,
    /// Cubic metres.
    Volume,
    /// A state: 0, 1 or a count.
    State,
}

impl Channel {
    /// Every channel, in the order they are shown.
    pub const ALL: [Self; 23] = [
        Self::Time,
        Self::GaugePressure,
        Self::AbsolutePressure,
        Self::RoomPressure,
        Self::GasTemperature,
        Self::WallTemperature,
        Self::RoomTemperature,
        Self::ReferenceVesselPressure,
        Self::Oxygen,
        Self::Water,
        Self::RoomRelativeHumidity,
        Self::CirculationFlow,
        Self::MakeupFlow,
        Self::MakeupTotal,
        Self::PurgeFlow,
        Self::AntechamberPressure,
        Self::VesselTemperature,
        Self::VesselPressure,
        Self::RegenerationFlow,
        Self::ValveOpen,
        Self::PurifierOn,
        Self::Transfer,
        Self::Event,
    ];

    /// The name used in plans and results.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::GaugePressure => "gauge_pressure",
            Self::AbsolutePressure => "absolute_pressure",
            Self::RoomPressure => "room_pressure",
            Self::GasTemperature => "gas_temperature",
            Self::WallTemperature => "wall_temperature",
            Self::RoomTemperature => "room_temperature",
            Self::ReferenceVesselPressure => "reference_vessel_pressure",
            Self::Oxygen => "oxygen",
            Self::Water => "water",
            Self::RoomRelativeHumidity => "room_relative_humidity",
            Self::CirculationFlow => "circulation_flow",
            Self::MakeupFlow => "makeup_flow",
            Self::MakeupTotal => "makeup_total",
            Self::PurgeFlow => "purge_flow",
            Self::AntechamberPressure => "antechamber_pressure",
            Self::VesselTemperature => "vessel_temperature",
            Self::VesselPressure => "vessel_pressure",
            Self::RegenerationFlow => "regeneration_flow",
            Self::ValveOpen => "valve_open",
            Self::PurifierOn => "purifier_on",
            Self::Transfer => "transfer",
            Self::Event => "event",
        }
    }

    /// The channel of that name, exactly as plans write it.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|channel| channel.as_str() == name)
    }

    /// What kind of number the channel holds.
    pub fn kind(self) -> Kind {
        match self {
            Self::Time => Kind::Time,
            Self::GaugePressure
            | Self::AbsolutePressure
            | Self::RoomPressure
            | Self::ReferenceVesselPressure
            | Self::AntechamberPressure
            | Self::VesselPressure => Kind::Pressure,
            Self::GasTemperature | Self::WallTemperature | Self::RoomTemperature | Self::VesselTemperature => {
                Kind::Temperature
            }
            Self::Oxygen | Self::Water => Kind::MoleFraction,
            Self::RoomRelativeHumidity => Kind::RelativeHumidity,
            Self::CirculationFlow | Self::MakeupFlow | Self::PurgeFlow | Self::RegenerationFlow => Kind::VolumeFlow,
            Self::MakeupTotal => Kind::Volume,
            Self::ValveOpen | Self::PurifierOn | Self::Transfer | Self::Event => Kind::State,
        }
    }

    /// The unit of the channel's values in a [`Series`](crate::Series).
    pub fn si_unit(self) -> &'static str {
        match self.kind() {
            Kind::Time => "s",
            Kind::Pressure => "Pa",
            Kind::Temperature => "K",
            Kind::MoleFraction | Kind::RelativeHumidity | Kind::State => "1",
            Kind::VolumeFlow => "m3/s",
            Kind::Volume => "m3",
        }
    }
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}
