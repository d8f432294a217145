//! Trend over years with steps at services.

use nalgebra::DMatrix;

use super::crossing::crossing;
use super::regression::restricted;
use super::scatter::{Mixture, Model};
use super::{Crossing, HistoryError, Point, Side, checked};
use crate::Estimate;

/// How results are followed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Days of services that may have changed the value: gloves, seals, purifier.
    pub services: Vec<f64>,
    /// A limit, and on which side of it the trouble lies.
    pub limit: Option<(f64, Side)>,
    /// Day from which the forecast counts; the last result where there is none.
    pub today: Option<f64>,
    /// Days that the forecast looks ahead; ten years where it is not positive.
    pub horizon_days: f64,
}

/// What the results of years say.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// Value on the day the forecast counts from.
    pub level: Estimate,
    /// Change per day.
    pub slope_per_day: Estimate,
    /// Probability that the value rises.
    pub probability_rising: f64,
    /// Scatter between tests beyond their uncertainties: median and 95 % interval.
    pub scatter: f64,
    /// Its 95 % interval.
    pub scatter95: [f64; 2],
    /// The conventional weighted trend, for comparison.
    pub conventional: Conventional,
    /// Services, in the order of the settings.
    pub steps: Vec<ServiceStep>,
    /// When the limit is crossed; `None` without a limit.
    pub crossing: Option<Crossing>,
    /// Day on which the probability to lie beyond the limit reaches 5 %; `None` where it does not within the horizon
    /// or there is no limit.
    pub risk_day: Option<f64>,
    /// The line: day and value with its 95 % interval, from the first result to a while after the last.
    pub line: Vec<(f64, [f64; 3])>,
}

/// Weighted least squares with the scatter of largest restricted likelihood (random effects), taken as if it were known:
/// the line without steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conventional {
    /// Value on day 0 of the points' scale and its standard error.
    pub intercept: [f64; 2],
    /// Change per day and its standard error.
    pub slope_per_day: [f64; 2],
    /// Scatter between tests.
    pub scatter: f64,
}

/// What a service changed.
#[derive(Debug, Clone, PartialEq)]
pub struct ServiceStep {
    /// Day of the service.
    pub day: f64,
    /// Step of the value if there was one; `None` where there are no results before or after it, or another service
    /// lies between the same two results.
    pub step: Option<Estimate>,
    /// Probability that it changed the value.
    pub probability: f64,
    /// Whether that is at least 95 %.
    pub kept: bool,
}

/// Results on different days that a trend takes.
const NEEDED_DAYS: usize = 3;
const TEN_YEARS: f64 = 3652.5;
/// Points of the line to be drawn.
const LINE: usize = 60;
/// Days for which the risk is looked at.
const FORECAST: usize = 600;
/// Services that are averaged over, the last ones first; each doubles the work.
const SERVICES: usize = 6;
/// Probability from which a service counts as one that stepped.
const KEPT: f64 = 0.95;

/// Fits the trend.
///
/// `points` in any order. A service may have changed the value or not, with even odds beforehand and a step of about
/// the size of the values themselves; all combinations are averaged over. Coverage of the intervals: see
/// `notebooks-free-docs/validation-history.md`.
///
/// # Errors
/// [`HistoryError::TooFew`] below three different days, [`HistoryError::NotUsable`] for a number that is not finite.
pub fn trend(points: &[Point], settings: &Settings) -> Result<Trend, HistoryError> {
    checked(points, NEEDED_DAYS)?;
    let last = points.iter().map(|point| point.day).fold(f64::NEG_INFINITY, f64::max);
    let today = settings.today.unwrap_or(last).max(last);
    // Days that differ make the plain line solvable; should rounding deny that, there are too few of them.
    let fitted = Fitted::new(points, &settings.services, today);
    let fitted = fitted.ok_or(HistoryError::TooFew { days: 1, needed: NEEDED_DAYS })?;
    let horizon = if settings.horizon_days > 0.0 { settings.horizon_days } else { TEN_YEARS };
    let beyond = |day: f64| settings.limit.map_or(0.0, |(limit, side)| fitted.probability_beyond(day, limit, side));
    let ahead = (0..=FORECAST).map(|k| today + horizon * k as f64 / FORECAST as f64);
    let slope = fitted.unknown(&fitted.mixture, 1).scaled(1.0 / fitted.axis.days);
    Ok(Trend {
        level: fitted.at(today),
        probability_rising: 1.0 - slope.distribution.cdf(0.0),
        slope_per_day: slope,
        scatter: fitted.mixture.scatter_quantile(0.5),
        scatter95: [0.025, 0.975].map(|p| fitted.mixture.scatter_quantile(p)),
        conventional: conventional(points).unwrap_or(Conventional {
            intercept: [f64::NAN; 2],
            slope_per_day: [f64::NAN; 2],
            scatter: f64::NAN,
        }),
        steps: settings.services.iter().map(|day| fitted.service(*day)).collect(),
        crossing: settings.limit.map(|_| crossing(beyond, today, horizon)),
        risk_day: settings.limit.and_then(|_| ahead.into_iter().find(|day| beyond(*day) >= 0.05)),
        line: fitted.line(points, today),
    })
}

