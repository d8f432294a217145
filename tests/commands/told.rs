//! What the program tells of files that are not quite what the plan takes them for.

use std::fmt::Write as _;

use crate::support::{Bench, jitter};

/// A hold of the antechamber, `rows` of one minute each with the given times; the second pressure column is empty.
fn hold(times: impl Iterator<Item = String>) -> String {
    let (mut log, mut state) = ("time,Antechamber (Pa),Room pressure (hPa)\n".to_owned(), 7);
    for (minute, time) in times.enumerate() {
        let pressure = 20.0 + 0.3 * minute as f64 + 0.2 * jitter(&mut state);
        writeln!(log, "{time},{pressure:.2},NaN").unwrap();
    }
    log
}

fn plan(columns: &str, rest: &str) -> String {
    format!(
        r#"
tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
[enclosure.antechamber]
volume = "38 L"
[room]
pressure = "1000 hPa"
time_zone = "Europe/Vienna"
[[test]]
id = "hold"
method = "vacuum-hold"
files = ["hold.csv"]
[test.columns]
{columns}
{rest}
"#
    )
}

const ABSOLUTE: &str = r#"antechamber_pressure = { column = "Antechamber (Pa)", unit = "Pa absolute" }"#;

#[test]
fn the_hour_that_came_twice_is_placed_by_the_order_of_rows_and_said() {
    let bench = Bench::new();
    let clock = |minute: u32| format!("2026-10-25 {:02}:{:02}:00", minute / 60, minute % 60);
    // From 01:30 summer time to 03:29 winter time: three hours.
    let minutes = (90..180).chain(120..210);
    bench.write("hold.csv", hold(minutes.map(clock)));
    bench.write("plan.toml", plan(ABSOLUTE, ""));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let test = &run.json()["tests"][0];
    let notes = test["notes"].to_string();
    assert!(notes.contains("120 rows stand in the hour that came twice in autumn"), "{notes}");
    assert!(notes.contains("the last 60 of them are its second pass"), "{notes}");
    assert_eq!(test["rows_read"], 180);
    assert!(test["window"][1].as_str().unwrap().starts_with("2026-10-25T02:2"), "{}", test["window"]);
}

#[test]
fn a_time_that_never_was_is_set_aside_and_said() {
    let bench = Bench::new();
    let clock = |minute: u32| format!("2026-03-29 {:02}:{:02}:00", minute / 60, minute % 60);
    bench.write("hold.csv", hold((60..240).map(clock)));
    bench.write("plan.toml", plan(ABSOLUTE, ""));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    let test = &run.json()["tests"][0];
    assert!(test["set_aside"].to_string().contains("skipped by the change to summer time"), "{test}");
    let notes = test["notes"].to_string();
    assert!(notes.contains("60 rows stand in the hour that the clock skipped in spring"), "{notes}");
}

/// The hold with what a gauge makes of its pressures.
fn hold_read_as(shown: impl Fn(usize, f64) -> f64) -> String {
    let minutes = (0..180).map(|minute| format!("2026-05-04T{:02}:{:02}:00Z", 9 + minute / 60, minute % 60));
    let log = hold(minutes);
    let mut lines = log.lines();
    let mut text = format!("{}\n", lines.next().unwrap());
    for (row, line) in lines.enumerate() {
        let cells: Vec<&str> = line.split(',').collect();
        writeln!(text, "{},{:.2},NaN", cells[0], shown(row, cells[1].parse().unwrap())).unwrap();
    }
    text
}

#[test]
fn a_gauge_that_stood_still_for_a_good_part_of_the_window_makes_the_hold_not_valid() {
    let bench = Bench::new();
    bench.write("hold.csv", hold_read_as(|row, pa| if (60..120).contains(&row) { 38.07 } else { pa }));
    bench.write("plan.toml", plan(ABSOLUTE, ""));
    let test = &bench.qualified("plan.toml", 0)["tests"][0];
    let problem = test["problems"][0].as_str().unwrap();
    assert!(problem.contains("hold.csv: antechamber_pressure stands at 38.07 Pa in 60 readings in turn"), "{problem}");
    assert!(problem.contains("(33 % of the window)") && problem.contains("the sensor stood still"), "{problem}");
}

#[test]
fn a_shorter_stop_of_the_gauge_is_said_with_what_was_done_about_it() {
    let bench = Bench::new();
    bench.write("hold.csv", hold_read_as(|row, pa| if (60..91).contains(&row) { 38.07 } else { pa }));
    bench.write("plan.toml", plan(ABSOLUTE, ""));
    let test = &bench.qualified("plan.toml", 0)["tests"][0];
    let notes = test["notes"].to_string();
    assert!(notes.contains("31 readings in turn") && notes.contains("used as they stand"), "{notes}");
}

#[test]
fn a_gauge_at_the_end_of_its_range_makes_the_hold_not_valid() {
    let bench = Bench::new();
    bench.write("hold.csv", hold_read_as(|_, pa| pa.min(50.0)));
    bench.write("plan.toml", plan(ABSOLUTE, ""));
    let test = &bench.qualified("plan.toml", 0)["tests"][0];
    let problem = test["problems"][0].as_str().unwrap();
    assert!(problem.contains("stands at 50 Pa") && problem.contains("the end of the instrument's range"), "{problem}");
    // A display of whole steps rests on each for long, and that is no fault.
    bench.write("hold.csv", hold_read_as(|_, pa| (pa / 5.0).round() * 5.0));
    assert_eq!(bench.qualified("plan.toml", 0)["tests"][0]["valid"], true);
}

#[test]
fn a_column_that_is_there_but_empty_is_not_called_missing() {
    let bench = Bench::new();
    let mut log = "time_s,Antechamber (Pa)\n".to_owned();
    for second in 0..60 {
        writeln!(log, "{second},NaN").unwrap();
    }
    bench.write("hold.csv", log);
    bench.write("plan.toml", plan("", "[test.format]\nelapsed_unit = \"s\""));
    let run = bench.run(&["qualify", "plan.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("Antechamber (Pa) (is there, but holds no number)"), "{}", run.stderr);
}

#[test]
fn a_sheet_stated_for_a_text_file_is_said() {
    let bench = Bench::new();
    bench.write(
        "hold.csv",
        hold((0..180).map(|minute| format!("2026-05-04T{:02}:{:02}:00Z", minute / 60, minute % 60))),
    );
    bench.write("plan.toml", plan(ABSOLUTE, "[test.format]\nsheet = \"Log\""));
    let run = bench.run(&["qualify", "plan.toml", "--format", "json"]);
    assert_eq!(run.code, 0, "{run:?}");
    let notes = run.json()["tests"][0]["notes"].to_string();
    assert!(notes.contains("which has no sheets"), "{notes}");
}

#[test]
fn what_is_no_store_is_named() {
    let bench = Bench::new();
    bench.write("notes.txt", "a list of things to do, and no store of results at all, whatever its name may say");
    let run = bench.run(&["history", "show", "--store", "notes.txt"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("notes.txt: the file is not a store of results"), "{}", run.stderr);
}
