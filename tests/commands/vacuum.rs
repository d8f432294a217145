//! Vacuum hold, antechamber and make-up from exports to results.

use std::fmt::Write as _;

use serde_json::json;

use crate::support::{Bench, jitter};

const ENCLOSURE: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = { value = "0.92 m3", uncertainty = "2 %" }
rated_pressure = ["-1500 Pa", "1500 Pa"]
[enclosure.antechamber]
volume = { value = "38 L", uncertainty = "2 %" }
[room]
pressure = { value = "29.92 inHg", uncertainty = "0.01 inHg" }
[supply]
oxygen = { value = "1 ppm", uncertainty = "0.5 ppm" }
[instruments.gauge]
resolution = "0.01 inHg"
uncertainty = "0.05 inHg"
due = 2030-01-01
"#;

#[test]
fn cycles_read_in_inches_of_mercury_of_vacuum_give_residual_oxygen_and_step() {
    let bench = Bench::new();
    let (mut log, mut state, mut second) = ("time_s,Antechamber (inHg vacuum)\n".to_owned(), 1, 0);
    let mut read = |left: f64, count: usize| {
        for _ in 0..count {
            writeln!(log, "{second},{:.2}", 29.92 - left + 0.02 * jitter(&mut state)).unwrap();
            second += 2;
        }
    };
    read(29.92, 20);
    for _ in 0..3 {
        for i in 0..120 {
            read(0.92 + 29.0 * (-f64::from(i) / 12.0).exp(), 1);
        }
        read(0.92, 30);
        for i in 1..=20 {
            read(0.92 + 29.0 * f64::from(i) / 20.0, 1);
        }
        read(29.92, 20);
    }
    bench.write("cycles.csv", log);
    let test = r#"
[[test]]
id = "cycles"
method = "antechamber"
files = ["cycles.csv"]
target = "1 ppm"
[test.columns]
antechamber_pressure = { column = "Antechamber (inHg vacuum)", unit = "inHg vacuum", instrument = "gauge" }
[test.format]
elapsed_unit = "s"
"#;
    bench.write("plan.toml", format!("{ENCLOSURE}{test}"));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json", "--out", "dossier"]);
    assert_eq!(run.code, 0, "{run:?}");
    let results = &run.json()["tests"][0]["results"];
    assert_eq!(results["cycle_count"]["value"], 3.0);
    let residual = &results["residual_oxygen"];
    // By dilution 6.08 ppm, 1 ppm with the backfill gas, and what may have leaked in: a hold of a minute shows no leak
    // on a gauge of 0.01 inHg.
    assert_eq!([&residual["kind"], &residual["interval95"][0]], [&json!("upper_bound"), &json!(null)]);
    let end = |name: &str| results[name]["interval95"][1].as_f64().unwrap();
    assert!((7.1..400.0).contains(&end("residual_oxygen")), "{residual}");
    let share = end("oxygen_step") / end("residual_oxygen");
    assert!((share / (0.038 / 0.958) - 1.0).abs() < 0.02, "{share}");
    let notes = run.json()["tests"][0]["notes"].to_string();
    assert!(notes.contains("a leak below what the record resolves"), "{notes}");
    let page = bench.read("dossier/dossier.html");
    assert!(page.contains("Cycles of the antechamber"));
    assert!(page.contains("can implode") && !page.contains("burns for hours"), "the cautions are those of this work");
}

#[test]
fn a_hold_parts_the_leak_from_what_the_walls_give_off() {
    let bench = Bench::new();
    let (mut log, mut state) = ("time_s,Antechamber (Pa)\n".to_owned(), 7);
    for i in 0..720 {
        let t = 10.0 * f64::from(i);
        // 2e-4 Pa m3/s into 38 L, and walls that give off 30 Pa with a time constant of 10 min.
        let pressure = 20.0 + 2e-4 / 0.038 * t + 30.0 * (1.0 - (-t / 600.0).exp());
        writeln!(log, "{t},{:.2}", pressure + 0.6 * jitter(&mut state)).unwrap();
    }
    bench.write("hold.csv", log);
    let test = r#"
[[test]]
id = "hold"
method = "vacuum-hold"
files = ["hold.csv"]
[test.columns]
antechamber_pressure = { column = "Antechamber (Pa)", unit = "Pa absolute" }
[test.format]
elapsed_unit = "s"
"#;
    bench.write("plan.toml", format!("{ENCLOSURE}{test}"));
    let result = bench.qualified("plan.toml", 0);
    let leak = &result["tests"][0]["results"]["leak_throughput"];
    let end = |index: usize| leak["interval95"][index].as_f64().unwrap();
    assert!(end(0) < 2e-4 && 2e-4 < end(1) && (leak["value"].as_f64().unwrap() / 2e-4 - 1.0).abs() < 0.1, "{leak}");
    assert_eq!(leak["unit"], "Pa.m3/s");
    assert!(leak["at"].as_str().unwrap().starts_with("-101"), "{leak}");
    assert_eq!(result["tests"][0]["gas"], "air");
}

