//! A long log with doses from an export to results.

use crate::support::{Bench, normal};

/// Three days read every 20 s: eight doses whose time constant grows from 600 s by 6 % a day; one reading that stands out.
fn log() -> String {
    let mut text = "time_s,O2 (ppm)\n".to_owned();
    let mut state: u32 = 7;
    let mut above = 0.0;
    for i in 0..12_960 {
        let t = f64::from(i) * 20.0;
        let tau = 600.0 * (0.06 * t / 86_400.0).exp();
        above *= (-20.0 / tau).exp();
        if i % 1600 == 500 {
            above += 25.0;
        }
        let spike = if i == 9_000 { 8.0 } else { 0.0 };
        text += &format!("{t},{:.3}\n", 0.5 + above + 0.05 * normal(&mut state) + spike);
    }
    text
}

const PLAN: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
[instruments.trace]
uncertainty = "0.02 ppm"
response = "tau 0.1 s"
due = 2030-01-01
[[test]]
id = "weeks"
method = "clean-up-series"
files = ["log.csv"]
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "trace" }
[test.format]
elapsed_unit = "s"
"#;

#[test]
fn doses_of_a_long_log_are_counted_and_their_time_constants_followed() {
    let bench = Bench::new();
    bench.write("log.csv", log());
    bench.write("plan.toml", PLAN);
    let result = bench.qualified("plan.toml", 0);
    let results = &result["tests"][0]["results"];
    assert_eq!(results["dose_count"]["value"], 8.0);
    let number = |name: &str, key: &str| results[name][key].as_f64().unwrap();
    for (name, truth) in [("time_constant_first", 604.0), ("time_constant_last", 706.0), ("time_constant_trend", 0.06)]
    {
        let (value, u) = (number(name, "value"), number(name, "standard_uncertainty"));
        assert!((value - truth).abs() < 4.0 * u && u < 0.2 * truth, "{name}: {value} ± {u}");
    }
    assert_eq!(results["time_constant_trend"]["unit"], "1/day");
    let text = bench.run(&["qualify", "plan.toml"]).stdout;
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains("the clean-up is slowing"), "{text}");
    let out = bench.run(&["qualify", "plan.toml", "--out", "dossier"]);
    assert_eq!(out.code, 0, "{out:?}");
}
