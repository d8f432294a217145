//! Endurance run, analyser check and regeneration from an export to results and verdict.

use std::fmt::Write;

use crate::support::{Bench, jitter};

fn holds(result: &serde_json::Value, name: &str, truth: f64) {
    let found = &result[name];
    let (low, high) = (found["interval95"][0].as_f64().unwrap(), found["interval95"][1].as_f64().unwrap());
    assert!(low <= truth && truth <= high, "{name}: {truth} outside {found}");
}

/// A day at 0.5 ppm; a transfer at 10 h to 4 ppm over it that comes down with 600 s; the purifier off from 20 h to 21 h.
fn endurance() -> String {
    let mut text = "time_s,O2 (ppm),Purifier on,Transfer\n".to_owned();
    let mut state = 7;
    for i in 0..1440 {
        let t = f64::from(i) * 60.0;
        // Ten seconds after a reading; by the next the analyser (t90 5 s) lags by its 2.2 s alone.
        let since = t - 36_010.0;
        let dose = if since >= 0.0 { 3.5 * (-(since - 2.2) / 600.0).exp() } else { 0.0 };
        let off = (72_000.0..75_600.0).contains(&t);
        let rise = if off { 3.0 } else { 0.0 };
        let reading = 0.5 + dose + rise + 0.04 * jitter(&mut state);
        writeln!(text, "{t},{reading:.3},{},{}", u8::from(!off), u8::from((-60.0..60.0).contains(&since))).unwrap();
    }
    text
}

const ENDURANCE: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
[instruments.trace]
uncertainty = "0.02 ppm"
response = "t90 5 s"
due = 2030-01-01
[[test]]
id = "day"
method = "endurance"
files = ["day.csv"]
target = "1 ppm"
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "trace" }
purifier_on = "Purifier on"
transfer = "Transfer"
[test.format]
elapsed_unit = "s"
[[limit]]
quantity = "oxygen_share_within"
min = "95 %"
[[limit]]
quantity = "oxygen_max"
max = "10 ppm"
"#;

#[test]
fn an_analyser_at_the_end_of_its_range_gives_a_largest_content_that_is_at_least_that() {
    let bench = Bench::new();
    // The contents rise all day, and the range ends at 5 ppm.
    let (mut log, mut state) = ("time_s,O2 (ppm)\n".to_owned(), 3);
    for minute in 0..1440 {
        let ppm = 0.5 + 0.005 * f64::from(minute) + 0.04 * jitter(&mut state);
        writeln!(log, "{},{:.2}", minute * 60, ppm.min(5.0)).unwrap();
    }
    bench.write("day.csv", log);
    let without = ENDURANCE.replace("purifier_on = \"Purifier on\"\ntransfer = \"Transfer\"\n", "");
    bench.write("plan.toml", without);
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    let test = &run.json()["tests"][0];
    assert_eq!(test["results"]["oxygen_max"]["kind"], "lower_bound", "{test}");
    let notes = test["notes"].to_string();
    assert!(notes.contains("it counts as at least that; state range = "), "{notes}");
}

#[test]
fn a_day_gives_largest_content_and_share_with_the_transfer_and_without() {
    let bench = Bench::new();
    bench.write("day.csv", endurance());
    bench.write("plan.toml", ENDURANCE);
    let result = bench.qualified("plan.toml", 0);
    let test = &result["tests"][0];
    holds(&test["results"], "oxygen_max", 4.0);
    // Above 1 ppm until 600 s·ln(3.5/0.5) = 1167.5 s after the dose, of 23 h observed.
    holds(&test["results"], "oxygen_share_within", 1.0 - 1167.5 / 82_800.0);
    let aside = test["set_aside"].as_array().unwrap();
    assert!(aside.iter().any(|line| line["reason"] == "purifier off" && line["count"] == 60), "{aside:?}");
    let notes = test["notes"].to_string();
    assert!(notes.contains("1 short excursions") && notes.contains("1 marked"), "{notes}");
}

