//! Dates, clocks, zones, elapsed times.

use tightfit_ingest::Channel::GaugePressure;
use tightfit_ingest::{Channel, ColumnRef, ColumnRequest, Format, ReadOptions, TimeBase};

use super::support::{PLAIN_START_S, plan, questions, read, read_with, rows, times};

/// A log of three rows whose times stand as given.
fn log(stamps: [&str; 3]) -> String {
    format!("time;dP (Pa)\n{};-1000\n{};-999\n{};-998\n", stamps[0], stamps[1], stamps[2])
}

fn in_zone(text: &str, zone: &str) -> tightfit_ingest::Recording {
    read_with(text, &ReadOptions { time_zone: Some(zone.into()), ..ReadOptions::default() })
}

const MINUTES: [f64; 3] = [PLAIN_START_S, PLAIN_START_S + 60.0, PLAIN_START_S + 120.0];

#[test]
fn dates_of_every_spelling_are_read() {
    for stamps in [
        ["2026-05-04T09:00:00Z", "2026-05-04T09:01:00Z", "2026-05-04T09:02:00Z"],
        ["2026-05-04T11:00:00+02:00", "2026-05-04T11:01:00+02:00", "2026-05-04T11:02:00+02:00"],
        ["2026-05-04 09:00:00", "2026-05-04 09:01:00", "2026-05-04 09:02:00"],
        ["04.05.2026 09:00:00", "04.05.2026 09:01:00", "04.05.2026 09:02:00"],
        ["4.5.2026 9:00", "4.5.2026 9:01", "4.5.2026 9:02"],
        ["2026/05/04 09:00", "2026/05/04 09:01", "2026/05/04 09:02"],
        ["4 May 2026 09:00", "4 May 2026 09:01", "4 May 2026 09:02"],
        ["4-Mai-2026 09:00", "4-Mai-2026 09:01", "4-Mai-2026 09:02"],
        ["May 4, 2026 9:00 AM", "May 4, 2026 9:01 AM", "May 4, 2026 9:02 AM"],
        ["20260504090000", "20260504090100", "20260504090200"],
        ["1777885200", "1777885260", "1777885320"],
        ["1777885200000", "1777885260000", "1777885320000"],
    ] {
        let recording = in_zone(&log(stamps), "UTC");
        assert_eq!(times(&recording, GaugePressure), MINUTES, "{stamps:?}: {:?}", recording.questions);
    }
}

#[test]
fn day_and_month_are_told_by_any_value_that_decides() {
    let day_first = in_zone(&log(["12/05/2026 10:00", "13/05/2026 10:00", "14/05/2026 10:00"]), "UTC");
    assert_eq!(times(&day_first, GaugePressure)[1] - times(&day_first, GaugePressure)[0], 86_400.0);
    let month_first = in_zone(&log(["05/12/26 02:00:00  PM", "05/13/26 02:00:00  PM", "05/14/26 02:00:00  PM"]), "UTC");
    assert_eq!(times(&month_first, GaugePressure)[0], times(&day_first, GaugePressure)[0] + 4.0 * 3600.0);
}

#[test]
fn a_step_over_midnight_decides_as_well() {
    let recording = in_zone(&log(["03/04/2026 23:50", "03/04/2026 23:55", "04/04/2026 00:00"]), "UTC");
    assert_eq!(times(&recording, GaugePressure)[0], 1_775_260_200.0);
}

#[test]
fn an_undecided_date_is_asked_about_and_every_row_waits() {
    let recording = read(&log(["03/04/2026 10:00:00", "03/04/2026 10:01:00", "03/04/2026 10:02:00"]));
    assert_eq!(rows(&recording), (3, 0, 3));
    assert_eq!(
        questions(&recording),
        ["time: '03/04/2026 10:00:00' may be read day first or month first, and no date of the file decides"]
    );
    assert!(recording.questions[0].answer.contains("time = \"%d/%m/%Y %H:%M:%S\""));
    let time = recording.choices.iter().find(|choice| choice.what == "time").unwrap();
    assert_eq!(time.value, "local time", "an order that is not known yet");
    let format = Format { time: Some("%d/%m/%Y %H:%M:%S".into()), ..Format::default() };
    let told = read_with(
        &log(["03/04/2026 10:00:00", "03/04/2026 10:01:00", "03/04/2026 10:02:00"]),
        &plan(Vec::new(), format),
    );
    assert_eq!(times(&told, GaugePressure)[0], 1_775_210_400.0);
}

