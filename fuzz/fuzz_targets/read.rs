//! Any bytes under any plan: no panic, no hang, and the row account holds.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tightfit_ingest::{Channel, ColumnRef, ColumnRequest, Format, Layout, ReadOptions, Recording, read_bytes};

fuzz_target!(|input: (&[u8], [u8; 3])| {
    let (bytes, [form, time, columns]) = input;
    if let Ok(recording) = read_bytes("fuzz", bytes, &options(form, time, columns)) {
        check(&recording);
    }
});

/// A plan from three bytes; zeros are no plan at all.
fn options(form: u8, time: u8, columns: u8) -> ReadOptions {
    let format = Format {
        header: [None, Some(true), Some(false), None][usize::from(form & 3)],
        delimiter: [None, Some(';'), Some(' '), Some(',')][usize::from(form >> 2 & 3)],
        decimal: [None, Some(','), Some('.'), None][usize::from(form >> 4 & 3)],
        thousands: [None, Some('.'), None, Some(',')][usize::from(form >> 6)],
        time: [
            None,
            Some("elapsed"),
            Some("epoch s"),
            Some("spreadsheet days"),
            Some("%d/%m/%Y %H:%M:%S"),
            Some("%y%m%d"),
            None,
            None,
        ][usize::from(time & 7)]
        .map(str::to_owned),
        elapsed_unit: [None, Some("ms"), Some("min"), None][usize::from(time >> 3 & 3)].map(str::to_owned),
        layout: [None, Some(Layout::Long), Some(Layout::Wide), None][usize::from(time >> 5 & 3)],
        ..Format::default()
    };
    let mut requests = Vec::new();
    if columns & 1 != 0 {
        requests.push(ColumnRequest::by_position(Channel::GaugePressure, 2).with_unit("inHg vacuum"));
    }
    if columns & 2 != 0 {
        requests.push(ColumnRequest {
            reporting_limit: Some(1e-7),
            range: Some((0.0, 1e-3)),
            ..ColumnRequest::by_position(Channel::Water, 3).with_unit("°C dew point")
        });
    }
    if columns & 4 != 0 {
        requests.push(ColumnRequest::new(Channel::Time, vec![ColumnRef::Position(1), ColumnRef::Position(2)]));
    }
    ReadOptions {
        format,
        columns: requests,
        time_zone: (columns & 8 != 0).then(|| "Europe/Vienna".to_owned()),
        ..ReadOptions::default()
    }
}

fn check(recording: &Recording) {
    let account = &recording.account;
    assert_eq!(account.rows_read(), account.rows_used() + account.rows_set_aside());
    assert_eq!(account.rows_set_aside(), account.by_reason().iter().map(|group| group.count).sum::<u64>());
    for series in &recording.series {
        assert_eq!(series.time_s.len(), series.value.len());
        assert!(series.len() as u64 <= account.rows_used());
        assert!(series.status.is_empty() || series.status.len() == series.len());
        assert!(series.time_s.windows(2).all(|pair| pair[0] <= pair[1]), "times out of order");
        assert!(series.value.iter().all(|value| !value.is_nan()), "a reading that is none");
    }
}
