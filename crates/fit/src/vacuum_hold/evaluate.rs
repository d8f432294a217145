//! From readings to leak and outgassing.

use super::hold_finder::{self, Found};
use super::{Note, Record, RoomReference, Series, Settings, VacuumHold, VacuumHoldError};
use crate::input::InputError;
use crate::noise::{newey_west_lag, straight_line};
use crate::ppm_rise::steady::{Approach, SteadyPart, part};
use crate::ppm_rise::{Analyser, PpmRiseError, Trace};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Kind, Samples};

/// Highest pressure over that of the room below which laminar and molecular law do not differ.
const LAW_MATTERS_FROM: f64 = 0.003;
/// How far a power law may miss the outgassing at the end of a record, relative standard uncertainty: its exponent and
/// late cut-off are assumed, not measured.
const POWER_LAW_FORM: f64 = 0.3;
/// Probability of a power law from which its form matters.
const SLOW_TAIL: f64 = 0.1;
/// Drift of an unlogged temperature of the gas: standard deviation after 1 h, growing with the root of time, and at most
/// (common practice, no source: an air-conditioned room).
const TEMPERATURE_DRIFT_K: f64 = 0.5;
const TEMPERATURE_DRIFT_AT_MOST_K: f64 = 2.0;
/// Standard uncertainty of a logged temperature's change over a hold, K.
const LOGGED_TEMPERATURE_K: f64 = 0.1;
/// Change of the room's pressure: standard deviation after 1 h, growing with the root of time, Pa (200 Pa in a day).
const WEATHER_PA: f64 = 40.0;
const ROOM_TEMPERATURE_K: f64 = 295.0;
/// A hold up to so many times as long as the pumping before it must show the leak beside walls: what they give off goes with
/// the time since the pumping began, and looks nearly steady until that has become a multiple.
const LONGER_THAN_PUMPING: f64 = 3.0;

/// Evaluates a vacuum hold.
///
/// The rise is parted into a steady inflow and a decaying source, as in a ppm rise: no decay, one or two exponentials, a
/// power law, each weighted by how far the readings support it, noise and time constants averaged over. Gas that warms up
/// after the pumping looks like a fast exponential and goes with the outgassing. The leak slackens with 1 − (p/p_room)²
/// (laminar) or 1 − p/p_room (molecular); where that matters the result spans both.
///
/// Checked by simulation: see `tests/coverage/vacuum_hold.rs` and the method's page.
///
/// # Errors
/// When the record or the settings allow no estimate at all; see [`VacuumHoldError`].
pub fn evaluate(record: &Record<'_>, settings: &Settings) -> Result<VacuumHold, VacuumHoldError> {
    for (what, value) in [("volume", settings.volume_m3.value), ("pressure of the room", record.room_pressure_pa)] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(InputError::NotPositive { what, value }.into());
        }
    }
    let found = match settings.window_s {
        Some(window_s) => hold_finder::set(record, window_s)?,
        None => hold_finder::find(record)?,
    };
    let hold = Hold::new(record, settings, &found)?;
    Ok(hold.summarise(record, &found))
}

/// The readings of a hold, parted by both laws.
struct Hold<'s> {
    settings: &'s Settings,
    /// Parted by the laminar law, and by the molecular one where the two differ.
    parts: Vec<SteadyPart>,
    /// Unit of the parts, Pa.
    unit_pa: f64,
    span_s: f64,
    mean_pa: f64,
    /// Mean over the hold of the factor by which the leak slackens, of each law.
    slackening: [f64; 2],
    room_pressure_pa: f64,
    temperature_logged: bool,
    straight_line_pa_per_s: f64,
    /// How long before the hold the pumping began, s, where what comes off the walls may still look steady.
    walls_since_s: Option<f64>,
}

