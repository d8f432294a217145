//! Results over the years, from the outside.

use std::process::{Command, Stdio};
use std::time::Duration;

use tightfit_history::{Content, NewEntry, QualificationEntry, Store, StoredPart, StoredResult, StoredVerdict};

use crate::support::Bench;

const STORE: &[&str] = &["--store", "years.sqlite"];

fn run(bench: &Bench, arguments: &[&str]) -> crate::support::Run {
    bench.run(&[arguments, STORE].concat())
}

/// A qualification of a year with a leak rate and its limit.
fn year(enclosure: &str, year: i32, leak_rate: f64) -> NewEntry {
    let part = |source: &str, standard_uncertainty: f64, lasts_with: &str| StoredPart {
        source: source.to_owned(),
        standard_uncertainty,
        lasts_with: lasts_with.to_owned(),
    };
    let result = StoredResult {
        test: "tightness".to_owned(),
        quantity: "hourly_leak_rate".to_owned(),
        kind: "estimate".to_owned(),
        unit: "1/h".to_owned(),
        value: Some(leak_rate),
        standard_uncertainty: Some(5e-6),
        interval95: [Some(leak_rate - 1e-5), Some(leak_rate + 1e-5)],
        at: "-1000 Pa".to_owned(),
        gas: "air".to_owned(),
        valid: true,
        budget: vec![part("noise", 3e-6, ""), part("gauge scale", 4e-6, "gauge 17 calibrated 2021-01-05")],
        ..StoredResult::default()
    };
    let verdict = StoredVerdict {
        test: "tightness".to_owned(),
        quantity: "hourly_leak_rate".to_owned(),
        limit: "max 5e-4 1/h".to_owned(),
        most: Some(5e-4),
        verdict: "pass".to_owned(),
        conformance_probability: Some(0.999),
        ..StoredVerdict::default()
    };
    let found = QualificationEntry {
        overall: "pass".to_owned(),
        results: vec![result],
        verdicts: vec![verdict],
        ..QualificationEntry::default()
    };
    NewEntry {
        enclosure: enclosure.to_owned(),
        day: format!("{year}-05-04"),
        identity: format!("{enclosure} {year}"),
        corrects: None,
        content: Content::Qualification(Box::new(found)),
    }
}

/// Six years of a leak that grows by 4e-5 1/h a year, give or take.
fn grown(bench: &Bench) {
    let mut store = Store::open_or_create(&bench.path("years.sqlite")).unwrap();
    for (k, give) in (0..6).zip([2e-6, -3e-6, 1e-6, 3e-6, -2e-6, 1e-6]) {
        store.add(&year("K-12", 2021 + k, 2e-4 + 4e-5 * f64::from(k) + give)).unwrap();
    }
}

#[test]
fn a_qualification_is_recorded_once_whichever_way_it_comes() {
    let bench = Bench::with_demo();
    let first = run(&bench, &["qualify", "tight.toml", "--out", "dossier", "--record"]);
    assert_eq!(first.code, 0, "{first:?}");
    assert!(first.stderr.contains("recorded as entry 1: K-12, 2026-05-04"), "{}", first.stderr);
    let again = run(&bench, &["history", "add", "dossier"]);
    assert_eq!(again.code, 0, "{again:?}");
    assert!(again.stdout.contains("known already as entry 1"), "{}", again.stdout);
    let shown = run(&bench, &["history", "show", "K-12"]);
    assert!(shown.stdout.contains("2026-05-04  pass"), "{}", shown.stdout);
    assert!(shown.stdout.contains("hourly leak rate at -1000 Pa (tightness)"), "{}", shown.stdout);
    assert!(shown.stdout.lines().all(|line| line.chars().count() <= 80), "{}", shown.stdout);
}

#[test]
fn a_requalification_shows_the_last_results_beside_the_new() {
    let bench = Bench::with_demo();
    Store::open_or_create(&bench.path("years.sqlite")).unwrap().add(&year("K-12", 2025, 1.1e-4)).unwrap();
    let run = run(&bench, &["qualify", "tight.toml", "--out", "dossier", "--record"]);
    assert_eq!(run.code, 0, "{run:?}");
    assert!(run.stderr.contains("Against the last qualification"), "{}", run.stderr);
    let page = bench.read("dossier/dossier.html");
    assert!(page.contains("Against earlier results") && page.contains("2025-05-04"));
    assert_eq!(bench.run(&["recheck", "dossier", "--data-root", "."]).code, 0);
}

