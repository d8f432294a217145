//! How well a design foretells what simulated tests give. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example design-study -- [--tests N]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::decision::Rule;
use tightfit_fit::design::{Demand, Limited, SetUp, Trial, forecast};
use tightfit_fit::pressure_change::Settings;
use tightfit_fit::simulate::{Hold, Random, Room, study};

/// Leak of the enclosures, 1/h: half of the limit.
const RATE: f64 = 2.5e-4;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let tests = arguments.iter().position(|a| a == "--tests").and_then(|i| arguments.get(i + 1));
    let tests = tests.and_then(|n| n.parse().ok()).unwrap_or(100);
    println!(
        "| room | wander | Δp | duration | predicted U | simulated U | ratio | predicted error | simulated error |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let (mut within, mut cells) = (0, 0);
    for (name, room) in [("still", Room::QUIET), ("ordinary", Room::ORDINARY), ("rough", Room::ROUGH)] {
        for wander_k in [0.01, 0.03] {
            for difference_pa in [-500.0, -1000.0] {
                for hours in [0.5, 1.0, 2.0, 4.0, 8.0] {
                    let cell = Cell { room, wander_k, difference_pa, duration_s: 3600.0 * hours };
                    let ratio = cell.print(name, tests);
                    cells += 1;
                    within += usize::from((1.0 / 1.15..=1.15).contains(&ratio));
                }
            }
        }
    }
    println!("\n{within} of {cells} within 15 %");
}

struct Cell {
    room: Room,
    wander_k: f64,
    difference_pa: f64,
    duration_s: f64,
}

impl Cell {
    /// Prints a line and gives predicted over simulated expanded uncertainty.
    fn print(&self, name: &str, tests: usize) -> f64 {
        let hold = self.hold();
        let predicted = forecast(&SetUp::of_hold(&hold), &demand(), self.trial());
        let outcome = study(&hold, &hold.settings(), tests, 50_000, drawn);
        let Some(predicted) = predicted else { return f64::NAN };
        let ratio = predicted.expanded_uncertainty / (RATE * outcome.half_width);
        println!(
            "| {name} | {} K | {} Pa | {} h | {:.2e} | {:.2e} | {ratio:.2} | {:.1e} | {:.1e} |",
            self.wander_k,
            self.difference_pa,
            self.duration_s / 3600.0,
            predicted.expanded_uncertainty,
            RATE * outcome.half_width,
            predicted.error,
            RATE * outcome.rms,
        );
        ratio
    }

    /// The test as the simulation makes it, without the design's own draws.
    fn hold(&self) -> Hold {
        let mut hold = Hold::ordinary(self.room, self.duration_s, RATE);
        // The rate is stated at the test's own pressure difference.
        hold.conductance_per_volume_per_s *= 500.0 / self.difference_pa.abs();
        hold.difference_pa = self.difference_pa;
        hold.thermometers[0].wander_k = self.wander_k;
        hold
    }

    fn trial(&self) -> Trial {
        Trial { difference_pa: self.difference_pa, duration_s: self.duration_s, records: 64 }
    }
}

fn demand() -> Demand {
    Demand {
        limited: Limited::HourlyLeakRate,
        limit: 2.0 * RATE,
        rule: Rule::GuardedAcceptance { risk: 0.05 },
        producers_risk: 0.05,
        tight_share: 0.5,
        longest_s: 604_800.0,
    }
}

/// Draws the settling after pumping anew for each test: up to 1 mK for each pascal.
fn drawn(seed: u64, hold: &mut Hold, _: &mut Settings) {
    let mut random = Random::new(seed ^ 0x5eed);
    hold.settling_k = random.uniform(0.0, 1e-3) * hold.difference_pa.abs();
    hold.settling_s = random.uniform(300.0, 1200.0);
}
