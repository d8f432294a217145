//! The conventional evaluations, run on the same window.

use super::base::Base;
use super::join::Interpolator;
use super::{Record, Settings, mass_point, not_determined, two_point_rate_per_h};
use crate::noise::{newey_west_lag, straight_line};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Samples};

/// Two-point and mass point, hourly leak rates in 1/h, positive towards the room's pressure.
pub(crate) struct Conventional {
    pub(crate) two_point: Option<Estimate>,
    pub(crate) mass_point: Option<Estimate>,
}

pub(crate) fn evaluate(record: &Record<'_>, settings: &Settings, base: &Base, mean_k: f64) -> Conventional {
    let n = base.len();
    let mean_difference: f64 = base.difference_pa.iter().sum::<f64>() / n as f64;
    let towards_room = -mean_difference.signum();
    let absolute: Vec<f64> = (0..n).map(|i| base.absolute_pa(i)).collect();
    let temperature = temperatures(record, base, mean_k);
    let since_start: Vec<f64> = base.time_s.iter().map(|t| t - base.time_s[0]).collect();
    let duration_s = since_start[n - 1];

    let dry: Vec<f64> = match record.vapour_pressure_pa {
        Some(vapour) => {
            let mut vapour = Interpolator::new(vapour);
            let mut last = 0.0;
            absolute
                .iter()
                .zip(&base.time_s)
                .map(|(p, &time)| {
                    last = vapour.at(time).unwrap_or(last);
                    p - last
                })
                .collect()
        }
        None => absolute.clone(),
    };
    let mass_point = mass_point(&since_start, &dry, &temperature).map(|m| {
        let distribution =
            Distribution::student(-towards_room * m.loss_per_s, m.standard_error_per_s, m.degrees_of_freedom);
        let budget = vec![BudgetLine::new("scatter of the readings, taken as white", m.standard_error_per_s)];
        let mut estimate = Estimate::from_distribution(distribution, budget);
        estimate.upper95 = Some(estimate.value + m.one_sided_margin_per_s);
        estimate.scaled(3600.0)
    });
    let rate = towards_room
        * two_point_rate_per_h(absolute[0], temperature[0], absolute[n - 1], temperature[n - 1], duration_s);
    let budget = two_point_budget(record, settings, absolute[0], mean_k, duration_s);
    let spread = budget.iter().map(|line| line.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
    let two_point = (duration_s > 0.0).then(|| Estimate::from_distribution(Distribution::normal(rate, spread), budget));
    Conventional { two_point, mass_point }
}

/// Reading errors of two readings of each instrument, relative to p or T, as an hourly rate.
fn two_point_budget(
    record: &Record<'_>,
    settings: &Settings,
    absolute_pa: f64,
    mean_k: f64,
    duration_s: f64,
) -> Vec<BudgetLine> {
    let per_hour = 3600.0 / duration_s.max(1.0);
    // Two readings, each rounded to a step: step/√12 twice.
    let twice = |step: f64| step / 6.0_f64.sqrt();
    let thermometer = record.thermometers.first().map_or(0.0, |t| t.instrument.resolution);
    let drift = |instrument: &super::Instrument| instrument.drift_per_s * duration_s;
    vec![
        BudgetLine::new(
            "reading of the gauge",
            twice(settings.gauge.resolution).hypot(drift(&settings.gauge)) / absolute_pa * per_hour,
        ),
        BudgetLine::new(
            "reading of the barometer",
            twice(settings.barometer.resolution).hypot(drift(&settings.barometer)) / absolute_pa * per_hour,
        ),
        BudgetLine::new("reading of the thermometer", twice(thermometer) / mean_k * per_hour),
    ]
}

/// Plain mean slope of the readings in their unit per second: value by ordinary least squares, uncertainty by
/// Newey-West with the lag of [`newey_west_lag`].
pub fn pressure_rate(readings: Samples<'_>) -> Estimate {
    let lag = newey_west_lag(readings.len());
    match straight_line(readings.time_s(), readings.value(), lag) {
        Some(line) => Estimate::from_distribution(
            Distribution::normal(line.slope, line.slope_newey_west),
            vec![BudgetLine::new("scatter of the readings, autocorrelation allowed for", line.slope_newey_west)],
        ),
        None => not_determined(),
    }
}

/// Mean of the thermometers at the times of the pressures; the nearest reading holds across gaps.
fn temperatures(record: &Record<'_>, base: &Base, mean_k: f64) -> Vec<f64> {
    let mut sum = vec![0.0; base.len()];
    let mut used = 0.0;
    for thermometer in &record.thermometers {
        let mut interpolator = Interpolator::new(thermometer.samples);
        let mut last = None;
        let values: Vec<Option<f64>> = base
            .time_s
            .iter()
            .map(|&time| {
                last = interpolator.at(time).or(last);
                last
            })
            .collect();
        let Some(first) = values.iter().flatten().next().copied() else { continue };
        used += 1.0;
        for (s, value) in sum.iter_mut().zip(values) {
            *s += value.unwrap_or(first);
        }
    }
    if used > 0.0 { sum.into_iter().map(|s| s / used).collect() } else { vec![mean_k; base.len()] }
}
