//! Regeneration: stoichiometry, and the arithmetic of common practice.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::Samples;
use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::regeneration::{Record, Regeneration, Settings, Trace, evaluate};

/// A constant flow over whole seconds `from` to `to` of a record of `length_s`, read every 10 s.
fn purged(flow_m3_per_s: f64, [from, to]: [f64; 2], length_s: f64, fraction: f64, mol_per_m3: f64) -> Regeneration {
    let time_s: Vec<f64> = (0..=(length_s / 10.0) as usize).map(|i| i as f64 * 10.0).collect();
    let value: Vec<f64> = time_s.iter().map(|t| if (from..to).contains(t) { flow_m3_per_s } else { 0.0 }).collect();
    let samples = Samples::new(&time_s, &value).unwrap();
    let flow = Trace { samples, zero: 0.0, scale: 0.0, resolution: 0.0, response_tau_s: 0.0 };
    let settings = Settings {
        hydrogen_fraction: Some(Quantity::new(fraction, 0.0)),
        amount_per_volume: Some(Quantity::new(mol_per_m3, 0.0)),
        ..Settings::default()
    };
    evaluate(&Record { flow: Some(flow), ..Record::default() }, &settings).unwrap()
}

/// 2 H₂ + O₂ → 2 H₂O.
#[test]
fn two_hydrogen_molecules_restore_the_capacity_for_one_of_oxygen() {
    let found = purged(1e-4, [1000.0, 4600.0], 8000.0, 0.04, 44.615);
    let hydrogen = found.hydrogen_dose.unwrap();
    let mut check = CrossCheck::against("Hydrogen and oxygen", "Stoichiometry: 2 H₂ + O₂ → 2 H₂O");
    let oxygen = found.oxygen_capacity_restored.unwrap();
    check.relative("hydrogen, mol", hydrogen.value, 0.36 * 0.04 * 44.615, 1e-9);
    check.relative("oxygen capacity restored, mol", oxygen.value, 0.5 * hydrogen.value, 1e-12);
}

/// Common practice, no source: 20 ft³/h of nitrogen with 5 % of hydrogen for 1 h are 1.0 ft³ = 28.3 L of hydrogen.
#[test]
fn an_hour_at_twenty_cubic_feet_with_five_percent_gives_a_cubic_foot_of_hydrogen() {
    const CUBIC_FOOT_M3: f64 = 0.028_316_846_592;
    // An amount of 1 mol/m³ makes the dose a volume.
    let found = purged(20.0 * CUBIC_FOOT_M3 / 3600.0, [600.0, 4200.0], 6000.0, 0.05, 1.0);
    let mut check = CrossCheck::against("Hydrogen dose", "Common practice, no source: flow × fraction × time");
    let hydrogen_m3 = found.hydrogen_dose.unwrap().value;
    check.relative("hydrogen, ft3", hydrogen_m3 / CUBIC_FOOT_M3, 1.0, 1e-9);
    check.relative("hydrogen, L", 1e3 * hydrogen_m3, 28.3, 1e-3);
}
