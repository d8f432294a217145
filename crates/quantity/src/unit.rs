//! Units of the trade: parsing, conversion to SI, and what kind of thing they measure.

mod name;

use std::fmt;

use crate::constant::{MOLAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_PA, ZERO_CELSIUS_K, water_density};
use name::{Exponents, lookup};

/// What a unit measures, as far as plans and exports need to tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Pressure, SI unit Pa.
    Pressure,
    /// Thermodynamic temperature, SI unit K.
    Temperature,
    /// Dew or frost point, SI unit K; needs a pressure to become a mole fraction.
    DewPoint,
    /// Mole fraction, percentage, plain number: SI unit 1.
    Ratio,
    /// Length, SI unit m.
    Length,
    /// Area, SI unit m².
    Area,
    /// Volume, SI unit m³.
    Volume,
    /// Time, SI unit s.
    Time,
    /// Volume flow at the conditions of the gas, SI unit m³/s. Also leak conductance.
    VolumeFlow,
    /// Volume of gas at a stated reference condition, SI unit m³ there.
    StandardVolume,
    /// Volume flow at a stated reference condition, SI unit m³/s there.
    StandardVolumeFlow,
    /// Throughput (pV flow), SI unit Pa·m³/s.
    Throughput,
    /// Relative change per time (hourly leak rate, ingress), SI unit 1/s.
    PerTime,
    /// Pressure change per time, SI unit Pa/s.
    PressureRate,
    /// Temperature change per time, SI unit K/s.
    TemperatureRate,
    /// Compliance of gloves and walls, SI unit m³/Pa.
    Compliance,
    /// Amount of substance, SI unit mol.
    Amount,
    /// Molar flow, SI unit mol/s.
    AmountFlow,
    /// Permeability, SI unit mol·m/(m²·s·Pa).
    Permeability,
    /// Electric tension, SI unit V.
    Voltage,
    /// Anything else that the grammar of units can spell.
    Other,
}

impl Dimension {
    /// The quantity's name, for messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pressure => "pressure",
            Self::Temperature => "temperature",
            Self::DewPoint => "dew or frost point",
            Self::Ratio => "fraction or plain number",
            Self::Length => "length",
            Self::Area => "area",
            Self::Volume => "volume",
            Self::Time => "time",
            Self::VolumeFlow => "volume flow",
            Self::StandardVolume => "volume at reference conditions",
            Self::StandardVolumeFlow => "volume flow at reference conditions",
            Self::Throughput => "throughput (pressure times volume flow)",
            Self::PerTime => "rate (1 over time)",
            Self::PressureRate => "pressure over time",
            Self::TemperatureRate => "temperature over time",
            Self::Compliance => "compliance (volume over pressure)",
            Self::Amount => "amount of substance",
            Self::AmountFlow => "molar flow",
            Self::Permeability => "permeability",
            Self::Voltage => "voltage",
            Self::Other => "another quantity",
        }
    }

    /// A unit of this dimension as an example for error texts.
    #[must_use]
    pub fn example(self) -> &'static str {
        match self {
            Self::Pressure => "Pa, mbar, inH2O",
            Self::Temperature => "°C, K, °F",
            Self::DewPoint => "°C dew point, °C frost point",
            Self::Ratio => "%, ppm",
            Self::Length => "mm",
            Self::Area => "m2",
            Self::Volume | Self::StandardVolume => "m3, L",
            Self::Time => "s, min, h",
            Self::VolumeFlow => "m3/h, L/min, ft3/h",
            Self::StandardVolumeFlow => "sccm, NL/min",
            Self::Throughput => "Pa m3/s, mbar L/s",
            Self::PerTime => "1/h, vol%/h, ppm/h",
            Self::PressureRate => "Pa/h",
            Self::TemperatureRate => "K/h",
            Self::Compliance => "L/Pa",
            Self::Amount => "mol",
            Self::AmountFlow => "mol/s",
            Self::Permeability => "Barrer",
            Self::Voltage => "V",
            Self::Other => "any",
        }
    }
}