#[test]
fn a_word_under_transfer_marks_it_as_a_number_does() {
    let bench = Bench::new();
    let words = |line: &str| match line.rsplit_once(',') {
        Some((row, "1")) => format!("{row},glove box parts in\n"),
        Some((row, "0")) => format!("{row},\n"),
        _ => format!("{line}\n"),
    };
    bench.write("day.csv", endurance().lines().map(words).collect::<String>());
    bench.write("plan.toml", ENDURANCE.replace("transfer = \"Transfer\"\n", ""));
    let result = bench.qualified("plan.toml", 0);
    let test = &result["tests"][0];
    assert_eq!((&test["rows_read"], &test["rows_used"]), (&1440.into(), &1380.into()));
    let notes = test["notes"].to_string();
    assert!(notes.contains("1 short excursions") && notes.contains("1 marked"), "{notes}");
}

/// 0 ppm, 50 ppm, 0 ppm, each for 10 min; the analyser shows 1.02·x + 0.2 ppm with t90 of 23.03 s.
fn check() -> String {
    let mut text = "time_s,O2 (ppm)\n".to_owned();
    let mut state = 3;
    for i in 0..900 {
        let t = f64::from(i) * 2.0;
        let follow = |s: f64| 1.0 - (-s / 10.0).exp();
        let x = if t < 601.0 {
            0.0
        } else if t < 1201.0 {
            50.0 * follow(t - 601.0)
        } else {
            50.0 * (1.0 - follow(t - 1201.0))
        };
        writeln!(text, "{t},{:.3}", 1.02 * x + 0.2 + 0.1 * jitter(&mut state)).unwrap();
    }
    text
}

const CHECK: &str = r#"
[[test]]
id = "check"
method = "analyser-check"
files = ["check.csv"]
[[test.step]]
content = "0 ppm"
[[test.step]]
content = { value = "50 ppm", uncertainty = "1 %" }
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "trace" }
[test.format]
elapsed_unit = "s"
"#;

#[test]
fn a_check_gives_errors_and_response_and_is_said_in_the_tests_that_used_the_analyser() {
    let bench = Bench::new();
    bench.write("day.csv", endurance());
    bench.write("check.csv", check());
    bench.write("plan.toml", format!("{ENDURANCE}{CHECK}"));
    let result = bench.qualified("plan.toml", 0);
    let found = &result["tests"][1]["results"];
    holds(found, "zero_error", 0.2);
    holds(found, "span_error", 1.2);
    holds(found, "response_t90", 23.026);
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("the check \\\"check\\\" of trace found a zero error of"), "{notes}");
}

#[test]
fn the_zero_error_that_a_check_found_is_taken_off_in_the_other_tests() {
    let bench = Bench::new();
    bench.write("day.csv", endurance());
    bench.write("check.csv", check());
    bench.write("plan.toml", format!("{ENDURANCE}{CHECK}"));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json", "--out", "dossier"]);
    let result = run.json();
    holds(&result["tests"][0]["results"], "oxygen_max", 4.0 - 0.2);
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("the zero error of trace, 0.2") && notes.contains("is taken off here"), "{notes}");
    assert_eq!(bench.run(&["recheck", "dossier"]).code, 0);
}

#[test]
fn a_zero_check_in_the_plan_wins_over_what_a_check_found() {
    let bench = Bench::new();
    bench.write("day.csv", endurance());
    bench.write("check.csv", check());
    let stated = ENDURANCE.replace("response =", "zero_check = { value = \"1 ppm\" }\nresponse =");
    bench.write("plan.toml", format!("{stated}{CHECK}"));
    let result = bench.run(&["qualify", "plan.toml", "--format", "json"]).json();
    holds(&result["tests"][0]["results"], "oxygen_max", 4.0 - 1.0);
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("is not taken off here: the plan states its zero_check"), "{notes}");
}

/// A zero gas before and one after, ten hours apart: 0.1 ppm and 0.3 ppm are read.
fn check_before_and_after() -> String {
    let mut text = "time,O2 (ppm)\n".to_owned();
    let mut state = 5;
    for (hour, minutes, content, reading) in [(8, 20, 0.0, 0.1), (8, 40, 50.0, 50.2), (18, 20, 0.0, 0.3)] {
        for i in 0..120 {
            let (minute, second) = (minutes - 20 + i / 6, 10 * (i % 6));
            let shown = reading + 0.02 * jitter(&mut state) * (1.0 + content / 50.0);
            writeln!(text, "2026-05-04T{hour:02}:{minute:02}:{second:02}Z,{shown:.3}").unwrap();
        }
    }
    text
}

