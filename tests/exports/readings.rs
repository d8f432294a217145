//! Readings that are not plain numbers.

use tightfit_ingest::Channel::{
    AntechamberPressure, Event, GasTemperature, GaugePressure, Oxygen, PurifierOn, Transfer, ValveOpen, Water,
};
use tightfit_ingest::Status::{self, AboveRange, BelowLimit, Measured};
use tightfit_ingest::{ColumnRef, ColumnRequest, Format, Recording};

use super::support::{plan, questions, read, read_with, rows, values};

fn oxygen_text(cells: &[&str]) -> String {
    std::iter::once("time;O2 (ppm);dP (Pa)\n".to_owned())
        .chain(cells.iter().enumerate().map(|(i, cell)| format!("2026-05-04T09:{i:02}:00Z;{cell};-{}\n", 1000 - i)))
        .collect()
}

fn oxygen(cells: &[&str]) -> Recording {
    read(&oxygen_text(cells))
}

fn statuses(recording: &Recording) -> Vec<Status> {
    let series = recording.series(Oxygen).unwrap();
    (0..series.len()).map(|i| series.status_at(i)).collect()
}

#[test]
fn censored_readings_stay_with_their_limit() {
    let recording = oxygen(&["2.5", "<0.1", "< 0.1", ">1000", "3"]);
    assert!(
        values(&recording, Oxygen)
            .iter()
            .zip([2.5e-6, 1e-7, 1e-7, 1e-3, 3e-6])
            .all(|(a, b): (&f64, f64)| (a - b).abs() < 1e-15)
    );
    assert_eq!(
        statuses(&recording),
        [Status::Measured, Status::BelowLimit, Status::BelowLimit, Status::AboveRange, Status::Measured]
    );
    assert_eq!(rows(&recording), (5, 5, 0));
}

#[test]
fn limits_of_the_plan_censor_numbers_and_words() {
    let request = ColumnRequest {
        reporting_limit: Some(1e-7),
        range: Some((0.0, 1e-3)),
        ..ColumnRequest::by_name(Oxygen, "O2 (ppm)")
    };
    let recording = read_with(
        &oxygen_text(&["2.5", "0.05", "LOW", "OVER", "1000", "-0.2"]),
        &plan(vec![request], Format::default()),
    );
    assert_eq!(statuses(&recording), [Measured, BelowLimit, BelowLimit, AboveRange, AboveRange, BelowLimit]);
    assert_eq!(values(&recording, Oxygen)[1..], [1e-7, 1e-7, 1e-3, 1e-3, 1e-7]);
}

/// A log of oxygen with a column of words: two rows with one, forty without.
fn with_words(header: &str, words: [&str; 2], else_: &str) -> Recording {
    let word = |row: usize| match row {
        10 => words[0],
        25 => words[1],
        _ => else_,
    };
    let rows = (0..42).map(|row| format!("2026-05-04T09:{row:02}:00Z;0.{row:02};{}\n", word(row)));
    read(&format!("time;O2 (ppm);{header}\n{}", rows.collect::<String>()))
}

#[test]
fn words_under_transfer_mark_transfers_and_rows_without_one_are_without_mark() {
    for (header, words, else_) in [
        ("Transfer", ["in", "out"], ""),
        ("transfer through antechamber", ["x", "x"], "-"),
        ("Schleusung", ["ja", "Probe 7"], "nein"),
        ("Transfer", ["open", "opened"], "closed"),
        ("transfer", ["1", "1"], "0"),
    ] {
        let recording = with_words(header, words, else_);
        let marks = values(&recording, Transfer);
        let marked: Vec<usize> = (0..marks.len()).filter(|row| marks[*row] >= 0.5).collect();
        assert_eq!((marks.len(), marked), (42, vec![10, 25]), "{header}, {words:?}");
        assert_eq!(rows(&recording), (42, 42, 0));
        assert!(questions(&recording).is_empty());
    }
}

