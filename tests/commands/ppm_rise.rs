//! Oxygen that comes in while the purifier is off, from an export to a verdict.

use crate::support::Bench;

/// Oxygen of room air at 42 % relative humidity and 22 °C: 20.939 % of what is not water (CIPM-2007, from memory).
const AIR_PPM: f64 = 207_100.0;

/// Twelve hours at −250 Pa: 18 ppm/h of oxygen, a reading every minute, steps of 0.1 ppm, a start below the reporting
/// limit.
fn export() -> String {
    let mut text = String::from("time;O2 [ppm];Δp [Pa]\n");
    // A fixed sequence stands in for noise of ±0.2 ppm.
    let mut state = 1u64;
    for minute in 0..720u32 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let noise = ((state >> 40) as f64 / f64::from(1u32 << 24) - 0.5) * 0.4;
        // The room's air holds 207 000 ppm of oxygen: the rise slows as the content grows.
        let rise = AIR_PPM * (1.0 - (-18.0 * f64::from(minute) / 60.0 / AIR_PPM).exp());
        let oxygen = 0.05 + rise + noise;
        let oxygen = if oxygen < 0.5 { "<0,5".to_owned() } else { format!("{oxygen:.1}").replace('.', ",") };
        text.push_str(&format!("2026-05-06 {:02}:{:02}:00;{oxygen};-250\n", 8 + minute / 60, minute % 60));
    }
    text
}

const PLAN: &str = r#"tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = "0.92 m3"
[room]
pressure = "1013 hPa"
temperature = "22 °C"
relative_humidity = "42 %"
time_zone = "Europe/Vienna"
[instruments.o2]
resolution = "0.1 ppm"
uncertainty = "0.1 ppm"
reporting_limit = "0.5 ppm"
response = "t90 20 s"
[[test]]
id = "overnight"
method = "ppm-rise"
files = ["rise.csv"]
[test.columns]
oxygen = { column = "O2 [ppm]", unit = "ppm", instrument = "o2" }
gauge_pressure = { column = "Δp [Pa]", unit = "Pa" }
[[limit]]
quantity = "oxygen_ingress"
max = "30 ppm/h"
"#;

fn bench() -> Bench {
    let bench = Bench::new();
    bench.write("rise.csv", export());
    bench.write("plan.toml", PLAN);
    bench
}

#[test]
fn a_steady_ingress_is_found_within_its_interval_and_judged() {
    let run = bench().run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    let ingress = &result["tests"][0]["results"]["oxygen_ingress"];
    let end = |index: usize| ingress["interval95"][index].as_f64().unwrap();
    assert!(end(0) < 18.0 && 18.0 < end(1), "{ingress}");
    assert!(end(1) - end(0) < 0.5, "{ingress}");
    assert_eq!(ingress["unit"], "ppm/h");
    assert_eq!(ingress["at"], "-250 Pa");
    // The standard's formula divides by 20 %: 18 ppm/h over 0.20 is 9e-5 1/h.
    let rate = result["tests"][0]["results"]["hourly_leak_rate_oxygen_method"]["value"].as_f64().unwrap();
    assert!((rate / 9e-5 - 1.0).abs() < 0.02, "{rate}");
    assert_eq!(result["verdicts"][0]["verdict"], "pass");
}

#[test]
fn a_limit_below_the_ingress_fails() {
    let bench = bench();
    bench.write("plan.toml", PLAN.replace("30 ppm/h", "15 ppm/h"));
    assert_eq!(bench.run(&["qualify", "plan.toml"]).code, 1);
}