#[test]
fn a_zero_that_moved_between_two_checks_bounds_the_drift() {
    let bench = Bench::new();
    bench.write("day.csv", endurance());
    bench.write("check.csv", check_before_and_after());
    bench.write("plan.toml", format!("{ENDURANCE}{}", CHECK.replace("[test.format]\nelapsed_unit = \"s\"\n", "")));
    let result = bench.run(&["qualify", "plan.toml", "--format", "json"]).json();
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("it moved by 0.2") && notes.contains("counts as the bound of its drift"), "{notes}");
    let budget = result["tests"][0]["results"]["oxygen_max"]["budget"].as_array().unwrap();
    let drift = budget.iter().find(|line| line["source"] == "analyser, drift of its zero").unwrap();
    assert!(drift["standard_uncertainty"].as_f64().unwrap() > 0.1, "{drift}");
}

/// Heated at 3 K/min from 10 min on to 210 °C and held, purged from 2 h to 3 h at 6 L/min, pumped from 5 h to 9 h.
fn regeneration() -> String {
    let mut text = "time_s;Vessel temperature (°C);Regeneration flow (L/min);Vessel pressure (kPa abs)\n".to_owned();
    let mut state = 11;
    for i in 0..1800 {
        let t = f64::from(i) * 20.0;
        let hot = (22.0 + (t - 600.0).max(0.0) * 0.05).min(210.0);
        let flow = if (7205.0..10_805.0).contains(&t) { 6.0 } else { 0.0 };
        let pumped = t - 18_000.0;
        let pressure = if (0.0..14_400.0).contains(&pumped) { 0.2 + 101.1 * (-pumped / 120.0).exp() } else { 101.3 };
        writeln!(
            text,
            "{t};{:.2};{:.3};{pressure:.3}",
            hot + 0.2 * jitter(&mut state),
            flow + 0.1 + 0.02 * jitter(&mut state)
        )
        .unwrap();
    }
    text
}

const REGENERATION: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = { value = "0.92 m3", uncertainty = "2 %" }
[enclosure.purifier]
oxygen_capacity = "30 L"
[room]
pressure = "1013 hPa"
temperature = "22 °C"
[instruments.thermometer]
uncertainty = "0.5 K"
due = 2030-01-01
[instruments.meter]
uncertainty = "2 % of reading"
reference = { temperature = "0 °C", pressure = "101325 Pa" }
due = 2030-01-01
[instruments.gauge]
uncertainty = "100 Pa"
due = 2030-01-01
[[test]]
id = "bed"
method = "regeneration"
files = ["bed.csv"]
plateau = "200 °C"
hydrogen_fraction = "4 %"
evacuated_below = "10 kPa"
required = { heating = "3 h", purge = "50 min", evacuation = "5 h" }
oxygen_ingress = { value = "0.5 ppm/h", uncertainty = "5 %" }
since_last = "60 d"
[test.columns]
vessel_temperature = { column = "Vessel temperature (°C)", unit = "°C", instrument = "thermometer" }
regeneration_flow = { column = "Regeneration flow (L/min)", unit = "L/min", instrument = "meter" }
vessel_pressure = { column = "Vessel pressure (kPa abs)", unit = "kPa absolute", instrument = "gauge" }
[test.format]
elapsed_unit = "s"
"#;

