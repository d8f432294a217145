//! Hydrogen given, and the oxygen capacity that it can restore at most.

use super::Settings;
use super::flow::Purge;
use super::threshold::total_s;
use crate::Estimate;
use crate::estimate::BudgetLine;
use crate::simulate::Random;
use crate::uncertainty::Distribution;

/// Oxygen taken off the bed for each hydrogen given: 2 H₂ + O₂ → 2 H₂O.
pub(super) const OXYGEN_PER_HYDROGEN: f64 = 0.5;

const DRAWS: usize = 4000;

/// Amount of hydrogen in mol; `None` without its fraction or the meaning of the meter's cubic metre.
pub(super) fn hydrogen(purge: &Purge, scale: f64, settings: &Settings) -> Option<Estimate> {
    let (fraction, amount) = (settings.hydrogen_fraction?, settings.amount_per_volume?);
    let of_zero_m3 = purge.zero_uncertainty * total_s(&purge.stretches);
    let mut random = Random::new(0x4832);
    let draws = (0..DRAWS)
        .map(|_| {
            let volume_m3 = purge.volume_m3 + purge.volume_uncertainty_m3.hypot(of_zero_m3) * random.normal();
            let volume_m3 = volume_m3 * (1.0 + scale * random.normal());
            volume_m3
                * (fraction.value + fraction.standard_uncertainty * random.normal())
                * (amount.value + amount.standard_uncertainty * random.normal())
        })
        .collect();
    let mol_per_m3 = fraction.value * amount.value;
    let dose_mol = purge.volume_m3 * mol_per_m3;
    let budget = vec![
        BudgetLine::new("flow meter, scale", scale * dose_mol),
        BudgetLine::new("flow meter, zero", of_zero_m3 * mol_per_m3),
        BudgetLine::new("hydrogen fraction", fraction.standard_uncertainty * purge.volume_m3 * amount.value),
        BudgetLine::new(
            "amount of gas in the meter's cubic metre",
            amount.standard_uncertainty * purge.volume_m3 * fraction.value,
        ),
        BudgetLine::new("noise, and start and end between two readings", purge.volume_uncertainty_m3 * mol_per_m3),
    ];
    let spread = Estimate::from_distribution(Distribution::from_draws(draws), budget);
    // The value itself needs no drawing.
    Some(Estimate { value: dose_mol, ..spread })
}
