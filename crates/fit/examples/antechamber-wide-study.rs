//! The antechamber's residual oxygen and leak over chambers, gauges and leaks drawn from wide ranges, by a simulation of its
//! own that shares nothing with that of the other study: air and inert gas as two amounts, a pump of given speed, orifices
//! and capillaries as leaks.
//!
//! `cargo run --release -p tightfit-fit --example antechamber-wide-study -- --tests 600`
#![allow(clippy::print_stdout, reason = "a study prints its table")]

use tightfit_fit::antechamber::{Antechamber, Record, Settings, evaluate};
use tightfit_fit::simulate::Random;
use tightfit_fit::{Estimate, Kind, Samples, ppm_rise::Quantity, pressure_change::Instrument};

const OXYGEN_OF_AIR: f64 = 0.209;
/// Lower ends of the classes of leaks that are counted apart, Pa·m³/s.
const CLASSES: [f64; 6] = [0.0, 1e-9, 1e-5, 1e-4, 1e-3, 1e-2];

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let after = |flag: &str| arguments.iter().position(|a| a == flag).and_then(|at| arguments.get(at + 1));
    let tests: u64 = after("--tests").and_then(|n| n.parse().ok()).unwrap_or(120);
    let seed: u64 = after("--seed").and_then(|n| n.parse().ok()).unwrap_or(41_000);
    let mut tallies = [Tally::default(); CLASSES.len()];
    for test in 0..tests {
        let trial = Trial::drawn(seed + test);
        let class = CLASSES.iter().rposition(|least| trial.leak >= *least).unwrap_or(0);
        tallies[class].add(&trial);
    }
    println!(
        "| leak from | tests | failed | wrong count | values | below | above | ln bias | bounds | above | leak values | below | above | leak bounds | above |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    for (least, tally) in CLASSES.iter().zip(&tallies) {
        tally.print(&format!("{least:.0e}"));
    }
}

/// A chamber, its gauge and what was done with it.
struct Trial {
    seed: u64,
    volume_m3: f64,
    room_pa: f64,
    /// Leak into full vacuum, Pa·m³/s.
    leak: f64,
    /// An orifice chokes; a capillary goes with the difference of the squares.
    orifice: bool,
    supply: f64,
    cycles: usize,
    lowest_pa: f64,
    hold_s: f64,
    pump_m3_per_s: f64,
    gauge: Gauge,
}

/// Standard deviations of a gauge's errors, and its habits.
struct Gauge {
    from_room: bool,
    cadence_s: f64,
    noise_pa: f64,
    zero_pa: f64,
    scale: f64,
    step_pa: f64,
    barometer_pa: f64,
}

/// Readings, and the oxygen that was left.
struct Log {
    time_s: Vec<f64>,
    reading_pa: Vec<f64>,
    oxygen: f64,
}

impl Trial {
    fn drawn(seed: u64) -> Self {
        let mut random = Random::new(seed);
        let mut log_uniform = |low: f64, high: f64| (random.uniform(low.ln(), high.ln())).exp();
        let volume_m3 = log_uniform(0.01, 0.1);
        let leak = log_uniform(1e-6, 0.1);
        let lowest_pa = log_uniform(150.0, 8000.0);
        let hold_s = log_uniform(30.0, 1200.0);
        let pump_tau_s = log_uniform(10.0, 60.0);
        let [absolute_noise, absolute_zero] = [log_uniform(0.5, 20.0), log_uniform(5.0, 50.0)];
        let [room_noise, room_zero] = [log_uniform(5.0, 100.0), log_uniform(50.0, 300.0)];
        let supply = log_uniform(3e-7, 3e-6);
        let from_room = random.uniform(0.0, 1.0) < 0.4;
        Self {
            seed,
            volume_m3,
            room_pa: random.uniform(93_000.0, 103_000.0),
            leak: if random.uniform(0.0, 1.0) < 0.15 { 0.0 } else { leak },
            orifice: random.uniform(0.0, 1.0) < 0.5,
            supply,
            cycles: 1 + (random.uniform(0.0, 4.0) as usize).min(3),
            lowest_pa,
            hold_s,
            pump_m3_per_s: volume_m3 / pump_tau_s,
            gauge: Gauge {
                from_room,
                cadence_s: [1.0, 2.0, 5.0, 10.0][(random.uniform(0.0, 4.0) as usize).min(3)],
                noise_pa: if from_room { room_noise } else { absolute_noise },
                zero_pa: if from_room { room_zero } else { absolute_zero },
                scale: random.uniform(0.001, 0.005),
                step_pa: [0.0, 1.0, 10.0][(random.uniform(0.0, 3.0) as usize).min(2)],
                barometer_pa: if from_room { random.uniform(20.0, 100.0) } else { 0.0 },
            },
        }
    }

