//! Physical constants and conventional values, in SI units.

/// Molar gas constant, J/(mol K). Exact: SI Brochure, 9th edition (2019), from the
/// defined values of the Boltzmann and Avogadro constants.
pub const MOLAR_GAS_CONSTANT: f64 = 8.314_462_618_153_24;

/// Standard atmosphere, Pa. Exact: NIST SP 811 (2008), Appendix B.
pub const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;

/// 0 °C in kelvin. Exact by the definition of the degree Celsius.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// Conventional acceleration of free fall, m/s². Exact: NIST SP 811 (2008), Appendix B.
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// Conventional density of mercury for mmHg and inHg, kg/m³ (0 °C; NIST SP 811, Appendix B).
pub const MERCURY_DENSITY: f64 = 13_595.1;

/// Conventional density of water for mmH2O and inH2O, kg/m³ (NIST SP 811, Appendix B).
pub const WATER_DENSITY_CONVENTIONAL: f64 = 1000.0;

/// Mole fraction of oxygen in dry air: CIPM-2007 (Picard et al., Metrologia 45 (2008)
/// 149, Table 1; figure from memory).
pub const OXYGEN_IN_DRY_AIR: f64 = 0.209_39;

/// One barrer in mol·m/(m²·s·Pa): 10⁻¹⁰ cm³(STP)·cm/(cm²·s·cmHg) with 10 Torr as 1 cmHg
/// and the molar volume at 0 °C and 101.325 kPa. Computed from the definition.
pub const BARRER: f64 = 3.346_402_703e-16;

/// Density of air-free water at 101.325 kPa, kg/m³, for 0 °C to 40 °C.
///
/// Tanaka et al., Metrologia 38 (2001) 301, the formula recommended by the CIPM
/// (coefficients from memory; checked against 998.2063 kg/m³ at 20 °C within 2e-6). At 4 °C
/// (39.2 °F) the older 999.972 kg/m³ is kept, on which the printed factors of NIST SP 811 rest.
#[must_use]
pub fn water_density(temperature_c: f64) -> f64 {
    if (temperature_c - 4.0).abs() < 0.01 {
        return 999.972;
    }
    let t = temperature_c;
    999.974_950 * (1.0 - (t - 3.983_035).powi(2) * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}
