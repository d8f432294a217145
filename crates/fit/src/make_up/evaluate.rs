//! From gas fed in to leak rate.

use super::line::slope;
use super::{Feed, MakeUp, MakeUpError, Note, Record, Series, Settings, Window};
use crate::input::InputError;
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Samples};

const SECONDS_PER_HOUR: f64 = 3600.0;
const FEWEST: usize = 8;
/// Points of the line.
const BLOCKS: usize = 400;
/// Fewest whole cycles that make a window; with fewer the whole record counts.
const FEWEST_CYCLES: usize = 3;
/// Drift of an unlogged temperature, standard deviation after 1 h and at most, and of the room's pressure (common practice, no
/// source).
const TEMPERATURE_DRIFT_K: f64 = 0.5;
const TEMPERATURE_DRIFT_AT_MOST_K: f64 = 2.0;
const WEATHER_PA: f64 = 40.0;
/// How far thermometer and mean gas may part during a test, standard uncertainty of the difference between start and end, K.
const THERMOMETER_PARTS_K: f64 = 0.02;
/// Standard uncertainty of the exponent of the pressure in the law of the leak, between 0.5 and 1 (rectangular).
const EXPONENT: f64 = 0.144;

/// Evaluates a constant-pressure test.
///
/// The running total of gas fed in, less what the enclosure stored, is a straight line whose slope is the leak; its noise may
/// remember. Checked by simulation: see `tests/coverage/make_up.rs` and the method's page.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`MakeUpError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<MakeUp, MakeUpError> {
    check(record, settings)?;
    let pulses = record.feed.pulses();
    let window = window(record.feed.samples(), &pulses, settings)?;
    let course = Course::new(record, settings, window)?;
    let mut notes = Vec::new();
    let pulsed = pulsed(record, settings, &course, &pulses, &mut notes);
    let leak = slope(&course.time_s, &course.readings, &course.leaked_m3).ok_or(MakeUpError::NoFit)?;
    let hourly_leak_rate = hourly_leak_rate(record, settings, &course, &leak, pulsed, &mut notes);
    let from_window = |part: Samples<'_>| share_in_band(part, settings.band_pa);
    let inside = record.difference.and_then(|difference| difference.between(window.from_s, window.to_s));
    Ok(MakeUp {
        hourly_leak_rate,
        makeup_flow_mean: mean_flow(record, settings, &course, pulsed),
        share_in_band: inside.and_then(from_window),
        difference_range_pa: record.difference.map(|difference| {
            let fold = |start, pick: fn(f64, f64) -> f64| difference.value().iter().copied().fold(start, pick);
            [fold(f64::INFINITY, f64::min), fold(f64::NEG_INFINITY, f64::max)]
        }),
        mean_difference_pa: course.mean_difference_pa,
        pulses_per_hour: (!pulses.is_empty()).then(|| {
            let count = pulses.iter().filter(|at| (window.from_s..window.to_s).contains(*at)).count();
            count as f64 * SECONDS_PER_HOUR / course.span_s()
        }),
        window,
        series: series(record, &course),
        notes,
    })
}

fn check(record: &Record<'_>, settings: &Settings) -> Result<(), MakeUpError> {
    let positive = [
        ("volume", settings.volume_m3.value),
        ("pressure of the room", record.stated_room_pressure_pa),
        ("temperature of the gas", record.stated_temperature_k),
    ];
    if let Some((what, value)) = positive.into_iter().find(|(_, value)| !(*value > 0.0)) {
        return Err(InputError::NotPositive { what, value }.into());
    }
    if settings.reference_pressure_pa == Some(0.0) {
        return Err(MakeUpError::ReferencePressureZero);
    }
    let found = record.feed.samples().len();
    if found < FEWEST { Err(MakeUpError::TooFewReadings { found, needed: FEWEST }) } else { Ok(()) }
}

/// The window set, whole valve cycles, or the whole record.
fn window(feed: Samples<'_>, pulses: &[f64], settings: &Settings) -> Result<Window, MakeUpError> {
    let record_s = [feed.first_time_s(), feed.last_time_s()];
    if let Some(window_s) = settings.window_s {
        let [from_s, to_s] = [window_s[0].max(record_s[0]), window_s[1].min(record_s[1])];
        if !(from_s < to_s) {
            return Err(InputError::WindowOutsideRecord { window_s, record_s }.into());
        }
        return Ok(Window { from_s, to_s, set: true, cycles: None });
    }
    match (pulses.first(), pulses.last()) {
        (Some(first), Some(last)) if pulses.len() > FEWEST_CYCLES => {
            Ok(Window { from_s: *first, to_s: *last, set: false, cycles: Some(pulses.len() - 1) })
        }
        _ => Ok(Window { from_s: record_s[0], to_s: record_s[1], set: false, cycles: None }),
    }
}

