//! Time of one evaluation of a ppm rise (oxygen and water) against the length of the log, beside the time of a plain
//! pass over the same readings (a sum), both measured in this run.
//!
//! `cargo run --release -p tightfit-fit --example ppm-rise-timing`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use std::hint::black_box;
use std::time::{Duration, Instant};
use tightfit_fit::Samples;
use tightfit_fit::ppm_rise::{
    Analyser, MakeUp, PressureDifference, Quantity, Record, RoomAir, Settings, Supply, Trace, evaluate,
};
use tightfit_fit::simulate::{Rise, SimulatedRise};

fn main() {
    println!("| rows of two species | evaluation | a row | plain sum of the readings | ratio |");
    println!("|---|---|---|---|---|");
    for hours in [1.0, 8.0, 27.8] {
        let oxygen = Rise { cadence_s: 1.0, exponentials: vec![[2.0, 1.0]], ..Rise::plain(hours, 1.0) }.simulate(1);
        let water = Rise {
            cadence_s: 1.0,
            room_air_ppm: 11_000.0,
            exponentials: vec![[8.0, 0.4], [20.0, 2.0]],
            ..Rise::plain(hours, 5.0)
        }
        .simulate(2);
        let Some(record) = record(&oxygen, &water) else { continue };
        let rows = oxygen.time_s.len();
        let evaluation = fastest(|| {
            black_box(evaluate(black_box(&record), &Settings::default()).is_ok());
        });
        let sum = fastest(|| {
            black_box(black_box(&oxygen.reading).iter().chain(black_box(&water.reading)).sum::<f64>());
        });
        println!(
            "| {rows} | {:.1} ms | {:.0} ns | {:.3} ms | {:.0} |",
            evaluation.as_secs_f64() * 1e3,
            evaluation.as_secs_f64() * 1e9 / rows as f64,
            sum.as_secs_f64() * 1e3,
            evaluation.as_secs_f64() / sum.as_secs_f64()
        );
    }
}

fn record<'a>(oxygen: &'a SimulatedRise, water: &'a SimulatedRise) -> Option<Record<'a>> {
    let trace = |rise: &'a SimulatedRise| {
        let samples = Samples::new(&rise.time_s, &rise.reading).ok()?;
        Some(Trace { samples, status: &[], analyser: Analyser { response_tau_s: 30.0, ..Analyser::default() } })
    };
    Some(Record {
        oxygen: Some(trace(oxygen)?),
        water: Some(trace(water)?),
        pressure_difference: PressureDifference::Stated(-500.0),
        room_pressure_pa: 101_325.0,
        room_air: RoomAir { oxygen: Quantity::new(0.207, 0.0), water: Quantity::new(0.011, 0.0) },
        make_up: MakeUp::None,
        supply: Supply::default(),
    })
}

/// Shortest of ten runs: what the machine can do when nothing else disturbs it.
fn fastest(mut run: impl FnMut()) -> Duration {
    (0..10)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed()
        })
        .min()
        .unwrap_or_default()
}
