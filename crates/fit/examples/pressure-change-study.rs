//! Simulation study of the pressure-change test. Writes a Markdown table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example pressure-change-study -- [--tests N] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use tightfit_fit::pressure_change::{Compliance, LeakLaw, Settings, Volume};
use tightfit_fit::simulate::{Disturbance, Hold, Outcome, Random, Room, ThermometerModel, VesselModel, Weather, study};

/// One line of the table.
struct Cell {
    name: String,
    hold: Hold,
    settings: Settings,
    vary: fn(u64, &mut Hold, &mut Settings),
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|i| arguments.get(i + 1));
    let tests = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(200);
    let only = after("--only").cloned().unwrap_or_default();
    println!(
        "| case | tests | covered | truth below | truth above | bias | RMS | stated u | known-noise GLS | half width |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    let mut pooled = Outcome::default();
    for cell in cells().into_iter().filter(|cell| cell.name.contains(&only)) {
        let outcome = study(&cell.hold, &cell.settings, tests, 1, cell.vary);
        print_row(&cell.name, &outcome);
        pooled.tests += outcome.tests;
        pooled.below += outcome.below;
        pooled.above += outcome.above;
    }
    let n = pooled.tests.max(1) as f64;
    println!(
        "| all | {} | {:.1} % | {:.1} % | {:.1} % | | | | | |",
        pooled.tests,
        100.0 * pooled.coverage(),
        100.0 * pooled.below as f64 / n,
        100.0 * pooled.above as f64 / n
    );
}

fn print_row(name: &str, o: &Outcome) {
    let n = o.tests.max(1) as f64;
    let percent = |x: f64| format!("{:.2} %", 100.0 * x);
    let failed = if o.failed > 0 { format!(" (+{} failed)", o.failed) } else { String::new() };
    println!(
        "| {name} | {}{failed} | {:.1} % | {:.1} % | {:.1} % | {} | {} | {} | {} | {} |",
        o.tests,
        100.0 * o.coverage(),
        100.0 * o.below as f64 / n,
        100.0 * o.above as f64 / n,
        percent(o.bias),
        percent(o.rms),
        percent(o.stated),
        percent(o.known_noise),
        percent(o.half_width)
    );
}

fn same(_: u64, _: &mut Hold, _: &mut Settings) {}

/// Draws settling, wander and compliance anew for each test.
fn drawn(seed: u64, hold: &mut Hold, settings: &mut Settings) {
    let mut random = Random::new(seed ^ 0x5eed);
    hold.settling_k = random.uniform(0.0, 0.6);
    hold.settling_s = random.uniform(300.0, 1200.0);
    if let Some(thermometer) = hold.thermometers.first_mut()
        && thermometer.wander_k > 0.0
    {
        thermometer.wander_k = 0.01 * 10.0_f64.powf(random.uniform(0.0, 1.0));
        thermometer.wander_memory_s = 600.0 * 12.0_f64.powf(random.uniform(0.0, 1.0));
    }
    if let Some(volume) = settings.volume {
        let compliance = random.uniform(0.0, 2e-5);
        hold.compliance_per_pa = compliance / volume.value_m3;
        if let Compliance::Given { standard_uncertainty_m3_per_pa, .. } = settings.compliance {
            let shown = compliance + standard_uncertainty_m3_per_pa * random.normal();
            settings.compliance = Compliance::Given { value_m3_per_pa: shown.max(0.0), standard_uncertainty_m3_per_pa };
        }
    }
}

