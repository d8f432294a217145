//! Time of every fit on simulated readings of growing number, beside a plain sum of as many readings.
//!
//! `cargo bench -p tightfit-fit` (`-- WORD` for some of it)
#![allow(clippy::unwrap_used, reason = "a bench whose fit fails measures nothing and should stop")]
#![allow(missing_docs, reason = "the names say what is measured")]

use divan::Bencher;
use divan::counter::ItemsCount;
use tightfit_fit::decision::Rule;
use tightfit_fit::design::{Demand, Limited, SetUp, shortest};
use tightfit_fit::diagnose::{Cause, diagnose};
use tightfit_fit::ppm_rise::{
    Analyser, MakeUp, PressureDifference, Quantity, Record, RoomAir, Settings, Supply, Trace,
};
use tightfit_fit::pressure_change::Instrument;
use tightfit_fit::simulate::{
    AnalyserCheckRun, Channels, Dose, Doses, EnduranceRun, GaugeModel, Hold, RegenerationCell, Rise, Room, Vessel,
    VesselStep, WorkingLog, Years, evaluate_simulated, study_years,
};
use tightfit_fit::{
    Samples, antechamber, clean_up, clean_up_series, make_up, ppm_rise, ppm_rise_series, purge_down, vacuum_hold,
};

/// Numbers of readings.
const ROWS: [usize; 3] = [10_000, 100_000, 1_000_000];
/// Seconds of a usual record, so that more readings stand closer and do not last longer.
const HOURS: f64 = 8.0;

fn main() {
    divan::main();
}

fn cadence_s(rows: usize) -> f64 {
    HOURS * 3600.0 / rows as f64
}

/// Times of so many readings of a usual record, s.
fn times_s(rows: usize) -> Vec<f64> {
    (0..rows).map(|row| row as f64 * cadence_s(rows)).collect()
}

/// Measures what looks at so many readings.
fn of_readings<T>(bencher: Bencher, rows: usize, evaluate: impl Fn() -> T + Sync) {
    bencher.counter(ItemsCount::new(rows)).bench(evaluate);
}

/// What anything that looks at every reading costs at least.
#[divan::bench(args = ROWS)]
fn a_plain_sum(bencher: Bencher, rows: usize) {
    let readings: Vec<f64> = (0..rows).map(|row| (row as f64).sin()).collect();
    of_readings(bencher, rows, || divan::black_box(&readings).iter().sum::<f64>());
}

#[divan::bench(args = ROWS, sample_count = 5)]
fn pressure_change(bencher: Bencher, rows: usize) {
    let mut hold = Hold::ordinary(Room::ORDINARY, HOURS * 3600.0, 5e-4);
    hold.cadence_s = cadence_s(rows);
    let (simulated, settings) = (hold.simulate(1), hold.settings());
    of_readings(bencher, rows, || evaluate_simulated(&simulated, &hold, &settings).unwrap());
}

fn trace<'a>(time_s: &'a [f64], reading: &'a [f64]) -> Trace<'a> {
    Trace { samples: Samples::new(time_s, reading).unwrap(), status: &[], analyser: Analyser::default() }
}

const AIR: RoomAir = RoomAir {
    oxygen: Quantity { value: 0.207, standard_uncertainty: 0.0 },
    water: Quantity { value: 0.011, standard_uncertainty: 0.0 },
};

fn rise(trace: Trace<'_>, difference_pa: f64) -> ppm_rise::PpmRise {
    let record = Record {
        oxygen: Some(trace),
        water: None,
        pressure_difference: PressureDifference::Stated(difference_pa),
        room_pressure_pa: 101_325.0,
        room_air: AIR,
        make_up: MakeUp::None,
        supply: Supply::default(),
    };
    ppm_rise::evaluate(&record, &Settings::default()).unwrap()
}

#[divan::bench(args = ROWS, sample_count = 5)]
fn ppm_rise_of_oxygen(bencher: Bencher, rows: usize) {
    let run = Rise { cadence_s: cadence_s(rows), exponentials: vec![[2.0, 0.8]], ..Rise::plain(HOURS, 1.0) };
    let seen = run.simulate(1);
    of_readings(bencher, rows, || rise(trace(&seen.time_s, &seen.reading), -500.0));
}

#[divan::bench(sample_count = 5)]
fn ppm_rise_series_of_four_runs(bencher: Bencher) {
    let runs: Vec<ppm_rise_series::Run> = [(1, 250.0), (2, -100.0), (3, -250.0), (4, -500.0)]
        .into_iter()
        .map(|(seed, difference_pa): (u64, f64)| {
            let seen = Rise::plain(HOURS, 0.3 - 2e-3 * difference_pa.min(0.0)).simulate(seed);
            ppm_rise_series::Run {
                name: format!("{difference_pa} Pa"),
                pressure_difference_pa: difference_pa,
                room_pressure_pa: 101_325.0,
                room_air: AIR,
                oxygen_ingress: rise(trace(&seen.time_s, &seen.reading), difference_pa).oxygen_ingress,
                water_ingress: None,
            }
        })
        .collect();
    let settings = ppm_rise_series::Settings {
        reference_pressure_pa: -500.0,
        room_pressure_pa: 101_325.0,
        room_air: AIR,
        oxygen_scale: 0.02,
        water_scale: 0.0,
        conductance_from_pressure: None,
    };
    bencher.bench(|| ppm_rise_series::evaluate(&runs, &settings).unwrap());
}

