//! Antechamber and vacuum: a public pump-down record, the algebra of dilution, units of throughput.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::antechamber::{self, Settings as CycleSettings};
use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::pressure_change::Instrument;
use tightfit_fit::vacuum_hold::{self, RoomReference, Settings, VacuumHoldError};
use tightfit_fit::{Kind, Samples};

/// Some of the readings of a functional test of a vacuum manifold: repository westherftech/vacuum_pressure_logging,
/// commit 6596a86fe6fd5e613df126fe080db3fd67c2cd85 (2024-04-10). Seconds since the start of the test.
const PUMP_DOWN_S: [f64; 57] = [
    13.8, 16.6, 19.3, 22.1, 24.1, 26.9, 29.0, 31.7, 33.7, 36.5, 55.8, 75.2, 94.5, 113.7, 133.5, 153.0, 172.5, 192.2,
    212.1, 231.5, 251.0, 267.7, 270.6, 272.6, 275.4, 277.5, 280.3, 282.3, 285.2, 287.3, 290.2, 292.2, 295.1, 297.1,
    300.1, 302.1, 304.9, 307.0, 309.9, 311.9, 314.8, 316.8, 319.7, 321.7, 324.6, 326.6, 329.5, 331.5, 334.6, 336.7,
    339.7, 341.7, 344.7, 346.7, 349.7, 351.7, 354.7,
];

/// The pressures there, mbar.
const PUMP_DOWN_MBAR: [f64; 57] = [
    952.0, 952.0, 189.0, 18.5, 6.13, 2.65, 2.0, 1.75, 1.63, 1.5, 1.02, 0.872, 0.777, 0.705, 0.651, 0.609, 0.582, 0.56,
    0.54, 0.525, 0.509, 0.497, 0.495, 0.495, 0.494, 0.493, 0.491, 0.489, 0.489, 0.489, 0.487, 0.486, 0.485, 0.484,
    0.483, 0.481, 0.479, 0.478, 0.478, 0.477, 0.475, 0.474, 0.472, 0.471, 0.469, 0.467, 0.467, 0.466, 0.464, 0.459,
    0.429, 0.386, 0.213, 0.109, 0.0369, 0.02, 0.00986,
];

#[test]
fn a_public_pump_down_is_no_hold_and_its_run_away_at_the_end_is_noticed() {
    let pressure_pa: Vec<f64> = PUMP_DOWN_MBAR.iter().map(|mbar| 100.0 * mbar).collect();
    let record = vacuum_hold::Record {
        pressure: Samples::new(&PUMP_DOWN_S, &pressure_pa).unwrap(),
        gas_temperature: None,
        room_pressure_pa: 95_200.0,
        restarts_s: &[],
    };
    let settings = Settings {
        volume_m3: Quantity::new(0.001, 0.0),
        gauge: Instrument::default(),
        room: RoomReference::Followed,
        window_s: None,
        pumped_s: None,
    };
    // By eye the readings leave their course at 344 s, where they fall twentyfold within 10 s.
    let source = "Public functional test of a vacuum manifold, westherftech/vacuum_pressure_logging, commit 6596a86f";
    let mut check = CrossCheck::against("Pump-down that is no hold", source);
    let set = Settings { window_s: Some([60.0, 400.0]), ..settings };
    for settings in [settings, set] {
        let error = vacuum_hold::evaluate(&record, &settings).unwrap_err();
        let VacuumHoldError::NotHeld { runs_away: Some([time_s, _]), .. } = error else { panic!("{error}") };
        let first_s = settings
            .window_s
            .map_or(PUMP_DOWN_S[0], |[from, _]| PUMP_DOWN_S.iter().copied().find(|t| *t >= from).unwrap());
        check.between("moment at which it runs away, s, by eye", first_s + time_s, 344.0, [335.0, 350.0]);
    }
}

/// Three cycles between two pressures, every second, without leak.
fn three_cycles(low_pa: f64, high_pa: f64, supply_oxygen: f64) -> antechamber::Antechamber {
    let mut value = vec![high_pa; 30];
    for _ in 0..3 {
        let steps = 120;
        value.extend((1..=steps).map(|i| high_pa * (low_pa / high_pa).powf(f64::from(i) / f64::from(steps))));
        value.extend([low_pa; 60]);
        value.extend((1..=20).map(|i| low_pa + (high_pa - low_pa) * f64::from(i) / 20.0));
        value.extend([high_pa; 30]);
    }
    let time: Vec<f64> = (0..value.len()).map(|t| t as f64).collect();
    let record = antechamber::Record {
        pressure: Samples::new(&time, &value).unwrap(),
        room_pressure_pa: Quantity::new(high_pa, 0.0),
        restarts_s: &[],
    };
    let settings = CycleSettings {
        volume_m3: Some(Quantity::new(0.038, 0.0)),
        enclosure_m3: Some(Quantity::new(0.92, 0.0)),
        gauge: Instrument::default(),
        from_room: false,
        supply_oxygen: Quantity::new(supply_oxygen, 0.0),
        room_oxygen: 0.209,
        leak_throughput: None,
        target: None,
        window_s: None,
    };
    antechamber::evaluate(&record, &settings).unwrap()
}

/// Residual fraction: the product of p_low/p_high of every cycle. 29 inHg of vacuum at 29.92 inHg leave 0.92 inHg: common
/// practice, no source.
#[test]
fn three_cycles_to_29_inches_of_mercury_from_29_92_leave_about_6_ppm_of_oxygen() {
    const IN_HG: f64 = 3386.389;
    let found = three_cycles(0.92 * IN_HG, 29.92 * IN_HG, 0.0);
    assert_eq!(found.cycle_count, 3);
    let exact = 1e6 * 0.209 * (0.92_f64 / 29.92).powi(3);
    let mut check = CrossCheck::against(
        "Three cycles of an antechamber",
        "Common practice, no source: the product of p_low/p_high",
    );
    check.relative("residual oxygen by hand, ppm", exact, 6.076, 1e-3);
    // Readings without noise leave next to no room for a leak.
    check.relative("residual oxygen, ppm", found.residual_oxygen.value, exact, 0.05);
    check.covered("residual oxygen, interval, ppm", found.residual_oxygen.interval95, exact);
    assert_eq!(found.residual_oxygen.kind, Kind::Estimate);
    let step = found.oxygen_step.unwrap().value;
    check.relative("step in the enclosure, ppm", step, found.residual_oxygen.value * 0.038 / 0.958, 1e-9);
}

/// With oxygen s in the backfill gas each cycle gives x' = x·r + s·(1 − r): after three x = s + (x₀ − s)·r³.
#[test]
fn the_backfill_gas_adds_what_dilution_algebra_says() {
    let supply = 5e-6;
    let found = three_cycles(1000.0, 1e5, supply);
    let exact = 1e6 * (supply + (0.209 - supply) * 1e-6);
    let mut check = CrossCheck::against("Backfill gas with oxygen", "Algebra of dilution");
    check.relative("residual oxygen, ppm", found.residual_oxygen.value, exact, 0.05);
    check.covered("residual oxygen, interval, ppm", found.residual_oxygen.interval95, exact);
}
