//! What gloves let through by permeation during a pressure test: part of what looks like a leak.

use tightfit_quantity::constant::{MOLAR_GAS_CONSTANT, OXYGEN_IN_DRY_AIR};
use tightfit_quantity::display_number;
use tightfit_quantity::permeability::{Elastomer, Permeant};

use crate::plan::{Enclosure, Glove};

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
        format!(
            "permeation through the gloves of the plan, if they were in place, adds between {} and {} 1/h to the leak \
             rate (published permeabilities, from memory; within a factor of two to five)",
            display_number(low, 2),
            display_number(high, 2)
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
