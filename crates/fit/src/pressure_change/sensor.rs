//! Thermometers of all kinds, brought to one shape: readings in K with what is known about their errors.

use super::base::Base;
use super::join::{Interpolator, Joined};
use super::{Place, Record, Response, Thermometer, VesselPressure};
use crate::Samples;
use crate::noise::without_spikes;

/// Rows of one sensor that enter the likelihood at most. A row of a day's record is then five minutes; memory of
/// wander and lag that are shorter still show in the scatter of the rows.
const ROWS: usize = 300;

/// Law of a log-normal prior.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LogNormal {
    pub(crate) median: f64,
    pub(crate) spread: f64,
}

impl LogNormal {
    /// Logarithm of the density in ln x, without the constant.
    pub(crate) fn log_density(&self, ln_x: f64) -> f64 {
        -0.5 * ((ln_x - self.median.ln()) / self.spread).powi(2) - self.spread.ln()
    }
}

/// What is known beforehand about the errors of a sensor.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Prior {
    /// Lag behind the mean gas in s; where there is no thermometer, the time in which the gas settles after pumping.
    pub(crate) lag_s: Option<LogNormal>,
    /// Probability that it does not wander at all.
    pub(crate) no_wander: f64,
    /// Standard deviation of the wander in K.
    pub(crate) wander_k: LogNormal,
    /// Memory of the wander in s, with weights.
    pub(crate) memory_s: Vec<(f64, f64)>,
    /// Standard deviation of a linear drift against the mean gas in K/s; 0 for none.
    pub(crate) drift_k_per_s: f64,
    /// Standard deviation of the difference between reading and lagged gas at the start, in K.
    pub(crate) start_k: f64,
    /// The noise is as stated and not estimated from the data.
    pub(crate) scale_known: bool,
}

/// A sensor with its readings in the hold, binned like the base.
#[derive(Debug, Clone)]
pub(crate) struct Sensor {
    pub(crate) name: String,
    pub(crate) kind: SensorKind,
    pub(crate) prior: Prior,
    /// Mean reading in K (pressure of a vessel times T̄ over its mean).
    pub(crate) mean_k: f64,
    /// Bins: time, reading, number of readings.
    pub(crate) time_s: Vec<f64>,
    pub(crate) reading_k: Vec<f64>,
    pub(crate) count: Vec<f64>,
    /// Where each bin lies in the base: index of the point before, weight of the point after.
    pub(crate) place: Vec<(usize, f64)>,
    /// Rows: first bin of each, with the end.
    pub(crate) row_start: Vec<usize>,
    /// White standard deviation of one reading in K, before the fit.
    pub(crate) white_k: f64,
    /// Standard deviation in K and memory in s of the error by coarse steps while the signal stands still.
    pub(crate) rounding: (f64, f64),
    /// Cadence of the readings in s.
    pub(crate) cadence_s: f64,
}

/// Kind of a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SensorKind {
    /// A thermometer.
    Thermometer,
    /// A reference vessel.
    Vessel,
    /// No thermometer: the temperature is taken as steady, within a drift and a wander.
    Steady,
}

