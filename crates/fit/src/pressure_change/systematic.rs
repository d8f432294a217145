//! Systematic parts of the conductance: errors of the instruments, propagated through the fit (JCGM 100:2008, 5.1).

use super::base::{Base, Model, PressureError};
use super::conductance::{Fit, by_pressure_error, conductance_at};
use super::sensor::{Sensor, SensorKind};
use super::{InsidePressure, Record, RoomPressure, Settings};
use crate::BudgetLine;
use crate::simulate::Random;

/// Budget lines of G/V in 1/s, one for each instrument error that is stated; each from a shift of the inputs by one
/// standard uncertainty, with the lag and noise of the fit.
pub(crate) fn systematic_budget(
    record: &Record<'_>,
    settings: &Settings,
    base: &Base,
    sensors: &[Sensor],
    model: &Model,
    fit: &Fit,
) -> Vec<BudgetLine> {
    let mut lines = Vec::new();
    let Some((sensor, found)) = leading(sensors, fit) else { return lines };
    let by = |error: PressureError| by_pressure_error(base, sensor, model, fit, &found.hyper, &error);
    let absolute = matches!(record.inside, InsidePressure::Absolute(_));
    let none = PressureError { inside_is_absolute: absolute, ..PressureError::default() };
    let gauge = &settings.gauge;
    if fit.by_zero.is_none() {
        lines.push(BudgetLine::new("gauge zero", by(PressureError { inside_zero_pa: gauge.zero, ..none })));
    }
    lines.push(BudgetLine::new("gauge scale", by(PressureError { inside_scale: gauge.scale, ..none })));
    lines.push(BudgetLine::new("gauge drift", by(PressureError { inside_drift_pa_per_s: gauge.drift_per_s, ..none })));
    match record.room {
        RoomPressure::Logged(_) => {
            let barometer = &settings.barometer;
            lines.push(BudgetLine::new("barometer zero", by(PressureError { room_zero_pa: barometer.zero, ..none })));
            lines.push(BudgetLine::new("barometer scale", by(PressureError { room_scale: barometer.scale, ..none })));
            lines.push(BudgetLine::new(
                "barometer drift",
                by(PressureError { room_drift_pa_per_s: barometer.drift_per_s, ..none }),
            ));
        }
        RoomPressure::Stated(_) => {
            let span_s = base.time_s[base.len() - 1] - base.time_s[0];
            let drift = unlogged_room_drift_pa_per_s(span_s);
            lines.push(BudgetLine::new(
                "room pressure not logged",
                by(PressureError { room_drift_pa_per_s: drift, ..none }),
            ));
        }
    }
    lines.extend(thermometer_lines(record, base, sensors, model, fit));
    if let (Some(known), Some(leak)) = (model.known_inflow, settings.superimposed_leak) {
        let volume = settings.volume.map_or(0.0, |v| v.standard_uncertainty_m3 / v.value_m3);
        let relative = (leak.standard_uncertainty_m3_per_s / leak.flow_m3_per_s).hypot(volume);
        let moved = Model { known_inflow: Some((known.0 * (1.0 + relative), known.1, known.2)), ..model.clone() };
        let at = |model: &Model| conductance_at(base, sensor, model, fit.expansion, &found.hyper, &fit.freedom);
        if let (Some(plain), Some(moved)) = (at(model), at(&moved)) {
            lines.push(BudgetLine::new("superimposed leak", moved - plain));
        }
    }
    lines.retain(|line| line.standard_uncertainty > 0.0);
    lines
}

