//! Pressure-change test: leak rate of an isolated enclosure from pressure, room pressure and temperature.

mod conductance;
mod error;
mod join;
mod mass_point;
mod note;
mod record;
mod result;
mod settings;
mod two_point;
mod window;

pub use error::PressureChangeError;
pub use join::GAP_FACTOR;
pub use mass_point::{MassPoint, mass_point};
pub use note::Note;
pub use record::{
    Clock, InsidePressure, Instrument, Place, Record, ReferenceVessel, Response, RoomPressure, Thermometer,
    VesselPressure,
};
pub use result::{Diagnostics, PressureChange, RowUse, Series, ThermometerDiagnostics, ThermometerSeries};
pub use settings::{Compliance, LeakLaw, Settings, StiffnessCheck, SuperimposedLeak, Volume, WindowChoice};
pub use two_point::two_point_rate_per_h;
pub use window::{Event, EventKind, Window, WindowEnd, WindowStart};

use crate::noise::{newey_west_lag, straight_line};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Samples};
use join::{Interpolator, Joined, join};

/// Least number of readings of the inside pressure in the window.
pub const LEAST_READINGS: usize = 8;

/// Evaluates a pressure-change test.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`PressureChangeError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<PressureChange, PressureChangeError> {
    if !(settings.reference_pressure_pa.is_finite() && settings.reference_pressure_pa != 0.0) {
        return Err(PressureChangeError::ReferencePressureUnusable { value_pa: settings.reference_pressure_pa });
    }
    let all = join(record, 0.0);
    let inside = record.inside.samples();
    let window = match settings.window {
        WindowChoice::Set { from_s, to_s } => Window { from_s, to_s, start: WindowStart::Set, end: WindowEnd::Set },
        WindowChoice::Auto => Window {
            from_s: inside.first_time_s(),
            to_s: inside.last_time_s(),
            start: WindowStart::RecordStart,
            end: WindowEnd::RecordEnd,
        },
    };
    let range = all.range(window.from_s, window.to_s);
    let held = Joined {
        time_s: all.time_s[range.clone()].to_vec(),
        difference_pa: all.difference_pa[range.clone()].to_vec(),
        room_pa: all.room_pa[range.clone()].to_vec(),
        without_room_pressure: all.without_room_pressure,
    };
    if held.time_s.len() < LEAST_READINGS {
        return Err(PressureChangeError::TooFewReadings { found: held.time_s.len(), needed: LEAST_READINGS });
    }
    let temperature = temperatures(record, &held);
    let n = held.time_s.len();
    let mean_difference_pa = held.difference_pa.iter().sum::<f64>() / n as f64;
    let room_start = held.room_pa[0];
    let sign = mean_difference_pa.signum();

    let conductance = conductance::conductance_per_volume(&held, &temperature, settings)
        .ok_or(PressureChangeError::TooFewReadings { found: n, needed: LEAST_READINGS })?;
    let dp_ref = settings.reference_pressure_pa;
    let to_hourly = 3600.0 * dp_ref.abs() / room_start;

    let absolute: Vec<f64> = (0..n).map(|i| held.absolute_pa(i)).collect();
    let since_start: Vec<f64> = held.time_s.iter().map(|t| t - held.time_s[0]).collect();
    let mass = mass_point(&since_start, &absolute, &temperature).map(|m| {
        let mut estimate = Estimate::from_distribution(
            Distribution::student(sign * m.loss_per_s, m.standard_error_per_s, m.degrees_of_freedom),
            vec![BudgetLine::new("scatter of the readings", m.standard_error_per_s)],
        );
        estimate.upper95 = Some(estimate.value + m.one_sided_margin_per_s);
        estimate.scaled(3600.0).at(mean_difference_pa)
    });
    let duration = held.time_s[n - 1] - held.time_s[0];
    let two = -sign * two_point_rate_per_h(absolute[0], temperature[0], absolute[n - 1], temperature[n - 1], duration);
    let two_point = Estimate::from_distribution(Distribution::normal(two, 0.0), Vec::new()).at(mean_difference_pa);
    let readings = inside.between(window.from_s, window.to_s).unwrap_or(inside);
    let pressure_rate = pressure_rate(readings);
    Ok(PressureChange {
        events: Vec::new(),
        rows: RowUse { read: inside.len(), used: n, outside_window: inside.len() - n, ..RowUse::default() },
        mean_difference_pa,
        room_pressure_at_start_pa: room_start,
        hourly_leak_rate: conductance.scaled(to_hourly).at(dp_ref),
        leak_conductance: settings.volume.map(|v| conductance.scaled(v.value_m3).at(dp_ref)),
        leak_throughput: settings.volume.map(|v| conductance.scaled(v.value_m3 * dp_ref.abs()).at(dp_ref)),
        conductance_per_volume: conductance,
        two_point: Some(two_point),
        mass_point: mass,
        pressure_rate,
        superimposed_leak_ratio: None,
        diagnostics: Diagnostics::default(),
        notes: Vec::new(),
        series: Series::default(),
        window,
    })
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

fn not_determined() -> Estimate {
    Estimate {
        value: f64::NAN,
        standard_uncertainty: f64::INFINITY,
        interval95: [f64::NEG_INFINITY, f64::INFINITY],
        kind: crate::Kind::NotDetermined,
        degrees_of_freedom: f64::INFINITY,
        distribution: Distribution::normal(0.0, f64::INFINITY),
        budget: Vec::new(),
        at_pa: None,
        upper95: None,
    }
}

/// Mean of the thermometers at the times of the pressures, or the stated temperature.
fn temperatures(record: &Record<'_>, held: &Joined) -> Vec<f64> {
    let mut interpolators: Vec<Interpolator<'_>> =
        record.thermometers.iter().map(|thermometer| Interpolator::new(thermometer.samples)).collect();
    held.time_s
        .iter()
        .map(|&time| {
            let readings: Vec<f64> = interpolators.iter_mut().filter_map(|i| i.at(time)).collect();
            if readings.is_empty() {
                record.stated_temperature_k
            } else {
                readings.iter().sum::<f64>() / readings.len() as f64
            }
        })
        .collect()
}
