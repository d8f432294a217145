//! Plans with mistakes.

use super::case::{Case, PLAN, case, try_all};

fn cases() -> Vec<Case> {
    vec![
        case("a plan that is not there").without("plan.toml").says(&["plan.toml", "cannot be read", "tightfit draft writes a first plan"]),
        case("a folder in the place of a plan").run(&["qualify", "."]).says(&["cannot be read", "check the name"]),
        case("a plan that is not text").plan(b"\xff\xfe\0\x01".to_vec()).says(&["plan.toml", "not UTF-8 text", "save it as UTF-8"]),
        case("an empty plan").plan("").says(&["the plan has no \"tightfit\"", "has no \"enclosure\"", "has no \"test\"", "add: tightfit = 1"]),
        case("a log given as the plan").run(&["qualify", "log.csv"]).says(&["log.csv, line 1", "not valid TOML"]),
        case("a text without its closing quote")
            .plan_with("id = \"K-12\"", "id = \"K-12")
            .says(&["plan.toml, line 3", "not valid TOML", "text stands in \"quotes\""]),
        case("a value without quotes")
            .plan_with("\"0.92 m3\"", "0.92 m3")
            .says(&["plan.toml, line 5", "not valid TOML", "text stands in \"quotes\""]),
        case("section and key in one line, as messages name them")
            .plan_with("gas =", "[room] time_zone =")
            .says(&["not valid TOML", "the section stands on a line of its own"]),
        case("a key twice").plan_with("gas =", "id = \"K-13\"\ngas =").says(&["line 4", "not valid TOML: duplicate key", "keep one of the two"]),
        case("arrays nested five thousand deep")
            .plan_and(&format!("deep = {}{}", "[".repeat(5000), "]".repeat(5000)))
            .says(&["plan.toml, line 21", "not valid TOML"]),
        case("a plan of another version").plan_with("tightfit = 1", "tightfit = 2").says(&["line 1", "format version 2", "tightfit = 1"]),
        case("a misspelt key").plan_with("volume", "volum").says(&["plan.toml, line 5", "unknown key \"volum\" in [enclosure]", "did you mean \"volume\"?"]),
        case("a key that belongs nowhere").plan_with("volume", "colour = \"red\"\nvolume").says(&["line 5", "unknown key \"colour\"", "the plan reference lists the keys"]),
        case("a misspelt section").plan_with("[room]", "[rooms]").says(&["line 8", "unknown key \"rooms\"", "did you mean \"room\"?"]),
        case("a number in the place of a text").plan_with("id = \"K-12\"", "id = 12").says(&["line 3", "\"id\" is a plain number", "expected text in quotes"]),
        case("a text in the place of a list").plan_with("[\"log.csv\"]", "\"log.csv\"").says(&["line 16", "\"files\"", "expected a list of texts"]),
        case("an enclosure without gas").plan_with("gas = \"argon\"\n", "").says(&["line 2", "[enclosure] has no \"gas\"", "add: gas ="]),
        case("a gas nobody knows").plan_with("\"argon\"", "\"argonn\"").says(&["line 4", "\"argonn\" is no value of \"gas\"", "did you mean \"argon\"?"]),
        case("a misspelt method").plan_with("\"pressure-change\"", "\"presure-change\"").says(&["line 15", "\"presure-change\" is no value of \"method\"", "did you mean \"pressure-change\"?"]),
        case("a method nobody knows").plan_with("\"pressure-change\"", "\"soap\"").says(&["line 15", "\"soap\" is no value of \"method\"", "known are: pressure-change"]),
        case("a test without method").plan_with("method = \"pressure-change\"\n", "").says(&["line 13", "has no \"method\"", "add: method = \"pressure-change\""]),
        case("a test without files").plan_with("files = [\"log.csv\"]\n", "").says(&["line 13", "has no \"files\"", "tightfit design"]),
        case("two tests of one name").plan_and("[[test]]\nid = \"tightness\"\nmethod = \"ppm-rise\"\nfiles = [\"log.csv\"]\n").says(&["line 22", "the test \"tightness\" is defined twice"]),
        case("a column that does not exist as a channel")
            .plan_with("reference_pressure", "columns = { gage_pressure = \"gauge pressure (Pa)\" }\nreference_pressure")
            .says(&["line 17", "unknown key \"gage_pressure\"", "did you mean \"gauge_pressure\"?"]),
        case("an instrument that the plan does not describe")
            .plan_with("reference_pressure", "columns = { gauge_pressure = { column = 2, unit = \"Pa\", instrument = \"guage\" } }\nreference_pressure")
            .says(&["the instrument \"guage\" is not defined", "did you mean \"gauge\"?"]),
        case("a column in a file that the test does not have")
            .plan_with("reference_pressure", "columns = { gauge_pressure = { column = 2, file = \"logs.csv\" } }\nreference_pressure")
            .says(&["the file \"logs.csv\" is not defined", "did you mean \"log.csv\"?"]),
        case("an instrument whose uncertainty is not that of its channel")
            .plan_with("uncertainty = \"1 Pa\"", "uncertainty = \"1 °C\"")
            .plan_with("reference_pressure", "columns = { gauge_pressure = { column = 2, unit = \"Pa\", instrument = \"gauge\" } }\nreference_pressure")
            .says(&["\"instruments.gauge.uncertainty\": uncertainty \"1 °C\" is a temperature, but belongs to a pressure", "write it in Pa"]),
        case("a path that leaves the plan's folder").plan_with("log.csv", "../log.csv").says(&["../log.csv", "leaves the plan's folder", "--data-root DIR"]),
        case("a path from the root").plan_with("log.csv", "/log.csv").says(&["/log.csv", "leaves the plan's folder", "--data-root DIR"]),
        case("a day that is none").plan_with("2030-01-01", "\"next year\"").says(&["line 12", "\"due\"", "date"]),
        case("a check by eye with a result of its own").plan_and("[[check]]\nitem = \"Gloves\"\nresult = \"fine\"\n").says(&["line 23", "\"fine\" is no value of \"result\"", "ok, not ok, not done"]),
        case("a unit of a million letters").plan_with("0.92 m3", &format!("0.92 {}", "m".repeat(1_000_000))).says(&["line 5", "unknown unit \"mmm", "…"]),
        case("seven mistakes in one plan")
            .plan(PLAN.replace("tightfit = 1", "tightfit = 3").replace("gas =", "gass =").replace("0.92 m3", "0 m3").replace("1013 hPa", "1013")
                .replace("pressure-change", "pressure").replace("[\"log.csv\"]", "7").replace("5e-4 1/h", "5e-4 bananas"))
            .says(&["line 1", "line 4", "line 5", "line 9", "line 15", "line 16", "line 20"]),
    ]
}

#[test]
fn a_mistake_in_a_plan_is_shown_with_line_text_and_what_would_be_right() {
    try_all("Plans", &cases());
}
