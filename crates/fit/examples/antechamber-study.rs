//! Coverage of the antechamber's residual oxygen and leak over simulated cycles of known truth.
//!
//! `cargo run --release -p tightfit-fit --example antechamber-study -- --tests 200` (`--only WORD` for some of it)
#![allow(clippy::print_stdout, reason = "a study prints its table")]

use tightfit_fit::antechamber::{Record, Settings, evaluate};
use tightfit_fit::simulate::{GaugeModel, Random, Vessel, VesselStep};
use tightfit_fit::{Kind, Samples, ppm_rise::Quantity};

/// 1 inHg in Pa.
const IN_HG: f64 = 3386.389;

struct Cell {
    name: &'static str,
    vessel: Vessel,
    low_pa: f64,
    cycles: usize,
    hold_s: f64,
    gauge: GaugeModel,
    barometer_pa: f64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|at| arguments.get(at + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(50);
    println!(
        "| cell | tests | wrong count | bounds | below | above | ln bias | ln rms | ln u | leak given | bounds | below | above |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    for cell in cells() {
        if after("--only").is_none_or(|word| cell.name.contains(word.as_str())) {
            run(&cell, tests);
        }
    }
}

fn cells() -> Vec<Cell> {
    let vessel = Vessel::antechamber(3e-4);
    let absolute = GaugeModel {
        cadence_s: 1.0,
        noise: [5.0, 0.0],
        zero_pa: 30.0,
        scale: 0.005,
        resolution_pa: 1.0,
        from_room: false,
    };
    let from_room = GaugeModel {
        noise: [50.0, 0.0],
        zero_pa: 150.0,
        scale: 0.002,
        resolution_pa: 10.0,
        from_room: true,
        ..absolute
    };
    let dial = GaugeModel { noise: [100.0, 0.0], zero_pa: 300.0, resolution_pa: 0.1 * IN_HG, ..from_room };
    let cell = |name, vessel, low_pa, cycles, hold_s, gauge, barometer_pa| Cell {
        name,
        vessel,
        low_pa,
        cycles,
        hold_s,
        gauge,
        barometer_pa,
    };
    vec![
        cell("absolute gauge, 3 cycles to 1 kPa", vessel, 1000.0, 3, 120.0, absolute, 0.0),
        cell("absolute gauge, 2 cycles to 100 Pa", vessel, 100.0, 2, 120.0, absolute, 0.0),
        cell("absolute gauge, every 10 s", vessel, 1000.0, 3, 120.0, GaugeModel { cadence_s: 10.0, ..absolute }, 0.0),
        cell("absolute gauge, every 60 s", vessel, 1000.0, 3, 120.0, GaugeModel { cadence_s: 60.0, ..absolute }, 0.0),
        cell("absolute gauge, no hold", vessel, 1000.0, 3, 2.0, absolute, 0.0),
        cell("no leak, 3 cycles to 1 kPa", Vessel { leak: 0.0, ..vessel }, 1000.0, 3, 120.0, absolute, 0.0),
        cell("no leak, no hold", Vessel { leak: 0.0, ..vessel }, 1000.0, 3, 2.0, absolute, 0.0),
        cell("no leak, 3 cycles to 3 kPa", Vessel { leak: 0.0, ..vessel }, 3000.0, 3, 60.0, absolute, 0.0),
        cell("large leak", Vessel { leak: 0.05, ..vessel }, 1000.0, 3, 300.0, absolute, 0.0),
        cell("outgassing", Vessel { exponential: [2e-3, 400.0], ..vessel }, 1000.0, 3, 300.0, absolute, 0.0),
        cell("from the room, 3 cycles to 3 kPa", vessel, 3000.0, 3, 120.0, from_room, 50.0),
        cell("from the room, 1 cycle to 8 kPa", vessel, 8000.0, 1, 120.0, from_room, 50.0),
        cell("from the room, no leak", Vessel { leak: 0.0, ..vessel }, 3000.0, 3, 120.0, from_room, 50.0),
        cell("from the room, near vacuum", vessel, 200.0, 3, 120.0, from_room, 50.0),
        cell("dial in 0.1 inHg, 3 cycles to 3 kPa", vessel, 3000.0, 3, 120.0, dial, 100.0),
        cell(
            "dial in 1 inHg, 3 cycles to 6 kPa",
            vessel,
            6000.0,
            3,
            120.0,
            GaugeModel { resolution_pa: IN_HG, noise: [30.0, 0.0], ..dial },
            100.0,
        ),
    ]
}

fn run(cell: &Cell, tests: u64) {
    let [mut n, mut miscounted, mut bounds, mut below, mut above] = [0_u32; 5];
    let [mut leaks, mut leak_bounds, mut leak_below, mut leak_above] = [0_u32; 4];
    let (mut sum, mut squares, mut stated) = (0.0, 0.0, 0.0);
    for seed in 0..tests {
        let mut random = Random::new(seed + 99);
        let mut steps = vec![VesselStep::Hold { for_s: 60.0 }];
        for _ in 0..cell.cycles {
            let low = cell.low_pa * random.uniform(0.8, 1.25);
            steps.extend([
                VesselStep::Pump { for_s: 30.0 * (1e5 / (0.1 * low)).ln(), tau_s: 30.0, ultimate_pa: 0.9 * low },
                VesselStep::Hold { for_s: cell.hold_s * random.uniform(0.8, 1.25) },
                VesselStep::Fill { to_pa: 99_900.0, rate_pa_per_s: 2500.0 },
                VesselStep::Hold { for_s: random.uniform(30.0, 90.0) },
            ]);
        }
        let simulated = cell.vessel.simulate(&steps, &cell.gauge, seed);
        let volume = cell.vessel.volume_m3 * (1.0 + 0.02 * random.normal());
        let room = cell.vessel.room_pa + cell.barometer_pa * random.normal();
        let supply = cell.vessel.supply_oxygen * (1.0 + 0.3 * random.normal());
        let offset = if cell.gauge.from_room { room } else { 0.0 };
        let pressure: Vec<f64> = simulated.reading_pa.iter().map(|reading| reading + offset).collect();
        let Ok(pressure) = Samples::new(&simulated.time_s, &pressure) else { continue };
        let settings = Settings {
            volume_m3: Some(Quantity::new(volume, 0.02 * volume)),
            enclosure_m3: None,
            gauge: cell.gauge.instrument(),
            from_room: cell.gauge.from_room,
            supply_oxygen: Quantity::new(supply, 0.3 * cell.vessel.supply_oxygen),
            room_oxygen: 0.209,
            leak_throughput: None,
            target: None,
            window_s: None,
        };
        let record = Record { pressure, room_pressure_pa: Quantity::new(room, cell.barometer_pa), restarts_s: &[] };
        let Ok(found) = evaluate(&record, &settings) else {
            miscounted += 1;
            continue;
        };
        miscounted += u32::from(found.cycle_count != cell.cycles);
        n += 1;
        let residual = &found.residual_oxygen;
        let truth = 1e6 * simulated.oxygen;
        bounds += u32::from(residual.kind != Kind::Estimate);
        below += u32::from(truth < residual.interval95[0]);
        above += u32::from(truth > residual.interval95[1]);
        let miss = (residual.middle() / truth).ln();
        sum += miss;
        squares += miss * miss;
        stated += (residual.standard_uncertainty / residual.middle()).powi(2);
        if let Some(leak) = &found.leak_throughput {
            leaks += 1;
            leak_bounds += u32::from(leak.kind != Kind::Estimate);
            leak_below += u32::from(cell.vessel.leak < leak.interval95[0]);
            leak_above += u32::from(cell.vessel.leak > leak.interval95[1]);
        }
    }
    let root = |sum: f64| (sum / f64::from(n.max(1))).sqrt();
    println!(
        "| {} | {n} | {miscounted} | {bounds} | {below} | {above} | {:.3} | {:.3} | {:.3} | {leaks} | {leak_bounds} | {leak_below} | {leak_above} |",
        cell.name,
        sum / f64::from(n.max(1)),
        root(squares),
        root(stated)
    );
}
