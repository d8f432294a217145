//! Any recording in any dialect reads back equal; shuffled, duplicated and cut files keep the account true; no bytes
//! whatever make the reader panic.

use proptest::prelude::*;
use tightfit_ingest::Channel::{GasTemperature, GaugePressure};
use tightfit_ingest::{ReadOptions, read_bytes};

use super::support::{read, rows, times, values};

/// A dialect to write a log in.
#[derive(Debug, Clone)]
struct Dialect {
    separator: char,
    decimal_comma: bool,
    line_end: &'static str,
    date: usize,
    preamble: usize,
    quoted: bool,
    trailer: bool,
}

fn dialects() -> impl Strategy<Value = Dialect> {
    (
        prop::sample::select(vec![',', ';', '\t', '|']),
        any::<bool>(),
        prop::sample::select(vec!["\n", "\r\n", "\r"]),
        0..5usize,
        0..4usize,
        any::<bool>(),
        any::<bool>(),
    )
        .prop_map(|(separator, comma, line_end, date, preamble, quoted, trailer)| Dialect {
            separator,
            decimal_comma: comma && (separator != ',' || quoted),
            line_end,
            date,
            preamble,
            quoted,
            trailer,
        })
}

/// Time (minutes after the start), gauge pressure (hundredths of a pascal) and temperature (tenths of a degree).
type Row = (u32, i32, i32);

fn logs() -> impl Strategy<Value = Vec<Row>> {
    prop::collection::vec((1..90u32, -150_000..-50i32, 150..300i32), 5..80).prop_map(|steps| {
        let mut minute = 0;
        steps
            .into_iter()
            .map(|(step, pressure, temperature)| {
                minute += step;
                (minute, pressure, temperature)
            })
            .collect()
    })
}

fn stamp(minute: u32, date: usize) -> String {
    // From 2026-05-20 on: no day of the log can be a month.
    let (day, hour, minute) = (20 + minute / 1440, minute / 60 % 24, minute % 60);
    match date {
        0 => format!("2026-05-{day:02}T{hour:02}:{minute:02}:00Z"),
        1 => format!("{day:02}.05.2026 {hour:02}:{minute:02}:00 +00:00"),
        2 => format!("{day}/5/2026 {hour}:{minute:02} UTC"),
        3 => format!(
            "05/{day}/26 {}:{minute:02}:00 {} GMT",
            if hour % 12 == 0 { 12 } else { hour % 12 },
            if hour < 12 { "AM" } else { "PM" }
        ),
        _ => format!(
            "{}",
            1_779_235_200 + i64::from(day - 20) * 86_400 + i64::from(hour) * 3600 + i64::from(minute) * 60
        ),
    }
}

fn write_row(row: &Row, dialect: &Dialect) -> String {
    let number = |text: String| if dialect.decimal_comma { text.replace('.', ",") } else { text };
    let cells = [
        stamp(row.0, dialect.date),
        number(format!("{:.2}", f64::from(row.1) / 100.0)),
        number(format!("{:.1}", f64::from(row.2) / 10.0)),
    ];
    cells.map(|cell| if dialect.quoted { format!("\"{cell}\"") } else { cell }).join(&dialect.separator.to_string())
}