#[test]
fn a_regeneration_is_held_against_its_required_durations() {
    let bench = Bench::new();
    bench.write("bed.csv", regeneration());
    bench.write("plan.toml", REGENERATION);
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    // The evacuation is shorter than the 5 h that the plan requires.
    assert_eq!(run.code, 1, "{run:?}");
    let result = run.json();
    let test = &result["tests"][0];
    let found = &test["results"];
    // 200 °C is reached after 178 K; 10 kPa after 120 s·ln(101.1/9.8).
    let evacuated_s = 18_000.0 + 120.0 * (101.1_f64 / 9.8).ln();
    holds(found, "heating_time", evacuated_s - 600.0 - 178.0 / 0.05);
    holds(found, "purge_time", 3600.0);
    holds(found, "evacuation_time", 32_400.0 - evacuated_s);
    // 0.36 m³ at 0 °C and 101.325 kPa, 44.615 mol/m³, 4 %.
    holds(found, "hydrogen_dose", 0.36 * 44.615 * 0.04);
    holds(found, "oxygen_capacity_restored", 0.5 * 0.36 * 44.615 * 0.04);
    let verdicts = result["verdicts"].as_array().unwrap();
    let verdict = |name: &str| verdicts.iter().find(|v| v["quantity"] == name).unwrap()["verdict"].clone();
    assert_eq!([verdict("heating_time"), verdict("purge_time"), verdict("evacuation_time")], ["pass", "pass", "fail"]);
    let notes = test["notes"].to_string();
    // 4 % of hydrogen burns in argon, where 3.1 % is the most that does not.
    assert!(notes.contains("can burn in air") && notes.contains("3.1 %"), "{notes}");
    assert!(notes.contains("since the last regeneration"), "{notes}");
}

/// Twelve hours with the purifier off: 0.5 ppm/h.
fn rise() -> String {
    let mut text = "time_s,O2 (ppm)\n".to_owned();
    let mut state = 9;
    for i in 0..720 {
        let t = f64::from(i) * 60.0;
        writeln!(text, "{t},{:.4}", 1.0 + 0.5 * t / 3600.0 + 0.004 * jitter(&mut state)).unwrap();
    }
    text
}

#[test]
fn the_load_comes_from_a_rise_test_where_the_plan_states_none() {
    let bench = Bench::new();
    bench.write("bed.csv", regeneration());
    bench.write("rise.csv", rise());
    let line = "oxygen_ingress = { value = \"0.5 ppm/h\", uncertainty = \"5 %\" }\n";
    assert!(REGENERATION.contains(line));
    let rising = r#"
[[test]]
id = "night"
method = "ppm-rise"
files = ["rise.csv"]
pressure = "-100 Pa"
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm" }
[test.format]
elapsed_unit = "s"
"#;
    bench.write("plan.toml", format!("{}{rising}", REGENERATION.replace(line, "")));
    let result = bench.run(&["qualify", "plan.toml", "--format", "json"]).json();
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("the load is the oxygen ingress that \\\"night\\\" found, 0.50"), "{notes}");
    assert!(notes.contains("in the 60 days since the last regeneration"), "{notes}");
}

#[test]
fn the_upkeep_demo_passes_with_the_zero_error_of_its_analyser_taken_off() {
    let run = Bench::with_demo().run(&["qualify", "upkeep.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    // What the demo's generator was given.
    holds(&result["tests"][1]["results"], "zero_error", 0.08);
    holds(&result["tests"][1]["results"], "span_error", 0.28);
    let notes = result["tests"][0]["notes"].to_string();
    assert!(notes.contains("is taken off here"), "{notes}");
}

#[test]
fn the_clean_up_demo_passes_and_holds_the_time_constant_that_it_was_made_with() {
    let run = Bench::with_demo().run(&["qualify", "clean-up.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let results = &run.json()["tests"][0]["results"];
    // What the demo's generator was given.
    holds(results, "time_constant", 65.0);
    holds(results, "floor", 0.15);
    // V over time constant and flow: 0.92 m³/(65 s · 60 m³/h).
    holds(results, "single_pass_efficiency", 0.849);
}

#[test]
fn the_antechamber_demo_passes_with_the_leak_that_its_hold_found() {
    let run = Bench::with_demo().run(&["qualify", "antechamber.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    // What the demo's generator was given, and the oxygen that it was left with.
    holds(&result["tests"][0]["results"], "leak_throughput", 1.5e-3);
    let cycles = &result["tests"][1]["results"];
    assert_eq!(cycles["cycle_count"]["value"], 3.0);
    assert_eq!(cycles["residual_oxygen"]["kind"], "estimate");
    holds(cycles, "residual_oxygen", 16.16);
}
