//! The validity checks: each named, with what it found and what follows.

use tightfit_report::result::{Consequence, TestResult, Verdict};

use crate::bench::{Bench, HEADERS, PLAN, export, put, visible};

/// The test of a bench whose log was changed.
fn changed(plan: &str, change: impl Fn(usize, &str) -> String) -> (Bench, TestResult) {
    let bench = Bench::new(plan, HEADERS);
    let log = export(HEADERS, 3600.0);
    let lines: Vec<String> =
        log.lines().enumerate().map(|(row, line)| if row == 0 { line.to_owned() } else { change(row, line) }).collect();
    std::fs::remove_file(bench.folder.path().join("hold.csv")).unwrap();
    put(&bench.folder.path().join("hold.csv"), &(lines.join("\n") + "\n"));
    let qualified = bench.qualified();
    assert_eq!(qualified.errors().count(), 0, "{:?}", qualified.errors().collect::<Vec<_>>());
    (bench, qualified.result.tests[0].clone())
}

fn unchanged(plan: &str) -> TestResult {
    changed(plan, |_, line| line.to_owned()).1
}

/// The log with one column replaced.
fn with_column(line: &str, column: usize, cell: &str) -> String {
    let mut cells: Vec<&str> = line.split(',').collect();
    cells[column] = cell;
    cells.join(",")
}

fn assert_finds(test: &TestResult, check: &str, words: &str, consequence: Consequence) {
    let found = test
        .validity
        .iter()
        .any(|line| line.check == check && line.finding.contains(words) && line.consequence == consequence);
    assert!(found, "{check}: {words} not among {:#?}", test.validity);
    assert_eq!(test.valid, test.validity.iter().all(|line| line.consequence != Consequence::NotValid));
}

#[test]
fn a_sound_test_passes_its_checks_and_lists_them() {
    let test = unchanged(PLAN);
    assert!(test.valid);
    for check in [
        "calibration",
        "rated pressure",
        "gauge at work",
        "thermometer",
        "barometer",
        "length of the window",
        "settled",
        "disturbed",
        "clock",
        "gaps",
        "fitness for the limit",
    ] {
        assert!(test.validity.iter().any(|line| line.check == check && line.passed), "{check}: {:#?}", test.validity);
    }
    assert!(test.validity.iter().all(|line| line.passed == (line.consequence == Consequence::None)));
}

#[test]
fn a_calibration_that_had_run_out_makes_the_test_not_valid() {
    let plan = PLAN.replace("due = 2027-03-02", "due = 2026-05-03");
    let bench = Bench::new(&plan, HEADERS);
    let result = bench.qualified().result;
    assert_finds(&result.tests[0], "calibration", "ran out on 2026-05-03", Consequence::NotValid);
    assert_eq!(result.verdicts[0].verdict, Verdict::NotValid);
    assert_eq!(result.tests[0].tightness_class, None, "no class from data that may not be judged");
}

#[test]
fn missing_calibration_dates_and_thermometers_are_said_and_the_test_is_valid() {
    let plan = PLAN.replace("calibrated = 2026-03-02\ndue = 2027-03-02\n", "");
    assert_finds(&unchanged(&plan), "calibration", "no calibration dates are stated for gauge", Consequence::Said);
    let plan = PLAN.replace("gas_temperature = { column = \"T (°C)\", unit = \"°C\" }\n", "");
    let bench = Bench::new(&plan, ["time", "dP (Pa)", "x", "baro (hPa)"]);
    let test = bench.qualified().result.tests[0].clone();
    assert_finds(&test, "thermometer", "no thermometer was logged", Consequence::Said);
    let plan = PLAN.replace("room_pressure = { column = \"baro (hPa)\", unit = \"hPa\" }\n", "");
    let bench = Bench::new(&plan, ["time", "dP (Pa)", "T (°C)", "x"]);
    let test = bench.qualified().result.tests[0].clone();
    assert_finds(&test, "barometer", "1013.25 hPa stands in", Consequence::Said);
}

#[test]
fn a_record_beyond_the_rated_pressure_is_evaluated_said_and_not_valid() {
    let plan =
        PLAN.replace("rated_pressure = [\"-1500 Pa\", \"1500 Pa\"]", "rated_pressure = [\"-500 Pa\", \"500 Pa\"]");
    let (_, test) = changed(&plan, |row, line| if row == 2 { with_column(line, 1, "-803.0") } else { line.to_owned() });
    assert_finds(&test, "rated pressure", "the record reaches -803 Pa", Consequence::NotValid);
    assert!(test.results.get("hourly_leak_rate").is_some_and(|rate| rate.value.is_some()));
}

#[test]
fn a_gauge_that_stands_still_never_gives_a_pass() {
    let (bench, test) = changed(PLAN, |_, line| with_column(line, 1, "-500.0"));
    assert_finds(&test, "gauge at work", "stands still", Consequence::NotValid);
    assert_eq!(bench.qualified().result.verdicts[0].verdict, Verdict::NotValid);
}

#[test]
fn a_clock_that_steps_back_is_said() {
    let (_, test) = changed(PLAN, |row, line| {
        if row == 40 {
            line.replacen(line.split(',').next().unwrap(), "2026-05-04T07:00:03Z", 1)
        } else {
            line.to_owned()
        }
    });
    assert_finds(&test, "clock", "steps back once", Consequence::Said);
}

#[test]
fn a_gauge_too_coarse_for_the_limit_is_said() {
    let plan = PLAN.replace("resolution = \"0.1 Pa\"", "resolution = \"50 Pa\"");
    assert_finds(&unchanged(&plan), "fitness for the limit", "too coarse", Consequence::Said);
}

#[test]
fn a_gap_in_the_window_is_listed_with_its_length() {
    let (_, test) = changed(PLAN, |row, line| if (150..210).contains(&row) { String::new() } else { line.to_owned() });
    assert_finds(&test, "gaps", "one gap of", Consequence::Said);
}

#[test]
fn the_checks_stand_on_the_page_with_their_consequence() {
    let page = visible(&crate::bench::page(&PLAN.replace("due = 2027-03-02", "due = 2026-05-03")));
    for part in ["Validity checks", "Consequence", "none: in order", "valid, to be known", "– not valid"] {
        assert!(page.contains(part), "{part} not in {page}");
    }
}

#[test]
fn the_class_is_assigned_at_the_stated_pressure_only() {
    let class = unchanged(PLAN).tightness_class.unwrap();
    assert_eq!((class.assigned, class.at.as_str(), class.classes.len()), (Some(1), "-500 Pa", 4));
    let plan = PLAN.replace("reference_pressure = \"-500 Pa\"\n", "");
    let (limits, _) = plan.split_once("[[limit]]").unwrap();
    assert_eq!(unchanged(limits).tightness_class, None);
}
