//! Separators, line ends, encodings, quotes.

use std::io::Write as _;

use tightfit_ingest::Channel::GaugePressure;
use tightfit_ingest::{Format, ReadOptions, read_bytes};

use super::support::{PLAIN, PLAIN_PA, PLAIN_START_S, plan, read, read_raw, read_with, rows, times, values};

fn assert_plain(recording: &tightfit_ingest::Recording) {
    assert_eq!(values(recording, GaugePressure), PLAIN_PA);
    assert_eq!(times(recording, GaugePressure), [0.0, 60.0, 120.0, 180.0, 240.0].map(|s| PLAIN_START_S + s));
    assert_eq!(rows(recording), (5, 5, 0));
}

#[test]
fn every_separator_is_recognised() {
    for separator in [",", ";", "\t", "|", " , ", ";  "] {
        assert_plain(&read(&PLAIN.replace(',', separator)));
    }
}

#[test]
fn runs_of_blanks_separate_fields() {
    let text = "time                  dP(Pa)\n2026-05-04T09:00:00Z   -1000\n2026-05-04T09:01:00Z    -999\n2026-05-04T09:02:00Z    -998.5\n2026-05-04T09:03:00Z    -998\n2026-05-04T09:04:00Z  -997.25\n";
    assert_plain(&read(text));
}

#[test]
fn fixed_width_names_may_hold_single_blanks() {
    let text = "Date        Time       Gas temp (°C)   Gauge pressure (Pa)\n2026-05-04  09:00:00   21.5            -1000\n2026-05-04  09:01:00   21.6            -999\n2026-05-04  09:02:00   21.7            -998\n";
    let recording = read(text);
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0, -998.0]);
}

#[test]
fn every_line_end_is_recognised() {
    for end in ["\n", "\r\n", "\r"] {
        assert_plain(&read(&PLAIN.replace('\n', end)));
        assert_plain(&read(PLAIN.replace('\n', end).trim_end()));
    }
}

#[test]
fn a_line_break_inside_quotes_does_not_end_a_record() {
    let text = "time;dP (Pa)\r2026-05-04T09:00:00Z;-1000\r\"\r\n\"\r2026-05-04T09:01:00Z;-999\r";
    let recording = read(text);
    assert_eq!(rows(&recording), (3, 2, 1));
    let with_note = "time,note,dP (Pa)\n2026-05-04T09:00:00Z,\"first\nsecond line\",-1000\n2026-05-04T09:01:00Z,,-999\n2026-05-04T09:02:00Z,bad,x\n";
    let recording = read(with_note);
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0]);
    assert_eq!(recording.account.by_reason()[0].lines, [5]);
}

#[test]
fn an_unclosed_quote_costs_its_own_row_only() {
    let text = PLAIN.replace("09:01:00Z,-999", "09:01:00Z,\"-999");
    let recording = read(&text);
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -998.5, -998.0, -997.25]);
    assert_eq!(rows(&recording), (5, 4, 1));
    let set_aside = &recording.account.by_reason()[0];
    assert_eq!(set_aside.reason.to_string(), "quote never closed");
    assert_eq!(set_aside.lines, [3]);
}

#[test]
fn an_inch_mark_is_no_quote() {
    let text = "time,p (\"H2O gauge)\n2026-05-04T09:00:00Z,-4\n2026-05-04T09:01:00Z,-3.9\n2026-05-04T09:02:00Z,-3.8\n";
    let recording = read(text);
    assert!((values(&recording, GaugePressure)[0] + 4.0 * 249.088_91).abs() < 1e-6);
}

#[test]
fn every_encoding_is_recognised() {
    let text = "Zeit;Gastemperatur (°C)\r\n2026-05-04T09:00:00Z;21,5\r\n2026-05-04T09:01:00Z;21,6\r\n2026-05-04T09:02:00Z;21,7\r\n";
    let utf16 = |to_bytes: fn(u16) -> [u8; 2], mark: bool| -> Vec<u8> {
        let mark = if mark { vec![0xfeff] } else { Vec::new() };
        mark.into_iter().chain(text.encode_utf16()).flat_map(to_bytes).collect()
    };
    let latin1: Vec<u8> = text.chars().map(|c| c as u8).collect();
    let marked: Vec<u8> = [b"\xef\xbb\xbf", text.as_bytes()].concat();
    for bytes in [
        text.as_bytes().to_vec(),
        marked,
        latin1,
        utf16(u16::to_le_bytes, true),
        utf16(u16::to_be_bytes, true),
        utf16(u16::to_le_bytes, false),
        utf16(u16::to_be_bytes, false),
    ] {
        let recording = read_raw(&bytes);
        assert_eq!(values(&recording, tightfit_ingest::Channel::GasTemperature).len(), 3, "{:?}", recording.choices[0]);
    }
}

#[test]
fn gzip_is_unpacked() {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(PLAIN.as_bytes()).unwrap();
    let packed = encoder.finish().unwrap();
    assert_plain(&read_raw(&packed));
    let cut = read_bytes("log.csv.gz", &packed[..packed.len() - 12], &ReadOptions::default()).unwrap_err();
    assert!(cut.to_string().starts_with("log.csv.gz: the compressed file ends badly"), "{cut}");
}

#[test]
fn a_separator_line_is_obeyed_and_counted() {
    let recording = read(&format!("sep=;\r\n{}", PLAIN.replace(',', ";").replace("-999\n", "oops\n")));
    assert_eq!(rows(&recording), (5, 4, 1));
    assert_eq!(recording.account.by_reason()[0].lines, [4]);
}

#[test]
fn the_plan_may_state_the_dialect() {
    let format =
        Format { delimiter: Some(';'), decimal: Some(','), encoding: Some("windows-1252".into()), ..Format::default() };
    let text = PLAIN.replace(',', ";").replace('.', ",");
    assert_plain(&read_with(&text, &plan(Vec::new(), format)));
}

#[test]
fn every_choice_gives_its_reason() {
    let recording = read(PLAIN);
    for what in ["encoding", "delimiter", "header", "decimal mark", "time"] {
        let choice = recording.choices.iter().find(|choice| choice.what == what).unwrap();
        assert!(!choice.value.is_empty() && !choice.because.is_empty(), "{what}");
    }
}

#[test]
fn a_table_named_as_a_workbook_is_read_as_the_text_it_is() {
    let recording = read_bytes("log.xls", PLAIN.replace(',', "\t").as_bytes(), &ReadOptions::default()).unwrap();
    assert_plain(&recording);
}
