//! What was logged during a pressure hold.

use crate::Samples;

/// Channels of one pressure-change test. Every channel has its own time base; times count from one common origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Record<'a> {
    /// Pressure inside the enclosure in Pa.
    pub inside: InsidePressure<'a>,
    /// Pressure of the room in Pa.
    pub room: RoomPressure<'a>,
    /// Thermometers inside, none to many.
    pub thermometers: Vec<Thermometer<'a>>,
    /// Sealed vessels inside whose pressure serves as a thermometer.
    pub reference_vessels: Vec<ReferenceVessel<'a>>,
    /// Water vapour pressure inside in Pa, where measured (the mass point subtracts it).
    pub vapour_pressure_pa: Option<Samples<'a>>,
    /// Temperature of the gas in K that is used where no thermometer was logged.
    pub stated_temperature_k: f64,
}

/// Pressure inside: what the sensor refers to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum InsidePressure<'a> {
    /// Difference to the room in Pa, negative below it.
    Gauge(Samples<'a>),
    /// Absolute pressure in Pa.
    Absolute(Samples<'a>),
}

impl<'a> InsidePressure<'a> {
    /// The readings, whatever they refer to.
    pub fn samples(&self) -> Samples<'a> {
        match self {
            Self::Gauge(samples) | Self::Absolute(samples) => *samples,
        }
    }
}

/// Pressure of the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RoomPressure<'a> {
    /// Logged barometer, absolute, Pa.
    Logged(Samples<'a>),
    /// A stated constant in Pa: barometer changes during the test are then unknown, and enter the budget.
    Stated(f64),
}

/// A thermometer inside the enclosure.
#[derive(Debug, Clone, PartialEq)]
pub struct Thermometer<'a> {
    /// Name for messages, such as the column it came from.
    pub name: String,
    /// Readings in K.
    pub samples: Samples<'a>,
    /// Where it sits.
    pub place: Place,
    /// First-order response, where stated.
    pub response: Option<Response>,
    /// Its uncertainty, in K.
    pub instrument: Instrument,
}

/// What a thermometer touches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The gas.
    Gas,
    /// A wall: slower.
    Wall,
}

/// A sealed vessel inside the enclosure, with its pressure logged.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferenceVessel<'a> {
    /// Name for messages.
    pub name: String,
    /// Its pressure.
    pub pressure: VesselPressure<'a>,
    /// First-order response to the gas around it, where stated.
    pub response: Option<Response>,
    /// Uncertainty of its pressure sensor, in Pa.
    pub instrument: Instrument,
}

/// What a vessel's pressure refers to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VesselPressure<'a> {
    /// Absolute pressure in Pa.
    Absolute(Samples<'a>),
    /// Vessel minus enclosure, in Pa.
    DifferenceToEnclosure(Samples<'a>),
}

impl<'a> VesselPressure<'a> {
    /// The readings, whatever they refer to.
    pub fn samples(&self) -> Samples<'a> {
        match self {
            Self::Absolute(samples) | Self::DifferenceToEnclosure(samples) => *samples,
        }
    }
}

/// First-order time constant of a sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// Time constant (63 % of a step) in s.
    pub tau_s: f64,
    /// Its standard uncertainty in s; 0 is taken as 20 %, since a stated response holds for other conditions.
    pub standard_uncertainty_s: f64,
}

/// Standard uncertainties of one instrument, in the SI unit of what it measures (Pa or K), and its clock.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Instrument {
    /// Zero offset.
    pub zero: f64,
    /// Scale, relative to the reading (1 = 100 %).
    pub scale: f64,
    /// Rate of a linear drift of the zero during the test, per second.
    pub drift_per_s: f64,
    /// Step of the readings; 0 for none. In addition to the others.
    pub resolution: f64,
    /// Clock of its logger against the clock of the inside pressure.
    pub clock: Clock,
}

/// How far the clocks of two loggers agree.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Clock {
    /// The same logger, or set together.
    #[default]
    Common,
    /// Two loggers of whose clocks nothing is said: mostly within a minute, at times off by several.
    Apart,
    /// Offset unknown within ± this many seconds: estimated from the data.
    UnknownWithin(f64),
}
