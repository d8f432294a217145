//! A working log from an export to explanations.

use tightfit_history::{Content, NewEntry, QualificationEntry, Store, StoredResult};

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
    assert!(page.contains(" September 2026, ") && !page.contains("2026-09-1"), "dates as in a dossier");
    assert!(page.contains("circulation flow") && page.contains("m³/h") && !page.contains("as logged"));
    assert!(page.contains("it began between 1") && page.contains("(Europe/Vienna)"));
    assert!(result["conclusion"].as_str().unwrap().contains("between 2026-09-1"), "{}", result["conclusion"]);
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
    assert!(run.stdout.contains("(Europe/Vienna)") && !run.stdout.contains("2026-09-"), "{}", run.stdout);
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

/// A result of the store as far as a diagnosis reads it.
fn stored(quantity: &str, unit: &str, value: f64) -> StoredResult {
    StoredResult {
        test: "earlier".to_owned(),
        quantity: quantity.to_owned(),
        kind: "estimate".to_owned(),
        unit: unit.to_owned(),
        value: Some(value),
        standard_uncertainty: Some(0.05 * value),
        at: if quantity == "hourly_leak_rate" { "-1000 Pa".to_owned() } else { String::new() },
        valid: true,
        ..StoredResult::default()
    }
}

fn entry(day: &str, content: Content) -> NewEntry {
    NewEntry { enclosure: "K-12".to_owned(), day: day.to_owned(), identity: day.to_owned(), corrects: None, content }
}

fn qualification(results: Vec<StoredResult>) -> Content {
    Content::Qualification(Box::new(QualificationEntry { results, ..QualificationEntry::default() }))
}

#[test]
fn what_the_store_holds_of_the_enclosure_is_taken_into_account_and_said() {
    let bench = Bench::with_demo();
    let mut store = Store::open_or_create(&bench.path("years.sqlite")).unwrap();
    let results = vec![stored("time_constant", "s", 65.0), stored("hourly_leak_rate", "1/h", 1e-4)];
    store.add(&entry("2026-05-04", qualification(results))).unwrap();
    let regeneration = Content::Service { what: "regeneration".to_owned(), note: "as every summer".to_owned() };
    store.add(&entry("2026-07-01", regeneration)).unwrap();
    let gloves = Content::Service { what: "gloves".to_owned(), note: "left glove".to_owned() };
    store.add(&entry("2026-09-15", gloves)).unwrap();
    drop(store);
    let run = bench.run(&["diagnose", "rising.toml", "--store", "years.sqlite", "--format", "json", "--out", "page"]);
    assert_eq!(run.code, 0, "{run:?}");
    let notes = run.json()["notes"].to_string();
    for said in [
        "the store's result of 2026-05-04, before a service on 2026-07-01 (regeneration) gave a time constant of 65.0 s: \
         taken as the state that the log started from",
        "gave a leak rate of 1.00e-4 1/h at -1000 Pa: taken as the state that the log started from",
        "a service on 2026-09-15, while the log ran (gloves: left glove)",
    ] {
        assert!(notes.contains(said), "{said}: {notes}");
    }
    assert!(bench.read("page/diagnosis.html").contains("taken as the state that the log started from"));
    let without = bench.run(&["diagnose", "rising.toml", "--format", "json"]);
    assert!(!without.json()["notes"].to_string().contains("the store"), "{without:?}");
    let missing = bench.run(&["diagnose", "rising.toml", "--store", "none.sqlite"]);
    assert_eq!(missing.code, 2, "{missing:?}");
}

#[test]
fn a_leak_rate_measured_after_the_log_counts_as_evidence_on_its_end() {
    let bench = Bench::with_demo();
    let mut store = Store::open_or_create(&bench.path("years.sqlite")).unwrap();
    store.add(&entry("2026-09-22", qualification(vec![stored("hourly_leak_rate", "1/h", 5e-4)]))).unwrap();
    drop(store);
    let run = bench.run(&["diagnose", "rising.toml", "--store", "years.sqlite", "--format", "json"]);
    let notes = run.json()["notes"].to_string();
    assert!(notes.contains("2026-09-22 gave a leak rate of 5.00e-4 1/h at -1000 Pa: taken as evidence on"), "{notes}");
}
