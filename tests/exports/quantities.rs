//! Channels by words and units, and values that contradict them.

use tightfit_cross_check::CrossCheck;
use tightfit_ingest::Channel::{
    AbsolutePressure, AntechamberPressure, CirculationFlow, GasTemperature, GaugePressure, MakeupFlow, Oxygen,
    RoomPressure, RoomRelativeHumidity, RoomTemperature, Water,
};
use tightfit_ingest::{
    Channel, ColumnRef, ColumnRequest, Format, PressureReference, ReadError, ReadOptions, Recording, read_bytes,
};

use super::support::{plan, questions, read, read_with, values};

fn one(header: &str, cells: [&str; 3]) -> Recording {
    read(&format!(
        "time;{header}\n2026-05-04T09:00:00Z;{}\n2026-05-04T09:01:00Z;{}\n2026-05-04T09:02:00Z;{}\n",
        cells[0], cells[1], cells[2]
    ))
}

fn assert_near(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found} is not {expected}");
}

#[test]
fn units_of_the_trade_become_si() {
    let source = "NIST SP 811 (2008), Appendix B: definitions of the units";
    let mut check = CrossCheck::against("Columns of an export in SI", source);
    for (header, cell, channel, expected) in [
        ("dP (Pa)", "-1000", GaugePressure, -1000.0),
        ("dP (hPa)", "-10", GaugePressure, -1000.0),
        ("dP (mbar)", "-10", GaugePressure, -1000.0),
        ("dP (kPa)", "-1", GaugePressure, -1000.0),
        ("dP (inH2O)", "-4", GaugePressure, -996.355_64),
        ("dP (mmH2O)", "-100", GaugePressure, -980.665),
        ("Differenzdruck (Torr)", "-7.5", GaugePressure, -7.5 * 101_325.0 / 760.0),
        ("Luftdruck (hPa)", "1013", RoomPressure, 101_300.0),
        ("barometric pressure (inHg)", "29.92", RoomPressure, 29.92 * 3_386.388_640_341),
        ("Gas temp (°F)", "70", GasTemperature, 294.261_111_111_111_1),
        ("Raumtemperatur (°C)", "21.5", RoomTemperature, 294.65),
        ("O2 (ppm)", "12", Oxygen, 12e-6),
        ("O2 (%)", "0.5", Oxygen, 5e-3),
        ("O2 (ppb)", "500", Oxygen, 5e-7),
        ("H2O (ppmv)", "3", Water, 3e-6),
        ("Relative humidity (%)", "42", RoomRelativeHumidity, 0.42),
        ("Circulation flow (m3/h)", "60", CirculationFlow, 60.0 / 3600.0),
        ("Make-up flow (L/min)", "6", MakeupFlow, 1e-4),
        ("Antechamber pressure (mTorr)", "300", AntechamberPressure, 0.3 * 101_325.0 / 760.0),
    ] {
        let recording = one(header, [cell; 3]);
        let found = values(&recording, channel);
        assert_eq!(found.len(), 3, "{header}: {:?}", recording.questions);
        check.relative(&format!("{cell} under \"{header}\""), found[0], expected, 2e-7);
    }
}

#[test]
fn inches_of_mercury_vacuum_count_below_the_room() {
    let recording = one("Antechamber (inHg vacuum)", ["29", "28", "27"]);
    let series = recording.series(AntechamberPressure).unwrap();
    assert_eq!(series.reference, PressureReference::Gauge);
    assert!(series.value[0] < -98_000.0);
}

#[test]
fn dew_points_become_mole_fractions_at_the_logged_pressure() {
    let text = "time;Taupunkt (°C);Absolutdruck (hPa)\n2026-05-04T09:00:00Z;-40;1000\n2026-05-04T09:01:00Z;-40;500\n2026-05-04T09:02:00Z;-40;1000\n";
    let found = values(&read(text), Water);
    let mut check = CrossCheck::against("Dew points of an export", "IAPWS R14-08(2011): 12.84 Pa over ice at −40 °C");
    check.absolute("−40 °C at 1000 hPa", found[0], 12.84e-5, 1e-7);
    assert_near(found[1], 2.0 * found[0]);
    let stated = read_with(
        "time;Dew point (°F)\n2026-05-04T09:00:00Z;-40\n2026-05-04T09:01:00Z;-40\n2026-05-04T09:02:00Z;-40\n",
        &ReadOptions { pressure_pa: Some(100_000.0), ..ReadOptions::default() },
    );
    assert_near(values(&stated, Water)[0], found[0]);
}

#[test]
fn standard_flows_carry_their_reference() {
    let recording = one("Make-up flow (NL/min)", ["6", "6", "6"]);
    let series = recording.series(MakeupFlow).unwrap();
    assert_eq!(series.standard_reference.map(|reference| reference.temperature_k), Some(273.15));
    assert_near(series.value[0], 1e-4);
}

#[test]
fn a_room_pressure_of_1013_pa_is_doubted() {
    let recording = one("Room pressure (Pa)", ["1013", "1013.2", "1013.1"]);
    assert!(
        questions(&recording)[0].starts_with(
            "room_pressure: column 'Room pressure (Pa)' read as Pa lies around 1013.1 Pa: no pressure of a room"
        ),
        "{:?}",
        recording.questions
    );
    assert!(recording.questions[0].answer.contains("unit = \"hPa\""));
}