#[test]
fn a_counter_of_seconds_beside_the_date_decides() {
    let text = "Date;Time stamp code;dP (Pa)\n5/11/2017 9:24:04 AM;3577364644;-1000\n5/11/2017 9:24:05 AM;3577364645;-999\n5/11/2017 9:24:06 AM;3577364646;-998\n";
    let recording = in_zone(text, "UTC");
    assert!(questions(&recording).is_empty(), "{:?}", recording.questions);
    assert_eq!(times(&recording, GaugePressure)[0], 1_494_494_644.0);
}

#[test]
fn date_clock_and_milliseconds_may_stand_apart() {
    let text = "Date,Time,ms,dP (Pa)\n2026/05/04,09:00:00,0,-1000\n2026/05/04,09:00:00,125,-999\n2026/05/04,09:00:00,250,-998\n";
    let recording = in_zone(text, "UTC");
    assert_eq!(times(&recording, GaugePressure), [PLAIN_START_S, PLAIN_START_S + 0.125, PLAIN_START_S + 0.25]);
}

#[test]
fn the_plan_may_name_the_columns_of_the_time() {
    let text = "Day;Clock;dP (Pa)\n04.05.26;09:00;-1000\n04.05.26;09:01;-999\n04.05.26;09:02;-998\n";
    let time = ColumnRequest::new(Channel::Time, vec![ColumnRef::Name("Day".into()), ColumnRef::Name("Clock".into())]);
    let format = Format { time: Some("%d.%m.%y %H:%M".into()), ..Format::default() };
    assert_eq!(times(&read_with(text, &plan(vec![time], format)), GaugePressure), MINUTES);
}

#[test]
fn an_offset_in_the_header_counts() {
    let text = "\"Date Time, GMT-07:00\",\"dP (Pa)\"\n05/14/26 02:00:00  AM,-1000\n05/14/26 02:01:00  AM,-999\n05/14/26 02:02:00  AM,-998\n";
    assert_eq!(times(&read(text), GaugePressure)[0], PLAIN_START_S + 864_000.0);
}

#[test]
fn local_time_uses_the_zone_of_the_room_and_asks_for_it() {
    let text = log(["2026-05-04 11:00:00", "2026-05-04 11:01:00", "2026-05-04 11:02:00"]);
    assert_eq!(times(&in_zone(&text, "Europe/Vienna"), GaugePressure), MINUTES);
    let open = read(&text);
    assert!(open.questions.iter().any(|question| question.text.contains("of which zone")));
}

#[test]
fn the_autumn_fold_follows_the_rows_and_the_spring_gap_is_set_aside() {
    let stamps = ["01:50", "02:10", "02:30", "02:50", "02:10", "02:30", "02:50", "03:10"];
    let text: String = std::iter::once("time;dP (Pa)\n".to_owned())
        .chain(stamps.iter().enumerate().map(|(i, clock)| format!("2026-10-25 {clock}:00;{}\n", -1000 + i as i32)))
        .collect();
    let recording = in_zone(&text, "Europe/Vienna");
    let steps: Vec<f64> = times(&recording, GaugePressure).windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert_eq!(steps, [1200.0; 7]);
    let said = "6 rows stand in the hour that came twice in autumn: by the order of the rows the last 3 of them are its second pass";
    assert_eq!(recording.clock_changes, [said]);
    assert!(recording.notes.contains(&said.to_owned()));
    let spring = in_zone(&log(["2026-03-29 01:30:00", "2026-03-29 02:30:00", "2026-03-29 03:30:00"]), "Europe/Vienna");
    assert_eq!(rows(&spring), (3, 2, 1));
    assert_eq!(spring.account.by_reason()[0].reason.to_string(), "local time skipped by the change to summer time");
    assert!(spring.clock_changes[0].contains("1 rows stand in the hour that the clock skipped in spring"));
    // Nothing before or after tells which pass this is.
    let alone = in_zone(&log(["2026-10-25 02:10:00", "2026-10-25 02:20:00", "2026-10-25 02:30:00"]), "Europe/Vienna");
    assert!(alone.clock_changes[0].contains("nothing tells which pass"), "{:?}", alone.clock_changes);
}

