//! Pressure-change test: leak rate of an isolated enclosure from pressure, room pressure and temperature.
//!
//! [`evaluate`] finds the settled window, runs the conductance model and the two conventional evaluations, and adds the
//! systematic parts. Leak rates are signed, positive towards the room's pressure.

mod base;
mod clock;
mod coarse;
mod combine;
mod conductance;
mod conventional;
mod error;
mod hold_finder;
mod join;
mod likelihood;
mod mass_point;
mod note;
mod record;
mod result;
mod sensor;
mod series;
mod settings;
mod summary;
mod systematic;
mod two_point;
mod window;

pub use crate::WindowChoice;
pub use conventional::pressure_rate;
pub use error::PressureChangeError;
pub use join::GAP_FACTOR;
pub use mass_point::{MassPoint, mass_point};
pub use note::Note;
pub use record::{
    Clock, InsidePressure, Instrument, Place, Record, ReferenceVessel, Response, RoomPressure, Thermometer,
    VesselPressure,
};
pub use result::{ClockOffset, Diagnostics, PressureChange, RowUse, Series, ThermometerDiagnostics, ThermometerSeries};
pub use series::difference;
pub use settings::{Compliance, LeakLaw, Settings, StiffnessCheck, SuperimposedLeak, Volume};
pub use two_point::two_point_rate_per_h;
pub use window::{Event, EventKind, Window, WindowEnd, WindowStart};

use crate::input::InputError;
use crate::simulate::Random;
use crate::uncertainty::{Distribution, MonteCarlo, monte_carlo};
use crate::{BudgetLine, Estimate, Samples};
use base::{Base, Model};
use clock::Offset;
use conductance::{CompliancePrior, Fit};
use hold_finder::{Found, find};
use join::{Joined, join, join_with};
use sensor::Sensor;

/// Least number of readings of the inside pressure in the window.
pub const LEAST_READINGS: usize = 8;

/// Evaluates a pressure-change test.
///
/// Pressures in Pa and temperatures in K, each channel with times of its own in s on one axis. The settled part of the record
/// is found unless the settings set it. The pressure tells the temperature of the gas up to conductance and compliance, and
/// the thermometers are held against that, each with offset, lag, white noise and a slow wander that are estimated with
/// it; what is left of the instruments' stated errors is propagated. Leak rates are positive towards the room's pressure.
///
/// Checked by simulation: see `tests/coverage/pressure_change.rs` and the method's page for coverage, bias and spread.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`PressureChangeError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<PressureChange, PressureChangeError> {
    // The method itself is not general enough in the lifetime of the evaluation.
    let take = |evaluation: &Evaluation<'_>, mean_difference_pa| evaluation.result(mean_difference_pa);
    prepare(record, settings, take)
}

/// Hourly leak rate (1/h at the reference pressure) by Monte Carlo, to check the propagation of [`evaluate`]
/// (JCGM 101:2008, clause 8): every draw takes the errors of gauge and barometer at random, refits with them, and adds a
/// draw from the distribution of the fit and from the other parts of the budget. `draws` is at least 100.
///
/// # Errors
/// Those of [`evaluate`].
pub fn monte_carlo_check(
    record: &Record<'_>,
    settings: &Settings,
    draws: usize,
    seed: u64,
) -> Result<MonteCarlo, PressureChangeError> {
    prepare(record, settings, |evaluation, _| evaluation.monte_carlo(draws, seed))
}

