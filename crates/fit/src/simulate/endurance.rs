//! Simulated endurance run: a content that wanders and transfers that disturb it, with the purifier on.

use super::{Random, Tally};
use crate::Samples;
use crate::endurance::{Endurance, Settings, evaluate};
use crate::ppm_rise::{Analyser, Trace};

/// What happens, and how it is seen. Contents in ppm, times in s.
#[derive(Debug, Clone, PartialEq)]
pub struct EnduranceRun {
    /// Name for tables.
    pub name: &'static str,
    /// Length of the record and time between readings.
    pub length_s: f64,
    /// Time between readings.
    pub cadence_s: f64,
    /// Content that the purifier settles at.
    pub level_ppm: f64,
    /// Half the daily swing of it.
    pub daily_ppm: f64,
    /// Wandering: standard deviation and memory.
    pub wander: [f64; 2],
    /// Transfers a day, and the mean size of one.
    pub transfers: [f64; 2],
    /// Time constant of the clean-up, and of the mixing of a dose.
    pub clean_up_s: f64,
    /// Time constant with which a dose spreads; 0 for at once.
    pub mixing_s: f64,
    /// Target.
    pub target_ppm: f64,
    /// Noise of a reading.
    pub noise_ppm: f64,
    /// Step of the readings.
    pub resolution_ppm: f64,
    /// Time constant of the analyser.
    pub tau_s: f64,
    /// Standard uncertainty of zero (ppm) and scale (1).
    pub stated: [f64; 2],
    /// Bound on the drift of the zero, ppm/s.
    pub drift_ppm_per_s: f64,
}

/// Readings of a simulated run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SimulatedEndurance {
    /// Times in s.
    pub time_s: Vec<f64>,
    /// Readings as mole fractions.
    pub reading: Vec<f64>,
    /// True largest content, ppm.
    pub max_ppm: f64,
    /// True share of time within the target.
    pub share_within: f64,
}

impl EnduranceRun {
    /// The cells of the study.
    pub fn all() -> Vec<Self> {
        let plain = Self {
            name: "a day, quiet",
            length_s: 86_400.0,
            cadence_s: 60.0,
            level_ppm: 0.5,
            daily_ppm: 0.0,
            wander: [0.02, 3600.0],
            transfers: [0.0, 0.0],
            clean_up_s: 400.0,
            mixing_s: 0.0,
            target_ppm: 1.0,
            noise_ppm: 0.03,
            resolution_ppm: 0.0,
            tau_s: 0.0,
            stated: [0.05, 0.02],
            drift_ppm_per_s: 0.0,
        };
        let with = |name, change: fn(&mut Self)| {
            let mut cell = Self { name, ..plain.clone() };
            change(&mut cell);
            cell
        };
        vec![
            plain.clone(),
            with("a day, noisy readings every 10 s", |cell| {
                cell.cadence_s = 10.0;
                cell.noise_ppm = 0.15;
                cell.stated = [0.005, 0.0];
            }),
            with("noise alone", |cell| {
                cell.wander = [0.0, 3600.0];
                cell.noise_ppm = 0.2;
                cell.stated = [0.005, 0.0];
            }),
            with("smooth daily swing, good instrument", |cell| {
                cell.wander = [0.0, 3600.0];
                cell.daily_ppm = 0.2;
                cell.stated = [0.005, 0.0];
            }),
            with("near the target", |cell| {
                cell.level_ppm = 0.95;
                cell.wander = [0.1, 5400.0];
            }),
            with("near the target, good instrument", |cell| {
                cell.level_ppm = 0.95;
                cell.wander = [0.1, 5400.0];
                cell.stated = [0.005, 0.002];
            }),
            with("steps of 0.1 ppm", |cell| {
                cell.resolution_ppm = 0.1;
                cell.noise_ppm = 0.02;
                cell.daily_ppm = 0.15;
            }),
            with("ten transfers a day", |cell| {
                cell.transfers = [10.0, 4.0];
                cell.length_s = 3.0 * 86_400.0;
            }),
            with("transfers, lag 20 s, every 10 s", |cell| {
                cell.transfers = [10.0, 4.0];
                cell.tau_s = 20.0;
                cell.cadence_s = 10.0;
            }),
            with("transfers that mix in 60 s, lag 20 s", |cell| {
                cell.transfers = [10.0, 4.0];
                cell.tau_s = 20.0;
                cell.mixing_s = 60.0;
                cell.cadence_s = 10.0;
            }),
            with("a week, drift", |cell| {
                cell.length_s = 7.0 * 86_400.0;
                cell.daily_ppm = 0.15;
                cell.transfers = [3.0, 3.0];
                cell.drift_ppm_per_s = 0.3 / (7.0 * 86_400.0);
                cell.cadence_s = 120.0;
            }),
        ]
    }

