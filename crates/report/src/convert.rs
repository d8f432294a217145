//! Conversions that a bench needs: between units of one quantity, and along the chain from an hourly leak rate to an
//! amount of gas, each step asking for what it depends on.

use std::fmt;

use tightfit_quantity::constant::MOLAR_GAS_CONSTANT;
use tightfit_quantity::moisture::{frost_point_k, mole_fraction};
use tightfit_quantity::{
    DewPhase, Dimension, PressureReference, Quantity, QuantityError, StandardReference, Unit, display_number,
};

/// What a conversion may depend on.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conditions {
    /// Volume of the enclosure, m³.
    pub volume_m3: Option<f64>,
    /// Absolute pressure of the gas, or of the room where gauge pressures are converted, Pa.
    pub pressure_pa: Option<f64>,
    /// Temperature of the gas, K.
    pub temperature_k: Option<f64>,
    /// What `sccm`, `NL` and their kin refer to.
    pub reference: StandardReference,
}

/// A converted value.
#[derive(Debug, Clone, PartialEq)]
pub struct Converted {
    /// The value in the unit asked for.
    pub value: f64,
    /// The unit asked for.
    pub unit: Unit,
    /// What it depends on besides the value, in words.
    pub with: Vec<&'static str>,
}

/// Why a value cannot be converted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ConvertError {
    /// The quantities have nothing to do with each other.
    Unrelated {
        /// What the value is.
        from: Dimension,
        /// What the unit is.
        to: Dimension,
    },
    /// A condition is needed that was not given.
    Needs {
        /// What is needed, in words.
        what: &'static str,
        /// The flag that states it.
        flag: &'static str,
    },
    /// A value or unit that cannot be read.
    Quantity(QuantityError),
    /// The value lies where the conversion does not hold.
    OutOfRange {
        /// Where it holds, in words.
        holds: &'static str,
    },
}

impl ConvertError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Needs { flag, .. } => format!("state it with {flag}"),
            Self::Unrelated { .. } | Self::OutOfRange { .. } | Self::Quantity(_) => {
                "check the value and both units".to_owned()
            }
        }
    }
}

impl fmt::Display for ConvertError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unrelated { from, to } => write!(f, "a {} cannot be converted to a {}", from.name(), to.name()),
            Self::Needs { what, .. } => write!(f, "the conversion depends on the {what}, which is not given"),
            Self::Quantity(error) => error.fmt(f),
            Self::OutOfRange { holds } => write!(f, "the conversion holds only for {holds}"),
        }
    }
}

impl std::error::Error for ConvertError {}

impl From<QuantityError> for ConvertError {
    fn from(error: QuantityError) -> Self {
        Self::Quantity(error)
    }
}

impl Conditions {
    /// Conditions as people write them, each with its unit.
    ///
    /// # Errors
    /// [`ConvertError::Quantity`].
    pub fn parse(
        volume: Option<&str>,
        pressure: Option<&str>,
        temperature: Option<&str>,
        reference_temperature: Option<&str>,
    ) -> Result<Self, ConvertError> {
        let read = |text: Option<&str>, dimension| -> Result<Option<f64>, ConvertError> {
            Ok(text.map(|text| Quantity::parse(text)?.si_of(dimension)).transpose()?)
        };
        let mut conditions = Self {
            volume_m3: read(volume, Dimension::Volume)?,
            pressure_pa: read(pressure, Dimension::Pressure)?,
            temperature_k: read(temperature, Dimension::Temperature)?,
            reference: StandardReference::default(),
        };
        if let Some(reference) = read(reference_temperature, Dimension::Temperature)? {
            conditions.reference.temperature_k = reference;
        }
        Ok(conditions)
    }
}

