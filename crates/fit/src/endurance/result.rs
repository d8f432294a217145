//! From readings to the largest content and the share of time.

use super::excursion::{Excursion, Found, find, is_of, lone_readings};
use super::peak::Peak;
use super::readings::Readings;
use super::{Note, Settings};
use crate::Estimate;
use crate::estimate::{BudgetLine, Kind};
use crate::noise::{LocalLevel, Path, mean_and_standard_deviation};
use crate::ppm_rise::{Analyser, ReadingStatus, Trace};
use crate::simulate::Random;
use crate::uncertainty::Distribution;

const PPM: f64 = 1e6;
/// Draws of path and instrument together.
const DRAWS: usize = 400;
/// Of longer records so many means are taken.
const BLOCKS: usize = 10_000;
/// Excursions whose peaks may be the largest.
const PEAKS: usize = 5;
/// Relative standard uncertainty of how far a course rises above its mean, for not knowing how rough it is.
const ROUGHNESS_DOUBT: f64 = 0.04;
/// What is added to it for each time that the noise is larger than that rise, up to [`MOST_HIDDEN`] times: noise hides how
/// rough a course is. Found by simulation, with a wandering of 0.02 ppm under 0.15 ppm of noise.
const HIDDEN_DOUBT: f64 = 0.06;
const MOST_HIDDEN: f64 = 3.0;
/// No purifier brings a dose down within so many seconds: a circulation of two hundred volumes an hour takes 18 s for a factor
/// of e (common practice, no source).
const FASTEST_GAS_S: f64 = 15.0;

/// An endurance run of one species, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct Endurance {
    /// With everything that happened.
    pub kept: Kept,
    /// Without short excursions; the same where there are none.
    pub without_excursions: Kept,
    /// Short excursions, in order.
    pub excursions: Vec<Excursion>,
    /// First and last reading that count, s.
    pub window_s: [f64; 2],
    /// Time that the readings stand for, s.
    pub observed_s: f64,
    /// Readings set aside with the purifier off.
    pub off_readings: usize,
    /// Lone readings set aside.
    pub spikes: usize,
    /// What must be known to read the results.
    pub notes: Vec<Note>,
    /// For plots.
    pub series: Series,
}

/// How the content was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// Largest content, ppm.
    pub max: Estimate,
    /// Share of time within the target.
    pub share_within: Option<Estimate>,
}

/// Curves for plots, thinned so that no peak is lost: of every stretch its least and its largest reading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Times, s.
    pub time_s: Vec<f64>,
    /// Readings, ppm.
    pub ppm: Vec<f64>,
}

pub(super) fn summarise(trace: &Trace<'_>, settings: &Settings, readings: &Readings) -> Endurance {
    let tau_s = trace.analyser.response_tau_s;
    let may_be_lone = tau_s < 0.5 * readings.cadence_s && readings.cadence_s > FASTEST_GAS_S;
    let (found, baseline) = find(readings, &settings.transfers_s, may_be_lone);
    let spikes = if may_be_lone { Vec::new() } else { lone_readings(readings, &found, &baseline) };
    let target_ppm = settings.target.map(|target| PPM * target);
    let courses = Courses::new(readings, &found, &spikes, tau_s);
    let mut with = Tally::default();
    let mut without = Tally::default();
    let mut random = Random::new(0x454e);
    let instrument = Instrument::new(&trace.analyser, readings);
    for _ in 0..DRAWS {
        let errors = instrument.draw(&mut random);
        courses.draw(&errors, target_ppm, &mut random, &mut with, &mut without);
    }
    let of = |tally: Tally| kept(tally, readings, trace, settings, &courses, &instrument);
    let (mut kept, without_excursions) = (of(with), of(without));
    let unseen = courses.peaks_unseen();
    if unseen > 0 {
        kept.max = kept.max.into_lower_bound();
    }
    let excursions: Vec<Excursion> = found.iter().map(|excursion| described(readings, excursion)).collect();
    let mut notes = notes(trace, settings, readings, &kept, &without_excursions, &excursions, spikes.len());
    if unseen > 0 {
        notes.push(Note::PeaksUnseen { count: unseen });
    }
    Endurance {
        kept,
        without_excursions,
        excursions,
        window_s: readings.window_s,
        observed_s: readings.observed_s(),
        off_readings: readings.off_readings,
        spikes: spikes.len(),
        notes,
        series: series(readings),
    }
}

