use tightfit_cross_check::CrossCheck;

use super::*;

fn converted(value: &str, unit: &str, conditions: &Conditions) -> Result<f64, ConvertError> {
    let converted = convert(&Quantity::parse(value).unwrap(), &Unit::parse(unit).unwrap(), conditions);
    converted.map(|converted| converted.value)
}

fn close(found: f64, expected: f64) {
    assert!((found / expected - 1.0).abs() < 1e-9, "{found} is not {expected}");
}

#[test]
fn a_leak_rate_becomes_a_throughput_with_volume_and_pressure() {
    let conditions = Conditions { volume_m3: Some(1.0), pressure_pa: Some(101_325.0), ..Conditions::default() };
    let source = "ISO 10648-2:1994, limit of class 1 (from memory), for 1 m³ at 101 325 Pa";
    let mut check = CrossCheck::against("Leak rate to throughput", source);
    let throughput = converted("0.05 vol%/h", "Pa m3/s", &conditions).unwrap();
    check.relative("0.05 vol%/h, Pa·m³/s", throughput, 0.014_072_916_666_67, 1e-9);
    check.relative("0.05 vol%/h, mL/h", converted("0.05 vol%/h", "mL/h", &conditions).unwrap(), 500.0, 1e-9);
    close(converted("500 mL/h", "1/h", &conditions).unwrap(), 5e-4);
}

#[test]
fn a_conversion_asks_for_what_it_depends_on_and_for_nothing_else() {
    let none = Conditions::default();
    assert_eq!(
        converted("5e-4 1/h", "mL/h", &none).unwrap_err().to_string(),
        "the conversion depends on the volume of the enclosure, which is not given"
    );
    let volume = Conditions { volume_m3: Some(0.92), ..none };
    close(converted("5e-4 1/h", "mL/h", &volume).unwrap(), 460.0);
    assert!(matches!(converted("5e-4 1/h", "Pa m3/s", &volume), Err(ConvertError::Needs { what: "pressure", .. })));
}

#[test]
fn vacuum_gauge_and_absolute_pressures_meet_at_the_room() {
    let room = Conditions { pressure_pa: Some(101_325.0), ..Conditions::default() };
    close(converted("29 inHg vacuum", "mbar absolute", &room).unwrap(), (101_325.0 - 29.0 * 3_386.388_640_341) / 100.0);
    close(converted("29 inHg vacuum", "inHg gauge", &Conditions::default()).unwrap(), -29.0);
    assert!(converted("29 inHg vacuum", "mbar absolute", &Conditions::default()).is_err());
}

#[test]
fn a_frost_point_becomes_a_fraction_and_returns() {
    let room = Conditions { pressure_pa: Some(101_325.0), ..Conditions::default() };
    let ppm = converted("-43.15 °C frost point", "ppm", &room).unwrap();
    let mut check =
        CrossCheck::against("Frost point to fraction", "IAPWS R14-08(2011): 8.947 352 74 Pa over ice at 230 K");
    check.relative("−43.15 °C at 101 325 Pa, ppm", ppm, 8.947_352_740_189 / 101_325.0 * 1e6, 1e-9);
    close(converted(&format!("{ppm} ppm"), "°C frost point", &room).unwrap(), -43.15);
    let supercooled = converted("-43.15 °C frost point", "°C dew point (water)", &room).unwrap();
    assert!(supercooled < -43.15 - 3.0 && supercooled > -43.15 - 6.0, "{supercooled}");
}

#[test]
fn unrelated_quantities_are_refused_by_name() {
    let error = converted("5 Pa", "m3", &Conditions::default()).unwrap_err();
    assert_eq!(error.to_string(), "a pressure cannot be converted to a volume");
}

/// Pascal: NIST SP 811 (2008), Appendix B, exact from the definitions where the factor is exact.
const PRESSURES: [(&str, f64); 15] = [
    ("Pa", 1.0),
    ("kPa", 1e3),
    ("hPa", 100.0),
    ("bar", 1e5),
    ("mbar", 100.0),
    ("atm", 101_325.0),
    ("at", 98_066.5),
    ("Torr", 101_325.0 / 760.0),
    ("mTorr", 101.325 / 760.0),
    ("mmHg", 133.322_387_415),
    ("inHg", 3_386.388_640_341),
    ("mmH2O", 9.806_65),
    ("inH2O", 249.088_91),
    ("psi", 6_894.757_293_168),
    ("micron", 0.133_322_368_421_1),
];

/// Pa·m³/s: exact from the definitions of the units (the quantity as in EN 1330-8 and ISO 20484).
const THROUGHPUTS: [(&str, f64); 8] = [
    ("Pa m3/s", 1.0),
    ("mbar L/s", 0.1),
    ("bar cm3/s", 0.1),
    ("Torr L/s", 0.133_322_368_421_1),
    ("atm cm3/s", 0.101_325),
    ("Pa L/s", 1e-3),
    ("lusec", 1.333_223_684_211e-4),
    ("Pa m3/h", 1.0 / 3600.0),
];

/// mol·m/(m²·s·Pa), with the standard volume at 0 °C and 101.325 kPa.
const PERMEABILITIES: [(&str, f64); 2] = [("Barrer", 3.346_402_703e-16), ("mol m/(m2 s Pa)", 1.0)];

