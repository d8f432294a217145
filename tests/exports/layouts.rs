//! Preambles, headers, units rows, blocks, ragged rows, the long layout.

use tightfit_ingest::Channel::{GasTemperature, GaugePressure, Oxygen, RoomPressure};
use tightfit_ingest::{Channel, ColumnRef, ColumnRequest, Format, Layout};

use super::support::{PLAIN, PLAIN_PA, plan, questions, read, read_with, rows, times, values};

#[test]
fn a_preamble_of_any_length_is_passed_over() {
    let keys: String = (0..300).map(|i| format!("Key {i}: value {i}\n")).collect();
    for preamble in [
        "Serial number:\n2006280\nUNIT: m\n".to_owned(),
        "# one\n# two, three\n#\n".to_owned(),
        "Model:\tx\nSN:\t75\nTimestamp:\t2022-11-15 09:09:42\n".to_owned(),
        keys,
        "\n\n***********\n\n".to_owned(),
    ] {
        let recording = read(&format!("{preamble}{PLAIN}"));
        assert_eq!(values(&recording, GaugePressure), PLAIN_PA, "{preamble:.40}");
        assert_eq!(rows(&recording), (5, 5, 0), "{preamble:.40}");
    }
}

#[test]
fn a_calibration_table_above_is_not_the_log() {
    let table = "CALIBRATION\t\t\t\nParameter\tLow\tHigh\tOffset [°C]\nProbe 1\t1.0\t29.5\t0.1\nProbe 2\t1.1\t29.6\t0.2\n\t\t\t\n";
    let log = "Date\tClock\tdP (Pa)\tGas temp (°C)\n2026-05-04\t09:00:00\t-1000\t21.5\n2026-05-04\t09:00:01\t-999\t21.5\n2026-05-04\t09:00:02\t-998\t21.6\n2026-05-04\t09:00:03\t-997\t21.6\n";
    let recording = read(&format!("{table}{log}"));
    assert_eq!(rows(&recording), (4, 4, 0));
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0, -998.0, -997.0]);
}

#[test]
fn units_and_aggregation_rows_belong_to_the_header() {
    let text = "\"file\",\"a\",\"b\"\n\"TIMESTAMP\",\"dP\",\"Tgas\"\n\"TS\",\"Pa\",\"degC\"\n\"\",\"Smp\",\"Avg\"\n\"2026-05-04 09:00:00\",-1000,21.5\n\"2026-05-04 09:00:01\",-999,21.5\n\"2026-05-04 09:00:02\",-998,21.5\n";
    let recording = read(text);
    assert_eq!(rows(&recording), (3, 3, 0));
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0, -998.0]);
    assert!((values(&recording, GasTemperature)[0] - 294.65).abs() < 1e-9);
}

#[test]
fn words_above_the_header_complete_it() {
    let text = "\t\tOxygen\tPressure\nDate\tTime\tCh1\t(mbar)\n25/09/2020\t09:04:56\t12.5\t991.57\n25/09/2020\t09:04:58\t12.4\t991.58\n25/09/2020\t09:05:00\t12.3\t991.59\n";
    let recording = read(text);
    assert!(recording.columns.iter().any(|column| column.header == "(mbar)" && column.channel.is_some()));
    assert!(
        questions(&recording).iter().any(|text| text.starts_with("oxygen: column 'Ch1': no unit is written")),
        "{:?}",
        recording.questions
    );
}

#[test]
fn repeated_headers_blocks_and_trailers_are_set_aside_and_counted() {
    let text = format!(
        "{PLAIN}time,dP (Pa)\n2026-05-04T09:05:00Z,-996\nEnd of file\n-----BEGIN SIGNATURE-----\njA0EAwMCGPGZ9C8\n"
    );
    let recording = read(&text);
    assert_eq!(rows(&recording), (10, 6, 4));
    let reasons: Vec<String> = recording
        .account
        .by_reason()
        .iter()
        .map(|group| format!("{} x {} {:?}", group.count, group.reason, group.lines))
        .collect();
    assert_eq!(reasons, ["1 x repeated header [7]", "3 x text between or after the data [9, 10, 11]"]);
}

#[test]
fn blocks_with_other_columns_are_followed_by_name() {
    let block = |header: &str, rows: &[&str]| format!("Key:\tvalue\n{header}\n{}\n", rows.join("\n"));
    let text = block(
        "Time\tdP (Pa)\tnote",
        &["2026-05-04T09:00:00Z\t-1000\ta", "2026-05-04T09:00:01Z\t-999\tb", "2026-05-04T09:00:02Z\t-998\tc"],
    ) + &block(
        "Time\tStatus\tdP (Pa)\tnote",
        &[
            "2026-05-04T09:00:03Z\t7\t-997\td",
            "2026-05-04T09:00:04Z\t7\t-996\te",
            "2026-05-04T09:00:05Z\t7\t-995\tf",
            "2026-05-04T09:00:06Z\t7\t-994\tg",
        ],
    );
    let recording = read(&text);
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0, -998.0, -997.0, -996.0, -995.0, -994.0]);
    assert_eq!(rows(&recording), (9, 7, 2));
}

