//! Rechecking a dossier: the same where nothing changed, every changed byte found.

use std::fs;

use crate::support::{Bench, keep_json};

fn dossier() -> Bench {
    let bench = Bench::with_demo();
    let run = bench.run(&["qualify", "leaky.toml", "--out", "dossier", "--with-data"]);
    assert_eq!(run.code, 1, "{run:?}");
    bench
}

#[test]
fn an_untouched_dossier_is_the_same() {
    let bench = dossier();
    for name in ["leaky-enclosure.csv", "leaky-barometer.csv", "leaky.toml"] {
        fs::remove_file(bench.path(name)).unwrap();
    }
    let run = bench.run(&["recheck", "dossier"]);
    assert_eq!(run.code, 0, "{run:?}");
    assert!(run.stdout.starts_with("the same"), "{}", run.stdout);
    assert_eq!(bench.run(&["recheck", "dossier/dossier.json"]).code, 0);
    keep_json(&bench.read("dossier/dossier.json"));
}

#[test]
fn a_changed_byte_is_found_in_every_file_of_the_dossier() {
    let bench = dossier();
    let files =
        ["dossier.json", "dossier.html", "data/leaky-enclosure.csv", "data/leaky-barometer.csv", "data/leaky.toml"];
    for (seed, name) in files.iter().enumerate() {
        let path = format!("dossier/{name}");
        let sound = fs::read(bench.path(&path)).unwrap();
        for k in 0..12usize {
            let mut bytes = sound.clone();
            // A fixed walk through the file, coprime to its usual lengths.
            let place = (k * 7_919 + seed * 104_729) % bytes.len();
            bytes[place] ^= 1 << (k % 7);
            bench.write(&path, &bytes);
            let run = bench.run(&["recheck", "dossier"]);
            assert!(run.code == 1 || run.code == 2, "byte {place} of {name}: {run:?}");
            assert!(!run.stderr.contains("panicked"), "{run:?}");
        }
        bench.write(&path, &sound);
    }
    assert_eq!(bench.run(&["recheck", "dossier"]).code, 0);
}

#[test]
fn a_dossier_without_its_raw_files_says_where_to_look() {
    let bench = Bench::with_demo();
    bench.run(&["qualify", "tight.toml", "--out", "dossier"]);
    assert_eq!(bench.run(&["recheck", "dossier"]).code, 0);
    fs::create_dir(bench.path("logs")).unwrap();
    fs::rename(bench.path("tight.csv"), bench.path("logs/tight.csv")).unwrap();
    let run = bench.run(&["recheck", "dossier"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("--data-root"), "{}", run.stderr);
    assert_eq!(bench.run(&["recheck", "dossier", "--data-root", "logs"]).code, 0);
}

#[test]
fn an_edited_number_is_named() {
    let bench = dossier();
    let text = bench.read("dossier/dossier.json");
    bench.write("dossier/dossier.json", text.replace("\"verdict\": \"fail\"", "\"verdict\": \"pass\""));
    let run = bench.run(&["recheck", "dossier"]);
    assert_eq!(run.code, 1, "{run:?}");
    assert!(run.stdout.contains("verdicts.0.verdict") && run.stdout.contains("was changed"), "{}", run.stdout);
}

#[test]
fn a_record_that_points_outside_its_folder_is_refused() {
    let bench = dossier();
    let text = bench.read("dossier/dossier.json");
    for outside in ["/dev/zero", "../leaky.toml", "data/../../leaky.toml"] {
        bench.write("dossier/dossier.json", text.replace("\"dossier.html\"", &format!("\"{outside}\"")));
        let run = bench.run(&["recheck", "dossier"]);
        assert_eq!(run.code, 2, "{run:?}");
        assert!(run.stderr.contains("leaves the dossier's folder"), "{}", run.stderr);
    }
}