#[test]
fn a_pressure_beyond_the_rated_one_is_refused_for_a_run_too() {
    let bench = bench();
    let plan = PLAN.replace("volume = ", "rated_pressure = [\"-200 Pa\", \"200 Pa\"]\nvolume = ");
    bench.write("plan.toml", plan.replace("method = ", "pressure = \"-250 Pa\"\nmethod = "));
    let run = bench.run(&["qualify", "plan.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("beyond the rated pressure"), "{}", run.stderr);
}

/// Ten hours at +250 Pa held with 0.05 volumes of make-up an hour, counted by a meter; 6 ppm/h of oxygen.
fn diluted_export() -> String {
    let mut text = String::from("time,O2 (ppm),Make-up total (L)\n");
    let mut state = 7u64;
    for minute in 0..600u32 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let noise = ((state >> 40) as f64 / f64::from(1u32 << 24) - 0.5) * 0.2;
        let hours = f64::from(minute) / 60.0;
        let balance = 6.0 / 0.05 + 1.0;
        let oxygen = balance + (2.0 - balance) * (-0.05 * hours).exp() + noise;
        let total = 920.0 * 0.05 * hours;
        text.push_str(&format!("2026-05-06T{:02}:{:02}:00Z,{oxygen:.2},{total:.3}\n", 8 + minute / 60, minute % 60));
    }
    text
}

const DILUTED_PLAN: &str = r#"tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = { value = "0.92 m3", uncertainty = "2 %" }
[room]
pressure = "1013 hPa"
[supply]
oxygen = { value = "1 ppm", uncertainty = "0.5 ppm" }
[[test]]
id = "over"
method = "ppm-rise"
files = ["rise.csv"]
pressure = "250 Pa"
"#;

#[test]
fn make_up_that_a_meter_counted_is_taken_for_dilution() {
    let bench = Bench::new();
    bench.write("rise.csv", diluted_export());
    bench.write("plan.toml", DILUTED_PLAN);
    let result = bench.run(&["qualify", "plan.toml", "--format", "json"]).json();
    let ingress = &result["tests"][0]["results"]["oxygen_ingress"];
    let end = |index: usize| ingress["interval95"][index].as_f64().unwrap();
    assert!(end(0) < 6.0 && 6.0 < end(1) && end(1) - end(0) < 1.0, "{ingress}");
    let budget = ingress["budget"].to_string();
    assert!(budget.contains("flow of the gas fed in") && budget.contains("purity of the gas fed in"), "{budget}");
}

#[test]
fn a_pressure_held_above_the_room_is_made_up_for_without_a_meter_too() {
    let bench = Bench::new();
    bench.write("rise.csv", diluted_export().replace("Make-up total (L)", "remark"));
    bench.write("plan.toml", DILUTED_PLAN);
    let result = bench.run(&["qualify", "plan.toml", "--format", "json"]).json();
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("gas fed in replaced what leaked out: somewhere between nothing and"), "{notes}");
}

/// The run with an analyser whose range ends at 150 ppm, after some eight of the twelve hours.
fn clipped() -> String {
    let clip = |line: &str| {
        let cells: Vec<&str> = line.split(';').collect();
        match cells[1].replace(',', ".").parse::<f64>() {
            Ok(ppm) if ppm > 150.0 => format!("{};150,0;{}\n", cells[0], cells[2]),
            _ => format!("{line}\n"),
        }
    };
    export().lines().map(clip).collect()
}

#[test]
fn an_analyser_at_the_end_of_a_range_that_nobody_stated_makes_the_run_not_valid() {
    let bench = bench();
    bench.write("rise.csv", clipped());
    let test = &bench.qualified("plan.toml", 4)["tests"][0];
    assert_eq!(test["valid"], false);
    let problem = test["problems"][0].as_str().unwrap();
    for part in ["rise.csv: oxygen stands at 150 ppm", "the end of the instrument's range", "to 2026-05-06T17:59:00Z"] {
        assert!(problem.contains(part), "{part}: {problem}");
    }
    assert!(problem.contains("state range = [\"0 ppm\", \"150 ppm\"] in [instruments.o2]"), "{problem}");
}

#[test]
fn a_range_stated_finer_than_the_display_bounds_the_readings_that_stop_a_step_below_it() {
    let bench = bench();
    bench.write("rise.csv", clipped());
    bench.write(
        "plan.toml",
        PLAN.replace("response = \"t90 20 s\"", "response = \"t90 20 s\"\nrange = [\"0 ppm\", \"150.04 ppm\"]"),
    );
    let test = &bench.qualified("plan.toml", 0)["tests"][0];
    assert_eq!(test["valid"], true, "{test}");
    let interval = &test["results"]["oxygen_ingress"]["interval95"];
    let (low, high) = (interval[0].as_f64().unwrap(), interval[1].as_f64().unwrap());
    assert!(low <= 18.0 && 18.0 <= high && high - low < 1.0, "{interval}");
}