/// What a pressure is counted from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PressureReference {
    /// Against the room, negative below it.
    Gauge,
    /// Against vacuum.
    Absolute,
    /// Against the room, positive below it, as vacuum gauges are marked.
    Vacuum,
}

/// The phase over which a dew or frost point is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DewPhase {
    /// Over ice below 0.01 °C and over liquid water above, as the trade reads either word.
    Ice,
    /// Over liquid water, supercooled below 0.01 °C.
    Water,
}

/// The temperature and pressure that a standard volume refers to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardReference {
    /// Reference temperature, K.
    pub temperature_k: f64,
    /// Reference pressure, Pa.
    pub pressure_pa: f64,
}

impl Default for StandardReference {
    /// 0 °C and 101.325 kPa, what `NL`, `sL` and `sccm` mean here unless an instrument says otherwise.
    fn default() -> Self {
        Self { temperature_k: ZERO_CELSIUS_K, pressure_pa: STANDARD_ATMOSPHERE_PA }
    }
}

/// A unit with its conversion to SI.
///
/// Two units are equal when they convert alike, however they were written.
#[derive(Debug, Clone)]
pub struct Unit {
    symbol: String,
    scale: f64,
    offset: f64,
    exponents: Exponents,
    flavour: Flavour,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Flavour {
    Plain,
    Pressure(PressureReference),
    Dew(DewPhase),
    Standard,
}

/// A text that is not a unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitError {
    /// The text as it was found.
    pub text: String,
    /// The nearest unit that is known, where one is near.
    pub nearest: Option<String>,
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.text.is_empty() {
            return write!(f, "a unit is missing");
        }
        write!(f, "unknown unit \"{}\"", self.text)?;
        match &self.nearest {
            Some(nearest) => write!(f, "; did you mean \"{nearest}\"?"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for UnitError {}

impl Unit {
    /// Reads a unit as people write it: `Pa`, `mbar`, `inH2O(60 °F)`, `inHg vacuum`,
    /// `°C dew point`, `m3/h`, `mbar·L/s`, `vol%/h`, `sccm`, `mol m/(m2 s Pa)`.
    ///
    /// # Errors
    /// [`UnitError`] with the nearest known spelling.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        Self::try_parse(text).ok_or_else(|| {
            let clean = normalise(text);
            let (body, _) = split_flavour(&clean);
            let nearest = if parse_body(body).is_some() { None } else { name::nearest(body) };
            UnitError { text: text.trim().to_owned(), nearest }
        })
    }

    /// The same without looking for the nearest spelling, for texts that are seldom units: words of a header.
    #[must_use]
    pub fn try_parse(text: &str) -> Option<Self> {
        let symbol = text.trim();
        let clean = normalise(symbol);
        let (body, flavour) = split_flavour(&clean);
        let (scale, offset, exponents, own_flavour) = parse_body(body)?;
        let flavour = flavour.unwrap_or(own_flavour);
        let fits = match flavour {
            Flavour::Pressure(_) => exponents == name::PRESSURE,
            Flavour::Dew(_) => exponents == name::TEMPERATURE,
            Flavour::Plain | Flavour::Standard => true,
        };
        fits.then(|| Self { symbol: symbol.to_owned(), scale, offset, exponents, flavour })
    }

    /// The plain number 1.
    #[must_use]
    pub fn one() -> Self {
        Self { symbol: String::new(), scale: 1.0, offset: 0.0, exponents: [0; 6], flavour: Flavour::Plain }
    }

    /// The text that was parsed.
    #[must_use]
    pub fn symbol(&self) -> &str {
        &self.symbol
    }

    /// What the unit measures.
    #[must_use]
    pub fn dimension(&self) -> Dimension {
        match self.flavour {
            Flavour::Dew(_) => Dimension::DewPoint,
            Flavour::Standard if self.exponents == name::VOLUME => Dimension::StandardVolume,
            Flavour::Standard => Dimension::StandardVolumeFlow,
            _ => name::dimension(self.exponents),
        }
    }

    /// Gauge, absolute or vacuum, where the unit says it.
    #[must_use]
    pub fn pressure_reference(&self) -> Option<PressureReference> {
        match self.flavour {
            Flavour::Pressure(reference) => Some(reference),
            _ => None,
        }
    }