impl Sensor {
    /// Bins the readings that lie in the hold and not in a gap of the base.
    pub(crate) fn new(
        name: &str,
        kind: SensorKind,
        prior: Prior,
        samples: Samples<'_>,
        step_k: f64,
        base: &Base,
        ahead_s: f64,
    ) -> Option<Self> {
        let from_s = base.time_s[0];
        let to_s = base.time_s[base.len() - 1];
        let held = samples.between(from_s + ahead_s, to_s + ahead_s)?;
        let keep = without_spikes(held.value(), step_k);
        let bin_s = (to_s - from_s) / super::base::BASE_POINTS as f64;
        let mut sensor = Self {
            name: name.to_owned(),
            kind,
            prior,
            mean_k: held.mean(),
            time_s: Vec::new(),
            reading_k: Vec::new(),
            count: Vec::new(),
            place: Vec::new(),
            row_start: Vec::new(),
            white_k: 0.0,
            rounding: (0.0, 1.0),
            cadence_s: held.cadence_s(),
        };
        let longest_s = super::GAP_FACTOR * median_step(&base.time_s);
        let mut index = 0;
        let (mut sum_t, mut sum_y, mut count, mut bin) = (0.0, 0.0, 0.0, 0.0);
        for (k, (&time, &value)) in held.time_s().iter().zip(held.value()).enumerate() {
            let time = time - ahead_s;
            let this_bin = if bin_s > 0.0 { ((time - from_s) / bin_s).floor() } else { k as f64 };
            if count > 0.0 && (this_bin > bin || held.len() <= super::base::BASE_POINTS) {
                sensor.push(base, &mut index, longest_s, sum_t / count, sum_y / count, count);
                (sum_t, sum_y, count) = (0.0, 0.0, 0.0);
            }
            bin = this_bin;
            if keep[k] {
                sum_t += time;
                sum_y += value;
                count += 1.0;
            }
        }
        if count > 0.0 {
            sensor.push(base, &mut index, longest_s, sum_t / count, sum_y / count, count);
        }
        if sensor.time_s.len() < 4 {
            return None;
        }
        sensor.group_rows();
        sensor.white_k = white_noise(held.value(), step_k);
        let dwell_s = dwell(held);
        if dwell_s > 3.0 * sensor.cadence_s {
            // A ramp through steps errs like a saw-tooth; its correlation dies within a sixth of a tooth.
            sensor.rounding = (step_k / 12.0_f64.sqrt(), dwell_s / 6.0);
        }
        Some(sensor)
    }

    fn push(&mut self, base: &Base, index: &mut usize, longest_s: f64, time: f64, value: f64, count: f64) {
        while *index + 2 < base.len() && base.time_s[*index + 1] < time {
            *index += 1;
        }
        let step = base.time_s[*index + 1] - base.time_s[*index];
        // While the pressure was not logged the gas temperature is not known, so neither is what this should read.
        if step > longest_s {
            return;
        }
        self.time_s.push(time);
        self.reading_k.push(value);
        self.count.push(count);
        self.place.push((*index, ((time - base.time_s[*index]) / step).clamp(0.0, 1.0)));
    }

    /// Groups the bins into rows of equal time.
    fn group_rows(&mut self) {
        let first = self.time_s[0];
        let span = self.time_s[self.time_s.len() - 1] - first;
        let row_s = if self.time_s.len() <= ROWS + ROWS / 4 { 0.0 } else { span / ROWS as f64 };
        let mut current = -1.0;
        for (bin, time) in self.time_s.iter().enumerate() {
            let row = if row_s > 0.0 { ((time - first) / row_s).floor().min(ROWS as f64 - 1.0) } else { bin as f64 };
            if row > current {
                self.row_start.push(bin);
                current = row;
            }
        }
        self.row_start.push(self.time_s.len());
    }

    pub(crate) fn rows(&self) -> usize {
        self.row_start.len() - 1
    }

    /// Time and number of readings of each row.
    pub(crate) fn row_axis(&self) -> (Vec<f64>, Vec<f64>) {
        let mut time = Vec::with_capacity(self.rows());
        let mut readings = Vec::with_capacity(self.rows());
        for row in self.row_start.windows(2) {
            let count: f64 = self.count[row[0]..row[1]].iter().sum();
            readings.push(count);
            time.push(self.weighted(row[0]..row[1], &self.time_s) / count);
        }
        (time, readings)
    }

    /// Mean of each row of a series over the bins.
    pub(crate) fn row_means(&self, bins: &[f64]) -> Vec<f64> {
        self.row_start
            .windows(2)
            .map(|row| self.weighted(row[0]..row[1], bins) / self.count[row[0]..row[1]].iter().sum::<f64>())
            .collect()
    }

    fn weighted(&self, range: std::ops::Range<usize>, bins: &[f64]) -> f64 {
        bins[range.clone()].iter().zip(&self.count[range]).map(|(v, c)| v * c).sum()
    }

    /// Values of a base series at the bins.
    pub(crate) fn at_bins<'s>(&'s self, series: &'s [f64]) -> impl Iterator<Item = f64> + 's {
        self.place.iter().map(|&(index, weight)| series[index] + weight * (series[index + 1] - series[index]))
    }
}

