//! Public records of things that return to rest: four sensors of a tracer decay, a well's level, oxygen in aerated water,
//! leaking chambers. The clean-up's fit against least squares on the full records.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::clean_up::{CleanUp, CleanUpError, Lag, Note, Settings, evaluate};
use tightfit_fit::ppm_rise::{Analyser, Trace};
use tightfit_fit::{Kind, Samples};

use crate::exponential_records as records;

/// The fit with an immediate response, contents as parts of a million.
fn fitted(time_s: &[f64], content: &[f64]) -> Result<CleanUp, CleanUpError> {
    let fraction: Vec<f64> = content.iter().map(|value| 1e-6 * value).collect();
    let samples = Samples::new(time_s, &fraction).unwrap();
    let window_s = Some([time_s[0], time_s[time_s.len() - 1]]);
    let settings = Settings { lag: Lag::Exactly(0.0), window_s, ..Settings::default() };
    evaluate(&Trace { samples, status: &[], analyser: Analyser::default() }, &settings)
}

/// Repository AminDar/CO2-Sensors, commit 6a734a23 (2024-10-07, the decay from 13:52:00 on): time constant and floor by
/// least squares on all 441 readings, with autocorrelation-robust standard errors of 6 to 8 s and of 2 ppm.
#[test]
fn four_sensors_of_one_decay_give_their_time_constants_and_their_offsets() {
    let mut check = CrossCheck::against(
        "Tracer decay in a room",
        "Repository AminDar/CO2-Sensors, commit 6a734a23, four sensors; least squares with free floor on the full record",
    );
    let sensors = [
        (&records::TRACER_1_PPM, 1227.194, 100.003),
        (&records::TRACER_2_PPM, 1199.952, 453.277),
        (&records::TRACER_3_PPM, 1193.167, 65.466),
        (&records::TRACER_4_PPM, 1249.465, 753.242),
    ];
    for (ppm, time_constant_s, floor_ppm) in sensors {
        let found = fitted(&records::TRACER_S, ppm).unwrap();
        check.relative("time constant, s", found.time_constant.value, time_constant_s, 0.015);
        check.covered("time constant, interval, s", found.time_constant.interval95, time_constant_s);
        check.covered("offset of the sensor, interval, ppm", found.floor.interval95, floor_ppm);
    }
}

/// Repository DOV-Vlaanderen/groundwater-logger-validation, commit 1cda4c20: level of a well after a slug was taken out at
/// 13:31. One exponential gives 19.4 s over the first seven minutes, and longer the later it begins: it is not one.
#[test]
fn a_well_that_recovers_fast_and_then_slowly_is_not_called_one_exponential() {
    let below_13_m: Vec<f64> = records::SLUG_M.iter().map(|level| 1e3 * (13.0 - level)).collect();
    let found = fitted(&records::SLUG_S, &below_13_m).unwrap();
    let slow = found.notes.iter().find_map(|note| match note {
        Note::SlowTail { time_constant_s, .. } => Some(*time_constant_s),
        _ => None,
    });
    // One exponential lies between the two.
    assert!(found.time_constant.interval95[1] < 19.41 && slow.unwrap() > 19.41, "{:?}", found.notes);
    let mut check = CrossCheck::against(
        "Recovery of a well",
        "Repository DOV-Vlaanderen/groundwater-logger-validation, commit 1cda4c20, 13:31 to 13:38; least squares on the full record",
    );
    check.absolute("level at rest, m", 13.0 - 1e-3 * found.floor.value, 12.97635, 1e-3);
}

/// Repository monroews/CEE4530, commit 9ee134cb: oxygen in aerated water, as what it lacks of the 8.896 mg/L of saturation.
/// A free end gives nearly twice saturation at 100 µmol/s and no exponential at all at 275.
#[test]
fn an_approach_that_stops_early_is_said_not_to_have_reached_its_end() {
    const SATURATION: f64 = 8.896_112;
    let cases = [(&records::AERATION_100_MG_PER_L[..], 5.0), (&records::AERATION_275_MG_PER_L[..], 1.0)];
    for (oxygen, step_s) in cases {
        let time_s: Vec<f64> = (0..oxygen.len()).map(|index| step_s * index as f64).collect();
        let lacking: Vec<f64> = oxygen.iter().map(|content| SATURATION - content).collect();
        let found = fitted(&time_s, &lacking).unwrap();
        let said = |note: &Note| matches!(note, Note::FloorNotReached { time_constants } if *time_constants < 0.6);
        assert!(found.notes.iter().any(said), "{:?}", found.notes);
    }
}

/// Repository EvaZillen/3D-printed-pneumatic-actuator, commit 6e0bcb46, from 20 s to 100 s: a chamber that leaks empty with
/// 8.371 s to 38.3 mbar, which is the gauge's zero (with a zero floor the same readings give 10.25 s), and one that
/// chokes first and is no exponential.
#[test]
fn a_leaking_chamber_shows_its_gauges_zero_and_a_choked_one_is_not_called_one_exponential() {
    let slow = |found: &CleanUp| found.notes.iter().any(|note| matches!(note, Note::SlowTail { .. }));
    let emptied = fitted(&records::CHAMBER_020_S, &records::CHAMBER_020_BAR.map(|bar| 1e3 * bar)).unwrap();
    let mut check = CrossCheck::against(
        "A chamber that leaks empty",
        "Repository EvaZillen/3D-printed-pneumatic-actuator, commit 6e0bcb46, layers of 0.20 mm; least squares on the full record",
    );
    check.relative("time constant, s", emptied.time_constant.value, 8.37132, 0.04);
    check.covered("zero of the gauge, interval, mbar", emptied.floor.interval95, 38.325);
    assert!(emptied.floor.kind == Kind::Estimate && !slow(&emptied), "{:?}", emptied.notes);
    let choked = fitted(&records::CHAMBER_015_S, &records::CHAMBER_015_BAR.map(|bar| 1e3 * bar)).unwrap();
    assert!(slow(&choked), "{:?}", choked.notes);
}