impl<'s> Hold<'s> {
    fn new(record: &Record<'_>, settings: &'s Settings, found: &Found) -> Result<Self, VacuumHoldError> {
        let window_s = [found.window.from_s, found.window.to_s];
        let readings = record.pressure.between(window_s[0], window_s[1]);
        let readings = readings.ok_or(VacuumHoldError::TooFewReadings { found: 0, needed: FEWEST })?;
        let pressure_pa = at_common_temperature(readings, record.gas_temperature);
        let unit_pa = pressure_pa.iter().fold(0.0_f64, |a, b| a.max(b.abs())).max(1e-300);
        let content: Vec<f64> = pressure_pa.iter().map(|p| p / unit_pa).collect();
        let n = content.len() as f64;
        let share: Vec<f64> = pressure_pa.iter().map(|p| p / record.room_pressure_pa).collect();
        let mean = |of: &dyn Fn(f64) -> f64| share.iter().map(|x| of(*x)).sum::<f64>() / n;
        let samples = Samples::new(readings.time_s(), &content).map_err(|_| VacuumHoldError::NoFit)?;
        let analyser = Analyser { resolution: settings.gauge.resolution / unit_pa, ..Analyser::default() };
        let trace = Trace { samples, status: &[], analyser };
        let ceiling = record.room_pressure_pa / unit_pa;
        let span_s = readings.last_time_s() - readings.first_time_s();
        let pumped_s = settings.pumped_s.or(found.pumped_s);
        let walls_since_s = pumped_s.filter(|pumped_s| *pumped_s > 0.0 && span_s < LONGER_THAN_PUMPING * pumped_s);
        let by = |law| part(&trace, window_s, ceiling, law, walls_since_s).map_err(|error| from_rise(&error));
        let mut parts = vec![by(Approach::Quadratic)?];
        if unit_pa > LAW_MATTERS_FROM * record.room_pressure_pa {
            parts.push(by(Approach::Linear)?);
        }
        let line = straight_line(readings.time_s(), &pressure_pa, newey_west_lag(readings.len()));
        Ok(Self {
            settings,
            parts,
            unit_pa,
            span_s,
            walls_since_s,
            mean_pa: pressure_pa.iter().sum::<f64>() / n,
            slackening: [1.0 - mean(&|x| x * x), 1.0 - mean(&|x| x)],
            room_pressure_pa: record.room_pressure_pa,
            temperature_logged: record.gas_temperature.is_some(),
            straight_line_pa_per_s: line.map_or(0.0, |line| line.slope),
        })
    }

    fn volume_m3(&self) -> f64 {
        self.settings.volume_m3.value
    }

    /// Throughput of a rate of the parts.
    fn throughput(&self) -> f64 {
        self.unit_pa * self.volume_m3()
    }

    fn summarise(self, record: &Record<'_>, found: &Found) -> VacuumHold {
        let mut notes = Vec::new();
        if !record.restarts_s.is_empty() {
            notes.push(Note::Restarted { times: record.restarts_s.len() });
        }
        if let Some((at_s, pressure_pa)) = found.regime_change {
            notes.push(Note::RegimeChanged { at_s, pressure_pa });
        }
        let leak_throughput = self.leak(&mut notes).at(self.mean_pa - self.room_pressure_pa);
        let outgassing_throughput = self.outgassing(&leak_throughput);
        if leak_throughput.kind == Kind::Estimate && self.parts[0].decaying > 0.5 {
            notes.push(Note::OutgassingFound {
                parts: [leak_throughput.value, outgassing_throughput.middle()],
                straight_line: self.straight_line_pa_per_s * self.volume_m3(),
            });
        }
        let series = self.series(record);
        let first = &self.parts[0];
        VacuumHold {
            leak_throughput,
            outgassing_throughput,
            window: found.window,
            outgassing_probability: first.decaying,
            noise_pa: first.scatter * self.unit_pa,
            outliers: first.outliers,
            series,
            notes,
        }
    }

    fn leak(&self, notes: &mut Vec<Note>) -> Estimate {
        let leaks: Vec<Distribution> = self
            .parts
            .iter()
            .zip(self.slackening)
            .map(|(part, slackening)| part.inflow.scaled(self.throughput() * slackening))
            .collect();
        let from_readings = averaged(&leaks);
        let (systematic, mut budget) = self.systematic(from_readings.median(), notes);
        budget.push(BudgetLine::new("noise and models of outgassing", from_readings.standard_deviation()));
        if let [laminar, molecular] = leaks.as_slice() {
            let (a, b) = (laminar.median(), molecular.median());
            budget.push(BudgetLine::new("law of the leak", 0.5 * (a - b)));
            if (a - b).abs() > from_readings.standard_deviation() {
                notes.push(Note::LawMatters { leaks: [a, b] });
            }
        }
        let form = self.form();
        budget.push(BudgetLine::new("form of slowly decaying outgassing", form));
        let beside_walls = self.beside_walls(&from_readings);
        let walls = beside_walls.standard_deviation().powi(2) - from_readings.standard_deviation().powi(2);
        budget.push(BudgetLine::new("walls that were pumped on only just before", walls.max(0.0).sqrt()));
        budget.retain(|line| line.standard_uncertainty > 0.0);
        let other = systematic.hypot(form);
        let estimate = Estimate::from_distribution(beside_walls.with_normal_error(other), budget.clone());
        if estimate.interval95[0] > 0.0 {
            return estimate;
        }
        let rises = from_readings.with_normal_error(other).quantile(0.025) > 0.0;
        let part = &self.parts[0];
        let slow = part.slow_s.is_some_and(|slow_s| slow_s > 0.3 * self.span_s);
        let bounded = if rises || part.power_law > SLOW_TAIL || (part.decaying > 0.5 && slow) {
            let all = part.all_at_end.scaled(self.throughput());
            notes.push(Note::NotSeparable {
                more_s: self.time_that_would_tell(),
                outgassing_share: if rises { 1.0 } else { self.outgassing_share() },
            });
            let from_end = Estimate::from_distribution(all.with_normal_error(systematic), budget);
            if from_end.interval95[1] > estimate.interval95[1] { from_end } else { estimate }
        } else {
            notes.push(Note::BelowResolution);
            estimate
        };
        upper_bound(bounded)
    }