#[test]
fn events_and_remarks_mark_a_transfer_where_they_name_one() {
    for header in ["Event", "Remarks", "Bemerkung"] {
        let recording = with_words(header, ["sensor calibrated", "transfer of samples"], "");
        let marks = values(&recording, Event);
        assert_eq!((marks.len(), marks.iter().sum::<f64>()), (42, 1.0), "{header}");
        assert!(marks[25] >= 0.5);
        assert_eq!(recording.columns[2].cells.text, 1);
        let nothing = with_words(header, ["sensor calibrated", "night shift"], "");
        assert_eq!(nothing.columns[2].channel, None);
        assert_eq!(nothing.columns[2].because, "no word in it marks a transfer");
        assert_eq!((rows(&nothing), values(&nothing, Event).len()), ((42, 42, 0), 0));
    }
}

#[test]
fn words_of_a_switch_are_its_state() {
    for (header, channel, words, else_) in [
        ("Purifier", PurifierOn, ["ON", "on"], "OFF"),
        ("Reiniger", PurifierOn, ["Ein", "ein"], "Aus"),
        ("purifier state", PurifierOn, ["running", "running"], "regenerating"),
        ("Valve", ValveOpen, ["Open", "OPEN"], "Closed"),
        ("vanne", ValveOpen, ["Ouvert", "ouverte"], "fermé"),
    ] {
        let recording = with_words(header, words, else_);
        let states = values(&recording, channel);
        let on: Vec<usize> = (0..states.len()).filter(|row| states[*row] >= 0.5).collect();
        assert_eq!((states.len(), on), (42, vec![10, 25]), "{header}, {words:?}");
        assert_eq!(recording.columns[2].because, "its words say on or off, open or closed");
        assert!(questions(&recording).is_empty());
    }
}

#[test]
fn words_of_a_switch_do_not_hide_the_delimiter() {
    for (delimiter, words) in
        [(';', ["OFF", "ON"]), (';', ["aus", "ein"]), (';', ["zu", "offen"]), ('\t', ["OFF", "ON"])]
    {
        for remark in [false, true] {
            let row = |row: usize| {
                let word = words[usize::from(row > 20)];
                let end = if remark { delimiter.to_string() } else { String::new() };
                format!("13/10/2026 09:{row:02}:00{delimiter}119,{row}{delimiter}{word}{end}\n")
            };
            let header = format!("Date/Time{delimiter}Oxygen (ppm){delimiter}Purifier");
            let end = if remark { format!("{delimiter}Remark") } else { String::new() };
            let recording = read(&format!("{header}{end}\n{}", (0..42).map(row).collect::<String>()));
            assert_eq!(values(&recording, PurifierOn).iter().sum::<f64>(), 21.0, "{delimiter:?} {words:?}");
            assert!((values(&recording, Oxygen)[20] - 119.2e-6).abs() < 1e-12);
            assert_eq!(rows(&recording), (42, 42, 0));
        }
    }
}

#[test]
fn one_unit_makes_a_row_of_units() {
    for units in [";;ppm;;", "-;-;ppm;-;-", ";;[ppm];;", ";;%;;"] {
        let row = |row: usize| format!("13.10.2026;09:{row:02};0,4{row};EIN;\n");
        let text = format!("Datum;Uhrzeit;O2;Reiniger;Ereignis\n{units}\n{}", (0..42).map(row).collect::<String>());
        let recording = read(&text);
        assert_eq!(values(&recording, Oxygen).len(), 42, "{units}: {:?}", recording.questions);
        assert_eq!(rows(&recording), (42, 42, 0));
    }
}

#[test]
fn rows_that_say_nothing_of_a_switch_leave_its_state_open() {
    let recording = with_words("Purifier", ["on", "off"], "");
    assert_eq!((values(&recording, PurifierOn), rows(&recording)), (vec![1.0, 0.0], (42, 42, 0)));
    let other = with_words("Purifier", ["fault 7", "on"], "see sheet");
    assert_eq!((other.columns[2].channel, rows(&other)), (None, (42, 42, 0)));
}

#[test]
fn words_that_stand_in_most_rows_without_a_usual_one_mark_nothing() {
    let names = (0..30).map(|row| format!("2026-05-04T09:{row:02}:00Z;0.{row:02};state {row}\n"));
    let recording = read(&format!("time;O2 (ppm);Transfer\n{}", names.collect::<String>()));
    assert_eq!((values(&recording, Transfer).len(), rows(&recording)), (0, (30, 30, 0)));
}

