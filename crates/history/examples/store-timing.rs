//! How long a large store takes to answer. Writes one line an answer to standard output.
//!
//! `cargo run --release -p tightfit-history --example store-timing -- [ENCLOSURES] [QUALIFICATIONS]`
#![allow(clippy::print_stdout, reason = "the figures are what the program is for")]

use std::time::Instant;

use tightfit_history::{
    Content, NewEntry, QualificationEntry, Store, StoreError, StoredPart, StoredResult, StoredVerdict,
};

fn main() -> Result<(), StoreError> {
    let numbers: Vec<usize> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    let enclosures = numbers.first().copied().unwrap_or(10_000);
    let qualifications = numbers.get(1).copied().unwrap_or(20);
    let path = std::env::temp_dir().join(format!("store-timing-{}.sqlite", std::process::id()));
    let mut store = Store::open_or_create(&path)?;
    let started = Instant::now();
    let entries: Vec<NewEntry> = (0..enclosures * qualifications)
        .map(|k| entry(&format!("K-{}", k / qualifications), 2000 + (k % qualifications) as i32))
        .collect();
    store.add_all(&entries)?;
    println!("{} entries added in {:.1} s", entries.len(), started.elapsed().as_secs_f64());
    drop(store);

    for name in ["K-0", &format!("K-{}", enclosures / 2)] {
        let started = Instant::now();
        let found = Store::open(&path)?.entries(name)?;
        println!(
            "{name}: {} entries in {:.1} ms, opening included",
            found.len(),
            1e3 * started.elapsed().as_secs_f64()
        );
    }
    let started = Instant::now();
    let found = Store::open(&path)?.summaries()?;
    println!("{} enclosures summed up in {:.2} s", found.len(), started.elapsed().as_secs_f64());
    // The file is of no use to anybody; that it may stay behind in the folder for such files hurts nobody.
    let _ = std::fs::remove_file(&path);
    Ok(())
}

fn entry(enclosure: &str, year: i32) -> NewEntry {
    let part =
        |source: &str| StoredPart { source: source.to_owned(), standard_uncertainty: 1e-6, ..StoredPart::default() };
    let result = |quantity: &str| StoredResult {
        test: "tightness".to_owned(),
        quantity: quantity.to_owned(),
        kind: "estimate".to_owned(),
        unit: "1/h".to_owned(),
        value: Some(1e-4),
        standard_uncertainty: Some(1e-5),
        interval95: [Some(8e-5), Some(1.2e-4)],
        at: "-1000 Pa".to_owned(),
        valid: true,
        budget: ["noise", "gauge zero", "gauge scale", "volume"].into_iter().map(part).collect(),
        ..StoredResult::default()
    };
    let found = QualificationEntry {
        overall: "pass".to_owned(),
        results: ["hourly_leak_rate", "oxygen_ingress", "water_ingress", "time_constant"]
            .into_iter()
            .map(result)
            .collect(),
        verdicts: vec![StoredVerdict {
            verdict: "pass".to_owned(),
            conformance_probability: Some(0.99),
            ..StoredVerdict::default()
        }],
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
