//! A sealed chamber logged without header, thermometer or barometer, in numbers that can be read two ways.

use crate::support::Bench;

/// Milliseconds, volts, bar, as a logger writes them that groups thousands and marks decimals with the same dot:
/// `151.203.000` is 151 203.000 ms, `100.000` in the same column is 100.000 ms.
fn export() -> String {
    let mut text = String::new();
    for k in 0..1500u32 {
        let ms = k * 100;
        let time = if ms >= 1000 { format!("{}.{:03}.000", ms / 1000, ms % 1000) } else { format!("{ms}.000") };
        // 7.300 bar, losing 3e-4 bar/s, with steps of 1 mbar.
        let bar = 7.3 - 3e-4 * f64::from(k) * 0.1;
        text.push_str(&format!("{time};3.658;{bar:.3}\r\n"));
    }
    text
}

fn plan(format: &str) -> String {
    format!(
        "tightfit = 1\n[enclosure]\nid = \"chamber\"\ngas = \"air\"\n[[test]]\nid = \"hold\"\nmethod = \"pressure-change\"\n\
         files = [\"chamber.csv\"]\nwindow = {{ from = \"20 s\", to = \"120 s\" }}\n[test.columns]\ntime = {{ column = 1 }}\n\
         gauge_pressure = {{ column = 3, unit = \"bar\" }}\n[test.format]\nheader = false\ntime = \"elapsed\"\nelapsed_unit = \"ms\"\n{format}"
    )
}

#[test]
fn numbers_that_can_be_read_two_ways_are_refused_with_the_question_to_answer() {
    let bench = Bench::new();
    bench.write("chamber.csv", export());
    bench.write("plan.toml", plan(""));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("thousands"), "{}", run.stderr);
    assert!(run.stderr.contains("chamber.csv"), "{}", run.stderr);
    assert_eq!(run.json()["overall"], "input error");
}

#[test]
fn the_plans_answer_gives_the_slope_and_says_what_it_is_confounded_with() {
    let bench = Bench::new();
    bench.write("chamber.csv", export());
    bench.write("plan.toml", plan("thousands = \".\"\n"));
    let result = bench.qualified("plan.toml", 0);
    assert_eq!(result["overall"], "no limits");
    let test = &result["tests"][0];
    assert_eq!(test["valid"], true, "{test}");
    assert_eq!(test["window"], serde_json::json!(["20 s", "120 s"]));
    let rate = &test["results"]["pressure_rate"];
    let (value, u) = (rate["value"].as_f64().unwrap(), rate["standard_uncertainty"].as_f64().unwrap());
    assert!((value + 30.0).abs() < 3.0 * u && u < 0.3, "{value} ± {u} Pa/s is not −30 Pa/s");
    let notes = test["notes"].to_string();
    assert!(notes.contains("no thermometer"), "{notes}");
    assert!(notes.contains("linear law does not hold"), "{notes}");
}
