//! The table of unit names.

use crate::constant::{BARRER, MERCURY_DENSITY, STANDARD_ATMOSPHERE_PA, STANDARD_GRAVITY, ZERO_CELSIUS_K};

use super::Dimension;

/// Exponents of kilogram, metre, second, kelvin, mole and ampere.
pub(super) type Exponents = [i8; 6];

pub(super) const PRESSURE: Exponents = [1, -1, -2, 0, 0, 0];
pub(super) const TEMPERATURE: Exponents = [0, 0, 0, 1, 0, 0];
pub(super) const VOLUME: Exponents = [0, 3, 0, 0, 0, 0];
const ONE: Exponents = [0; 6];
const LENGTH: Exponents = [0, 1, 0, 0, 0, 0];
const TIME: Exponents = [0, 0, 1, 0, 0, 0];
const PER_TIME: Exponents = [0, 0, -1, 0, 0, 0];
const VOLUME_FLOW: Exponents = [0, 3, -1, 0, 0, 0];
const MASS: Exponents = [1, 0, 0, 0, 0, 0];
const AMOUNT: Exponents = [0, 0, 0, 0, 1, 0];
const VOLTAGE: Exponents = [1, 2, -3, 0, 0, -1];
const CURRENT: Exponents = [0, 0, 0, 0, 0, 1];
pub(super) const PERMEABILITY: Exponents = [-1, 0, 1, 0, 1, 0];
/// Permeability with the amount of gas as a volume at reference conditions.
pub(super) const PERMEABILITY_OF_VOLUME: Exponents = [-1, 3, 1, 0, 0, 0];
const THROUGHPUT: Exponents = [1, 2, -3, 0, 0, 0];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Plain,
    Standard,
    Gauge,
    Absolute,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Entry {
    pub(super) scale: f64,
    pub(super) offset: f64,
    pub(super) exponents: Exponents,
    pub(super) kind: Kind,
}

pub(super) fn dimension(exponents: Exponents) -> Dimension {
    match exponents {
        ONE => Dimension::Ratio,
        PRESSURE => Dimension::Pressure,
        TEMPERATURE => Dimension::Temperature,
        VOLUME => Dimension::Volume,
        LENGTH => Dimension::Length,
        [0, 2, 0, 0, 0, 0] => Dimension::Area,
        TIME => Dimension::Time,
        PER_TIME => Dimension::PerTime,
        VOLUME_FLOW => Dimension::VolumeFlow,
        THROUGHPUT => Dimension::Throughput,
        [1, -1, -3, 0, 0, 0] => Dimension::PressureRate,
        [0, 0, -1, 1, 0, 0] => Dimension::TemperatureRate,
        [-1, 4, 2, 0, 0, 0] => Dimension::Compliance,
        AMOUNT => Dimension::Amount,
        [0, 0, -1, 0, 1, 0] => Dimension::AmountFlow,
        PERMEABILITY => Dimension::Permeability,
        VOLTAGE => Dimension::Voltage,
        _ => Dimension::Other,
    }
}

/// A unit that may carry an SI prefix.
struct Prefixable {
    symbol: &'static str,
    scale: f64,
    exponents: Exponents,
    kind: Kind,
}

const fn prefixable(symbol: &'static str, scale: f64, exponents: Exponents) -> Prefixable {
    Prefixable { symbol, scale, exponents, kind: Kind::Plain }
}

const PREFIXABLE: &[Prefixable] = &[
    prefixable("Pa", 1.0, PRESSURE),
    prefixable("bar", 1e5, PRESSURE),
    prefixable("Torr", STANDARD_ATMOSPHERE_PA / 760.0, PRESSURE),
    prefixable("torr", STANDARD_ATMOSPHERE_PA / 760.0, PRESSURE),
    prefixable("L", 1e-3, VOLUME),
    prefixable("l", 1e-3, VOLUME),
    prefixable("m", 1.0, LENGTH),
    prefixable("s", 1.0, TIME),
    prefixable("g", 1e-3, MASS),
    prefixable("mol", 1.0, AMOUNT),
    prefixable("V", 1.0, VOLTAGE),
    prefixable("A", 1.0, CURRENT),
    prefixable("K", 1.0, TEMPERATURE),
    prefixable("W", 1.0, THROUGHPUT),
    Prefixable { symbol: "barg", scale: 1e5, exponents: PRESSURE, kind: Kind::Gauge },
    Prefixable { symbol: "bara", scale: 1e5, exponents: PRESSURE, kind: Kind::Absolute },
];

const PREFIXES: &[(&str, f64)] =
    &[("n", 1e-9), ("u", 1e-6), ("m", 1e-3), ("c", 1e-2), ("d", 0.1), ("h", 1e2), ("k", 1e3), ("M", 1e6)];

