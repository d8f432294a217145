//! The same enclosure with different boundaries: where the leak is.

use crate::support::Bench;

/// The demo's two holds as two boundaries: alone, and with the leaky part open to it.
fn bench() -> Bench {
    let bench = Bench::with_demo();
    let leaky = bench.read("leaky.toml");
    let start = leaky.find("[[test]]").unwrap();
    let plan = leaky[..start].to_owned()
        + r#"
[[test]]
id = "where"
method = "pressure-change-series"
reference_pressure = "-1000 Pa"
[[test.run]]
boundary = "alone"
files = ["tight.csv"]
[[test.run]]
boundary = "with purifier loop"
files = ["leaky-enclosure.csv", "leaky-barometer.csv"]
[test.columns]
gauge_pressure = { column = "Differenzdruck [Pa]", instrument = "gauge", file = "leaky-enclosure.csv" }
[test.format."leaky-barometer.csv"]
time = "%m/%d/%Y %I:%M:%S %p"
[[limit]]
set = "ISO 10648-2 class 1"
"#;
    bench.write("series.toml", plan);
    bench
}

#[test]
fn a_series_gives_each_boundary_and_their_difference() {
    let run = bench().run(&["qualify", "series.toml", "--format", "json"]);
    assert_eq!(run.code, 1, "{run:?}");
    let result = run.json();
    let test = &result["tests"][0];
    let rate = |name: &str| {
        let result = &test["results"][name];
        (
            result["value"].as_f64().unwrap_or_else(|| panic!("{name}: {test}")),
            result["standard_uncertainty"].as_f64().unwrap(),
        )
    };
    let (alone, u_alone) = rate("hourly_leak_rate[alone]");
    let (with, u_with) = rate("hourly_leak_rate[with purifier loop]");
    let (difference, u) = rate("hourly_leak_rate[with purifier loop]-[alone]");
    assert!((difference - (with - alone)).abs() < 0.3 * u, "{difference} is not {with} − {alone}");
    assert!(u <= 1.05 * u_alone.hypot(u_with), "{u} {u_alone} {u_with}");
    assert_eq!(test["runs"][1]["boundary"], "with purifier loop");
    assert_eq!(
        test["rows_read"].as_u64(),
        Some(test["rows_used"].as_u64().unwrap() + test["rows_set_aside"].as_u64().unwrap())
    );
}

#[test]
fn a_limit_is_judged_in_every_run_of_a_series() {
    let run = bench().run(&["qualify", "series.toml", "--format", "json", "--out", "dossier"]);
    let verdicts = run.json()["verdicts"].clone();
    let found: Vec<_> =
        verdicts.as_array().unwrap().iter().map(|v| (v["run"].as_str(), v["verdict"].as_str())).collect();
    assert_eq!(found, [(Some("alone"), Some("pass")), (Some("with purifier loop"), Some("fail"))]);
}

#[test]
fn a_run_of_a_series_without_files_is_a_mistake_of_the_plan() {
    let bench = bench();
    bench.write("series.toml", bench.read("series.toml").replace("files = [\"tight.csv\"]\n", ""));
    let run = bench.run(&["qualify", "series.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("has no \"files\""), "{}", run.stderr);
}