#[test]
fn a_gauge_pressure_that_sits_at_the_weather_is_doubted() {
    let recording = one("dP (Pa)", ["101325", "101320", "101322"]);
    assert!(questions(&recording)[0].contains("sits where the weather's pressure is"));
    let told = read_with(
        "time;x\n2026-05-04T09:00:00Z;101325\n2026-05-04T09:01:00Z;101320\n2026-05-04T09:02:00Z;101321\n",
        &plan(vec![ColumnRequest::by_name(GaugePressure, "x").with_unit("Pa")], Format::default()),
    );
    assert!(questions(&told)[0].contains("sits where the weather's pressure is"));
}

#[test]
fn kelvin_labelled_celsius_is_doubted() {
    let recording = one("Gas temp (°C)", ["294.6", "294.7", "294.8"]);
    assert!(recording.questions[0].answer.contains("unit = \"K\""), "{:?}", recording.questions);
}

#[test]
fn a_missing_unit_is_asked_for() {
    let recording = one("Oxygen", ["12", "13", "14"]);
    assert_eq!(
        questions(&recording),
        ["oxygen: column 'Oxygen': no unit is written; its values lie around 13: what unit?"]
    );
    assert_eq!(recording.questions[0].answer, "[test.columns] oxygen = { column = \"Oxygen\", unit = \"ppm\" }");
}

#[test]
fn an_unqualified_pressure_is_told_by_its_values_or_asked_about() {
    assert_eq!(values(&one("Pressure (Pa)", ["-1000", "-999", "-998"]), GaugePressure)[0], -1000.0);
    assert_eq!(values(&one("Pressure (hPa)", ["1013", "1013", "1012"]), AbsolutePressure)[0], 101_300.0);
    let pump_down = one("Pressure (mbar)", ["926", "18", "0.5"]);
    assert!(pump_down.series.is_empty());
    assert!(pump_down.questions.iter().any(|question| question.text.contains("which pressure is it")));
}

#[test]
fn a_unit_that_does_not_fit_the_channel_is_an_error() {
    let columns = vec![ColumnRequest::by_name(GaugePressure, "x").with_unit("ppm")];
    let error = read_bytes(
        "log.csv",
        b"time,x\n2026-05-04T09:00:00Z,1\n2026-05-04T09:01:00Z,2\n",
        &plan(columns, Format::default()),
    )
    .unwrap_err();
    assert!(matches!(error, ReadError::Unit { .. }));
    assert!(error.to_string().starts_with("log.csv, column 'x': unit 'ppm':"), "{error}");
}

#[test]
fn cells_may_carry_their_unit() {
    let recording = one("Oxygen", ["12 ppm", "0.5 ppm", "< 0.1 ppm"]);
    assert_eq!(values(&recording, Oxygen), [12e-6, 5e-7, 1e-7]);
}

#[test]
fn a_unit_that_is_not_known_is_named_in_the_question() {
    let recording = read("Time (s),Oxygen [scfh]\n1,2\n2,3\n3,4\n");
    assert!(questions(&recording)[0].starts_with("oxygen: column 'Oxygen [scfh]': the unit 'scfh' is not known"));
}

#[test]
fn a_cell_in_a_unit_of_another_kind_or_zero_is_no_reading_of_its_column() {
    let kelvin = one("Gas temperature (°C)", ["22.0", "295 K", "22.0"]);
    for (found, expected) in values(&kelvin, Channel::GasTemperature).iter().zip([295.15, 295.0, 295.15]) {
        assert_near(*found, expected);
    }
    let seconds = one("dP (Pa)", ["-500", "5 s", "-499"]);
    assert_eq!(values(&seconds, Channel::GaugePressure), [-500.0, -499.0]);
}

#[test]
fn positive_numbers_under_words_for_underpressure_count_below_the_room() {
    for header in ["Unterdruck (Pa)", "Underpressure Pa", "Vacuum in box (Pa)"] {
        let below = one(header, ["500", "499", "498"]);
        assert_eq!(values(&below, Channel::GaugePressure), [-500.0, -499.0, -498.0], "{header}");
        let signed = one(header, ["-500", "-499", "-498"]);
        assert_eq!(values(&signed, Channel::GaugePressure), [-500.0, -499.0, -498.0], "{header}");
    }
    let stated = ColumnRequest {
        unit: Some("Pa gauge".into()),
        ..ColumnRequest::new(Channel::GaugePressure, vec![ColumnRef::Name("Unterdruck (Pa)".into())])
    };
    let text = "Time (s),Unterdruck (Pa)\n0,500\n1,499\n2,498\n";
    let recording = read_with(text, &plan(vec![stated], Format::default()));
    assert_eq!(values(&recording, Channel::GaugePressure), [500.0, 499.0, 498.0]);
}

#[test]
fn a_pressure_against_the_room_is_not_the_rooms() {
    for header in ["Druck gegen Raum (Pa)", "pressure vs room (Pa)", "pressure relative to room, Pa", "box-room (Pa)"] {
        let recording = one(header, ["-510", "-509", "-508"]);
        assert_eq!(values(&recording, Channel::GaugePressure).len(), 3, "{header}");
    }
    assert_eq!(values(&one("Room pressure (hPa)", ["1013", "1013", "1014"]), Channel::RoomPressure).len(), 3);
}