const MMHG: f64 = MERCURY_DENSITY * STANDARD_GRAVITY * 1e-3;
const INHG: f64 = MERCURY_DENSITY * STANDARD_GRAVITY * 0.0254;
const MMH2O: f64 = STANDARD_GRAVITY;
const INH2O: f64 = STANDARD_GRAVITY * 25.4;
/// Pound-force over square inch, from the exact pound, inch and standard gravity (NIST SP 811).
const PSI: f64 = 0.453_592_37 * STANDARD_GRAVITY / (0.0254 * 0.0254);
const FOOT: f64 = 0.3048;
const CUBIC_FOOT: f64 = FOOT * FOOT * FOOT;

type Named = (&'static [&'static str], f64, Exponents, Kind);

/// Units without prefixes; the first spelling is the one that messages suggest.
const NAMED: &[Named] = &[
    (&["psi", "lbf/in2"], PSI, PRESSURE, Kind::Plain),
    (&["psig"], PSI, PRESSURE, Kind::Gauge),
    (&["psia"], PSI, PRESSURE, Kind::Absolute),
    (&["atm"], STANDARD_ATMOSPHERE_PA, PRESSURE, Kind::Plain),
    (&["at"], 98_066.5, PRESSURE, Kind::Plain),
    (&["mmHg", "mm Hg"], MMHG, PRESSURE, Kind::Plain),
    (&["cmHg", "cm Hg"], 10.0 * MMHG, PRESSURE, Kind::Plain),
    (&["inHg", "in Hg", "in. Hg", "in.Hg", "\"Hg"], INHG, PRESSURE, Kind::Plain),
    (&["mmH2O", "mm H2O", "mmWC", "mm WC", "mmWS", "mm WS", "mmCE", "mmCA"], MMH2O, PRESSURE, Kind::Plain),
    (&["cmH2O", "cm H2O", "cmWC"], 10.0 * MMH2O, PRESSURE, Kind::Plain),
    (
        &["inH2O", "in H2O", "in. H2O", "in.H2O", "inWC", "in WC", "in. w.c.", "in w.c.", "\"WC", "\"H2O", "iwc"],
        INH2O,
        PRESSURE,
        Kind::Plain,
    ),
    (&["micron", "microns", "umHg", "um Hg"], STANDARD_ATMOSPHERE_PA / 760e3, PRESSURE, Kind::Plain),
    (&["min", "mins", "minute", "minutes", "Minuten"], 60.0, TIME, Kind::Plain),
    (&["h", "hr", "hrs", "hour", "hours", "Std", "Stunden", "heures", "horas", "uur"], 3600.0, TIME, Kind::Plain),
    (&["d", "day", "days", "Tage"], 86_400.0, TIME, Kind::Plain),
    (&["week", "weeks"], 604_800.0, TIME, Kind::Plain),
    (&["month", "months"], 2_629_800.0, TIME, Kind::Plain),
    (&["year", "years", "a"], 31_557_600.0, TIME, Kind::Plain),
    (&["s", "sec", "secs", "second", "seconds", "Sek", "Sekunden"], 1.0, TIME, Kind::Plain),
    (&["ms", "msec", "millisecond", "milliseconds"], 1e-3, TIME, Kind::Plain),
    (&["in", "inch"], 0.0254, LENGTH, Kind::Plain),
    (&["ft", "foot", "feet"], FOOT, LENGTH, Kind::Plain),
    (&["mil"], 2.54e-5, LENGTH, Kind::Plain),
    (&["L", "litre", "liter", "litres", "liters", "Liter"], 1e-3, VOLUME, Kind::Plain),
    (&["cc", "ccm"], 1e-6, VOLUME, Kind::Plain),
    (&["cbm"], 1.0, VOLUME, Kind::Plain),
    (&["cf", "cu ft", "cu.ft"], CUBIC_FOOT, VOLUME, Kind::Plain),
    (&["gal"], 231.0 * 0.0254 * 0.0254 * 0.0254, VOLUME, Kind::Plain),
    (&["cfh"], CUBIC_FOOT / 3600.0, VOLUME_FLOW, Kind::Plain),
    (&["cfm"], CUBIC_FOOT / 60.0, VOLUME_FLOW, Kind::Plain),
    (&["lpm", "LPM"], 1e-3 / 60.0, VOLUME_FLOW, Kind::Plain),
    (&["sccm"], 1e-6 / 60.0, VOLUME_FLOW, Kind::Standard),
    (&["sccs"], 1e-6, VOLUME_FLOW, Kind::Standard),
    (&["slm", "slpm", "SLPM", "SLM", "nlpm", "NLPM"], 1e-3 / 60.0, VOLUME_FLOW, Kind::Standard),
    (&["NL", "Nl", "sL", "sl", "SL"], 1e-3, VOLUME, Kind::Standard),
    (&["NmL", "Nml", "scc", "Ncm3", "sml", "smL", "cm3(STP)"], 1e-6, VOLUME, Kind::Standard),
    (&["Nm3", "sm3", "Sm3", "m3(STP)"], 1.0, VOLUME, Kind::Standard),
    (&["lusec"], STANDARD_ATMOSPHERE_PA / 760e6, THROUGHPUT, Kind::Plain),
    (&["Barrer", "barrer"], BARRER, PERMEABILITY, Kind::Plain),
    (&["1"], 1.0, ONE, Kind::Plain),
    (
        &[
            "%", "percent", "pct", "vol%", "vol.%", "vol-%", "vol.-%", "Vol%", "Vol.%", "Vol-%", "Vol.-%", "Vol.- %",
            "% vol", "%vol", "% v/v", "%V", "% (v/v)", "mol%", "mol-%", "%RH", "% RH", "%rH", "% rH", "% rh", "%rh",
            "%r.H.", "% r.H.", "%rF", "% rF", "%r.F.", "% r.F.", "%RF", "% HR", "%HR", "% RV", "%RV",
        ],
        1e-2,
        ONE,
        Kind::Plain,
    ),
    (
        &["ppm", "ppmv", "ppmV", "ppm(v)", "ppm v", "vpm", "umol/mol", "ppm vol", "ppm-v", "ppm.v"],
        1e-6,
        ONE,
        Kind::Plain,
    ),
    (&["ppb", "ppbv", "ppbV", "nmol/mol"], 1e-9, ONE, Kind::Plain),
    (&["mol/mol"], 1.0, ONE, Kind::Plain),
    (&["°K"], 1.0, TEMPERATURE, Kind::Plain),
];