/// Fits a record and hands everything to `take`, with the mean pressure difference in Pa.
fn prepare<T>(
    record: &Record<'_>,
    settings: &Settings,
    take: impl FnOnce(&Evaluation<'_>, f64) -> T,
) -> Result<T, PressureChangeError> {
    check(record, settings)?;
    let (record, settings) = &with_shown_steps(record, settings);
    let barometer = barometer_offset(record, settings)?;
    let joined = join(record, settings.barometer.resolution, barometer.ahead_s);
    let found = find(record, settings, &joined)?;
    let base = Base::new(&joined, found.range.clone(), &found.keep, &found.sound);
    if base.len() < LEAST_READINGS {
        return Err(PressureChangeError::TooFewReadings { found: base.len(), needed: LEAST_READINGS });
    }
    let mean_difference_pa = base.difference_pa.iter().sum::<f64>() / base.len() as f64;
    let zero_matters = base.difference_pa.iter().any(|d| d.abs() < 0.5 * base.difference_pa[0].abs());
    let model = Model {
        law: settings.leak_law,
        reference_pa: settings.reference_pressure_pa,
        mean_k: sensor::mean_temperature(record, &base),
        steps_s: found.steps_s.clone(),
        known_inflow: known_inflow(settings, mean_difference_pa),
    };
    let offsets: Vec<Offset> = record
        .thermometers
        .iter()
        .map(|thermometer| {
            let place = |ahead_s| sensor::of_thermometer(thermometer, &base, ahead_s);
            clock::sensor_offset(thermometer.instrument.clock, &base, &model, thermometer.samples, place)
        })
        .collect();
    let ahead_s: Vec<f64> = offsets.iter().map(|offset| offset.ahead_s).collect();
    let sensors = sensor::sensors(record, &joined, &base, &ahead_s);
    let rounding = pressure_rounding(record, settings, &base, model.mean_k);
    let prior = CompliancePrior::new(settings);
    let zero_spread_pa = if zero_matters { settings.gauge.zero } else { 0.0 };
    let fit = conductance::fit(&base, &sensors, &model, prior, zero_spread_pa, rounding)
        .ok_or(PressureChangeError::NoPressureDifference { mean_difference_pa })?;
    let evaluation = Evaluation {
        record,
        settings,
        joined: &joined,
        found: &found,
        base: &base,
        sensors: &sensors,
        model: &model,
        fit: &fit,
        clocks: Clocks { barometer, thermometers: offsets },
    };
    Ok(take(&evaluation, mean_difference_pa))
}

/// Offset of the barometer's clock, from the hold as it is found with the clock taken as right.
fn barometer_offset(record: &Record<'_>, settings: &Settings) -> Result<Offset, PressureChangeError> {
    if settings.barometer.clock == Clock::Common {
        return Ok(Offset::default());
    }
    let joined = join(record, settings.barometer.resolution, 0.0);
    let found = find(record, settings, &joined)?;
    let hold_s = [found.window.from_s, found.window.to_s];
    Ok(clock::barometer_offset(record, settings.barometer.clock, settings.barometer.resolution, hold_s))
}

/// Budget line of what coarse steps of the barometer leave open.
const BAROMETER_STEPS: &str = "steps of the barometer";

/// Everything that the result is written from.
struct Evaluation<'a> {
    record: &'a Record<'a>,
    settings: &'a Settings,
    joined: &'a Joined,
    found: &'a Found,
    base: &'a Base,
    sensors: &'a [Sensor],
    model: &'a Model,
    fit: &'a Fit,
    clocks: Clocks,
}

/// Clock offsets that were estimated.
struct Clocks {
    barometer: Offset,
    thermometers: Vec<Offset>,
}

