//! The leak that the plan's pressure-change tests found, as the methods that watch oxygen and water need it: for air that
//! flows in, or for the fill gas that flows out.

use tightfit_fit::ppm_rise::Quantity;
use tightfit_quantity::Gas;

use crate::plan::Plan;

use super::{Outcome, TestError};

/// Leak conductance over volume for air, 1/s, from the first valid pressure-change test of the plan: preferably one below
/// the room's pressure, where air flowed in; else one above it, converted from the fill gas.
pub(super) fn conductance_for_air(plan: &Plan, earlier: &[Option<Result<Outcome, TestError>>]) -> Option<Quantity> {
    let valid = earlier.iter().flatten().flatten().filter(|outcome| outcome.result.valid && outcome.runs.is_empty());
    let found: Vec<(f64, Quantity)> = valid
        .flat_map(|outcome| &outcome.drawings)
        .filter_map(|drawing| drawing.evaluation.pressure_change())
        .map(|evaluation| {
            let conductance = &evaluation.conductance_per_volume;
            (evaluation.mean_difference_pa, Quantity::new(conductance.value, conductance.standard_uncertainty))
        })
        .collect();
    let below = found.iter().find(|(difference_pa, _)| *difference_pa < 0.0).map(|(_, conductance)| *conductance);
    below.or_else(|| found.first().map(|(_, conductance)| for_air(*conductance, plan.enclosure.gas)))
}

/// Conductance for air from that for a gas.
fn for_air(conductance: Quantity, gas: Gas) -> Quantity {
    let (ratio, uncertainty) = gas.conductance_over_air();
    let value = conductance.value / ratio;
    let relative = uncertainty / ratio;
    Quantity::new(value, (conductance.standard_uncertainty / ratio).hypot(value * relative))
}

/// Conductance for a gas from that for air.
pub(super) fn for_gas(conductance: Quantity, gas: Gas) -> Quantity {
    let (ratio, uncertainty) = gas.conductance_over_air();
    Quantity::new(
        conductance.value * ratio,
        (conductance.standard_uncertainty * ratio).hypot(conductance.value * uncertainty),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_the_value_stays_and_helium_is_hardly_known() {
        let air = Quantity::new(1e-9, 1e-11);
        for gas in Gas::ALL {
            assert!((for_air(for_gas(air, gas), gas).value / air.value - 1.0).abs() < 1e-12);
        }
        assert!(for_gas(air, Gas::Helium).standard_uncertainty > 0.9e-9);
        assert!(for_gas(air, Gas::Argon).standard_uncertainty < 0.03e-9);
    }
}