    /// The phase of a dew or frost point.
    #[must_use]
    pub fn dew_phase(&self) -> Option<DewPhase> {
        match self.flavour {
            Flavour::Dew(phase) => Some(phase),
            _ => None,
        }
    }

    /// A reading in this unit as an SI value; offsets of °C and °F included.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.scale + self.offset
    }

    /// An SI value in this unit.
    #[must_use]
    pub fn from_si(&self, si: f64) -> f64 {
        (si - self.offset) / self.scale
    }

    /// A difference of readings as an SI difference: 1 °C is 1 K.
    #[must_use]
    pub fn difference_to_si(&self, difference: f64) -> f64 {
        difference * self.scale
    }

    /// The factor to SI; 1/1.8 for °F.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// Whether zero of this unit is not zero in SI, as with °C and °F.
    #[must_use]
    pub fn has_offset(&self) -> bool {
        self.offset != 0.0
    }
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.scale == other.scale
            && self.offset == other.offset
            && self.exponents == other.exponents
            && self.flavour == other.flavour
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.symbol)
    }
}

impl std::str::FromStr for Unit {
    type Err = UnitError;

    fn from_str(text: &str) -> Result<Self, UnitError> {
        Self::parse(text)
    }
}

/// One spelling for the typographic variants of the same sign.
fn normalise(text: &str) -> String {
    let mut clean = String::with_capacity(text.len());
    for c in text.trim().chars() {
        match c {
            '\u{b5}' | '\u{3bc}' => clean.push('u'),
            '²' | '₂' => clean.push('2'),
            '³' => clean.push('3'),
            '¹' => clean.push('1'),
            '⁻' | '−' => clean.push('-'),
            '·' | '⋅' | '×' | '*' => clean.push('.'),
            'º' | '˚' => clean.push('°'),
            '℃' => clean.push_str("°C"),
            '℉' => clean.push_str("°F"),
            '\u{a0}' | '\u{202f}' | '\t' => clean.push(' '),
            other => clean.push(other),
        }
    }
    while clean.contains("  ") {
        clean = clean.replace("  ", " ");
    }
    clean
}

const SUFFIXES: &[(&str, Flavour)] = &[
    ("dew point (water)", Flavour::Dew(DewPhase::Water)),
    ("dew point", Flavour::Dew(DewPhase::Ice)),
    ("dewpoint", Flavour::Dew(DewPhase::Ice)),
    ("frost point", Flavour::Dew(DewPhase::Ice)),
    ("frostpoint", Flavour::Dew(DewPhase::Ice)),
    (" gauge", Flavour::Pressure(PressureReference::Gauge)),
    ("(g)", Flavour::Pressure(PressureReference::Gauge)),
    (" absolute", Flavour::Pressure(PressureReference::Absolute)),
    (" abs.", Flavour::Pressure(PressureReference::Absolute)),
    (" abs", Flavour::Pressure(PressureReference::Absolute)),
    ("(a)", Flavour::Pressure(PressureReference::Absolute)),
    (" vacuum", Flavour::Pressure(PressureReference::Vacuum)),
    (" vac", Flavour::Pressure(PressureReference::Vacuum)),
];

fn split_flavour(text: &str) -> (&str, Option<Flavour>) {
    for &(suffix, flavour) in SUFFIXES {
        let Some(start) = text.len().checked_sub(suffix.len()) else {
            continue;
        };
        if text.is_char_boundary(start) && start > 0 && text[start..].eq_ignore_ascii_case(suffix) {
            return (text[..start].trim_end(), Some(flavour));
        }
    }
    (text, None)
}

type Body = (f64, f64, Exponents, Flavour);

fn parse_body(text: &str) -> Option<Body> {
    if let Some(column) = water_column_at(text) {
        return Some((column, 0.0, name::PRESSURE, Flavour::Plain));
    }
    if let Some(entry) = lookup(text) {
        return Some((entry.scale, entry.offset, entry.exponents, flavour_of(&entry)));
    }
    let (scale, exponents, standard) = parse_product(text)?;
    if standard && exponents == name::PERMEABILITY_OF_VOLUME {
        return Some((scale * MOL_PER_STANDARD_M3, 0.0, name::PERMEABILITY, Flavour::Plain));
    }
    let flavour = if standard { Flavour::Standard } else { Flavour::Plain };
    Some((scale, 0.0, exponents, flavour))
}