#[test]
fn a_header_one_name_short_is_shifted() {
    let text = "Time,dP (Pa)\n1,2026-05-04T09:00:00Z,-1000\n2,2026-05-04T09:01:00Z,-999\n3,2026-05-04T09:02:00Z,-998\n";
    assert_eq!(values(&read(text), GaugePressure), [-1000.0, -999.0, -998.0]);
}

#[test]
fn ragged_rows_keep_what_they_have() {
    let text = "No,Time,dP (Pa),Bat (V)\n1,30.04.2015 15:36:51,-1000,3.6\n2,30.04.2015 16:00:00,-999\n3,30.04.2015 17:00:00\n4,30.04.2015 18:00:00,-997,,,\n";
    let recording = read(text);
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0, -997.0]);
    assert_eq!(rows(&recording), (4, 3, 1));
    assert_eq!(recording.account.by_reason()[0].reason.to_string(), "no usable reading");
}

#[test]
fn a_file_without_header_is_read_by_position() {
    let text = PLAIN.split_once('\n').unwrap().1;
    let columns = vec![ColumnRequest::by_position(GaugePressure, 2).with_unit("Pa")];
    assert_eq!(values(&read_with(text, &plan(columns, Format::default())), GaugePressure), PLAIN_PA);
}

#[test]
fn rows_of_separators_only_are_counted() {
    let recording = read(&format!("{PLAIN},\n,\n"));
    assert_eq!(rows(&recording), (7, 5, 2));
    assert_eq!(recording.account.by_reason()[0].reason.to_string(), "separators only");
}

#[test]
fn marked_rows_of_another_kind_are_set_aside() {
    let text = "Type\tTime\tdP (Pa)\n1\t2026-05-04T09:00:00Z\t-1000\n1\t2026-05-04T09:00:01Z\t-999\n1\t2026-05-04T09:00:02Z\t-998\n2\t2026-05-04T09:00:02Z\t-999\n";
    let recording = read(text);
    assert_eq!(rows(&recording), (4, 3, 1));
    assert_eq!(recording.account.by_reason()[0].reason.to_string(), "row of another kind (2)");
}

fn long() -> String {
    let mut text = "time;name;value;unit\n".to_owned();
    for i in 0..4 {
        for (name, value, unit) in
            [("dP", f64::from(-1000 + i), "Pa"), ("Gas temperature", 21.5 + f64::from(i), "°C"), ("Oxygen", 2.5, "ppm")]
        {
            text += &format!("2026-05-04T09:0{i}:00Z;{name};{value};{unit}\n");
        }
    }
    text
}

#[test]
fn the_long_layout_is_recognised() {
    let recording = read(&long());
    assert_eq!(values(&recording, GaugePressure), [-1000.0, -999.0, -998.0, -997.0]);
    assert!((values(&recording, GasTemperature)[3] - 297.65).abs() < 1e-9);
    assert!(values(&recording, Oxygen).iter().all(|value| (value - 2.5e-6).abs() < 1e-18));
    assert_eq!(rows(&recording), (12, 12, 0));
    assert_eq!(times(&recording, GaugePressure), times(&recording, Oxygen));
}

#[test]
fn a_long_layout_with_one_quantity_is_recognised_by_its_unit_or_its_header() {
    let log = |header: &str, cells: &str| {
        let row =
            |second: u32| format!("2026-10-18 10:07:{second:02};{cells}\n").replace('#', &(300 + second).to_string());
        format!("{header}\n{}", (0..60).map(row).collect::<String>())
    };
    let with_unit = read(&log("time;name;value;unit", "antechamber absolute;#;Pa"));
    assert_eq!(values(&with_unit, Channel::AntechamberPressure).len(), 60);
    // A name that nobody knows is a column that the plan may name.
    let unknown = read(&log("time;name;value;unit", "quux;#;Pa"));
    assert_eq!(unknown.columns.iter().map(|column| column.header.as_str()).collect::<Vec<_>>(), ["quux"]);
    // A remark that repeats is none.
    let remarked = read(&log("time;dP (Pa);Remark", "#;running"));
    assert_eq!(values(&remarked, GaugePressure).len(), 60);
}

#[test]
fn the_plan_may_name_quantities_of_the_long_layout() {
    let text = long().replace("dP", "Kanal A");
    let columns = vec![ColumnRequest::by_name(RoomPressure, "Kanal A")];
    let format = Format { layout: Some(Layout::Long), ..Format::default() };
    let recording = read_with(&text.replace(";-", ";101"), &plan(columns, format));
    assert_eq!(values(&recording, RoomPressure)[0], 1_011_000.0);
    assert_eq!(recording.series(Channel::RoomPressure).unwrap().column, "Kanal A");
}