fn close_to(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found / expected - 1.0).abs() < relative, "{what}: {found} is not {expected}");
}

#[test]
fn every_pair_of_units_of_one_quantity_converts_by_the_published_factors() {
    let source = "NIST SP 811 (2008), Appendix B, and the definitions of the units";
    let mut check = CrossCheck::against("Every unit in every other", source);
    let tables =
        [("pressures", &PRESSURES[..]), ("throughputs", &THROUGHPUTS[..]), ("permeabilities", &PERMEABILITIES[..])];
    for (name, table) in tables {
        for (from, from_si) in table {
            for (to, to_si) in table {
                let found = converted(&format!("1 {from}"), to, &Conditions::default()).unwrap();
                check.relative(&format!("ratios of {name}"), found, from_si / to_si, 1e-9);
            }
        }
    }
}

#[test]
fn a_standard_flow_is_an_amount_only_with_its_reference_temperature() {
    let table = [
        (273.15, 7.435_838_900_9e-7, 0.001_688_75, 0.001_812_400_009_2),
        (288.15, 7.048_757_229_9e-7, 0.001_600_840_057_3, 0.001_718_053_314_2),
        (293.15, 6.928_532_818_6e-7, 0.001_573_535_945_8, 0.001_688_75),
        (294.25, 6.902_631_761_4e-7, 0.001_567_653_568_4, 0.001_682_436_915_9),
        (298.15, 6.812_340_753_9e-7, 0.001_547_147_618_6, 0.001_660_429_523_7),
    ];
    let source = "Ideal gas with the exact molar gas constant (SI 2019); reference at 0, 15, 20, 21.1 and 25 °C";
    let mut check = CrossCheck::against("Standard flows", source);
    for (reference_k, mol_per_s, at_0, at_20) in table {
        let mut conditions = Conditions::default();
        conditions.reference.temperature_k = reference_k;
        let found = converted("1 sccm", "mol/s", &conditions).unwrap();
        check.relative("1 sccm, mol/s", found, mol_per_s, 1e-9);
        for (gas_k, throughput) in [(273.15, at_0), (293.15, at_20)] {
            conditions.temperature_k = Some(gas_k);
            let found = converted("1 sccm", "Pa m3/s", &conditions).unwrap();
            check.relative("1 sccm with the gas at 0 and 20 °C, Pa·m³/s", found, throughput, 1e-9);
            let back = converted(&format!("{found} Pa m3/s"), "sccm", &conditions).unwrap();
            close_to(back, 1.0, 1e-9, "back in sccm");
        }
    }
}

/// 100 Pa in an hour in 1 m³ at 100 kPa: a thousandth of the gas an hour.
#[test]
fn a_rate_of_pressure_becomes_a_leak_rate_and_a_throughput() {
    let conditions = Conditions { volume_m3: Some(1.0), pressure_pa: Some(1e5), ..Conditions::default() };
    close(converted("100 Pa/h", "1/h", &conditions).unwrap(), 1e-3);
    close(converted("100 Pa/h", "Pa m3/h", &conditions).unwrap(), 100.0);
    close(converted("1e-3 1/h", "mbar/h", &conditions).unwrap(), 1.0);
    close(converted("0.1 m3/h", "Pa/h", &conditions).unwrap(), 1e4);
}

#[test]
fn every_conversion_along_the_chain_goes_there_and_back() {
    let conditions = Conditions {
        volume_m3: Some(0.92),
        pressure_pa: Some(97_200.0),
        temperature_k: Some(295.15),
        ..Conditions::default()
    };
    let units = ["1/h", "vol%/h", "m3/h", "L/min", "Pa m3/s", "mbar L/s", "mol/s", "sccm", "Pa/h"];
    for from in units {
        for to in units {
            let there = converted(&format!("3.7 {from}"), to, &conditions).unwrap();
            close_to(
                converted(&format!("{there:e} {to}"), from, &conditions).unwrap(),
                3.7,
                1e-12,
                &format!("{from}, {to}"),
            );
        }
    }
}

#[test]
fn what_is_not_given_is_asked_for_by_name_and_flag() {
    let cases = [
        ("5e-4 1/h", "mL/h", "volume of the enclosure", "--volume"),
        ("100 Pa/h", "Pa m3/s", "volume of the enclosure", "--volume"),
        ("100 Pa/h", "1/h", "pressure", "--pressure"),
        ("500 mL/h", "mbar L/s", "pressure", "--pressure"),
        ("1 sccm", "mbar L/s", "temperature of the gas", "--temperature"),
        ("1 mbar L/s", "mol/s", "temperature of the gas", "--temperature"),
        ("-45 °C frost point", "ppm", "pressure", "--pressure"),
        ("5 Pa gauge", "Pa absolute", "pressure", "--pressure"),
    ];
    for (value, unit, what, flag) in cases {
        let error = converted(value, unit, &Conditions::default()).unwrap_err();
        assert!(error.to_string().contains(what) && error.hint().contains(flag), "{value} in {unit}: {error}");
    }
    for (value, unit) in [("5 Pa", "m3"), ("1 mol", "sccm"), ("3 °C", "Pa"), ("2 Barrer", "1/h")] {
        let error = converted(value, unit, &Conditions::default()).unwrap_err();
        assert!(matches!(error, ConvertError::Unrelated { .. }), "{value} in {unit}: {error}");
    }
}
