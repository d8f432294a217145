//! A vessel that is pumped, held and filled: an antechamber or a purifier, stepped through in small steps of time.
//!
//! Pressure and oxygen are carried as amounts; pump, leak, outgassing and backfill are flows of pV.

use super::Random;
use crate::pressure_change::Instrument;

/// Vessel, leak, walls and room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    /// Volume, m³.
    pub volume_m3: f64,
    /// Leak at full vacuum, Pa·m³/s.
    pub leak: f64,
    /// How the leak slackens.
    pub law: LeakFlow,
    /// Outgassing that decays exponentially: throughput one minute after the isolation began, Pa·m³/s, and time constant, s.
    pub exponential: [f64; 2],
    /// Outgassing as 1/t: throughput one minute after pumping began, Pa·m³/s.
    pub power_law: f64,
    /// Pressure of the room, Pa.
    pub room_pa: f64,
    /// Warming of the gas after the pumping, relative to its pressure, decaying within a minute.
    pub warming: f64,
    /// Drift of the gas temperature, K/h.
    pub drift_k_per_h: f64,
    /// Oxygen in the backfill gas, mole fraction.
    pub supply_oxygen: f64,
}

/// Law of a leak under vacuum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeakFlow {
    /// In proportion to p_room² − p².
    Laminar,
    /// In proportion to p_room − p.
    Molecular,
}

/// What is done with the vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VesselStep {
    /// Pumped for a time with a time constant towards an ultimate pressure.
    Pump {
        /// Duration, s.
        for_s: f64,
        /// Time constant, s.
        tau_s: f64,
        /// Ultimate pressure, Pa.
        ultimate_pa: f64,
    },
    /// Isolated for a time.
    Hold {
        /// Duration, s.
        for_s: f64,
    },
    /// Filled at a rate up to a pressure.
    Fill {
        /// Pressure to be reached, Pa.
        to_pa: f64,
        /// Rate, Pa/s.
        rate_pa_per_s: f64,
    },
}

/// Gauge of a simulation; its errors are drawn from these.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeModel {
    /// Time between readings, s.
    pub cadence_s: f64,
    /// Noise of a reading, Pa, and relative to it.
    pub noise: [f64; 2],
    /// Standard uncertainty of the zero, Pa.
    pub zero_pa: f64,
    /// Standard uncertainty of the scale, relative; a gauge that counts from the room errs on that difference.
    pub scale: f64,
    /// Step of the readings, Pa; 0 for none.
    pub resolution_pa: f64,
    /// Whether it counts from the room.
    pub from_room: bool,
}

/// A simulated record.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedVessel {
    /// Times of the readings, s.
    pub time_s: Vec<f64>,
    /// Readings, Pa: absolute, or less the room's pressure.
    pub reading_pa: Vec<f64>,
    /// Oxygen at the end, mole fraction.
    pub oxygen: f64,
    /// Leak at the end of the last hold, and outgassing there, Pa·m³/s.
    pub at_end: [f64; 2],
    /// Mean leak over the last hold, Pa·m³/s.
    pub mean_leak: f64,
}

/// Oxygen in the room's air.
const AIR: f64 = 0.209;

impl GaugeModel {
    /// What an evaluation is told of the gauge: the uncertainties that its errors are drawn from.
    pub fn instrument(&self) -> Instrument {
        Instrument { zero: self.zero_pa, scale: self.scale, resolution: self.resolution_pa, ..Instrument::default() }
    }
}

impl Vessel {
    /// An antechamber of 38 L with clean walls in a room of 1 bar, its leak (at full vacuum, Pa·m³/s) laminar, backfilled
    /// with gas of 1 ppm of oxygen.
    pub const fn antechamber(leak: f64) -> Self {
        Self {
            volume_m3: 0.038,
            leak,
            law: LeakFlow::Laminar,
            exponential: [0.0, 1.0],
            power_law: 0.0,
            room_pa: 1e5,
            warming: 0.0,
            drift_k_per_h: 0.0,
            supply_oxygen: 1e-6,
        }
    }

    fn leak_at(&self, pressure_pa: f64) -> f64 {
        let x = pressure_pa / self.room_pa;
        self.leak
            * match self.law {
                LeakFlow::Laminar => 1.0 - x * x,
                LeakFlow::Molecular => 1.0 - x,
            }
    }

    fn outgassing(&self, since_pumping_s: f64, since_isolation_s: f64) -> f64 {
        let [q, tau] = self.exponential;
        let exponential = if q > 0.0 { q * ((60.0 - since_isolation_s) / tau).exp() } else { 0.0 };
        exponential + self.power_law * 60.0 / since_pumping_s.max(10.0)
    }