impl Evaluation<'_> {
    fn result(&self, mean_difference_pa: f64) -> PressureChange {
        let settings = self.settings;
        let reference_pa = settings.reference_pressure_pa;
        let room_pressure_at_start_pa = self.base.room_pa[0];
        let conductance_per_volume = self.conductance_per_volume();
        let to_hourly = 3600.0 * reference_pa.abs() / room_pressure_at_start_pa;
        let hourly_leak_rate = conductance_per_volume.scaled(to_hourly).at(reference_pa);
        let leak_conductance = settings.volume.map(|volume| times_volume(&conductance_per_volume, volume));
        let inside = self.record.inside.samples();
        let window = self.found.window.clone();
        let readings = inside.between(window.from_s, window.to_s).unwrap_or(inside);
        let conventional = conventional::evaluate(self.record, settings, self.base, self.model.mean_k);
        let mut result = PressureChange {
            events: self.found.events.clone(),
            rows: self.rows(inside),
            mean_difference_pa,
            room_pressure_at_start_pa,
            leak_throughput: leak_conductance.as_ref().map(|g| g.scaled(reference_pa.abs()).at(reference_pa)),
            leak_conductance: leak_conductance.map(|g| g.at(reference_pa)),
            conductance_per_volume: conductance_per_volume.at(reference_pa),
            hourly_leak_rate,
            two_point: conventional.two_point.map(|e| e.at(mean_difference_pa)),
            mass_point: conventional.mass_point.map(|e| e.at(mean_difference_pa)),
            pressure_rate: pressure_rate(readings),
            superimposed_leak_ratio: self.superimposed_leak_ratio(),
            diagnostics: summary::diagnostics(self.settings, self.fit, self.sensors, self.found),
            notes: Vec::new(),
            series: summary::series(self.joined, self.base, self.model, self.fit, self.sensors),
            window,
        };
        result.diagnostics.clock_offsets = self.clock_offsets();
        result.notes = summary::notes(self.record, settings, self.fit, self.sensors, self.base, &result);
        result
    }

    /// G/V with all contributions.
    fn conductance_per_volume(&self) -> Estimate {
        let fit = self.fit;
        let statistical = fit.distribution.standard_deviation();
        let mut budget = Vec::new();
        let shared = fit.by_compliance.hypot(fit.by_zero.unwrap_or(0.0)).min(statistical);
        let noise = (statistical.powi(2) - shared.powi(2)).max(0.0).sqrt();
        budget.push(BudgetLine::new("noise, wander and lag of the thermometers", noise));
        if fit.by_compliance > 0.0 {
            budget.push(BudgetLine::new("compliance of gloves and walls", fit.by_compliance));
        }
        if let Some(by_zero) = fit.by_zero {
            budget.push(BudgetLine::new("gauge zero", by_zero));
        }
        let systematic = self.systematic_lines();
        let spread = systematic.iter().map(|line| line.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
        budget.extend(systematic);
        let mut estimate = Estimate::from_distribution(fit.distribution.with_normal_error(spread), budget);
        if let Some(rigid) = &fit.rigid {
            // A box that is rigid after all must lie in the interval, although a one-sided density gives it no mass.
            let rigid = rigid.with_normal_error(spread);
            let (low, high) = (rigid.quantile(0.025), rigid.quantile(0.975));
            estimate.interval95 = [estimate.interval95[0].min(low), estimate.interval95[1].max(high)];
        }
        estimate
    }

    fn monte_carlo(&self, draws: usize, seed: u64) -> MonteCarlo {
        let to_hourly = 3600.0 * self.settings.reference_pressure_pa.abs() / self.base.room_pa[0];
        // Parts that do not come from gauge or barometer are drawn from their budget lines.
        let others: f64 = self
            .systematic_lines()
            .iter()
            .filter(|line| {
                let drawn_with_the_readings = line.source.starts_with("gauge") || line.source.starts_with("barometer");
                !drawn_with_the_readings
            })
            .map(|line| line.standard_uncertainty.powi(2))
            .sum::<f64>()
            .sqrt();
        monte_carlo(draws, seed, |random| {
            let error = systematic::drawn_error(self.record, self.settings, self.fit, random);
            let fitted = self.fit.distribution.quantile(random.uniform(1e-6, 1.0 - 1e-6));
            let moved = systematic::moved_by(self.base, self.sensors, self.model, self.fit, &error);
            to_hourly * (fitted + moved + others * random.normal())
        })
    }

    /// Systematic parts of G/V in 1/s.
    fn systematic_lines(&self) -> Vec<BudgetLine> {
        let mut lines =
            systematic::systematic_budget(self.record, self.settings, self.base, self.sensors, self.model, self.fit);
        if let Some(relative) = law_exponent(self.settings.reference_pressure_pa, self.base) {
            lines.push(BudgetLine::new(
                "leak law between test and reference pressure",
                relative * self.fit.distribution.median(),
            ));
        }
        lines.extend(self.clock_budget());
        lines.extend(self.barometer_steps());
        lines
    }

    /// What coarse steps of the barometer leave open of the room pressure adds to G/V, in 1/s.
    fn barometer_steps(&self) -> Option<BudgetLine> {
        const DRAWS: usize = 16;
        let RoomPressure::Logged(samples) = self.record.room else { return None };
        let line = coarse::Unstepped::of(samples, self.settings.barometer.resolution)?;
        let (sensor, found) = systematic::leading(self.sensors, self.fit)?;
        let at = |base: &Base| {
            conductance::conductance_at(base, sensor, self.model, self.fit.expansion, &found.hyper, &self.fit.freedom)
        };
        let plain = at(self.base)?;
        let mut random = Random::new(1);
        let squares = (0..DRAWS).filter_map(|_| {
            let moved = join_with(self.record, self.clocks.barometer.ahead_s, Some(&line.drawn(&mut random)));
            let base = Base::new(&moved, self.found.range.clone(), &self.found.keep, &self.found.sound);
            Some((at(&base)? - plain).powi(2))
        });
        let squares: Vec<f64> = squares.collect();
        let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
        Some(BudgetLine::new(BAROMETER_STEPS, mean.sqrt()))
    }

    /// What the uncertainty of estimated clock offsets adds to G/V, in 1/s.
    fn clock_budget(&self) -> Vec<BudgetLine> {
        let Some((sensor, found)) = systematic::leading(self.sensors, self.fit) else { return Vec::new() };
        let at = |base: &Base, sensor: &Sensor| {
            conductance::conductance_at(base, sensor, self.model, self.fit.expansion, &found.hyper, &self.fit.freedom)
        };
        let plain = at(self.base, sensor);
        // An offset that the data hardly tell may do other things to the result one way than the other.
        let line = |name: &str, moved: [Option<f64>; 2]| {
            let [later, earlier] = moved.map(|moved| Some(moved? - plain?));
            Some(BudgetLine::new(format!("clock of the {name}"), later?.hypot(earlier?) / std::f64::consts::SQRT_2))
        };
        let mut lines = Vec::new();
        let barometer = self.clocks.barometer;
        if barometer.standard_uncertainty_s > 0.0 {
            let moved = [1.0, -1.0].map(|sign| {
                let base = self.with_barometer_later(sign * barometer.standard_uncertainty_s)?;
                at(&base, sensor)
            });
            lines.extend(line("barometer", moved));
        }
        for (thermometer, offset) in self.record.thermometers.iter().zip(&self.clocks.thermometers) {
            if offset.standard_uncertainty_s > 0.0 && thermometer.name == sensor.name {
                let moved = [1.0, -1.0].map(|sign| {
                    let ahead_s = offset.ahead_s + sign * offset.standard_uncertainty_s;
                    at(self.base, &sensor::of_thermometer(thermometer, self.base, ahead_s)?)
                });
                lines.extend(line(&thermometer.name, moved));
            }
        }
        lines
    }

    /// The base if the barometer's clock were ahead by so much more.
    fn with_barometer_later(&self, later_s: f64) -> Option<Base> {
        let RoomPressure::Logged(samples) = self.record.room else { return None };
        let mut base = self.base.clone();
        let times_s: Vec<f64> = base.time_s.iter().map(|time_s| time_s + self.clocks.barometer.ahead_s).collect();
        let change_pa = join::change_of_room(samples, self.settings.barometer.resolution, &times_s, later_s);
        for (index, change_pa) in change_pa.into_iter().enumerate() {
            base.room_pa[index] += change_pa;
            if matches!(self.record.inside, InsidePressure::Absolute(_)) {
                base.difference_pa[index] -= change_pa;
            }
        }
        Some(base)
    }

    /// Clock offsets that were looked for.
    fn clock_offsets(&self) -> Vec<ClockOffset> {
        let barometer = ("room pressure", &self.settings.barometer, self.clocks.barometer);
        let thermometers = self.record.thermometers.iter().zip(&self.clocks.thermometers);
        std::iter::once(barometer)
            .chain(thermometers.map(|(own, offset)| (own.name.as_str(), &own.instrument, *offset)))
            .filter(|(_, _, offset)| offset.standard_uncertainty_s > 0.0)
            .map(|(name, instrument, offset)| ClockOffset {
                name: name.to_owned(),
                offset_s: offset.ahead_s,
                standard_uncertainty_s: offset.standard_uncertainty_s,
                is_told: offset.is_told(),
                doubted: matches!(instrument.clock, Clock::UnknownWithin(_)),
            })
            .collect()
    }

    fn superimposed_leak_ratio(&self) -> Option<Estimate> {
        let distribution = self.fit.ratio.as_ref()?;
        let leak = self.settings.superimposed_leak?;
        let ratio = distribution.median();
        let flow = ratio * leak.standard_uncertainty_m3_per_s / leak.flow_m3_per_s;
        let volume = ratio * self.settings.volume.map_or(0.0, |v| v.standard_uncertainty_m3 / v.value_m3);
        let budget = vec![
            BudgetLine::new("noise, wander and compliance", distribution.standard_deviation()),
            BudgetLine::new("flow of the superimposed leak", flow),
            BudgetLine::new("volume", volume),
        ];
        Some(Estimate::from_distribution(distribution.with_normal_error(flow.hypot(volume)), budget))
    }

    fn rows(&self, inside: Samples<'_>) -> RowUse {
        let window = &self.found.window;
        let in_window = inside.between(window.from_s, window.to_s).map_or(0, |s| s.len());
        let disturbed = self.found.range.clone().filter(|&i| !self.found.keep[i]).count();
        let used = self.found.range.len() - disturbed;
        RowUse {
            read: inside.len(),
            used,
            outside_window: inside.len() - in_window,
            without_room_pressure: in_window - self.found.range.len(),
            disturbed,
        }
    }
}