fn described(readings: &Readings, found: &Found) -> Excursion {
    let span = found.first.saturating_sub(1)..=(found.last + 1).min(readings.len() - 1);
    Excursion {
        span_s: [readings.time_s[*span.start()], readings.time_s[*span.end()]],
        peak_ppm: readings.ppm[span].iter().copied().fold(f64::NEG_INFINITY, f64::max),
        marked: found.marked,
    }
}

/// Errors of the analyser in one draw.
struct Errors {
    zero_ppm: f64,
    scale: f64,
    drift_ppm_per_s: f64,
    start_s: f64,
}

impl Errors {
    /// What the analyser shows of a content.
    fn shown(&self, content_ppm: f64, time_s: f64) -> f64 {
        content_ppm * (1.0 + self.scale) + self.at(time_s)
    }

    /// The content behind what it shows.
    fn content(&self, shown_ppm: f64, time_s: f64) -> f64 {
        (shown_ppm - self.at(time_s)) / (1.0 + self.scale)
    }

    fn at(&self, time_s: f64) -> f64 {
        self.zero_ppm + self.drift_ppm_per_s * (time_s - self.start_s)
    }
}

/// What is stated of the analyser.
struct Instrument {
    zero_ppm: f64,
    scale: f64,
    drift_ppm_per_s: f64,
    /// Half a step of the readings where their noise does not average it out.
    half_step_ppm: f64,
    start_s: f64,
}

impl Instrument {
    fn new(analyser: &Analyser, readings: &Readings) -> Self {
        let step_ppm = PPM * analyser.resolution;
        // Rounding of a quiet reading is a common error; noise of half a step or more makes it average out.
        let half_step_ppm = if readings.noise_ppm < 0.45 * step_ppm { 0.5 * step_ppm } else { 0.0 };
        Self {
            zero_ppm: PPM * analyser.zero,
            scale: analyser.scale,
            drift_ppm_per_s: PPM * analyser.drift_per_s,
            half_step_ppm,
            start_s: readings.window_s[0],
        }
    }

    fn draw(&self, random: &mut Random) -> Errors {
        let rounding = random.uniform(-self.half_step_ppm, self.half_step_ppm.max(f64::MIN_POSITIVE));
        Errors {
            zero_ppm: self.zero_ppm * random.normal() + rounding,
            scale: (self.scale * random.normal()).max(-0.9),
            drift_ppm_per_s: self.drift_ppm_per_s * random.normal(),
            start_s: self.start_s,
        }
    }
}

/// Largest contents and shares of all draws.
#[derive(Debug, Default)]
struct Tally {
    max_ppm: Vec<f64>,
    share: Vec<f64>,
}

/// The level between excursions, and the excursions.
struct Courses {
    level: Option<LocalLevel>,
    /// Time that each block of the level stands for, s.
    weight_s: Vec<f64>,
    /// Longer steps between blocks have an excursion or a gap between them.
    joined_s: f64,
    excursions: Vec<Course>,
    tau_s: f64,
}

/// One excursion.
struct Course {
    time_s: Vec<f64>,
    ppm: Vec<f64>,
    weight_s: Vec<f64>,
    /// Only of those that may hold the largest content.
    peak: Option<Peak>,
    highest_ppm: f64,
    cadence_s: f64,
    /// Whether it rises faster than the analyser follows.
    is_sharp: bool,
}