#[test]
fn a_growing_leak_is_followed_to_its_limit() {
    let bench = Bench::new();
    grown(&bench);
    let trend = run(&bench, &["history", "trend", "K-12", "--today", "2026-11-25", "--out", "page"]);
    assert_eq!(trend.code, 0, "{trend:?}");
    let words = trend.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("trend rising: +0.00004 1/h a year") || words.contains("trend rising: +4"), "{words}");
    // 4.0e-4 in May 2026 and 4e-5 a year: the limit of 5e-4 falls in November 2028.
    let json = run(&bench, &["history", "trend", "K-12", "--today", "2026-11-25", "--format", "json"]).json();
    assert_eq!(json["schema"], "tightfit.history/1");
    let forecast = &json["quantities"][0]["trend"]["forecast"];
    let (from, to) = (forecast["from"].as_str().unwrap(), forecast["to"].as_str().unwrap());
    assert!("2027-06-01" < from && from < "2028-11-10" && "2028-11-10" < to && to < "2030-12-31", "{forecast}");
    let page = bench.read("page/history.html");
    assert!(page.contains("<svg") && page.contains("Hourly leak rate"));
    assert_eq!(bench.read("page/history.csv").lines().count(), 7);
    let refused = run(&bench, &["history", "trend", "K-12", "--out", "page"]);
    assert_eq!(refused.code, 2);
}

#[test]
fn the_same_gauge_takes_its_error_out_of_the_comparison() {
    let bench = Bench::new();
    grown(&bench);
    let json = run(&bench, &["history", "show", "K-12", "--format", "json"]).json();
    let compared = &json["quantities"][0]["compared"];
    // Two results of 5e-6 of which 4e-6 are the same gauge: √2 · 3e-6.
    let found = compared["standard_uncertainty"].as_f64().unwrap();
    assert!((found - 3e-6 * 2f64.sqrt()).abs() < 1e-11, "{found}");
    assert!(compared["significance"].as_f64().unwrap() < 1e-6);
}

#[test]
fn services_and_corrections_are_told() {
    let bench = Bench::new();
    grown(&bench);
    let noted = run(&bench, &["history", "note", "K-12", "--what", "gloves", "--date", "2023-11-01", "both gloves"]);
    assert!(noted.stdout.contains("recorded as entry 7"), "{noted:?}");
    assert!(!noted.stdout.contains("no results"), "{noted:?}");
    let misspelt = run(&bench, &["history", "note", "K12", "--what", "gloves", "--date", "2023-11-02"]);
    assert!(misspelt.stdout.contains("the store holds no results of K12 yet, but of K-12"), "{misspelt:?}");
    let untested = run(&bench, &["history", "show", "K12"]);
    assert!(untested.stdout.contains("No results yet") && !untested.stdout.contains("Last results"), "{untested:?}");
    let shown = run(&bench, &["history", "show", "K-12"]);
    assert!(shown.stdout.contains("service, gloves: both gloves (entry 7)"), "{}", shown.stdout);
    let trend = run(&bench, &["history", "trend", "K-12"]);
    assert!(trend.stdout.contains("2023-11-01, gloves (both gloves)"), "{}", trend.stdout);
    let park = run(&bench, &["history", "show"]);
    assert!(park.stdout.starts_with("2 enclosures, "), "{}", park.stdout);
}

#[test]
fn what_cannot_be_followed_is_said_plainly() {
    let bench = Bench::new();
    let none = run(&bench, &["history", "show"]);
    assert_eq!(none.code, 2);
    assert!(none.stderr.contains("there is no store of results"), "{}", none.stderr);
    grown(&bench);
    let unknown = run(&bench, &["history", "trend", "K-21"]);
    assert_eq!(unknown.code, 2);
    assert!(unknown.stderr.contains("did you mean \"K-12\"?"), "{}", unknown.stderr);
    let what = run(&bench, &["history", "note", "K-12", "--what", "paint"]);
    assert_eq!(what.code, 2);
    let dossier = run(&bench, &["history", "add", "nowhere"]);
    assert_eq!(dossier.code, 2);
    assert!(dossier.stderr.contains("tightfit qualify --out"), "{}", dossier.stderr);
}

/// Writers that are killed at any moment lose nothing that they said was recorded, and the file stays whole by SQLite's
/// own check.
#[test]
fn a_killed_writer_loses_nothing_that_was_recorded() {
    let bench = Bench::new();
    grown(&bench);
    let mut said = 6;
    for round in 0..24u64 {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tightfit"))
            .args(["history", "note", "K-12", "--what", "other", "--date", "2026-01-01", &format!("round {round}")])
            .args(STORE)
            .current_dir(bench.path("."))
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(round));
        child.kill().unwrap();
        let output = child.wait_with_output().unwrap();
        said += usize::from(String::from_utf8_lossy(&output.stdout).contains("recorded as entry"));
    }
    let store = Store::open(&bench.path("years.sqlite")).unwrap();
    assert!(store.is_sound().unwrap());
    assert!(store.entries("K-12").unwrap().len() >= said);
}