    /// Draws readings; zero and scale are those of this analyser.
    pub fn simulate(&self, seed: u64) -> SimulatedEndurance {
        const FINE_S: f64 = 2.0;
        let mut random = Random::new(seed);
        let zero_ppm = self.stated[0] * random.normal();
        let scale = 1.0 + self.stated[1] * random.normal();
        let drift = self.drift_ppm_per_s * random.uniform(-1.0, 1.0);
        let phase = random.uniform(0.0, std::f64::consts::TAU);
        let mut out = SimulatedEndurance { max_ppm: f64::NEG_INFINITY, ..SimulatedEndurance::default() };
        let mut wander = self.wander[0] * random.normal();
        let (mut dose, mut unmixed, mut shown, mut content, mut next_s) = (0.0, 0.0, f64::NAN, f64::NAN, 0.0);
        let fine = (self.length_s / FINE_S) as usize;
        let mut within = 0usize;
        for index in 0..fine {
            let t = index as f64 * FINE_S;
            // What the analyser saw since the last step, before a dose of this moment.
            let keep = (-FINE_S / self.clean_up_s).exp();
            let mixed = if self.mixing_s > 0.0 { unmixed * (1.0 - (-FINE_S / self.mixing_s).exp()) } else { unmixed };
            unmixed -= mixed;
            dose = dose * keep + mixed;
            wander = random.ornstein_uhlenbeck(wander, self.wander[0], self.wander[1], FINE_S);
            let daily = self.daily_ppm * (std::f64::consts::TAU * t / 86_400.0 + phase).sin();
            let before_dose = self.level_ppm + daily + wander + dose;
            let between = if content.is_nan() { before_dose } else { 0.5 * (content + before_dose) };
            shown = if shown.is_nan() || self.tau_s <= 0.0 {
                before_dose
            } else {
                between + (shown - between) * (-FINE_S / self.tau_s).exp()
            };
            content = before_dose;
            if random.uniform(0.0, 1.0) < self.transfers[0] * FINE_S / 86_400.0 {
                let size = self.transfers[1] * random.uniform(0.5, 1.5);
                if self.mixing_s > 0.0 {
                    unmixed += size;
                } else {
                    dose += size;
                    content += size;
                }
            }
            out.max_ppm = out.max_ppm.max(content);
            within += usize::from(content <= self.target_ppm);
            if t >= next_s {
                next_s += self.cadence_s;
                let seen = shown * scale + zero_ppm + drift * t + self.noise_ppm * random.normal();
                let step = self.resolution_ppm;
                out.time_s.push(t);
                out.reading.push(1e-6 * if step > 0.0 { (seen / step).round() * step } else { seen });
            }
        }
        out.share_within = within as f64 / fine as f64;
        out
    }

    /// Evaluates `tests` runs: largest content and share.
    pub fn study(&self, tests: u64, first_seed: u64) -> [Tally; 2] {
        let mut tallies: [Tally; 2] = Default::default();
        for seed in first_seed..first_seed + tests {
            let seen = self.simulate(seed);
            let Some(found) = self.evaluated(&seen) else { continue };
            tallies[0].add(&found.kept.max, seen.max_ppm);
            if let Some(share) = &found.kept.share_within {
                tallies[1].add(share, seen.share_within);
            }
        }
        tallies
    }

    /// Evaluates simulated readings.
    pub fn evaluated(&self, seen: &SimulatedEndurance) -> Option<Endurance> {
        let analyser = Analyser {
            zero: 1e-6 * self.stated[0],
            scale: self.stated[1],
            drift_per_s: 1e-6 * self.drift_ppm_per_s / 3.0_f64.sqrt(),
            resolution: 1e-6 * self.resolution_ppm,
            response_tau_s: self.tau_s,
            ..Analyser::default()
        };
        let trace = Trace { samples: Samples::new(&seen.time_s, &seen.reading).ok()?, status: &[], analyser };
        let settings = Settings { target: Some(1e-6 * self.target_ppm), ..Settings::default() };
        evaluate(&trace, &settings).ok()
    }
}
