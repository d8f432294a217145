//! Simulation study of decisions: how often guarded acceptance at 5 % risk passes a truth that lies exactly at the limit,
//! and how often it decides rightly at half and at twice the limit. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example decision-study -- [--tests N] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::ppm_rise::{
    self, Analyser, MakeUp, PressureDifference, Quantity, Record, RoomAir, Species, Supply, Trace,
};
use tightfit_fit::simulate::{DecisionStudy, Decisions, Random, Rise, Room};
use tightfit_fit::{Estimate, Samples};

/// Consumer's risk.
const RISK: f64 = 0.05;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let tests = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(200);
    let only = after("--only").cloned().unwrap_or_default();
    println!("| case | tests | false pass at the limit | at half: pass, fail | at twice: fail, pass |");
    println!("|---|---|---|---|---|");
    let mut all = DecisionStudy::default();
    for (name, study) in cells() {
        if name.contains(&only) {
            let found = study(tests);
            row(&name, &found);
            all.merge(&found);
        }
    }
    row("all", &all);
}

fn row(name: &str, study: &DecisionStudy) {
    let share = |count: usize, of: &Decisions| format!("{:.1} %", 100.0 * count as f64 / of.tests().max(1) as f64);
    let (at, half, twice) = (&study.at_the_limit, &study.at_half_the_limit, &study.at_twice_the_limit);
    println!(
        "| {name} | {} | {} | {}, {} | {}, {} |",
        at.tests(),
        share(at.pass, at),
        share(half.pass, half),
        share(half.fail, half),
        share(twice.fail, twice),
        share(twice.pass, twice)
    );
}

type Study = Box<dyn Fn(u64) -> DecisionStudy>;

fn cells() -> Vec<(String, Study)> {
    let mut cells: Vec<(String, Study)> = Vec::new();
    for (room_name, room) in [("quiet", Room::QUIET), ("ordinary", Room::ORDINARY), ("rough", Room::ROUGH)] {
        for hours in [0.5, 1.0, 4.0] {
            for wander_k in [0.0, 0.005, 0.01, 0.03] {
                let name = format!("pressure, {room_name} room, {hours} h, thermometer wanders by {wander_k} K");
                cells.push((
                    name,
                    Box::new(move |tests| DecisionStudy::of_holds(room, hours, wander_k, RISK, 0..tests)),
                ));
            }
        }
    }
    for (species_name, species) in [("oxygen", Species::Oxygen), ("water", Species::Water)] {
        for hours in [1.0, 4.0, 12.0] {
            let name = format!("ppm rise, {species_name}, {hours} h, outgassing");
            cells.push((name, Box::new(move |tests| rises(species, hours, tests))));
        }
    }
    cells
}

/// Runs whose limit is an ingress of 2 ppm/h; the truth is a multiple of it.
fn rises(species: Species, hours: f64, tests: u64) -> DecisionStudy {
    DecisionStudy::run(|truth_over_limit| {
        let mut decisions = Decisions::default();
        for seed in 0..tests {
            let mut random = Random::new(seed ^ 0xdec2);
            let air_ppm = if species == Species::Oxygen { 207_000.0 } else { 11_000.0 };
            let rise = Rise {
                room_air_ppm: air_ppm,
                exponentials: vec![[random.uniform(0.5, 5.0), random.uniform(0.2, 0.5) * hours]],
                ..Rise::plain(hours, 2.0 * truth_over_limit)
            };
            if let Some(estimate) = ingress(&rise, seed, species) {
                decisions.decide(&estimate, 2.0, RISK);
            }
        }
        decisions
    })
}

fn ingress(rise: &Rise, seed: u64, species: Species) -> Option<Estimate> {
    let simulated = rise.simulate(seed);
    let samples = Samples::new(&simulated.time_s, &simulated.reading).ok()?;
    let trace = Trace { samples, status: &[], analyser: Analyser::default() };
    let of = |wanted| (species == wanted).then(|| trace.clone());
    let record = Record {
        oxygen: of(Species::Oxygen),
        water: of(Species::Water),
        pressure_difference: PressureDifference::Stated(-500.0),
        room_pressure_pa: 101_325.0,
        room_air: RoomAir { oxygen: Quantity::new(0.207, 0.0), water: Quantity::new(0.011, 0.0) },
        make_up: MakeUp::None,
        supply: Supply::default(),
    };
    let result = ppm_rise::evaluate(&record, &ppm_rise::Settings::default()).ok()?;
    match species {
        Species::Oxygen => result.oxygen_ingress,
        Species::Water => result.water_ingress,
    }
}