/// Converts texts and says what the result depends on: `0.05 vol%/h = 0.0129471 Pa m3/s`, and below `with the … given`.
///
/// # Errors
/// See [`ConvertError`].
pub fn convert_text(value: &str, unit: &str, conditions: &Conditions) -> Result<String, ConvertError> {
    let value = Quantity::parse(value)?;
    if value.unit().dimension() == Dimension::Temperature {
        value.si_of(Dimension::Temperature)?;
    }
    let unit = Unit::parse(unit).map_err(QuantityError::from)?;
    let converted = convert(&value, &unit, conditions)?;
    let number = display_number(converted.value, 7);
    let with = if converted.with.is_empty() {
        String::new()
    } else {
        format!("\n  with the {} given", converted.with.join(", "))
    };
    Ok(format!("{value} = {number} {unit}{with}"))
}

const VOLUME: &str = "volume of the enclosure";
const PRESSURE: &str = "pressure";
const TEMPERATURE: &str = "temperature of the gas";

/// Converts `value` to `unit`.
///
/// # Errors
/// [`ConvertError`]: what is missing, or that the two are unrelated.
pub fn convert(value: &Quantity, unit: &Unit, conditions: &Conditions) -> Result<Converted, ConvertError> {
    let (from, to) = (value.unit().dimension(), unit.dimension());
    let mut steps = Steps { conditions, with: Vec::new() };
    let si = match (from, to) {
        (Dimension::Pressure, Dimension::Pressure) => steps.pressure(value, unit)?,
        (Dimension::DewPoint, Dimension::DewPoint) => other_phase_k(value, unit)?,
        (Dimension::DewPoint, Dimension::Ratio) => {
            mole_fraction(value.si(), phase(value.unit()), steps.need_pressure()?)
        }
        (Dimension::Ratio, Dimension::DewPoint) => {
            let pressure = steps.need_pressure()?;
            dew_point_k(value.si() * pressure, pressure, phase(unit))?
        }
        _ if from == to => value.si(),
        _ => steps.along_chain(value.si(), from, to)?,
    };
    Ok(Converted { value: unit.from_si(si), unit: unit.clone(), with: steps.with })
}

struct Steps<'a> {
    conditions: &'a Conditions,
    with: Vec<&'static str>,
}

/// Links of a chain, in order: relative rate, volume, pV, amount. Rates and amounts have chains of their own.
fn link(dimension: Dimension) -> Option<(bool, usize)> {
    match dimension {
        Dimension::PerTime => Some((true, 0)),
        Dimension::VolumeFlow => Some((true, 1)),
        Dimension::Throughput => Some((true, 2)),
        Dimension::AmountFlow | Dimension::StandardVolumeFlow => Some((true, 3)),
        Dimension::Volume => Some((false, 1)),
        Dimension::Amount | Dimension::StandardVolume => Some((false, 3)),
        _ => None,
    }
}

