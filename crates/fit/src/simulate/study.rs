//! Studies: many simulated holds of one kind, evaluated and compared with their truth.

use super::{Hold, SimulatedHold};
use crate::noise::{NoiseModel, OrnsteinUhlenbeck, whiten};
use crate::pressure_change::{
    Compliance, InsidePressure, Instrument, Place, PressureChange, PressureChangeError, Record, ReferenceVessel,
    RoomPressure, Settings, Thermometer, VesselPressure, evaluate,
};
use crate::{Samples, SamplesError};

/// How a study ended.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Outcome {
    /// Number of tests evaluated.
    pub tests: usize,
    /// Number that could not be evaluated.
    pub failed: usize,
    /// Truth below the interval.
    pub below: usize,
    /// Truth above the interval.
    pub above: usize,
    /// Mean of estimate minus truth, over the truth.
    pub bias: f64,
    /// Root mean square of estimate minus truth, over the truth.
    pub rms: f64,
    /// Root mean square of the stated standard uncertainty, over the truth.
    pub stated: f64,
    /// Mean half width of the interval, over the truth.
    pub half_width: f64,
    /// Root mean square over the truth of generalised least squares that knows noise and lag; no instrument errors.
    pub known_noise: f64,
}

impl Outcome {
    /// Share of tests whose interval holds the truth.
    pub fn coverage(&self) -> f64 {
        1.0 - (self.below + self.above) as f64 / self.tests.max(1) as f64
    }
}

impl SimulatedHold {
    /// The readings as a record; thermometers as gas thermometers with the given stated instrument.
    ///
    /// # Errors
    /// None for a simulated hold; the door of [`Samples`] is the same for all.
    pub fn record(&self, hold: &Hold) -> Result<Record<'_>, SamplesError> {
        let thermometers = self
            .thermometers_k
            .iter()
            .zip(&hold.thermometers)
            .enumerate()
            .map(|(index, (readings, model))| {
                Ok(Thermometer {
                    name: format!("thermometer {}", index + 1),
                    samples: Samples::new(&self.time_s, readings)?,
                    place: Place::Gas,
                    response: None,
                    instrument: Instrument {
                        zero: model.offset_k,
                        resolution: model.resolution_k,
                        ..Instrument::default()
                    },
                })
            })
            .collect::<Result<_, SamplesError>>()?;
        let reference_vessels = self
            .vessel_pa
            .iter()
            .zip(hold.vessel)
            .map(|(readings, model)| {
                Ok(ReferenceVessel {
                    name: "reference vessel".to_owned(),
                    pressure: VesselPressure::Absolute(Samples::new(&self.time_s, readings)?),
                    response: None,
                    instrument: Instrument { resolution: model.resolution_pa, ..Instrument::default() },
                })
            })
            .collect::<Result<_, SamplesError>>()?;
        Ok(Record {
            inside: InsidePressure::Gauge(Samples::new(&self.time_s, &self.gauge_pa)?),
            room: RoomPressure::Logged(Samples::new(&self.time_s, &self.room_pa)?),
            thermometers,
            reference_vessels,
            vapour_pressure_pa: None,
            stated_temperature_k: 295.0,
        })
    }
}

impl Hold {
    /// Settings that state the instruments of the simulation, for a rigid box of 1 m³.
    pub fn settings(&self) -> Settings {
        Settings {
            compliance: Compliance::Rigid,
            leak_law: self.law,
            gauge: Instrument {
                zero: self.gauge_zero_pa,
                scale: self.gauge_scale,
                resolution: self.gauge_resolution_pa,
                ..Instrument::default()
            },
            barometer: Instrument {
                zero: self.barometer_offset_pa,
                resolution: self.barometer_resolution_pa,
                ..Instrument::default()
            },
            ..Settings::new(self.difference_pa)
        }
    }
}

/// Evaluates `tests` holds with seeds from `first_seed`; `vary` may change hold and settings from test to test.
pub fn study(
    hold: &Hold,
    settings: &Settings,
    tests: usize,
    first_seed: u64,
    vary: impl Fn(u64, &mut Hold, &mut Settings),
) -> Outcome {
    let mut outcome = Outcome::default();
    let (mut sum, mut squares, mut stated, mut widths, mut known) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for seed in first_seed..first_seed + tests as u64 {
        let (mut hold, mut settings) = (hold.clone(), settings.clone());
        vary(seed, &mut hold, &mut settings);
        let simulated = hold.simulate(seed);
        let Ok(result) = evaluate_simulated(&simulated, &hold, &settings) else {
            outcome.failed += 1;
            continue;
        };
        let estimate = &result.hourly_leak_rate;
        let truth = simulated.truth.hourly_leak_rate(settings.reference_pressure_pa);
        let [low, high] = estimate.interval95;
        outcome.tests += 1;
        outcome.below += usize::from(truth < low);
        outcome.above += usize::from(truth > high);
        let error = (estimate.value - truth) / truth;
        sum += error;
        squares += error * error;
        stated += (estimate.standard_uncertainty / truth).powi(2);
        widths += estimate.expanded_uncertainty() / truth;
        known += (known_noise(&simulated, &hold) / simulated.truth.conductance_per_volume_per_s).powi(2);
    }
    let n = outcome.tests.max(1) as f64;
    outcome.bias = sum / n;
    outcome.rms = (squares / n).sqrt();
    outcome.stated = (stated / n).sqrt();
    outcome.half_width = widths / n;
    outcome.known_noise = (known / n).sqrt();
    outcome
}

/// Evaluates one simulated hold.
///
/// # Errors
/// Those of [`evaluate`].
pub fn evaluate_simulated(
    simulated: &SimulatedHold,
    hold: &Hold,
    settings: &Settings,
) -> Result<PressureChange, PressureChangeError> {
    let record = simulated.record(hold).map_err(|_| PressureChangeError::TooFewReadings {
        found: 0,
        needed: crate::pressure_change::LEAST_READINGS,
    })?;
    evaluate(&record, settings)
}

/// Standard deviation of G/V (1/s) by generalised least squares of the first thermometer, with lag and noise known and
/// offset free: the bound that no estimator from these data beats by more than chance.
fn known_noise(simulated: &SimulatedHold, hold: &Hold) -> f64 {
    let Some(thermometer) = hold.thermometers.first() else { return f64::INFINITY };
    let start = simulated.time_s.partition_point(|&t| t < simulated.truth.hold_start_s);
    let time_s = &simulated.time_s[start..];
    let (mut exposure, mut lagged) = (0.0, 0.0);
    let mut rows = Vec::with_capacity(2 * time_s.len());
    let keep = if thermometer.lag_s > 0.0 { (-hold.cadence_s / thermometer.lag_s).exp() } else { 0.0 };
    for index in start..simulated.time_s.len() {
        if index > start {
            exposure +=
                hold.cadence_s * simulated.gauge_pa[index] / (simulated.gauge_pa[index] + simulated.room_pa[index]);
        }
        lagged = keep * lagged + (1.0 - keep) * 295.0 * exposure;
        rows.extend([1.0, lagged]);
    }
    let noise = NoiseModel {
        white_variance: thermometer.noise_k.powi(2) + thermometer.resolution_k.powi(2) / 12.0,
        correlated: [
            OrnsteinUhlenbeck { variance: thermometer.wander_k.powi(2), memory_s: thermometer.wander_memory_s },
            OrnsteinUhlenbeck::NONE,
        ],
    };
    let gram = whiten(time_s, &vec![1.0; time_s.len()], &rows, 2, &noise).gram;
    (gram[0] / (gram[0] * gram[3] - gram[1] * gram[2])).sqrt()
}
