//! Any text as the record of a dossier whose files are gone: a recheck ends with words, whatever the record says.
#![no_main]

use std::cell::LazyCell;

use libfuzzer_sys::fuzz_target;
use tempfile::TempDir;
use tightfit_report::dossier::RECORD_FILE;
use tightfit_report::recheck::recheck;

thread_local! {
    static FOLDER: LazyCell<TempDir> = LazyCell::new(|| tempfile::tempdir().expect("a temporary folder"));
}

fuzz_target!(|text: &[u8]| {
    FOLDER.with(|folder| {
        std::fs::write(folder.path().join(RECORD_FILE), text).expect("a written record");
        match recheck(folder.path(), None) {
            Ok(found) => {
                assert!(found.files >= 1);
                assert!(found.differences.iter().all(|difference| !difference.to_string().is_empty()));
            }
            Err(error) => assert!(!error.to_string().is_empty() && !error.hint().is_empty()),
        }
    });
});
