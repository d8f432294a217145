//! What gloves let through by permeation: expected against measured, and part of what looks like a leak in a pressure test.

use tightfit_fit::permeation::{
    Barrier, Expected, Judgement, LogNormal, Measured, Sides, expected_ingress, judge, ratio,
};
use tightfit_fit::ppm_rise::{Quantity, RoomAir, Species};
use tightfit_fit::{Estimate, Kind};
use tightfit_quantity::constant::{MOLAR_GAS_CONSTANT, OXYGEN_IN_DRY_AIR};
use tightfit_quantity::display_number;
use tightfit_quantity::permeability::{Elastomer, Permeant};

use crate::plan::{self, Enclosure, Glove};

/// Relative standard uncertainty of a thickness or an area of which the plan states none (common practice, no source: gloves
/// are thinner at the fingers, and stretched).
const USUAL_SHAPE_UNCERTAINTY: f64 = 0.10;

/// What the gloves of a plan stand in.
pub(super) struct Surroundings {
    pub(super) room_air: RoomAir,
    /// Temperature of gloves and gas, K.
    pub(super) temperature_k: f64,
}

/// Expected and measured permeation side by side.
#[derive(Default)]
pub(super) struct Comparison {
    /// Additional results by name.
    pub(super) estimates: Vec<(&'static str, Estimate)>,
    /// The same in words.
    pub(super) notes: Vec<String>,
}

/// Compares measured ingress (ppm/h) of oxygen and water with what sound gloves of the plan would let through.
pub(super) fn compare(
    enclosure: &Enclosure,
    around: &Surroundings,
    what: Measured,
    measured: [Option<&Estimate>; 2],
) -> Comparison {
    let mut comparison = Comparison::default();
    if enclosure.gloves.is_empty() {
        return comparison;
    }
    for (species, measured) in [Species::Oxygen, Species::Water].into_iter().zip(measured) {
        let Some(measured) = measured else { continue };
        match expected(enclosure, around, species) {
            Ok(expected) => {
                let ratio = ratio(measured, what, expected.ingress);
                comparison.notes.push(words(enclosure, species, &expected.estimate, &ratio));
                let [expected_name, ratio_name] = names(species);
                comparison.estimates.extend([(expected_name, expected.estimate), (ratio_name, ratio)]);
            }
            Err(missing) => {
                comparison.notes.push(format!("expected permeation of {species} is not computed: {missing}"));
            }
        }
    }
    comparison
}

fn names(species: Species) -> [&'static str; 2] {
    match species {
        Species::Oxygen => ["oxygen_expected_from_permeation", "permeation_ratio_oxygen"],
        Species::Water => ["water_expected_from_permeation", "permeation_ratio_water"],
    }
}

/// What sound gloves would let through, or what is missing to say it.
fn expected(enclosure: &Enclosure, around: &Surroundings, species: Species) -> Result<Expected, String> {
    let volume = enclosure.volume.as_ref().ok_or("the enclosure's volume is not stated")?;
    let (permeant, room_air) = match species {
        Species::Oxygen => (Permeant::Oxygen, around.room_air.oxygen),
        Species::Water => (Permeant::Water, around.room_air.water),
    };
    let barriers: Result<Vec<Barrier>, String> =
        enclosure.gloves.iter().map(|glove| barrier(glove, permeant, around.temperature_k)).collect();
    let sides = Sides {
        room_air,
        temperature_k: around.temperature_k,
        volume_m3: Quantity::new(volume.si, volume.standard_uncertainty.unwrap_or(0.0)),
    };
    expected_ingress(&barriers?, &sides).ok_or_else(|| "the plan has no gloves".to_owned())
}

fn barrier(glove: &Glove, permeant: Permeant, temperature_k: f64) -> Result<Barrier, String> {
    let material = &glove.material;
    let published = Elastomer::parse(material)
        .and_then(|elastomer| elastomer.expected(permeant, temperature_k))
        .ok_or_else(|| format!("no published permeability of \"{material}\" is known here"))?;
    let (Some(thickness), Some(area)) = (&glove.thickness, &glove.area) else {
        return Err(format!("thickness and area of the gloves of {material} are not both stated"));
    };
    let relative = |measured: &plan::Measured| {
        measured.standard_uncertainty.map_or(USUAL_SHAPE_UNCERTAINTY, |uncertainty| uncertainty / measured.si)
    };
    Ok(Barrier {
        permeability: LogNormal { median: published.median, log_standard_deviation: published.log_standard_deviation },
        area_m2: area.si * f64::from(glove.count),
        thickness_m: thickness.si,
        shape_uncertainty: relative(thickness).hypot(relative(area)),
    })
}

fn words(enclosure: &Enclosure, species: Species, expected: &Estimate, ratio: &Estimate) -> String {
    let number = |value: f64| display_number(value, 2);
    let [least, most] = expected.interval95;
    let [low, high] = ratio.interval95;
    let found = match ratio.kind {
        Kind::Estimate => {
            format!("{} times that (95 % between {} and {})", number(ratio.value), number(low), number(high))
        }
        Kind::UpperBound => format!("at most {} times that", number(high)),
        Kind::LowerBound | Kind::NotDetermined => "an amount that the readings do not tell".to_owned(),
    };
    let meaning = match (judge(ratio), ratio.kind) {
        (Judgement::AsSoundGloves, _) => "within what is expected of sound gloves",
        (Judgement::MoreThanSoundGloves, _) => {
            "more than sound gloves would: look at them for cracks, tackiness and thin spots, at cuffs and ports, and at seals \
             and hoses, which are not counted"
        }
        (Judgement::CannotTell, Kind::UpperBound) => {
            "and that does not tell sound gloves from worn ones, since leaks may be in it; runs at several pressures \
             (ppm-rise-series) part them"
        }
        (Judgement::CannotTell, _) => "and that does not tell sound gloves from worn ones",
    };
    format!(
        "sound gloves ({}) would let in about {} ppm/h of {species} (95 % between {} and {}; published permeabilities, from \
         memory); these let in {found}, {meaning}",
        gloves(enclosure),
        number(expected.value),
        number(least),
        number(most),
    )
}

/// `2 of butyl, 0.4 mm`.
fn gloves(enclosure: &Enclosure) -> String {
    let kinds = enclosure.gloves.iter().map(|glove| {
        let thickness = glove.thickness.as_ref().map_or(String::new(), |thickness| format!(", {}", thickness.quantity));
        format!("{} of {}{thickness}", glove.count, glove.material)
    });
    kinds.collect::<Vec<_>>().join("; ")
}

/// Share of a leak rate from which permeation is worth a sentence.
const WORTH_SAYING: f64 = 0.05;

/// A sentence where permeation through the plan's gloves makes a noticeable part of `hourly_leak_rate` (1/h).
///
/// Gas amount leaves as fill gas and enters as oxygen and nitrogen; the sum is what pressure shows.
pub(super) fn note(
    enclosure: &Enclosure,
    temperature_k: f64,
    pressure_pa: f64,
    hourly_leak_rate: f64,
) -> Option<String> {
    let volume = enclosure.volume.as_ref()?.si;
    let fill = Permeant::of_fill_gas(enclosure.gas)?;
    let [mut low, mut high] = [0.0; 2];
    for glove in &enclosure.gloves {
        let [least, most] = net_inflow(glove, fill, pressure_pa)?;
        low += least;
        high += most;
    }
    let per_hour = |inflow: f64| 3600.0 * inflow * MOLAR_GAS_CONSTANT * temperature_k / (pressure_pa * volume);
    let (low, high) = (per_hour(low), per_hour(high));
    let largest = low.abs().max(high.abs());
    (largest > WORTH_SAYING * hourly_leak_rate.abs()).then(|| {
        // What leaves through gloves, helium say, makes the leak rate smaller.
        let (does, least, most) = if high <= 0.0 {
            ("takes between {} off", -high, -low)
        } else {
            ("adds between {} to", low, high)
        };
        let range = format!("{} and {} 1/h", display_number(least, 2), display_number(most, 2));
        format!(
            "permeation through the gloves of the plan, if they were in place, {} the leak rate (published permeabilities, \
             from memory; within a factor of two to five)",
            does.replace("{}", &range)
        )
    })
}

/// Net inflow through gloves of one kind, lowest and highest, mol/s; negative where more leaves than enters.
fn net_inflow(glove: &Glove, fill: Permeant, pressure_pa: f64) -> Option<[f64; 2]> {
    let material = Elastomer::parse(&glove.material)?;
    let shape = glove.area.as_ref()?.si * f64::from(glove.count) / glove.thickness.as_ref()?.si * pressure_pa;
    let oxygen = material.permeability(Permeant::Oxygen)?;
    let nitrogen = material.permeability(Permeant::Nitrogen)?;
    let out = material.permeability(fill)?;
    // Air is oxygen and, for this purpose, nitrogen; nitrogen inside meets its own pressure from the room.
    let nitrogen_share = 1.0 - OXYGEN_IN_DRY_AIR;
    let net = |end: usize| shape * (oxygen[end] * OXYGEN_IN_DRY_AIR + nitrogen[end] * nitrogen_share - out[end]);
    let (a, b) = (net(0), net(1));
    Some([a.min(b), a.max(b)])
}