    /// The leak with its lower end drawn down to what walls would leave of it.
    fn beside_walls(&self, leak: &Distribution) -> Distribution {
        let least = self
            .parts
            .iter()
            .zip(self.slackening)
            .filter_map(|(part, slackening)| Some(part.least_beside_walls? * self.throughput() * slackening))
            .reduce(f64::min);
        match least {
            Some(least) => leak.reaching([least, leak.quantile(0.975)]),
            None => leak.clone(),
        }
    }

    /// Standard uncertainty from the form of a power law, Pa·m³/s.
    fn form(&self) -> f64 {
        let part = &self.parts[0];
        if part.power_law < SLOW_TAIL {
            return 0.0;
        }
        POWER_LAW_FORM * part.outgassing_at_end.median() * self.throughput()
    }

    fn outgassing_share(&self) -> f64 {
        let part = &self.parts[0];
        let all = part.all_at_end.median();
        if all > 0.0 { (part.outgassing_at_end.quantile(0.975) / all).clamp(0.0, 1.0) } else { 1.0 }
    }

    /// Further time after which the outgassing would have decayed enough to be told from the leak, s.
    fn time_that_would_tell(&self) -> f64 {
        let part = &self.parts[0];
        if let Some(since_s) = self.walls_since_s {
            return LONGER_THAN_PUMPING * since_s - self.span_s;
        }
        match part.slow_s {
            // Three time constants leave a twentieth of an exponential.
            Some(slow_s) => (3.0 * slow_s - self.span_s).max(self.span_s),
            // Four times the record leave about a quarter of what decays as 1/t.
            None => 3.0 * self.span_s,
        }
    }

    fn outgassing(&self, leak: &Estimate) -> Estimate {
        let each: Vec<Distribution> =
            self.parts.iter().map(|part| part.outgassing_at_end.scaled(self.throughput())).collect();
        let distribution = averaged(&each);
        let scale = self.settings.gauge.scale.hypot(self.relative_volume()) * distribution.median();
        let form = self.form();
        let budget = vec![
            BudgetLine::new("noise and models of outgassing", distribution.standard_deviation()),
            BudgetLine::new("gauge and volume", scale),
            BudgetLine::new("form of slowly decaying outgassing", form),
        ];
        let budget = budget.into_iter().filter(|line| line.standard_uncertainty > 0.0).collect();
        let mut estimate = Estimate::from_distribution(distribution.with_normal_error(scale.hypot(form)), budget);
        let early = self.walls_since_s.is_some();
        if leak.kind == Kind::UpperBound && (self.parts[0].power_law > SLOW_TAIL || early) {
            // All that comes in at the end may be outgassing.
            estimate.interval95[1] = estimate.interval95[1].max(leak.interval95[1]);
        } else if early {
            estimate.interval95[1] = estimate.interval95[1].max(leak.interval95[1] - leak.interval95[0]);
        }
        if estimate.interval95[0] <= 0.02 * estimate.interval95[1] {
            estimate = estimate.into_upper_bound();
        }
        estimate.value = estimate.value.max(0.0);
        estimate
    }

    fn relative_volume(&self) -> f64 {
        self.settings.volume_m3.standard_uncertainty / self.volume_m3()
    }

