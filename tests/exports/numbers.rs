//! Decimal and thousands marks.

use tightfit_ingest::{Channel, ColumnRef, ColumnRequest, Format};

use super::support::{plan, questions, read, read_with, rows, times, values};

/// Elapsed ms and bar as a logger writes them that uses the point for thousands and for decimals.
fn double_point() -> String {
    (0..40)
        .map(|i| {
            let ms = i * 100 + i32::from(i == 3);
            let time = if ms < 1000 { format!("{ms}.000") } else { format!("{}.{:03}.000", ms / 1000, ms % 1000) };
            format!("{time};{:.3};{:.3}\r\n", 3.658 - f64::from(i) * 1e-3, 7.315 - f64::from(i) * 2e-3)
        })
        .collect()
}

fn hold_plan(format: Format, unit: &str) -> tightfit_ingest::ReadOptions {
    let time = ColumnRequest::new(Channel::Time, vec![ColumnRef::Position(1)]);
    plan(vec![time, ColumnRequest::by_position(Channel::GaugePressure, 3).with_unit(unit)], format)
}

#[test]
fn a_mark_that_may_be_thousands_or_decimals_is_asked_about() {
    let recording = read(&double_point());
    assert_eq!(rows(&recording), (40, 0, 40));
    let asked = questions(&recording);
    assert_eq!(asked.len(), 1, "{asked:?}");
    assert!(
        asked[0].starts_with("numbers: '1.000.000' beside '0.000': does '.' mark thousands, decimals, or both?"),
        "{asked:?}"
    );
    assert!(recording.questions[0].answer.contains("thousands = \".\""));
}

#[test]
fn a_stated_thousands_mark_settles_the_double_point() {
    for decimal in [None, Some('.')] {
        let format = Format {
            header: Some(false),
            time: Some("elapsed".into()),
            elapsed_unit: Some("ms".into()),
            thousands: Some('.'),
            decimal,
            ..Format::default()
        };
        let recording = read_with(&double_point(), &hold_plan(format, "bar"));
        assert!(questions(&recording).is_empty());
        assert_eq!(rows(&recording), (40, 40, 0));
        assert_eq!(times(&recording, Channel::GaugePressure)[3], 0.301);
        assert_eq!(times(&recording, Channel::GaugePressure)[39], 3.9);
        assert!((values(&recording, Channel::GaugePressure)[0] - 731_500.0).abs() < 1e-6);
    }
}

#[test]
fn with_another_decimal_mark_every_thousands_mark_is_dropped() {
    let format = Format {
        header: Some(false),
        time: Some("elapsed".into()),
        elapsed_unit: Some("us".into()),
        thousands: Some('.'),
        decimal: Some(','),
        ..Format::default()
    };
    let recording = read_with(double_point().split_once('\n').unwrap().1, &hold_plan(format, "mbar"));
    assert_eq!(times(&recording, Channel::GaugePressure)[38], 3.8);
    assert!((values(&recording, Channel::GaugePressure)[0] - 731_300.0).abs() < 1e-6);
}

#[test]
fn decimal_commas_are_read_with_and_without_quotes() {
    let semicolons = "Zeit;Differenzdruck (Pa)\n2026-05-04T09:00:00Z;-1000,5\n2026-05-04T09:01:00Z;-999,25\n2026-05-04T09:02:00Z;-998\n";
    assert_eq!(values(&read(semicolons), Channel::GaugePressure), [-1000.5, -999.25, -998.0]);
    let quoted = "\"Zeit\",\"Differenzdruck (Pa)\"\n\"2026-05-04T09:00:00Z\",\"-1000,5\"\n\"2026-05-04T09:01:00Z\",\"-999,25\"\n\"2026-05-04T09:02:00Z\",\"-998\"\n";
    assert_eq!(values(&read(quoted), Channel::GaugePressure), [-1000.5, -999.25, -998.0]);
}

#[test]
fn thousands_marks_are_told_from_numbers_that_hold_both() {
    let german = "Zeit;Raumdruck (Pa)\n2026-05-04T09:00:00Z;101.325,5\n2026-05-04T09:01:00Z;101.300,0\n2026-05-04T09:02:00Z;99.900,5\n";
    assert_eq!(values(&read(german), Channel::RoomPressure), [101_325.5, 101_300.0, 99_900.5]);
    let english = "time;room pressure (Pa)\n2026-05-04T09:00:00Z;101,325.5\n2026-05-04T09:01:00Z;101,300.0\n2026-05-04T09:02:00Z;99,900.5\n";
    assert_eq!(values(&read(english), Channel::RoomPressure), [101_325.5, 101_300.0, 99_900.5]);
}

#[test]
fn mixed_decimal_marks_are_asked_about() {
    let text = "time;dP (Pa)\n2026-05-04T09:00:00Z;-1000,5\n2026-05-04T09:01:00Z;-999.25\n2026-05-04T09:02:00Z;-998,75\n2026-05-04T09:03:00Z;-998.5\n";
    let asked = questions(&read(text));
    assert!(asked[0].contains("some are written with a decimal point, some with a decimal comma"), "{asked:?}");
}

#[test]
fn a_decimal_comma_between_commas_is_asked_about() {
    let text = "time,dP (Pa),T gas (°C)\n2026-05-04T09:00:00Z,-1000,5,21,5\n2026-05-04T09:01:00Z,-999,2,21,6\n2026-05-04T09:02:00Z,-998,1,21,7\n";
    let asked = questions(&read(text));
    assert!(asked.iter().any(|text| text.contains("decimal mark and separator at once")), "{asked:?}");
}
