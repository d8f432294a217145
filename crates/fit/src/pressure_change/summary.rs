//! Diagnostics, notes and plotting series of an evaluation.

use super::base::{Base, Expansion, GasTemperature, Model};
use super::conductance::Fit;
use super::hold_finder::Found;
use super::join::Joined;
use super::sensor::{Sensor, SensorKind};
use super::{
    ClockOffset, Compliance, Diagnostics, EventKind, Note, PressureChange, Record, RoomPressure, Series, Settings,
    ThermometerDiagnostics, ThermometerSeries,
};
use crate::noise::{jarque_bera_p_value, lag1_autocorrelation};

/// Most points in a series for plotting.
const SERIES_POINTS: usize = 1500;
/// Pressure difference above which molecular and laminar laws part by more than 1.5 %, in Pa.
const LINEAR_LAW_LIMIT_PA: f64 = 3000.0;

pub(crate) fn diagnostics(settings: &Settings, fit: &Fit, sensors: &[Sensor], found: &Found) -> Diagnostics {
    let (centre, spread) = (fit.distribution.median(), fit.distribution.standard_deviation());
    let thermometers = sensors
        .iter()
        .zip(&fit.sensors)
        .map(|(sensor, found)| ThermometerDiagnostics {
            name: sensor.name.clone(),
            lag_s: [found.lag_s.0, found.lag_s.1],
            noise_sd_k: found.white_k,
            wander_sd_k: found.wander_k,
            wander_memory_s: found.memory_s,
            // The result contains the sensor itself, so the variances do not add; this is the cautious side.
            pull: (found.alone.0 - centre) / found.alone.1.hypot(spread).max(1e-300),
        })
        .collect();
    let white: f64 = fit.sensors.iter().map(|s| s.if_white.powi(-2)).sum::<f64>().sqrt().recip();
    let all: Vec<f64> = fit.sensors.iter().flat_map(|s| s.innovations.iter().copied()).collect();
    let volume_m3 = settings.volume.map(|v| v.value_m3);
    let shared = fit.by_compliance.powi(2) + fit.by_zero.unwrap_or(0.0).powi(2);
    let noise = (spread.powi(2) - shared).max(0.0).sqrt();
    Diagnostics {
        thermometers,
        compliance_m3_per_pa: volume_m3.map(|v| [fit.compliance_per_pa.0 * v, fit.compliance_per_pa.1 * v]),
        interval_widening: (noise / white).max(1.0),
        innovation_autocorrelation: fit.sensors.first().map_or(0.0, |s| lag1_autocorrelation(&s.innovations)),
        normality_p_value: jarque_bera_p_value(&all),
        outliers: found.events.iter().filter(|e| matches!(e.kind, EventKind::Outlier { .. })).count(),
        clock_offsets: Vec::new(),
    }
}

pub(crate) fn notes(
    record: &Record<'_>,
    settings: &Settings,
    fit: &Fit,
    sensors: &[Sensor],
    base: &Base,
    result: &PressureChange,
) -> Vec<Note> {
    let mut notes = Vec::new();
    if sensors.iter().any(|s| s.kind == SensorKind::Steady) {
        notes.push(Note::NoThermometer);
    }
    if matches!(record.room, RoomPressure::Stated(_)) {
        notes.push(Note::RoomPressureNotLogged);
    }
    compliance_notes(settings, result, &mut notes);
    let largest = base.difference_pa.iter().fold(0.0_f64, |a, d| a.max(d.abs()));
    if largest > LINEAR_LAW_LIMIT_PA {
        notes.push(Note::LinearLawDoubtful { largest_difference_pa: largest });
    }
    let ratio = settings.reference_pressure_pa / result.mean_difference_pa;
    if ratio < 0.0 {
        notes.push(Note::ReferencePressureOfOtherSign);
    }
    if super::law_exponent(settings.reference_pressure_pa, base).is_some() {
        notes.push(Note::ReferencePressureFar { ratio: ratio.abs() });
    }
    conventional_notes(result, &mut notes);
    thermometer_notes(fit, sensors, base, result, &mut notes);
    notes.extend(result.diagnostics.clock_offsets.iter().filter_map(clock_note));
    if result.rows.without_room_pressure > 0 {
        notes.push(Note::RoomPressureGap { rows: result.rows.without_room_pressure });
    }
    notes
}

fn compliance_notes(settings: &Settings, result: &PressureChange, notes: &mut Vec<Note>) {
    if settings.compliance == Compliance::Unknown {
        notes.push(Note::ComplianceUnknown);
    }
    if let Some([value, uncertainty]) = result.diagnostics.compliance_m3_per_pa
        && value > 2.0 * uncertainty
        && value > 1e-7
    {
        notes.push(Note::GaveWay { compliance_m3_per_pa: value, standard_uncertainty_m3_per_pa: uncertainty });
    }
}

/// Of clocks that nobody doubted there is something to say only where they differ.
fn clock_note(clock: &ClockOffset) -> Option<Note> {
    let (name, standard_uncertainty_s) = (clock.name.clone(), clock.standard_uncertainty_s);
    let found = Note::ClockOffsetFound { name: name.clone(), offset_s: clock.offset_s, standard_uncertainty_s };
    match (clock.doubted, clock.is_told) {
        (true, true) => Some(found),
        (true, false) => Some(Note::ClockOffsetNotTold { name }),
        (false, false) => Some(Note::ClocksNotCompared { name }),
        (false, true) => (clock.offset_s.abs() > 3.0 * standard_uncertainty_s).then_some(found),
    }
}