impl Courses {
    fn new(readings: &Readings, found: &[Found], spikes: &[usize], tau_s: f64) -> Self {
        let mut excursions: Vec<Course> = found.iter().map(|f| Course::new(readings, f, tau_s)).collect();
        let mut order: Vec<usize> = (0..found.len()).collect();
        order.sort_by(|a, b| excursions[*b].highest_ppm.total_cmp(&excursions[*a].highest_ppm));
        for index in order.into_iter().take(PEAKS) {
            excursions[index].peak = Some(Peak::of(readings, &found[index], tau_s));
        }
        let (level, weight_s) = level(readings, found, spikes);
        let per_block = level.as_ref().map_or(1, |level| readings.len().div_ceil(level.time_s().len()));
        let joined_s = 2.5 * per_block as f64 * readings.cadence_s;
        Self { level, weight_s, joined_s, excursions, tau_s }
    }

    /// Excursions that came down between readings, so that nothing tells how high they went, and that may have gone the
    /// highest of all.
    fn peaks_unseen(&self) -> usize {
        let seen = self.excursions.iter().filter(|course| course.peak.as_ref().is_some_and(|peak| !peak.is_unseen()));
        // One that was seen on its way down tells how fast the others do: they cannot be far above their readings either.
        let highest = seen.map(|course| course.highest_ppm).fold(f64::NEG_INFINITY, f64::max);
        let unseen = self.excursions.iter().filter(|course| course.peak.as_ref().is_some_and(Peak::is_unseen));
        unseen.filter(|course| course.highest_ppm > 0.5 * highest).count()
    }

    fn draw(
        &self,
        errors: &Errors,
        target_ppm: Option<f64>,
        random: &mut Random,
        with: &mut Tally,
        without: &mut Tally,
    ) {
        let (mut highest, mut within_s, mut total_s) = (f64::NEG_INFINITY, 0.0, 0.0);
        if let Some(level) = &self.level {
            let path = level.draw(random);
            let time_s = level.time_s();
            highest = self.highest(&path, time_s, errors, random);
            total_s = self.weight_s.iter().sum();
            if let Some(target) = target_ppm {
                within_s = within(&path.value, time_s, &self.weight_s, |t| errors.shown(target, t));
            }
        }
        // Whether the course between readings is rough or smooth is known only as well as the readings tell it.
        let typical = self.level.as_ref().map_or(highest, |level| errors.content(level.mean(), errors.start_s));
        let rise = (highest - typical).max(f64::MIN_POSITIVE);
        let noise = self.level.as_ref().map_or(0.0, LocalLevel::noise);
        let doubt = ROUGHNESS_DOUBT + HIDDEN_DOUBT * (noise / rise).min(MOST_HIDDEN);
        highest += doubt * rise * random.normal();
        without.max_ppm.push(highest);
        without.share.push(within_s / total_s);
        // Where between two readings the doses came is drawn once for all, so that the largest of several peaks is not
        // the largest of several guesses.
        let early = random.uniform(0.0, 1.0);
        for course in &self.excursions {
            if let Some(peak) = &course.peak {
                highest = highest.max(errors.content(peak.draw(random, early), course.time_s[0]));
            }
            total_s += course.weight_s.iter().sum::<f64>();
            if let Some(target) = target_ppm {
                within_s += course.within_s(errors.shown(target, course.time_s[0]), self.tau_s, random);
            }
        }
        with.max_ppm.push(highest);
        with.share.push((within_s / total_s).clamp(0.0, 1.0));
    }
}

