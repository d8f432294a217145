//! Simulation study of logs with many doses. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example clean-up-series-study -- [--tests N] [--seed FIRST] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use std::time::Instant;

use tightfit_fit::Samples;
use tightfit_fit::clean_up::Lag;
use tightfit_fit::clean_up_series::{CleanUpSeries, Settings, evaluate};
use tightfit_fit::ppm_rise::{Analyser, Quantity, Trace};
use tightfit_fit::simulate::{Dose, Doses, Random};

struct Cell {
    name: &'static str,
    log: Doses,
    /// Doses of so many times the noise of a reading.
    size: [f64; 2],
    count: usize,
}

#[derive(Default)]
struct Outcome {
    logs: usize,
    given: usize,
    missed: usize,
    weak: usize,
    spurious: Vec<usize>,
    trend: [usize; 3],
    /// Sums of squares of the trend's error and of its stated uncertainty.
    trend_squares: [f64; 2],
    sign_right: usize,
    first: [usize; 3],
    last: [usize; 3],
    seconds: f64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(20);
    let first: u64 = after("--seed").and_then(|n| n.parse().ok()).unwrap_or(1);
    let only = after("--only").cloned().unwrap_or_default();
    println!(
        "| case | logs | doses | missed | false, most in a log | trend covered (below, above) | RMS of the trend | stated u | sign right | first covered | last covered | s a log |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|");
    for cell in cells().into_iter().filter(|cell| cell.name.contains(&only)) {
        let mut outcome = Outcome::default();
        for seed in first..first + tests {
            run(&cell, seed, &mut outcome);
        }
        print_row(cell.name, &outcome);
    }
}

fn cells() -> Vec<Cell> {
    let two_weeks = Doses {
        duration_s: 14.0 * 86_400.0,
        cadence_s: 10.0,
        time_constant_s: [600.0, 0.0],
        lag_s: 30.0,
        noise: [0.05, 0.01],
        wander: [0.0, 3600.0],
        doses: Vec::new(),
        ..Doses::one(600.0, 0.0, 6.0)
    };
    let fifth = 0.2 / 14.0;
    let cell = |name, log: Doses| Cell { name, log, size: [5.0, 500.0], count: 40 };
    vec![
        cell("steady", two_weeks.clone()),
        cell("slowing by 20 %", Doses { time_constant_s: [600.0, fifth], ..two_weeks.clone() }),
        cell("speeding up by 20 %", Doses { time_constant_s: [600.0, -fifth], ..two_weeks.clone() }),
        cell(
            "steps of 0.1 ppm",
            Doses { resolution_ppm: 0.1, noise: [0.03, 0.01], time_constant_s: [600.0, fifth], ..two_weeks.clone() },
        ),
        cell(
            "drift and wander",
            Doses {
                drift_ppm_per_day: 0.2,
                wander: [0.05, 3600.0],
                time_constant_s: [600.0, fifth],
                ..two_weeks.clone()
            },
        ),
        cell("once a minute", Doses { cadence_s: 60.0, time_constant_s: [900.0, fifth], ..two_weeks.clone() }),
        cell("short τ of 150 s", Doses { time_constant_s: [150.0, fifth], lag_s: 20.0, ..two_weeks.clone() }),
        cell("long τ of 40 min", Doses { time_constant_s: [2400.0, fifth], lag_s: 60.0, ..two_weeks.clone() }),
        Cell { count: 4, ..cell("four doses", Doses { time_constant_s: [600.0, fifth], ..two_weeks.clone() }) },
        Cell { count: 40, ..cell("1 Hz", Doses { cadence_s: 1.0, time_constant_s: [600.0, fifth], ..two_weeks }) },
    ]
}

