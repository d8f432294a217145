//! Simulation study of series of runs at four pressures, from readings to the split of the sources. Writes a Markdown
//! table to standard output.
//!
//! `cargo run --release -p tightfit-fit --example ppm-rise-series-study -- [--tests N] [--only WORD]`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use statrs::distribution::{ContinuousCDF, Normal};
use tightfit_fit::ppm_rise::{
    Analyser, MakeUp, PressureDifference, Quantity, Record, RoomAir, Settings, Supply, Trace, WindowChoice, evaluate,
};
use tightfit_fit::ppm_rise_series::{self, PpmRiseSeries, Run};
use tightfit_fit::simulate::{Random, Rise};
use tightfit_fit::{Estimate, Kind, Samples};

const PRESSURES_PA: [f64; 4] = [250.0, -100.0, -250.0, -500.0];
const ROOM_PA: f64 = 101_325.0;
const OXYGEN_PPM: f64 = 207_000.0;
const WATER_PPM: f64 = 11_000.0;

/// What is true of one enclosure.
#[derive(Clone, Copy)]
struct Truth {
    /// 1/h at 1000 Pa.
    hourly_leak_rate: f64,
    oxygen_permeation_ppm_per_h: f64,
    water_permeation_ppm_per_h: f64,
}

/// One block of the table.
struct Case {
    name: &'static str,
    truth: Truth,
    /// Share of the usual outgassing.
    outgassing: f64,
    /// A pressure-change test gave the conductance to 5 %.
    with_pressure: bool,
}

#[derive(Default, Clone, Copy)]
struct Count {
    tests: usize,
    below: usize,
    above: usize,
    bounds: usize,
    error: f64,
    half_width: f64,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let tests = arguments.iter().position(|a| a == "--tests").and_then(|i| arguments.get(i + 1));
    let tests: u64 = tests.and_then(|n| n.parse().ok()).unwrap_or(100);
    let only = arguments.iter().position(|a| a == "--only").and_then(|i| arguments.get(i + 1)).cloned();
    let only = only.unwrap_or_default();
    println!(
        "| case | quantity | series | covered | truth below | truth above | bounds | RMS ppm/h | mean half width ppm/h |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let truth = |hourly_leak_rate, oxygen_permeation_ppm_per_h, water_permeation_ppm_per_h| Truth {
        hourly_leak_rate,
        oxygen_permeation_ppm_per_h,
        water_permeation_ppm_per_h,
    };
    let case = |name, truth| Case { name, truth, outgassing: 1.0, with_pressure: false };
    let ordinary = truth(5e-5, 0.3, 5.0);
    let cases = [
        case("ordinary", ordinary),
        case("no leak", truth(0.0, 0.3, 5.0)),
        case("no permeation", truth(5e-5, 0.0, 0.0)),
        Case { outgassing: 0.0, ..case("no outgassing", ordinary) },
        Case { with_pressure: true, ..case("with a conductance from pressure", ordinary) },
    ];
    // Each case has its own noise, or the same chance would show in all rows.
    for (first, case) in (0..).step_by(100_000).zip(&cases).filter(|(_, case)| case.name.contains(&only)) {
        let name = case.name;
        let mut counts = [Count::default(); 4];
        let mut correlation = [0.0; 2];
        for seed in first + 1..=first + tests {
            let Some((result, expected)) = one(seed, case) else { continue };
            correlation[0] += result.correlation[0][1] / tests as f64;
            correlation[1] += result.correlation[0][2] / tests as f64;
            let found = [
                &result.oxygen_from_leak,
                &result.oxygen_from_permeation,
                &result.water_from_leak,
                &result.water_from_permeation,
            ];
            for ((count, estimate), expected) in counts.iter_mut().zip(found).zip(expected) {
                if let Some(estimate) = estimate {
                    count.take(estimate, expected);
                }
            }
        }
        for (quantity, count) in
            ["oxygen, leak", "oxygen, permeation", "water, leak", "water, permeation"].iter().zip(counts)
        {
            count.print(name, quantity);
        }
        println!(
            "| {name} | mean correlation of the leak with the permeation of oxygen {:.2}, of water {:.2} | | | | | | | |",
            correlation[0], correlation[1]
        );
    }
}

impl Count {
    fn take(&mut self, estimate: &Estimate, truth: f64) {
        let [low, high] = estimate.interval95;
        self.tests += 1;
        assert!(estimate.value >= 0.0, "a part came out negative");
        self.below += usize::from(truth < low);
        self.above += usize::from(truth > high);
        self.bounds += usize::from(estimate.kind == Kind::UpperBound);
        self.error += (estimate.value - truth).powi(2);
        self.half_width += 0.5 * (high - low.max(0.0));
    }