impl Steps<'_> {
    fn along_chain(&mut self, si: f64, from: Dimension, to: Dimension) -> Result<f64, ConvertError> {
        use Dimension::{PerTime, PressureRate, Throughput};
        // A rate of pressure in a rigid vessel at one temperature is a leak rate times the pressure, or a throughput over
        // the volume.
        match (from, to) {
            (PressureRate, PerTime) => return Ok(si / self.need_pressure()?),
            (PerTime, PressureRate) => return Ok(si * self.need_pressure()?),
            (PressureRate, _) => {
                let throughput = si * self.need_volume()?;
                return self.along_chain(throughput, Throughput, to);
            }
            (_, PressureRate) => return Ok(self.along_chain(si, from, Throughput)? / self.need_volume()?),
            _ => {}
        }
        let unrelated = ConvertError::Unrelated { from, to };
        let (Some((is_rate, start)), Some((to_rate, end))) = (link(from), link(to)) else { return Err(unrelated) };
        if is_rate != to_rate {
            return Err(unrelated);
        }
        let StandardReference { temperature_k, pressure_pa } = self.conditions.reference;
        let mol_per_standard_m3 = pressure_pa / (MOLAR_GAS_CONSTANT * temperature_k);
        let is_standard = |dimension| matches!(dimension, Dimension::StandardVolume | Dimension::StandardVolumeFlow);
        let mut value = if is_standard(from) { si * mol_per_standard_m3 } else { si };
        for step in start..end {
            value *= self.factor(step)?;
        }
        for step in end..start {
            value /= self.factor(step)?;
        }
        if is_standard(from) || is_standard(to) {
            self.with.push("reference temperature (0 °C unless stated)");
        }
        Ok(if is_standard(to) { value / mol_per_standard_m3 } else { value })
    }

    /// The factor from one link to the next.
    fn factor(&mut self, step: usize) -> Result<f64, ConvertError> {
        match step {
            0 => self.need_volume(),
            1 => self.need_pressure(),
            _ => Ok(1.0
                / (MOLAR_GAS_CONSTANT
                    * self.need(self.conditions.temperature_k, TEMPERATURE, "--temperature \"22 °C\"")?)),
        }
    }

    fn need_volume(&mut self) -> Result<f64, ConvertError> {
        self.need(self.conditions.volume_m3, VOLUME, "--volume \"0.92 m3\"")
    }

    fn need_pressure(&mut self) -> Result<f64, ConvertError> {
        self.need(self.conditions.pressure_pa, PRESSURE, "--pressure \"1013 hPa\"")
    }

    fn need(&mut self, given: Option<f64>, what: &'static str, flag: &'static str) -> Result<f64, ConvertError> {
        let value = given.ok_or(ConvertError::Needs { what, flag })?;
        self.with.push(what);
        Ok(value)
    }

    /// Between gauge, absolute and vacuum the room's pressure comes in; a unit that says nothing is taken like the other.
    fn pressure(&mut self, value: &Quantity, unit: &Unit) -> Result<f64, ConvertError> {
        use PressureReference::{Absolute, Gauge, Vacuum};
        let si = value.si();
        let (Some(from), Some(to)) = (value.unit().pressure_reference(), unit.pressure_reference()) else {
            return Ok(si);
        };
        Ok(match (from, to) {
            _ if from == to => si,
            (Gauge, Vacuum) | (Vacuum, Gauge) => -si,
            (Gauge, _) => si + self.need_pressure()?,
            (Vacuum, _) | (Absolute, Vacuum) => self.need_pressure()? - si,
            (Absolute, _) => si - self.need_pressure()?,
        })
    }
}

/// A dew or frost point over the other phase, K.
fn other_phase_k(value: &Quantity, unit: &Unit) -> Result<f64, ConvertError> {
    let (from, to) = (phase(value.unit()), phase(unit));
    if from == to {
        return Ok(value.si());
    }
    let vapour = tightfit_quantity::moisture::vapour_pressure_pa(value.si(), from);
    dew_point_k(vapour, vapour.max(1e5), to)
}

fn phase(unit: &Unit) -> DewPhase {
    unit.dew_phase().unwrap_or(DewPhase::Ice)
}

/// Dew or frost point, K, of a vapour pressure, Pa; `total` only has to exceed it.
fn dew_point_k(vapour_pa: f64, total_pa: f64, phase: DewPhase) -> Result<f64, ConvertError> {
    let out = ConvertError::OutOfRange { holds: "dew and frost points between −150 °C and 100 °C" };
    match phase {
        DewPhase::Ice => frost_point_k(vapour_pa / total_pa, total_pa).ok_or(out),
        DewPhase::Water => supercooled_dew_point_k(vapour_pa).ok_or(out),
    }
}

/// Bisection on the vapour pressure over liquid water, which rises with temperature.
fn supercooled_dew_point_k(vapour_pa: f64) -> Option<f64> {
    use tightfit_quantity::moisture::liquid_saturation_pressure_pa as pressure;
    let (mut low, mut high) = (123.15, 373.15);
    if !(vapour_pa >= pressure(low) && vapour_pa <= pressure(high)) {
        return None;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if pressure(middle) < vapour_pa { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests;
