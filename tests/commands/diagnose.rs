//! A working log from an export to explanations.

use crate::support::Bench;

fn probabilities(result: &serde_json::Value) -> Vec<f64> {
    result["explanations"].as_array().unwrap().iter().map(|own| own["probability"].as_f64().unwrap()).collect()
}

#[test]
fn the_demo_names_the_leak_that_opened_and_when() {
    let bench = Bench::with_demo();
    let run = bench.run(&["diagnose", "rising.toml", "--format", "json", "--out", "diagnosis"]);
    assert_eq!(run.code, 0, "{run:?}");
    let result = run.json();
    assert_eq!(result["schema"], "tightfit.diagnosis/1");
    assert_eq!(result["enclosure"], "K-12");
    let all = probabilities(&result);
    assert_eq!(all.len(), 10);
    assert!((all.iter().sum::<f64>() - 1.0).abs() < 1e-9);
    assert!(all.windows(2).all(|pair| pair[0] >= pair[1]));
    let first = &result["explanations"][0];
    assert_eq!(first["cause"], "leak");
    // The generator opened the leak at 00:30 UTC on 15 September.
    let [from, to] = [0, 1].map(|end| first["began"][end].as_str().unwrap());
    assert!(from <= "2026-09-15T00:30:00Z" && "2026-09-15T00:30:00Z" <= to, "{from} to {to}");
    assert!(!first["evidence"].as_array().unwrap().is_empty());
    let counts = ["rows_read", "rows_used", "rows_set_aside"].map(|key| result[key].as_u64().unwrap());
    assert_eq!(counts[0], counts[1] + counts[2]);
    let page = bench.read("diagnosis/diagnosis.html");
    assert!(page.contains("<svg") && page.contains("Cautions") && !page.contains("<script"));
    let again = bench.run(&["diagnose", "rising.toml", "--out", "diagnosis"]);
    assert_eq!(again.code, 2, "an existing diagnosis is not written over: {again:?}");
    assert_eq!(bench.run(&["diagnose", "rising.toml", "--out", "diagnosis", "--replace"]).code, 0);
}

#[test]
fn the_text_fits_a_terminal_and_ends_with_the_conclusion() {
    let run = Bench::with_demo().run(&["diagnose", "rising.toml"]);
    assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{}", run.stdout);
    assert!(run.stdout.contains("a new or larger leak"), "{}", run.stdout);
    let last = run.stdout.rsplit("\n\n").next().unwrap();
    assert!(last.starts_with("Result"), "{last}");
}

#[test]
fn with_oxygen_alone_it_says_what_cannot_be_told_apart() {
    let bench = Bench::with_demo();
    let log = bench.read("rising.csv");
    let only = log.lines().map(|line| line.split(',').take(2).collect::<Vec<_>>().join(",") + "\n");
    bench.write("rising.csv", only.collect::<String>());
    let plan = bench.read("rising.toml");
    let columns = plan.find("water = { column").unwrap();
    bench.write("rising.toml", &plan[..columns]);
    let run = bench.run(&["diagnose", "rising.toml", "--format", "json"]);
    let notes = run.json()["notes"].to_string();
    for missing in ["only one of oxygen and water", "pressure was not logged", "flow was not logged"] {
        assert!(notes.contains(missing), "{missing}: {notes}");
    }
}

#[test]
fn a_plan_without_a_working_log_and_a_log_of_an_hour_say_what_is_missing() {
    let bench = Bench::with_demo();
    let without = bench.run(&["diagnose", "tight.toml"]);
    assert_eq!(without.code, 2);
    assert!(without.stderr.contains("operating-log"), "{without:?}");
    let log = bench.read("rising.csv");
    bench.write("rising.csv", log.lines().take(7).collect::<Vec<_>>().join("\n") + "\n");
    let short = bench.run(&["diagnose", "rising.toml", "--format", "json"]);
    assert_eq!(short.code, 4, "{short:?}");
    let result = short.json();
    assert_eq!(result["valid"], false);
    assert!((probabilities(&result).iter().sum::<f64>() - 1.0).abs() < 1e-9);
}

#[test]
fn a_qualification_reports_a_working_log_without_results() {
    let run = Bench::with_demo().run(&["qualify", "rising.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let test = &run.json()["tests"][0];
    assert_eq!(test["valid"], true);
    assert!(test["notes"].to_string().contains("tightfit diagnose"));
}
