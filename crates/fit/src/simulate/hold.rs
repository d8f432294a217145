//! A simulated pressure hold.

use super::{Random, Room, Weather};
use crate::pressure_change::LeakLaw;

/// What is simulated. All randomness comes from the seed.
#[derive(Debug, Clone, PartialEq)]
pub struct Hold {
    /// Thermal disturbance.
    pub room: Room,
    /// Barometer.
    pub weather: Weather,
    /// Duration of the hold in s.
    pub duration_s: f64,
    /// Time between readings in s.
    pub cadence_s: f64,
    /// Pressure difference at the start in Pa.
    pub difference_pa: f64,
    /// Leak: G/V in 1/s at the reference pressure (equal to `difference_pa`).
    pub conductance_per_volume_per_s: f64,
    /// Law of the leak.
    pub law: LeakLaw,
    /// Compliance over volume, 1/Pa.
    pub compliance_per_pa: f64,
    /// Cooling at the start in K, relaxing with `settling_s`.
    pub settling_k: f64,
    /// Time constant of the settling in s.
    pub settling_s: f64,
    /// Log the time before: at rest with no difference for 5 min, then pumped within 2 min.
    pub with_pumping: bool,
    /// Thermometers.
    pub thermometers: Vec<ThermometerModel>,
    /// A reference vessel.
    pub vessel: Option<VesselModel>,
    /// Standard deviation of the gauge's zero in Pa.
    pub gauge_zero_pa: f64,
    /// Relative standard deviation of the gauge's scale.
    pub gauge_scale: f64,
    /// White noise of the gauge in Pa.
    pub gauge_noise_pa: f64,
    /// Step of the gauge in Pa.
    pub gauge_resolution_pa: f64,
    /// Standard deviation of the barometer's offset in Pa.
    pub barometer_offset_pa: f64,
    /// White noise of the barometer in Pa.
    pub barometer_noise_pa: f64,
    /// Step of the barometer in Pa.
    pub barometer_resolution_pa: f64,
    /// A known inflow: throughput over volume and room pressure (1/s), from and to in s after the start of the hold.
    pub superimposed: Option<(f64, f64, f64)>,
    /// Disturbances of the hold.
    pub disturbances: Vec<Disturbance>,
}

/// A thermometer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThermometerModel {
    /// First-order lag in s.
    pub lag_s: f64,
    /// Standard deviation of the offset in K.
    pub offset_k: f64,
    /// White noise in K.
    pub noise_k: f64,
    /// Step in K.
    pub resolution_k: f64,
    /// Standard deviation of the wander against the mean gas in K.
    pub wander_k: f64,
    /// Memory of the wander in s.
    pub wander_memory_s: f64,
}

/// A reference vessel: sealed, its absolute pressure logged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VesselModel {
    /// First-order lag behind the mean gas in s.
    pub lag_s: f64,
    /// White noise in Pa.
    pub noise_pa: f64,
    /// Step in Pa.
    pub resolution_pa: f64,
    /// Its own relative loss of gas, 1/s.
    pub loss_per_s: f64,
    /// Drift of the corner it stands in against the mean gas, K/h.
    pub corner_k_per_h: f64,
}

/// Something that happens during the hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Disturbance {
    /// The volume shrinks by this relative amount between two times (s after the start): a hand in a glove.
    GlovePull {
        /// Relative change of volume.
        relative: f64,
        /// From, s.
        from_s: f64,
        /// To, s.
        to_s: f64,
    },
    /// The amount of gas changes at once by this relative amount: a valve.
    AmountStep {
        /// Relative change of amount.
        relative: f64,
        /// When, s.
        at_s: f64,
    },
}

/// Truth behind a simulated hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoldTruth {
    /// G/V at the reference pressure in 1/s.
    pub conductance_per_volume_per_s: f64,
    /// Room pressure at the start of the hold in Pa.
    pub room_pressure_pa: f64,
    /// Start of the hold on the record's time axis in s.
    pub hold_start_s: f64,
}

impl HoldTruth {
    /// Hourly leak rate at a reference pressure in 1/h.
    pub fn hourly_leak_rate(&self, reference_pressure_pa: f64) -> f64 {
        3600.0 * self.conductance_per_volume_per_s * reference_pressure_pa.abs() / self.room_pressure_pa
    }
}

/// Readings of a simulated hold, all on one time base.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedHold {
    /// Time in s.
    pub time_s: Vec<f64>,
    /// Gauge in Pa.
    pub gauge_pa: Vec<f64>,
    /// Barometer in Pa.
    pub room_pa: Vec<f64>,
    /// Thermometers in K.
    pub thermometers_k: Vec<Vec<f64>>,
    /// Reference vessel, absolute, in Pa.
    pub vessel_pa: Option<Vec<f64>>,
    /// What is true.
    pub truth: HoldTruth,
}

/// Mean temperature at the start in K.
const START_K: f64 = 295.0;
/// Time at rest before pumping, and of pumping, in s.
const REST_S: f64 = 300.0;
const PUMPING_S: f64 = 120.0;

