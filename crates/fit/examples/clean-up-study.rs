//! Simulation study of the clean-up. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example clean-up-study -- [--tests N] [--seed FIRST] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::Samples;
use tightfit_fit::clean_up::{CleanUp, Lag, Settings, evaluate};
use tightfit_fit::ppm_rise::{Analyser, Quantity, Trace};
use tightfit_fit::simulate::{Doses, Random};

/// Relative standard uncertainty of the stated response.
const RESPONSE: f64 = 0.1;

struct Cell {
    name: String,
    log: Doses,
    analyser: Analyser,
    /// Readings before this time are not in the record.
    from_s: Option<f64>,
    lag_stated: bool,
}

#[derive(Default)]
struct Outcome {
    tests: usize,
    failed: usize,
    below: usize,
    above: usize,
    floor_outside: usize,
    bias: f64,
    errors: Vec<f64>,
    over_bound: Vec<f64>,
    stated: Vec<f64>,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(200);
    let only = after("--only").cloned().unwrap_or_default();
    let from: u64 = after("--seed").and_then(|n| n.parse().ok()).unwrap_or(1);
    println!(
        "| case | tests | covered | truth below | truth above | bias | RMS | stated u | RMS over CRB | floor covered |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    let mut pooled = Outcome::default();
    for cell in cells().into_iter().filter(|cell| cell.name.contains(&only)) {
        let outcome = study(&cell, from..from + tests);
        print_row(&cell.name, &outcome);
        pooled.tests += outcome.tests;
        pooled.failed += outcome.failed;
        pooled.below += outcome.below;
        pooled.above += outcome.above;
        pooled.floor_outside += outcome.floor_outside;
        pooled.over_bound.extend(outcome.over_bound);
    }
    print_row("all", &pooled);
}

fn cells() -> Vec<Cell> {
    let mut cells = Vec::new();
    for lag in [0.0, 0.1, 0.4] {
        for length in [3.0, 6.0, 10.0] {
            let log = Doses::one(300.0, lag, length);
            let name = |kind: &str| format!("{kind}, lag {lag} τ, {length} τ");
            let cell = |kind: &str, log: Doses, analyser| Cell {
                name: name(kind),
                log,
                analyser,
                from_s: None,
                lag_stated: true,
            };
            cells.push(cell("plain", log.clone(), Analyser::default()));
            let steps = Doses { noise: [0.02, 0.01], resolution_ppm: 0.1, ..log.clone() };
            cells.push(cell("steps 0.1 ppm", steps, Analyser { resolution: 1e-7, ..Analyser::default() }));
            let censored = Doses { floor_ppm: 0.3, ..log.clone() };
            cells.push(cell(
                "censored below 1 ppm",
                censored,
                Analyser { reporting_limit: Some(1e-6), ..Analyser::default() },
            ));
            let wandering = Doses { wander: [0.05, 200.0], ..log.clone() };
            cells.push(cell("wandering", wandering, Analyser::default()));
            let slow_dose = Doses { mixing_s: 20.0, ..log.clone() };
            let mut slow_dose =
                Cell { name: name("mixing 20 s, dose over 30 s"), ..cell("", slow_dose, Analyser::default()) };
            slow_dose.log.doses[0].lasting_s = 30.0;
            cells.push(slow_dose);
            if length > 3.0 {
                for (half_load_ppm, share) in [(600.0, "0.1"), (240.0, "0.25"), (120.0, "0.5")] {
                    let loaded = Doses { half_load_ppm, ..log.clone() };
                    cells.push(cell(&format!("loading A/h = {share}"), loaded, Analyser::default()));
                }
            }
            let late = Doses { duration_s: log.duration_s + 0.5 * 300.0, ..log.clone() };
            cells.push(Cell { from_s: Some(270.0), ..cell("no rise", late, Analyser::default()) });
            if lag > 0.0 {
                cells.push(Cell { lag_stated: false, ..cell("response not stated", log, Analyser::default()) });
            }
        }
    }
    cells
}

fn study(cell: &Cell, seeds: std::ops::Range<u64>) -> Outcome {
    let mut outcome = Outcome::default();
    let bound = cell.log.cramer_rao_s(
        if cell.lag_stated { RESPONSE } else { 1.0 },
        cell.from_s,
        cell.analyser.reporting_limit.map(|limit| 1e6 * limit),
    );
    for seed in seeds {
        match evaluated(cell, seed) {
            Some(found) => outcome.take(&found, &cell.log, bound),
            None => outcome.failed += 1,
        }
    }
    outcome
}

/// The true lag is drawn about the stated one.
fn evaluated(cell: &Cell, seed: u64) -> Option<CleanUp> {
    let mut random = Random::new(seed ^ 0x51ed);
    let stated_s = cell.log.lag_s;
    let log = Doses { lag_s: stated_s * (RESPONSE * random.normal()).exp(), ..cell.log.clone() };
    let (time, reading) = log.simulate(seed);
    let kept = time.partition_point(|&t| t < cell.from_s.unwrap_or(0.0));
    let samples = Samples::new(&time[kept..], &reading[kept..]).ok()?;
    let lag = if cell.lag_stated { Lag::Stated(Quantity::new(stated_s, RESPONSE * stated_s)) } else { Lag::Unknown };
    evaluate(&Trace { samples, status: &[], analyser: cell.analyser }, &Settings { lag, ..Settings::default() }).ok()
}

impl Outcome {
    fn take(&mut self, found: &CleanUp, log: &Doses, bound_s: f64) {
        let truth = log.time_constant_s[0];
        let tau = &found.time_constant;
        self.tests += 1;
        self.below += usize::from(truth < tau.interval95[0]);
        self.above += usize::from(truth > tau.interval95[1]);
        let [low, high] = found.floor.interval95;
        self.floor_outside += usize::from(!(low..=high).contains(&log.floor_ppm));
        let error = tau.value - truth;
        self.bias += error / truth;
        self.errors.push(error / truth);
        self.over_bound.push(error / bound_s);
        self.stated.push(tau.standard_uncertainty / truth);
    }
}

fn print_row(name: &str, o: &Outcome) {
    let n = o.tests.max(1) as f64;
    let rms = |values: &[f64]| (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt();
    let percent = |count: usize| format!("{:.1} %", 100.0 * count as f64 / n);
    let failed = if o.failed > 0 { format!(" (+{} failed)", o.failed) } else { String::new() };
    println!(
        "| {name} | {}{failed} | {} | {} | {} | {:.2} % | {:.2} % | {:.2} % | {:.2} | {} |",
        o.tests,
        percent(o.tests - o.below - o.above),
        percent(o.below),
        percent(o.above),
        100.0 * o.bias / n,
        100.0 * rms(&o.errors),
        100.0 * rms(&o.stated),
        rms(&o.over_bound),
        percent(o.tests - o.floor_outside),
    );
}