/// Clean-up in which `doses` come down within 8 h.
fn doses(rows: usize, count: usize) -> (Vec<f64>, Vec<f64>) {
    let slot_s = HOURS * 3600.0 / count as f64;
    let dose = |index| Dose { at_s: (f64::from(index) + 0.1) * slot_s, amount_ppm: 30.0, lasting_s: 20.0 };
    let log = Doses {
        duration_s: HOURS * 3600.0,
        cadence_s: cadence_s(rows),
        doses: (0..count as u32).map(dose).collect(),
        ..Doses::one(0.05 * slot_s, 0.05, 6.0)
    };
    log.simulate(1)
}

#[divan::bench(args = ROWS, sample_count = 5)]
fn clean_up_of_a_dose(bencher: Bencher, rows: usize) {
    let (time_s, reading) = doses(rows, 1);
    let settings = clean_up::Settings::default();
    of_readings(bencher, rows, || clean_up::evaluate(&trace(&time_s, &reading), &settings).unwrap());
}

#[divan::bench(args = ROWS, sample_count = 3)]
fn clean_up_series_of_ten_doses(bencher: Bencher, rows: usize) {
    let (time_s, reading) = doses(rows, 10);
    let settings = clean_up_series::Settings::default();
    of_readings(bencher, rows, || clean_up_series::evaluate(&trace(&time_s, &reading), &settings).unwrap());
}

#[divan::bench(args = ROWS, sample_count = 5)]
fn purge_down_from_air(bencher: Bencher, rows: usize) {
    let time_s = times_s(rows);
    let noise = |row: usize| 1.0 + 0.01 * (row as f64 * 1.7).sin();
    let reading: Vec<f64> =
        time_s.iter().enumerate().map(|(row, t)| (2e-6 + 0.209 * (-t / 1800.0).exp()) * noise(row)).collect();
    let settings = purge_down::Settings {
        flow: purge_down::Flow::Constant(Quantity::new(5e-4, 1e-5)),
        volume_m3: Some(Quantity::new(0.92, 0.02)),
        supply: None,
        target: None,
        delay_s: 0.0,
        window_s: None,
    };
    of_readings(bencher, rows, || purge_down::evaluate(&trace(&time_s, &reading), &settings).unwrap());
}

#[divan::bench(sample_count = 5)]
fn endurance(bencher: Bencher) {
    let run = EnduranceRun::all().into_iter().next().unwrap();
    let seen = run.simulate(1);
    of_readings(bencher, seen.reading.len(), || run.evaluated(&seen).unwrap());
}

/// Simulated anew each time, which costs little beside the fit.
#[divan::bench(sample_count = 5)]
fn analyser_check(bencher: Bencher) {
    let run = AnalyserCheckRun::all().into_iter().next().unwrap();
    bencher.bench(|| run.study(1, 1));
}

/// Simulated anew each time, which costs little beside the evaluation.
#[divan::bench(sample_count = 5)]
fn regeneration(bencher: Bencher) {
    let cell = RegenerationCell::all().into_iter().next().unwrap();
    bencher.bench(|| cell.study(1, 1));
}

const VESSEL: Vessel = Vessel::antechamber(2e-4);

fn gauge(cadence_s: f64) -> GaugeModel {
    GaugeModel { cadence_s, noise: [1.0, 0.0], zero_pa: 20.0, scale: 0.01, resolution_pa: 0.0, from_room: false }
}

#[divan::bench(args = ROWS, sample_count = 5)]
fn vacuum_hold_of_hours(bencher: Bencher, rows: usize) {
    let steps =
        [VesselStep::Pump { for_s: 400.0, tau_s: 30.0, ultimate_pa: 10.0 }, VesselStep::Hold { for_s: HOURS * 3600.0 }];
    let gauge = gauge(cadence_s(rows));
    let seen = VESSEL.simulate(&steps, &gauge, 1);
    let settings = vacuum_hold::Settings {
        volume_m3: Quantity::new(VESSEL.volume_m3, 8e-4),
        gauge: gauge.instrument(),
        room: vacuum_hold::RoomReference::Followed,
        window_s: None,
        pumped_s: None,
    };
    let record = vacuum_hold::Record {
        pressure: Samples::new(&seen.time_s, &seen.reading_pa).unwrap(),
        gas_temperature: None,
        room_pressure_pa: VESSEL.room_pa,
        restarts_s: &[],
    };
    of_readings(bencher, rows, || vacuum_hold::evaluate(&record, &settings).unwrap());
}