fn write(log: &[Row], dialect: &Dialect) -> String {
    let header = ["Time", "Differential pressure (Pa)", "Gas temperature (°C)"].join(&dialect.separator.to_string());
    let preamble = (0..dialect.preamble).map(|i| format!("Line {i} of a preamble"));
    let trailer = dialect.trailer.then(|| "End of log".to_owned());
    preamble
        .chain([header])
        .chain(log.iter().map(|row| write_row(row, dialect)))
        .chain(trailer)
        .map(|line| line + dialect.line_end)
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_log_in_any_dialect_reads_back_equal(log in logs().prop_filter("within May", |log| log.last().is_none_or(|row| row.0 < 11 * 1440)), dialect in dialects()) {
        let recording = read(&write(&log, &dialect));
        let expected: Vec<f64> = log.iter().map(|row| f64::from(row.1) / 100.0).collect();
        prop_assert_eq!(values(&recording, GaugePressure), expected, "{:?}", recording);
        let warm: Vec<f64> = values(&recording, GasTemperature).iter().map(|kelvin| ((kelvin - 273.15) * 10.0).round()).collect();
        prop_assert_eq!(warm, log.iter().map(|row| f64::from(row.2)).collect::<Vec<_>>());
        let start = times(&recording, GaugePressure)[0];
        prop_assert_eq!(start, 1_779_235_200.0 + 60.0 * f64::from(log[0].0));
        let steps: Vec<f64> = times(&recording, GaugePressure).iter().map(|time| (time - start) / 60.0).collect();
        prop_assert_eq!(steps, log.iter().map(|row| f64::from(row.0 - log[0].0)).collect::<Vec<_>>());
        let trailer = u64::from(dialect.trailer);
        prop_assert_eq!(rows(&recording), (log.len() as u64 + trailer, log.len() as u64, trailer));
    }

    #[test]
    fn shuffled_and_duplicated_rows_keep_the_account_true(log in logs(), swaps in prop::collection::vec((0..1000usize, 0..1000usize), 0..40), copies in prop::collection::vec(0..1000usize, 0..6)) {
        let dialect = Dialect { separator: ',', decimal_comma: false, line_end: "\n", date: 4, preamble: 0, quoted: false, trailer: false };
        let mut shuffled = log.clone();
        let count = shuffled.len();
        for (a, b) in swaps {
            shuffled.swap(a % count, b % count);
        }
        for copy in &copies {
            shuffled.push(log[copy % count]);
        }
        let recording = read(&write(&shuffled, &dialect));
        prop_assert_eq!(values(&recording, GaugePressure), log.iter().map(|row| f64::from(row.1) / 100.0).collect::<Vec<_>>());
        prop_assert_eq!(rows(&recording), ((count + copies.len()) as u64, count as u64, copies.len() as u64));
    }

    #[test]
    fn a_file_cut_anywhere_keeps_the_account_true(log in logs(), dialect in dialects(), share in 0.0..1.0f64) {
        let text = write(&log, &dialect);
        let mut cut = (text.len() as f64 * share) as usize;
        while !text.is_char_boundary(cut) {
            cut -= 1;
        }
        if let Ok(recording) = read_bytes("cut.csv", &text.as_bytes()[..cut], &ReadOptions::default()) {
            let (read, used, aside) = rows(&recording);
            prop_assert_eq!(read, used + aside);
            prop_assert!(used <= log.len() as u64);
            for series in &recording.series {
                prop_assert_eq!(series.time_s.len(), series.value.len());
                prop_assert!(series.time_s.windows(2).all(|pair| pair[0] <= pair[1]));
            }
        }
    }

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = read_bytes("junk", &bytes, &ReadOptions::default());
    }

    #[test]
    fn no_text_of_the_trade_makes_the_reader_panic(text in "([0-9]{1,4}|[-/:.,;\t \"<>]|\n|\r|time|dP \\(Pa\\)|O2 ppm|NaN|2026-05-04|09:00:00|AM|Z|#|\\+02:00|sep=){0,120}") {
        if let Ok(recording) = read_bytes("text", text.as_bytes(), &ReadOptions::default()) {
            let (read, used, aside) = rows(&recording);
            prop_assert_eq!(read, used + aside);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Files of up to some megabytes, whose form is told from their head and from pieces further down.
    #[test]
    fn a_line_of_any_length_at_any_place_costs_no_other_row(
        count in 6_000..30_000u32,
        // One in four stands last.
        place in 0.0..1.33f64,
        length in prop_oneof![0..200usize, 16_300..16_500usize, 1_100_000..1_300_000usize],
        ends in any::<bool>(),
    ) {
        let mut lines: Vec<String> = (0..count).map(|second| format!("{second},-{}", 900 - second % 7)).collect();
        lines.insert((place.min(1.0) * f64::from(count)) as usize, "x".repeat(length));
        let text = format!("Time (s),gauge pressure (Pa)\n{}{}", lines.join("\n"), if ends { "\n" } else { "" });
        let recording = read(&text);
        prop_assert_eq!(recording.account.rows_used(), u64::from(count));
        prop_assert!(recording.account.rows_set_aside() <= 1);
    }
}
