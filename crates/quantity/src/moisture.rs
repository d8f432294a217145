//! Water vapour: saturation pressure, dew and frost points, mole fractions.
//!
//! No enhancement factor is applied (about 1.004 at 1 atm near 0 °C): the
//! difference is below what moisture analysers resolve, and the conversion stays
//! exactly invertible.

use crate::constant::ZERO_CELSIUS_K;
use crate::unit::DewPhase;

/// Triple point of water, K (IAPWS R14-08(2011)).
const TRIPLE_POINT_K: f64 = 273.16;
/// Pressure at the triple point, Pa (IAPWS R14-08(2011)).
const TRIPLE_POINT_PA: f64 = 611.657;
/// Critical point of water, K and Pa (IAPWS SR1-86(1992)).
const CRITICAL_POINT_K: f64 = 647.096;
const CRITICAL_POINT_PA: f64 = 22.064e6;

/// Sublimation pressure of ice, Pa, at `temperature_k` (50 K to 273.16 K).
///
/// IAPWS R14-08(2011), equation 6; its verification value is 8.947 35 Pa at 230 K.
#[must_use]
pub fn sublimation_pressure_pa(temperature_k: f64) -> f64 {
    const TERMS: [(f64, f64); 3] =
        [(-21.214_400_6, 0.003_333_333_33), (27.320_381_9, 1.206_666_67), (-6.105_981_3, 1.703_333_33)];
    let theta = temperature_k / TRIPLE_POINT_K;
    let sum: f64 = TERMS.iter().map(|(a, b)| a * theta.powf(*b)).sum();
    TRIPLE_POINT_PA * (sum / theta).exp()
}

/// Saturation pressure over liquid water, Pa, at `temperature_k` (123 K to 647 K).
///
/// From the triple point up IAPWS SR1-86(1992); below it, over supercooled water,
/// Murphy and Koop (2005), Q. J. R. Meteorol. Soc. 131, 1539, equation 10 (coefficients from memory,
/// checked against their tabulated values).
#[must_use]
pub fn liquid_saturation_pressure_pa(temperature_k: f64) -> f64 {
    if temperature_k >= TRIPLE_POINT_K { iapws_liquid(temperature_k) } else { murphy_koop_liquid(temperature_k) }
}

fn iapws_liquid(temperature_k: f64) -> f64 {
    const TERMS: [(f64, f64); 6] = [
        (-7.859_517_83, 1.0),
        (1.844_082_59, 1.5),
        (-11.786_649_7, 3.0),
        (22.680_741_1, 3.5),
        (-15.961_871_9, 4.0),
        (1.801_225_02, 7.5),
    ];
    let v = 1.0 - temperature_k / CRITICAL_POINT_K;
    let sum: f64 = TERMS.iter().map(|(a, power)| a * v.powf(*power)).sum();
    CRITICAL_POINT_PA * (sum * CRITICAL_POINT_K / temperature_k).exp()
}

fn murphy_koop_liquid(temperature_k: f64) -> f64 {
    let t = temperature_k;
    let base = 54.842_763 - 6_763.22 / t - 4.210 * t.ln() + 0.000_367 * t;
    let bend = 53.878 - 1_331.22 / t - 9.445_23 * t.ln() + 0.014_025 * t;
    (base + (0.0415 * (t - 218.8)).tanh() * bend).exp()
}

/// Vapour pressure, Pa, at a dew or frost point.
#[must_use]
pub fn vapour_pressure_pa(dew_point_k: f64, phase: DewPhase) -> f64 {
    match phase {
        DewPhase::Ice if dew_point_k < TRIPLE_POINT_K => sublimation_pressure_pa(dew_point_k),
        DewPhase::Ice | DewPhase::Water => liquid_saturation_pressure_pa(dew_point_k),
    }
}

/// Mole fraction of water (total basis) at a dew or frost point and total pressure.
///
/// The example of US 40 CFR 1065.645(b), 9.5 °C at 99 980 Pa, gives 0.011 868 (its formulation differs by 1e-4).
#[must_use]
pub fn mole_fraction(dew_point_k: f64, phase: DewPhase, pressure_pa: f64) -> f64 {
    vapour_pressure_pa(dew_point_k, phase) / pressure_pa
}

/// The frost point (over ice below 0.01 °C, dew point above), K, of a mole fraction of water.
///
/// `None` outside 123 K to 373.15 K or for a mole fraction that is not positive.
#[must_use]
pub fn frost_point_k(mole_fraction: f64, pressure_pa: f64) -> Option<f64> {
    let target = mole_fraction * pressure_pa;
    let (mut low, mut high) = (123.0, 373.15);
    let inside = |t| vapour_pressure_pa(t, DewPhase::Ice);
    if !(target >= inside(low) && target <= inside(high)) {
        return None;
    }
    // Vapour pressure rises with temperature; 60 halvings reach double precision.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if inside(middle) < target {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

/// Factor by which air at `pressure_pa` raises the saturation pressure of water in it (1.0040 at 20 °C and 101.325 kPa).
///
/// CIPM-2007: Picard et al., Metrologia 45 (2008) 149, equation A1.2, for 15 °C to 27 °C and 60 kPa to 110 kPa (coefficients
/// from memory). It is that of air; readings of dew points in another gas are converted without one (at most 0.5 %).
#[must_use]
pub fn enhancement_in_air(temperature_k: f64, pressure_pa: f64) -> f64 {
    let celsius = temperature_k - ZERO_CELSIUS_K;
    1.000_62 + 3.14e-8 * pressure_pa + 5.6e-7 * celsius * celsius
}

/// Mole fraction of water in room air from relative humidity (over liquid water, 0 to 1), as CIPM-2007 has it.
///
/// The example of US 40 CFR 1065.645(c), 50.77 % at 20 °C and 99 980 Pa, gives 0.011 868 without the enhancement factor.
#[must_use]
pub fn room_air_mole_fraction(relative_humidity: f64, temperature_k: f64, pressure_pa: f64) -> f64 {
    let saturation_pa = enhancement_in_air(temperature_k, pressure_pa) * liquid_saturation_pressure_pa(temperature_k);
    relative_humidity * saturation_pa / pressure_pa
}