    /// Runs through pumping, holding and filling in steps of a twentieth of a second.
    fn simulate(&self, random: &mut Random) -> Log {
        let gauge = &self.gauge;
        let [zero, scale] = [gauge.zero_pa * random.normal(), 1.0 + gauge.scale * random.normal()];
        // Air and inert gas as partial pressures.
        let (mut air, mut inert, mut supplied) = (self.room_pa, 0.0, 0.0);
        let mut log = Log { time_s: Vec::new(), reading_pa: Vec::new(), oxygen: OXYGEN_OF_AIR };
        let (mut time_s, mut next_s) = (0.0, random.uniform(0.0, gauge.cadence_s));
        let mut phases = vec![(Phase::Wait, random.uniform(20.0, 120.0))];
        for _ in 0..self.cycles {
            let hold_s = self.hold_s * random.uniform(0.9, 1.1);
            phases.extend([(Phase::Pump(self.lowest_pa * random.uniform(0.9, 1.1)), 3600.0), (Phase::Wait, hold_s)]);
            phases.extend([(Phase::Fill(0.99 * self.room_pa), 3600.0), (Phase::Wait, random.uniform(20.0, 120.0))]);
        }
        let fill_tau_s = random.uniform(5.0, 20.0);
        let h = 0.05;
        for (phase, at_most_s) in phases {
            let until_s = time_s + at_most_s;
            while time_s < until_s {
                let pressure = air + inert;
                let done = match phase {
                    Phase::Wait => false,
                    Phase::Pump(to) => pressure <= to,
                    Phase::Fill(to) => pressure >= to,
                };
                if done {
                    break;
                }
                let x = pressure / self.room_pa;
                // Choked up to about half of the room's pressure.
                let share = if self.orifice { (2.0 * (1.0 - x)).clamp(0.0, 1.0).sqrt() } else { 1.0 - x * x };
                air += self.leak * share / self.volume_m3 * h;
                match phase {
                    Phase::Wait => {}
                    Phase::Pump(_) => {
                        let keep = (-self.pump_m3_per_s / self.volume_m3 * h).exp();
                        [air, inert, supplied] = [air * keep, inert * keep, supplied * keep];
                    }
                    Phase::Fill(_) => {
                        let gas = 1.2 * self.room_pa / fill_tau_s * h;
                        inert += gas;
                        supplied += gas * self.supply;
                    }
                }
                time_s += h;
                if time_s >= next_s {
                    let pressure = air + inert;
                    let shown = if gauge.from_room { pressure - self.room_pa } else { pressure };
                    let reading = scale * shown + zero + gauge.noise_pa * random.normal();
                    let step = gauge.step_pa;
                    log.time_s.push(next_s);
                    log.reading_pa.push(if step > 0.0 { (reading / step).round() * step } else { reading });
                    next_s += gauge.cadence_s;
                }
            }
        }
        log.oxygen = (OXYGEN_OF_AIR * air + supplied) / (air + inert);
        log
    }

    /// The evaluation and the true oxygen, ppm; what is stated errs as it says.
    fn evaluated(&self) -> (Option<Antechamber>, f64) {
        let mut random = Random::new(self.seed ^ 0x5555_aaaa);
        let log = self.simulate(&mut random);
        let truth = 1e6 * log.oxygen;
        let gauge = &self.gauge;
        let room = self.room_pa + gauge.barometer_pa * random.normal();
        let volume = self.volume_m3 * (1.0 + 0.02 * random.normal());
        let supply = self.supply * (1.0 + 0.2 * random.normal());
        let offset = if gauge.from_room { room } else { 0.0 };
        let pressure: Vec<f64> = log.reading_pa.iter().map(|reading| reading + offset).collect();
        let Ok(pressure) = Samples::new(&log.time_s, &pressure) else { return (None, truth) };
        let settings = Settings {
            volume_m3: Some(Quantity::new(volume, 0.02 * volume)),
            enclosure_m3: None,
            gauge: Instrument {
                zero: gauge.zero_pa,
                scale: gauge.scale,
                resolution: gauge.step_pa,
                ..Instrument::default()
            },
            from_room: gauge.from_room,
            supply_oxygen: Quantity::new(supply, 0.2 * self.supply),
            room_oxygen: OXYGEN_OF_AIR,
            leak_throughput: None,
            target: None,
            window_s: None,
        };
        let room_pressure_pa = Quantity::new(room, gauge.barometer_pa);
        (evaluate(&Record { pressure, room_pressure_pa, restarts_s: &[] }, &settings).ok(), truth)
    }
}

#[derive(Clone, Copy)]
enum Phase {
    Wait,
    Pump(f64),
    Fill(f64),
}

/// Values and bounds, and how many missed the truth.
#[derive(Debug, Clone, Copy, Default)]
struct Misses {
    values: u32,
    below: u32,
    above: u32,
    bounds: u32,
    beyond: u32,
}

impl Misses {
    fn add(&mut self, estimate: &Estimate, truth: f64) {
        let [low, high] = estimate.interval95;
        if estimate.kind == Kind::Estimate {
            self.values += 1;
            self.below += u32::from(truth < low);
            self.above += u32::from(truth > high);
        } else {
            self.bounds += 1;
            self.beyond += u32::from(truth > high);
        }
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    tests: u32,
    failed: u32,
    miscounted: u32,
    log_misses: f64,
    oxygen: Misses,
    leak: Misses,
}

impl Tally {
    fn add(&mut self, trial: &Trial) {
        self.tests += 1;
        let (found, truth) = trial.evaluated();
        let Some(found) = found else {
            self.failed += 1;
            return;
        };
        self.miscounted += u32::from(found.cycle_count != trial.cycles);
        self.oxygen.add(&found.residual_oxygen, truth);
        if found.residual_oxygen.kind == Kind::Estimate {
            self.log_misses += (found.residual_oxygen.value / truth).ln();
        }
        if let Some(leak) = &found.leak_throughput {
            self.leak.add(leak, trial.leak);
        }
    }

    fn print(&self, name: &str) {
        let Self { tests, failed, miscounted, oxygen, leak, .. } = self;
        println!(
            "| {name} | {tests} | {failed} | {miscounted} | {} | {} | {} | {:.3} | {} | {} | {} | {} | {} | {} | {} |",
            oxygen.values,
            oxygen.below,
            oxygen.above,
            self.log_misses / f64::from(oxygen.values.max(1)),
            oxygen.bounds,
            oxygen.beyond,
            leak.values,
            leak.below,
            leak.above,
            leak.bounds,
            leak.beyond
        );
    }
}
