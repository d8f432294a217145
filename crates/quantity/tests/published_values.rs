//! Unit factors and moisture formulations against published figures.
#![allow(clippy::unwrap_used, reason = "a test that cannot parse its own figures should stop")]

use tightfit_cross_check::CrossCheck;
use tightfit_quantity::constant::OXYGEN_IN_DRY_AIR;
use tightfit_quantity::moisture::{
    enhancement_in_air, frost_point_k, liquid_saturation_pressure_pa, mole_fraction, room_air_mole_fraction,
    sublimation_pressure_pa,
};
use tightfit_quantity::{DewPhase, Dimension, Gas, Quantity, Response, Uncertainty, Unit};

fn assert_relative(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found / expected - 1.0).abs() <= tolerance, "{what}: found {found}, expected {expected}");
}

#[test]
fn pressure_units_convert_by_their_definitions() {
    let source = "NIST SP 811 (2008), Appendix B, and ISO 80000-4: exact, or from the conventional density";
    let mut check = CrossCheck::against("Pressure units", source);
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
        check.relative(&format!("{unit}, Pa"), Unit::parse(unit).unwrap().to_si(1.0), pascal, 1e-11);
    }
}

#[test]
fn water_columns_follow_their_stated_temperature() {
    let source = "NIST SP 811 (2008), Appendix B (printed figures from memory)";
    let mut check = CrossCheck::against("Water columns", source);
    for (unit, pascal, tolerance) in [
        ("inH2O(4 °C)", 249.082, 2e-6),
        ("inH2O (20 °C)", 248.642, 2e-6),
        ("inH2O(60 °F)", 248.84, 2e-5),
        ("mmH2O(4 °C)", 9.806_375, 2e-7),
    ] {
        check.relative(&format!("{unit}, Pa"), Unit::parse(unit).unwrap().to_si(1.0), pascal, tolerance);
    }
}

#[test]
fn throughput_and_permeability_units_convert_by_their_definitions() {
    let source = "Definitions of the units; EN 1330-8 and ISO 20484 name the quantity";
    let mut check = CrossCheck::against("Throughput units", source);
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
        check.relative(&format!("{unit}, Pa·m³/s"), unit_parsed.to_si(1.0), si, 1e-12);
    }
}

/// Computed from the definitions, with 22.413 969 545 01 L/mol at 0 °C and 101.325 kPa: the units in which the tables of the
/// Polymer Handbook, of vacuum technology and of packaging films stand.
#[test]
fn permeability_units_convert_by_their_definitions() {
    let source = "Definitions of the units, with 22.413 969 545 01 L/mol at 0 °C and 101.325 kPa";
    let mut check = CrossCheck::against("Permeability units", source);
    for (unit, si) in [
        ("1 mol m/(m2 s Pa)", 1.0),
        ("1 Barrer", 3.346_402_703e-16),
        ("1e-10 cm3(STP) cm/(cm2 s cmHg)", 3.346_402_703e-16),
        ("1e-13 cm3(STP) cm/(cm2 s Pa)", 4.461_503_340_5e-16),
        ("1e-8 cm³(STP)·cm/(cm²·s·atm)", 4.403_161_451_3e-16),
        ("1 cm3(STP) mm/(m2 day atm)", 5.096_251_679_8e-18),
        ("1 cm3(STP)·mil/(100 in² day atm)", 2.006_398_299_1e-18),
        ("1 m3(STP) m/(m2 s Pa)", 3.346_402_703e-16 / 7.500_616_827e-18),
    ] {
        let found = Quantity::parse(unit).unwrap().si_of(Dimension::Permeability).unwrap();
        // The barrer is stated with 1 cmHg of 10 Torr; the conventional column differs by 1.4e-7.
        check.relative(&format!("{unit}, mol·m/(m²·s·Pa)"), found, si, if unit.contains("cmHg") { 2e-7 } else { 1e-9 });
    }
    assert_eq!(Unit::parse("cm3(STP)/min").unwrap().dimension(), Dimension::StandardVolumeFlow);
}

