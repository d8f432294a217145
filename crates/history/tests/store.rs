//! What the store promises: nothing lost, nothing twice, nothing changed, many writers.
#![allow(clippy::unwrap_used, reason = "a test stops where the store fails")]
#![allow(clippy::disallowed_methods, reason = "a test may write half a file")]

use std::path::Path;

use tightfit_history::{
    Added, Content, NewEntry, QualificationEntry, Store, StoreError, StoredFile, StoredPart, StoredResult,
    StoredVerdict,
};

fn qualification(enclosure: &str, day: &str, value: f64) -> NewEntry {
    let result = StoredResult {
        test: "tightness".to_owned(),
        quantity: "hourly_leak_rate".to_owned(),
        kind: "estimate".to_owned(),
        unit: "1/h".to_owned(),
        value: Some(value),
        standard_uncertainty: Some(1e-6),
        interval95: [Some(value - 2e-6), None],
        at: "-1000 Pa".to_owned(),
        valid: true,
        budget: vec![StoredPart {
            source: "gauge scale".to_owned(),
            standard_uncertainty: 5e-7,
            lasts_with: "gauge".to_owned(),
        }],
        ..StoredResult::default()
    };
    let verdict = StoredVerdict {
        test: "tightness".to_owned(),
        quantity: "hourly_leak_rate".to_owned(),
        limit: "max 5e-4 1/h".to_owned(),
        most: Some(5e-4),
        verdict: "pass".to_owned(),
        conformance_probability: Some(0.99),
        ..StoredVerdict::default()
    };
    let found = QualificationEntry {
        overall: "pass".to_owned(),
        results: vec![result],
        verdicts: vec![verdict],
        files: vec![StoredFile { name: "tightness.csv".to_owned(), bytes: 9, sha256: "00".to_owned() }],
        ..QualificationEntry::default()
    };
    NewEntry {
        enclosure: enclosure.to_owned(),
        day: day.to_owned(),
        identity: format!("{enclosure} {day} {value}"),
        corrects: None,
        content: Content::Qualification(Box::new(found)),
    }
}

fn service(enclosure: &str, day: &str) -> NewEntry {
    let content = Content::Service { what: "gloves".to_owned(), note: "left glove".to_owned() };
    NewEntry { content, identity: format!("service {enclosure} {day}"), ..qualification(enclosure, day, 0.0) }
}

fn store(folder: &Path) -> Store {
    Store::open_or_create(&folder.join("history.sqlite")).unwrap()
}

#[test]
fn what_was_added_comes_back_bit_for_bit_and_in_the_order_of_days() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let (late, early) = (qualification("K-12", "2026-05-04", 1.0 / 3.0), qualification("K-12", "2025-05-04", 0.1));
    store.add(&late).unwrap();
    store.add(&early).unwrap();
    store.add(&service("K-12", "2025-11-01")).unwrap();
    let found: Vec<NewEntry> = store.entries("K-12").unwrap().into_iter().map(|entry| entry.entry).collect();
    assert_eq!(found, [early, service("K-12", "2025-11-01"), late]);
}

#[test]
fn the_same_entry_twice_is_recognised() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let entry = qualification("K-12", "2026-05-04", 1e-4);
    let Added::New(id) = store.add(&entry).unwrap() else { panic!("it is new") };
    assert_eq!(store.add(&entry).unwrap(), Added::Known(id));
    assert_eq!(store.entries("K-12").unwrap().len(), 1);
}

#[test]
fn a_correction_names_the_old_entry_and_both_stay() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let Added::New(old) = store.add(&qualification("K-12", "2026-05-04", 1e-4)).unwrap() else { panic!() };
    let new = NewEntry { corrects: Some(old), ..qualification("K-12", "2026-05-04", 2e-4) };
    store.add(&new).unwrap();
    assert_eq!(store.entries("K-12").unwrap().len(), 2);
    let standing = store.standing("K-12").unwrap();
    assert_eq!(standing.len(), 1);
    assert_eq!(standing[0].entry, new);
    let again = NewEntry { corrects: Some(old), ..qualification("K-12", "2026-05-04", 3e-4) };
    assert!(matches!(store.add(&again), Err(StoreError::CannotCorrect { .. })));
    let other = NewEntry { corrects: Some(old), ..qualification("K-13", "2026-05-04", 3e-4) };
    assert!(matches!(store.add(&other), Err(StoreError::CannotCorrect { .. })));
    assert!(store.entries("K-13").unwrap().is_empty(), "a refused entry leaves nothing");
}

#[test]
fn a_park_is_summed_up_without_corrected_entries() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = store(folder.path());
    let Added::New(old) = store.add(&qualification("K-12", "2026-05-04", 1e-4)).unwrap() else { panic!() };
    store.add(&NewEntry { corrects: Some(old), ..qualification("K-12", "2026-05-03", 2e-4) }).unwrap();
    store.add(&qualification("K-11", "2024-01-01", 1e-4)).unwrap();
    store.add(&service("K-11", "2025-01-01")).unwrap();
    store.add(&service("K-10", "2025-02-02")).unwrap();
    let found = store.summaries().unwrap();
    let lines: Vec<(&str, u64, &str, &str)> = found
        .iter()
        .map(|s| (s.enclosure.as_str(), s.qualifications, s.last_day.as_str(), s.last_service.as_str()))
        .collect();
    assert_eq!(
        lines,
        [("K-10", 0, "", "2025-02-02"), ("K-11", 1, "2024-01-01", "2025-01-01"), ("K-12", 1, "2026-05-03", "")]
    );
    assert_eq!(found[2].least_probability, Some(0.99));
}

#[test]
fn many_writers_at_once_lose_nothing() {
    const WRITERS: usize = 6;
    const ENTRIES: usize = 15;
    let folder = tempfile::tempdir().unwrap();
    // Nobody has made the store yet: they race for that too.
    std::thread::scope(|scope| {
        for writer in 0..WRITERS {
            let path = folder.path();
            scope.spawn(move || {
                let mut store = store(path);
                for number in 0..ENTRIES {
                    let day = format!("2026-01-{:02}", number + 1);
                    store.add(&qualification(&format!("K-{writer}"), &day, number as f64)).unwrap();
                }
            });
        }
    });
    let found = store(folder.path()).summaries().unwrap();
    assert_eq!(found.len(), WRITERS);
    assert!(found.iter().all(|summary| summary.qualifications == ENTRIES as u64));
}

#[test]
fn what_is_no_store_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.txt");
    std::fs::write(&path, "this is a list of things to do, and no store of results at all").unwrap();
    let error = Store::open_or_create(&path).unwrap_err();
    assert!(matches!(error, StoreError::NotAStore { .. }));
    assert!(error.to_string().contains("notes.txt"), "{error}");
    assert!(std::fs::read_to_string(&path).unwrap().starts_with("this is a list"));
    assert!(matches!(Store::open(&folder.path().join("none.sqlite")), Err(StoreError::Missing { .. })));
}
