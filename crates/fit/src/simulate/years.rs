//! Results of one enclosure over years, with drift, scatter between tests, and services that step.

use super::Random;
use crate::history::{HistoryError, Point, Settings, Side, Trend, change_point, trend};

/// A history to be simulated; the uncertainty of every single result is 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Years {
    /// Number of results, about a year apart.
    pub results: usize,
    /// Drift a year.
    pub drift: f64,
    /// Scatter between tests.
    pub scatter: f64,
    /// Step at a service in the middle; 0 for a service that changes nothing, `None` without a service.
    pub step: Option<f64>,
    /// How much the uncertainties differ: each is drawn between 1 over this and this.
    pub uneven: f64,
}

/// How a study of histories ended.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct YearsOutcome {
    /// Histories followed.
    pub histories: usize,
    /// True drift below and above the interval of the slope.
    pub slope_outside: [usize; 2],
    /// True value today below and above the interval of the level.
    pub level_outside: [usize; 2],
    /// The day of crossing outside the stated interval.
    pub crossing_outside: usize,
    /// Histories whose crossing could be judged.
    pub crossings: usize,
    /// Steps taken into the trend.
    pub steps_kept: usize,
    /// Histories called changed at an unknown time with at least 95 %.
    pub changes: usize,
    /// Mean half width of the slope's interval.
    pub slope_half_width: f64,
}

const YEAR: f64 = 365.25;

impl Years {
    /// Points, day of the service, and true value on the day of the last result.
    fn draw(&self, random: &mut Random) -> (Vec<Point>, Option<f64>, f64) {
        let days: Vec<f64> = (0..self.results)
            .map(|k| YEAR * k as f64 + if k == 0 { 0.0 } else { random.uniform(-60.0, 60.0) })
            .collect();
        let service = self.step.map(|_| YEAR * (self.results as f64 / 2.0 - 0.5));
        let truth = |day: f64| {
            let stepped = service.is_some_and(|service| day > service);
            20.0 + self.drift * day / YEAR + if stepped { self.step.unwrap_or(0.0) } else { 0.0 }
        };
        let points = days
            .iter()
            .map(|day| {
                let u = random.uniform(-1.0, 1.0) * self.uneven.ln();
                let value = truth(*day) + self.scatter * random.normal() + u.exp() * random.normal();
                Point::new(*day, value, u.exp())
            })
            .collect();
        (points, service, truth(days[days.len() - 1]))
    }
}

/// Follows `histories` simulated histories of one kind.
///
/// # Errors
/// [`HistoryError`] for histories that are too short.
pub fn study_years(years: &Years, histories: usize, seed: u64) -> Result<YearsOutcome, HistoryError> {
    let mut outcome = YearsOutcome { histories, ..YearsOutcome::default() };
    let mut random = Random::new(seed);
    for _ in 0..histories {
        let (points, service, level) = years.draw(&mut random);
        // A limit that a drift of this size reaches in four years.
        let limit = level + 4.0 * years.drift.max(0.25);
        let settings = Settings {
            services: service.into_iter().collect(),
            limit: Some((limit, Side::Above)),
            ..Settings::default()
        };
        let found = trend(&points, &settings)?;
        count(&mut outcome, years, &points, &found, level);
        if years.results >= 5 && change_point(&points)?.probability >= 0.95 {
            outcome.changes += 1;
        }
    }
    Ok(outcome)
}

fn count(outcome: &mut YearsOutcome, years: &Years, points: &[Point], found: &Trend, level: f64) {
    use crate::history::Crossing;
    let per_year = found.slope_per_day.scaled(YEAR);
    let outside = |[low, high]: [f64; 2], truth: f64| [usize::from(truth < low), usize::from(truth > high)];
    let add = |sum: &mut [usize; 2], found: [usize; 2]| (0..2).for_each(|k| sum[k] += found[k]);
    add(&mut outcome.slope_outside, outside(per_year.interval95, years.drift));
    add(&mut outcome.level_outside, outside(found.level.interval95, level));
    outcome.slope_half_width += per_year.expanded_uncertainty() / outcome.histories as f64;
    outcome.steps_kept += found.steps.iter().filter(|step| step.kept).count();
    if years.drift > 0.0 {
        let last = points[points.len() - 1].day;
        let truth = last + 4.0 * YEAR * years.drift.max(0.25) / years.drift;
        outcome.crossings += 1;
        let holds = match found.crossing {
            Some(Crossing::Between { from, to, .. }) => {
                from.is_none_or(|from| from <= truth) && to.is_none_or(|to| truth <= to)
            }
            Some(Crossing::NotWithin) => truth > last + 10.0 * YEAR,
            Some(Crossing::Beyond { .. }) | None => false,
        };
        outcome.crossing_outside += usize::from(!holds);
    }
}