#[test]
fn saturation_pressure_matches_the_verification_values() {
    let source = "IAPWS R14-08(2011) at 230 K; IAPWS SR1-86(1992), Table 1 (from memory)";
    let mut check = CrossCheck::against("Vapour pressure, verification values", source);
    check.relative("over ice, 230 K, Pa", sublimation_pressure_pa(230.0), 8.947_352_740_189, 1e-10);
    check.relative("over water, triple point, Pa", liquid_saturation_pressure_pa(273.16), 611.657_07, 1e-8);
    check.relative(
        "over water, normal boiling point, Pa",
        liquid_saturation_pressure_pa(373.1243),
        101_325.015_2,
        1e-8,
    );
}

/// Saturation pressures computed in 25-digit arithmetic from the published coefficients (six digits): ice by IAPWS
/// R14-08(2011), supercooled water by Murphy and Koop (2005), water by IAPWS SR1-86(1992), every 10 °C.
#[test]
fn saturation_pressure_matches_the_tables_over_ice_and_over_water() {
    let source = "IAPWS R14-08(2011), Murphy and Koop (2005), IAPWS SR1-86(1992), in 25-digit arithmetic";
    let mut check = CrossCheck::against("Vapour pressure every 10 °C", source);
    let ice = [
        0.001_404_85,
        0.009_682_25,
        0.054_773,
        0.261_729,
        1.081_35,
        3.937_71,
        12.8412,
        38.0051,
        103.239,
        259.874,
        611.153,
    ];
    for (celsius, pascal) in (0..).map(|k| 10.0 * f64::from(k) - 100.0).zip(ice) {
        check.relative("over ice, −100 to 0 °C, Pa", sublimation_pressure_pa(celsius + 273.15), pascal, 5e-6);
    }
    let supercooled =
        [0.003_053_73, 0.019_807_6, 0.105_899, 0.478_859, 1.863_57, 6.316_78, 18.9121, 50.9356, 125.504, 286.453];
    for (celsius, pascal) in (0..).map(|k| 10.0 * f64::from(k) - 100.0).zip(supercooled) {
        check.relative(
            "over supercooled water, −100 to −10 °C, Pa",
            liquid_saturation_pressure_pa(celsius + 273.15),
            pascal,
            5e-6,
        );
    }
    for (celsius, pascal) in [(0.01, 611.657), (10.0, 1228.11), (20.0, 2339.19)] {
        check.relative("over water, 0.01 to 20 °C, Pa", liquid_saturation_pressure_pa(celsius + 273.15), pascal, 5e-6);
    }
}

/// Other published formulations on the same table: over ice Hardy (1998), Goff (1957), Murphy and Koop (2005), at −100, −70,
/// −40 and −10 °C; over water the vapour pressure of CIPM-2007 (Picard et al., Metrologia 45 (2008) 149, equation A1.1;
/// coefficients from memory). They differ among themselves by 0.2 %.
#[test]
fn other_published_formulations_agree_within_a_quarter_of_a_per_cent() {
    let source = "Hardy (1998), Goff (1957), Murphy and Koop (2005); CIPM-2007, A1.1 (coefficients from memory)";
    let mut check = CrossCheck::against("Vapour pressure, other formulations", source);
    for (celsius, others) in [
        (-100.0, [0.001_401_87, 0.001_401_99, 0.001_406_3]),
        (-70.0, [0.261_425, 0.261_356, 0.261_859]),
        (-40.0, [12.8368, 12.8286, 12.8443]),
        (-10.0, [259.87, 259.662, 259.892]),
    ] {
        for pascal in others {
            check.relative("over ice, −100 to −10 °C, Pa", sublimation_pressure_pa(celsius + 273.15), pascal, 2.5e-3);
        }
    }
    for celsius in [15.0, 20.0, 25.0, 30.0] {
        let t = celsius + 273.15;
        let cipm = f64::exp(1.237_884_7e-5 * t * t - 1.912_131_6e-2 * t + 33.937_110_47 - 6.343_164_5e3 / t);
        check.relative("over water, 15 to 30 °C, CIPM-2007, Pa", liquid_saturation_pressure_pa(t), cipm, 5e-4);
    }
}