impl Courses {
    /// Largest content of a path; between two of its times a rough one rises above both (the maximum of a Brownian
    /// bridge).
    fn highest(&self, path: &Path, time_s: &[f64], errors: &Errors, random: &mut Random) -> f64 {
        let mut highest = f64::NEG_INFINITY;
        for (index, value) in path.value.iter().enumerate() {
            highest = highest.max(errors.content(*value, time_s[index]));
            if index == 0 || path.roughness_per_s <= 0.0 {
                continue;
            }
            let step_s = time_s[index] - time_s[index - 1];
            let variance = path.roughness_per_s * step_s;
            let before = path.value[index - 1];
            let may_be = errors.content(value.max(before) + 3.0 * variance.sqrt(), time_s[index]);
            if step_s <= self.joined_s && may_be > highest {
                let spread = (value - before).powi(2) - 2.0 * variance * random.uniform(f64::MIN_POSITIVE, 1.0).ln();
                highest = highest.max(errors.content(0.5 * (value + before + spread.sqrt()), time_s[index]));
            }
        }
        highest
    }
}

impl Course {
    fn new(readings: &Readings, found: &Found, tau_s: f64) -> Self {
        let range = found.first..=found.last;
        let ppm = readings.ppm[range.clone()].to_vec();
        let top = (0..ppm.len()).max_by(|a, b| ppm[*a].total_cmp(&ppm[*b])).unwrap_or(0);
        let time_s = readings.time_s[range.clone()].to_vec();
        Self {
            highest_ppm: ppm[top],
            is_sharp: time_s[top] - time_s[0] < 1.5 * readings.cadence_s + 4.0 * tau_s,
            time_s,
            ppm,
            weight_s: readings.weight_s[range].to_vec(),
            peak: None,
            cadence_s: readings.cadence_s,
        }
    }

    /// Time with the content at or below what shows as `limit_ppm`. A sharp rise shows late by little, the fall after
    /// it by the whole lag; where between two readings the rise came is not known.
    fn within_s(&self, limit_ppm: f64, tau_s: f64, random: &mut Random) -> f64 {
        let total_s: f64 = self.weight_s.iter().sum();
        let mut above_s = 0.0;
        for index in 0..self.ppm.len() {
            if self.ppm[index] > limit_ppm {
                above_s += self.weight_s[index];
            }
        }
        if above_s <= 0.0 {
            return total_s;
        }
        if self.is_sharp {
            let late_rise = -(1.0 - (limit_ppm / self.highest_ppm).clamp(0.0, 0.99)).ln();
            above_s -= tau_s * (1.0 - late_rise).max(0.0) * (1.0 + 0.3 * random.normal());
        }
        above_s += self.cadence_s * (random.uniform(-0.5, 0.5) + random.uniform(-0.5, 0.5));
        total_s - above_s.clamp(0.0, total_s)
    }
}

/// The level outside excursions, as means of at most [`BLOCKS`] blocks, and the time that each stands for.
fn level(readings: &Readings, found: &[Found], spikes: &[usize]) -> (Option<LocalLevel>, Vec<f64>) {
    let outside = readings.len() - found.iter().map(|f| f.last + 1 - f.first).sum::<usize>();
    let per_block = outside.div_ceil(BLOCKS).max(1);
    let (mut time_s, mut value, mut count, mut weight_s) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let (mut sums, mut left) = ([0.0; 4], per_block);
    let mut excursions = found.iter().peekable();
    let mut close = |sums: &mut [f64; 4], left: &mut usize| {
        if sums[0] > 0.0 {
            time_s.push(sums[1] / sums[0]);
            value.push(sums[2] / sums[0]);
            count.push(sums[0]);
            weight_s.push(sums[3]);
        }
        (*sums, *left) = ([0.0; 4], per_block);
    };
    for index in 0..readings.len() {
        while excursions.next_if(|f| f.last < index).is_some() {
            close(&mut sums, &mut left);
        }
        let is_out = excursions.peek().is_some_and(|f| f.first <= index) || spikes.binary_search(&index).is_ok();
        if is_out {
            continue;
        }
        for (sum, part) in
            sums.iter_mut().zip([1.0, readings.time_s[index], readings.ppm[index], readings.weight_s[index]])
        {
            *sum += part;
        }
        left -= 1;
        if left == 0 {
            close(&mut sums, &mut left);
        }
    }
    close(&mut sums, &mut left);
    let least = 0.25 * readings.noise_ppm.powi(2);
    (LocalLevel::fit(time_s, value, count, least), weight_s)
}

