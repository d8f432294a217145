//! Clean-up from an export to results and verdict.

use crate::support::{Bench, normal};

/// Time constant 90 s, floor 0.4 ppm, dose of 40 ppm at 60 s; the analyser lags by 9 s (t90 20.7 s); noise 0.02 ppm.
fn log(seed: u32) -> String {
    let mut text = "time_s,O2 (ppm)\n".to_owned();
    let mut state = seed.wrapping_mul(2_654_435_761).wrapping_add(12_345);
    for i in 0..240 {
        let t = f64::from(i) * 5.0;
        let since = t - 60.0;
        let shown = if since <= 0.0 { 0.0 } else { ((-since / 90.0).exp() - (-since / 9.0).exp()) / (1.0 - 0.1) };
        text += &format!("{t},{:.3}\n", 0.4 + 40.0 * shown + 0.02 * normal(&mut state));
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
    const LOGS: u32 = 10;
    // V/τ = 0.92 m³/90 s = 36.8 m³/h; 36.8/46 = 0.8; 90 s·ln(40/0.6) = 378 s from the dose on.
    let truths = [
        ("time_constant", 90.0, "s"),
        ("floor", 0.4, "ppm"),
        ("cleanup_flow", 36.8, "m3/h"),
        ("single_pass_efficiency", 0.8, "1"),
        ("time_to_limit", 90.0 * (40.0_f64 / 0.6).ln(), "s"),
    ];
    let mut missed = [0; 5];
    for seed in 1..=LOGS {
        let bench = Bench::new();
        bench.write("dose.csv", log(seed));
        bench.write("plan.toml", PLAN);
        let result = bench.qualified("plan.toml", 0);
        let test = &result["tests"][0];
        for ((name, truth, unit), missed) in truths.iter().zip(&mut missed) {
            let found = &test["results"][name];
            let [low, high] = [0, 1].map(|i| found["interval95"][i].as_f64().unwrap());
            *missed += u32::from(!(low..=high).contains(truth));
            assert!(high - low < 0.4 * truth, "{name}: {low} to {high}");
            assert_eq!(found["unit"], *unit);
        }
        // Floor over time constant: 0.4 ppm in 90 s are 16 ppm/h.
        let ingress = &test["results"]["implied_ingress"];
        assert_eq!(ingress["kind"], "upper_bound");
        assert!((14.0..22.0).contains(&ingress["interval95"][1].as_f64().unwrap()), "{ingress}");
        let counts = ["rows_read", "rows_used", "rows_set_aside"].map(|key| test[key].as_u64().unwrap());
        assert_eq!(counts[0], 240);
        assert_eq!(counts[0], counts[1] + counts[2]);
        assert_eq!(result["overall"], "pass");
    }
    // Four or more of ten intervals of 95 % miss with a probability of 0.1 %.
    assert!(missed.iter().all(|missed| *missed <= 3), "{truths:?} {missed:?}");
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

/// In a record that begins after the dose nothing but the statement tells the analyser's response from the time constant.
#[test]
fn without_a_stated_response_and_a_rise_the_interval_is_wider_and_says_why() {
    let bench = Bench::new();
    let whole = log(1);
    let lines: Vec<&str> = whole.lines().collect();
    let after = [&lines[..1], &lines[23..]].concat().join("\n");
    bench.write("dose.csv", after);
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