fn conventional(points: &[Point]) -> Option<Conventional> {
    let design = DMatrix::from_fn(points.len(), 2, |i, j| if j == 0 { 1.0 } else { points[i].day });
    let (scatter, fit) = restricted(&design, points)?;
    let with_error = |k: usize| [fit.coefficients[k], fit.covariance[(k, k)].sqrt()];
    Some(Conventional { intercept: with_error(0), slope_per_day: with_error(1), scatter })
}

/// The trend averaged over scatter and steps.
struct Fitted {
    mixture: Mixture,
    axis: Axis,
}

/// What turns a day into a row of the design.
struct Axis {
    /// Days of the services that results can tell of, one a gap between results.
    steps: Vec<f64>,
    /// Day that the line is written around: today.
    origin: f64,
    /// Scale of the days, so that the design stays well conditioned.
    days: f64,
}

impl Axis {
    /// Level today, slope, and a step for each service.
    fn row(&self, day: f64) -> Vec<f64> {
        // A step counts what lies before it, so that the level is that of today whatever was served.
        let before = self.steps.iter().map(|step| if day <= *step { -1.0 } else { 0.0 });
        [1.0, (day - self.origin) / self.days].into_iter().chain(before).collect()
    }

    /// The model with the steps whose bits are set.
    fn model(&self, bits: usize, points: &[Point], step: f64) -> Model {
        let steps = (0..self.steps.len()).filter(|k| bits >> k & 1 == 1).map(|k| k + 2);
        let places: Vec<usize> = [0, 1].into_iter().chain(steps).collect();
        let design = DMatrix::from_fn(points.len(), places.len(), |i, j| self.row(points[i].day)[places[j]]);
        Model { design, priors: (2..places.len()).map(|column| (column, step)).collect(), places, log_prior: 0.0 }
    }
}

impl Fitted {
    fn new(points: &[Point], services: &[f64], origin: f64) -> Option<Self> {
        let first = points.iter().map(|point| point.day).fold(f64::INFINITY, f64::min);
        let axis = Axis { steps: telling(points, services), origin, days: (origin - first).max(1.0) };
        let mut sizes: Vec<f64> = points.iter().map(|point| point.value.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let step = sizes[sizes.len() / 2].max(f64::MIN_POSITIVE.sqrt());
        let models: Vec<Model> = (0..1 << axis.steps.len()).map(|bits| axis.model(bits, points, step)).collect();
        Some(Self { mixture: Mixture::new(&models, 2 + axis.steps.len(), points)?, axis })
    }

    fn at(&self, day: f64) -> Estimate {
        Estimate::from_distribution(self.mixture.combination(&self.axis.row(day)), Vec::new())
    }

    fn unknown(&self, mixture: &Mixture, index: usize) -> Estimate {
        let factors: Vec<f64> = (0..2 + self.axis.steps.len()).map(|k| f64::from(u8::from(k == index))).collect();
        Estimate::from_distribution(mixture.combination(&factors), Vec::new())
    }

    fn probability_beyond(&self, day: f64, limit: f64, side: Side) -> f64 {
        let above = self.mixture.probability_above(&self.axis.row(day), limit);
        match side {
            Side::Above => above,
            Side::Below => 1.0 - above,
        }
    }

    fn service(&self, day: f64) -> ServiceStep {
        let Some(index) = self.axis.steps.iter().position(|step| (step - day).abs() < 1e-6) else {
            return ServiceStep { day, step: None, probability: 0.5, kept: false };
        };
        let stepped = |bits: usize| bits >> index & 1 == 1;
        let probability = self.mixture.probability(stepped);
        let step = self.mixture.only(stepped).map(|mixture| self.unknown(&mixture, index + 2));
        ServiceStep { day, step, probability, kept: probability >= KEPT }
    }

    fn line(&self, points: &[Point], today: f64) -> Vec<(f64, [f64; 3])> {
        let first = points.iter().map(|point| point.day).fold(f64::INFINITY, f64::min);
        let end = today + 0.25 * (today - first);
        let day = |k: usize| first + (end - first) * k as f64 / LINE as f64;
        let at = |day: f64| (day, self.mixture.quantiles(&self.axis.row(day), [0.5, 0.025, 0.975]));
        (0..=LINE).map(|k| at(day(k))).collect()
    }
}

/// Services with results before and after; of several between the same two results only the first counts, since
/// nothing tells them apart.
fn telling(points: &[Point], services: &[f64]) -> Vec<f64> {
    let mut sorted = services.to_vec();
    sorted.sort_by(f64::total_cmp);
    let before = |day: f64| points.iter().filter(|point| point.day <= day).count();
    sorted.retain(|day| (1..points.len()).contains(&before(*day)));
    sorted.dedup_by_key(|day| before(*day));
    sorted.split_off(sorted.len().saturating_sub(SERVICES))
}