#[test]
fn a_file_of_unknown_channels_keeps_its_rows_beside_a_column_of_remarks() {
    let rows_of = |row: usize| format!("2026-05-04T09:{row:02}:00Z;{row};{}\n", if row == 3 { "transfer" } else { "" });
    let recording = read(&format!("time;quux;Remarks\n{}", (0..30).map(rows_of).collect::<String>()));
    assert_eq!(rows(&recording), (30, 30, 0));
}

#[test]
fn missing_readings_and_status_words_are_counted_cell_by_cell() {
    let recording = oxygen(&["2.5", "---", "", "NaN", "#N/A", "OFF", "-", "3.5"]);
    assert_eq!(values(&recording, Oxygen).len(), 2);
    assert_eq!(values(&recording, GaugePressure).len(), 8);
    assert_eq!(rows(&recording), (8, 8, 0));
    let cells = recording.columns[1].cells;
    assert_eq!((cells.measured, cells.missing, cells.text), (2, 5, 1));
}

#[test]
fn a_row_without_any_reading_is_set_aside() {
    let text = "time;O2 (ppm)\n2026-05-04T09:00:00Z;2.5\n2026-05-04T09:01:00Z;---\n2026-05-04T09:02:00Z;inf\n2026-05-04T09:03:00Z;2.4\n";
    let recording = read(text);
    assert_eq!(rows(&recording), (4, 2, 2));
    assert_eq!(recording.account.by_reason()[0].lines, [3, 4]);
}

#[test]
fn filler_values_are_told_from_readings() {
    let recording = oxygen(&["2.5", "-9999", "2.6", "2.4", "-9999", "2.5"]);
    assert_eq!(values(&recording, Oxygen).len(), 4);
    assert_eq!(recording.columns[1].cells.filler, 2);
    let thermometer =
        "time;Gas temp (°C)\n2026-05-04T09:00:00Z;21.5\n2026-05-04T09:01:00Z;-200\n2026-05-04T09:02:00Z;21.6\n";
    assert_eq!(values(&read(thermometer), GasTemperature).len(), 2);
    let at_minus_999_pa =
        "time;dP (Pa)\n2026-05-04T09:00:00Z;-1000\n2026-05-04T09:01:00Z;-999\n2026-05-04T09:02:00Z;-998\n";
    assert_eq!(values(&read(at_minus_999_pa), GaugePressure), [-1000.0, -999.0, -998.0]);
}

#[test]
fn a_filler_below_zero_among_pressures_above_it_is_no_pressure() {
    // From the weather's pressure down to the pump's: a spread beside which -9999 Pa is not far away.
    let row = |second: usize| match second {
        5 | 70 => "-9999".to_owned(),
        90 => "OVER".to_owned(),
        second => format!("{:.0}", 300.0 + 98_000.0 * (-(second as f64) / 8.0).exp()),
    };
    let rows: String = (0..120).map(|second| format!("{second};{}\n", row(second))).collect();
    for header in ["antechamber absolute (Pa)", "antechamber pressure (Pa)"] {
        let recording = read(&format!("time (s);{header}\n{rows}"));
        let pressures = values(&recording, AntechamberPressure);
        assert_eq!(pressures.len(), 118, "{header}");
        assert!(pressures.iter().all(|pa| *pa > 0.0), "{header}");
    }
}

#[test]
fn above_a_range_that_is_not_stated_a_reading_is_at_least_the_largest_number() {
    let recording = oxygen(&["2.5", "9.0", "OVER", "OVER", "8.0", "2.5"]);
    let series = recording.series.iter().find(|series| series.channel == Oxygen).unwrap();
    assert_eq!(series.value.len(), 6);
    assert_eq!(series.status[2..4], [Status::AboveRange; 2]);
    assert!((series.value[2] - 9e-6).abs() < 1e-15, "{:?}", series.value);
    assert!(recording.notes.iter().any(|note| note.contains("state range")), "{:?}", recording.notes);
    // Not a number at all: nothing is known.
    let nothing = oxygen(&["OVER", "OVER", "OVER"]);
    assert!(nothing.series.iter().all(|series| series.channel != Oxygen));
    let asked = ColumnRequest {
        unit: Some("ppm".into()),
        ..ColumnRequest::new(Oxygen, vec![ColumnRef::Name("O2 (ppm)".into())])
    };
    let alone = "time;O2 (ppm)\n2026-05-04T09:00:00Z;OVER\n2026-05-04T09:01:00Z;OVER\n2026-05-04T09:02:00Z;OVER\n";
    let named = read_with(alone, &plan(vec![asked], Format::default()));
    assert_eq!((named.account.rows_used(), named.account.rows_set_aside()), (0, 3), "{:?}", named.account);
}

