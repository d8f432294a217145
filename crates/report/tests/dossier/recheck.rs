//! Rechecking: any changed byte is found, and what differs is named.

use std::fs;
use std::path::{Path, PathBuf};

use tightfit_report::dossier::{self, WriteOptions};
use tightfit_report::recheck::{Difference, recheck};

use crate::bench::{Bench, HEADERS, PLAN, export, put};

/// How many single bytes are changed.
const CHANGES: u64 = 1000;

fn written(with_data: bool) -> Bench {
    let bench = Bench::new(PLAN, HEADERS);
    fs::remove_file(bench.folder.path().join("hold.csv")).unwrap();
    put(&bench.folder.path().join("hold.csv"), &export(HEADERS, 900.0));
    let options = WriteOptions { with_data, ..WriteOptions::default() };
    dossier::write(&bench.qualified(), &bench.out(), &options).unwrap();
    bench
}

fn files_below(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> =
        entries.flat_map(|path| if path.is_dir() { files_below(&path) } else { vec![path] }).collect();
    files.sort();
    files
}

#[allow(clippy::disallowed_methods, reason = "a test that damages a file")]
fn overwrite(path: &Path, content: &[u8]) {
    fs::write(path, content).unwrap();
}

/// A fixed walk of well-mixed numbers (the 64-bit finaliser of MurmurHash3, by Austin Appleby, public domain).
fn mixed(number: u64) -> u64 {
    let mut x = number.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    x = (x ^ (x >> 33)).wrapping_mul(0xff51_afd7_ed55_8ccd);
    x = (x ^ (x >> 33)).wrapping_mul(0xc4ce_b9fe_1a85_ec53);
    x ^ (x >> 33)
}

#[test]
fn each_of_a_thousand_changed_bytes_is_found() {
    let bench = written(true);
    assert!(recheck(&bench.out(), None).unwrap().is_same());
    let files = files_below(&bench.out());
    assert!(files.len() >= 9, "{files:?}");
    for change in 0..CHANGES {
        let file = &files[(mixed(3 * change) % files.len() as u64) as usize];
        let sound = fs::read(file).unwrap();
        let mut bytes = sound.clone();
        let place = (mixed(3 * change + 1) % bytes.len() as u64) as usize;
        bytes[place] ^= 1 + (mixed(3 * change + 2) % 255) as u8;
        overwrite(file, &bytes);
        let found = recheck(&bench.out(), None).map_or(true, |recheck| !recheck.is_same());
        assert!(found, "change {change}: byte {place} of {}", file.display());
        overwrite(file, &sound);
    }
    assert!(recheck(&bench.out(), None).unwrap().is_same());
}

#[test]
fn a_changed_raw_file_beside_the_dossier_is_named_with_the_numbers_that_move() {
    let bench = written(false);
    let raw = bench.folder.path().join("hold.csv");
    let text = fs::read_to_string(&raw).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    // The last pressures are what a leak rate hinges on.
    let changed: Vec<String> = lines
        .iter()
        .enumerate()
        .map(|(row, line)| if row + 5 > lines.len() { line.replacen(",-4", ",-3", 1) } else { (*line).to_owned() })
        .collect();
    overwrite(&raw, (changed.join("\n") + "\n").as_bytes());
    let differences = recheck(&bench.out(), None).unwrap().differences;
    assert!(differences.contains(&Difference::FileChanged { file: "hold.csv".to_owned() }), "{differences:?}");
    let moved = |difference: &Difference| matches!(difference, Difference::Value { place, .. } if place.starts_with("tests.0.results"));
    assert!(differences.iter().any(moved), "{differences:?}");
}

#[test]
fn numbers_may_differ_in_their_last_digits_and_no_further() {
    for (factor, same) in [(1.0 + 2e-8, true), (1.0 + 5e-7, false)] {
        let bench = written(true);
        let path = bench.out().join("dossier.json");
        let mut record: serde_json::Value = serde_json::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
        let value = record.pointer_mut("/tests/0/results/hourly_leak_rate/value").unwrap();
        *value = (value.as_f64().unwrap() * factor).into();
        overwrite(&path, serde_json::to_string_pretty(&record).unwrap().as_bytes());
        let differences = recheck(&bench.out(), None).unwrap().differences;
        assert_eq!(differences.first(), Some(&Difference::RecordChanged));
        assert_eq!(differences.len() == 1, same, "{differences:?}");
    }
}
