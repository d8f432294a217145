//! Clean-ups of many doses in a long log: each dose with its size and time constant, and how these change.
//!
//! Doses are sudden rises of the content that relax; drifts, steps that stay and single readings that stand out are none.
//! Each is evaluated as a [clean-up](crate::clean_up) of its own with the analyser's response in common.

mod finder;
mod note;
mod trend;

pub use note::Note;

use finder::{Bins, Found};
use trend::Point;

use crate::clean_up::{self, CleanUp, CleanUpError, Lag, Sound};
use crate::input::InputError;
use crate::ppm_rise::Trace;
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Kind};

const SECONDS_PER_DAY: f64 = 86_400.0;
const PPM: f64 = 1e6;

/// What is known before the readings are looked at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// The analyser's response.
    pub lag: Lag,
    /// Moments at which a dose is to be expected, s on the record's time axis: transfers, purifier switched on.
    pub expected_s: Vec<f64>,
    /// Number of threads that may share the doses; 0 and 1 mean none but the caller's.
    pub threads: usize,
}

/// Result of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct CleanUpSeries {
    /// The doses in order of time.
    pub doses: Vec<Dose>,
    /// Number of doses.
    pub dose_count: Estimate,
    /// Time constant of the first dose that gives one, s.
    pub time_constant_first: Option<Estimate>,
    /// Time constant of the last, s.
    pub time_constant_last: Option<Estimate>,
    /// Relative change of the time constant in 1/day; from four time constants on.
    pub time_constant_trend: Option<Estimate>,
    /// The line behind the trend.
    pub line: Option<TrendLine>,
    /// What the trend says in a word.
    pub course: Course,
    /// Series for plotting.
    pub series: Series,
    /// Readings that stand out alone and were set aside.
    pub spikes: usize,
    /// Findings.
    pub notes: Vec<Note>,
}

/// A dose.
#[derive(Debug, Clone, PartialEq)]
pub struct Dose {
    /// When it began to show, s on the record's time axis.
    pub onset_s: f64,
    /// Rise of the reading, ppm.
    pub rise_ppm: f64,
    /// Its evaluation; `None` where the decay is too short or too weak.
    pub evaluation: Option<DoseFit>,
}

/// What the decay of a dose gives.
#[derive(Debug, Clone, PartialEq)]
pub struct DoseFit {
    /// Size if it were given at once, ppm.
    pub size_ppm: Estimate,
    /// Time constant of the gas, s.
    pub time_constant: Estimate,
    /// The evaluated part, s.
    pub window_s: [f64; 2],
}

/// Time constants on a line: ln τ = ln(`time_constant_s`) + trend·(t − `centre_s`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrendLine {
    /// Time constant in the middle, s.
    pub time_constant_s: f64,
    /// The middle, s on the record's time axis.
    pub centre_s: f64,
    /// Slope, 1/day.
    pub per_day: f64,
    /// Relative scatter between the doses beyond their own uncertainty.
    pub scatter: f64,
}

/// What the time constants do over the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Course {
    /// No change found.
    Steady,
    /// Time constants grow.
    Slowing,
    /// Time constants shrink.
    SpeedingUp,
    /// Too few time constants to say.
    TooFew,
}

/// Series for plotting, in s and ppm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Time in s.
    pub time_s: Vec<f64>,
    /// Content in ppm, means of equal lengths of time.
    pub content_ppm: Vec<f64>,
}

/// Evaluates a log with doses.
///
/// `trace` holds contents as mole fractions; censored readings enter as bounds. Checked by simulation of two weeks with 40
/// doses: see `tests/coverage/clean_up_series.rs` and the method's page.
///
/// # Errors
/// When no reading follows another or the statuses do not fit; see [`CleanUpError`]. A log without doses is no error.
pub fn evaluate(trace: &Trace<'_>, settings: &Settings) -> Result<CleanUpSeries, CleanUpError> {
    if !trace.status.is_empty() && trace.status.len() != trace.samples.len() {
        return Err(InputError::StatusLength { statuses: trace.status.len(), readings: trace.samples.len() }.into());
    }
    if trace.samples.len() < 8 {
        return Err(CleanUpError::TooFewReadings { found: trace.samples.len(), needed: 8 });
    }
    let sound = Sound::of(trace);
    let seen = &sound.trace();
    let bins = Bins::gather(seen);
    let found = finder::find(&bins, &settings.expected_s, trace.analyser.resolution);
    let response = Response::of(seen, &found, settings.lag);
    let doses = in_turn(found.len(), settings.threads, &|index| response.dose(seen, &found, index));
    Ok(CleanUpSeries { spikes: sound.spikes_s.len(), ..summarise(doses, &response, &bins) })
}

