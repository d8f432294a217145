//! Unit factors and moisture formulations against published figures.
#![allow(clippy::unwrap_used, reason = "a test that cannot parse its own figures should stop")]

use tightfit_quantity::moisture::{
    liquid_saturation_pressure_pa, mole_fraction, room_air_mole_fraction, sublimation_pressure_pa,
};
use tightfit_quantity::{DewPhase, Dimension, Quantity, Response, Uncertainty, Unit};

fn assert_relative(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found / expected - 1.0).abs() <= tolerance, "{what}: found {found}, expected {expected}");
}

/// NIST SP 811 (2008), Appendix B, and ISO 80000-4: exact definitions, or the figure computed from the conventional density.
#[test]
fn pressure_units_convert_by_their_definitions() {
    for (unit, pascal) in [
        ("Pa", 1.0),
        ("bar", 1e5),
        ("mbar", 100.0),
        ("atm", 101_325.0),
        ("at", 98_066.5),
        ("Torr", 133.322_368_421_052_6),
        ("mmHg", 133.322_387_415),
        ("inHg", 3_386.388_640_341),
        ("mmH2O", 9.806_65),
        ("inH2O", 249.088_91),
        ("psi", 6_894.757_293_168),
        ("micron", 0.133_322_368_421_1),
        ("mTorr", 0.133_322_368_421_1),
    ] {
        assert_relative(Unit::parse(unit).unwrap().to_si(1.0), pascal, 1e-11, unit);
    }
}

/// NIST SP 811 (2008), Appendix B (printed figures from memory): water columns at a stated temperature.
#[test]
fn water_columns_follow_their_stated_temperature() {
    for (unit, pascal, tolerance) in [
        ("inH2O(4 °C)", 249.082, 2e-6),
        ("inH2O (20 °C)", 248.642, 2e-6),
        ("inH2O(60 °F)", 248.84, 2e-5),
        ("mmH2O(4 °C)", 9.806_375, 2e-7),
    ] {
        assert_relative(Unit::parse(unit).unwrap().to_si(1.0), pascal, tolerance, unit);
    }
}

/// Factors that follow from the unit definitions (EN 1330-8 and ISO 20484 name the quantity).
#[test]
fn throughput_and_permeability_units_convert_by_their_definitions() {
    for (unit, si) in [
        ("Pa m3/s", 1.0),
        ("Pa·m³/s", 1.0),
        ("mbar L/s", 0.1),
        ("mbar·l/s", 0.1),
        ("Torr L/s", 0.133_322_368_421_052_6),
        ("atm cm3/s", 0.101_325),
        ("lusec", 0.000_133_322_368_421_1),
        ("mbar L/h", 0.1 / 3600.0),
        ("Pa.m3/h", 1.0 / 3600.0),
    ] {
        let unit_parsed = Unit::parse(unit).unwrap();
        assert_eq!(unit_parsed.dimension(), Dimension::Throughput, "{unit}");
        assert_relative(unit_parsed.to_si(1.0), si, 1e-12, unit);
    }
    assert_relative(Unit::parse("Barrer").unwrap().to_si(1.0), 3.346_402_703e-16, 1e-9, "Barrer");
    assert_eq!(Unit::parse("mol m/(m2 s Pa)").unwrap().dimension(), Dimension::Permeability);
}

/// IAPWS R14-08(2011), verification value at 230 K; IAPWS SR1-86(1992), Table 1 (from memory).
#[test]
fn saturation_pressure_matches_the_verification_values() {
    assert_relative(sublimation_pressure_pa(230.0), 8.947_352_740_189, 1e-10, "ice, 230 K");
    assert_relative(liquid_saturation_pressure_pa(273.16), 611.657_07, 1e-8, "liquid, triple point");
    assert_relative(liquid_saturation_pressure_pa(373.1243), 101_325.015_2, 1e-8, "liquid, normal boiling point");
}

/// Saturation pressures computed in 25-digit arithmetic from the published coefficients (six digits).
#[test]
fn saturation_pressure_matches_the_tables_over_ice_and_over_supercooled_water() {
    for (celsius, pascal) in [(-100.0, 0.001_404_85), (-80.0, 0.054_773), (-60.0, 1.081_35), (-50.0, 3.937_71)] {
        assert_relative(sublimation_pressure_pa(celsius + 273.15), pascal, 5e-6, "over ice");
    }
    for (celsius, pascal) in [(-100.0, 0.003_053_73), (-80.0, 0.105_899), (-60.0, 1.863_57), (-50.0, 6.316_78)] {
        assert_relative(liquid_saturation_pressure_pa(celsius + 273.15), pascal, 5e-6, "over supercooled water");
    }
}