impl Hold {
    /// An ordinary hold at −500 Pa over `duration_s` with a leak of `hourly_leak_rate` (1/h at −500 Pa): gauge of
    /// 0.1 Pa, one thermometer of 0.01 K steps and 3 mK noise, 10 s cadence, instrument offsets of usual size.
    pub fn ordinary(room: Room, duration_s: f64, hourly_leak_rate: f64) -> Self {
        Self {
            room,
            weather: Weather::ORDINARY,
            duration_s,
            cadence_s: 10.0,
            difference_pa: -500.0,
            conductance_per_volume_per_s: hourly_leak_rate / 3600.0 * 101_325.0 / 500.0,
            law: LeakLaw::Linear,
            compliance_per_pa: 0.0,
            settling_k: 0.3,
            settling_s: 600.0,
            with_pumping: false,
            thermometers: vec![ThermometerModel {
                lag_s: room.lag_s,
                offset_k: 0.2,
                noise_k: 0.003,
                resolution_k: 0.01,
                wander_k: 0.0,
                wander_memory_s: 1800.0,
            }],
            vessel: None,
            gauge_zero_pa: 2.0,
            gauge_scale: 0.003,
            gauge_noise_pa: 0.1,
            gauge_resolution_pa: 0.1,
            barometer_offset_pa: 30.0,
            barometer_noise_pa: 0.3,
            barometer_resolution_pa: 0.1,
            superimposed: None,
            disturbances: Vec::new(),
        }
    }

    /// Simulates the hold. Integration steps are at most 5 s.
    pub fn simulate(&self, seed: u64) -> SimulatedHold {
        let mut random = Random::new(seed);
        let substeps = (self.cadence_s / 5.0).ceil().max(1.0) as usize;
        let step_s = self.cadence_s / substeps as f64;
        let before_s = if self.with_pumping { REST_S + PUMPING_S } else { 0.0 };
        let readings = ((before_s + self.duration_s) / self.cadence_s).round() as usize + 1;
        let points = (readings - 1) * substeps + 1;

        let barometer_start = random.uniform(97_000.0, 103_000.0);
        let room_pa = self.weather.draw(&mut random, barometer_start, points, step_s);
        let disturbance_k = self.room.draw(&mut random);
        let gas_k = |time_s: f64| {
            let since = time_s - before_s;
            let cooling = if since < 0.0 { 0.0 } else { self.settling_k * (-since / self.settling_s).exp() };
            START_K + disturbance_k(time_s) - cooling
        };
        let truth_pa = self.integrate(&room_pa, &gas_k, before_s, step_s);
        self.read(&mut random, &room_pa, &truth_pa, &gas_k, Grid { readings, substeps, step_s, before_s })
    }

    /// Absolute pressure inside in Pa at every step.
    fn integrate(&self, room_pa: &[f64], gas_k: &impl Fn(f64) -> f64, before_s: f64, step_s: f64) -> Vec<f64> {
        let start = (before_s / step_s).round() as usize;
        let reference_room = room_pa[start];
        let mut pressure = Vec::with_capacity(room_pa.len());
        // Amount in units of pressure × volume-at-rest / temperature.
        let mut ln_amount = 0.0;
        for (index, &room) in room_pa.iter().enumerate() {
            let time_s = index as f64 * step_s;
            let since = time_s - before_s;
            if since <= 0.0 {
                // Before the hold the pressure is imposed: at rest, then pumped at an even rate.
                let pumped = ((time_s - (before_s - PUMPING_S)) / PUMPING_S).clamp(0.0, 1.0);
                let difference = self.difference_pa * if self.with_pumping { pumped } else { 1.0 };
                let inside = room + difference;
                ln_amount = (inside * (1.0 + self.compliance_per_pa * difference) / gas_k(time_s)).ln();
                pressure.push(inside);
                continue;
            }
            // Half a step with the law at the old pressure, half with the law at the predicted one (Heun).
            let old = pressure[index - 1];
            let first = self.relative_inflow(old, room_pa[index - 1], reference_room, since - step_s);
            let predicted = self.pressure(ln_amount + first * step_s, gas_k(time_s), room, since);
            let second = self.relative_inflow(predicted, room, reference_room, since);
            ln_amount += 0.5 * (first + second) * step_s + self.amount_steps(since, step_s);
            pressure.push(self.pressure(ln_amount, gas_k(time_s), room, since));
        }
        pressure
    }

    /// Relative inflow d ln M/dt in 1/s.
    fn relative_inflow(&self, inside: f64, room: f64, reference_room: f64, since_s: f64) -> f64 {
        let difference = inside - room;
        let volume = 1.0 + self.compliance_per_pa * difference;
        let leak = match self.law {
            LeakLaw::Linear => -difference,
            LeakLaw::Laminar => (room * room - inside * inside) / (2.0 * reference_room + self.difference_pa),
        };
        let known = match self.superimposed {
            Some((per_s, from_s, to_s)) if since_s >= from_s && since_s < to_s => {
                per_s * room * -self.difference_pa.signum()
            }
            _ => 0.0,
        };
        (self.conductance_per_volume_per_s * leak + known) / (inside * volume)
    }

