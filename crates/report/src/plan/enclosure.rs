//! What is tested: the enclosure, its gloves and attachments, the room around it and the gas that is supplied.

use tightfit_quantity::{Dimension, Gas, Quantity};

use super::mistake::Mistake;
use super::section::{Measured, Section};

/// The enclosure.
#[derive(Debug, Clone, PartialEq)]
pub struct Enclosure {
    /// Its name.
    pub id: String,
    /// Volume at no pressure difference, m³.
    pub volume: Option<Measured>,
    /// Fill gas.
    pub gas: Gas,
    /// Rated gauge pressure, lowest and highest.
    pub rated_pressure: Option<(Quantity, Quantity)>,
    /// How far gloves and walls give way.
    pub compliance: Compliance,
    /// How it was set up for the test.
    pub configuration: Option<String>,
    /// What was changed after the test, one line a change.
    pub changed_after_test: Vec<String>,
    /// Gloves, by kind.
    pub gloves: Vec<Glove>,
    /// Volume of the antechamber, m³.
    pub antechamber_volume: Option<Measured>,
    /// Purifiers.
    pub purifiers: Vec<Purifier>,
}

/// What the plan says about the compliance of gloves and walls.
#[derive(Debug, Clone, PartialEq)]
pub enum Compliance {
    /// A value, m³/Pa; zero where the ports were closed rigidly.
    Stated(Measured),
    /// Room air pushed in and the rise of pressure that it made.
    StiffnessCheck {
        /// Volume injected, at room pressure, m³.
        injected: Measured,
        /// Rise of pressure after it settled, Pa.
        rise: Measured,
    },
    /// Nothing.
    NotStated,
}

/// Gloves of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Glove {
    /// Material, as written.
    pub material: String,
    /// Thickness, m.
    pub thickness: Option<Measured>,
    /// Area of one glove, m².
    pub area: Option<Measured>,
    /// How many.
    pub count: u32,
}

/// A purifier.
#[derive(Debug, Clone, PartialEq)]
pub struct Purifier {
    /// Its name, where there are several.
    pub name: Option<String>,
    /// Circulation flow, m³/s.
    pub flow: Option<Measured>,
    /// Oxygen it can take up, m³ at 0 °C and 101.325 kPa.
    pub oxygen_capacity: Option<Measured>,
}

/// The room, where no channel is logged.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Room {
    /// Barometric pressure, Pa.
    pub pressure: Option<Measured>,
    /// Temperature, K.
    pub temperature: Option<Measured>,
    /// Relative humidity, 1.
    pub relative_humidity: Option<Measured>,
    /// Zone of local times in exports.
    pub time_zone: Option<String>,
}

/// Impurity of the gas that is supplied, mole fractions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Supply {
    /// Oxygen.
    pub oxygen: Option<Measured>,
    /// Water.
    pub water: Option<Measured>,
}

impl Enclosure {
    pub(super) fn read(section: &Section<'_>) -> Self {
        let rated_pressure = section.quantity_range("rated_pressure").filter(|(low, _)| {
            let is_pressure = low.si_of(Dimension::Pressure).is_ok();
            if let Err(error) = low.si_of(Dimension::Pressure) {
                section.note("rated_pressure", Mistake::Quantity { key: "rated_pressure".to_owned(), error });
            }
            is_pressure
        });
        let enclosure = Self {
            id: section.required_text("id", "id = \"K-12\""),
            volume: positive(section, "volume", Dimension::Volume),
            gas: gas(section),
            rated_pressure,
            compliance: compliance(section),
            configuration: section.text("configuration"),
            changed_after_test: section.texts("changed_after_test"),
            gloves: section.sections("gloves").iter().map(glove).collect(),
            antechamber_volume: section.section("antechamber").and_then(|antechamber| {
                let volume = positive(&antechamber, "volume", Dimension::Volume);
                antechamber.finish();
                volume
            }),
            purifiers: section.sections("purifier").iter().map(purifier).collect(),
        };
        section.finish();
        enclosure
    }
}