/// Worked examples of US 40 CFR 1065.645 (b) and (c): they use Goff (1957), which differs by up to 1e-3.
#[test]
fn water_fraction_matches_the_worked_examples_of_the_regulation() {
    assert_relative(mole_fraction(282.65, DewPhase::Ice, 99_980.0), 0.011_868, 1e-3, "dew point 9.5 °C");
    assert_relative(room_air_mole_fraction(0.5077, 293.15, 99_980.0), 0.011_868, 1e-3, "50.77 % at 20 °C");
}

#[test]
fn frost_point_and_mole_fraction_are_inverse() {
    for ppm in [0.01, 1.0, 38.862, 500.0, 20_000.0] {
        let frost = tightfit_quantity::moisture::frost_point_k(ppm * 1e-6, 101_325.0).unwrap();
        assert_relative(mole_fraction(frost, DewPhase::Ice, 101_325.0), ppm * 1e-6, 1e-12, "there and back");
    }
}

#[test]
fn quantities_read_as_people_write_them() {
    for (text, dimension, si) in [
        ("0.92 m3", Dimension::Volume, 0.92),
        ("-1000 Pa", Dimension::Pressure, -1000.0),
        ("\u{2212}1000 Pa", Dimension::Pressure, -1000.0),
        ("4 inH2O", Dimension::Pressure, 996.355_64),
        ("0.05 vol%/h", Dimension::PerTime, 5e-4 / 3600.0),
        ("5e-4 1/h", Dimension::PerTime, 5e-4 / 3600.0),
        ("65 s", Dimension::Time, 65.0),
        ("8 h", Dimension::Time, 28_800.0),
        ("22 °C", Dimension::Temperature, 295.15),
        ("71.6 °F", Dimension::Temperature, 295.15),
        ("42 %", Dimension::Ratio, 0.42),
        ("-45 °C dew point", Dimension::DewPoint, 228.15),
        ("35 ft3/h", Dimension::VolumeFlow, 35.0 * 0.028_316_846_592 / 3600.0),
        ("0 L/Pa", Dimension::Compliance, 0.0),
        ("0.9 MBAR", Dimension::Pressure, 90.0),
        ("2.0 mL/min", Dimension::VolumeFlow, 2e-6 / 60.0),
        ("0.02 ppm/h", Dimension::PerTime, 0.02e-6 / 3600.0),
        ("500 sccm", Dimension::StandardVolumeFlow, 500e-6 / 60.0),
    ] {
        let found = Quantity::parse(text).unwrap().si_of(dimension).unwrap();
        assert!((found - si).abs() <= 1e-12 * si.abs().max(1e-12), "{text}: {found} is not {si}");
    }
}

#[test]
fn a_wrong_unit_names_the_nearest_one() {
    let error = Quantity::parse("5 mbra").unwrap_err();
    assert_eq!(error.to_string(), "unknown unit \"mbra\"; did you mean \"mbar\"?");
    let error = Quantity::parse("5 m3").unwrap().si_of(Dimension::Pressure).unwrap_err();
    assert_eq!(error.to_string(), "\"5 m3\" is a volume, expected a pressure (for example in Pa, mbar, inH2O)");
}

#[test]
fn uncertainties_become_standard_uncertainties() {
    let gauge = Uncertainty::parse("0.5 % of reading (limits) + 2 Pa").unwrap();
    assert_relative(gauge.relative(), 0.005 / 3f64.sqrt(), 1e-14, "relative part");
    assert_relative(gauge.absolute(Dimension::Pressure).unwrap(), 2.0, 1e-14, "absolute part");
    let twice = Uncertainty::parse("2 Pa (k=2)").unwrap();
    assert_relative(twice.standard(1e5, Dimension::Pressure).unwrap(), 1.0, 1e-14, "k = 2");
    let points = Uncertainty::parse("2 points").unwrap();
    assert_relative(points.standard(0.42, Dimension::Ratio).unwrap(), 0.02, 1e-14, "points");
    let degrees = Uncertainty::parse("0.2 °C").unwrap();
    assert_relative(degrees.absolute(Dimension::Temperature).unwrap(), 0.2, 1e-14, "a difference of 0.2 °C");
    assert!(Uncertainty::parse("2 Pa (k=zwei)").is_err());
    assert!(gauge.standard(1.0, Dimension::Volume).is_err());
}

#[test]
fn response_times_become_time_constants() {
    assert_relative(Response::parse("t90 20 s").unwrap().tau_s, 20.0 / 10f64.ln(), 1e-14, "t90");
    assert_relative(Response::parse("t63 120 s").unwrap().tau_s, 120.0, 1e-14, "t63");
    assert_relative(Response::parse("tau 0.5 min").unwrap().tau_s, 30.0, 1e-14, "tau");
    assert!(Response::parse("20 s").is_err());
}