/// Temperature scales whose zero is not 0 K: spellings, factor, offset in K.
const SCALES: &[(&[&str], f64, f64)] = &[
    (&["°C", "° C", "degC", "deg C", "deg. C", "deg.C", "C", "Celsius", "celsius", "oC", "deg_C"], 1.0, ZERO_CELSIUS_K),
    (
        &["°F", "° F", "degF", "deg F", "deg. F", "deg.F", "F", "Fahrenheit", "fahrenheit", "oF", "deg_F"],
        1.0 / 1.8,
        ZERO_CELSIUS_K - 32.0 / 1.8,
    ),
];

/// Spellings that people get wrong by letter case alone: `MBAR`, `PA`, `degc`.
const COMMON: &[&str] = &[
    "Pa", "hPa", "kPa", "mbar", "bar", "psi", "psig", "psia", "inH2O", "mmH2O", "cmH2O", "inHg", "mmHg", "Torr",
    "mTorr", "micron", "atm", "barg", "bara", "mbarg", "mbara", "°C", "°F", "degC", "degF", "ppm", "ppmv", "ppb",
    "ppbv", "vol%", "%RH", "m3/h", "L/min", "ft3/h", "sccm", "slm", "NL/min", "min", "sec", "hours", "minutes",
    "seconds", "cfm", "cfh", "mL", "mV", "deg C", "deg F", "umHg", "lpm", "Barrer", "days",
];

pub(super) fn lookup(symbol: &str) -> Option<Entry> {
    exact(symbol).or_else(|| {
        let common = COMMON.iter().find(|common| common.eq_ignore_ascii_case(symbol))?;
        exact(common)
    })
}

fn exact(symbol: &str) -> Option<Entry> {
    if let Some(&(_, scale, exponents, kind)) = NAMED.iter().find(|named| named.0.contains(&symbol)) {
        return Some(Entry { scale, offset: 0.0, exponents, kind });
    }
    if let Some(&(_, scale, offset)) = SCALES.iter().find(|named| named.0.contains(&symbol)) {
        return Some(Entry { scale, offset, exponents: TEMPERATURE, kind: Kind::Plain });
    }
    PREFIXABLE.iter().find_map(|unit| {
        let prefix = symbol.strip_suffix(unit.symbol)?;
        let factor = match prefix {
            "" => 1.0,
            _ => PREFIXES.iter().find(|(p, _)| *p == prefix)?.1,
        };
        Some(Entry { scale: factor * unit.scale, offset: 0.0, exponents: unit.exponents, kind: unit.kind })
    })
}

/// The known spelling closest to `text`, if it is close enough to be meant.
pub(super) fn nearest(text: &str) -> Option<String> {
    let names = NAMED.iter().flat_map(|named| named.0.iter().copied());
    let scales = SCALES.iter().flat_map(|named| named.0.iter().copied());
    let candidates = COMMON.iter().copied().chain(names).chain(scales);
    let length = text.chars().count();
    let most = |name: &str| 1 + name.chars().count() / 4;
    candidates
        // Texts are at least as far apart as their lengths, and a long one would cost its length for every name; and at
        // least by the letters of the name that the text does not have.
        .filter(|name| name.len() > 1 && name.chars().count().abs_diff(length) <= most(name))
        .filter(|name| name.chars().filter(|letter| !text.contains(*letter)).count() <= most(name))
        .map(|name| (strsim::osa_distance(name, text), name))
        .filter(|&(distance, name)| distance <= most(name))
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, name)| name.to_owned())
}
