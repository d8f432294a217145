//! Tests whose channels come in several files: exports in turn, loggers beside each other, files that do not fit.

use crate::support::{Bench, normal};

const HEAD: &str = r#"tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = { value = "0.92 m3", uncertainty = "2 %" }
compliance = "0 L/Pa"
[instruments.gauge]
resolution = "0.1 Pa"
uncertainty = "2 Pa"
[instruments.barometer]
resolution = "1 Pa"
uncertainty = "20 Pa"
[instruments.thermometer]
resolution = "0.01 K"
uncertainty = "0.1 K"
"#;

/// Hourly leak rate of the hold, 1/h at −500 Pa.
const TRUTH: f64 = 4e-4;

/// Four hours from −500 Pa under a sky that changes: gauge pressure and room pressure in Pa, gas temperature in °C, each
/// minute.
fn hold() -> Vec<[f64; 3]> {
    let mut random = 3;
    let (mut air, mut weather) = (None, 0.0);
    let mut rows = Vec::new();
    for minute in 0..240 {
        let hours = f64::from(minute) / 60.0;
        weather += 4.0 * normal(&mut random);
        let room = 98_000.0 + 60.0 * hours + weather;
        let kelvin = 295.0 + 0.3 * (hours * 1.3).sin();
        // The amount of gas, as the pressure that it has at 295 K; it grows by what leaks in.
        let amount = air.unwrap_or((room - 500.0) * 295.0 / kelvin);
        let gauge = amount * kelvin / 295.0 - room;
        air = Some(amount - TRUTH * 98_000.0 * gauge / 500.0 / 60.0);
        rows.push([gauge + 0.2 * normal(&mut random), room, kelvin - 273.15]);
    }
    rows
}

fn at(minute: usize) -> String {
    format!("2026-05-12T{:02}:{:02}:00Z", 9 + minute / 60, minute % 60)
}

fn plan(files: &str, more: &str) -> String {
    format!(
        "{HEAD}[[test]]\nid = \"hold\"\nmethod = \"pressure-change\"\nreference_pressure = \"-500 Pa\"\nfiles = [{files}]\n{more}\n\
         [[limit]]\nquantity = \"hourly_leak_rate\"\nmax = \"1e-3 1/h\"\n"
    )
}

fn rows_of(rows: &[[f64; 3]], range: std::ops::Range<usize>) -> String {
    let lines = range.map(|minute| {
        let [gauge, room, celsius] = rows[minute];
        format!("{},{gauge:.1},{room:.0},{celsius:.2}\n", at(minute))
    });
    format!("time,dP (Pa),Barometer (Pa),Gas (°C)\n{}", lines.collect::<String>())
}

fn notes(result: &serde_json::Value) -> String {
    result["tests"][0]["notes"].to_string()
}

#[test]
fn a_hold_in_two_exports_is_one_record() {
    let bench = Bench::new();
    let rows = hold();
    bench.write("whole.csv", rows_of(&rows, 0..240));
    // The second export repeats ten rows of the first.
    bench.write("a.csv", rows_of(&rows, 0..120));
    bench.write("b.csv", rows_of(&rows, 110..240));
    bench.write("whole.toml", plan("\"whole.csv\"", ""));
    bench.write("parts.toml", plan("\"a.csv\", \"b.csv\"", ""));
    let (whole, parts) = (bench.qualified("whole.toml", 0), bench.qualified("parts.toml", 0));
    let rate =
        |result: &serde_json::Value| result["tests"][0]["results"]["hourly_leak_rate"]["value"].as_f64().unwrap();
    assert!((rate(&parts) / rate(&whole) - 1.0).abs() < 1e-3, "{} {}", rate(&parts), rate(&whole));
    assert!((rate(&whole) / TRUTH - 1.0).abs() < 0.1, "{}", rate(&whole));
    assert!(!notes(&parts).contains("more than once"), "{}", notes(&parts));
}

#[test]
fn a_gauge_beside_another_is_named_as_not_used() {
    let bench = Bench::new();
    let rows = hold();
    bench.write("a.csv", rows_of(&rows, 0..240));
    let other = (0..240).map(|minute| format!("{},{:.1}\n", at(minute), rows[minute][0] + 40.0));
    bench.write("b.csv", format!("time,dP 2 (Pa)\n{}", other.collect::<String>()));
    bench.write("plan.toml", plan("\"a.csv\", \"b.csv\"", ""));
    let said = notes(&bench.qualified("plan.toml", 0));
    assert!(said.contains("'dP (Pa)' of a.csv counts, 'dP 2 (Pa)' of b.csv does not"), "{said}");
}

/// Gauge and thermometer in one file, the barometer in another, whose times are written by `stamp`.
fn apart(bench: &Bench, more: &str, stamp: impl Fn(usize) -> String) {
    let rows = hold();
    let inside = (0..240).map(|minute| format!("{},{:.1},{:.2}\n", at(minute), rows[minute][0], rows[minute][2]));
    bench.write("inside.csv", format!("time,dP (Pa),Gas (°C)\n{}", inside.collect::<String>()));
    let room = (0..240).map(|minute| format!("{},{:.0}\n", stamp(minute), rows[minute][1]));
    bench.write("room.csv", format!("time,Barometer (Pa)\n{}", room.collect::<String>()));
    let columns = "[test.columns]\nroom_pressure = { column = \"Barometer (Pa)\", unit = \"Pa\", instrument = \"barometer\", file = \"room.csv\" }";
    bench.write("plan.toml", plan("\"inside.csv\", \"room.csv\"", &format!("{columns}\n{more}")));
}