fn run(cell: &Cell, seed: u64, outcome: &mut Outcome) {
    let mut random = Random::new(seed ^ 0x77aa);
    let mut log = cell.log.clone();
    log.doses = (0..cell.count)
        .map(|index| {
            let slot_s = log.duration_s / cell.count as f64;
            let size = random.uniform(cell.size[0].ln(), cell.size[1].ln()).exp();
            Dose {
                at_s: (index as f64 + random.uniform(0.05, 0.75)) * slot_s,
                amount_ppm: size * log.noise[0],
                lasting_s: random.uniform(0.0, 60.0),
            }
        })
        .collect();
    let stated_s = log.lag_s;
    log.lag_s *= (0.1 * random.normal()).exp();
    let (time, mut reading) = log.simulate(seed);
    for _ in 0..20 {
        // Readings that stand out alone are no doses.
        let at = random.uniform(0.0, time.len() as f64) as usize;
        reading[at] += 5e-6;
    }
    let analyser = Analyser { resolution: 1e-6 * log.resolution_ppm, ..Analyser::default() };
    let trace = Trace { samples: Samples::new(&time, &reading).expect("increasing times"), status: &[], analyser };
    let settings = Settings { lag: Lag::Stated(Quantity::new(stated_s, 0.1 * stated_s)), ..Settings::default() };
    let begun = Instant::now();
    let Ok(found) = evaluate(&trace, &settings) else { return };
    outcome.seconds += begun.elapsed().as_secs_f64();
    outcome.take(&found, &log);
}

impl Outcome {
    fn take(&mut self, found: &CleanUpSeries, log: &Doses) {
        self.logs += 1;
        let near = |given: &Dose, onset_s: f64| (given.at_s - 120.0..given.at_s + 600.0).contains(&onset_s);
        for given in &log.doses {
            self.given += 1;
            self.missed += usize::from(!found.doses.iter().any(|dose| near(given, dose.onset_s)));
        }
        let spurious = found.doses.iter().filter(|dose| !log.doses.iter().any(|given| near(given, dose.onset_s)));
        self.spurious.push(spurious.count());
        self.weak += found.doses.iter().filter(|dose| dose.evaluation.is_none()).count();
        let count = |estimate: &tightfit_fit::Estimate, truth: f64, counts: &mut [usize; 3]| {
            counts[0] += 1;
            counts[1] += usize::from(truth < estimate.interval95[0]);
            counts[2] += usize::from(truth > estimate.interval95[1]);
        };
        if let Some(trend) = &found.time_constant_trend {
            let truth = log.time_constant_s[1];
            count(trend, truth, &mut self.trend);
            self.trend_squares[0] += (trend.value - truth).powi(2);
            self.trend_squares[1] += trend.standard_uncertainty.powi(2);
            self.sign_right += usize::from(trend.value * truth > 0.0);
        }
        let evaluated = || found.doses.iter().filter(|dose| dose.evaluation.is_some());
        if let (Some(estimate), Some(dose)) = (&found.time_constant_first, evaluated().next()) {
            count(estimate, log.time_constant_at(dose.onset_s), &mut self.first);
        }
        if let (Some(estimate), Some(dose)) = (&found.time_constant_last, evaluated().next_back()) {
            count(estimate, log.time_constant_at(dose.onset_s), &mut self.last);
        }
    }
}

fn print_row(name: &str, o: &Outcome) {
    let percent = |count: usize, of: usize| format!("{:.1} %", 100.0 * count as f64 / of.max(1) as f64);
    let covered = |c: [usize; 3]| percent(c[0] - c[1] - c[2], c[0]);
    // Two weeks of it, in per cent.
    let over_two_weeks = |squares: f64| format!("{:.2} %", 1400.0 * (squares / o.trend[0].max(1) as f64).sqrt());
    println!(
        "| {name} | {} | {} ({} without τ) | {} | {}, {} | {} ({}, {}) | {} | {} | {} | {} | {} | {:.2} |",
        o.logs,
        o.given,
        o.weak,
        o.missed,
        o.spurious.iter().sum::<usize>(),
        o.spurious.iter().max().unwrap_or(&0),
        covered(o.trend),
        percent(o.trend[1], o.trend[0]),
        percent(o.trend[2], o.trend[0]),
        over_two_weeks(o.trend_squares[0]),
        over_two_weeks(o.trend_squares[1]),
        percent(o.sign_right, o.trend[0]),
        covered(o.first),
        covered(o.last),
        o.seconds / o.logs.max(1) as f64,
    );
}
