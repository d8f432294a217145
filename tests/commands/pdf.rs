//! `qualify --pdf`: a PDF beside the page, or a clear word where this is not built in.

use crate::support::Bench;

#[cfg(not(feature = "pdf"))]
#[test]
fn without_the_typesetter_the_answer_says_how_to_get_it_and_nothing_is_written() {
    let bench = Bench::with_demo();
    let run = bench.run(&["qualify", "tight.toml", "--out", "dossier", "--pdf"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stdout.is_empty() && run.stderr.contains("built without PDF"), "{run:?}");
    assert!(run.stderr.contains("--features pdf") && run.stderr.contains("browser"), "{run:?}");
    assert!(!bench.path("dossier").exists());
}

#[test]
fn a_pdf_needs_a_folder_to_be_written_to() {
    let run = Bench::with_demo().run(&["qualify", "tight.toml", "--pdf"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("--out"), "{run:?}");
}

#[cfg(feature = "pdf")]
#[test]
fn the_pdf_belongs_to_the_dossier_and_a_changed_byte_in_it_is_found() {
    let bench = Bench::with_demo();
    let run = bench.run(&["qualify", "tight.toml", "--out", "dossier", "--with-data", "--pdf"]);
    assert_eq!(run.code, 0, "{run:?}");
    assert!(run.stderr.contains("dossier.pdf"), "{run:?}");
    let record: serde_json::Value = serde_json::from_str(&bench.read("dossier/dossier.json")).unwrap();
    let written = record["written"].as_array().unwrap();
    assert!(written.iter().any(|file| file["path"] == "dossier.pdf"), "{written:?}");
    assert_eq!(bench.run(&["recheck", "dossier"]).code, 0);

    let mut bytes = std::fs::read(bench.path("dossier/dossier.pdf")).unwrap();
    assert!(bytes.starts_with(b"%PDF-1.7"));
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    bench.write("dossier/dossier.pdf", &bytes);
    let run = bench.run(&["recheck", "dossier"]);
    assert_eq!(run.code, 1, "{run:?}");
    assert!(run.stdout.contains("dossier.pdf was changed"), "{run:?}");

    let again = bench.run(&["qualify", "tight.toml", "--out", "dossier", "--replace"]);
    assert_eq!(again.code, 0, "{again:?}");
    assert!(!bench.path("dossier/dossier.pdf").exists(), "a PDF of an older result does not stay behind");
}
