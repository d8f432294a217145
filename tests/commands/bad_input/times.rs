//! Times that are ambiguous, run backwards, or do not meet.

use super::case::{Case, case, hold, try_all};

/// Rows with the times that `time` gives for each minute.
fn at(time: impl Fn(u32) -> String) -> String {
    let hold = hold();
    let readings = hold.lines().skip(1).filter_map(|line| line.split_once(','));
    let rows = readings.zip(0..).map(|((_, reading), minute)| format!("{},{reading}\n", time(minute)));
    rows.fold("time,gauge pressure (Pa)\n".to_owned(), |text, row| text + &row)
}

fn clock(minute: u32) -> String {
    format!("{:02}:{:02}:00", 7 + minute / 60, minute % 60)
}

fn cases() -> Vec<Case> {
    vec![
        case("dates that may be 3 April or 4 March")
            .log(at(|minute| format!("03/04/2026 {}", clock(minute))))
            .says(&["log.csv", "03/04/2026", "answer it in the plan", "time ="]),
        case("local times without a zone")
            .log(at(|minute| format!("2026-05-04 {}", clock(minute))))
            .ends(3)
            .says(&["local times without an offset: of which zone?"]),
        case("a time zone nobody knows")
            .plan_with("pressure = \"1013 hPa\"", "pressure = \"1013 hPa\"\ntime_zone = \"Europe/Viena\"")
            .says(&["plan.toml, line 10", "unknown time zone \"Europe/Viena\"", "Europe/Vienna"]),
        case("the hour that comes twice when summer time ends")
            .plan_with("pressure = \"1013 hPa\"", "pressure = \"1013 hPa\"\ntime_zone = \"Europe/Vienna\"")
            .log(at(|minute| format!("2026-10-25 02:{:02}:{:02}", minute / 2, minute % 2 * 30)))
            .ends(3)
            .says(&["25 October 2026, 02:00:00 +02:00 to 02:59:30 +02:00"]),
        case("the hour that there is not when summer time begins")
            .plan_with("pressure = \"1013 hPa\"", "pressure = \"1013 hPa\"\ntime_zone = \"Europe/Vienna\"")
            .log(at(|minute| format!("2026-03-29 02:{:02}:{:02}", minute / 2, minute % 2 * 30)))
            .says(&["time"]),
        case("no column of time")
            .log("gauge pressure (Pa)\n-1000\n-999\n-998\n")
            .says(&["log.csv", "time"]),
        case("elapsed times without unit")
            .log(at(|minute| (minute * 60).to_string()))
            .says(&["log.csv", "elapsed_unit"]),
        case("an elapsed unit nobody knows")
            .plan_with("reference_pressure", "format = { elapsed_unit = \"fortnight\" }\nreference_pressure")
            .says(&["plan.toml, line 17", "\"fortnight\" is no value of \"elapsed_unit\"", "known are: ns, us, ms, s, min, h, d"]),
        case("a form of time that cannot be followed")
            .plan_with("reference_pressure", "format = { time = \"%Q\" }\nreference_pressure")
            .says(&["log.csv: none of its 120 rows can be used: 120 time not readable", "correct [test.format]", "tightfit inspect log.csv --rows"]),
        case("a form of time that the log does not have")
            .plan_with("reference_pressure", "format = { time = \"%d.%m.%Y %H:%M\" }\nreference_pressure")
            .says(&["log.csv: none of its 120 rows can be used: 120 time not readable", "correct [test.format]"]),
        case("a clock that stood still")
            .log(at(|_| "2026-05-04T07:00:00Z".to_owned()))
            .says(&["usable readings of the inside pressure: 1, at least", "tightness could not be evaluated: see why above"]),
        case("time running backwards")
            .log(at(|minute| format!("2026-05-04T{}Z", clock(119 - minute))))
            .ends(3)
            .says(&["the clock steps back 119 times"]),
        case("every row twice")
            .log(hold().lines().flat_map(|line| [line, "\n", if line.starts_with("time") { "" } else { line }, "\n"]).collect::<String>())
            .ends(3)
            .says(&["240 read, 120 used, 120 set aside: 120 duplicate of an earlier row"]),
        case("a log with dates beside one without")
            .plan_with("[\"log.csv\"]", "[\"log.csv\", \"room.csv\"]")
            .file("room.csv", "time_s,room pressure (hPa)\n0,1013\n60,1013\n120,1013\n")
            .says(&["log.csv has dates and room.csv has none", "one time base", "[test.format.\"FILE\"] start ="]),
        case("a barometer that was read on another day")
            .plan_with("[\"log.csv\"]", "[\"log.csv\", \"room.csv\"]")
            .file("room.csv", "time,room pressure (hPa)\n2026-05-09T07:00:00Z,1013\n2026-05-09T08:00:00Z,1013\n2026-05-09T09:00:00Z,1013\n")
            .says(&["barometer"]),
        case("a window that is neither time nor duration")
            .plan_with("reference_pressure", "window = { from = \"after lunch\" }\nreference_pressure")
            .says(&["plan.toml, line 17", "\"after lunch\" is neither a time nor a duration", "\"10 min\""]),
        case("a window that ends before it starts")
            .plan_with("reference_pressure", "window = { from = \"2 h\", to = \"1 h\" }\nreference_pressure")
            .says(&["plan.toml, line 17", "\"to\" is not after \"from\"", "an end after the start"]),
        case("a window outside the record")
            .plan_with("reference_pressure", "window = { from = \"30 h\", to = \"40 h\" }\nreference_pressure")
            .says(&["window"]),
        case("a window of two readings")
            .plan_with("reference_pressure", "window = { from = \"10 min\", to = \"11 min\" }\nreference_pressure")
            .says(&["usable readings of the inside pressure: 2, at least"]),
        case("a clock offset without unit")
            .plan_with("due = 2030-01-01", "due = 2030-01-01\nclock_offset = \"20\"")
            .says(&["line 13", "\"clock_offset\": \"20\" has no unit", "for example in s, min, h"]),
    ]
}

#[test]
fn a_time_that_cannot_be_used_is_named_with_what_to_do() {
    try_all("Times", &cases());
}
