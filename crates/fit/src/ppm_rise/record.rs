//! What was logged while the purifier was off.

use crate::Samples;

/// Channels and circumstances of one run with purification off. Every channel has its own time base; times count from
/// one common origin. Mole fractions are pure numbers: 1e-6 is 1 ppm.
#[derive(Debug, Clone, PartialEq)]
pub struct Record<'a> {
    /// Oxygen, where measured.
    pub oxygen: Option<Trace<'a>>,
    /// Water, where measured.
    pub water: Option<Trace<'a>>,
    /// Pressure difference to the room in Pa, negative below it, where logged or stated.
    pub pressure_difference: PressureDifference<'a>,
    /// Pressure of the room in Pa.
    pub room_pressure_pa: f64,
    /// Composition of the room's air.
    pub room_air: RoomAir,
    /// Gas fed in during the run.
    pub make_up: MakeUp<'a>,
    /// Impurity of the gas fed in.
    pub supply: Supply,
}

/// Pressure difference between inside and room during a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PressureDifference<'a> {
    /// Logged, in Pa.
    Logged(Samples<'a>),
    /// A constant that was stated, in Pa.
    Stated(f64),
    /// Not known.
    Unknown,
}

impl PressureDifference<'_> {
    /// Mean over a part of the record in Pa, where known.
    pub fn mean_pa(&self, from_s: f64, to_s: f64) -> Option<f64> {
        match self {
            Self::Logged(samples) => samples.between(from_s, to_s).map(|part| part.mean()),
            Self::Stated(value) => Some(*value),
            Self::Unknown => None,
        }
    }
}

/// Mole fractions in the room's air, with standard uncertainties. From pressure, temperature and relative humidity of
/// the room the caller computes them; oxygen of moist air is that of dry air times one minus the water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomAir {
    /// Oxygen.
    pub oxygen: Quantity,
    /// Water vapour.
    pub water: Quantity,
}

/// A number with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Quantity {
    /// Value.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
}

impl Quantity {
    /// A value and its standard uncertainty.
    pub fn new(value: f64, standard_uncertainty: f64) -> Self {
        Self { value, standard_uncertainty }
    }
}

/// Gas fed in during the run, which dilutes what comes in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MakeUp<'a> {
    /// None, or so little that it does not matter.
    None,
    /// Logged volume flow in m³/s at the enclosure's temperature and pressure, held until the next reading; needs the
    /// volume in the settings.
    Flow {
        /// Flow in m³/s.
        samples: Samples<'a>,
        /// Relative standard uncertainty of the flow meter.
        relative_uncertainty: f64,
    },
    /// A constant exchange rate, flow over volume in 1/s: at positive pressure the outflow through the leak that is
    /// made up for.
    Rate(Quantity),
}

/// Mole fractions in the gas that is fed in.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Supply {
    /// Oxygen.
    pub oxygen: Quantity,
    /// Water vapour.
    pub water: Quantity,
}

/// One species as its analyser showed it.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace<'a> {
    /// Readings as mole fractions (1e-6 is 1 ppm). Where the reading is censored the value is not used.
    pub samples: Samples<'a>,
    /// What each reading says; as many as readings, or empty where all are measured.
    pub status: &'a [ReadingStatus],
    /// The analyser.
    pub analyser: Analyser,
}

impl<'a> Trace<'a> {
    /// The part within a closed interval, s; `None` where it holds no reading.
    pub(crate) fn between(&self, from_s: f64, to_s: f64) -> Option<Self> {
        let samples = self.samples.between(from_s, to_s)?;
        let first = self.samples.time_s().partition_point(|&t| t < samples.first_time_s());
        let status: &'a [ReadingStatus] = self.status.get(first..first + samples.len()).unwrap_or(&[]);
        Some(Self { samples, status, analyser: self.analyser })
    }

    /// Status of the reading at an index, by the slice and by the analyser's limits.
    pub fn status_of(&self, index: usize) -> ReadingStatus {
        let stated = self.status.get(index).copied().unwrap_or(ReadingStatus::Measured);
        let value = self.samples.value()[index];
        match stated {
            ReadingStatus::Measured if self.analyser.reporting_limit.is_some_and(|limit| value < limit) => {
                ReadingStatus::BelowLimit
            }
            ReadingStatus::Measured if self.analyser.range_top.is_some_and(|top| value > top) => {
                ReadingStatus::AboveRange
            }
            other => other,
        }
    }
}

/// What a reading says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadingStatus {
    /// The value.
    Measured,
    /// Only that the value lies below the reporting limit.
    BelowLimit,
    /// Only that the value lies above the top of the range.
    AboveRange,
}

/// What is known about an analyser. Mole fractions and standard uncertainties throughout.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Analyser {
    /// Standard uncertainty of its zero.
    pub zero: f64,
    /// Standard uncertainty of its scale, relative to the reading (1 = 100 %).
    pub scale: f64,
    /// Standard uncertainty of a linear drift of the zero during the run, 1/s.
    pub drift_per_s: f64,
    /// Step of the readings; 0 for none.
    pub resolution: f64,
    /// Standard deviation of the noise of one reading at low content, where stated: then the noise is not taken to be
    /// smaller than half of it. 0 where unknown.
    pub floor_noise: f64,
    /// Time constant of its first-order response in s; 0 where unknown or immediate. Its uncertainty does not matter:
    /// see [`evaluate`](super::evaluate).
    pub response_tau_s: f64,
    /// Dead time of its sample line in s.
    pub dead_time_s: f64,
    /// Readings below are censored.
    pub reporting_limit: Option<f64>,
    /// Readings above are censored.
    pub range_top: Option<f64>,
}
