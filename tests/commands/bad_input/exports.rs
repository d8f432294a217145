//! Exports that cannot be read, or not in one way only.

use super::case::{Case, case, hold, try_all};

/// The good log with its header in other words.
fn headed(header: &str) -> String {
    hold().replacen("time,gauge pressure (Pa)", header, 1)
}

/// The good log with every reading in the words of `say`.
fn saying(say: impl Fn(usize) -> String) -> String {
    let lines = hold();
    let rows =
        lines.lines().skip(1).enumerate().map(|(k, line)| format!("{},{}\n", line.split_once(',').unwrap().0, say(k)));
    rows.fold("time,gauge pressure (Pa)\n".to_owned(), |text, row| text + &row)
}

/// A hold with a barometer; what the logger wrote last is half a row.
fn cut_in_its_last_row() -> String {
    let whole = hold().replace('\n', ",1013\n").replacen(",1013", ",room pressure (hPa)", 1);
    whole + "2026-05-04T09:00:00Z,-99"
}

fn cases() -> Vec<Case> {
    let junk: Vec<u8> = (0..4096u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    let half: String = hold().replace("-1000", "-1000.").chars().collect();
    vec![
        case("an empty log").log("").says(&["log.csv", "the file is empty", "export the log again"]),
        case("a log of nothing but blanks").log(" \n\n \n").says(&["log.csv", "the file is empty"]),
        case("a log of nothing but a header")
            .log("time,gauge pressure (Pa)\n")
            .says(&["log.csv, line 1", "a header and no row after it", "export the log again"]),
        case("a log of one row")
            .log("time,gauge pressure (Pa)\n2026-05-04T07:00:00Z,-1000\n")
            .says(&["tightness", "usable readings of the inside pressure: 1, at least"]),
        case("binary junk").log(junk).says(&["log.csv", "not a text export", "export as text (CSV)"]),
        case("a picture in the place of a log")
            .log(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec())
            .says(&["log.csv", "not a text export", "export as text (CSV)"]),
        case("a compressed log cut short")
            .log(b"\x1f\x8b\x08\0\0\0\0\0\0\x03\x2b\xc9".to_vec())
            .says(&["log.csv", "compressed file", "copy the file again"]),
        case("a workbook cut short")
            .log(b"PK\x03\x04\x14\0\0\0\x08\0".to_vec())
            .says(&["log.csv", "the workbook cannot be opened", "export the sheet as CSV"]),
        case("prose in the place of a log")
            .log("Minutes of the meeting\nNobody came\nNothing was said\n")
            .says(&["log.csv", "no log found", "no row holds a time and a reading", "[test.format]"]),
        case("a log that is not there").without("log.csv").says(&["log.csv", "cannot be read", "check the name", "--data-root"]),
        case("a folder in the place of a log")
            .without("log.csv")
            .file("log.csv/inside.csv", "")
            .says(&["log.csv", "cannot be read", "check the name"]),
        case("a delimiter stated that the log does not use")
            .plan_and("").plan_with("reference_pressure", "format = { delimiter = \";\" }\nreference_pressure")
            .says(&["log.csv", "delimiter"]),
        case("a delimiter of two characters")
            .plan_with("reference_pressure", "format = { delimiter = \";;\" }\nreference_pressure")
            .says(&["plan.toml, line 17", "\"delimiter\" is \";;\"", "expected one character"]),
        case("an encoding nobody knows")
            .plan_with("reference_pressure", "format = { encoding = \"klingon\" }\nreference_pressure")
            .says(&["log.csv", "unknown encoding", "klingon", "utf-8"]),
        case("no column for the pressure inside")
            .log("time,gas temperature (°C)\n2026-05-04T07:00:00Z,21.0\n2026-05-04T07:00:10Z,21.0\n")
            .says(&["pressure inside the enclosure", "columns are: time | gas temperature (°C)", "[test.columns]"]),
        case("two columns for the pressure inside")
            .log(hold().lines().enumerate().map(|(k, line)| {
                if k == 0 { "time,gauge pressure (Pa),box pressure (Pa)\n".to_owned() } else { format!("{line},-990.0\n") }
            }).collect::<String>())
            .says(&["log.csv", "gauge pressure (Pa)", "box pressure (Pa)", "answer it in the plan"]),
        case("a pressure column without unit")
            .log(headed("time,gauge pressure"))
            .says(&["log.csv", "gauge pressure", "unit", "answer it in the plan"]),
        case("a unit in the header that nobody knows")
            .log(headed("time,gauge pressure (furlong)"))
            .says(&["log.csv", "gauge pressure (furlong)", "unit"]),
        case("a unit stated for a column that is none of pressure")
            .plan_with("reference_pressure", "columns = { gauge_pressure = { column = \"gauge pressure (Pa)\", unit = \"ppm\" } }\nreference_pressure")
            .says(&["gauge pressure (Pa)", "ppm", "pressure"]),
        case("a column stated that the log does not have")
            .plan_with("reference_pressure", "columns = { gauge_pressure = \"dP\" }\nreference_pressure")
            .says(&["log.csv", "dP", "gauge pressure (Pa)"]),
        case("a column stated by a position that the log does not have")
            .plan_with("reference_pressure", "columns = { gauge_pressure = { column = 7, unit = \"Pa\" } }\nreference_pressure")
            .says(&["log.csv", "7"]),
        case("a pressure stuck at one value")
            .log(saying(|_| "-1000.0".to_owned()))
            .ends(4)
            .says(&["NOT VALID", "the inside pressure shows one value throughout", "the gauge stands"]),
        case("a log of NaN and Inf")
            .log(saying(|k| if k % 2 == 0 { "NaN".to_owned() } else { "Inf".to_owned() }))
            .says(&["no column holds the pressure inside", "columns are: time | gauge pressure (Pa)", "name it in the plan"]),
        case("a pressure labelled Pa that was logged in mbar")
            .log(saying(|k| format!("{:.3}", -10.0 + 0.0005 * k as f64)))
            .ends(3)
            .says(&["the reference pressure is 100.3 times the pressure of the test", "is the unit of the gauge's column right?"]),
        case("a log whose last row is cut in its midst")
            .log(cut_in_its_last_row()).ends(3)
            .says(&["121 read, 120 used, 1 set aside: 1 last row, cut short"]),
        case("an absolute pressure labelled gauge")
            .log(saying(|k| format!("{:.1}", 100_300.0 + 0.05 * k as f64)))
            .says(&["lies around 100302.9 Pa", "sits where the weather's pressure is", "answer it in the plan: [test.columns] absolute_pressure"]),
        case("absurd values among good ones")
            .log(saying(|k| if k == 60 { "9.9e37".to_owned() } else { format!("{:.1}", -1000.0 + 0.05 * k as f64 + 0.1 * (k * 7 % 5) as f64) }))
            .ends(3)
            .says(&["119 used, 1 set aside: 1 no usable reading"]),
        case("decimal commas and decimal points in one column")
            .log(hold().replace(',', ";").lines().enumerate().map(|(k, line)| if k % 2 == 1 { line.replace('.', ",") + "\n" } else { line.to_owned() + "\n" }).collect::<String>())
            .says(&["decimal"]),
        case("an analyser that was above its range all the time")
            .log(saying(|_| "OVER".to_owned()))
            .says(&["gauge pressure (Pa)"]),
        case("rows of unequal length")
            .log(half.lines().enumerate().map(|(k, line)| if k % 9 == 4 { format!("{line},,,\n") } else { format!("{line}\n") }).collect::<String>())
            .ends(3)
            .says(&["120 read"]),
        case("a quote that is never closed")
            .log(hold().replacen("-1000.0", "\"-1000.0", 1))
            .ends(3).says(&["1 set aside: 1 quote never closed"]),
        case("a line of a megabyte")
            .log(hold() + "2026-05-04T09:00:00Z," + &"9".repeat(1_000_000) + "\n")
            .ends(3)
            .says(&["121 read, 120 used, 1 set aside"]),
    ]
}

#[test]
fn an_export_that_cannot_be_used_is_named_with_what_to_do() {
    try_all("Exports", &cases());
}