/// Makes the sensors of a record for a hold. `ahead_s` says how far the clock of each channel runs ahead:
/// thermometers first, then vessels.
pub(crate) fn sensors(record: &Record<'_>, joined: &Joined, base: &Base, ahead_s: &[f64]) -> Vec<Sensor> {
    let mut out = Vec::new();
    for (index, thermometer) in record.thermometers.iter().enumerate() {
        out.extend(of_thermometer(thermometer, base, ahead_s.get(index).copied().unwrap_or(0.0)));
    }
    let mean_k = mean_temperature(record, base);
    for (index, vessel) in record.reference_vessels.iter().enumerate() {
        let ahead = ahead_s.get(record.thermometers.len() + index).copied().unwrap_or(0.0);
        let (time_s, pressure_pa) = vessel_pressure(&vessel.pressure, joined);
        let Ok(samples) = Samples::new(&time_s, &pressure_pa) else { continue };
        // Of a sealed vessel's pressure only its proportion to temperature matters.
        let scale = mean_k / samples.mean();
        let kelvin: Vec<f64> = pressure_pa.iter().map(|p| p * scale).collect();
        let Ok(samples) = Samples::new(&time_s, &kelvin) else { continue };
        out.extend(Sensor::new(
            &vessel.name,
            SensorKind::Vessel,
            vessel_prior(vessel.response, base),
            samples,
            vessel.instrument.resolution * scale,
            base,
            ahead,
        ));
    }
    if out.is_empty() {
        let steady = vec![record.stated_temperature_k; base.len()];
        if let Ok(samples) = Samples::new(&base.time_s, &steady) {
            out.extend(Sensor::new(
                "temperature (not logged)",
                SensorKind::Steady,
                steady_prior(base),
                samples,
                0.0,
                base,
                0.0,
            ));
        }
    }
    for sensor in &mut out {
        if sensor.kind == SensorKind::Steady {
            // Air conditioning that a steady temperature does not know of.
            sensor.white_k = (pressure_scatter(base) * sensor.mean_k).max(0.03);
        }
        sensor.white_k = sensor.white_k.max(2e-4);
    }
    out
}

/// Makes a sensor of one thermometer whose clock runs ahead by `ahead_s`.
pub(crate) fn of_thermometer(thermometer: &Thermometer<'_>, base: &Base, ahead_s: f64) -> Option<Sensor> {
    let prior = thermometer_prior(thermometer.place, thermometer.response, base);
    let step_k = thermometer.instrument.resolution;
    Sensor::new(&thermometer.name, SensorKind::Thermometer, prior, thermometer.samples, step_k, base, ahead_s)
}

/// Mean temperature in the hold: that of the thermometers, or the stated one.
pub(crate) fn mean_temperature(record: &Record<'_>, base: &Base) -> f64 {
    let held: Vec<f64> = record
        .thermometers
        .iter()
        .filter_map(|t| t.samples.between(base.time_s[0], base.time_s[base.len() - 1]))
        .map(|samples| samples.mean())
        .collect();
    if held.is_empty() { record.stated_temperature_k } else { held.iter().sum::<f64>() / held.len() as f64 }
}

fn vessel_pressure(pressure: &VesselPressure<'_>, joined: &Joined) -> (Vec<f64>, Vec<f64>) {
    match pressure {
        VesselPressure::Absolute(samples) => (samples.time_s().to_vec(), samples.value().to_vec()),
        VesselPressure::DifferenceToEnclosure(samples) => {
            let absolute: Vec<f64> = (0..joined.time_s.len()).map(|i| joined.absolute_pa(i)).collect();
            let Ok(inside) = Samples::new(&joined.time_s, &absolute) else { return (Vec::new(), Vec::new()) };
            let mut inside = Interpolator::new(inside);
            samples
                .time_s()
                .iter()
                .zip(samples.value())
                .filter_map(|(&time, &difference)| inside.at(time).map(|p| (time, p + difference)))
                .unzip()
        }
    }
}

