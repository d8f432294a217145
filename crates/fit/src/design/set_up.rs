//! The set-up of a test that is planned: enclosure, room and instruments.

use crate::pressure_change::{Compliance, Instrument, LeakLaw, Settings, Volume};
use crate::simulate::{Hold, Random, Room, ThermometerModel, VesselModel, Weather};

/// Everything known or assumed about a test that is planned.
#[derive(Debug, Clone, PartialEq)]
pub struct SetUp {
    /// How the room disturbs the gas.
    pub room: Room,
    /// How the barometer moves.
    pub weather: Weather,
    /// Time between readings in s.
    pub cadence_s: f64,
    /// The gauge of the pressure difference.
    pub gauge: Instrument,
    /// The barometer; without one the room's pressure is a stated number.
    pub barometer: Option<Instrument>,
    /// Thermometers in the gas.
    pub thermometers: Vec<PlannedThermometer>,
    /// A reference vessel in the gas.
    pub vessel: Option<PlannedVessel>,
    /// Compliance of gloves and walls.
    pub compliance: Compliance,
    /// Volume, where known.
    pub volume: Option<Volume>,
    /// Pressure difference at which the limit holds, in Pa.
    pub reference_pressure_pa: f64,
    /// Threads that may evaluate simulated records; they change nothing but the time that it takes.
    pub threads: usize,
}

/// A thermometer that is planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedThermometer {
    /// Its instrument, in K.
    pub instrument: Instrument,
    /// First-order lag in s, where it is stated; it counts with 20 %.
    pub lag_s: Option<f64>,
    /// Standard deviation of its slow wander against the mean gas in K.
    pub wander_k: f64,
    /// Memory of that wander in s.
    pub wander_memory_s: f64,
}

/// A reference vessel that is planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedVessel {
    /// Step of its pressure readings in Pa.
    pub resolution_pa: f64,
    /// First-order lag behind the gas in s.
    pub lag_s: f64,
}

/// The quantity that a limit holds for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limited {
    /// Hourly leak rate at the reference pressure, 1/h.
    HourlyLeakRate,
    /// Leak conductance, m³/s.
    LeakConductance,
    /// Throughput at the reference pressure, Pa·m³/s.
    LeakThroughput,
}

/// Scatter of readings as a share of their step: enough that a slow signal is not lost between two steps, as good
/// instruments are set (common practice, no source).
const NOISE_OF_STEP: f64 = 0.3;
/// A thermometer without a stated step still scatters by a millikelvin, a pressure gauge by a tenth of a pascal.
const LEAST_NOISE_K: f64 = 0.001;
const LEAST_NOISE_PA: f64 = 0.1;
/// Spread of a stated lag: the stated response holds for other conditions.
const LAG_SPREAD: f64 = 0.2;
/// Largest compliance of gloves left in place that is drawn where none is known, m³/Pa (see decision 2 of the documents).
const SOFTEST_M3_PER_PA: f64 = 2e-5;
/// A room does not drift on for ever: after this time the drift has come to its end, s.
const DRIFT_ENDS_S: f64 = 8.0 * 3600.0;
/// Most readings that are simulated of one record; a longer one is read less often.
const MOST_READINGS: f64 = 4000.0;
/// Cooling or warming by pumping, in K for each Pa: at most that of an adiabatic change at 1 bar.
const PUMPING_K_PER_PA: f64 = 1e-3;
/// Volume where none is stated, m³. Leak rates do not depend on it.
const SOME_VOLUME_M3: f64 = 1.0;

impl SetUp {
    /// The set-up that plans the test which `hold` simulates, with all that its instruments are known to err by. The lags of
    /// its thermometers are left out, as an evaluation is not told them either.
    pub fn of_hold(hold: &Hold) -> Self {
        let Settings { volume, compliance, gauge, barometer, .. } = hold.settings();
        let thermometer = |model: &ThermometerModel| PlannedThermometer {
            instrument: Instrument { zero: model.offset_k, resolution: model.resolution_k, ..Instrument::default() },
            lag_s: None,
            wander_k: model.wander_k,
            wander_memory_s: model.wander_memory_s,
        };
        Self {
            room: hold.room,
            weather: hold.weather,
            cadence_s: hold.cadence_s,
            gauge,
            barometer: Some(barometer),
            thermometers: hold.thermometers.iter().map(thermometer).collect(),
            vessel: hold.vessel.map(|model| PlannedVessel { resolution_pa: model.resolution_pa, lag_s: model.lag_s }),
            compliance,
            volume,
            reference_pressure_pa: hold.difference_pa,
            threads: 1,
        }
    }

    pub(crate) fn volume_m3(&self) -> f64 {
        self.volume.map_or(SOME_VOLUME_M3, |volume| volume.value_m3)
    }