    fn print(self, case: &str, quantity: &str) {
        let n = self.tests.max(1) as f64;
        println!(
            "| {case} | {quantity} | {} | {:.1} % | {:.1} % | {:.1} % | {} | {:.4} | {:.4} |",
            self.tests,
            100.0 * (1.0 - (self.below + self.above) as f64 / n),
            100.0 * self.below as f64 / n,
            100.0 * self.above as f64 / n,
            self.bounds,
            (self.error / n).sqrt(),
            self.half_width / n
        );
    }
}

/// Normal numbers spread as evenly as a normal distribution allows (quantiles of Roberts' additive sequence): a scale is
/// common to a series, and chance in a few hundred of them would hide what the method does.
fn spread_normal(seed: u64, step: f64) -> f64 {
    Normal::standard().inverse_cdf((0.5 + step * seed as f64).fract())
}

/// Simulates and evaluates one series; returns what is true of leak and permeation of oxygen and water in ppm/h.
fn one(seed: u64, case: &Case) -> Option<(PpmRiseSeries, [f64; 4])> {
    let truth = case.truth;
    let mut random = Random::new(seed ^ 0x51ed);
    let scales = [1.0 + 0.02 * spread_normal(seed, 0.754_877_666_2), 1.0 + 0.03 * spread_normal(seed, 0.569_840_291)];
    let air = RoomAir { oxygen: Quantity::new(OXYGEN_PPM * 1e-6, 0.0), water: Quantity::new(WATER_PPM * 1e-6, 0.0) };
    let leak =
        |difference_pa: f64, room_ppm: f64| truth.hourly_leak_rate * (-difference_pa).max(0.0) / 1000.0 * room_ppm;
    let mut runs = Vec::new();
    for (index, difference_pa) in PRESSURES_PA.into_iter().enumerate() {
        let seed = seed * 10 + index as u64;
        let oxygen = Rise {
            room_air_ppm: OXYGEN_PPM,
            exponentials: vec![[case.outgassing * random.uniform(0.2, 1.0), random.uniform(0.5, 1.5)]],
            ..Rise::plain(8.0, leak(difference_pa, OXYGEN_PPM) + truth.oxygen_permeation_ppm_per_h)
        };
        let water = Rise {
            room_air_ppm: WATER_PPM,
            exponentials: vec![[case.outgassing * random.uniform(3.0, 15.0), random.uniform(0.5, 1.5)]],
            ..Rise::plain(8.0, leak(difference_pa, WATER_PPM) + truth.water_permeation_ppm_per_h)
        };
        let run = run(&oxygen, &water, scales, seed, difference_pa, air)?;
        runs.push(run);
    }
    let reference_pa = -500.0;
    let per_s = truth.hourly_leak_rate * ROOM_PA / 1000.0 / 3600.0;
    let uncertainty = 0.05 * per_s;
    let settings = ppm_rise_series::Settings {
        reference_pressure_pa: reference_pa,
        room_pressure_pa: ROOM_PA,
        room_air: air,
        oxygen_scale: 0.02,
        water_scale: 0.03,
        conductance_from_pressure: case
            .with_pressure
            .then(|| Quantity::new(per_s + uncertainty * random.normal(), uncertainty)),
    };
    let expected = [
        leak(reference_pa, OXYGEN_PPM),
        truth.oxygen_permeation_ppm_per_h,
        leak(reference_pa, WATER_PPM),
        truth.water_permeation_ppm_per_h,
    ];
    Some((ppm_rise_series::evaluate(&runs, &settings).ok()?, expected))
}

fn run(oxygen: &Rise, water: &Rise, scales: [f64; 2], seed: u64, difference_pa: f64, air: RoomAir) -> Option<Run> {
    let mut readings = [oxygen.simulate(seed), water.simulate(seed ^ 0xabcd)];
    for (simulated, scale) in readings.iter_mut().zip(scales) {
        simulated.reading.iter_mut().for_each(|x| *x *= scale);
    }
    let trace = |index: usize| -> Option<Trace<'_>> {
        let samples = Samples::new(&readings[index].time_s, &readings[index].reading).ok()?;
        Some(Trace { samples, status: &[], analyser: Analyser::default() })
    };
    let record = Record {
        oxygen: Some(trace(0)?),
        water: Some(trace(1)?),
        pressure_difference: PressureDifference::Stated(difference_pa),
        room_pressure_pa: ROOM_PA,
        room_air: air,
        make_up: MakeUp::None,
        supply: Supply::default(),
    };
    let result = evaluate(&record, &Settings { volume_m3: None, window: WindowChoice::Auto }).ok()?;
    Some(Run {
        name: format!("{difference_pa} Pa"),
        pressure_difference_pa: difference_pa,
        room_pressure_pa: ROOM_PA,
        room_air: air,
        oxygen_ingress: result.oxygen_ingress,
        water_ingress: result.water_ingress,
    })
}