/// Errors of gauge and barometer drawn from their stated uncertainties.
pub(crate) fn drawn_error(record: &Record<'_>, settings: &Settings, fit: &Fit, random: &mut Random) -> PressureError {
    let (gauge, barometer) = (&settings.gauge, &settings.barometer);
    let logged = f64::from(u8::from(matches!(record.room, RoomPressure::Logged(_))));
    // A zero that was integrated over is in the distribution of the fit already.
    let zero = if fit.by_zero.is_some() { 0.0 } else { gauge.zero };
    PressureError {
        inside_is_absolute: matches!(record.inside, InsidePressure::Absolute(_)),
        inside_zero_pa: zero * random.normal(),
        inside_scale: gauge.scale * random.normal(),
        inside_drift_pa_per_s: gauge.drift_per_s * random.normal(),
        room_zero_pa: logged * barometer.zero * random.normal(),
        room_scale: logged * barometer.scale * random.normal(),
        room_drift_pa_per_s: logged * barometer.drift_per_s * random.normal(),
    }
}

/// Change of the conductance by an error of the pressures, in 1/s: a reading too high by it stands for less.
pub(crate) fn moved_by(base: &Base, sensors: &[Sensor], model: &Model, fit: &Fit, error: &PressureError) -> f64 {
    leading(sensors, fit)
        .map_or(0.0, |(sensor, found)| by_pressure_error(base, sensor, model, fit, &found.hyper, error))
}

/// The sensor with the smallest uncertainty: the one the result rests on.
pub(crate) fn leading<'a>(
    sensors: &'a [Sensor],
    fit: &'a Fit,
) -> Option<(&'a Sensor, &'a super::conductance::SensorFit)> {
    sensors.iter().zip(&fit.sensors).min_by(|a, b| a.1.alone.1.total_cmp(&b.1.alone.1))
}

/// Drift and scale of each thermometer, weighted by what it contributes to the result.
fn thermometer_lines(
    record: &Record<'_>,
    base: &Base,
    sensors: &[Sensor],
    model: &Model,
    fit: &Fit,
) -> Vec<BudgetLine> {
    let information: f64 = fit.sensors.iter().map(|s| s.alone.1.powi(-2)).sum();
    let mut lines = Vec::new();
    for (sensor, found) in sensors.iter().zip(&fit.sensors) {
        let (drift_per_s, scale, unit) = match sensor.kind {
            SensorKind::Steady => continue,
            SensorKind::Thermometer => match record.thermometers.iter().find(|t| t.name == sensor.name) {
                Some(t) => (t.instrument.drift_per_s, t.instrument.scale, 1.0),
                None => continue,
            },
            SensorKind::Vessel => match record.reference_vessels.iter().find(|v| v.name == sensor.name) {
                Some(v) => (
                    v.instrument.drift_per_s,
                    v.instrument.scale,
                    sensor.mean_k / v.pressure.samples().mean().abs().max(1.0),
                ),
                None => continue,
            },
        };
        let share = found.alone.1.powi(-2) / information;
        let shift = |change: &dyn Fn(f64, f64) -> f64| {
            let mut moved = sensor.clone();
            let start = sensor.time_s[0];
            for (time, reading) in sensor.time_s.iter().zip(moved.reading_k.iter_mut()) {
                *reading += change(*time - start, *reading - sensor.mean_k);
            }
            let at = |sensor: &Sensor| conductance_at(base, sensor, model, fit.expansion, &found.hyper, &fit.freedom);
            match (at(sensor), at(&moved)) {
                (Some(plain), Some(moved)) => (moved - plain) * share,
                _ => 0.0,
            }
        };
        if drift_per_s > 0.0 {
            lines.push(BudgetLine::new(format!("drift of {}", sensor.name), shift(&|t, _| drift_per_s * unit * t)));
        }
        if scale > 0.0 {
            lines.push(BudgetLine::new(format!("scale of {}", sensor.name), shift(&|_, deviation| scale * deviation)));
        }
    }
    lines
}

/// Standard deviation of the slope of a barometer that nobody read, in Pa/s: changes grow with time^0.75, 25 Pa in an
/// hour, 270 Pa in a day (common experience at middle latitudes, no source).
fn unlogged_room_drift_pa_per_s(span_s: f64) -> f64 {
    let hours = (span_s / 3600.0).max(1e-3);
    25.0 * hours.powf(0.75) / span_s.max(1.0)
}