    /// How the record will be evaluated.
    pub fn settings(&self) -> Settings {
        Settings {
            volume: self.volume,
            compliance: self.compliance,
            gauge: self.gauge,
            barometer: self.barometer.unwrap_or_default(),
            ..Settings::new(self.reference_pressure_pa)
        }
    }

    /// A hold with this set-up at `difference_pa`. What is not known beforehand (lag, settling, compliance) is drawn.
    pub(crate) fn hold(
        &self,
        difference_pa: f64,
        duration_s: f64,
        conductance_per_volume_per_s: f64,
        seed: u64,
    ) -> Hold {
        let mut random = Random::new(seed ^ 0x00de_5160);
        let settling_s = random.uniform(300.0, 1200.0);
        let settling_k = random.uniform(0.0, PUMPING_K_PER_PA) * difference_pa.abs() * -difference_pa.signum();
        let compliance_per_pa = self.drawn_compliance(&mut random) / self.volume_m3();
        let drift = (DRIFT_ENDS_S / duration_s).min(1.0);
        let barometer = self.barometer.unwrap_or_default();
        Hold {
            room: Room { drift_k_per_h: self.room.drift_k_per_h * drift, ..self.room },
            weather: self.weather,
            duration_s,
            cadence_s: self.cadence_s.max(duration_s / MOST_READINGS),
            difference_pa,
            conductance_per_volume_per_s,
            law: LeakLaw::Linear,
            compliance_per_pa,
            // Positive when the gas is colder at the start than later: pumped out.
            settling_k,
            settling_s,
            with_pumping: false,
            thermometers: self.thermometers.iter().map(|t| t.model(self.room, &mut random)).collect(),
            vessel: self.vessel.map(|vessel| VesselModel {
                lag_s: lag(vessel.lag_s, &mut random),
                noise_pa: noise(vessel.resolution_pa, LEAST_NOISE_PA),
                resolution_pa: vessel.resolution_pa,
                loss_per_s: 0.0,
                corner_k_per_h: 0.0,
            }),
            gauge_zero_pa: self.gauge.zero,
            gauge_scale: self.gauge.scale,
            gauge_noise_pa: noise(self.gauge.resolution, LEAST_NOISE_PA),
            gauge_resolution_pa: self.gauge.resolution,
            barometer_offset_pa: barometer.zero,
            barometer_noise_pa: noise(barometer.resolution, LEAST_NOISE_PA),
            barometer_resolution_pa: barometer.resolution,
            superimposed: None,
            disturbances: Vec::new(),
        }
    }

    fn drawn_compliance(&self, random: &mut Random) -> f64 {
        match self.compliance {
            Compliance::Rigid => 0.0,
            Compliance::Given { value_m3_per_pa, standard_uncertainty_m3_per_pa } => {
                (value_m3_per_pa + standard_uncertainty_m3_per_pa * random.normal()).max(0.0)
            }
            Compliance::Unknown => random.uniform(0.0, SOFTEST_M3_PER_PA),
        }
    }
}

impl PlannedThermometer {
    fn model(&self, room: Room, random: &mut Random) -> ThermometerModel {
        ThermometerModel {
            lag_s: self.lag_s.map_or(room.lag_s, |stated| lag(stated, random)),
            offset_k: self.instrument.zero,
            noise_k: noise(self.instrument.resolution, LEAST_NOISE_K),
            resolution_k: self.instrument.resolution,
            wander_k: self.wander_k,
            wander_memory_s: self.wander_memory_s,
        }
    }
}

fn lag(stated_s: f64, random: &mut Random) -> f64 {
    stated_s * (LAG_SPREAD * random.normal()).exp()
}

fn noise(step: f64, least: f64) -> f64 {
    (NOISE_OF_STEP * step).max(least)
}

impl Limited {
    /// The quantity for a conductance over volume in 1/s.
    pub(crate) fn of(self, conductance_per_s: f64, room_pa: f64, set_up: &SetUp) -> f64 {
        let reference_pa = set_up.reference_pressure_pa.abs();
        match self {
            Self::HourlyLeakRate => 3600.0 * conductance_per_s * reference_pa / room_pa,
            Self::LeakConductance => conductance_per_s * set_up.volume_m3(),
            Self::LeakThroughput => conductance_per_s * set_up.volume_m3() * reference_pa,
        }
    }

    /// Conductance over volume (1/s) that has this value of the quantity at the standard atmosphere.
    pub(crate) fn conductance_per_s(self, value: f64, set_up: &SetUp) -> f64 {
        value / self.of(1.0, STANDARD_ATMOSPHERE_PA, set_up)
    }
}

const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;