#[divan::bench(sample_count = 5)]
fn antechamber_of_three_cycles(bencher: Bencher) {
    let mut steps = vec![VesselStep::Hold { for_s: 60.0 }];
    for _ in 0..3 {
        steps.extend([
            VesselStep::Pump { for_s: 200.0, tau_s: 30.0, ultimate_pa: 900.0 },
            VesselStep::Hold { for_s: 120.0 },
            VesselStep::Fill { to_pa: 99_900.0, rate_pa_per_s: 2500.0 },
            VesselStep::Hold { for_s: 60.0 },
        ]);
    }
    let gauge = gauge(1.0);
    let seen = VESSEL.simulate(&steps, &gauge, 1);
    let settings = antechamber::Settings {
        volume_m3: Some(Quantity::new(VESSEL.volume_m3, 0.0)),
        enclosure_m3: Some(Quantity::new(0.92, 0.0)),
        gauge: gauge.instrument(),
        from_room: false,
        supply_oxygen: Quantity::new(1e-6, 3e-7),
        room_oxygen: 0.209,
        leak_throughput: None,
        target: Some(1e-5),
        window_s: None,
    };
    let record = antechamber::Record {
        pressure: Samples::new(&seen.time_s, &seen.reading_pa).unwrap(),
        room_pressure_pa: Quantity::new(VESSEL.room_pa, 50.0),
        restarts_s: &[],
    };
    of_readings(bencher, seen.time_s.len(), || antechamber::evaluate(&record, &settings).unwrap());
}

/// A valve that opens a tenth of the time against a steady leak.
#[divan::bench(args = ROWS, sample_count = 5)]
fn make_up_by_a_valve(bencher: Bencher, rows: usize) {
    let time_s = times_s(rows);
    let open = |t: f64| (t / 600.0).fract() < 0.1;
    let valve: Vec<f64> = time_s.iter().map(|t| f64::from(u8::from(open(*t)))).collect();
    let saw = |t: f64| if open(t) { 10.0 * (t / 600.0).fract() } else { (1.0 - (t / 600.0).fract()) / 0.9 };
    let gauge: Vec<f64> = time_s.iter().map(|t| 400.0 + 200.0 * saw(*t)).collect();
    let record = make_up::Record {
        feed: make_up::Feed::Valve { position: Samples::new(&time_s, &valve).unwrap(), flow_m3_per_s: 3e-5 },
        difference: Some(Samples::new(&time_s, &gauge).unwrap()),
        stated_difference_pa: None,
        room_pressure: None,
        stated_room_pressure_pa: 101_325.0,
        gas_temperature: None,
        stated_temperature_k: 295.15,
    };
    let settings = make_up::Settings {
        volume_m3: Quantity::new(0.92, 0.01),
        compliance_m3_per_pa: Quantity::default(),
        reference_pressure_pa: Some(500.0),
        meter_reference: None,
        meter: Instrument { scale: 0.01, ..Instrument::default() },
        gauge: Instrument::default(),
        band_pa: Some([390.0, 610.0]),
        window_s: None,
    };
    of_readings(bencher, rows, || make_up::evaluate(&record, &settings).unwrap());
}

/// Simulated anew each time, which costs nothing beside the fit.
#[divan::bench(sample_count = 5)]
fn history_of_eight_years(bencher: Bencher) {
    let years = Years { results: 8, drift: 0.5, scatter: 1.0, step: Some(0.0), uneven: 1.5 };
    bencher.bench(|| study_years(&years, 1, 1).unwrap());
}

/// The whole search for the shortest test, a few hundred simulated records.
#[divan::bench(sample_count = 3)]
fn design_of_the_shortest_test(bencher: Bencher) {
    let hold = Hold::ordinary(Room::ORDINARY, HOURS * 3600.0, 2.5e-4);
    let demand = Demand {
        limited: Limited::HourlyLeakRate,
        limit: 5e-4,
        rule: Rule::GuardedAcceptance { risk: 0.05 },
        producers_risk: 0.05,
        tight_share: 0.5,
        longest_s: 86_400.0,
    };
    let set_up = SetUp::of_hold(&hold);
    bencher.bench(|| shortest(&set_up, &demand, None, &mut |_| {}).unwrap());
}

#[divan::bench(sample_count = 3)]
fn diagnosis_of_a_week(bencher: Bencher) {
    let log =
        WorkingLog { cause: Cause::Leak, second: None, factor: [3.0, 6.0], channels: Channels::Full, days: [7.0, 7.0] };
    let seen = log.simulate(11);
    bencher.bench(|| diagnose(&seen.log, &seen.background).unwrap());
}