/// G from G/V: the volume's uncertainty is independent of the fit.
fn times_volume(per_volume: &Estimate, volume: Volume) -> Estimate {
    let scaled = per_volume.scaled(volume.value_m3);
    let by_volume = scaled.value * volume.standard_uncertainty_m3 / volume.value_m3;
    let mut budget = scaled.budget.clone();
    budget.push(BudgetLine::new("volume", by_volume));
    let mut estimate = Estimate::from_distribution(scaled.distribution.with_normal_error(by_volume), budget);
    // Where the interval was wider than its distribution (a box that may be rigid) it stays so.
    estimate.interval95 =
        [estimate.interval95[0].min(scaled.interval95[0]), estimate.interval95[1].max(scaled.interval95[1])];
    estimate
}

/// Relative standard uncertainty by a leak that may grow with a power between 0.5 and 1 of the pressure difference,
/// rectangular between the two, where the reference is beyond all differences of the test and far from their mean: the two
/// laws part by an eighth at a factor of 1.3.
fn law_exponent(reference_pa: f64, base: &Base) -> Option<f64> {
    const BEYOND: f64 = 1.1;
    const FAR: f64 = 1.3;
    let reference_pa = reference_pa.abs();
    let differences = || base.difference_pa.iter().map(|difference| difference.abs());
    let (least, most) = differences().fold((f64::INFINITY, 0.0_f64), |(a, b), d| (a.min(d), b.max(d)));
    let mean_pa = differences().sum::<f64>() / base.difference_pa.len().max(1) as f64;
    let by = |pa: f64| reference_pa / pa.max(1e-9);
    let is_within = |ratio: f64, factor: f64| (1.0 / factor..=factor).contains(&ratio);
    let is_far = !is_within(by(reference_pa.clamp(least.min(most), most)), BEYOND) && !is_within(by(mean_pa), FAR);
    is_far.then(|| (1.0 - by(mean_pa).powf(-0.5)).abs() / 3.0_f64.sqrt())
}

