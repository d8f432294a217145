//! Simulated purges from air.

use super::{Random, Tally};
use crate::Samples;
use crate::ppm_rise::{Analyser, Quantity, ReadingStatus, Trace};
use crate::purge_down::{Flow, PurgeDown, Settings, evaluate};

/// How gas drives the air out, and how that is seen. Contents as mole fractions, times in s.
#[derive(Debug, Clone, PartialEq)]
pub struct PurgeRun {
    /// Name for tables.
    pub name: &'static str,
    /// Purge flow when wide open, m³/s, and its share until `wide_at_s`.
    pub flow_m3_per_s: f64,
    /// Share of the flow that runs at first.
    pub first_share: f64,
    /// When the flow is opened wide.
    pub wide_at_s: f64,
    /// Whether the flow is logged; else it is stated.
    pub logged: bool,
    /// Mixing factor.
    pub mixing: f64,
    /// Content that is approached.
    pub floor: f64,
    /// When the purge begins.
    pub begin_s: f64,
    /// End of the record.
    pub end_s: f64,
    /// Time between readings.
    pub cadence_s: f64,
    /// Top of the analyser's range.
    pub range_top: f64,
    /// Its time constant; stated 10 % off.
    pub lag_s: f64,
    /// White noise of a reading: constant and relative part.
    pub noise: [f64; 2],
    /// Correlated noise: standard deviation relative to the content, and memory.
    pub wander: [f64; 2],
    /// Step of the readings.
    pub resolution: f64,
}

const AIR: f64 = 0.209;
const VOLUME_M3: f64 = 0.92;
/// Relative standard uncertainty of volume and of flow.
const STATED: f64 = 0.02;
const TARGET: f64 = 20e-6;

impl PurgeRun {
    /// The cells of the study.
    pub fn all() -> Vec<Self> {
        let plain = Self {
            name: "steady flow, analyser up to 0.1 %",
            flow_m3_per_s: 30e-3 / 60.0,
            first_share: 1.0,
            wide_at_s: 0.0,
            logged: false,
            mixing: 0.8,
            floor: 2e-6,
            begin_s: 600.0,
            end_s: 30_000.0,
            cadence_s: 20.0,
            range_top: 1e-3,
            lag_s: 0.0,
            noise: [1e-7, 0.01],
            wander: [0.0, 600.0],
            resolution: 0.0,
        };
        let with = |name, change: fn(&mut Self)| {
            let mut cell = Self { name, ..plain.clone() };
            change(&mut cell);
            cell
        };
        vec![
            plain.clone(),
            with("flow opened wide, logged", |cell| {
                (cell.first_share, cell.wide_at_s, cell.logged) = (0.5, 4200.0, true);
            }),
            with("analyser over all five decades", |cell| cell.range_top = 0.25),
            with("lag of 60 s", |cell| cell.lag_s = 60.0),
            with("readings every 5 min", |cell| cell.cadence_s = 300.0),
            with("steps of 0.1 ppm", |cell| {
                cell.resolution = 1e-7;
                cell.noise[0] = 2e-8;
            }),
            with("wander of 1 %", |cell| cell.wander[0] = 0.01),
            with("ends at ten times the floor", |cell| {
                cell.end_s = 600.0 + 9.25 * VOLUME_M3 / (0.8 * cell.flow_m3_per_s);
            }),
            with("well mixed", |cell| cell.mixing = 1.0),
        ]
    }

    fn flow_at(&self, t: f64) -> f64 {
        let share = if t < self.wide_at_s { self.first_share } else { 1.0 };
        if t < self.begin_s { 0.0 } else { share * self.flow_m3_per_s }
    }