#[expect(clippy::too_many_lines, reason = "a list of cases, read from top to bottom")]
fn cells() -> Vec<Cell> {
    let mut cells = Vec::new();
    let mut add = |name: String, hold: Hold, settings: Settings, vary| cells.push(Cell { name, hold, settings, vary });
    let rooms = [("quiet", Room::QUIET), ("ordinary", Room::ORDINARY), ("rough", Room::ROUGH)];
    let hours = [0.5, 1.0, 4.0, 24.0];
    for (room_name, room) in rooms {
        for h in hours {
            let hold = Hold::ordinary(room, h * 3600.0, 5e-4);
            add(format!("lag {room_name} {h} h"), hold.clone(), hold.settings(), drawn);
        }
    }
    for h in hours {
        let mut hold = Hold::ordinary(Room::ORDINARY, h * 3600.0, 5e-4);
        hold.thermometers[0].wander_k = 0.03;
        add(format!("wander ordinary {h} h"), hold.clone(), hold.settings(), drawn);
    }
    let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    hold.thermometers[0].wander_k = 0.03;
    add("wander 30 mK 30 min 1 h".into(), hold.clone(), hold.settings(), same);
    hold.vessel =
        Some(VesselModel { lag_s: 180.0, noise_pa: 0.3, resolution_pa: 1.0, loss_per_s: 0.0, corner_k_per_h: 0.0 });
    add("vessel 30 mK 30 min 1 h".into(), hold.clone(), hold.settings(), same);
    hold.vessel = Some(VesselModel {
        lag_s: 180.0,
        noise_pa: 0.3,
        resolution_pa: 1.0,
        loss_per_s: 3e-4 / 3600.0,
        corner_k_per_h: 0.0,
    });
    add("vessel leaking 3e-4 1/h".into(), hold.clone(), hold.settings(), same);
    hold.vessel =
        Some(VesselModel { lag_s: 180.0, noise_pa: 0.3, resolution_pa: 1.0, loss_per_s: 0.0, corner_k_per_h: 0.3 });
    add("vessel corner 0.3 K/h".into(), hold.clone(), hold.settings(), same);

    let mut hold = Hold::ordinary(Room::STILL, 3600.0, 5e-4);
    hold.weather = Weather::STILL;
    hold.settling_k = 0.0;
    hold.gauge_zero_pa = 0.0;
    hold.gauge_scale = 0.0;
    hold.gauge_noise_pa = 0.01;
    hold.barometer_noise_pa = 0.01;
    hold.gauge_resolution_pa = 0.01;
    hold.barometer_resolution_pa = 0.01;
    add("white only 1 h".into(), hold.clone(), hold.settings(), same);
    hold.room = Room { lag_s: 120.0, ..Room::ORDINARY };
    hold.thermometers[0].lag_s = 120.0;
    add("white, lag and room 1 h".into(), hold.clone(), hold.settings(), same);

    for rate in [1e-5, 1e-4, 1e-3, 1e-2] {
        for h in [1.0, 4.0] {
            let mut hold = Hold::ordinary(Room::ORDINARY, h * 3600.0, rate);
            hold.thermometers[0].wander_k = 0.03;
            add(format!("rate {rate:e} {h} h"), hold.clone(), hold.settings(), drawn);
        }
    }
    let hold = Hold::ordinary(Room::ORDINARY, 86_400.0, 1e-2);
    add("rate 1e-2 24 h".into(), hold.clone(), hold.settings(), drawn);
    let mut hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
    hold.law = LeakLaw::Laminar;
    hold.difference_pa = 500.0;
    add("laminar +500 Pa 4 h".into(), hold.clone(), hold.settings(), drawn);

    for (gauge, thermometer) in [(1.0, 0.1), (10.0, 0.01), (10.0, 0.1)] {
        for (room_name, room) in rooms {
            let mut hold = Hold::ordinary(room, 4.0 * 3600.0, 5e-4);
            hold.gauge_resolution_pa = gauge;
            hold.barometer_resolution_pa = gauge;
            hold.thermometers[0].resolution_k = thermometer;
            add(format!("coarse {gauge} Pa {thermometer} K {room_name} 4 h"), hold.clone(), hold.settings(), drawn);
        }
    }
    for (step_pa, noise_pa) in [(10.0, 0.3), (10.0, 5.0), (100.0, 0.3)] {
        for (room_name, room) in rooms {
            let mut hold = Hold::ordinary(room, 4.0 * 3600.0, 5e-4);
            hold.barometer_resolution_pa = step_pa;
            hold.barometer_noise_pa = noise_pa;
            add(
                format!("barometer {step_pa} Pa noise {noise_pa} Pa {room_name} 4 h"),
                hold.clone(),
                hold.settings(),
                drawn,
            );
        }
    }
    for noise_pa in [1.0, 3.0] {
        for (room_name, room) in rooms {
            let mut hold = Hold::ordinary(room, 4.0 * 3600.0, 5e-4);
            hold.barometer_noise_pa = noise_pa;
            let name = format!("noisy barometer {noise_pa} Pa {room_name} 4 h");
            add(name, hold.clone(), hold.settings(), drawn);
        }
    }
    let volume = Some(Volume { value_m3: 1.0, standard_uncertainty_m3: 0.01 });
    for h in [1.0, 4.0, 24.0] {
        let hold = Hold::ordinary(Room::ORDINARY, h * 3600.0, 5e-4);
        let unknown = Settings { volume, compliance: Compliance::Unknown, ..hold.settings() };
        add(format!("compliance unknown {h} h"), hold.clone(), unknown, drawn);
        let given = Compliance::Given { value_m3_per_pa: 1e-5, standard_uncertainty_m3_per_pa: 4e-7 };
        let given = Settings { volume, compliance: given, ..hold.settings() };
        add(format!("compliance checked {h} h"), hold.clone(), given, drawn);
    }
    for (room_name, room) in [("quiet", Room::QUIET), ("ordinary", Room::ORDINARY)] {
        for h in [1.0, 4.0, 24.0] {
            let mut hold = Hold::ordinary(room, h * 3600.0, 5e-4);
            hold.thermometers.clear();
            add(format!("no thermometer {room_name} {h} h"), hold.clone(), hold.settings(), drawn);
        }
    }
    let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    hold.with_pumping = true;
    add("pumping logged 1 h".into(), hold.clone(), hold.settings(), drawn);
    let mut hold = Hold::ordinary(Room::ORDINARY, 7200.0, 5e-4);
    hold.disturbances = vec![
        Disturbance::GlovePull { relative: 1e-3, from_s: 1500.0, to_s: 1680.0 },
        Disturbance::AmountStep { relative: 3e-4, at_s: 4000.0 },
    ];
    add("glove pull and valve step 2 h".into(), hold.clone(), hold.settings(), drawn);
    let mut hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
    hold.thermometers[0].wander_k = 0.03;
    hold.thermometers.push(ThermometerModel {
        lag_s: 250.0,
        wander_k: 0.02,
        wander_memory_s: 1200.0,
        ..hold.thermometers[0]
    });
    add("two thermometers 4 h".into(), hold.clone(), hold.settings(), drawn);
    cells
}