#[test]
fn frost_points_match_their_table() {
    let mut check = CrossCheck::against("Frost points", "IAPWS R14-08(2011) in 25-digit arithmetic, at 101 325 Pa");
    for (ppm, celsius) in [
        (0.01, -101.587_12),
        (0.05, -93.479_89),
        (0.1, -89.750_785),
        (0.5, -80.473_308),
        (1.0, -76.185_73),
        (2.0, -71.705_126),
        (5.0, -65.462_788),
        (10.0, -60.479_807),
        (20.0, -55.253_727),
        (50.0, -47.940_425),
        (100.0, -42.075_121),
        (200.0, -35.897_137),
        (500.0, -27.205_403),
        (1000.0, -20.194_832),
    ] {
        let found = frost_point_k(ppm * 1e-6, 101_325.0).unwrap() - 273.15;
        check.absolute("frost point of 0.01 to 1000 ppm, °C", found, celsius, 2e-5);
    }
}

/// Worked examples of US 40 CFR 1065.645: (a) vapour pressures by Goff (1957), which differs by up to 1e-3, (b) water from the
/// dew point, (c) from relative humidity, (d) dew point of 925.717 Pa (279.00 K by Hardy (1998), from memory).
#[test]
fn water_fraction_matches_the_worked_examples_of_the_regulation() {
    let source = "US Code of Federal Regulations, title 40, section 1065.645, examples (two figures from memory)";
    let mut check = CrossCheck::against("Water in air", source);
    check.relative("vapour pressure at 9.5 °C, Pa", liquid_saturation_pressure_pa(282.65), 1186.581, 1e-3);
    check.relative("vapour pressure at 20 °C, Pa", liquid_saturation_pressure_pa(293.15), 2337.1, 1e-3);
    check.relative(
        "vapour pressure over ice at −15.4 °C (from memory), Pa",
        sublimation_pressure_pa(257.75),
        159.145,
        1e-3,
    );
    check.relative(
        "fraction at a dew point of 9.5 °C",
        mole_fraction(282.65, DewPhase::Ice, 99_980.0),
        0.011_868,
        1e-3,
    );
    // The regulation leaves out the enhancement of the vapour pressure by the air.
    let found = room_air_mole_fraction(0.5077, 293.15, 99_980.0) / enhancement_in_air(293.15, 99_980.0);
    check.relative("fraction at 50.77 % and 20 °C", found, 0.011_868, 1e-3);
    let dew_point_k = frost_point_k(925.717 / 99_980.0, 99_980.0).unwrap();
    check.absolute("dew point of 925.717 Pa, K", dew_point_k, 279.00, 0.01);
}

/// Dry air of CIPM-2007 and of the U.S. Standard Atmosphere 1976 (both from memory): oxygen 20.939 % and 20.9476 %, molar
/// masses 28.965 46 and 28.9644 g/mol; the enhancement factor of the air at 20 °C and 101.325 kPa is 1.0040.
#[test]
fn air_is_that_of_cipm_2007() {
    let mut check = CrossCheck::against("Air", "CIPM-2007 and U.S. Standard Atmosphere 1976 (both from memory)");
    check.relative("oxygen in dry air", OXYGEN_IN_DRY_AIR, 0.209_39, 1e-12);
    check.relative("oxygen in dry air, the older standard", OXYGEN_IN_DRY_AIR, 0.209_476, 5e-4);
    check.relative("molar mass of dry air, kg/mol", Gas::Air.molar_mass(), 28.9644e-3, 5e-5);
    check.relative("enhancement factor at 20 °C", enhancement_in_air(293.15, 101_325.0), 1.0040, 5e-5);
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