/// Time with the path at or below a limit, the path running straight between the middles of its steps.
fn within(path: &[f64], time_s: &[f64], weight_s: &[f64], limit: impl Fn(f64) -> f64) -> f64 {
    let mut sum_s = 0.0;
    for index in 0..path.len() {
        let limit = limit(time_s[index]);
        let middle = |other: usize| 0.5 * (path[index] + path[other]);
        let before = if index == 0 { path[index] } else { middle(index - 1) };
        let after = if index + 1 == path.len() { path[index] } else { middle(index + 1) };
        let share = 0.5 * (below(before, path[index], limit) + below(path[index], after, limit));
        sum_s += share * weight_s[index];
    }
    sum_s
}

/// Share of a straight line from `a` to `b` that lies at or below a limit.
fn below(a: f64, b: f64, limit: f64) -> f64 {
    let (low, high) = (a.min(b), a.max(b));
    if high <= limit {
        1.0
    } else if low > limit {
        0.0
    } else {
        (limit - low) / (high - low)
    }
}

fn kept(
    tally: Tally,
    readings: &Readings,
    trace: &Trace<'_>,
    settings: &Settings,
    courses: &Courses,
    instrument: &Instrument,
) -> Kept {
    let above_range = readings.count(ReadingStatus::AboveRange);
    let measured = readings.count(ReadingStatus::Measured);
    let value = mean_and_standard_deviation(&tally.max_ppm).0;
    let noise = courses.level.as_ref().map_or(0.0, LocalLevel::noise);
    let mut max = Estimate::from_distribution(Distribution::from_draws(tally.max_ppm), Vec::new());
    let span_s = readings.window_s[1] - readings.window_s[0];
    let of_instrument = [
        ("analyser, zero", instrument.zero_ppm),
        ("analyser, scale", instrument.scale * value),
        ("analyser, drift of its zero", instrument.drift_ppm_per_s * 0.5 * span_s),
        ("analyser, step of its readings", instrument.half_step_ppm / 3.0_f64.sqrt()),
    ];
    let known: f64 = of_instrument.iter().map(|(_, u)| u * u).sum();
    let rest = (max.standard_uncertainty.powi(2) - known).max(0.0).sqrt().max(1e-3 * noise);
    max.budget = of_instrument.iter().map(|(source, u)| BudgetLine::new(*source, *u)).collect();
    max.budget.push(BudgetLine::new("noise, and peaks between readings", rest));
    max.budget.sort_by(|a, b| b.standard_uncertainty.total_cmp(&a.standard_uncertainty));
    if above_range > 0 {
        max = max.into_lower_bound();
    } else if measured == 0 {
        let limit_ppm = PPM * trace.analyser.reporting_limit.unwrap_or(value / PPM);
        let at_limit =
            |(source, u): &(&str, f64)| if source.ends_with("scale") { instrument.scale * limit_ppm } else { *u };
        let uncertainty = of_instrument.iter().map(|part| at_limit(part).powi(2)).sum::<f64>().sqrt();
        max = Estimate::from_distribution(Distribution::normal(limit_ppm, uncertainty), max.budget).into_upper_bound();
    }
    let share_within = settings.target.map(|target| share(tally.share, target, trace, readings));
    Kept { max, share_within }
}

fn share(draws: Vec<f64>, target: f64, trace: &Trace<'_>, readings: &Readings) -> Estimate {
    let distribution = Distribution::from_draws(draws);
    let budget = vec![BudgetLine::new(
        "noise, analyser's zero, scale and drift, and crossings between readings",
        distribution.standard_deviation(),
    )];
    let mut share = Estimate::from_distribution(distribution, budget);
    let hidden = trace.analyser.reporting_limit.is_some_and(|limit| target < limit);
    // "At least so much" below the target tells as little.
    let pairs = || readings.ppm.iter().zip(&readings.status);
    let open = pairs().any(|(ppm, status)| *status == ReadingStatus::AboveRange && *ppm <= PPM * target);
    if (hidden && readings.count(ReadingStatus::BelowLimit) > 0) || open {
        share.kind = Kind::NotDetermined;
    }
    share
}