#[test]
fn a_barometer_whose_clock_is_behind_is_found_out_though_nobody_said_so() {
    let bench = Bench::new();
    apart(&bench, "", |minute| {
        if minute < 5 { "2026-05-12T08:5".to_owned() + &format!("{}:00Z", minute + 5) } else { at(minute - 5) }
    });
    let result = bench.qualified("plan.toml", 0);
    assert!(notes(&result).contains("is behind by 30"), "{}", notes(&result));
    let rate = &result["tests"][0]["results"]["hourly_leak_rate"];
    let [low, high] = [0, 1].map(|end| rate["interval95"][end].as_f64().unwrap());
    assert!(low < TRUTH && TRUTH < high, "{rate}");
}

#[test]
fn a_logger_without_dates_stands_beside_a_dated_one_once_its_start_is_stated() {
    let bench = Bench::new();
    let elapsed = |minute: usize| format!("{}", minute * 60);
    apart(&bench, "[test.format.\"room.csv\"]\nelapsed_unit = \"s\"", elapsed);
    let refused = bench.run(&["qualify", "plan.toml"]);
    assert_eq!(refused.code, 2, "{refused:?}");
    assert!(refused.stdout.contains("start =") || refused.stderr.contains("start ="), "{refused:?}");
    apart(&bench, "[test.format.\"room.csv\"]\nelapsed_unit = \"s\"\nstart = \"2026-05-12T11:00:00+02:00\"", elapsed);
    let rate = bench.qualified("plan.toml", 0)["tests"][0]["results"]["hourly_leak_rate"]["value"].as_f64().unwrap();
    assert!((rate / TRUTH - 1.0).abs() < 0.1, "{rate}");
    apart(&bench, "[test.format.\"room.csv\"]\nelapsed_unit = \"s\"\nstart = \"noon\"", elapsed);
    let wrong = bench.run(&["qualify", "plan.toml"]);
    assert!(wrong.code == 2 && wrong.stderr.contains("a moment such as"), "{wrong:?}");
}

#[test]
fn loggers_without_dates_are_said_to_count_from_their_own_first_rows() {
    let bench = Bench::new();
    let rows = hold();
    let inside = (0..240).map(|minute| format!("{},{:.1},{:.2}\n", minute, rows[minute][0], rows[minute][2]));
    bench.write("inside.csv", format!("Time (min),dP (Pa),Gas (°C)\n{}", inside.collect::<String>()));
    let room = (0..240).map(|minute| format!("{},{:.0}\n", minute, rows[minute][1]));
    bench.write("room.csv", format!("Time (min),Barometer (Pa)\n{}", room.collect::<String>()));
    bench.write("plan.toml", plan("\"inside.csv\", \"room.csv\"", ""));
    let said = bench.qualified("plan.toml", 0).to_string();
    assert!(said.contains("count from the first row of each file"), "{said}");
}

#[test]
fn a_file_of_which_no_time_can_be_read_is_an_error_though_another_one_is_fine() {
    let bench = Bench::new();
    apart(&bench, "[test.format.\"room.csv\"]\ntime = \"%d.%m.%Y %H:%M\"", at);
    let run = bench.run(&["qualify", "plan.toml"]);
    assert_eq!(run.code, 2, "{run:?}");
    let said = run.stdout + &run.stderr;
    assert!(said.contains("room.csv: none of its 240 rows can be used"), "{said}");
}

#[test]
fn readings_marked_as_outside_the_range_are_no_numbers() {
    let bench = Bench::new();
    let rows = hold();
    let with_overload = |column: usize| {
        let lines = (0..240).map(|minute| {
            let [gauge, room, celsius] = rows[minute];
            let mut cells = [format!("{gauge:.1}"), format!("{room:.0}"), format!("{celsius:.2}")];
            if (100..104).contains(&minute) {
                cells[column] = "OL".to_owned();
            }
            format!("{},{}\n", at(minute), cells.join(","))
        });
        format!("time,dP (Pa),Barometer (Pa),Gas (°C)\n{}", lines.collect::<String>())
    };
    bench.write("plan.toml", plan("\"log.csv\"", ""));
    bench.write("log.csv", with_overload(2));
    let result = bench.qualified("plan.toml", 0);
    assert!(result.to_string().contains("4 readings of \\\"Gas (°C)\\\" are marked"), "{result}");
    bench.write("log.csv", with_overload(0));
    let gauge = bench.qualified("plan.toml", 4);
    assert!(gauge.to_string().contains("4 readings of \\\"dP (Pa)\\\" are marked"), "{gauge}");
}

#[test]
fn a_rise_over_a_restart_of_the_clock_is_not_valid() {
    let bench = Bench::new();
    let rows = (0..200).map(|minute| format!("{},{:.2}\n", (minute % 100) * 60, 1.0 + 0.1 * f64::from(minute)));
    bench.write("rise.csv", format!("Time (s),O2 (ppm)\n{}", rows.collect::<String>()));
    bench.write(
        "rise.toml",
        format!("{HEAD}[[test]]\nid = \"rise\"\nmethod = \"ppm-rise\"\nfiles = [\"rise.csv\"]\n[[limit]]\nquantity = \"oxygen_ingress\"\nmax = \"10 ppm/h\"\n"),
    );
    let result = bench.qualified("rise.toml", 4);
    assert!(result.to_string().contains("starts again inside the window"), "{result}");
}
