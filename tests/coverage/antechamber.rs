//! Coverage of the antechamber in small; `cargo run --release -p tightfit-fit --example antechamber-study` is the large study.

use tightfit_fit::antechamber::{Antechamber, Note, Record, Settings, evaluate};
use tightfit_fit::ppm_rise::Quantity;
use tightfit_fit::simulate::{GaugeModel, Random, Vessel, VesselStep};
use tightfit_fit::{Kind, Samples};

const VESSEL: Vessel = Vessel::antechamber(3e-5);

const ABSOLUTE: GaugeModel =
    GaugeModel { noise: [5.0, 0.0], zero_pa: 30.0, resolution_pa: 1.0, from_room: false, ..FROM_ROOM };

const FROM_ROOM: GaugeModel = GaugeModel {
    cadence_s: 2.0,
    noise: [30.0, 0.0],
    zero_pa: 150.0,
    scale: 0.002,
    resolution_pa: 10.0,
    from_room: true,
};

/// Evaluates three cycles of a vessel down to about `low_pa`: the evaluation and the true oxygen, ppm.
fn cycles(vessel: &Vessel, gauge: &GaugeModel, low_pa: f64, seed: u64) -> (Antechamber, f64) {
    let mut random = Random::new(seed + 31);
    let mut steps = vec![VesselStep::Hold { for_s: 60.0 }];
    for _ in 0..3 {
        steps.extend([
            VesselStep::Pump { for_s: 30.0 * (1e6 / low_pa).ln(), tau_s: 30.0, ultimate_pa: 0.9 * low_pa },
            VesselStep::Hold { for_s: random.uniform(100.0, 150.0) },
            VesselStep::Fill { to_pa: 99_900.0, rate_pa_per_s: 2500.0 },
            VesselStep::Hold { for_s: random.uniform(30.0, 90.0) },
        ]);
    }
    let simulated = vessel.simulate(&steps, gauge, seed);
    let room = VESSEL.room_pa + 50.0 * random.normal();
    let offset = if gauge.from_room { room } else { 0.0 };
    let pressure: Vec<f64> = simulated.reading_pa.iter().map(|reading| reading + offset).collect();
    let record = Record {
        pressure: Samples::new(&simulated.time_s, &pressure).unwrap(),
        room_pressure_pa: Quantity::new(room, 50.0),
        restarts_s: &[],
    };
    let settings = Settings {
        volume_m3: Some(Quantity::new(VESSEL.volume_m3, 0.0)),
        enclosure_m3: Some(Quantity::new(0.92, 0.0)),
        gauge: gauge.instrument(),
        from_room: gauge.from_room,
        supply_oxygen: Quantity::new(1e-6, 3e-7),
        room_oxygen: 0.209,
        leak_throughput: None,
        target: Some(1e-5),
        window_s: None,
    };
    (evaluate(&record, &settings).unwrap(), 1e6 * simulated.oxygen)
}

#[test]
fn intervals_of_the_residual_oxygen_hold_the_truth() {
    let [mut tests, mut outside] = [0; 2];
    for (gauge, low_pa) in [(FROM_ROOM, 4000.0), (FROM_ROOM, 2000.0), (ABSOLUTE, 1000.0)] {
        for seed in 0..20 {
            let (found, truth) = cycles(&VESSEL, &gauge, low_pa, seed);
            assert_eq!(found.cycle_count, 3);
            let [low, high] = found.residual_oxygen.interval95;
            outside += u32::from(!(low..=high).contains(&truth));
            tests += 1;
            let step = found.oxygen_step.unwrap();
            let share = 0.038 / (0.038 + 0.92);
            assert!((step.value / (share * found.residual_oxygen.value) - 1.0).abs() < 1e-9);
        }
    }
    // Of 60 intervals at 95 % more than 8 miss with a probability below 1 %.
    assert!(outside <= 8, "{outside} of {tests}");
}

#[test]
fn near_full_vacuum_a_gauge_that_counts_from_the_room_gives_an_upper_bound() {
    let mut bounds = 0;
    for seed in 0..10 {
        let (found, truth) = cycles(&VESSEL, &FROM_ROOM, 150.0, seed);
        assert!(truth <= found.residual_oxygen.interval95[1], "{truth} {:?}", found.residual_oxygen.interval95);
        if found.residual_oxygen.kind == Kind::UpperBound {
            bounds += 1;
            assert!(found.notes.iter().any(|note| matches!(note, Note::GaugeCannotTell { .. } | Note::LeakDecides)));
        }
    }
    assert!(bounds >= 7, "{bounds}");
}

#[test]
fn a_large_leak_and_what_it_lets_in_are_values() {
    let quiet = GaugeModel { cadence_s: 0.5, noise: [1.0, 0.0], ..ABSOLUTE };
    for seed in 0..5 {
        let (found, truth) = cycles(&Vessel { leak: 0.05, ..VESSEL }, &quiet, 1000.0, seed);
        let leak = found.leak_throughput.unwrap();
        assert_eq!([leak.kind, found.residual_oxygen.kind], [Kind::Estimate; 2], "{:?}", found.notes);
        assert!((leak.value / 0.05 - 1.0).abs() < 0.15, "{}", leak.value);
        assert!((found.residual_oxygen.value / truth - 1.0).abs() < 0.1, "{truth} {}", found.residual_oxygen.value);
    }
}

#[test]
fn where_a_leak_below_resolution_decides_the_residual_oxygen_is_an_upper_bound() {
    for (leak, seed) in [(0.0, 1), (3e-5, 2), (1e-3, 3), (3e-3, 4)] {
        let (found, truth) = cycles(&Vessel { leak, ..VESSEL }, &ABSOLUTE, 500.0, seed);
        assert_eq!(found.residual_oxygen.kind, Kind::UpperBound, "{leak}");
        assert!(truth < found.residual_oxygen.interval95[1], "{leak} {truth} {:?}", found.residual_oxygen.interval95);
        assert!(found.notes.contains(&Note::LeakDecides), "{:?}", found.notes);
    }
}

#[test]
fn readings_too_far_apart_to_count_cycles_are_said() {
    let notes = |cadence_s| cycles(&VESSEL, &GaugeModel { cadence_s, ..ABSOLUTE }, 1000.0, 3).0.notes;
    let says = |notes: &[Note]| notes.iter().any(|note| matches!(note, Note::MayMissCycles { .. }));
    assert!(says(&notes(60.0)) && !says(&notes(5.0)));
}