    /// Runs through the steps, the vessel full of air at first, and reads the gauge.
    pub fn simulate(&self, steps: &[VesselStep], gauge: &GaugeModel, seed: u64) -> SimulatedVessel {
        let mut random = Random::new(seed);
        let zero = gauge.zero_pa * random.normal();
        let scale = 1.0 + gauge.scale * random.normal();
        let mut state = State {
            gas: self.room_pa,
            oxygen: AIR * self.room_pa,
            time_s: 0.0,
            pumping_s: 0.0,
            isolation_s: 0.0,
            warmth: 0.0,
        };
        let mut record = SimulatedVessel {
            time_s: Vec::new(),
            reading_pa: Vec::new(),
            oxygen: AIR,
            at_end: [0.0; 2],
            mean_leak: 0.0,
        };
        let mut next_s = random.uniform(0.0, gauge.cadence_s);
        let mut read = |state: &State, record: &mut SimulatedVessel| {
            while next_s <= state.time_s {
                let temperature = 1.0 + self.drift_k_per_h * state.time_s / 3600.0 / 295.0;
                let pressure = state.gas * temperature * (1.0 - state.warmth);
                let shown = if gauge.from_room { pressure - self.room_pa } else { pressure };
                let noise = gauge.noise[0].hypot(gauge.noise[1] * pressure) * random.normal();
                let reading = scale * shown + zero + noise;
                let rounded = if gauge.resolution_pa > 0.0 {
                    (reading / gauge.resolution_pa).round() * gauge.resolution_pa
                } else {
                    reading
                };
                record.time_s.push(next_s);
                record.reading_pa.push(rounded);
                next_s += gauge.cadence_s;
            }
        };
        for step in steps {
            self.run(*step, &mut state, &mut record, &mut read);
        }
        record.oxygen = state.oxygen / state.gas;
        record
    }

    fn run(
        &self,
        step: VesselStep,
        state: &mut State,
        record: &mut SimulatedVessel,
        read: &mut impl FnMut(&State, &mut SimulatedVessel),
    ) {
        let start_s = state.time_s;
        match step {
            VesselStep::Pump { .. } => state.pumping_s = start_s,
            VesselStep::Hold { .. } => {
                state.isolation_s = start_s;
                state.warmth = self.warming;
                record.mean_leak = 0.0;
            }
            VesselStep::Fill { .. } => state.warmth = 0.0,
        }
        loop {
            let elapsed = state.time_s - start_s;
            let (over, h) = match step {
                VesselStep::Pump { for_s, tau_s, .. } => {
                    (elapsed >= for_s - 1e-9, (tau_s / 100.0).min(for_s - elapsed))
                }
                VesselStep::Hold { for_s } => (elapsed >= for_s - 1e-9, (0.2 + elapsed / 200.0).min(for_s - elapsed)),
                VesselStep::Fill { to_pa, rate_pa_per_s } => {
                    let left = to_pa - state.gas;
                    (left <= 0.0, (left.max(1.0) / rate_pa_per_s).min(0.05))
                }
            };
            if over {
                break;
            }
            let leak = self.leak_at(state.gas);
            let off = self.outgassing(state.time_s - state.pumping_s, state.time_s - state.isolation_s);
            let mut inflow = leak + off;
            let mut oxygen = AIR * leak;
            match step {
                VesselStep::Pump { tau_s, ultimate_pa, .. } => {
                    let out = (state.gas - ultimate_pa).max(0.0) * self.volume_m3 / tau_s;
                    inflow -= out;
                    oxygen -= out * state.oxygen / state.gas;
                }
                VesselStep::Fill { rate_pa_per_s, .. } => {
                    inflow += rate_pa_per_s * self.volume_m3;
                    oxygen += self.supply_oxygen * rate_pa_per_s * self.volume_m3;
                }
                VesselStep::Hold { for_s } => {
                    record.at_end = [leak, off];
                    record.mean_leak += leak * h / for_s;
                }
            }
            state.gas += inflow / self.volume_m3 * h;
            state.oxygen += oxygen / self.volume_m3 * h;
            state.warmth *= (-h / 40.0).exp();
            state.time_s += h;
            read(state, record);
        }
    }
}

/// Gas and oxygen in the vessel as partial pressures, and when what began.
struct State {
    gas: f64,
    oxygen: f64,
    time_s: f64,
    pumping_s: f64,
    isolation_s: f64,
    /// What the pressure lacks because the gas is still cold.
    warmth: f64,
}