/// Amount of gas in 1 m³ at 0 °C and 101.325 kPa, mol: what permeabilities in volumes mean by it.
const MOL_PER_STANDARD_M3: f64 = STANDARD_ATMOSPHERE_PA / (MOLAR_GAS_CONSTANT * ZERO_CELSIUS_K);

fn flavour_of(entry: &name::Entry) -> Flavour {
    match entry.kind {
        name::Kind::Plain => Flavour::Plain,
        name::Kind::Standard => Flavour::Standard,
        name::Kind::Gauge => Flavour::Pressure(PressureReference::Gauge),
        name::Kind::Absolute => Flavour::Pressure(PressureReference::Absolute),
    }
}

/// `inH2O(60 °F)`, `mmH2O (20 °C)`: a water column at a stated temperature, Pa.
fn water_column_at(text: &str) -> Option<f64> {
    let (column, rest) = text.split_once('(')?;
    let entry = lookup(column.trim())?;
    if entry.exponents != name::PRESSURE || !column.to_ascii_lowercase().contains("h2o") {
        return None;
    }
    let inside = rest.strip_suffix(')')?.trim();
    let (degrees, unit) = crate::number::split_number(inside)?;
    let celsius = match unit {
        "°C" | "C" => degrees,
        "°F" | "F" => (degrees - 32.0) / 1.8,
        _ => return None,
    };
    (0.0..=40.0).contains(&celsius).then(|| entry.scale * water_density(celsius) / 1000.0)
}

/// A product of powers with at most one solidus: `mbar.L/s`, `mol m/(m2 s Pa)`, `1/h`.
fn parse_product(text: &str) -> Option<(f64, Exponents, bool)> {
    let (above, below) = match text.split_once('/') {
        Some((above, below)) => (above.trim(), below.trim()),
        None => (text, ""),
    };
    let below = below.strip_prefix('(').and_then(|b| b.strip_suffix(')')).unwrap_or(below);
    if below.contains('/') || text.is_empty() {
        return None;
    }
    let mut product = (1.0, [0i8; 6], false);
    // A whole numerator may be one name with a point or space in it: "vol.%/h", "mm Hg/s".
    if lookup(above).is_some() {
        multiply(&mut product, above, 1)?;
    } else {
        for factor in factors(above) {
            multiply(&mut product, factor, 1)?;
        }
    }
    for factor in factors(below) {
        multiply(&mut product, factor, -1)?;
    }
    (text.contains('/') != below.is_empty()).then_some(product)
}

fn factors(text: &str) -> impl Iterator<Item = &str> {
    text.split(['.', ' ']).filter(|factor| !factor.is_empty())
}

fn multiply(product: &mut (f64, Exponents, bool), factor: &str, sign: i8) -> Option<()> {
    if factor == "1" {
        return Some(());
    }
    // Films are rated "per 100 in2".
    if factor == "100" && sign < 0 {
        product.0 *= 0.01;
        return Some(());
    }
    let (entry, power) = if let Some(entry) = lookup(factor) {
        (entry, 1)
    } else {
        let (base, power) = split_power(factor)?;
        (lookup(base)?, power)
    };
    // A degree in a product is a difference; a gauge mark in a product means nothing.
    let power = power * sign;
    product.0 *= entry.scale.powi(i32::from(power));
    for (total, own) in product.1.iter_mut().zip(entry.exponents) {
        *total = total.checked_add(own.checked_mul(power)?)?;
    }
    product.2 |= entry.kind == name::Kind::Standard;
    Some(())
}

/// `m3`, `m^3`, `s-1` → base and power.
fn split_power(factor: &str) -> Option<(&str, i8)> {
    let end = factor.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches(['-', '^']);
    let power = factor[end.len()..].trim_start_matches('^').parse().ok()?;
    (!end.is_empty() && (-4..=4).contains(&power)).then_some((end, power))
}
