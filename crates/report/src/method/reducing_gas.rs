//! The reducing gas: how much of it a cubic metre of the meter is, and when it can burn.

use tightfit_fit::ppm_rise::Quantity;
use tightfit_quantity::Gas;
use tightfit_quantity::constant::MOLAR_GAS_CONSTANT;

use crate::data::ChannelData;
use crate::plan::{Plan, Test};

use super::ppm_rise::Room;

/// Molar mass of hydrogen, kg/mol (standard atomic weight of hydrogen, from memory).
const HYDROGEN_MOLAR_MASS: f64 = 2.015_88e-3;
/// Largest hydrogen fraction in nitrogen with which the mixture does not burn in air: ISO 10156:2010, T_ci (quoted in
/// a public text; the edition of 1996 has 5.7 %, from memory).
const LARGEST_IN_NITROGEN: f64 = 0.055;

/// What a flow meter's cubic metre holds.
pub(super) struct Meter {
    /// mol/m³.
    pub(super) amount_per_volume: Quantity,
    pub(super) notes: Vec<String>,
}

impl Meter {
    pub(super) fn of(plan: &Plan, test: &Test, flow: &ChannelData<'_>, room: &Room) -> Self {
        let keys = &test.keys;
        let stated = |measured: Option<&crate::plan::Measured>, fallback: f64| {
            measured.map_or(Quantity::new(fallback, 0.0), super::ppm_rise::quantity)
        };
        let pressure = stated(keys.meter_pressure.as_ref(), room.pressure_pa);
        let temperature = stated(keys.meter_temperature.as_ref(), room.temperature_k);
        let at = |pressure_pa: f64, temperature_k: f64| pressure_pa / (MOLAR_GAS_CONSTANT * temperature_k);
        let of_conditions = (pressure.standard_uncertainty / pressure.value)
            .hypot(temperature.standard_uncertainty / temperature.value);
        if let Some(made_for) = flow.instrument.and_then(|instrument| instrument.made_for) {
            return Self::float_type(plan, test, made_for, pressure.value, temperature.value, of_conditions);
        }
        if let Some(reference) = flow.standard_reference {
            let amount = at(reference.pressure_pa, reference.temperature_k);
            return Self { amount_per_volume: Quantity::new(amount, 0.0), notes: Vec::new() };
        }
        let amount = at(pressure.value, temperature.value);
        let note = format!(
            "the meter's volumes are taken as those of the gas at {:.1} kPa and {:.1} °C at the meter; state reference, \
             made_for, meter_pressure or meter_temperature where they are others",
            pressure.value / 1e3,
            temperature.value - 273.15
        );
        Self { amount_per_volume: Quantity::new(amount, amount * of_conditions), notes: vec![note] }
    }

    /// A float rides on the momentum of the gas: the same reading means a volume flow that goes with the inverse square
    /// root of the density, and an amount that goes with √(p/(M T)).
    fn float_type(
        plan: &Plan,
        test: &Test,
        made_for: crate::plan::MadeFor,
        pressure_pa: f64,
        temperature_k: f64,
        of_conditions: f64,
    ) -> Self {
        let molar_mass = mixture_molar_mass(plan, test);
        let factor = (made_for.gas.molar_mass() / molar_mass
            * (pressure_pa / made_for.pressure_pa)
            * (made_for.temperature_k / temperature_k))
            .sqrt();
        let amount = factor * made_for.pressure_pa / (MOLAR_GAS_CONSTANT * made_for.temperature_k);
        let note = format!(
            "the meter was made for {}; for the gas and its pressure at the meter the amount is {factor:.3} of what the \
             scale says (square root of the densities)",
            made_for.gas
        );
        Self { amount_per_volume: Quantity::new(amount, 0.5 * of_conditions * amount), notes: vec![note] }
    }
}

fn carrier(plan: &Plan, test: &Test) -> Gas {
    test.keys.carrier.unwrap_or(plan.enclosure.gas)
}

fn mixture_molar_mass(plan: &Plan, test: &Test) -> f64 {
    let hydrogen = test.keys.hydrogen_fraction.as_ref().map_or(0.0, |fraction| fraction.si);
    hydrogen * HYDROGEN_MOLAR_MASS + (1.0 - hydrogen) * carrier(plan, test).molar_mass()
}

/// Largest hydrogen fraction in a carrier with which the mixture does not burn in air, by the rule of ISO 10156:
/// A/(A + K·(1 − A)) = `T_c`, K the carrier's equivalence to nitrogen (argon 0.55, helium 0.9: edition of 2010, from
/// memory). `None` for air, with which any such mixture is a fuel with its oxidant.
pub(crate) fn largest_hydrogen_fraction(carrier: Gas) -> Option<f64> {
    let equivalence = match carrier {
        Gas::Nitrogen => 1.0,
        Gas::Argon => 0.55,
        Gas::Helium => 0.9,
        Gas::Air => return None,
    };
    let limit = LARGEST_IN_NITROGEN;
    Some(equivalence * limit / (1.0 - limit + equivalence * limit))
}

/// What must be said of hydrogen, a hot vessel and exhaust.
pub(super) fn cautions(plan: &Plan, test: &Test) -> Vec<String> {
    let carrier = carrier(plan, test);
    let mut cautions = vec![
        "caution: the vessel is hot, and the exhaust holds hydrogen, water vapour and inert gas: lead it to a safe \
         place outdoors, away from ignition, and keep to local codes and the maker's instructions"
            .to_owned(),
    ];
    let Some(hydrogen) = test.keys.hydrogen_fraction.as_ref().map(|fraction| fraction.si) else { return cautions };
    match largest_hydrogen_fraction(carrier) {
        None => cautions.push(
            "caution: hydrogen in air burns or explodes from 4 % on; a reducing gas must not be carried by air".to_owned(),
        ),
        Some(largest) if hydrogen > largest => cautions.push(format!(
            "caution: {:.2} % of hydrogen in {carrier} can burn in air (ISO 10156:2010: at most {:.1} %): treat it as a \
             flammable gas",
            100.0 * hydrogen,
            100.0 * largest
        )),
        Some(largest) => cautions.push(format!(
            "{:.2} % of hydrogen in {carrier} does not burn in air (ISO 10156:2010: at most {:.1} %; less in argon than \
             in nitrogen); a wrong cylinder does",
            100.0 * hydrogen,
            100.0 * largest
        )),
    }
    cautions
}

#[cfg(test)]
mod tests {
    use tightfit_cross_check::CrossCheck;

    use super::*;

    #[test]
    fn argon_carries_less_hydrogen_than_nitrogen_before_the_mixture_burns() {
        let source = "ISO 10156:2010: 5.5 % in nitrogen; argon with K = 0.55, computed from the rule";
        let mut check = CrossCheck::against("Hydrogen that does not burn", source);
        check.absolute("largest fraction in nitrogen", largest_hydrogen_fraction(Gas::Nitrogen).unwrap(), 0.055, 1e-12);
        check.absolute("largest fraction in argon", largest_hydrogen_fraction(Gas::Argon).unwrap(), 0.031_018, 1e-6);
        assert!(largest_hydrogen_fraction(Gas::Air).is_none());
    }
}