/// Each dose by its index, in order, shared out among threads like cards: neighbours take about as long.
fn in_turn(count: usize, threads: usize, evaluated: &(dyn Fn(usize) -> Dose + Sync)) -> Vec<Dose> {
    let threads = threads.clamp(1, count.max(1));
    let hand = |thread: usize| -> Vec<(usize, Dose)> {
        (thread..count).step_by(threads).map(|index| (index, evaluated(index))).collect()
    };
    let mut doses = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|thread| scope.spawn(move || hand(thread))).collect();
        let mut doses = hand(0);
        for other in others {
            doses.extend(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        doses
    });
    doses.sort_by_key(|(index, _)| *index);
    doses.into_iter().map(|(_, dose)| dose).collect()
}

/// The response that all doses share.
#[derive(Debug, Clone, Copy)]
struct Response {
    lag: Lag,
    /// Relative standard uncertainty of the time constants that comes from it.
    relative: f64,
}

impl Response {
    /// From what is stated and the largest dose.
    fn of(trace: &Trace<'_>, found: &[Found], stated: Lag) -> Self {
        let largest = (0..found.len()).max_by(|a, b| found[*a].rise.total_cmp(&found[*b].rise));
        let evaluated = largest.and_then(|index| evaluate_dose(trace, found, index, stated));
        match (evaluated, stated) {
            (Some(evaluation), _) => {
                let relative = evaluation.time_constant_from_response_s / evaluation.time_constant.value;
                Self { lag: Lag::Exactly(evaluation.response_s), relative }
            }
            (None, Lag::Stated(lag)) => Self { lag: Lag::Exactly(lag.value), relative: 0.0 },
            (None, other) => Self { lag: other, relative: 0.0 },
        }
    }

    fn dose(&self, trace: &Trace<'_>, found: &[Found], index: usize) -> Dose {
        let dose = found[index];
        let evaluation = evaluate_dose(trace, found, index, self.lag)
            .filter(|evaluation| is_determined(evaluation, trace.samples.cadence_s()))
            .map(|evaluation| DoseFit {
                size_ppm: evaluation.dose.clone(),
                window_s: [evaluation.window.from_s, evaluation.window.to_s],
                time_constant: evaluation.time_constant,
            });
        Dose { onset_s: dose.onset_s, rise_ppm: dose.rise * PPM, evaluation }
    }

    /// With the uncertainty that all share.
    fn added_to(&self, estimate: &Estimate) -> Estimate {
        let common = self.relative * estimate.value;
        let mut budget = estimate.budget.clone();
        if common > 0.0 {
            budget.push(BudgetLine::new("response of the analyser, common to all doses", common));
        }
        Estimate::from_distribution(estimate.distribution.with_normal_error(common), budget)
    }
}

/// A time constant that is known to no better than a factor, or that may pass between two readings, is none.
fn is_determined(evaluation: &CleanUp, cadence_s: f64) -> bool {
    let [low, high] = evaluation.time_constant.interval95;
    low > cadence_s && high < 6.0 * low
}

/// Evaluates the part of the log, rid of spikes, from before a dose to the next one.
fn evaluate_dose(trace: &Trace<'_>, found: &[Found], index: usize, lag: Lag) -> Option<CleanUp> {
    let dose = found[index];
    let earliest_s = if index > 0 { found[index - 1].peak_s } else { trace.samples.first_time_s() };
    let next_s = found.get(index + 1).map_or(f64::INFINITY, |next| next.onset_s);
    // The floor long after a dose wanders and says nothing more of its decay.
    let long_s =
        dose.fall_s.map_or(f64::INFINITY, |fall_s| dose.peak_s + 12.0 * fall_s.max(dose.peak_s - dose.onset_s));
    let until_s = next_s.min(long_s);
    let from_s = earliest_s.max(dose.onset_s - 0.5 * (until_s.min(trace.samples.last_time_s()) - dose.peak_s));
    let time = trace.samples.time_s();
    let last = time.partition_point(|&t| t < until_s).checked_sub(1)?;
    let part = trace.between(from_s, time[last])?;
    clean_up::evaluate_sound(&part, &clean_up::Settings { lag, ..clean_up::Settings::default() }).ok()
}