fn known_inflow(settings: &Settings, mean_difference_pa: f64) -> Option<(f64, f64, f64)> {
    let leak = settings.superimposed_leak?;
    let volume = settings.volume?;
    // A known leak flows towards the room's pressure like any other: in at under-pressure, out at over-pressure.
    Some((-mean_difference_pa.signum() * leak.flow_m3_per_s / volume.value_m3, leak.from_s, leak.to_s))
}

/// Record and settings with the steps that the readings show, where none is stated: a step of the display is neither a
/// glove pull nor a disturbance.
fn with_shown_steps<'a>(record: &Record<'a>, settings: &Settings) -> (Record<'a>, Settings) {
    let (mut record, mut settings) = (record.clone(), settings.clone());
    let fill = |instrument: &mut Instrument, samples: Samples<'_>| {
        if instrument.resolution <= 0.0 {
            instrument.resolution = coarse::shown_step(samples.value()).unwrap_or(0.0);
        }
    };
    fill(&mut settings.gauge, record.inside.samples());
    if let RoomPressure::Logged(samples) = record.room {
        fill(&mut settings.barometer, samples);
    }
    for thermometer in &mut record.thermometers {
        fill(&mut thermometer.instrument, thermometer.samples);
    }
    (record, settings)
}

/// Error of the gas temperature by coarse steps of the pressure readings: standard deviation in K and memory in s.
fn pressure_rounding(record: &Record<'_>, settings: &Settings, base: &Base, mean_k: f64) -> (f64, f64) {
    let to_k = mean_k / (base.absolute_pa(0) * 12.0_f64.sqrt());
    let (from_s, to_s) = (base.time_s[0], base.time_s[base.len() - 1]);
    let mut channels = vec![(record.inside.samples(), settings.gauge.resolution)];
    if let RoomPressure::Logged(samples) = record.room {
        channels.push((samples, settings.barometer.resolution));
    }
    let (mut variance, mut weighted) = (0.0, 0.0);
    for (samples, resolution) in channels {
        let Some(held) = samples.between(from_s, to_s) else { continue };
        let dwell_s = sensor::dwell(held);
        if dwell_s > 3.0 * held.cadence_s() {
            let part = (resolution * to_k).powi(2);
            variance += part;
            weighted += part * dwell_s / 6.0;
        }
    }
    if variance > 0.0 { (variance.sqrt(), weighted / variance) } else { (0.0, 1.0) }
}

