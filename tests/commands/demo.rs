//! The demo, all the way.

use crate::support::Bench;

/// Leak rates that the demo's generator was given, 1/h at −1000 Pa. They hold at 1013.25 hPa; the room had about
/// 972.4 hPa and 970.5 hPa when the holds began, and the definition of the hourly leak rate divides by that.
const TIGHT: f64 = 1.3e-4 * 1013.25 / 972.4;
const LEAKY: f64 = 1.6e-3 * 1013.25 / 970.5;

fn interval(result: &serde_json::Value, name: &str) -> [f64; 2] {
    let interval = &result["tests"][0]["results"][name]["interval95"];
    [interval[0].as_f64().unwrap(), interval[1].as_f64().unwrap()]
}

#[test]
fn the_tight_demo_passes_and_its_interval_holds_the_truth() {
    let run = Bench::with_demo().run(&["qualify", "tight.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    assert_eq!(result["schema"], "tightfit.result/1");
    assert_eq!(result["enclosure"], "K-12");
    assert_eq!(result["overall"], "pass");
    assert_eq!(result["verdicts"][0]["verdict"], "pass");
    assert_eq!(result["tests"][0]["valid"], true);
    assert_eq!(result["tests"][0]["gas"], "air");
    assert_eq!(result["tests"][0]["results"]["hourly_leak_rate"]["at"], "-1000 Pa");
    let [low, high] = interval(&result, "hourly_leak_rate");
    assert!(low < TIGHT && TIGHT < high, "{low} {high}");
    assert!(high - low < 0.4 * TIGHT, "the interval {low} to {high} tells too little");
}

#[test]
fn the_leaky_demo_fails_though_its_two_loggers_write_awkward_forms() {
    let run = Bench::with_demo().run(&["qualify", "leaky.toml", "--format", "json"]);
    assert_eq!(run.code, 1, "{run:?}");
    let result = run.json();
    assert_eq!(result["overall"], "fail");
    let [low, high] = interval(&result, "hourly_leak_rate");
    assert!(low < LEAKY && LEAKY < high, "{low} {high}");
}

#[test]
fn every_row_of_the_demo_is_used_or_set_aside() {
    for plan in ["tight.toml", "leaky.toml"] {
        let result = Bench::with_demo().run(&["qualify", plan, "--format", "json"]).json();
        let test = &result["tests"][0];
        let count = |key: &str| test[key].as_u64().unwrap();
        assert_eq!(count("rows_read"), count("rows_used") + count("rows_set_aside"));
        let by_reason: u64 = test["set_aside"].as_array().unwrap().iter().map(|l| l["count"].as_u64().unwrap()).sum();
        assert_eq!(count("rows_set_aside"), by_reason);
        assert!(count("rows_used") > count("rows_read") / 2, "{test}");
    }
}

#[test]
fn budget_lines_add_up_to_the_standard_uncertainty() {
    let result = Bench::with_demo().run(&["qualify", "tight.toml", "--format", "json"]).json();
    let rate = &result["tests"][0]["results"]["hourly_leak_rate"];
    let lines = rate["budget"].as_array().unwrap();
    assert!(lines.len() >= 3, "{rate}");
    let sum: f64 = lines.iter().map(|line| line["standard_uncertainty"].as_f64().unwrap().powi(2)).sum();
    let stated = rate["standard_uncertainty"].as_f64().unwrap();
    assert!((sum.sqrt() / stated - 1.0).abs() < 0.15, "{} {stated}", sum.sqrt());
}

#[test]
fn without_out_nothing_is_written() {
    let bench = Bench::with_demo();
    let before = bench.names();
    bench.run(&["qualify", "tight.toml"]);
    assert_eq!(bench.names(), before);
}

#[test]
fn the_terminal_shows_verdict_value_and_window_within_eighty_columns() {
    let run = Bench::with_demo().run(&["qualify", "tight.toml"]);
    for expected in ["PASS", "hourly leak rate", "window", "rows", "Overall     PASS"] {
        assert!(run.stdout.contains(expected), "{expected} is missing in\n{}", run.stdout);
    }
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
    assert!(!run.stdout.contains('\u{1b}'), "colour in a file");
    assert!(run.stdout.contains("(Europe/Vienna)"), "times on the clock of the plan's zone, as on the page");
    assert!(!run.stdout.contains("2026-05-"), "{}", run.stdout);
}

#[test]
fn the_dossier_is_written_whole_and_an_existing_one_is_refused() {
    let bench = Bench::with_demo();
    let first = bench.run(&["qualify", "tight.toml", "--out", "dossier", "--with-data"]);
    assert_eq!(first.code, 0, "{first:?}");
    let html = bench.read("dossier/dossier.html");
    for expected in ["K-12", "✓</span> <span>pass", "ISO 10648-2:1994, class 1", "Breathing air", "<svg"] {
        assert!(html.contains(expected), "{expected} is missing");
    }
    assert!(bench.path("dossier/dossier.json").exists());
    let again = bench.run(&["qualify", "leaky.toml", "--out", "dossier"]);
    assert_eq!(again.code, 2, "{again:?}");
    assert!(again.stderr.contains("--replace"), "{}", again.stderr);
    assert_eq!(bench.read("dossier/dossier.html"), html);
    let replaced = bench.run(&["qualify", "leaky.toml", "--out", "dossier", "--replace"]);
    assert_eq!(replaced.code, 1, "{replaced:?}");
    assert!(bench.read("dossier/dossier.html").contains("✗</span> <span>fail"));
    assert_eq!(bench.names().iter().filter(|name| name.contains("dossier")).count(), 1, "{:?}", bench.names());
}

#[test]
fn the_one_line_command_agrees_with_a_plan_without_instruments() {
    let bench = Bench::with_demo();
    let run = bench.run(&[
        "leak",
        "--volume",
        "0.92 m3",
        "--at",
        "-1000 Pa",
        "--compliance",
        "0 L/Pa",
        "tight.csv",
        "--format",
        "json",
    ]);
    assert_eq!(run.code, 0, "{run:?}");
    let [low, high] = interval(&run.json(), "hourly_leak_rate");
    assert!(low < TIGHT && TIGHT < high, "{low} {high}");
}

#[test]
fn inspect_shows_what_the_awkward_export_holds() {
    let bench = Bench::with_demo();
    let run = bench.run(&["inspect", "leaky-enclosure.csv", "--time-zone", "Europe/Vienna", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let file = &run.json()["files"][0];
    assert_eq!(file["first_time"], "2026-05-05T11:40:00Z");
    let quantity = |column: &str| {
        let columns = file["columns"].as_array().unwrap();
        columns.iter().find(|c| c["column"] == column).unwrap_or_else(|| panic!("{file}"))["quantity"].clone()
    };
    assert_eq!(quantity("Differenzdruck [Pa]"), "gauge_pressure");
    assert_eq!(quantity("Gastemperatur [°C]"), "gas_temperature");
    let text = bench.run(&["inspect", "leaky-enclosure.csv", "--time-zone", "Europe/Vienna"]).stdout;
    assert!(text.contains("  time      5 May 2026, 13:40:00 to "), "{text}");
    assert!(text.contains("(Europe/Vienna)"), "{text}");
}

#[test]
fn help_teaches_by_example_and_carries_the_cautions() {
    let bench = Bench::new();
    let help = bench.run(&["qualify", "--help"]);
    assert_eq!(help.code, 0);
    for expected in ["Examples:", "breathing air", "burst", "Exit codes"] {
        assert!(help.stdout.contains(expected), "{expected} is missing");
    }
}