#[test]
fn elapsed_times_count_from_the_first_row() {
    for (header, stamps) in [
        ("Time (s)", ["5", "65", "125"]),
        ("Elapsed time (min)", ["0.5", "1.5", "2.5"]),
        ("hours", ["1.0", "1.016666666666667", "1.033333333333333"]),
        ("elapsed", ["0:00:10", "0:01:10", "0:02:10"]),
        ("Tijd [ms]", ["0", "60000", "120000"]),
        ("Day fraction since midnight on ", ["0.5", "0.500694444444444", "0.501388888888889"]),
    ] {
        let recording = read(&log(stamps).replace("time", header));
        assert_eq!(recording.time_base, TimeBase::Elapsed, "{header}");
        let found = times(&recording, GaugePressure);
        assert!(
            found.iter().zip([0.0, 60.0, 120.0]).all(|(found, expected)| (found - expected).abs() < 1e-6),
            "{header}: {found:?}"
        );
    }
}

#[test]
fn an_elapsed_count_without_unit_is_asked_about() {
    let recording = read(&log(["0", "1", "2"]).replace("time", "Relative Time"));
    assert!(questions(&recording)[0].contains("counts up, but in what unit"), "{:?}", recording.questions);
}

#[test]
fn spreadsheet_days_are_dates() {
    let recording =
        in_zone(&log(["46146.375", "46146.37569444444", "46146.37638888889"]).replace("time", "Date"), "UTC");
    let found = times(&recording, GaugePressure);
    assert!(
        found.iter().zip(MINUTES).all(|(found, expected)| (found - expected).abs() < 1e-3),
        "{found:?} {:?}",
        recording.questions
    );
}

#[test]
fn a_clock_alone_passes_midnight() {
    let recording = read(&log(["23:59:00", "00:00:00", "00:01:00"]));
    assert_eq!(times(&recording, GaugePressure), [0.0, 60.0, 120.0]);
}

#[test]
fn a_restarted_count_opens_a_phase() {
    let text: String = std::iter::once("Time (s);dP (Pa)\n".to_owned())
        .chain((0..2).flat_map(|phase| (0..5).map(move |i| format!("{};{}\n", i * 10, -1000 + i + phase * 100))))
        .collect();
    let recording = read(&text);
    assert_eq!(recording.phases.len(), 1);
    assert_eq!(recording.phases[0].line, 7);
    assert_eq!(times(&recording, GaugePressure), [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0]);
}

#[test]
fn a_clock_coarser_than_the_log_is_spread_over_its_step() {
    let text: String = std::iter::once("time;dP (Pa)\n".to_owned())
        .chain((0..20).map(|i| format!("2026-05-04T09:00:{:02}Z;{}\n", i / 2, -1000 + i)))
        .collect();
    let recording = read(&text);
    assert_eq!(rows(&recording), (20, 20, 0));
    assert_eq!(recording.cadence_s, Some(0.5));
}

#[test]
fn hours_one_to_twenty_four_stand_beside_a_date() {
    let text = "# preamble\n# \n# STN,YYYYMMDD,   HH,    dP (Pa)\n  319,20260504,    8,   -1000\n  319,20260504,    9,   -999\n  319,20260504,   24,   -998\n";
    let found = times(&in_zone(text, "UTC"), GaugePressure);
    assert_eq!(found, [PLAIN_START_S - 3600.0, PLAIN_START_S, PLAIN_START_S + 15.0 * 3600.0]);
}

#[test]
fn a_column_named_after_its_unit_of_time_is_the_time() {
    for (header, unit_s) in [("Minuten", 60.0), ("t/min", 60.0), ("Sekunden", 1.0), ("heures", 3600.0)] {
        let recording = read(&format!("{header};dP (Pa)\n0;-510\n1;-509\n2;-508\n3;-507\n"));
        assert_eq!(times(&recording, GaugePressure), [0.0, unit_s, 2.0 * unit_s, 3.0 * unit_s], "{header}");
    }
}

#[test]
fn the_pattern_offered_for_an_open_date_has_twelve_hours_only_where_they_are_written() {
    let asked = |clock: &str| {
        let text =
            format!("time,dP (Pa)\n03/04/2026 {clock},-1000\n04/05/2026 {clock},-999\n05/06/2026 {clock},-998\n");
        read(&text).questions[0].answer.clone()
    };
    assert!(asked("9:00 AM").contains("time = \"%d/%m/%Y %I:%M %p\""), "{}", asked("9:00 AM"));
    assert!(asked("09:00:00 GMT").contains("%H:%M:%S"), "{}", asked("09:00:00 GMT"));
}
