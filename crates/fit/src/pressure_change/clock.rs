//! Clock offsets between loggers, estimated from the data.
//!
//! A barometer whose clock is off leaves its own changes in the absolute pressure, since the gauge shows them mirrored
//! at the right time: the offset is the one that leaves least of them. A thermometer whose clock is
//! off sees the gas too early or too late: the offset is the one of the highest likelihood.

use super::base::{Base, Expansion, GasTemperature, Model};
use super::join::join_with;
use super::likelihood::SensorLikelihood;
use super::sensor::Sensor;
use super::{Clock, Record, RoomPressure};
use crate::Samples;
use crate::solve::fit_linear;

/// An offset in s, positive when the clock runs ahead, with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Offset {
    pub(crate) ahead_s: f64,
    pub(crate) standard_uncertainty_s: f64,
    /// How far it was looked for either way, s.
    pub(crate) reach_s: f64,
}

impl Offset {
    /// Whether the data tell the offset: its uncertainty is well below that of knowing nothing but the reach.
    pub(crate) fn is_told(self) -> bool {
        self.standard_uncertainty_s < 0.8 * self.reach_s / 3.0_f64.sqrt()
    }
}

/// Offsets tried on either side of zero.
const TRIALS: i32 = 15;

/// Offset of the barometer.
///
/// In second differences over bins the slow swings of gas and weather are gone, and what the thermometers see of the
/// rest, in the same bin and the next ones since they are late, is fitted away. What is left of the absolute pressure is
/// smallest when the barometer stands at the right time.
///
/// Only the hold counts, `from_s` to `to_s`: pumping bends the pressure more than any weather.
pub(crate) fn barometer_offset(record: &Record<'_>, clock: Clock, [from_s, to_s]: [f64; 2]) -> Offset {
    let Clock::UnknownWithin(reach_s) = clock else { return Offset::default() };
    let RoomPressure::Logged(room) = record.room else { return Offset::default() };
    let inside = record.inside.samples();
    let cadence_s = inside.cadence_s().max(room.cadence_s());
    search(reach_s, |ahead_s, trial_s| {
        let joined = join_with(record, ahead_s, None);
        let bins = Bins { start_s: from_s, length_s: trial_s.max(cadence_s), end_s: to_s };
        let pressures: Vec<f64> = (0..joined.time_s.len()).map(|index| joined.absolute_pa(index)).collect();
        let pressure = bins.means(&joined.time_s, &pressures);
        let thermometers: Vec<Vec<Option<f64>>> = record
            .thermometers
            .iter()
            .map(|thermometer| bins.means(thermometer.samples.time_s(), thermometer.samples.value()))
            .collect();
        let Some((sum_of_squares, n)) = unexplained_bends(&pressure, &thermometers) else { return f64::NEG_INFINITY };
        // Shifts near the ends leave fewer bins; the likelihood is compared a bin.
        -0.5 * bins.count() as f64 * (sum_of_squares / n).max(1e-12).ln()
    })
}

/// Offset of a thermometer; `samples` are its readings, `place` makes a sensor of it at a trial offset.
pub(crate) fn sensor_offset(
    clock: Clock,
    base: &Base,
    model: &Model,
    samples: Samples<'_>,
    place: impl Fn(f64) -> Option<Sensor>,
) -> Offset {
    let Clock::UnknownWithin(reach_s) = clock else { return Offset::default() };
    let reach_s = reach_s.min(0.25 * (samples.last_time_s() - samples.first_time_s()));
    let gas = GasTemperature::new(base, model, Expansion::default());
    let only_conductance = [0.0, f64::INFINITY, f64::INFINITY, f64::INFINITY];
    search(reach_s, |ahead_s, _| {
        let Some(sensor) = place(ahead_s) else { return f64::NEG_INFINITY };
        let prior = sensor.prior.lag_s.map_or(60.0, |lag| lag.median);
        let rows = sensor.rows() as f64;
        let mut likelihood = SensorLikelihood::new(&sensor, base, &gas, (0.0, 1.0), [true, false, false, false]);
        // The lag is searched beside the offset: a late clock and a slow sensor look alike but for the shape.
        let evidence = [0.1, 0.3, 0.6, 1.0, 1.6, 2.5, 4.0]
            .iter()
            .filter_map(|factor| {
                let design = likelihood.design(factor * prior);
                let node = likelihood.node(&design, sensor.prior.wander_k.median, 2700.0, 0.0)?;
                Some(node.log_evidence(&only_conductance))
            })
            .fold(f64::NEG_INFINITY, f64::max);
        // Offsets near the ends leave fewer rows; the likelihood is compared a row.
        evidence / rows.max(1.0) * 200.0
    })
}

/// Highest value on a grid, then on a finer one around it (the function is told the step of the grid); the uncertainty is that of the parabola at the top.
fn search(reach_s: f64, mut log_likelihood: impl FnMut(f64, f64) -> f64) -> Offset {
    let (mut centre, mut step) = (0.0, reach_s / f64::from(TRIALS));
    let mut offset = Offset { reach_s, ..Offset::default() };
    for _ in 0..2 {
        let curve: Vec<(f64, f64)> = (-TRIALS..=TRIALS)
            .map(|i| centre + step * f64::from(i))
            .filter(|ahead| ahead.abs() <= reach_s * 1.001)
            .map(|ahead| (ahead, log_likelihood(ahead, step)))
            .collect();
        let Some(best) = (0..curve.len()).max_by(|a, b| curve[*a].1.total_cmp(&curve[*b].1)) else { return offset };
        offset.ahead_s = curve[best].0;
        offset.standard_uncertainty_s = reach_s / 3.0_f64.sqrt();
        if best > 0 && best + 1 < curve.len() {
            let fall = 2.0 * curve[best].1 - curve[best - 1].1 - curve[best + 1].1;
            if fall > 0.0 {
                let spread = (curve[best + 1].0 - curve[best].0) / fall.sqrt();
                offset.standard_uncertainty_s = spread.min(offset.standard_uncertainty_s).max(0.3 * step);
            }
        }
        centre = offset.ahead_s;
        step /= 6.0;
    }
    offset
}