    /// Pressure from amount: p·(1 + c·(p − room))·(1 − glove) = M·T.
    fn pressure(&self, ln_amount: f64, gas_k: f64, room: f64, since_s: f64) -> f64 {
        let taken: f64 = self
            .disturbances
            .iter()
            .map(|d| match *d {
                Disturbance::GlovePull { relative, from_s, to_s } if since_s >= from_s && since_s < to_s => relative,
                _ => 0.0,
            })
            .sum();
        let product = ln_amount.exp() * gas_k / (1.0 - taken);
        let c = self.compliance_per_pa;
        let b = 1.0 - c * room;
        if c.abs() < 1e-15 { product } else { (-b + (b * b + 4.0 * c * product).sqrt()) / (2.0 * c) }
    }

    fn amount_steps(&self, since_s: f64, step_s: f64) -> f64 {
        self.disturbances
            .iter()
            .map(|d| match *d {
                Disturbance::AmountStep { relative, at_s } if since_s >= at_s && since_s - step_s < at_s => relative,
                _ => 0.0,
            })
            .sum()
    }

    /// What the instruments make of it.
    fn read(
        &self,
        random: &mut Random,
        room_pa: &[f64],
        truth_pa: &[f64],
        gas_k: &impl Fn(f64) -> f64,
        grid: Grid,
    ) -> SimulatedHold {
        let Grid { readings, substeps, step_s, before_s } = grid;
        let zero = self.gauge_zero_pa * random.normal();
        let scale = 1.0 + self.gauge_scale * random.normal();
        let barometer_offset = self.barometer_offset_pa * random.normal();
        let mut out = SimulatedHold {
            time_s: (0..readings).map(|i| i as f64 * self.cadence_s).collect(),
            gauge_pa: Vec::with_capacity(readings),
            room_pa: Vec::with_capacity(readings),
            thermometers_k: Vec::new(),
            vessel_pa: None,
            truth: HoldTruth {
                conductance_per_volume_per_s: self.conductance_per_volume_per_s,
                room_pressure_pa: room_pa[(before_s / step_s).round() as usize],
                hold_start_s: before_s,
            },
        };
        for reading in 0..readings {
            let index = reading * substeps;
            let difference = truth_pa[index] - room_pa[index];
            let gauge = zero + scale * difference + self.gauge_noise_pa * random.normal();
            out.gauge_pa.push(rounded(gauge, self.gauge_resolution_pa));
            let barometer = room_pa[index] + barometer_offset + self.barometer_noise_pa * random.normal();
            out.room_pa.push(rounded(barometer, self.barometer_resolution_pa));
        }
        for thermometer in &self.thermometers {
            let lagged = lagged(gas_k, thermometer.lag_s, room_pa.len(), step_s);
            let offset = thermometer.offset_k * random.normal();
            let mut wander = thermometer.wander_k * random.normal();
            out.thermometers_k.push(
                (0..readings)
                    .map(|reading| {
                        wander = random.ornstein_uhlenbeck(
                            wander,
                            thermometer.wander_k,
                            thermometer.wander_memory_s,
                            self.cadence_s,
                        );
                        let value =
                            lagged[reading * substeps] + offset + wander + thermometer.noise_k * random.normal();
                        rounded(value, thermometer.resolution_k)
                    })
                    .collect(),
            );
        }
        out.vessel_pa = self.vessel.map(|vessel| {
            let lagged = lagged(gas_k, vessel.lag_s, room_pa.len(), step_s);
            let sealed_pa = random.uniform(98_000.0, 102_000.0);
            (0..readings)
                .map(|reading| {
                    let time_s = reading as f64 * self.cadence_s;
                    let temperature = lagged[reading * substeps] + vessel.corner_k_per_h * time_s / 3600.0;
                    let pressure = sealed_pa * temperature / START_K * (-vessel.loss_per_s * time_s).exp();
                    rounded(pressure + vessel.noise_pa * random.normal(), vessel.resolution_pa)
                })
                .collect()
        });
        out
    }
}

/// Steps and readings of a simulated record.
#[derive(Clone, Copy)]
struct Grid {
    readings: usize,
    substeps: usize,
    step_s: f64,
    before_s: f64,
}

/// First-order lag of the gas temperature, in equilibrium with the gas before cooling at the start.
fn lagged(gas_k: &impl Fn(f64) -> f64, lag_s: f64, points: usize, step_s: f64) -> Vec<f64> {
    let mut state = gas_k(-1.0);
    (0..points)
        .map(|index| {
            let now = gas_k(index as f64 * step_s);
            if lag_s <= 0.0 {
                return now;
            }
            let keep = (-step_s / lag_s).exp();
            let middle = gas_k((index as f64 - 0.5) * step_s);
            state = keep * state + (1.0 - keep) * if index == 0 { state } else { middle };
            state
        })
        .collect()
}

fn rounded(value: f64, step: f64) -> f64 {
    if step > 0.0 { (value / step).round() * step } else { value }
}