#[test]
fn a_record_of_pumping_alone_is_refused_with_what_to_do() {
    let bench = Bench::new();
    let mut log = "time_s,Antechamber (Pa)\n".to_owned();
    for i in 0..200 {
        writeln!(log, "{},{:.3}", 2 * i, 1e5 * (-f64::from(i) / 15.0).exp() + 50.0 * (-f64::from(i) / 60.0).exp())
            .unwrap();
    }
    bench.write("pump.csv", log);
    let test = r#"
[[test]]
id = "hold"
method = "vacuum-hold"
files = ["pump.csv"]
[test.columns]
antechamber_pressure = { column = "Antechamber (Pa)", unit = "Pa absolute" }
[test.format]
elapsed_unit = "s"
"#;
    bench.write("plan.toml", format!("{ENCLOSURE}{test}"));
    let run = bench.run(&["qualify", "plan.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("was being pumped, not held") && run.stderr.contains("shut the pump off"), "{run:?}");
}

#[test]
fn a_metered_flow_gives_leak_rate_band_and_gas_use() {
    let bench = Bench::new();
    let (mut log, mut state) =
        ("time_s,dP (Pa),make-up total (L),gas temperature (°C),room pressure (hPa)\n".to_owned(), 3);
    for i in 0..1440 {
        let t = 20.0 * f64::from(i);
        // 1e-3 1/h of 0.92 m3 is 0.92 L/h; nothing else moves.
        let total = 12.0 + 0.92 * t / 3600.0;
        writeln!(
            log,
            "{t},{:.1},{total:.4},{:.3},1013.25",
            500.0 + 2.0 * jitter(&mut state),
            22.0 + 0.01 * jitter(&mut state)
        )
        .unwrap();
    }
    bench.write("make-up.csv", log);
    let test = r#"
[[test]]
id = "held"
method = "make-up"
files = ["make-up.csv"]
reference_pressure = "1000 Pa"
band = ["450 Pa", "550 Pa"]
[test.columns]
makeup_total = { column = "make-up total (L)", unit = "L" }
[test.format]
elapsed_unit = "s"
"#;
    bench.write("plan.toml", format!("{ENCLOSURE}{test}"));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let results = &run.json()["tests"][0]["results"];
    let value = |name: &str| results[name]["value"].as_f64().unwrap_or_else(|| panic!("{name}: {results}"));
    // Twice the pressure, twice the rate.
    assert!((value("hourly_leak_rate") / 2e-3 - 1.0).abs() < 0.02, "{results}");
    assert!((value("makeup_flow_mean") / 0.92e-3 - 1.0).abs() < 1e-3);
    assert!((value("gas_use") / 0.02208 - 1.0).abs() < 1e-3);
    assert!((value("pressure_share_within") - 1.0).abs() < 1e-12);
}

/// Volts of a gauge that shows the logarithm of the pressure: 1 V at 1 Pa, 1 V more a decade.
fn volts(pressure_pa: f64) -> f64 {
    1.0 + pressure_pa.log10()
}

#[test]
fn a_gauge_in_volts_is_read_by_the_table_that_the_plan_states() {
    let bench = Bench::new();
    let (mut log, mut state) = ("time_s,Vacuum gauge (V)\n".to_owned(), 7);
    let mut outside = 0;
    for i in 0..900 {
        let t = 10.0 * f64::from(i);
        // The pump draws down past the lower end of the table; then 2e-4 Pa m3/s leak into 38 L.
        let pressure = if i < 100 { 0.5 + 1e5 * (-t / 60.0).exp() } else { 0.5 + 2e-4 / 0.038 * (t - 1000.0) };
        let reading = volts(pressure * (1.0 + 0.002 * jitter(&mut state)));
        outside += usize::from(!(1.0..=6.0).contains(&((1e4 * reading).round() / 1e4)));
        writeln!(log, "{t},{reading:.4}").unwrap();
    }
    bench.write("hold.csv", log);
    let test = |conversion: &str| {
        format!(
            r#"{ENCLOSURE}
[[test]]
id = "hold"
method = "vacuum-hold"
files = ["hold.csv"]
[test.columns]
antechamber_pressure = {{ column = "Vacuum gauge (V)", unit = "V", {conversion} }}
[test.format]
elapsed_unit = "s"
"#
        )
    };
    let table =
        r#"conversion = [["1 V", "1 Pa"], ["3 V", "1 hPa"], ["6 V", "100 kPa"]], interpolation = "logarithmic""#;
    bench.write("plan.toml", test(table));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = &run.json()["tests"][0];
    let leak = &result["results"]["leak_throughput"];
    let end = |index: usize| leak["interval95"][index].as_f64().unwrap();
    assert!(end(0) < 2e-4 && 2e-4 < end(1) && (leak["value"].as_f64().unwrap() / 2e-4 - 1.0).abs() < 0.1, "{leak}");
    let first = &result["set_aside"][0];
    assert_eq!(*first, json!({ "reason": "signal outside the conversion table", "count": outside }));
    assert_eq!(result["rows_read"], 900);
    assert!(outside > 10);

    let refused = [
        (r#"conversion = [["1 V", "1 Pa"], ["2 V", "3 Pa"], ["3 V", "2 Pa"]]"#, "they must rise throughout"),
        (r#"conversion = [["1 V", "1 Pa"]]"#, "at least two pairs"),
        (r#"conversion = [["1 V", "1 Pa"], ["2 V", "3 K"]]"#, "a voltage and a pressure"),
        (r#"conversion = [["1 V", "0 Pa"], ["2 V", "3 Pa"]], interpolation = "logarithmic""#, "values above zero"),
        (r#"conversion = [["1 V", "1 Pa"], ["2 V", "3 Pa"]], interpolation = "cubic""#, "linear, logarithmic"),
        (r#"conversion = "see the manual""#, "pairs of signal and pressure"),
    ];
    for (conversion, words) in refused {
        bench.write("wrong.toml", test(conversion));
        let run = bench.run(&["qualify", "wrong.toml"]);
        assert_eq!(run.code, 2, "{run:?}");
        assert!(run.stderr.contains(words), "{words}: {}", run.stderr);
    }
}
