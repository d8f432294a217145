//! Every row used or set aside, in time order.

use tightfit_ingest::Channel::GaugePressure;

use super::support::{PLAIN, PLAIN_PA, PLAIN_START_S, read, rows, times, values};

#[test]
fn duplicates_are_set_aside_once_and_for_all() {
    let text = format!("{PLAIN}2026-05-04T09:02:00Z,-998.5\n2026-05-04T09:03:00Z,-123\n");
    let recording = read(&text);
    assert_eq!(values(&recording, GaugePressure), PLAIN_PA);
    let reasons: Vec<String> =
        recording.account.by_reason().iter().map(|group| format!("{} {:?}", group.reason, group.lines)).collect();
    assert_eq!(reasons, ["duplicate of an earlier row [7]", "same time as an earlier row, other readings [8]"]);
}

#[test]
fn rows_out_of_order_are_used_and_put_in_order() {
    let mut lines: Vec<&str> = PLAIN.lines().collect();
    lines.swap(2, 4);
    let recording = read(&(lines.join("\n") + "\n"));
    assert_eq!(values(&recording, GaugePressure), PLAIN_PA);
    assert_eq!(rows(&recording), (5, 5, 0));
    assert!(recording.notes.iter().any(|note| note.contains("put in time order")));
}

#[test]
fn line_numbers_are_those_of_an_editor() {
    let text = format!("a preamble\n\n{PLAIN}\n\nnot a time,-990\n");
    let recording = read(&text);
    assert_eq!(recording.account.by_reason()[0].lines, [11]);
}

#[test]
fn gaps_are_listed() {
    let text = PLAIN.replace("09:04:00", "09:34:00");
    let recording = read(&text);
    assert_eq!(recording.gaps_s, [(PLAIN_START_S + 180.0, PLAIN_START_S + 2040.0)]);
    assert_eq!(recording.cadence_s, Some(60.0));
    assert_eq!(recording.span_s, Some((PLAIN_START_S, PLAIN_START_S + 2040.0)));
}

#[test]
fn a_file_cut_in_mid_row_loses_that_row_only() {
    let recording = read(&PLAIN[..PLAIN.len() - 12]);
    assert_eq!(rows(&recording), (5, 4, 1));
    assert_eq!(times(&recording, GaugePressure).len(), 4);
}

#[test]
fn zeros_that_a_power_loss_left_are_set_aside() {
    let text = format!("{PLAIN}{}\n2026-05-04T09:05:00Z,-996\n", "\0".repeat(40));
    let recording = read(&text);
    assert_eq!(rows(&recording), (7, 6, 1));
}

#[test]
fn a_last_row_cut_in_its_midst_is_set_aside_and_one_without_a_line_end_is_used() {
    let rows_of =
        |end: &str| format!("Time (s);dP (Pa);T (°C);bar (hPa)\n0;-900;21.5;984.1\n1;-899;21.5;984.1\n2;-898;{end}");
    let recording = read(&rows_of("21"));
    assert_eq!(rows(&recording), (3, 2, 1));
    let aside = &recording.account.by_reason()[0];
    assert_eq!((aside.reason.to_string(), aside.lines.as_slice()), ("last row, cut short".to_owned(), [4].as_slice()));
    assert_eq!(rows(&read(&rows_of("21.5;984.1"))), (3, 3, 0));
    // A row that the logger ended itself lacks what it lacks.
    assert_eq!(rows(&read(&rows_of("21.5\n"))), (3, 3, 0));
}

#[test]
fn a_last_line_of_a_megabyte_is_set_aside() {
    let readings = (0..20_000).map(|second| format!("{second},-{}\n", 900 - second % 7)).collect::<Vec<_>>().concat();
    let recording = read(&format!("Time (s),dP (Pa)\n{readings}{}\n", "9".repeat(1 << 20)));
    assert_eq!(recording.account.rows_used(), 20_000);
}
