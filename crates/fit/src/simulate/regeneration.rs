//! Simulated regeneration of a purifier's vessel.

use super::{Random, Tally};
use crate::Samples;
use crate::ppm_rise::Quantity;
use crate::regeneration::{Record, Regeneration, Settings, Trace, evaluate};

/// What happens, and how it is seen. Times in s, temperatures in K, pressures in Pa, flows in m³/s.
#[derive(Debug, Clone, PartialEq)]
pub struct RegenerationRun {
    /// Time between readings.
    pub cadence_s: f64,
    /// When the heater starts, and how fast it heats, K/s.
    pub heater: [f64; 2],
    /// Temperature that it holds, and amplitude and period of its cycling.
    pub setpoint_k: f64,
    /// Amplitude in K and period in s of the controller's cycling.
    pub cycling: [f64; 2],
    /// When the reducing gas is opened and closed.
    pub purge_s: [f64; 2],
    /// Its flow.
    pub flow_m3_per_s: f64,
    /// When the pump is started and the vessel filled again.
    pub pump_s: [f64; 2],
    /// Time constant of the pump-down and pressure that it ends at.
    pub pump_down: [f64; 2],
    /// End of the record.
    pub end_s: f64,
    /// Common error of thermometer, flow meter (zero) and pressure gauge.
    pub errors: [f64; 3],
    /// Relative error of the flow meter.
    pub flow_scale: f64,
    /// Noise of a reading of thermometer, flow meter and gauge.
    pub noise: [f64; 3],
    /// Time constant of the thermometer.
    pub thermometer_tau_s: f64,
}

/// Readings of a simulated regeneration.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SimulatedRegeneration {
    /// Times in s.
    pub time_s: Vec<f64>,
    /// Temperature shown, K.
    pub temperature_k: Vec<f64>,
    /// Flow shown, m³/s.
    pub flow_m3_per_s: Vec<f64>,
    /// Pressure shown, Pa.
    pub pressure_pa: Vec<f64>,
    /// True time at or above the plateau before the pressure fell below the threshold, s.
    pub heating_s: f64,
    /// True time with flow, s.
    pub purge_s: f64,
    /// True time below the threshold, s.
    pub evacuation_s: f64,
    /// True volume of gas, m³.
    pub volume_m3: f64,
}

impl RegenerationRun {
    /// The vessel's true temperature.
    fn temperature_k(&self, t: f64) -> f64 {
        let ramp = 295.0 + self.heater[1] * (t - self.heater[0]).max(0.0);
        if ramp < self.setpoint_k {
            return ramp;
        }
        let reached = self.heater[0] + (self.setpoint_k - 295.0) / self.heater[1];
        let cooling = (t - self.pump_s[1]).max(0.0);
        let held = self.setpoint_k + self.cycling[0] * (std::f64::consts::TAU * (t - reached) / self.cycling[1]).sin();
        295.0 + (held - 295.0) * (-cooling / 7200.0).exp()
    }

    fn flow(&self, t: f64) -> f64 {
        if (self.purge_s[0]..self.purge_s[1]).contains(&t) { self.flow_m3_per_s } else { 0.0 }
    }

    fn pressure_pa(&self, t: f64) -> f64 {
        let room = 101_300.0;
        let [tau_s, end_pa] = self.pump_down;
        let pumped = |s: f64| end_pa + (room - end_pa) * (-s / tau_s).exp();
        if t < self.pump_s[0] {
            room
        } else if t < self.pump_s[1] {
            pumped(t - self.pump_s[0])
        } else {
            room
        }
    }

    /// Draws readings; truths hold for the plateau and the threshold given.
    pub fn simulate(&self, plateau_k: f64, threshold_pa: f64, seed: u64) -> SimulatedRegeneration {
        const FINE_S: f64 = 1.0;
        let mut random = Random::new(seed);
        let mut out = SimulatedRegeneration::default();
        let keep = if self.thermometer_tau_s > 0.0 { (-FINE_S / self.thermometer_tau_s).exp() } else { 0.0 };
        let mut shown_k = self.temperature_k(0.0);
        let mut evacuated = false;
        let mut next_s = 0.0;
        for index in 0..(self.end_s / FINE_S) as usize {
            let t = index as f64 * FINE_S;
            let (temperature, flow, pressure) = (self.temperature_k(t), self.flow(t), self.pressure_pa(t));
            shown_k = keep * shown_k + (1.0 - keep) * temperature;
            evacuated |= pressure < threshold_pa;
            out.heating_s += if temperature >= plateau_k && !evacuated { FINE_S } else { 0.0 };
            out.purge_s += if flow > 0.0 { FINE_S } else { 0.0 };
            out.evacuation_s += if pressure < threshold_pa { FINE_S } else { 0.0 };
            out.volume_m3 += flow * FINE_S;
            if t >= next_s {
                next_s += self.cadence_s;
                out.time_s.push(t);
                out.temperature_k.push(shown_k + self.errors[0] + self.noise[0] * random.normal());
                let seen = flow * (1.0 + self.flow_scale) + self.errors[1] + self.noise[1] * random.normal();
                out.flow_m3_per_s.push(seen);
                out.pressure_pa.push(pressure + self.errors[2] + self.noise[2] * random.normal());
            }
        }
        out
    }
}