    /// What the readings cannot show of a leak, Pa·m³/s: all together, and line by line.
    fn systematic(&self, leak: f64, notes: &mut Vec<Note>) -> (f64, Vec<BudgetLine>) {
        let gauge = &self.settings.gauge;
        let per_pa = self.volume_m3() / self.span_s;
        let root_h = (self.span_s / 3600.0).sqrt();
        let kelvin = if self.temperature_logged {
            LOGGED_TEMPERATURE_K
        } else {
            (TEMPERATURE_DRIFT_K * root_h).min(TEMPERATURE_DRIFT_AT_MOST_K)
        };
        let temperature = self.mean_pa.abs() * kelvin / ROOM_TEMPERATURE_K * per_pa;
        let weather = match self.settings.room {
            RoomReference::Followed => 0.0,
            RoomReference::NotLogged => WEATHER_PA * root_h * per_pa,
        };
        // A step that the noise does not blur may hide up to half a step at either end.
        let rounding = if self.parts[0].coarse { gauge.resolution / 6.0_f64.sqrt() * per_pa } else { 0.0 };
        let lines = [
            ("scale of the gauge", leak * gauge.scale),
            ("drift of the gauge", self.volume_m3() * gauge.drift_per_s),
            ("resolution of the gauge", rounding),
            ("volume of the vessel", leak * self.relative_volume()),
            ("temperature of the gas", temperature),
            ("room pressure, not logged", weather),
        ];
        let all = lines.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
        if !self.temperature_logged && temperature > 0.3 * all && temperature > 0.02 * leak.abs() {
            notes.push(Note::TemperatureNotLogged { standard_uncertainty: temperature });
        }
        if weather > 0.3 * all {
            notes.push(Note::RoomPressureNotLogged { standard_uncertainty: weather });
        }
        (all, lines.into_iter().map(|(source, u)| BudgetLine::new(source, u)).collect())
    }

    fn series(&self, record: &Record<'_>) -> Series {
        let stride = record.pressure.len().div_ceil(3000);
        let thinned = |values: &[f64]| values.iter().step_by(stride).copied().collect();
        let [time_s, pressure, fitted, outgassed] = &self.parts[0].series;
        let in_pa = |values: &[f64]| values.iter().map(|x| x * self.unit_pa).collect();
        Series {
            record_time_s: thinned(record.pressure.time_s()),
            record_pa: thinned(record.pressure.value()),
            time_s: time_s.clone(),
            pressure_pa: in_pa(pressure),
            fitted_pa: in_pa(fitted),
            outgassed_pa: in_pa(outgassed),
        }
    }
}

/// Fewest readings of a hold.
const FEWEST: usize = 8;

fn from_rise(error: &PpmRiseError) -> VacuumHoldError {
    match *error {
        PpmRiseError::TooFewReadings { found, needed, .. } => VacuumHoldError::TooFewReadings { found, needed },
        _ => VacuumHoldError::NoFit,
    }
}

/// The estimate as a bound. A value below zero says no more than zero would: a vacuum lets nothing out.
fn upper_bound(mut estimate: Estimate) -> Estimate {
    let [_, high] = estimate.interval95;
    estimate.interval95[1] = high.max(high - estimate.value);
    estimate.into_upper_bound()
}

/// Pressures as they would be at the mean temperature of the gas.
fn at_common_temperature(pressure: Samples<'_>, temperature: Option<Samples<'_>>) -> Vec<f64> {
    let part = temperature.and_then(|t| t.between(pressure.first_time_s(), pressure.last_time_s()));
    let Some(temperature) = part else { return pressure.value().to_vec() };
    let mean = temperature.mean();
    let (time, value) = (temperature.time_s(), temperature.value());
    let mut upper = 0;
    pressure
        .time_s()
        .iter()
        .zip(pressure.value())
        .map(|(t, p)| {
            while upper < time.len() && time[upper] < *t {
                upper += 1;
            }
            let kelvin = match upper {
                0 => value[0],
                u if u == time.len() => value[u - 1],
                u => {
                    let share = (t - time[u - 1]) / (time[u] - time[u - 1]);
                    value[u - 1] + share * (value[u] - value[u - 1])
                }
            };
            p * mean / kelvin
        })
        .collect()
}

/// Even mixture of the distributions.
fn averaged(distributions: &[Distribution]) -> Distribution {
    let [first, second] = distributions else { return distributions[0].clone() };
    let nodes = |distribution: &Distribution| -> Vec<f64> {
        (0..400).map(|i| distribution.quantile((f64::from(i) + 0.5) / 400.0)).collect()
    };
    let mut x = nodes(first);
    x.extend(nodes(second));
    x.retain(|value| value.is_finite());
    x.sort_by(f64::total_cmp);
    x.dedup();
    if x.len() < 2 {
        return first.clone();
    }
    let cumulative = x.iter().map(|at| 0.5 * (first.cdf(*at) + second.cdf(*at))).collect();
    Distribution::Tabulated { x, cumulative }
}
