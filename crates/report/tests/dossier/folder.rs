//! The folder: whole or not there, and a record that notices every change.

use std::fs;
use std::io::{BufRead, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use sha2::{Digest, Sha256};
use tightfit_report::dossier::{self, DossierRecord, WriteOptions};
use tightfit_report::write::WriteError;

use crate::bench::{Bench, HEADERS, PLAN, put, qualified};

#[test]
fn the_record_holds_the_result_the_plan_and_the_hash_of_every_other_file() {
    let bench = Bench::new(PLAN, HEADERS);
    let qualified = bench.qualified();
    let options = WriteOptions { with_data: true, ..WriteOptions::default() };
    let written = dossier::write(&qualified, &bench.out(), &options).unwrap();
    assert_eq!(written.last().unwrap(), &bench.out().join("dossier.json"), "the record comes last");
    let text = fs::read_to_string(bench.out().join("dossier.json")).unwrap();
    let (record, unchanged) = DossierRecord::from_json(&text).unwrap();
    assert!(unchanged);
    assert_eq!(record.result, qualified.result);
    assert_eq!(record.plan_text, PLAN);
    assert_eq!(record.written.len() + 1, written.len());
    assert!(is_whole(&bench.out()));
    assert_eq!(
        fs::read(bench.out().join("data/hold.csv")).unwrap(),
        fs::read(bench.folder.path().join("hold.csv")).unwrap()
    );
    // The copied plan gives the same result from the copied data.
    let again = self::qualified(&bench.out().join("data/plan.toml"));
    assert_eq!(again.result, qualified.result);
}

#[test]
fn any_changed_byte_of_the_record_is_noticed() {
    let bench = Bench::new(PLAN, HEADERS);
    dossier::write(&bench.qualified(), &bench.out(), &WriteOptions::default()).unwrap();
    let text = fs::read(bench.out().join("dossier.json")).unwrap();
    for at in (0..text.len()).step_by(37) {
        let mut changed = text.clone();
        changed[at] ^= 1;
        let accepted =
            String::from_utf8(changed).is_ok_and(|t| DossierRecord::from_json(&t).is_ok_and(|(_, same)| same));
        assert!(!accepted, "a change of byte {at} went unnoticed");
    }
}

#[test]
fn an_existing_dossier_is_refused_unless_it_is_to_be_replaced() {
    let bench = Bench::new(PLAN, HEADERS);
    let qualified = bench.qualified();
    let [keep, replace] = [false, true].map(|replace| WriteOptions { replace, ..WriteOptions::default() });
    dossier::write(&qualified, &bench.out(), &keep).unwrap();
    let error = dossier::write(&qualified, &bench.out(), &keep).unwrap_err();
    assert!(matches!(error, WriteError::Exists { .. }), "{error}");
    assert!(error.hint().contains("--replace"));
    dossier::write(
        &qualified,
        &bench.out(),
        &WriteOptions { replace: true, with_data: true, ..WriteOptions::default() },
    )
    .unwrap();
    assert!(bench.out().join("data/hold.csv").exists());
    dossier::write(&qualified, &bench.out(), &replace).unwrap();
    assert!(!bench.out().join("data").exists(), "nothing of the replaced dossier is left");
    assert!(is_whole(&bench.out()));
}

#[test]
fn a_folder_that_is_no_dossier_is_never_replaced() {
    let bench = Bench::new(PLAN, HEADERS);
    fs::create_dir(bench.out()).unwrap();
    put(&bench.out().join("thesis.txt"), "ten years of work");
    let options = WriteOptions { replace: true, ..WriteOptions::default() };
    let error = dossier::write(&bench.qualified(), &bench.out(), &options).unwrap_err();
    assert!(matches!(error, WriteError::NotADossier { .. }), "{error}");
    assert_eq!(fs::read_to_string(bench.out().join("thesis.txt")).unwrap(), "ten years of work");
}

/// Set in the process that writes one dossier over the other until it is killed.
const WRITER: &str = "TIGHTFIT_TEST_WRITES_INTO";

#[test]
fn killed_at_any_moment_the_old_or_the_new_dossier_stands_whole() {
    if let Ok(folder) = std::env::var(WRITER) {
        write_forever(Path::new(&folder));
    }
    let bench = Bench::new(PLAN, HEADERS);
    dossier::write(&bench.qualified(), &bench.out(), &WriteOptions::default()).unwrap();
    for round in 0..30 {
        let mut writer = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "folder::killed_at_any_moment_the_old_or_the_new_dossier_stands_whole", "--nocapture"])
            .env(WRITER, bench.folder.path())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let output = BufReader::new(writer.stdout.take().unwrap());
        assert!(output.lines().map_while(Result::ok).any(|line| line.contains("writing now")));
        std::thread::sleep(Duration::from_millis(3 + 11 * round));
        writer.kill().unwrap();
        writer.wait().unwrap();
        assert!(is_whole(&bench.out()), "round {round}");
    }
    dossier::write(&bench.qualified(), &bench.out(), &WriteOptions { replace: true, ..WriteOptions::default() })
        .unwrap();
    let mut left: Vec<_> = fs::read_dir(bench.folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, ["dossier", "hold.csv", "plan.toml"], "what the killed left is cleared away");
}

fn write_forever(folder: &Path) -> ! {
    let qualified = qualified(&folder.join("plan.toml"));
    std::io::stdout().write_all(b"\nwriting now\n").unwrap();
    for with_data in [true, false].into_iter().cycle() {
        dossier::write(
            &qualified,
            &folder.join("dossier"),
            &WriteOptions { replace: true, with_data, ..WriteOptions::default() },
        )
        .unwrap();
    }
    unreachable!("the loop has no end")
}

/// Whether the folder holds exactly the files of its record, each with its hash.
fn is_whole(dossier: &Path) -> bool {
    let text = fs::read_to_string(dossier.join("dossier.json")).unwrap();
    let (record, unchanged) = DossierRecord::from_json(&text).unwrap();
    let hashes_hold = record.written.iter().all(|file| {
        let hash = Sha256::digest(fs::read(dossier.join(&file.path)).unwrap());
        hash.iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}")) == file.sha256
    });
    unchanged && hashes_hold && count_files(dossier) == record.written.len() + 1
}

fn count_files(folder: &Path) -> usize {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| if path.is_dir() { count_files(&path) } else { 1 }).sum()
}