/// One cell of a study: a kind of run, and the standard uncertainties from which instrument errors are drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct RegenerationCell {
    /// Name for tables.
    pub name: &'static str,
    /// The run; its errors are overwritten.
    pub run: RegenerationRun,
    /// Standard uncertainty of thermometer (K), flow meter's zero (m³/s) and gauge (Pa).
    pub stated: [f64; 3],
    /// Relative standard uncertainty of the flow meter's scale.
    pub stated_scale: f64,
}

const PLATEAU_K: f64 = 473.15;
const THRESHOLD_PA: f64 = 10e3;
const HYDROGEN: Quantity = Quantity { value: 0.04, standard_uncertainty: 0.0004 };
/// At 0 °C and 101.325 kPa.
const AMOUNT_MOL_PER_M3: f64 = 44.615;

impl RegenerationCell {
    /// The cells of the study.
    pub fn all() -> Vec<Self> {
        let run = RegenerationRun {
            cadence_s: 30.0,
            heater: [900.0, 0.05],
            setpoint_k: 483.15,
            cycling: [2.0, 700.0],
            purge_s: [12_000.0, 17_800.0],
            flow_m3_per_s: 1.5e-4,
            pump_s: [19_000.0, 48_000.0],
            pump_down: [90.0, 300.0],
            end_s: 55_000.0,
            errors: [0.0; 3],
            flow_scale: 0.0,
            noise: [0.2, 1e-6, 50.0],
            thermometer_tau_s: 0.0,
        };
        let plain = Self { name: "plain", run, stated: [1.5, 2e-6, 200.0], stated_scale: 0.02 };
        let with = |name, change: fn(&mut Self)| {
            let mut cell = Self { name, ..plain.clone() };
            change(&mut cell);
            cell
        };
        vec![
            plain.clone(),
            with("every 5 s", |cell| cell.run.cadence_s = 5.0),
            with("every 5 min", |cell| cell.run.cadence_s = 300.0),
            with("plateau barely reached", |cell| {
                cell.run.setpoint_k = PLATEAU_K + 1.0;
                cell.run.cycling[0] = 1.5;
            }),
            with("noisy thermometer near the plateau", |cell| {
                cell.run.setpoint_k = PLATEAU_K + 2.0;
                cell.run.cycling[0] = 0.5;
                cell.run.noise[0] = 1.0;
            }),
            with("slow thermometer", |cell| cell.run.thermometer_tau_s = 120.0),
            with("slow pump", |cell| {
                cell.run.pump_down = [1800.0, 4_000.0];
                cell.stated[2] = 500.0;
            }),
            with("small flow, large zero", |cell| {
                cell.run.flow_m3_per_s = 3e-5;
                cell.stated[1] = 4e-6;
            }),
        ]
    }

    /// Evaluates `tests` runs: heating, purge, evacuation and hydrogen.
    pub fn study(&self, tests: u64, first_seed: u64) -> [Tally; 4] {
        let mut tallies: [Tally; 4] = Default::default();
        for seed in first_seed..first_seed + tests {
            let mut random = Random::new(seed ^ 0x5245);
            let mut run = self.run.clone();
            run.errors = self.stated.map(|stated| stated * random.normal());
            run.flow_scale = self.stated_scale * random.normal();
            let fraction = HYDROGEN.value + HYDROGEN.standard_uncertainty * random.normal();
            // Nothing keeps step with the logger.
            for time in run.purge_s.iter_mut().chain(&mut run.pump_s) {
                *time += random.uniform(0.0, 600.0);
            }
            let seen = run.simulate(PLATEAU_K, THRESHOLD_PA, seed);
            let Some(found) = self.evaluated(&seen) else { continue };
            let truths =
                [seen.heating_s, seen.purge_s, seen.evacuation_s, seen.volume_m3 * fraction * AMOUNT_MOL_PER_M3];
            let estimates = [&found.heating_time, &found.purge_time, &found.evacuation_time, &found.hydrogen_dose];
            for ((tally, estimate), truth) in tallies.iter_mut().zip(estimates).zip(truths) {
                if let Some(estimate) = estimate {
                    tally.add(estimate, truth);
                }
            }
        }
        tallies
    }

    fn evaluated(&self, seen: &SimulatedRegeneration) -> Option<Regeneration> {
        let trace = |value, zero, scale, response_tau_s| {
            let samples = Samples::new(&seen.time_s, value).ok()?;
            Some(Trace { samples, zero, scale, resolution: 0.0, response_tau_s })
        };
        let record = Record {
            temperature: trace(&seen.temperature_k, self.stated[0], 0.0, self.run.thermometer_tau_s),
            flow: trace(&seen.flow_m3_per_s, self.stated[1], self.stated_scale, 0.0),
            pressure: trace(&seen.pressure_pa, self.stated[2], 0.0, 0.0),
        };
        let settings = Settings {
            plateau_k: Some(PLATEAU_K),
            evacuated_below_pa: Some(THRESHOLD_PA),
            hydrogen_fraction: Some(HYDROGEN),
            amount_per_volume: Some(Quantity::new(AMOUNT_MOL_PER_M3, 0.0)),
        };
        evaluate(&record, &settings).ok()
    }
}
