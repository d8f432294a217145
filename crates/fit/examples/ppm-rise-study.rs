//! Simulation study of the ppm rise. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example ppm-rise-study -- [--tests N] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::ppm_rise::{
    Analyser, MakeUp, PpmRise, PressureDifference, Quantity, Record, RoomAir, Settings, Species, Supply, Trace,
    WindowChoice, evaluate,
};
use tightfit_fit::simulate::{Random, Rise, SimulatedRise};
use tightfit_fit::{Estimate, Kind, Samples};

/// One line of the table.
struct Cell {
    name: String,
    species: Species,
    rise: Rise,
    analyser: Analyser,
    vary: fn(&mut Random, &mut Rise),
    /// Draw zero, scale and drift of the analyser from what is stated.
    instrument: bool,
}

#[derive(Default)]
struct Outcome {
    tests: usize,
    failed: usize,
    bounds: usize,
    below: usize,
    above: usize,
    bound_missed: usize,
    errors: Vec<f64>,
    over_bound: Vec<f64>,
    widths: Vec<f64>,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(200);
    let only = after("--only").cloned().unwrap_or_default();
    println!(
        "| case | tests | bounds | covered | truth below | truth above | bias | RMS | RMS over CRB | half width | covered by bounds |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
    let mut pooled = Outcome::default();
    for cell in cells().into_iter().filter(|cell| cell.name.contains(&only)) {
        let outcome = study(&cell, tests);
        print_row(&cell.name, &outcome);
        pooled.tests += outcome.tests;
        pooled.bounds += outcome.bounds;
        pooled.below += outcome.below;
        pooled.above += outcome.above;
        pooled.bound_missed += outcome.bound_missed;
    }
    print_row("all", &pooled);
}

fn study(cell: &Cell, tests: u64) -> Outcome {
    let mut outcome = Outcome::default();
    for seed in 1..=tests {
        let mut random = Random::new(seed ^ 0x9e37);
        let mut rise = cell.rise.clone();
        (cell.vary)(&mut random, &mut rise);
        let mut simulated = rise.simulate(seed);
        if cell.instrument {
            disturb(&mut simulated, &cell.analyser, &mut random);
        }
        let Some(estimate) = evaluated(&simulated, cell, &rise) else {
            outcome.failed += 1;
            continue;
        };
        outcome.take(&estimate, &rise);
    }
    outcome
}

/// Zero, scale and drift as drawn for this analyser.
fn disturb(simulated: &mut SimulatedRise, analyser: &Analyser, random: &mut Random) {
    let zero = analyser.zero * random.normal();
    let scale = 1.0 + analyser.scale * random.normal();
    let drift = analyser.drift_per_s * random.normal();
    for (time, reading) in simulated.time_s.iter().zip(&mut simulated.reading) {
        *reading = *reading * scale + zero + drift * time;
    }
}

impl Outcome {
    fn take(&mut self, estimate: &Estimate, rise: &Rise) {
        let truth = rise.ingress_ppm_per_h;
        self.tests += 1;
        if estimate.kind == Kind::UpperBound {
            self.bounds += 1;
            self.bound_missed += usize::from(truth > estimate.interval95[1]);
            return;
        }
        self.below += usize::from(truth < estimate.interval95[0]);
        self.above += usize::from(truth > estimate.interval95[1]);
        let error = estimate.value - truth;
        self.errors.push(error / truth);
        self.over_bound.push(error / rise.cramer_rao_ppm_per_h());
        self.widths.push(estimate.expanded_uncertainty() / truth);
    }
}

fn evaluated(simulated: &SimulatedRise, cell: &Cell, rise: &Rise) -> Option<Estimate> {
    let samples = Samples::new(&simulated.time_s, &simulated.reading).ok()?;
    let trace = Trace { samples, status: &[], analyser: cell.analyser };
    let room = Quantity::new(rise.room_air_ppm * 1e-6, 0.0);
    let below: Vec<f64> = simulated.time_s.iter().map(|t| -500.0 * rise.relative_drive(t / 3600.0)).collect();
    let result: PpmRise = evaluate(
        &Record {
            oxygen: (cell.species == Species::Oxygen).then(|| trace.clone()),
            water: (cell.species == Species::Water).then_some(trace),
            pressure_difference: PressureDifference::Logged(Samples::new(&simulated.time_s, &below).ok()?),
            room_pressure_pa: 101_325.0,
            room_air: RoomAir { oxygen: room, water: room },
            make_up: if rise.exchange[0] > 0.0 && !cell.name.contains("sink") {
                MakeUp::Rate(Quantity::new(rise.exchange[0] / 3600.0, 0.0))
            } else {
                MakeUp::None
            },
            supply: Supply {
                oxygen: Quantity::new(rise.exchange[1] * 1e-6, 0.0),
                water: Quantity::new(rise.exchange[1] * 1e-6, 0.0),
            },
        },
        &Settings { volume_m3: None, window: WindowChoice::Auto },
    )
    .ok()?;
    match cell.species {
        Species::Oxygen => result.oxygen_ingress,
        Species::Water => result.water_ingress,
    }
}

fn print_row(name: &str, o: &Outcome) {
    let rms = |values: &[f64]| (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
    let percent = |count: usize, of: usize| format!("{:.1} %", 100.0 * count as f64 / of.max(1) as f64);
    let values = o.tests - o.bounds;
    let failed = if o.failed > 0 { format!(" (+{} failed)", o.failed) } else { String::new() };
    println!(
        "| {name} | {}{failed} | {} | {} | {} | {} | {:.1} % | {:.1} % | {:.2} | {:.1} % | {} |",
        o.tests,
        o.bounds,
        percent(values - o.below - o.above, values),
        percent(o.below, values),
        percent(o.above, values),
        100.0 * mean(&o.errors),
        100.0 * rms(&o.errors),
        rms(&o.over_bound),
        100.0 * mean(&o.widths),
        percent(o.bounds - o.bound_missed, o.bounds)
    );
}

fn log_uniform(random: &mut Random, low: f64, high: f64) -> f64 {
    random.uniform(low.ln(), high.ln()).exp()
}

fn oxygen(random: &mut Random, rise: &mut Rise) {
    rise.ingress_ppm_per_h = log_uniform(random, 0.2, 5.0);
    rise.start_ppm = random.uniform(0.5, 3.0);
    let amount = log_uniform(random, 0.3, 5.0);
    rise.exponentials = vec![[amount, log_uniform(random, 0.3, 3.0)]];
}

fn oxygen_only_ingress(random: &mut Random, rise: &mut Rise) {
    oxygen(random, rise);
    rise.exponentials.clear();
}

/// Something inside takes oxygen up.
fn oxygen_into_a_sink(random: &mut Random, rise: &mut Rise) {
    oxygen_only_ingress(random, rise);
    rise.exchange = [log_uniform(random, 0.05, 1.0), 0.0];
}

fn water(random: &mut Random, rise: &mut Rise) {
    rise.room_air_ppm = 11_000.0;
    rise.ingress_ppm_per_h = log_uniform(random, 0.5, 20.0);
    rise.start_ppm = random.uniform(0.5, 5.0);
    let amount = log_uniform(random, 3.0, 60.0);
    rise.exponentials = vec![[amount, log_uniform(random, 0.3, 4.0)]];
}

fn water_only_ingress(random: &mut Random, rise: &mut Rise) {
    water(random, rise);
    rise.exponentials.clear();
}

fn water_twice(random: &mut Random, rise: &mut Rise) {
    water(random, rise);
    let amount = log_uniform(random, 3.0, 60.0);
    rise.exponentials =
        vec![[log_uniform(random, 1.0, 20.0), log_uniform(random, 0.1, 0.5)], [amount, log_uniform(random, 1.0, 4.0)]];
}

fn water_tail(random: &mut Random, rise: &mut Rise) {
    water(random, rise);
    rise.exponentials.clear();
    rise.power_law = Some([log_uniform(random, 20.0, 300.0), log_uniform(random, 0.02, 0.5), random.uniform(0.8, 1.2)]);
}

fn water_weak_tail(random: &mut Random, rise: &mut Rise) {
    water_tail(random, rise);
    rise.power_law = Some([log_uniform(random, 0.2, 20.0), log_uniform(random, 0.02, 0.5), random.uniform(0.8, 1.2)]);
}

fn cells() -> Vec<Cell> {
    let mut cells = Vec::new();
    let noises = [("0.1 ppm", [0.1, 0.0]), ("2 %", [0.01, 0.02])];
    let mut add = |name: String, species, rise: Rise, vary| {
        cells.push(Cell { name, species, rise, analyser: Analyser::default(), vary, instrument: false });
    };
    for hours in [4.0, 8.0, 24.0] {
        for (noise_name, noise) in noises {
            let rise = Rise { noise, ..Rise::plain(hours, 1.0) };
            add(format!("oxygen {hours} h {noise_name}"), Species::Oxygen, rise.clone(), oxygen);
            add(format!("water {hours} h {noise_name}"), Species::Water, rise.clone(), water);
            add(
                format!("oxygen ingress only {hours} h {noise_name}"),
                Species::Oxygen,
                rise.clone(),
                oxygen_only_ingress,
            );
            add(format!("water ingress only {hours} h {noise_name}"), Species::Water, rise.clone(), water_only_ingress);
            add(format!("two terms water {hours} h {noise_name}"), Species::Water, rise.clone(), water_twice);
            add(format!("tail water {hours} h {noise_name}"), Species::Water, rise.clone(), water_tail);
            add(format!("weak tail water {hours} h {noise_name}"), Species::Water, rise, water_weak_tail);
        }
    }
    let lagging = Rise { response_tau_s: 120.0, dead_time_s: 40.0, ..Rise::plain(6.0, 1.0) };
    add("lag oxygen 6 h".into(), Species::Oxygen, lagging, oxygen);
    let wandering = Rise { noise: [0.05, 0.0], wander: [0.1, 1200.0], ..Rise::plain(8.0, 1.0) };
    add("wander oxygen 8 h".into(), Species::Oxygen, wandering, oxygen);
    for hours in [8.0, 14.0] {
        add(format!("sink oxygen {hours} h"), Species::Oxygen, Rise::plain(hours, 1.0), oxygen_into_a_sink);
    }
    let diluted = Rise { exchange: [0.02, 0.5], ..Rise::plain(8.0, 1.0) };
    add("diluted oxygen 8 h".into(), Species::Oxygen, diluted, oxygen);
    let coarse = Rise { noise: [0.02, 0.0], resolution_ppm: 0.1, ..Rise::plain(8.0, 1.0) };
    cells.push(Cell {
        name: "coarse oxygen 8 h".into(),
        species: Species::Oxygen,
        rise: coarse,
        analyser: Analyser { resolution: 0.1e-6, ..Analyser::default() },
        vary: oxygen,
        instrument: false,
    });
    cells.push(Cell {
        name: "instrument oxygen 8 h".into(),
        species: Species::Oxygen,
        rise: Rise::plain(8.0, 1.0),
        analyser: Analyser { zero: 0.1e-6, scale: 0.03, drift_per_s: 0.02e-6 / 3600.0, ..Analyser::default() },
        vary: oxygen,
        instrument: true,
    });
    for fall in [0.0, 0.05, 0.1, 0.2] {
        let mut falling = |name: &str, leak_share: f64, vary: fn(&mut Random, &mut Rise)| {
            let plain = Rise::plain(8.0, 1.0);
            let pressure_tau_h = if fall > 0.0 { -8.0 / f64::ln(1.0 - fall) } else { f64::INFINITY };
            let rise = Rise { leak_share, pressure_tau_h, ..plain };
            cells.push(Cell {
                name: format!("pressure falls by {:.0} %, {name}", 100.0 * fall),
                species: Species::Oxygen,
                rise,
                analyser: Analyser::default(),
                vary,
                instrument: false,
            });
        };
        falling("oxygen through leaks", 1.0, oxygen_only_ingress);
        falling("oxygen through leaks beside outgassing", 1.0, oxygen);
        falling("oxygen half through leaks", 0.5, oxygen_only_ingress);
        falling("oxygen half through leaks beside outgassing", 0.5, oxygen);
        falling("oxygen by permeation", 0.0, oxygen_only_ingress);
        falling("oxygen by permeation beside outgassing", 0.0, oxygen);
    }
    for share in [0.3, 0.6, 0.9] {
        // The limit is passed after that share of the run.
        let rise = Rise { start_ppm: 0.2, ..Rise::plain(8.0, 1.0) };
        cells.push(Cell {
            name: format!("censored {:.0} % oxygen 8 h", 100.0 * share),
            species: Species::Oxygen,
            analyser: Analyser { reporting_limit: Some((0.2 + share * 8.0) * 1e-6), ..Analyser::default() },
            rise,
            vary: |_, _| {},
            instrument: false,
        });
    }
    cells
}