fn notes(
    trace: &Trace<'_>,
    settings: &Settings,
    readings: &Readings,
    kept: &Kept,
    without: &Kept,
    excursions: &[Excursion],
    spikes: usize,
) -> Vec<Note> {
    let mut notes = Vec::new();
    let three = |estimate: &Estimate| [estimate.value, estimate.interval95[0], estimate.interval95[1]];
    let marked = excursions.iter().filter(|excursion| excursion.marked).count();
    if !excursions.is_empty() {
        notes.push(Note::Excursions {
            count: excursions.len(),
            marked,
            max_ppm: three(&without.max),
            share: without.share_within.as_ref().map(three),
        });
        let tau_s = trace.analyser.response_tau_s;
        if tau_s > 0.0 {
            notes.push(Note::ResponsePutBack { tau_s });
        } else if !settings.response_is_stated {
            notes.push(Note::ResponseNotStated);
        }
    }
    let inside = |mark: &&[f64; 2]| mark[1] >= readings.window_s[0] && mark[0] <= readings.window_s[1];
    let quiet = |mark: &&[f64; 2]| !excursions.iter().any(|own| own.marked && is_of(readings, **mark, own.span_s));
    let quiet_marks = settings.transfers_s.iter().filter(inside).filter(quiet).count();
    if quiet_marks > 0 {
        notes.push(Note::MarksWithoutRise { count: quiet_marks });
    }
    let reading_ppm = readings.ppm.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    notes.push(Note::LargestReading { reading_ppm });
    if readings.off_readings > 0 {
        notes.push(Note::PurifierOff { seconds: readings.off_s, readings: readings.off_readings });
    }
    if readings.gaps > 0 {
        notes.push(Note::Gaps { count: readings.gaps, seconds: readings.gaps_s });
    }
    let censored = readings.count(ReadingStatus::BelowLimit);
    if censored > 0 {
        notes.push(Note::BelowLimit { share: censored as f64 / readings.len() as f64 });
        if let Some(limit) = trace.analyser.reporting_limit.filter(|l| settings.target.is_some_and(|t| t < *l)) {
            notes.push(Note::TargetBelowLimit { limit_ppm: PPM * limit });
        }
    }
    let above = readings.count(ReadingStatus::AboveRange);
    if above > 0 {
        notes.push(Note::AboveRange { count: above });
    }
    if spikes > 0 {
        notes.push(Note::Spikes { count: spikes });
    }
    if kept.share_within.as_ref().is_some_and(|share| share.expanded_uncertainty() > 0.05) {
        notes.push(Note::ZeroDecides);
    }
    notes
}

fn series(readings: &Readings) -> Series {
    const STRETCHES: usize = 1500;
    let per_stretch = readings.len().div_ceil(STRETCHES).max(1);
    let mut series = Series::default();
    for start in (0..readings.len()).step_by(per_stretch) {
        let range = start..(start + per_stretch).min(readings.len());
        let least = range.clone().min_by(|a, b| readings.ppm[*a].total_cmp(&readings.ppm[*b])).unwrap_or(start);
        let largest = range.max_by(|a, b| readings.ppm[*a].total_cmp(&readings.ppm[*b])).unwrap_or(start);
        for index in [least.min(largest), least.max(largest)] {
            if series.time_s.last().is_none_or(|last| readings.time_s[index] > *last) {
                series.time_s.push(readings.time_s[index]);
                series.ppm.push(readings.ppm[index]);
            }
        }
    }
    series
}
