//! A purge from air to results: percent and trace analyser, flow logged and stated.

use crate::support::{Bench, normal};

/// 0.92 m³ at K·q = 0.9·12 m³/h, the flow halved for ten minutes after half an hour; 2 ppm from the supply; 2 % noise.
fn log() -> String {
    let mut text = "time_s,O2 (ppm),O2 (%),purge flow (m3/h)\n".to_owned();
    let (mut state, mut volumes) = (99_u32, 0.0);
    for i in 0..720 {
        let t = f64::from(i) * 10.0;
        let flow = if (1800.0..2400.0).contains(&t) { 6.0 } else { 12.0 };
        let ppm = 2.0 + 209_000.0 * (-0.9_f64 * volumes).exp();
        volumes += flow / 3600.0 / 0.92 * 10.0;
        let mut normal = || normal(&mut state);
        let trace = (ppm * (1.0 + 0.01 * normal()) + 0.02 * normal()).min(1000.0);
        let percent = ppm * 1e-4 + 0.02 * normal();
        text += &format!("{t},{trace:.2},{percent:.2},{flow:.2}\n");
    }
    text
}

const PLAN: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = { value = "0.92 m3", uncertainty = "2 %" }
[supply]
oxygen = { value = "2 ppm", uncertainty = "0.5 ppm" }
[instruments.trace]
uncertainty = "1 % of reading + 0.05 ppm"
range = ["0 ppm", "999.9 ppm"]
response = "tau 5 s"
due = 2030-01-01
[instruments.meter]
uncertainty = "2 % of reading"
due = 2030-01-01
[[test]]
id = "purge"
method = "purge-down"
files = ["purge.csv"]
target = "10 ppm"
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "trace" }
purge_flow = { column = "purge flow (m3/h)", unit = "m3/h", instrument = "meter" }
[test.format]
elapsed_unit = "s"
"#;

#[test]
fn a_purge_with_a_changing_flow_gives_mixing_factor_floor_and_time_to_the_limit() {
    let bench = Bench::new();
    bench.write("purge.csv", log());
    bench.write("plan.toml", PLAN);
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    let test = &result["tests"][0];
    let number = |name: &str, key: &str| test["results"][name][key].as_f64().unwrap();
    let (mixing, u) = (number("mixing_factor", "value"), number("mixing_factor", "standard_uncertainty"));
    assert!((mixing - 0.9).abs() < 3.0 * u && u < 0.06, "{mixing} ± {u}: {run:?}");
    let floor = [0, 1].map(|i| test["results"]["floor"]["interval95"][i].as_f64().unwrap());
    assert!(floor[0] < 2.0 && floor[1] > 2.0 && floor[1] - floor[0] < 0.5, "{floor:?}");
    // ln(209 000/8) = 10.17 times V/(K·q) = 306.7 s, and 300 s for the ten minutes at half flow.
    let time = number("time_to_limit", "value");
    assert!((time - 3419.0).abs() < 60.0, "{time}");
    let counts = ["rows_read", "rows_used", "rows_set_aside"].map(|key| test[key].as_u64().unwrap());
    assert_eq!(counts[0], counts[1] + counts[2]);
}

#[test]
fn without_any_flow_there_is_a_time_constant_but_no_mixing_factor() {
    let bench = Bench::new();
    bench.write("purge.csv", log().replace(",purge flow (m3/h)", ",remark"));
    let start = PLAN.find("purge_flow =").unwrap();
    let end = start + PLAN[start..].find('\n').unwrap();
    bench.write(
        "plan.toml",
        PLAN.replace(&PLAN[start..end], "").replace("target =", "window = { from = \"42 min\" }\ntarget ="),
    );
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let results = &run.json()["tests"][0]["results"];
    assert!(results.get("mixing_factor").is_none() && results["time_constant"]["value"].is_number(), "{results}");
    let text = bench.run(&["qualify", "plan.toml"]).stdout;
    assert!(text.contains("neither logged nor stated"), "{text}");
}