/// The window in blocks, volumes at gas temperature and room pressure.
struct Course {
    window: Window,
    time_s: Vec<f64>,
    readings: Vec<f64>,
    fed_m3: Vec<f64>,
    leaked_m3: Vec<f64>,
    /// Fed in over the whole window, m³.
    fed_in_window_m3: f64,
    mean_difference_pa: Option<f64>,
    room_pa: f64,
    temperature_k: f64,
    /// Volume at gas temperature and room pressure of one volume as metered.
    factor: f64,
}

impl Course {
    fn new(record: &Record<'_>, settings: &Settings, window: Window) -> Result<Self, MakeUpError> {
        let part = |samples: Option<Samples<'_>>| {
            samples.and_then(|samples| samples.between(window.from_s, window.to_s)).map(|part| part.mean())
        };
        let room_pa = part(record.room_pressure).unwrap_or(record.stated_room_pressure_pa);
        let temperature_k = part(record.gas_temperature).unwrap_or(record.stated_temperature_k);
        let mean_difference_pa = part(record.difference).or(record.stated_difference_pa);
        let factor = settings
            .meter_reference
            .map_or(1.0, |[reference_k, reference_pa]| reference_pa / room_pa * temperature_k / reference_k);
        let side = if mean_difference_pa.unwrap_or(1.0) < 0.0 { -1.0 } else { 1.0 };
        let feed = record.feed.samples();
        let start = feed.time_s().partition_point(|t| *t < window.from_s);
        let end = feed.time_s().partition_point(|t| *t <= window.to_s);
        if end < start + FEWEST {
            return Err(MakeUpError::TooFewReadings { found: end.saturating_sub(start), needed: FEWEST });
        }
        let total = record.feed.total();
        let volume = settings.volume_m3.value;
        let mut room = Follower::new(record.room_pressure, record.stated_room_pressure_pa);
        let mut kelvin = Follower::new(record.gas_temperature, record.stated_temperature_k);
        let mut difference = Follower::new(record.difference, mean_difference_pa.unwrap_or(0.0));
        let mut course = Self {
            window,
            time_s: Vec::new(),
            readings: Vec::new(),
            fed_m3: Vec::new(),
            leaked_m3: Vec::new(),
            fed_in_window_m3: (total[end - 1] - total[start]) * factor,
            mean_difference_pa,
            room_pa,
            temperature_k,
            factor,
        };
        let size = (end - start).div_ceil(BLOCKS);
        let mut from = start;
        while from < end {
            let to = (from + size).min(end);
            let [mut time, mut fed, mut leaked] = [0.0; 3];
            for i in from..to {
                let t = feed.time_s()[i];
                let gauge = difference.at(t);
                let pressure = room.at(t) + gauge;
                // Amount stored, as a volume at room pressure: what warming drives out was stored before.
                let stored = (volume * ((pressure / room_pa).ln() - (kelvin.at(t) / temperature_k).ln())
                    + settings.compliance_m3_per_pa.value * gauge)
                    * pressure
                    / room_pa;
                let metered = (total[i] - total[start]) * factor;
                time += t;
                fed += metered;
                leaked += metered - side * stored;
            }
            let n = (to - from) as f64;
            course.time_s.push(time / n);
            course.readings.push(n);
            course.fed_m3.push(fed / n);
            course.leaked_m3.push(leaked / n);
            from = to;
        }
        Ok(course)
    }

    fn span_s(&self) -> f64 {
        self.window.to_s - self.window.from_s
    }

    fn mean_flow(&self) -> f64 {
        self.fed_in_window_m3 / self.span_s()
    }
}

/// A channel read at rising times by interpolation, or its stated value.
struct Follower<'a> {
    samples: Option<Samples<'a>>,
    stated: f64,
    upper: usize,
}

impl<'a> Follower<'a> {
    fn new(samples: Option<Samples<'a>>, stated: f64) -> Self {
        Self { samples, stated, upper: 0 }
    }