    /// Gas and what the analyser shows without noise, by small steps.
    fn exact(&self) -> (Vec<f64>, Vec<f64>, f64) {
        let fine = 10.0;
        let keep = (-self.cadence_s / fine / self.lag_s.max(1e-9)).exp();
        let (mut gas, mut shown, mut reached_s) = (AIR, AIR, f64::INFINITY);
        let (mut time, mut value) = (Vec::new(), Vec::new());
        for reading in 0..=(self.end_s / self.cadence_s) as usize {
            let t = reading as f64 * self.cadence_s;
            time.push(t);
            value.push(shown);
            for part in 0..fine as usize {
                let step_s = self.cadence_s / fine;
                let from_s = t + part as f64 * step_s;
                let before = gas;
                let exchanged = self.flow_at(from_s) * step_s / VOLUME_M3;
                gas = self.floor + (gas - self.floor) * (-self.mixing * exchanged).exp();
                let middle = 0.5 * (before + gas);
                shown = if self.lag_s > 0.0 { middle + (shown - middle) * keep } else { gas };
                if gas <= TARGET && reached_s.is_infinite() {
                    // Between the two the content falls like an exponential.
                    let share = (before / TARGET).ln() / (before / gas).ln();
                    reached_s = from_s + share * step_s;
                }
            }
        }
        (time, value, reached_s)
    }

    /// Evaluates `tests` runs: time constant relative to the truth, mixing factor, floor in ppm, time to 20 ppm in s.
    pub fn study(&self, tests: u64, first_seed: u64) -> [Tally; 4] {
        let mut tallies: [Tally; 4] = Default::default();
        let (time, exact, reached_s) = self.exact();
        for seed in first_seed..first_seed + tests {
            let mut random = Random::new(seed ^ 0x5055);
            let Some((found, mean_flow)) = self.evaluated(&time, &exact, &mut random) else { continue };
            let truth_s = VOLUME_M3 / (self.mixing * mean_flow);
            tallies[0].add(&found.time_constant, truth_s);
            tallies[2].add(&found.floor, 1e6 * self.floor);
            if let Some(mixing) = &found.mixing_factor {
                tallies[1].add(mixing, self.mixing);
            }
            if let Some(until) = found.time_to_limit.as_ref().filter(|_| reached_s.is_finite()) {
                tallies[3].add(until, reached_s - found.onset_s);
            }
        }
        tallies
    }

    /// The result, and the mean flow while gas flowed as it was.
    fn evaluated(&self, time: &[f64], exact: &[f64], random: &mut Random) -> Option<(PurgeDown, f64)> {
        let meter = 1.0 + STATED * random.normal();
        let volume_m3 = VOLUME_M3 * (1.0 + STATED * random.normal());
        let stated_lag_s = self.lag_s * (1.0 + 0.1 * random.normal());
        let mut wander = random.normal();
        let reading: Vec<f64> = exact
            .iter()
            .map(|x| {
                wander = random.ornstein_uhlenbeck(wander, 1.0, self.wander[1], self.cadence_s);
                let [floor, relative] = self.noise;
                let noisy = x * (1.0 + self.wander[0] * wander) + floor.hypot(relative * x) * random.normal();
                let stepped =
                    if self.resolution > 0.0 { (noisy / self.resolution).round() * self.resolution } else { noisy };
                stepped.min(self.range_top)
            })
            .collect();
        let above = |value: &f64| *value >= self.range_top;
        let status: Vec<ReadingStatus> = reading
            .iter()
            .map(|value| if above(value) { ReadingStatus::AboveRange } else { ReadingStatus::Measured })
            .collect();
        let flow: Vec<f64> = time.iter().map(|t| meter * self.flow_at(*t)).collect();
        let stated = meter * self.flow_m3_per_s;
        let settings = Settings {
            flow: if self.logged {
                Flow::Logged { samples: Samples::new(time, &flow).ok()?, relative_uncertainty: STATED }
            } else {
                Flow::Constant(Quantity::new(stated, STATED * stated))
            },
            volume_m3: Some(Quantity::new(volume_m3, STATED * volume_m3)),
            supply: None,
            target: Some(TARGET),
            delay_s: stated_lag_s,
            window_s: None,
        };
        let analyser = Analyser { resolution: self.resolution, ..Analyser::default() };
        let trace = Trace { samples: Samples::new(time, &reading).ok()?, status: &status, analyser };
        let found = evaluate(&trace, &settings).ok()?;
        let flowing: Vec<f64> = time.iter().map(|t| self.flow_at(*t)).filter(|flow| *flow > 0.0).collect();
        Some((found, flowing.iter().sum::<f64>() / flowing.len() as f64))
    }
}
