//! Time of one evaluation of the pressure-change test against the length of the log, beside the time of a plain pass
//! over the same readings (a sum), both measured in this run.
//!
//! `cargo run --release -p tightfit-fit --example pressure-change-timing`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use std::hint::black_box;
use std::time::{Duration, Instant};
use tightfit_fit::simulate::{Hold, Room, evaluate_simulated};

fn main() {
    println!("| log | rows | evaluation | a row | plain sum of the readings |");
    println!("|---|---|---|---|---|");
    for (name, hours) in [("an hour", 1.0), ("a day", 24.0), ("a week", 168.0)] {
        let mut hold = Hold::ordinary(Room::ORDINARY, hours * 3600.0, 5e-4);
        hold.cadence_s = 1.0;
        let settings = hold.settings();
        let simulated = hold.simulate(1);
        let rows = simulated.time_s.len();
        let evaluation = fastest(|| {
            black_box(evaluate_simulated(black_box(&simulated), &hold, &settings).is_ok());
        });
        let sum = fastest(|| {
            black_box(black_box(&simulated.gauge_pa).iter().sum::<f64>());
        });
        println!(
            "| {name} at 1 Hz | {rows} | {:.1} ms | {:.0} ns | {:.3} ms |",
            evaluation.as_secs_f64() * 1e3,
            evaluation.as_secs_f64() * 1e9 / rows as f64,
            sum.as_secs_f64() * 1e3
        );
    }
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
