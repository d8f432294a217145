//! Planning a test.

use crate::support::Bench;

/// The demo's plan of a test still to be made, with a line replaced: a test of two hours at most is quick to try.
fn bench(from: &str, to: &str) -> Bench {
    let bench = Bench::with_demo();
    let plan = bench.read("design.toml");
    assert!(plan.contains(from), "the demo's plan holds no {from}");
    bench.write("plan.toml", plan.replace("\"0.03 K\"", "\"0.01 K\"").replace(from, to));
    bench
}

#[test]
fn a_design_says_how_long_at_which_pressure_and_what_else_would_help() {
    let bench = bench("longest = \"1 d\"", "longest = \"4 h\"");
    let run = bench.run(&["design", "plan.toml", "--format", "json", "--out", "design"]);
    assert_eq!(run.code, 0, "{run:?}");
    let design = run.json();
    assert_eq!(design["schema"], "tightfit.design/1");
    assert_eq!(design["enclosure"], "K-12");
    let test = &design["tests"][0];
    assert_eq!((&test["decides"], &test["unit"]), (&true.into(), &"1/h".into()), "{test}");
    let number = |value: &serde_json::Value| value.as_f64().unwrap_or_else(|| panic!("{value} in {test}"));
    assert!((900.0..=4.0 * 3600.0).contains(&number(&test["duration_s"])), "{test}");
    // Within the rated -1500 Pa, with a margin for room and weather.
    assert!((-1400.0..-700.0).contains(&number(&test["pressure_difference_pa"])), "{test}");
    assert!(number(&test["expected"]["passes_when_tight"]) >= 0.95);
    assert!(number(&test["expected"]["passes_at_the_limit"]) <= 0.06);
    assert!(number(&test["expected"]["expanded_uncertainty"]) < 2.5e-4);
    assert!(test["improvements"].as_array().unwrap().len() >= 4);
    for curve in test["curves"].as_array().unwrap() {
        let points: Vec<f64> =
            curve["points"].as_array().unwrap().iter().map(|p| number(&p["expanded_uncertainty"])).collect();
        assert!(points.len() >= 3 && points.first() > points.last(), "{curve}");
    }
    assert_eq!(bench.read("design/design.json").trim(), run.stdout.trim());
    let page = bench.read("design/design.html");
    assert!(page.contains("<svg") && page.contains(test["sentence"].as_str().unwrap()));
    assert!(!page.contains("http://") || page.matches("http://").count() == page.matches("http://www.w3.org").count());
    let again = bench.run(&["design", "plan.toml", "--out", "design"]);
    assert_eq!(again.code, 2, "an existing design is not overwritten: {again:?}");
}

#[test]
fn the_terminal_shows_the_sentence_and_the_curve_within_eighty_columns() {
    let run = bench("longest = \"1 d\"", "longest = \"4 h\"").run(&["design", "plan.toml"]);
    assert_eq!(run.code, 0, "{run:?}");
    for expected in ["DECIDES", "Run ", "duration", "better", "assumed", "Caution", "95 %"] {
        assert!(run.stdout.contains(expected), "{expected} is missing in\n{}", run.stdout);
    }
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
}

#[test]
fn where_no_duration_decides_the_exit_code_is_that_of_undecided() {
    let run = bench("longest = \"1 d\"", "longest = \"15 min\"").run(&["design", "plan.toml"]);
    assert_eq!(run.code, 3, "{run:?}");
    assert!(run.stdout.contains("UNDECIDED") && run.stdout.contains("No test of up to 15 min decides"), "{run:?}");
}

#[test]
fn a_plan_without_files_is_for_design_only() {
    let run = Bench::with_demo().run(&["qualify", "design.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("files") && run.stderr.contains("tightfit design"), "{run:?}");
}

#[test]
fn what_a_design_cannot_do_without_is_asked_for() {
    for (from, to, expected) in [
        ("reference_pressure = \"-1000 Pa\"", "reference_pressure = \"-2000 Pa\"", "rated"),
        ("room = \"ordinary\"", "room = \"ordinery\"", "ordinary"),
        ("longest = \"1 d\"", "longest = \"1 Pa\"", "expected a time"),
        ("[instruments.gauge]", "[instruments.sensor]", "[instruments.gauge]"),
        ("method = \"pressure-change\"", "method = \"clean-up\"", "pressure-change"),
        ("set = \"ISO 10648-2 class 1\"", "quantity = \"time_constant\"\nmax = \"60 s\"", "limit"),
    ] {
        let run = bench(from, to).run(&["design", "plan.toml"]);
        assert_eq!(run.code, 2, "{to}: {run:?}");
        assert!(run.stderr.contains(expected), "{to}: {run:?}");
    }
}
