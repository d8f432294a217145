//! Rooms and weather: what disturbs a pressure hold.

use super::Random;
use std::f64::consts::TAU;

/// Thermal disturbance of the gas by the room, and the lag of a thermometer in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Amplitude of the diurnal wave in K.
    pub diurnal_k: f64,
    /// Air-conditioning cycle, peak to peak, in K; periods of 10 to 30 min are drawn.
    pub cycle_k: f64,
    /// Linear drift in K/h; its sign is drawn.
    pub drift_k_per_h: f64,
    /// First-order lag of the thermometer in s.
    pub lag_s: f64,
}

impl Room {
    /// A cellar laboratory.
    pub const QUIET: Self = Self { diurnal_k: 0.1, cycle_k: 0.05, drift_k_per_h: 0.02, lag_s: 30.0 };
    /// An air-conditioned laboratory.
    pub const ORDINARY: Self = Self { diurnal_k: 0.5, cycle_k: 0.15, drift_k_per_h: 0.1, lag_s: 120.0 };
    /// A workshop.
    pub const ROUGH: Self = Self { diurnal_k: 1.5, cycle_k: 0.4, drift_k_per_h: 0.3, lag_s: 300.0 };
    /// No disturbance and no lag.
    pub const STILL: Self = Self { diurnal_k: 0.0, cycle_k: 0.0, drift_k_per_h: 0.0, lag_s: 0.0 };

    /// Draws the phases: temperature difference to the start's mean in K as a function of time in s.
    pub(crate) fn draw(self, random: &mut Random) -> impl Fn(f64) -> f64 + use<> {
        let diurnal_phase = random.uniform(0.0, TAU);
        let cycle_phase = random.uniform(0.0, TAU);
        let cycle_period_s = random.uniform(600.0, 1800.0);
        let overtone = random.uniform(0.0, 0.4);
        let drift_k_per_s = self.drift_k_per_h / 3600.0 * if random.uniform(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
        move |time_s| {
            let cycle = TAU * time_s / cycle_period_s + cycle_phase;
            self.diurnal_k * (TAU * time_s / 86_400.0 + diurnal_phase).sin()
                + 0.5 * self.cycle_k * (cycle.sin() + overtone * (2.0 * cycle).sin())
                + drift_k_per_s * time_s
        }
    }
}

/// Barometric pressure during a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weather {
    /// Largest linear drift in Pa/day; drawn uniformly up to it with either sign.
    pub drift_pa_per_day: f64,
    /// Standard deviation of the red noise in Pa (memory 1 h).
    pub red_noise_pa: f64,
    /// Largest jump of a front in Pa, spread over 20 min at a random time; half the tests have one.
    pub front_pa: f64,
}

impl Weather {
    /// Ordinary weather.
    pub const ORDINARY: Self = Self { drift_pa_per_day: 300.0, red_noise_pa: 8.0, front_pa: 60.0 };
    /// A constant barometer.
    pub const STILL: Self = Self { drift_pa_per_day: 0.0, red_noise_pa: 0.0, front_pa: 0.0 };

    /// Barometric pressure in Pa every `step_s`, `points` of them, from `start_pa`.
    pub(crate) fn draw(self, random: &mut Random, start_pa: f64, points: usize, step_s: f64) -> Vec<f64> {
        let slope = random.uniform(-1.0, 1.0) * self.drift_pa_per_day / 86_400.0;
        let front = if random.uniform(0.0, 1.0) < 0.5 { random.uniform(-1.0, 1.0) * self.front_pa } else { 0.0 };
        let front_at_s = random.uniform(0.0, points as f64 * step_s);
        let mut red = self.red_noise_pa * random.normal();
        (0..points)
            .map(|index| {
                let time_s = index as f64 * step_s;
                red = random.ornstein_uhlenbeck(red, self.red_noise_pa, 3600.0, step_s);
                let passed = ((time_s - front_at_s) / 1200.0).clamp(0.0, 1.0);
                start_pa + slope * time_s + red + front * passed
            })
            .collect()
    }
}