fn summarise(doses: Vec<Dose>, response: &Response, bins: &Bins) -> CleanUpSeries {
    let fits: Vec<(&Dose, &DoseFit)> =
        doses.iter().filter_map(|dose| Some((dose, dose.evaluation.as_ref()?))).collect();
    let points: Vec<Point> = fits
        .iter()
        .map(|(dose, fit)| Point {
            at: (dose.onset_s - bins.from_s) / SECONDS_PER_DAY,
            value: fit.time_constant.value.ln(),
            standard_uncertainty: fit.time_constant.standard_uncertainty / fit.time_constant.value,
        })
        .collect();
    let near = trend::without_far(&points);
    let found = trend::trend(&near);
    let trend = found.as_ref().map(|found| {
        let alone = |p: &Point| p.standard_uncertainty.powi(2);
        let own = (near.iter().map(alone).sum::<f64>() / near.len() as f64).sqrt();
        let share = found.scatter.hypot(own).max(1e-300);
        let whole = found.slope.standard_deviation();
        Estimate::from_distribution(
            found.slope.clone(),
            vec![
                BudgetLine::new("time constants of the doses", whole * own / share),
                BudgetLine::new("scatter between the doses", whole * found.scatter / share),
            ],
        )
    });
    let course = match &trend {
        None => Course::TooFew,
        Some(trend) if trend.interval95[0] > 0.0 => Course::Slowing,
        Some(trend) if trend.interval95[1] < 0.0 => Course::SpeedingUp,
        Some(_) => Course::Steady,
    };
    let of = |fit: Option<&(&Dose, &DoseFit)>| fit.map(|(_, fit)| response.added_to(&fit.time_constant));
    let (time_constant_first, time_constant_last) = (of(fits.first()), of(fits.last()));
    let line = found.as_ref().map(|found| TrendLine {
        time_constant_s: found.level.exp(),
        centre_s: bins.from_s + found.centre * SECONDS_PER_DAY,
        per_day: found.slope.median(),
        scatter: found.scatter,
    });
    let far = points.len() - near.len();
    let notes = note::notes(&doses, course, far, trend.as_ref(), line.as_ref(), bins.len() as f64 * bins.width_s);
    let count = doses.len() as f64;
    CleanUpSeries {
        dose_count: Estimate {
            kind: Kind::Estimate,
            ..Estimate::from_distribution(Distribution::normal(count, 0.0), Vec::new())
        },
        time_constant_first,
        time_constant_last,
        time_constant_trend: trend,
        line,
        course,
        series: series(bins),
        spikes: 0,
        notes,
        doses,
    }
}

/// At most some thousand means; a dose shows in the largest and smallest of each stretch.
fn series(bins: &Bins) -> Series {
    const STRETCHES: usize = 2000;
    let stride = (bins.len() / STRETCHES).max(1);
    let mut series = Series::default();
    for from in (0..bins.len()).step_by(stride) {
        let levels = (from..(from + stride).min(bins.len())).filter_map(|bin| Some((bin, bins.mean(bin, bin + 1)?)));
        let ends = levels.fold(None, |ends: Option<[(usize, f64); 2]>, here| {
            Some(ends.map_or([here; 2], |[low, high]| {
                [if here.1 < low.1 { here } else { low }, if here.1 > high.1 { here } else { high }]
            }))
        });
        let Some(mut ends) = ends else { continue };
        ends.sort_by_key(|end| end.0);
        for (bin, level) in if ends[0].0 == ends[1].0 { &ends[..1] } else { &ends[..] } {
            series.time_s.push(bins.time_s(*bin));
            series.content_ppm.push(level * PPM);
        }
    }
    series
}