    fn at(&mut self, time_s: f64) -> f64 {
        let Some(samples) = self.samples else { return self.stated };
        let (time, value) = (samples.time_s(), samples.value());
        while self.upper < time.len() && time[self.upper] < time_s {
            self.upper += 1;
        }
        match self.upper {
            0 => value[0],
            upper if upper == time.len() => value[upper - 1],
            upper => {
                let share = (time_s - time[upper - 1]) / (time[upper] - time[upper - 1]);
                value[upper - 1] + share * (value[upper] - value[upper - 1])
            }
        }
    }
}

/// Standard uncertainty of the mean flow because edges of pulses fall between readings, m³/s at the gas's conditions.
fn pulsed(record: &Record<'_>, settings: &Settings, course: &Course, pulses: &[f64], notes: &mut Vec<Note>) -> f64 {
    let inside = pulses.iter().filter(|at| (course.window.from_s..course.window.to_s).contains(*at)).count();
    let samples = record.feed.samples();
    if inside == 0 {
        return 0.0;
    }
    if course.window.cycles.is_none_or(|cycles| cycles < 10) {
        notes.push(Note::FewCycles { cycles: inside.saturating_sub(1) });
    }
    let cadence_s = samples.cadence_s();
    let open = match record.feed {
        // A running total misses no part of a pulse.
        Feed::Total(_) => return settings.meter.resolution * course.factor / 6.0_f64.sqrt() / course.span_s(),
        Feed::Valve { flow_m3_per_s, .. } => flow_m3_per_s,
        Feed::Flow(samples) => samples.value().iter().copied().fold(0.0, f64::max),
    };
    // Logged at its changes only, a pulse is known to the clock.
    let changes = samples.value().windows(2).filter(|pair| (pair[1] - pair[0]).abs() > 0.5).count();
    if matches!(record.feed, Feed::Valve { .. }) && 5 * changes > 3 * samples.len() {
        return 0.0;
    }
    let pulse_s = course.fed_in_window_m3 / course.factor / open / inside as f64;
    if pulse_s < 5.0 * cadence_s {
        notes.push(Note::PulsesShort { durations_s: [pulse_s, cadence_s] });
    }
    // Either edge lies anywhere within a step.
    (inside as f64 / 6.0).sqrt() * cadence_s * open * course.factor / course.span_s()
}

fn mean_flow(record: &Record<'_>, settings: &Settings, course: &Course, pulsed: f64) -> Estimate {
    let flow = course.mean_flow();
    let meter = &settings.meter;
    let lines = [
        ("scale of the meter", meter.scale * flow),
        ("zero of the meter", meter_zero(record, settings, course)),
        ("edges of pulses, steps of the meter", pulsed),
    ];
    let all = lines.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
    let budget = lines.into_iter().filter(|(_, u)| *u > 0.0).map(|(source, u)| BudgetLine::new(source, u)).collect();
    Estimate::from_distribution(Distribution::normal(flow, all), budget)
}

/// A zero that is a flow shifts the mean; that of a running total cancels between its ends.
fn meter_zero(record: &Record<'_>, settings: &Settings, course: &Course) -> f64 {
    if matches!(record.feed, Feed::Flow(_)) { settings.meter.zero * course.factor } else { 0.0 }
}

fn hourly_leak_rate(
    record: &Record<'_>,
    settings: &Settings,
    course: &Course,
    leak: &Distribution,
    pulsed: f64,
    notes: &mut Vec<Note>,
) -> Option<Estimate> {
    let Some(difference_pa) = course.mean_difference_pa.filter(|difference| *difference != 0.0) else {
        notes.push(Note::DifferenceNotKnown);
        return None;
    };
    circumstances(record, settings, course, difference_pa, notes);
    let reference_pa = settings.reference_pressure_pa.unwrap_or(difference_pa);
    let ratio = (reference_pa / difference_pa).abs();
    let volume = settings.volume_m3;
    let to_rate = SECONDS_PER_HOUR / volume.value * ratio;
    let own = leak.scaled(to_rate);
    let span_s = course.span_s();
    let root_h = (span_s / SECONDS_PER_HOUR).sqrt();
    let kelvin = match record.gas_temperature {
        Some(_) => THERMOMETER_PARTS_K,
        None => (TEMPERATURE_DRIFT_K * root_h).min(TEMPERATURE_DRIFT_AT_MOST_K),
    };
    let weather = if record.room_pressure.is_some() { 0.0 } else { WEATHER_PA * root_h };
    let stored = |relative: f64| volume.value * relative / span_s * to_rate;
    let meter = &settings.meter;
    let fed = course.mean_flow() * to_rate;
    let value = own.median();
    let zero = meter_zero(record, settings, course);
    let lines = [
        ("scale of the meter", meter.scale * fed),
        ("zero of the meter", zero * to_rate),
        ("edges of pulses, steps of the meter", pulsed * to_rate),
        ("temperature of the gas", stored(kelvin / course.temperature_k)),
        ("room pressure, not logged", stored(weather / course.room_pa)),
        ("volume of the enclosure", fed * volume.standard_uncertainty / volume.value),
        ("zero and scale of the gauge", value * (settings.gauge.zero / difference_pa).hypot(settings.gauge.scale)),
        ("law of the leak", value * EXPONENT * ratio.ln()),
    ];
    let all = lines.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
    let mut budget = vec![BudgetLine::new("course of the total", own.standard_deviation())];
    budget.extend(lines.iter().filter(|(_, u)| u.abs() > 0.0).map(|(source, u)| BudgetLine::new(*source, *u)));
    let mut estimate = Estimate::from_distribution(own.with_normal_error(all), budget).at(reference_pa);
    if estimate.interval95[0] <= 0.0 {
        notes.push(Note::BelowResolution);
        estimate = estimate.into_upper_bound();
    }
    Some(estimate)
}