#[test]
fn switches_and_valves_are_brought_to_zero_and_one() {
    let of = |numbers: &[&str]| {
        let rows: String = (0..)
            .zip(numbers)
            .map(|(minute, number)| format!("2026-05-04T09:{minute:02}:00Z;{number};2.5\n"))
            .collect();
        let recording = read(&format!("time;valve_open;O2 (ppm)\n{rows}"));
        let told = recording.notes.iter().any(|note| note.starts_with("valve_open") || note.starts_with("valve open"));
        (values(&recording, ValveOpen), told)
    };
    assert_eq!(of(&["0", "1", "0", "1"]), (vec![0.0, 1.0, 0.0, 1.0], false));
    assert_eq!(of(&["0", "-1", "0", "-1"]), (vec![0.0, 1.0, 0.0, 1.0], true));
    assert_eq!(of(&["0", "255", "255", "0"]), (vec![0.0, 1.0, 1.0, 0.0], true));
    assert_eq!(of(&["0", "50", "100", "0"]), (vec![0.0, 0.5, 1.0, 0.0], true));
    // Values of an error are none, in a state as elsewhere.
    assert_eq!(of(&["0", "-9999", "1", "9999", "0"]), (vec![0.0, 1.0, 0.0], true));
}

#[test]
fn a_row_of_fillers_alone_is_set_aside_although_a_state_is_among_them() {
    let text = "time;transfer;O2 (ppm)\n2026-05-04T09:00:00Z;0;2.5\n2026-05-04T09:01:00Z;-9999;-9999\n2026-05-04T09:02:00Z;1;2.4\n";
    assert_eq!(rows(&read(text)), (3, 2, 1));
}

#[test]
fn a_sensor_that_stands_still_is_pointed_out() {
    let text: String = std::iter::once("Time (s);O2 (ppm)\n".to_owned())
        .chain((0..300).map(|i| {
            format!(
                "{i};{}\n",
                if (100..180).contains(&i) { 5.0 } else { 5.0 + f64::from(i % 17) * 0.01 + f64::from(i) * 1e-3 }
            )
        }))
        .collect();
    let recording = read(&text);
    assert_eq!(recording.stuck.len(), 1);
    assert_eq!(recording.stuck[0].count, 80);
    assert_eq!(recording.stuck[0].span_s, (100.0, 179.0));
    assert_eq!(values(&recording, Oxygen).len(), 300);
}

#[test]
fn readings_below_the_reporting_limit_do_not_stand_still() {
    let reading = |i: i32| if (100..200).contains(&i) && i != 100 { "<0.1".into() } else { format!("0.{}", 1 + i % 7) };
    let rows = (0..300).map(|i| format!("{i};{}\n", reading(i))).collect::<Vec<_>>().concat();
    assert!(read(&format!("Time (s);O2 (ppm)\n{rows}")).stuck.is_empty());
}

#[test]
fn a_settled_coarse_reading_does_not_stand_still() {
    let text: String = std::iter::once("Time (s);O2 (ppm)\n".to_owned())
        .chain((0..300).map(|i| format!("{i};{:.0}\n", 10.0 * (-f64::from(i) / 40.0).exp())))
        .collect();
    assert!(read(&text).stuck.is_empty());
}

#[test]
fn a_dew_point_below_the_limit_is_censored_near_it() {
    let request = ColumnRequest { reporting_limit: Some(1e-6), ..ColumnRequest::by_name(Water, "Dew point (°C)") };
    let text = "time;Dew point (°C)\n2026-05-04T09:00:00Z;-60\n2026-05-04T09:01:00Z;LOW\n2026-05-04T09:02:00Z;-999\n2026-05-04T09:03:00Z;-61\n";
    let recording = read_with(text, &plan(vec![request], Format::default()));
    let series = recording.series(Water).unwrap();
    assert_eq!(series.len(), 3);
    assert_eq!(series.status_at(1), BelowLimit);
    assert!((series.value[1] - 1e-6).abs() < 1e-8, "{}", series.value[1]);
}