/// Memory nodes of a wander: minutes to hours, wide enough that what lies between is not missed.
fn memories() -> Vec<(f64, f64)> {
    vec![(300.0, 0.10), (900.0, 0.20), (2700.0, 0.26), (8100.0, 0.28), (28_800.0, 0.16)]
}

fn start_spread_k(base: &Base) -> f64 {
    // Pumping cools or warms the gas by up to T·(1 − 1/γ)·Δp/p, about 1 mK/Pa at 1 bar, before the wall takes it back.
    0.3 + 100.0 * base.difference_pa[0].abs() / base.absolute_pa(0)
}

fn thermometer_prior(place: Place, response: Option<Response>, base: &Base) -> Prior {
    let usual = match place {
        Place::Gas => LogNormal { median: 90.0, spread: 1.0 },
        Place::Wall => LogNormal { median: 300.0, spread: 1.2 },
    };
    Prior {
        lag_s: Some(lag_prior(response, usual)),
        no_wander: 0.5,
        wander_k: LogNormal { median: 0.04, spread: 1.3 },
        memory_s: memories(),
        drift_k_per_s: 0.0,
        start_k: start_spread_k(base),
        scale_known: false,
    }
}

fn vessel_prior(response: Option<Response>, base: &Base) -> Prior {
    Prior {
        lag_s: Some(lag_prior(response, LogNormal { median: 150.0, spread: 0.9 })),
        no_wander: 0.5,
        wander_k: LogNormal { median: 0.006, spread: 1.2 },
        memory_s: memories(),
        drift_k_per_s: 0.0,
        start_k: start_spread_k(base),
        scale_known: false,
    }
}

/// No thermometer: a closed box in a room changes by some tenths of a kelvin within hours, at first by tenths of a
/// kelvin per hour. That is taken as it stands: the smooth curve of the pressure would make any estimate of the
/// wander from the data too small.
fn steady_prior(base: &Base) -> Prior {
    let span_s = base.time_s[base.len() - 1] - base.time_s[0];
    Prior {
        lag_s: Some(LogNormal { median: 600.0, spread: 0.7 }),
        no_wander: 0.0,
        wander_k: LogNormal { median: 0.4, spread: 0.0 },
        memory_s: vec![(10_800.0, 1.0)],
        drift_k_per_s: (0.3 / 3600.0_f64).min(3.0 / span_s.max(1.0)),
        start_k: start_spread_k(base),
        scale_known: true,
    }
}

fn lag_prior(response: Option<Response>, usual: LogNormal) -> LogNormal {
    match response {
        Some(response) if response.tau_s > 0.0 => {
            LogNormal { median: response.tau_s, spread: (response.standard_uncertainty_s / response.tau_s).max(0.2) }
        }
        _ => usual,
    }
}

/// Median step of an axis in s.
pub(crate) fn median_step(time_s: &[f64]) -> f64 {
    let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if steps.is_empty() {
        return 0.0;
    }
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// White standard deviation of one reading from third differences, in which any smooth signal is gone.
fn white_noise(values: &[f64], step: f64) -> f64 {
    let floor = step / 30.0;
    if values.len() < 8 {
        return floor.max(step / 12.0_f64.sqrt());
    }
    // Binomial coefficients 1, 3, 3, 1: the sum of their squares is 20.
    let squares: f64 = values.windows(4).map(|v| (v[3] - 3.0 * v[2] + 3.0 * v[1] - v[0]).powi(2)).sum();
    (squares / (20.0 * (values.len() - 3) as f64)).sqrt().max(floor)
}

/// White scatter of the pressure, relative, from third differences.
fn pressure_scatter(base: &Base) -> f64 {
    let ln: Vec<f64> = (0..base.len()).map(|i| base.absolute_pa(i).ln()).collect();
    white_noise(&ln, 0.0)
}

/// Mean time between changes of the reading in s.
pub(crate) fn dwell(samples: Samples<'_>) -> f64 {
    let changes = samples.value().windows(2).filter(|pair| (pair[1] - pair[0]).abs() > 0.0).count();
    (samples.last_time_s() - samples.first_time_s()) / (changes as f64 + 1.0)
}
