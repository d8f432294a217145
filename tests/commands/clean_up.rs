//! Clean-up from an export to results and verdict.

use crate::support::Bench;

/// Time constant 90 s, floor 0.4 ppm, dose of 40 ppm at 60 s; the analyser lags by 9 s (t90 20.7 s).
fn log() -> String {
    let mut text = "time_s,O2 (ppm)\n".to_owned();
    // A fixed jitter of a few hundredths of a ppm stands for noise.
    let mut jitter: u32 = 12_345;
    for i in 0..240 {
        let t = f64::from(i) * 5.0;
        let since = t - 60.0;
        let shown = if since <= 0.0 { 0.0 } else { ((-since / 90.0).exp() - (-since / 9.0).exp()) / (1.0 - 0.1) };
        jitter = jitter.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f64::from(jitter >> 16) / 65_536.0 - 0.5;
        text += &format!("{t},{:.3}\n", 0.4 + 40.0 * shown + 0.06 * noise);
    }
    text
}

const PLAN: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = { value = "0.92 m3", uncertainty = "2 %" }
[enclosure.purifier]
flow = { value = "46 m3/h", uncertainty = "3 %" }
[instruments.trace]
uncertainty = "0.02 ppm"
response = "t90 20.7 s"
due = 2030-01-01
[[test]]
id = "pull-down"
method = "clean-up"
files = ["dose.csv"]
target = "1 ppm"
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "trace" }
[test.format]
elapsed_unit = "s"
[[limit]]
quantity = "time_to_limit"
max = "15 min"
rule = "guarded-acceptance"
risk = "5 %"
"#;

#[test]
fn a_dose_gives_time_constant_floor_flow_efficiency_and_time_to_limit() {
    let bench = Bench::new();
    bench.write("dose.csv", log());
    bench.write("plan.toml", PLAN);
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    let test = &result["tests"][0];
    // V/τ = 0.92 m³/90 s = 36.8 m³/h; 36.8/46 = 0.8; 90 s·ln(40/0.6) = 378 s.
    let truths = [
        ("time_constant", 90.0, "s"),
        ("floor", 0.4, "ppm"),
        ("cleanup_flow", 36.8, "m3/h"),
        ("single_pass_efficiency", 0.8, "1"),
        ("time_to_limit", 378.0, "s"),
    ];
    for (name, truth, unit) in truths {
        let found = &test["results"][name];
        let [low, high] = [0, 1].map(|i| found["interval95"][i].as_f64().unwrap());
        // Coverage is the studies' business; one record must only not be off by more than four standard uncertainties.
        let [value, u] = ["value", "standard_uncertainty"].map(|key| found[key].as_f64().unwrap());
        assert!((value - truth).abs() < 4.0 * u, "{name}: {value} ± {u} is not {truth}: {run:?}");
        assert!(high - low < 0.4 * truth, "{name}: {low} to {high}");
        assert_eq!(found["unit"], unit);
    }
    let counts = ["rows_read", "rows_used", "rows_set_aside"].map(|key| test[key].as_u64().unwrap());
    assert_eq!(counts[0], 240);
    assert_eq!(counts[0], counts[1] + counts[2]);
    assert_eq!(result["overall"], "pass");
}

#[test]
fn a_record_in_which_nothing_comes_down_is_an_error_that_says_so() {
    let bench = Bench::new();
    let rising = (0..60).map(|i| format!("{},{}\n", i * 60, i)).collect::<Vec<_>>().concat();
    bench.write("dose.csv", format!("time_s,O2 (ppm)\n{rising}"));
    bench.write("plan.toml", PLAN);
    let run = bench.run(&["qualify", "plan.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("does not come down"), "{run:?}");
}

#[test]
fn without_a_stated_response_the_interval_is_wider_and_says_why() {
    let bench = Bench::new();
    bench.write("dose.csv", log());
    bench.write("plan.toml", PLAN);
    bench.write("open.toml", PLAN.replace("response = \"t90 20.7 s\"\n", ""));
    let width = |plan: &str| {
        let result = bench.run(&["qualify", plan, "--format", "json"]).json();
        let tau = &result["tests"][0]["results"]["time_constant"]["interval95"];
        tau[1].as_f64().unwrap() - tau[0].as_f64().unwrap()
    };
    assert!(width("open.toml") > width("plan.toml"));
    let text = bench.run(&["qualify", "open.toml"]).stdout;
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains("response is not stated"), "{text}");
}
