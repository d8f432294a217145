//! Clock offsets between loggers, estimated from the data.
//!
//! A barometer whose clock is off leaves its own changes in the absolute pressure, since the gauge shows them mirrored
//! at the right time: the offset is the one that leaves least of them. A thermometer whose clock is
//! off sees the gas too early or too late: the offset is the one of the highest likelihood.
//! Where nothing is said of two loggers, what is usual of clocks that people set counts beside that.

use super::base::{Base, Expansion, GasTemperature, Model};
use super::coarse::Unstepped;
use super::join::Interpolator;
use super::likelihood::SensorLikelihood;
use super::sensor::Sensor;
use super::{Clock, InsidePressure, Record, RoomPressure};
use crate::Samples;
use crate::solve::fit_linear;

/// An offset in s, positive when the clock runs ahead, with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Offset {
    pub(crate) ahead_s: f64,
    pub(crate) standard_uncertainty_s: f64,
    /// Standard uncertainty from which the data say less than was known before, s.
    known_within_s: f64,
}

impl Offset {
    /// Nothing is known but the reach.
    fn untold(before: &Before) -> Self {
        let uniform_s = before.reach_s / 3.0_f64.sqrt();
        let known_within_s = if before.usually_small { APART_S } else { 0.3 * uniform_s };
        let standard_uncertainty_s = if before.usually_small { USUAL_APART_S } else { uniform_s };
        Self { ahead_s: 0.0, standard_uncertainty_s, known_within_s }
    }

    /// Whether the data tell the offset: its uncertainty is well below what was known before.
    pub(crate) fn is_told(self) -> bool {
        self.standard_uncertainty_s < self.known_within_s
    }
}

/// Offsets tried on either side of zero.
const TRIALS: i32 = 15;

/// How far the clocks of loggers apart are looked for either way, s.
const REACH_APART_S: f64 = 600.0;
/// Scale of their offset, s, by Student's law with two degrees of freedom: three in four within a minute, one in fifty off
/// by four minutes or more (common practice, no source).
const APART_S: f64 = 36.0;
/// Standard deviation of that law within the reach, s.
const USUAL_APART_S: f64 = 75.0;

/// What is known of an offset before the data.
struct Before {
    reach_s: f64,
    usually_small: bool,
}

impl Before {
    /// `None` where the clocks are the same.
    fn of(clock: Clock) -> Option<Self> {
        match clock {
            Clock::Common => None,
            Clock::Apart => Some(Self { reach_s: REACH_APART_S, usually_small: true }),
            Clock::UnknownWithin(reach_s) => Some(Self { reach_s, usually_small: false }),
        }
    }

    fn ln_density(&self, ahead_s: f64) -> f64 {
        let z = ahead_s / APART_S;
        if self.usually_small { -1.5 * (0.5 * z * z).ln_1p() } else { 0.0 }
    }
}

/// Offset of the barometer.
///
/// In second differences over bins the slow swings of gas and weather are gone, and what the thermometers see of the
/// rest, in the same bin and the next ones since they are late, is fitted away. What is left of the absolute pressure is
/// smallest when the barometer stands at the right time. How quick the weather is against the steps of the barometer
/// is not known beforehand: of a few lengths of the bins the one that tells most is taken.
///
/// Only the hold counts, `from_s` to `to_s`: pumping bends the pressure more than any weather. And of that only what every
/// offset has a barometer for, since the hours at the ends bend more than others.
pub(crate) fn barometer_offset(
    record: &Record<'_>,
    clock: Clock,
    resolution_pa: f64,
    [from_s, to_s]: [f64; 2],
) -> Offset {
    let Some(before) = Before::of(clock) else { return Offset::default() };
    let (RoomPressure::Logged(room), InsidePressure::Gauge(inside)) = (record.room, record.inside) else {
        return Offset::untold(&before);
    };
    let unstepped = Unstepped::of(room, resolution_pa).map(|unstepped| unstepped.room_pa());
    let room_pa = unstepped.as_deref().unwrap_or(room.value());
    let shortest_s = (before.reach_s / f64::from(TRIALS)).max(inside.cadence_s().max(room.cadence_s()));
    let margin_s = before.reach_s.min(0.25 * (to_s - from_s));
    let (from_s, to_s) = (from_s.max(room.first_time_s() + margin_s), to_s.min(room.last_time_s() - margin_s));
    let lengths = [1.0, 2.0, 4.0, 8.0].map(|factor| factor * shortest_s);
    let told = lengths.into_iter().filter(|length_s| (to_s - from_s) / length_s >= LEAST_BINS).map(|length_s| {
        let bins = Bins { start_s: from_s, length_s, end_s: to_s };
        let fine = Bins { start_s: from_s - before.reach_s, length_s: length_s / 4.0, end_s: to_s + before.reach_s };
        let gauge = fine.series(inside.time_s(), inside.value());
        let weather = fine.series(room.time_s(), room_pa);
        let thermometers: Vec<Vec<Option<f64>>> = record
            .thermometers
            .iter()
            .map(|thermometer| bins.means(thermometer.samples.time_s(), thermometer.samples.value()))
            .collect();
        search(&before, |ahead_s, _| {
            let absolute = added(&gauge, &weather, ahead_s);
            let pressure = bins.means(&absolute.0, &absolute.1);
            let Some((sum_of_squares, n)) = unexplained_bends(&pressure, &thermometers) else {
                return f64::NEG_INFINITY;
            };
            // Shifts near the ends leave fewer bins; the likelihood is compared a bin.
            -0.5 * bins.count() as f64 / BINS_A_BEND * (sum_of_squares / n).max(1e-12).ln()
        })
    });
    let best = told.min_by(|a, b| a.standard_uncertainty_s.total_cmp(&b.standard_uncertainty_s));
    best.unwrap_or(Offset::untold(&before))
}