impl Room {
    pub(super) fn read(section: &Section<'_>) -> Self {
        let room = Self {
            pressure: positive(section, "pressure", Dimension::Pressure),
            temperature: section.measured("temperature", Dimension::Temperature),
            relative_humidity: section.measured("relative_humidity", Dimension::Ratio),
            time_zone: section.text("time_zone"),
        };
        if let Some(pressure) = &room.pressure
            && !(30e3..=120e3).contains(&pressure.si)
        {
            let found = pressure.quantity.text().to_owned();
            let expected = "a barometric pressure between 300 hPa and 1200 hPa";
            section.note("pressure", Mistake::Impossible { key: "pressure".to_owned(), found, expected });
        }
        if let Some(humidity) = &room.relative_humidity
            && !(0.0..=1.0).contains(&humidity.si)
        {
            let found = humidity.quantity.text().to_owned();
            let expected = "0 % to 100 %";
            section.note(
                "relative_humidity",
                Mistake::Impossible { key: "relative_humidity".to_owned(), found, expected },
            );
        }
        if let Some(zone) = &room.time_zone
            && !is_time_zone(zone)
        {
            section.note("time_zone", Mistake::TimeZone { found: zone.clone() });
        }
        section.finish();
        room
    }
}

impl Supply {
    pub(super) fn read(section: &Section<'_>) -> Self {
        let supply = Self {
            oxygen: section.measured("oxygen", Dimension::Ratio),
            water: section.measured("water", Dimension::Ratio),
        };
        section.finish();
        supply
    }
}

/// A measured quantity that must be above zero.
pub(super) fn positive(section: &Section<'_>, key: &'static str, dimension: Dimension) -> Option<Measured> {
    let measured = section.measured(key, dimension)?;
    if measured.si > 0.0 {
        return Some(measured);
    }
    let found = measured.quantity.text().to_owned();
    section.note(key, Mistake::Impossible { key: key.to_owned(), found, expected: "a value above zero" });
    None
}

/// Whether `zone` names a time zone, such as `Europe/Vienna`, or an offset, such as `+02:00`.
#[must_use]
pub fn is_time_zone(zone: &str) -> bool {
    jiff::tz::TimeZone::get(zone).is_ok() || jiff::fmt::strtime::parse("%:z", zone).is_ok()
}

fn gas(section: &Section<'_>) -> Gas {
    let names = Gas::ALL.map(Gas::name);
    if !section.has("gas") {
        section.missing("gas", "gas = \"argon\"");
        return Gas::Argon;
    }
    section.word("gas", &names).and_then(|name| Gas::parse(&name)).unwrap_or(Gas::Argon)
}

fn compliance(section: &Section<'_>) -> Compliance {
    let stated = section.measured("compliance", Dimension::Compliance);
    let check = section.section("stiffness_check").and_then(|check| {
        let injected = positive(&check, "injected", Dimension::Volume);
        let rise = positive(&check, "rise", Dimension::Pressure);
        if !check.has("injected") {
            check.missing("injected", "injected = \"1.00 L\"");
        }
        if !check.has("rise") {
            check.missing("rise", "rise = \"51 Pa\"");
        }
        check.finish();
        Some(Compliance::StiffnessCheck { injected: injected?, rise: rise? })
    });
    if section.has("compliance") && section.has("stiffness_check") {
        let because = "each states how far gloves and walls give way";
        section.note("compliance", Mistake::Both { first: "compliance", second: "stiffness_check", because });
    }
    match (stated, check) {
        (Some(stated), _) => {
            if stated.si < 0.0 {
                let found = stated.quantity.text().to_owned();
                let expected = "zero or more";
                section.note("compliance", Mistake::Impossible { key: "compliance".to_owned(), found, expected });
            }
            Compliance::Stated(stated)
        }
        (None, Some(check)) => check,
        (None, None) => Compliance::NotStated,
    }
}

fn glove(section: &Section<'_>) -> Glove {
    let count = section.whole_number("count").unwrap_or(1);
    let glove = Glove {
        material: section.required_text("material", "material = \"butyl\""),
        thickness: positive(section, "thickness", Dimension::Length),
        area: positive(section, "area", Dimension::Area),
        count: u32::try_from(count).unwrap_or_else(|_| {
            let found = count.to_string();
            let expected = "a number of gloves";
            section.note("count", Mistake::Impossible { key: "count".to_owned(), found, expected });
            0
        }),
    };
    section.finish();
    glove
}

fn purifier(section: &Section<'_>) -> Purifier {
    let purifier = Purifier {
        name: section.text("name"),
        flow: positive(section, "flow", Dimension::VolumeFlow),
        oxygen_capacity: positive(section, "oxygen_capacity", Dimension::Volume),
    };
    section.finish();
    purifier
}