/// The conventional evaluations at the reference pressure against the model.
fn conventional_notes(result: &PressureChange, notes: &mut Vec<Note>) {
    let model = &result.hourly_leak_rate;
    let Some(at) = model.at_pa else { return };
    let to_reference = (at / result.mean_difference_pa).abs();
    for (method, estimate) in [("two-point", &result.two_point), ("mass point", &result.mass_point)] {
        let Some(estimate) = estimate else { continue };
        let value = estimate.value * to_reference;
        let joint = (estimate.standard_uncertainty * to_reference).hypot(model.standard_uncertainty);
        if (value - model.value).abs() > 2.0 * joint {
            notes.push(Note::ConventionalDisagrees { method, conventional_per_h: value, model_per_h: model.value });
        }
    }
}

fn thermometer_notes(fit: &Fit, sensors: &[Sensor], base: &Base, result: &PressureChange, notes: &mut Vec<Note>) {
    let window_s = base.time_s[base.len() - 1] - base.time_s[0];
    let several = sensors.len() > 1;
    for ((sensor, found), shown) in sensors.iter().zip(&fit.sensors).zip(&result.diagnostics.thermometers) {
        if sensor.kind == SensorKind::Steady {
            continue;
        }
        let (lag_s, spread_s) = found.lag_s;
        if lag_s > 15.0 && lag_s > 3.0 * spread_s {
            notes.push(Note::ThermometerLags { name: sensor.name.clone(), lag_s, standard_uncertainty_s: spread_s });
        }
        if window_s < 12.0 * lag_s {
            notes.push(Note::WindowShort { window_s, lag_s });
        }
        if shown.wander_sd_k > 0.005 {
            notes.push(Note::ResidualWanders {
                name: sensor.name.clone(),
                wander_sd_k: shown.wander_sd_k,
                memory_s: shown.wander_memory_s,
            });
        }
        if sensor.rounding.0 > 3.0 * found.white_k {
            notes.push(Note::CoarseResolution { name: sensor.name.clone(), step: sensor.rounding.0 * 12.0_f64.sqrt() });
        }
        if several && shown.pull.abs() > 2.0 {
            notes.push(Note::ThermometersDisagree { name: sensor.name.clone(), pull: shown.pull.abs() });
        }
    }
    if result.diagnostics.interval_widening > 1.3 {
        notes.push(Note::IntervalWidened { factor: result.diagnostics.interval_widening });
    }
}

pub(crate) fn series(joined: &Joined, base: &Base, model: &Model, fit: &Fit, sensors: &[Sensor]) -> Series {
    let conductance_per_s = fit.distribution.median();
    let at = Expansion { conductance_per_s, compliance_per_pa: fit.compliance_per_pa.0 };
    let gas = GasTemperature::new(base, model, at);
    let absolute: Vec<f64> = (0..base.len()).map(|i| base.absolute_pa(i)).collect();
    // What the leak alone would have left: Δp relaxes with g·(room pressure)/(law) at steady temperature and room.
    let fitted = leak_alone(base, conductance_per_s, fit.compliance_per_pa.0);
    Series {
        record_time_s: thinned(&joined.time_s),
        record_difference_pa: thinned(&joined.difference_pa),
        time_s: thinned(&base.time_s),
        difference_pa: thinned(&base.difference_pa),
        absolute_pa: thinned(&absolute),
        room_pa: thinned(&base.room_pa),
        fitted_difference_pa: thinned(&fitted),
        gas_temperature_k: thinned(&gas.columns[0]),
        thermometers: sensors
            .iter()
            .zip(&fit.sensors)
            .map(|(sensor, found)| ThermometerSeries {
                name: sensor.name.clone(),
                time_s: found.row_time_s.clone(),
                fitted_k: found.reading_k.iter().zip(&found.residual_k).map(|(y, e)| y - e).collect(),
                reading_k: found.reading_k.clone(),
                residual_k: found.residual_k.clone(),
            })
            .collect(),
    }
}

/// Pressure difference that a leak alone leaves: dΔp/dt = −g·Δp/(1 + cp + 2cΔp).
fn leak_alone(base: &Base, conductance_per_s: f64, compliance_per_pa: f64) -> Vec<f64> {
    let mut difference = base.difference_pa[0];
    let mut out = Vec::with_capacity(base.len());
    out.push(difference);
    for index in 1..base.len() {
        let step = base.time_s[index] - base.time_s[index - 1];
        let stiffness = 1.0 + compliance_per_pa * (base.room_pa[0] + 2.0 * difference);
        difference *= (-conductance_per_s * step / stiffness).exp();
        out.push(difference);
    }
    out
}

/// Means of equal groups, at most [`SERIES_POINTS`] of them.
fn thinned(values: &[f64]) -> Vec<f64> {
    let group = values.len().div_ceil(SERIES_POINTS).max(1);
    values.chunks(group).map(|chunk| chunk.iter().sum::<f64>() / chunk.len() as f64).collect()
}
