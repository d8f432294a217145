//! What cannot be read at all says so.

use std::path::Path;

use tightfit_ingest::{Format, ReadError, ReadOptions, read, read_bytes};

fn error(bytes: &[u8]) -> ReadError {
    read_bytes("log.csv", bytes, &ReadOptions::default()).unwrap_err()
}

#[test]
fn a_missing_file_is_named() {
    let error = read(Path::new("no/such/log.csv"), &ReadOptions::default()).unwrap_err();
    assert!(error.to_string().starts_with("no/such/log.csv: cannot be read"), "{error}");
}

#[test]
fn empty_files_are_told_from_headers_without_rows() {
    assert!(matches!(error(b""), ReadError::Empty { .. }));
    assert!(matches!(error(b"\n \r\n\t\n"), ReadError::Empty { .. }));
    let header_only = error(b"time,dP (Pa)\n");
    assert_eq!(header_only.to_string(), "log.csv, line 1: a header and no row after it");
    assert!(!header_only.hint().is_empty());
}

#[test]
fn binary_junk_is_no_log() {
    let junk: Vec<u8> = (0..4000u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    assert!(matches!(error(&junk), ReadError::Binary { .. }), "{}", error(&junk));
    assert!(matches!(error(b"%PDF-1.7\nsome text here"), ReadError::Binary { .. }));
    assert!(matches!(error(b"PK\x03\x04not a workbook"), ReadError::Workbook { .. }));
}

#[test]
fn prose_is_no_log() {
    assert!(matches!(
        error(b"Dear colleague,\nplease find the log attached.\nKind regards\n"),
        ReadError::NoTable { .. }
    ));
}

#[test]
fn impossible_formats_are_refused_with_what_would_do() {
    for format in [
        Format { decimal: Some('x'), ..Format::default() },
        Format { delimiter: Some('é'), ..Format::default() },
        Format { elapsed_unit: Some("parsec".into()), ..Format::default() },
        Format { thousands: Some('7'), ..Format::default() },
    ] {
        let error = read_bytes("log.csv", b"time,dP (Pa)\n1,2\n", &ReadOptions { format, ..ReadOptions::default() })
            .unwrap_err();
        assert!(matches!(error, ReadError::Format { .. }), "{error}");
    }
    let unknown = Format { encoding: Some("klingon".into()), ..Format::default() };
    let error =
        read_bytes("log.csv", b"time,dP (Pa)\n1,2\n", &ReadOptions { format: unknown, ..ReadOptions::default() })
            .unwrap_err();
    assert_eq!(error.to_string(), "log.csv: unknown encoding 'klingon'");
}

#[test]
fn one_row_is_a_recording() {
    let recording =
        read_bytes("log.csv", b"time,dP (Pa)\n2026-05-04T09:00:00Z,-1000\n", &ReadOptions::default()).unwrap();
    assert_eq!(recording.account.rows_used(), 1);
    assert_eq!(recording.cadence_s, None);
}

#[test]
fn huge_lines_are_no_trouble() {
    let text = format!(
        "time,dP (Pa),note\n2026-05-04T09:00:00Z,-1000,{}\n2026-05-04T09:01:00Z,-999,b\n",
        "x".repeat(3_000_000)
    );
    let recording = read_bytes("log.csv", text.as_bytes(), &ReadOptions::default()).unwrap();
    assert_eq!(recording.account.rows_used(), 2);
}