fn circumstances(record: &Record<'_>, settings: &Settings, course: &Course, difference_pa: f64, notes: &mut Vec<Note>) {
    let flags = [
        (difference_pa < 0.0, Note::Extraction),
        (settings.reference_pressure_pa.is_none(), Note::NoReferencePressure),
        (record.gas_temperature.is_none(), Note::TemperatureNotLogged),
        (record.room_pressure.is_none(), Note::RoomPressureNotLogged),
        (settings.meter_reference.is_none(), Note::MeterReferenceNotStated),
    ];
    notes.extend(flags.into_iter().filter(|(is, _)| *is).map(|(_, note)| note));
    if let Some(reference_pa) = settings.reference_pressure_pa {
        if reference_pa * difference_pa < 0.0 {
            notes.push(Note::ReferenceOtherSign);
        }
        if !(0.67..1.5).contains(&(reference_pa / difference_pa).abs()) {
            notes.push(Note::ReferenceFar { pressures_pa: [difference_pa, reference_pa] });
        }
    }
    let last = |values: &[f64]| values.last().zip(values.first()).map_or(0.0, |(last, first)| last - first);
    let fed = last(&course.fed_m3);
    let share = if fed > 0.0 { (1.0 - last(&course.leaked_m3) / fed).abs() } else { 0.0 };
    if share > 0.05 {
        notes.push(Note::StorageMatters { share });
    }
}

/// Share of the time within the band.
fn share_in_band(difference: Samples<'_>, band_pa: Option<[f64; 2]>) -> Option<f64> {
    let [low, high] = band_pa?;
    let (time, value) = (difference.time_s(), difference.value());
    let [mut inside, mut all] = [0.0; 2];
    // A reading stands for the time until the next; gaps stand for no more than a few steps.
    let longest = 5.0 * difference.cadence_s();
    for (pair, value) in time.windows(2).zip(value) {
        let step_s = (pair[1] - pair[0]).min(longest);
        all += step_s;
        inside += if (low..=high).contains(value) { step_s } else { 0.0 };
    }
    (all > 0.0).then(|| inside / all)
}

fn series(record: &Record<'_>, course: &Course) -> Series {
    let mut series = Series {
        time_s: course.time_s.clone(),
        fed_m3: course.fed_m3.clone(),
        leaked_m3: course.leaked_m3.clone(),
        ..Series::default()
    };
    let from = series.leaked_m3.first().copied().unwrap_or(0.0);
    series.leaked_m3.iter_mut().for_each(|value| *value -= from);
    if let Some(difference) = record.difference {
        // The lowest and the highest reading of each stretch stay, so that excursions show.
        let size = difference.len().div_ceil(1500);
        for (time, value) in difference.time_s().chunks(size).zip(difference.value().chunks(size)) {
            let by = |a: &usize, b: &usize| value[*a].total_cmp(&value[*b]);
            let (Some(low), Some(high)) = ((0..value.len()).min_by(by), (0..value.len()).max_by(by)) else { continue };
            let mut places = vec![low.min(high), low.max(high)];
            places.dedup();
            for place in places {
                series.difference_time_s.push(time[place]);
                series.difference_pa.push(value[place]);
            }
        }
    }
    series
}