fn check(record: &Record<'_>, settings: &Settings) -> Result<(), PressureChangeError> {
    let value_pa = settings.reference_pressure_pa;
    if !(value_pa.is_finite() && value_pa != 0.0) {
        return Err(PressureChangeError::ReferencePressureUnusable { value_pa });
    }
    let positive = |what, value: f64| {
        if value > 0.0 { Ok(()) } else { Err(InputError::NotPositive { what, value }) }
    };
    if let Some(volume) = settings.volume {
        positive("the volume", volume.value_m3)?;
    }
    if let Some(leak) = settings.superimposed_leak {
        positive("the flow of the superimposed leak", leak.flow_m3_per_s)?;
    }
    positive("the stated temperature", record.stated_temperature_k)?;
    let least = |samples: Samples<'_>| samples.value().iter().copied().fold(f64::INFINITY, f64::min);
    match record.room {
        RoomPressure::Stated(value) => positive("the stated room pressure", value)?,
        RoomPressure::Logged(samples) => positive("the room pressure", least(samples))?,
    }
    if let InsidePressure::Absolute(samples) = record.inside {
        positive("the absolute pressure", least(samples))?;
    }
    for thermometer in &record.thermometers {
        positive("the temperature", least(thermometer.samples))?;
    }
    Ok(())
}

/// A result that the data do not determine.
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