/// Fewest bins of a hold that bends are looked for in.
const LEAST_BINS: f64 = 16.0;
/// A second difference shares its bins with those beside it: so many count as one.
const BINS_A_BEND: f64 = 3.0;

/// The gauge with the room's pressure added that its clock, ahead by so much, shows; no value where either is missing.
fn added(gauge: &(Vec<f64>, Vec<f64>), weather: &(Vec<f64>, Vec<f64>), ahead_s: f64) -> (Vec<f64>, Vec<f64>) {
    let Ok(weather) = Samples::new(&weather.0, &weather.1) else { return Default::default() };
    let mut weather = Interpolator::new(weather);
    let both =
        gauge.0.iter().zip(&gauge.1).filter_map(|(time, gauge)| Some((*time, gauge + weather.at(time + ahead_s)?)));
    both.unzip()
}

/// Offset of a thermometer; `samples` are its readings, `place` makes a sensor of it at a trial offset.
pub(crate) fn sensor_offset(
    clock: Clock,
    base: &Base,
    model: &Model,
    samples: Samples<'_>,
    place: impl Fn(f64) -> Option<Sensor>,
) -> Offset {
    let Some(mut before) = Before::of(clock) else { return Offset::default() };
    before.reach_s = before.reach_s.min(0.25 * (samples.last_time_s() - samples.first_time_s()));
    let gas = GasTemperature::new(base, model, Expansion::default());
    let only_conductance = [0.0, f64::INFINITY, f64::INFINITY, f64::INFINITY];
    search(&before, |ahead_s, _| {
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

/// Mean and standard deviation of the offset on a grid, then on a finer one where that tells it well (the function is
/// told the step of the grid). Where several offsets explain the data alike, the standard deviation spans them.
fn search(before: &Before, mut log_likelihood: impl FnMut(f64, f64) -> f64) -> Offset {
    let reach_s = before.reach_s;
    let mut offset = Offset::untold(before);
    let (mut centre, mut step) = (0.0, reach_s / f64::from(TRIALS));
    for _ in 0..3 {
        let trials = (-TRIALS..=TRIALS).map(|i| centre + step * f64::from(i));
        let curve: Vec<(f64, f64)> = trials
            .filter(|ahead_s| ahead_s.abs() <= reach_s * 1.001)
            .map(|ahead_s| (ahead_s, log_likelihood(ahead_s, step) + before.ln_density(ahead_s)))
            .collect();
        let top = curve.iter().map(|(_, ln)| *ln).fold(f64::NEG_INFINITY, f64::max);
        if !top.is_finite() {
            return offset;
        }
        let weight = |ln: f64| (ln - top).exp();
        let sum: f64 = curve.iter().map(|(_, ln)| weight(*ln)).sum();
        let mean = curve.iter().map(|(ahead_s, ln)| ahead_s * weight(*ln)).sum::<f64>() / sum;
        let variance = curve.iter().map(|(ahead_s, ln)| (ahead_s - mean).powi(2) * weight(*ln)).sum::<f64>() / sum;
        offset.ahead_s = mean;
        offset.standard_uncertainty_s = variance.sqrt().max(0.3 * step);
        if variance.sqrt() > 2.0 * step {
            return offset;
        }
        centre = mean;
        step /= 3.0;
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

    /// Middle and mean of each bin that holds something.
    fn series(&self, time_s: &[f64], values: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let middle = |bin: usize| self.start_s + (bin as f64 + 0.5) * self.length_s;
        let means = self.means(time_s, values).into_iter().enumerate();
        means.filter_map(|(bin, mean)| Some((middle(bin), mean?))).unzip()
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
    use crate::pressure_change::{Clock, Note, RoomPressure, evaluate};
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
    fn loggers_apart_of_which_nothing_is_said_are_set_right_too() {
        let mut hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
        hold.weather.red_noise_pa = 20.0;
        let mut settings = hold.settings();
        settings.barometer.clock = Clock::Apart;
        for (seed, ahead_s) in [(0, 0.0), (1, 30.0), (2, -240.0), (3, 400.0)] {
            let simulated = hold.simulate(seed);
            let shown: Vec<f64> = simulated.time_s.iter().map(|t| t + ahead_s).collect();
            let mut record = simulated.record(&hold).unwrap();
            record.room = RoomPressure::Logged(crate::Samples::new(&shown, &simulated.room_pa).unwrap());
            let result = evaluate(&record, &settings).unwrap();
            let found = &result.diagnostics.clock_offsets[0];
            assert!((found.offset_s - ahead_s).abs() < 4.0 * found.standard_uncertainty_s, "{ahead_s} s: {found:?}");
            assert!(found.standard_uncertainty_s < 40.0, "{ahead_s} s: {found:?}");
            let said = result.notes.iter().any(|note| matches!(note, Note::ClockOffsetFound { .. }));
            assert_eq!(said, ahead_s != 0.0, "{ahead_s} s");
        }
    }

    #[test]
    fn an_offset_that_steps_of_the_barometer_hide_makes_the_interval_wide() {
        let hold = Hold::ordinary(Room::ORDINARY, 6.0 * 3600.0, 5e-4);
        let mut settings = hold.settings();
        (settings.barometer.clock, settings.barometer.resolution) = (Clock::UnknownWithin(3600.0), 10.0);
        let simulated = hold.simulate(0);
        let stepped: Vec<f64> = simulated.room_pa.iter().map(|pa| (pa / 10.0).round() * 10.0).collect();
        let mut record = simulated.record(&hold).unwrap();
        record.room = RoomPressure::Logged(crate::Samples::new(&simulated.time_s, &stepped).unwrap());
        let open = evaluate(&record, &settings).unwrap();
        settings.barometer.clock = Clock::Common;
        let common = evaluate(&record, &settings).unwrap();
        let width = |interval: [f64; 2]| interval[1] - interval[0];
        let (open_width, common_width) =
            (width(open.hourly_leak_rate.interval95), width(common.hourly_leak_rate.interval95));
        assert!(open_width > 1.5 * common_width, "{open_width} {common_width} {:?}", open.diagnostics.clock_offsets);
        assert!(open.notes.iter().any(|note| matches!(note, Note::ClockOffsetNotTold { .. })));
        let truth = simulated.truth.hourly_leak_rate(-500.0);
        let [low, high] = open.hourly_leak_rate.interval95;
        assert!(low < truth && truth < high, "{truth} {low} {high}");
    }

    #[test]
    fn the_interval_holds_the_truth_whether_the_offset_is_told_or_not() {
        let (mut covered, mut told_wrongly) = (0, 0);
        for seed in 0..30 {
            let step = if seed % 2 == 0 { 1.0 } else { 10.0 };
            let mut hold = Hold::ordinary(Room::ORDINARY, 6.0 * 3600.0, 5e-4);
            hold.weather.red_noise_pa = if seed % 3 == 0 { 20.0 } else { 0.0 };
            let mut settings = hold.settings();
            (settings.barometer.clock, settings.barometer.resolution) = (Clock::UnknownWithin(600.0), step);
            let ahead_s = f64::from(seed % 11 - 5) * 80.0;
            let simulated = hold.simulate(seed as u64);
            let shown: Vec<f64> = simulated.time_s.iter().map(|t| t + ahead_s).collect();
            let stepped: Vec<f64> = simulated.room_pa.iter().map(|pa| (pa / step).round() * step).collect();
            let mut record = simulated.record(&hold).unwrap();
            record.room = RoomPressure::Logged(crate::Samples::new(&shown, &stepped).unwrap());
            let result = evaluate(&record, &settings).unwrap();
            let found = &result.diagnostics.clock_offsets[0];
            let wrong = (found.offset_s - ahead_s).abs() > 4.0 * found.standard_uncertainty_s;
            told_wrongly += usize::from(found.is_told && wrong);
            let truth = simulated.truth.hourly_leak_rate(-500.0);
            let [low, high] = result.hourly_leak_rate.interval95;
            covered += usize::from(low < truth && truth < high);
        }
        // One or two in thirty are expected to miss.
        assert!(covered >= 26, "{covered} of 30");
        assert!(told_wrongly <= 1, "{told_wrongly}");
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