#[test]
fn two_columns_of_one_quantity_are_asked_about() {
    let text = "time,O2 left (ppm),O2 right (ppm)\n2026-05-04T09:00:00Z,1,2\n2026-05-04T09:01:00Z,1,2\n2026-05-04T09:02:00Z,1,2\n";
    let recording = read(text);
    assert!(recording.series(Oxygen).is_none());
    assert!(
        questions(&recording)[0]
            .contains("'O2 left (ppm)' (column 2), 'O2 right (ppm)' (column 3): which one is meant?")
    );
    let told = read_with(
        text,
        &plan(vec![ColumnRequest::new(Oxygen, vec![ColumnRef::Name("O2 right (ppm)".into())])], Format::default()),
    );
    assert_eq!(values(&told, Oxygen), [2e-6; 3]);
}

#[test]
fn a_column_the_file_does_not_have_is_a_question_with_the_columns_there_are() {
    let recording = read_with(PLAIN, &plan(vec![ColumnRequest::by_name(Oxygen, "O2")], Format::default()));
    assert_eq!(questions(&recording), ["oxygen: there is no column 'O2'; the columns are 'time', 'dP (Pa)'"]);
}

#[test]
fn a_sheet_stated_for_a_text_file_is_said_and_all_of_it_is_read() {
    let format = Format { sheet: Some("Log".into()), ..Format::default() };
    let recording = read_with(PLAIN, &plan(Vec::new(), format));
    assert_eq!(values(&recording, GaugePressure), PLAIN_PA);
    let said = recording.questions.iter().find(|question| question.text.contains("has no sheets")).unwrap();
    assert!(!said.blocking && said.text.contains("\"Log\""), "{said:?}");
}

#[test]
fn local_times_beside_an_empty_column_are_still_cut_at_commas() {
    let text: String = (10..40).fold("time,Antechamber (Pa),Room (hPa)\n".to_owned(), |text, minute| {
        format!("{text}2026-05-04 09:{minute}:00,20.{minute},NaN\n")
    });
    let recording = read(&text);
    assert_eq!(recording.columns.len(), 3, "{:?}", recording.choices);
    assert_eq!(values(&recording, Channel::AntechamberPressure).len(), 30);
}

#[test]
fn a_column_without_any_number_is_said_to_be_there() {
    for cell in ["NaN", "", "---"] {
        let text: String = PLAIN
            .lines()
            .skip(1)
            .fold("time,dP (Pa),O2 (ppm)\n".to_owned(), |text, line| format!("{text}{line},{cell}\n"));
        let recording = read(&text);
        let column = recording.columns.iter().find(|column| column.header == "O2 (ppm)").unwrap();
        assert!(column.without_number && column.because == "holds no number", "{cell}: {column:?}");
        assert!(recording.columns.iter().filter(|column| column.without_number).count() == 1);
        assert_eq!(rows(&recording), (5, 5, 0));
    }
}

#[test]
fn rows_before_a_long_stretch_of_an_error_word_are_data() {
    for word in ["ERR", "FAULT", "WARMUP"] {
        let row = |minute: u32| {
            let cell = if (40..75).contains(&minute) {
                word.to_owned()
            } else {
                format!("{:.2}", 0.3 + 0.01 * f64::from(minute % 7))
            };
            format!("2026-06-20T{:02}:{:02}:00Z;{cell}\n", 8 + minute / 60, minute % 60)
        };
        let text = format!("Time;O2 (ppm)\n{}", (0..200).map(row).collect::<String>());
        let recording = read(&text);
        assert_eq!(rows(&recording), (200, 165, 35), "{word}");
        assert_eq!(values(&recording, Oxygen).len(), 165, "{word}");
    }
}

#[test]
fn a_column_that_one_block_lacks_is_read_in_the_next_again() {
    let block = |start: u32, header: &str, cells: &str| {
        let rows: String =
            (start..start + 3).map(|second| format!("2026-05-04T09:00:{second:02}Z\t-1000\t{cells}\n")).collect();
        format!("{header}\n{rows}")
    };
    let text = block(0, "Time\tdP (Pa)\tGas (°C)\tFan", "22.5\t7")
        + &block(10, "Time\tdP (Pa)\tFan", "7")
        + &block(20, "Time\tdP (Pa)\tFan\tGas (°C)", "7\t22.5");
    let recording = read(&text);
    assert_eq!(values(&recording, GaugePressure).len(), 9);
    let gas = values(&recording, GasTemperature);
    assert_eq!(gas.len(), 6, "{gas:?}");
    assert!(gas.iter().all(|k| (k - 295.65).abs() < 1e-9), "{gas:?}");
}
