//! Saved recordings come back as they were.

use tightfit_ingest::Channel::Oxygen;
use tightfit_ingest::{ColumnRequest, Format, table};

use super::support::{PLAIN, plan, read, read_with};

#[test]
fn a_recording_comes_back_bit_for_bit() {
    let folder = tempfile::tempdir().unwrap();
    let request = ColumnRequest {
        instrument: Some("analyser".into()),
        reporting_limit: Some(1e-7),
        ..ColumnRequest::by_name(Oxygen, "O2 (ppm)")
    };
    let text = "time;O2 (ppm);Make-up flow (NL/min);note\n2026-05-04T09:00:00Z;2.3;0.1;a\n2026-05-04T09:01:00Z;<0.1;0.2;b\nnot a time;1;2;c\n2026-05-04T09:02:00Z;---;0.3;d\n";
    for recording in
        [read_with(text, &plan(vec![request], Format::default())), read(PLAIN), read("Time;x\n1;2\n2;3\n3;4\n")]
    {
        let path = folder.path().join("log.parquet");
        table::save(&recording, &path).unwrap();
        assert_eq!(table::load(&path).unwrap(), recording);
    }
}

#[test]
fn a_frame_holds_every_reading() {
    let frame = read(PLAIN).frame().unwrap();
    assert_eq!((frame.height(), frame.width()), (5, 4));
}

#[test]
fn other_parquet_files_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.parquet");
    std::fs::write(&path, b"not parquet").unwrap();
    assert!(table::load(&path).is_err());
}
