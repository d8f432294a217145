//! Keys of a test that single methods read.

use tightfit_quantity::{Dimension, Gas, Quantity, StandardReference};

use crate::plan::enclosure::positive;
use crate::plan::mistake::{Mistake, nearest};

use super::{Measured, Moment, Section, moment};

/// What single methods read beside files and columns.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MethodKeys {
    /// Content to be reached or kept, a mole fraction.
    pub target: Option<Measured>,
    /// Which content is evaluated where both are logged: `oxygen` or `water`.
    pub species: Option<String>,
    /// Flow of purge gas at the enclosure's temperature and pressure, m³/s, where it is not logged.
    pub purge_flow: Option<Measured>,
    /// Names of the purifiers that ran; empty for all.
    pub purifiers: Vec<String>,
    /// Temperature that counts as heated, K.
    pub plateau: Option<Measured>,
    /// Mole fraction of hydrogen in the regeneration gas.
    pub hydrogen_fraction: Option<Measured>,
    /// Pressure below which a vessel counts as evacuated, Pa absolute.
    pub evacuated_below: Option<Measured>,
    /// Durations that the regeneration needs.
    pub required: Required,
    /// Gas that carries the hydrogen; the enclosure's own where absent.
    pub carrier: Option<Gas>,
    /// Pressure of the gas at the flow meter, Pa absolute.
    pub meter_pressure: Option<Measured>,
    /// Temperature of the gas at the flow meter, K.
    pub meter_temperature: Option<Measured>,
    /// Oxygen that came in since the last regeneration, 1/s (a mole fraction of the enclosure's gas).
    pub oxygen_ingress: Option<Measured>,
    /// Time since the last regeneration, s.
    pub since_last: Option<Measured>,
    /// Content of the only reference gas, a mole fraction.
    pub reference_gas: Option<Measured>,
    /// Reference gases, and when each was given.
    pub steps: Vec<ReferenceStep>,
    /// Which vessel is under vacuum: `antechamber`, `purifier` or `enclosure`.
    pub vessel: Option<String>,
    /// Volume of the vessel, m³.
    pub volume: Option<Measured>,
    /// Flow of make-up gas through an open valve.
    pub valve_flow: Option<ValveFlow>,
    /// Band of gauge pressure that is to be kept.
    pub band: Option<(Quantity, Quantity)>,
}

/// A reference gas, and when it was given.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferenceStep {
    /// Its content, a mole fraction.
    pub content: Measured,
    /// From when, where stated.
    pub from: Option<Moment>,
    /// Until when, where stated.
    pub to: Option<Moment>,
}

/// Flow through an open valve.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveFlow {
    /// The flow, m³/s at its reference conditions.
    pub measured: Measured,
    /// What its volumes refer to; conditions of the gas where absent.
    pub reference: Option<StandardReference>,
}

/// Durations that a regeneration needs, s.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Required {
    /// At or above the plateau.
    pub heating: Option<Measured>,
    /// With reducing gas flowing.
    pub purge: Option<Measured>,
    /// Below the pressure.
    pub evacuation: Option<Measured>,
}

impl MethodKeys {
    pub(super) fn read(section: &Section<'_>) -> Self {
        Self {
            target: section.measured("target", Dimension::Ratio),
            species: section.word("species", &["oxygen", "water"]),
            purge_flow: section.measured("purge_flow", Dimension::VolumeFlow),
            purifiers: section.texts("purifiers"),
            plateau: section.measured("plateau", Dimension::Temperature),
            hydrogen_fraction: section.measured("hydrogen_fraction", Dimension::Ratio),
            evacuated_below: section.measured("evacuated_below", Dimension::Pressure),
            required: section.section("required").map(|required| Required::read(&required)).unwrap_or_default(),
            carrier: carrier(section),
            meter_pressure: section.measured("meter_pressure", Dimension::Pressure),
            meter_temperature: section.measured("meter_temperature", Dimension::Temperature),
            oxygen_ingress: section.measured("oxygen_ingress", Dimension::PerTime),
            since_last: section.measured("since_last", Dimension::Time),
            reference_gas: section.measured("reference_gas", Dimension::Ratio),
            steps: section.sections("step").iter().filter_map(ReferenceStep::read).collect(),
            vessel: section.word("vessel", &["antechamber", "purifier", "enclosure"]),
            volume: positive(section, "volume", Dimension::Volume),
            valve_flow: valve_flow(section),
            band: band(section),
        }
    }
}

/// `"5 L/min"` of the gas as it flows, or `"5 NL/min"` at reference conditions.
fn valve_flow(section: &Section<'_>) -> Option<ValveFlow> {
    let standard = section.has_dimension("valve_flow", Dimension::StandardVolumeFlow);
    let dimension = if standard { Dimension::StandardVolumeFlow } else { Dimension::VolumeFlow };
    let measured = positive(section, "valve_flow", dimension)?;
    Some(ValveFlow { measured, reference: standard.then(StandardReference::default) })
}

fn band(section: &Section<'_>) -> Option<(Quantity, Quantity)> {
    let (low, high) = section.quantity_range("band")?;
    match low.si_of(Dimension::Pressure) {
        Ok(_) => Some((low, high)),
        Err(error) => {
            section.note("band", Mistake::Quantity { key: "band".to_owned(), error });
            None
        }
    }
}

/// A gas by its name or formula.
fn carrier(section: &Section<'_>) -> Option<Gas> {
    let text = section.text("carrier")?;
    let gas = Gas::parse(&text);
    if gas.is_none() {
        let names = Gas::ALL.map(Gas::name);
        let mistake = Mistake::UnknownWord {
            key: "carrier".to_owned(),
            nearest: nearest(&text, names),
            found: text,
            allowed: names.map(str::to_owned).to_vec(),
        };
        section.note("carrier", mistake);
    }
    gas
}

impl ReferenceStep {
    fn read(section: &Section<'_>) -> Option<Self> {
        if !section.has("content") {
            section.missing("content", "content = { value = \"100 ppm\", uncertainty = \"2 %\" }");
        }
        let content = section.measured("content", Dimension::Ratio);
        let (from, to) = (moment(section, "from"), moment(section, "to"));
        section.finish();
        Some(Self { content: content?, from, to })
    }
}

impl Required {
    fn read(section: &Section<'_>) -> Self {
        let required = Self {
            heating: section.measured("heating", Dimension::Time),
            purge: section.measured("purge", Dimension::Time),
            evacuation: section.measured("evacuation", Dimension::Time),
        };
        section.finish();
        required
    }
}
