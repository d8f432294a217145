//! Coverage of the vacuum hold over simulated holds of known truth.
//!
//! `cargo run --release -p tightfit-fit --example vacuum-hold-study -- --tests 200` (`--only WORD` for some of it)
#![allow(clippy::print_stdout, reason = "a study prints its table")]

use tightfit_fit::Kind;
use tightfit_fit::simulate::{GaugeModel, LeakFlow, Random, Vessel, VesselStep};
use tightfit_fit::vacuum_hold::{Record, RoomReference, Settings, evaluate};
use tightfit_fit::{Samples, ppm_rise::Quantity};

struct Cell {
    name: &'static str,
    vessel: Vessel,
    hold_s: f64,
    gauge: GaugeModel,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|at| arguments.get(at + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(50);
    println!(
        "| cell | tests | failed | bounds | truth below | truth above | rms error | u stated | outgassing below | above |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for cell in cells() {
        if after("--only").is_none_or(|word| cell.name.contains(word.as_str())) {
            run(&cell, tests);
        }
    }
}

fn cells() -> Vec<Cell> {
    let vessel = Vessel::antechamber(2e-4);
    let gauge = GaugeModel {
        cadence_s: 10.0,
        noise: [0.3, 0.0],
        zero_pa: 20.0,
        scale: 0.01,
        resolution_pa: 0.0,
        from_room: false,
    };
    let h = 3600.0;
    vec![
        Cell { name: "leak alone, 1 h", vessel, hold_s: h, gauge },
        Cell {
            name: "leak alone, coarse gauge",
            vessel,
            hold_s: 2.0 * h,
            gauge: GaugeModel { resolution_pa: 10.0, ..gauge },
        },
        Cell { name: "relative noise", vessel, hold_s: 2.0 * h, gauge: GaugeModel { noise: [0.01, 0.003], ..gauge } },
        Cell { name: "large leak, laminar", vessel: Vessel { leak: 0.2, ..vessel }, hold_s: h, gauge },
        Cell {
            name: "large leak, molecular",
            vessel: Vessel { leak: 0.2, law: LeakFlow::Molecular, ..vessel },
            hold_s: h,
            gauge,
        },
        Cell {
            name: "warming gas, 1 h",
            vessel: Vessel { warming: 0.03, drift_k_per_h: 0.3, ..vessel },
            hold_s: h,
            gauge,
        },
        Cell {
            name: "exponential, 4 time constants",
            vessel: Vessel { exponential: [1e-3, 1800.0], ..vessel },
            hold_s: 2.0 * h,
            gauge,
        },
        Cell {
            name: "exponential, 1.5 time constants",
            vessel: Vessel { exponential: [1e-3, 4800.0], ..vessel },
            hold_s: 2.0 * h,
            gauge,
        },
        Cell {
            name: "1/t, leak of five times, 8 h",
            vessel: Vessel { power_law: 20e-3, ..vessel },
            hold_s: 8.0 * h,
            gauge,
        },
        Cell { name: "1/t, leak as large, 4 h", vessel: Vessel { power_law: 48e-3, ..vessel }, hold_s: 4.0 * h, gauge },
        Cell { name: "1/t, no leak", vessel: Vessel { leak: 0.0, power_law: 20e-3, ..vessel }, hold_s: 4.0 * h, gauge },
        Cell { name: "10 min, leak of 0.02", vessel: Vessel { leak: 0.02, ..vessel }, hold_s: 600.0, gauge },
        Cell { name: "10 min, usual leak", vessel, hold_s: 600.0, gauge },
        Cell {
            name: "10 min, 1/t as large as a leak of 0.002",
            vessel: Vessel { leak: 2e-3, power_law: 23e-3, ..vessel },
            hold_s: 600.0,
            gauge,
        },
        Cell {
            name: "10 min, 1/t, no leak",
            vessel: Vessel { leak: 0.0, power_law: 20e-3, ..vessel },
            hold_s: 600.0,
            gauge,
        },
        Cell {
            name: "10 min, 1/t, no leak, noise of 3 Pa",
            vessel: Vessel { leak: 0.0, power_law: 20e-3, ..vessel },
            hold_s: 600.0,
            gauge: GaugeModel { noise: [3.0, 0.0], cadence_s: 1.0, ..gauge },
        },
        Cell { name: "nothing", vessel: Vessel { leak: 0.0, ..vessel }, hold_s: 2.0 * h, gauge },
    ]
}

fn run(cell: &Cell, tests: u64) {
    let steps =
        [VesselStep::Pump { for_s: 400.0, tau_s: 30.0, ultimate_pa: 10.0 }, VesselStep::Hold { for_s: cell.hold_s }];
    let [mut n, mut failed, mut bounds, mut below, mut above, mut out_below, mut out_above] = [0_u32; 7];
    let (mut squares, mut stated) = (0.0, 0.0);
    for seed in 0..tests {
        let mut random = Random::new(seed + 77);
        let mut vessel = cell.vessel;
        // The stated volume errs as its uncertainty says, and so does the drift of the temperature.
        let volume = vessel.volume_m3 * (1.0 + 0.02 * random.normal());
        vessel.drift_k_per_h *= random.normal();
        let simulated = vessel.simulate(&steps, &cell.gauge, seed);
        let Ok(pressure) = Samples::new(&simulated.time_s, &simulated.reading_pa) else { continue };
        let record = Record { pressure, gas_temperature: None, room_pressure_pa: vessel.room_pa, restarts_s: &[] };
        let settings = Settings {
            volume_m3: Quantity::new(volume, 0.02 * volume),
            gauge: cell.gauge.instrument(),
            room: RoomReference::Followed,
            window_s: None,
            pumped_s: None,
        };
        let Ok(found) = evaluate(&record, &settings) else {
            failed += 1;
            continue;
        };
        n += 1;
        let leak = &found.leak_throughput;
        bounds += u32::from(leak.kind != Kind::Estimate);
        below += u32::from(simulated.mean_leak < leak.interval95[0]);
        above += u32::from(simulated.mean_leak > leak.interval95[1]);
        let outgassing = &found.outgassing_throughput.interval95;
        out_below += u32::from(simulated.at_end[1] < outgassing[0]);
        out_above += u32::from(simulated.at_end[1] > outgassing[1]);
        squares += (leak.middle() - simulated.mean_leak).powi(2);
        stated += leak.standard_uncertainty.powi(2);
    }
    let root = |sum: f64| (sum / f64::from(n.max(1))).sqrt();
    println!(
        "| {} | {n} | {failed} | {bounds} | {below} | {above} | {:.2e} | {:.2e} | {out_below} | {out_above} |",
        cell.name,
        root(squares),
        root(stated)
    );
}
