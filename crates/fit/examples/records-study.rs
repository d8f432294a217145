//! Simulation study of regeneration records, endurance runs, analyser checks, purges and tests at constant pressure. Writes a Markdown table to standard
//! output.
//!
//! `cargo run --release -p tightfit-fit --example records-study -- [--tests N] [--seed FIRST] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::simulate::{AnalyserCheckRun, EnduranceRun, MakeUpRun, PurgeRun, RegenerationCell, Tally};

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(200);
    let first: u64 = after("--seed").and_then(|n| n.parse().ok()).unwrap_or(0);
    let only = after("--only").cloned().unwrap_or_default();
    println!(
        "| method, result | case | tests | covered | truth below | truth above | bias | RMS | half width | bounds | bounds missed |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
    if "regeneration".contains(&only) {
        let names = ["heating time", "purge time", "evacuation time", "hydrogen dose"];
        let cells = RegenerationCell::all();
        study("regeneration", &names, cells.iter().zip(0..).map(|(c, i)| (c.name, c.study(tests, first + 10_000 * i))));
    }
    if "analyser-check".contains(&only) {
        let cells = AnalyserCheckRun::all();
        let names = ["zero error", "span error", "response t90"];
        study(
            "analyser-check",
            &names,
            cells.iter().zip(0..).map(|(c, i)| (c.name, c.study(tests, first + 10_000 * i))),
        );
    }
    if "purge-down".contains(&only) {
        let cells = PurgeRun::all();
        let names = ["time constant", "mixing factor", "floor", "time to limit"];
        study("purge-down", &names, cells.iter().zip(0..).map(|(c, i)| (c.name, c.study(tests, first + 10_000 * i))));
    }
    if "make-up".contains(&only) {
        let cells = MakeUpRun::all();
        study(
            "make-up",
            &["leak rate"],
            cells.iter().zip(0..).map(|(c, i)| (c.name, c.study(tests, first + 10_000 * i))),
        );
    }
    if "endurance".contains(&only) {
        let cells = EnduranceRun::all();
        let names = ["largest content", "share of time"];
        study("endurance", &names, cells.iter().zip(0..).map(|(c, i)| (c.name, c.study(tests, first + 10_000 * i))));
    }
}

fn study<const N: usize>(method: &str, names: &[&str; N], cells: impl Iterator<Item = (&'static str, [Tally; N])>) {
    let mut pooled: [Tally; N] = std::array::from_fn(|_| Tally::default());
    for (case, tallies) in cells {
        for ((name, tally), sum) in names.iter().zip(&tallies).zip(&mut pooled) {
            row(&format!("{method}, {name}"), case, tally);
            sum.pool(tally);
        }
    }
    for (name, tally) in names.iter().zip(&pooled) {
        row(&format!("{method}, {name}"), "all", tally);
    }
}

fn row(name: &str, case: &str, tally: &Tally) {
    let share = |count: usize| 100.0 * count as f64 / tally.tests.max(1) as f64;
    println!(
        "| {name} | {case} | {} | {:.1} % | {:.1} % | {:.1} % | {:.3e} | {:.3e} | {:.3e} | {} | {} |",
        tally.tests,
        100.0 * tally.coverage(),
        share(tally.below),
        share(tally.above),
        tally.bias(),
        tally.rms(),
        tally.half_width(),
        tally.bounds,
        tally.bounds_missed,
    );
}
