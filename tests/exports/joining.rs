//! Several loggers on one time base.

use tightfit_ingest::Channel::{GaugePressure, RoomPressure};
use tightfit_ingest::{JoinOptions, Status, join, table};

use super::support::read;

fn gauge() -> tightfit_ingest::Recording {
    let rows: String = (0..40).map(|i| format!("{};{}\n", i * 30, -1000 + i)).collect();
    read(&format!("Time (s);dP (Pa)\n{rows}"))
}

fn barometer(seconds: &[i32]) -> tightfit_ingest::Recording {
    let rows: String = seconds.iter().map(|s| format!("{s};{}\n", 1000.0 + f64::from(*s) / 1000.0)).collect();
    read(&format!("Time (s);Luftdruck (hPa)\n{rows}"))
}

#[test]
fn values_between_readings_are_on_the_straight_line() {
    let (gauge, barometer) = (gauge(), barometer(&[0, 300, 600, 900]));
    let joined = join(&[&gauge.series[0], &barometer.series[0]], JoinOptions::default());
    assert_eq!(joined.columns[1].channel, RoomPressure);
    assert!((joined.columns[1].value[1].unwrap() - 100_003.0).abs() < 1e-6);
    assert_eq!(joined.columns[1].value[31], None, "nothing is said beyond the last reading");
    assert_eq!(joined.columns[0].value[7], Some(-993.0));
}

#[test]
fn a_gap_is_not_bridged() {
    let (gauge, barometer) = (gauge(), barometer(&[0, 60, 120, 180, 1000, 1060]));
    let joined = join(&[&gauge.series[0], &barometer.series[0]], JoinOptions { longest_gap_in_cadences: 3.0 });
    assert!(joined.columns[1].value[6].is_some());
    assert_eq!(joined.columns[1].value[10], None);
    assert!(joined.method.contains("at most 3 median steps"));
}

#[test]
fn censored_readings_are_not_interpolated_from() {
    let analyser = read("Time (s);O2 (ppm)\n0;2\n60;<0.1\n120;2\n180;2\n");
    let joined = join(&[&gauge().series[0], &analyser.series[0]], JoinOptions::default());
    let column = &joined.columns[1];
    assert_eq!((column.value[1], column.value[2], column.status[2]), (None, Some(1e-7), Status::BelowLimit));
    assert_eq!(column.value[5], Some(2e-6));
}

#[test]
fn a_joined_table_becomes_a_frame() {
    let (gauge, barometer) = (gauge(), barometer(&[0, 300, 600, 900]));
    let frame = table::joined_frame(&join(&[&gauge.series[0], &barometer.series[0]], JoinOptions::default())).unwrap();
    assert_eq!((frame.height(), frame.width()), (40, 5));
    assert_eq!(frame.column("room_pressure").unwrap().null_count(), 9);
    assert_eq!(frame.column(GaugePressure.as_str()).unwrap().null_count(), 0);
}