/// Bins of equal length along a time axis.
struct Bins {
    start_s: f64,
    length_s: f64,
    end_s: f64,
}

impl Bins {
    fn count(&self) -> usize {
        ((self.end_s - self.start_s) / self.length_s.max(1e-9)).floor().max(0.0) as usize
    }

    /// Mean of each bin; none where a bin is empty.
    fn means(&self, time_s: &[f64], values: &[f64]) -> Vec<Option<f64>> {
        let count = self.count();
        let mut sums = vec![(0.0, 0.0); count];
        for (time, value) in time_s.iter().zip(values) {
            let bin = ((time - self.start_s) / self.length_s).floor();
            if bin >= 0.0 && (bin as usize) < count {
                let sum = &mut sums[bin as usize];
                *sum = (sum.0 + value, sum.1 + 1.0);
            }
        }
        sums.into_iter().map(|(sum, count)| (count > 0.0).then(|| sum / count)).collect()
    }
}

/// Bins in which a late thermometer may show what the pressure shows.
const BINS_LATE: usize = 3;

/// Residual sum of squares and number of the pressure's second differences that those of the thermometers leave.
fn unexplained_bends(pressure: &[Option<f64>], thermometers: &[Vec<Option<f64>>]) -> Option<(f64, f64)> {
    let bend =
        |means: &[Option<f64>], at: usize| Some(means.get(at + 2)?.as_ref()? - 2.0 * means[at + 1]? + means[at]?);
    let (mut rows, mut bends) = (Vec::new(), Vec::new());
    for at in 0..pressure.len().saturating_sub(2) {
        let row: Option<Vec<f64>> =
            thermometers.iter().flat_map(|means| (0..=BINS_LATE).map(move |late| bend(means, at + late))).collect();
        if let (Some(pressure), Some(row)) = (bend(pressure, at), row) {
            rows.push(row);
            bends.push(pressure);
        }
    }
    let n = bends.len();
    if n < 8 + 2 * thermometers.len() * (BINS_LATE + 1) {
        return None;
    }
    let squares = bends.iter().map(|bend| bend * bend).sum();
    let fitted = fit_linear(&rows, &bends, None).ok().map(|fit| fit.residual_sum_of_squares);
    Some((fitted.unwrap_or(squares), n as f64))
}

#[cfg(test)]
mod tests {
    use crate::pressure_change::{Clock, evaluate};
    use crate::simulate::{Hold, Room};

    #[test]
    fn a_barometer_that_runs_ahead_is_found_out() {
        let mut hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
        hold.weather.red_noise_pa = 20.0;
        let mut settings = hold.settings();
        settings.barometer.clock = Clock::UnknownWithin(600.0);
        let (mut worst, mut inside) = (0.0_f64, 0);
        for seed in 0..5 {
            let simulated = hold.simulate(seed);
            let ahead: Vec<f64> = simulated.time_s.iter().map(|t| t + 240.0).collect();
            let mut record = simulated.record(&hold).unwrap();
            record.room =
                crate::pressure_change::RoomPressure::Logged(crate::Samples::new(&ahead, &simulated.room_pa).unwrap());
            let result = evaluate(&record, &settings).unwrap();
            let found = result.diagnostics.clock_offsets[0].offset_s;
            worst = worst.max((found - 240.0).abs());
            let truth = simulated.truth.hourly_leak_rate(-500.0);
            let estimate = &result.hourly_leak_rate;
            assert!(
                (estimate.value / truth - 1.0).abs() < 0.3,
                "seed {seed}: {found} s, {truth} {:?}",
                estimate.interval95
            );
            inside += usize::from((estimate.interval95[0]..=estimate.interval95[1]).contains(&truth));
        }
        assert!(inside >= 4, "{inside} of 5");
        assert!(worst < 60.0, "{worst} s");
    }

    #[test]
    fn a_thermometer_whose_clock_is_off_is_set_right() {
        let hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
        for seed in 0..5 {
            let simulated = hold.simulate(seed);
            let behind: Vec<f64> = simulated.time_s.iter().map(|t| t - 400.0).collect();
            let mut record = simulated.record(&hold).unwrap();
            record.thermometers[0].samples = crate::Samples::new(&behind, &simulated.thermometers_k[0]).unwrap();
            record.thermometers[0].instrument.clock = Clock::UnknownWithin(900.0);
            let result = evaluate(&record, &hold.settings()).unwrap();
            let found = result.diagnostics.clock_offsets[0].offset_s;
            assert!((found + 400.0).abs() < 60.0, "seed {seed}: {found} s");
            let truth = simulated.truth.hourly_leak_rate(-500.0);
            assert!((result.hourly_leak_rate.value / truth - 1.0).abs() < 0.1, "seed {seed}");
        }
    }
}
