//! Simulated check of an analyser against reference gas.

use super::{Random, Tally};
use crate::Samples;
use crate::analyser_check::{Step, evaluate};
use crate::ppm_rise::{Analyser, Quantity, Trace};

/// What is given, and how it is seen. Contents in ppm, times in s.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyserCheckRun {
    /// Name for tables.
    pub name: &'static str,
    /// Contents in the order of time.
    pub contents_ppm: Vec<f64>,
    /// Relative standard uncertainty of a content, and that of the zero gas in ppm.
    pub gas: [f64; 2],
    /// Time that each is given.
    pub plateau_s: f64,
    /// Time between readings.
    pub cadence_s: f64,
    /// Time constant of the analyser.
    pub tau_s: f64,
    /// White noise and correlated noise with its memory.
    pub noise_ppm: f64,
    /// Correlated noise: standard deviation and memory.
    pub wander: [f64; 2],
    /// Step of the readings.
    pub resolution_ppm: f64,
}

impl AnalyserCheckRun {
    /// The cells of the study.
    pub fn all() -> Vec<Self> {
        let plain = Self {
            name: "zero and 100 ppm",
            contents_ppm: vec![0.0, 100.0, 0.0],
            gas: [0.01, 0.02],
            plateau_s: 900.0,
            cadence_s: 2.0,
            tau_s: 9.0,
            noise_ppm: 0.1,
            wander: [0.0, 30.0],
            resolution_ppm: 0.0,
        };
        let with = |name, change: fn(&mut Self)| {
            let mut cell = Self { name, ..plain.clone() };
            change(&mut cell);
            cell
        };
        vec![
            plain.clone(),
            with("correlated noise", |cell| cell.wander = [0.1, 20.0]),
            with("steps of 0.1 ppm, 10 ppm gas", |cell| {
                cell.contents_ppm = vec![0.0, 10.0];
                cell.noise_ppm = 0.02;
                cell.resolution_ppm = 0.1;
            }),
            with("three gases", |cell| cell.contents_ppm = vec![0.0, 50.0, 100.0, 0.0]),
            with("readings as slow as the response", |cell| cell.cadence_s = 10.0),
            with("readings slower than the response", |cell| {
                cell.cadence_s = 30.0;
                cell.tau_s = 3.0;
            }),
            with("slow analyser", |cell| cell.tau_s = 60.0),
        ]
    }

    /// Evaluates `tests` checks: zero error, span error, t90.
    pub fn study(&self, tests: u64, first_seed: u64) -> [Tally; 3] {
        let mut tallies: [Tally; 3] = Default::default();
        for seed in first_seed..first_seed + tests {
            let mut random = Random::new(seed ^ 0x4143);
            let (zero_ppm, scale) = (0.3 * random.normal(), 1.0 + 0.02 * random.normal());
            let (time_s, reading) = self.readings(zero_ppm, scale, &mut random);
            // The true content differs from the stated one by what is stated of it.
            let off_zero_ppm = self.gas[1] * random.normal();
            let off_span = self.gas[0] * random.normal();
            let largest = self.contents_ppm.iter().copied().fold(0.0, f64::max);
            let mut steps: Vec<Step> = Vec::new();
            for content in &self.contents_ppm {
                let (off, uncertainty) = if *content > 0.0 {
                    (off_span * content, self.gas[0] * content)
                } else {
                    (off_zero_ppm, self.gas[1])
                };
                let content = Quantity::new(1e-6 * (content + off), 1e-6 * uncertainty);
                if !steps.iter().any(|step| step.content == content) {
                    steps.push(Step { content, span_s: None });
                }
            }
            let analyser = Analyser { resolution: 1e-6 * self.resolution_ppm, ..Analyser::default() };
            let Ok(samples) = Samples::new(&time_s, &reading) else { continue };
            let Ok(found) = evaluate(&Trace { samples, status: &[], analyser }, &steps) else { continue };
            let truths = [zero_ppm, zero_ppm + (scale - 1.0) * largest, std::f64::consts::LN_10 * self.tau_s];
            for ((tally, estimate), truth) in
                tallies.iter_mut().zip([found.zero_error, found.span_error, found.response_t90]).zip(truths)
            {
                if let Some(estimate) = &estimate {
                    tally.add(estimate, truth);
                }
            }
        }
        tallies
    }

    /// Times in s and readings as mole fractions.
    fn readings(&self, zero_ppm: f64, scale: f64, random: &mut Random) -> (Vec<f64>, Vec<f64>) {
        let end_s = self.plateau_s * self.contents_ppm.len() as f64;
        let late_s = random.uniform(0.0, self.cadence_s);
        let mut wander = self.wander[0] * random.normal();
        let (mut from_ppm, mut to_ppm, mut switched_s) = (self.contents_ppm[0], self.contents_ppm[0], 0.0);
        let (mut time_s, mut reading) = (Vec::new(), Vec::new());
        for index in 0..(end_s / self.cadence_s) as usize {
            let t = index as f64 * self.cadence_s;
            let shown = |s: f64, from: f64, to: f64| to + (from - to) * (-s / self.tau_s).exp();
            let given = ((t - late_s).max(0.0) / self.plateau_s) as usize;
            let content = self.contents_ppm[given.min(self.contents_ppm.len() - 1)];
            let begun_s = late_s + given as f64 * self.plateau_s;
            if given > 0 && begun_s > switched_s {
                from_ppm = shown(begun_s - switched_s, from_ppm, to_ppm);
                (to_ppm, switched_s) = (content, begun_s);
            }
            wander = random.ornstein_uhlenbeck(wander, self.wander[0], self.wander[1], self.cadence_s);
            let exact = scale * shown(t - switched_s, from_ppm, to_ppm) + zero_ppm;
            let noisy = exact + wander + self.noise_ppm * random.normal();
            let step = self.resolution_ppm;
            time_s.push(t);
            reading.push(1e-6 * if step > 0.0 { (noisy / step).round() * step } else { noisy });
        }
        (time_s, reading)
    }
}
