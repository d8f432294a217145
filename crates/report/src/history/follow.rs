//! The results of one enclosure in the order of the years: compared, followed, forecast.

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::Serialize;
use tightfit_fit::history::{Component, Crossing, Point, Settings, Side, difference, trend};
use tightfit_history::{Content, Entry, EntryId, Store, StoredResult, StoredVerdict};

use super::HistoryError;
use crate::plan::nearest;

/// Schema name of a history.
pub const HISTORY_SCHEMA: &str = "tightfit.history/1";

const DAYS_PER_YEAR: f64 = 365.25;

/// What a store holds of one enclosure, and what it says.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct HistoryReport {
    /// [`HISTORY_SCHEMA`].
    #[schemars(extend("const" = HISTORY_SCHEMA))]
    pub schema: &'static str,
    /// The enclosure.
    pub enclosure: String,
    /// Everything that was recorded, by day.
    pub entries: Vec<EntryLine>,
    /// One for each quantity of each test.
    pub quantities: Vec<Followed>,
}

/// An entry in one line.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct EntryLine {
    /// Its number.
    pub number: EntryId,
    /// Day of the test or the service.
    pub day: String,
    /// `qualification` or `service`.
    pub kind: &'static str,
    /// The overall verdict, or the kind of service.
    pub word: String,
    /// How the enclosure was set up, or what was done.
    pub note: String,
    /// The entry that it takes the place of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corrects: Option<EntryId>,
    /// The entry that takes its place.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub corrected_by: Option<EntryId>,
}

/// One quantity over the years.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Followed {
    /// Name of the test.
    pub test: String,
    /// The run of a series; empty otherwise.
    pub run: String,
    /// Name of the quantity.
    pub quantity: String,
    /// Pressure difference at which it holds; empty where it has none.
    pub at: String,
    /// Unit of all numbers.
    pub unit: String,
    /// Results by day.
    pub results: Vec<ResultLine>,
    /// The limit that the last qualification judged it by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<LimitLine>,
    /// The last result against the one before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compared: Option<Compared>,
    /// The trend, from three results on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trend: Option<TrendLine>,
}

/// One result.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct ResultLine {
    /// The entry that it stands in.
    pub entry: EntryId,
    /// Day of the test.
    pub day: String,
    /// Value; `null` where there is none.
    pub value: Option<f64>,
    /// Standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// 95 % interval.
    pub interval95: [Option<f64>; 2],
    /// `estimate`, `upper_bound`, `lower_bound`, `not_determined`.
    pub kind: String,
    /// Whether the test may be judged.
    pub valid: bool,
}

/// A limit in the unit of the results.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct LimitLine {
    /// As the plan states it.
    pub text: String,
    /// The number.
    pub value: f64,
    /// `max` or `min`.
    pub kind: &'static str,
}

/// The last result against the one before.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Compared {
    /// Day of the one before.
    pub before: String,
    /// Last minus before.
    pub difference: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its 95 % interval.
    pub interval95: [f64; 2],
    /// Probability of a difference at least so large if nothing had changed.
    pub significance: f64,
    /// Standard uncertainty that both results have in common: same instrument and calibration, same stated volume.
    pub shared: f64,
}

/// A trend.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct TrendLine {
    /// Change a year.
    pub per_year: f64,
    /// Its 95 % interval.
    pub per_year95: [f64; 2],
    /// Probability that the quantity rises.
    pub probability_rising: f64,
    /// Scatter between tests beyond their uncertainties.
    pub scatter: f64,
    /// Services that lie between results.
    pub services: Vec<ServiceLine>,
    /// When the limit is reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<Forecast>,
    /// Day, value and 95 % interval of the line.
    #[serde(skip)]
    pub line: Vec<(f64, [f64; 3])>,
}

/// A service and what it changed.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct ServiceLine {
    /// Day.
    pub day: String,
    /// Kind and note.
    pub what: String,
    /// Probability that it changed the quantity.
    pub probability: f64,
    /// Step, if it did.
    pub step: f64,
    /// Its 95 % interval.
    pub step95: [f64; 2],
}

/// When a limit is reached.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Forecast {
    /// It is beyond already.
    Beyond {
        /// With this probability.
        probability: f64,
    },
    /// Between these days with 95 %; an end that is not known within ten years is `null`.
    Between {
        /// Not before, with 97.5 %; `null`: it may be beyond today.
        from: Option<String>,
        /// As likely before as after.
        median: Option<String>,
        /// Not after, with 97.5 %.
        to: Option<String>,
        /// Day from which the probability to be beyond is more than 5 %.
        risk_from: Option<String>,
    },
    /// Not within ten years, with 97.5 %.
    NotWithinTenYears,
}

/// Reads and evaluates what `store` holds of `enclosure`; forecasts count from `today`.
///
/// # Errors
/// [`HistoryError::UnknownEnclosure`], or what the store says.
pub fn follow(store: &Store, enclosure: &str, today: Date) -> Result<HistoryReport, HistoryError> {
    let entries = store.entries(enclosure)?;
    if entries.is_empty() {
        let known: Vec<String> = store.summaries()?.into_iter().map(|summary| summary.enclosure).collect();
        let nearest = nearest(enclosure, known.iter().map(String::as_str));
        return Err(HistoryError::UnknownEnclosure { enclosure: enclosure.to_owned(), nearest });
    }
    let corrected_by =
        |id: EntryId| entries.iter().find(|entry| entry.entry.corrects == Some(id)).map(|entry| entry.id);
    let standing: Vec<&Entry> = entries.iter().filter(|entry| corrected_by(entry.id).is_none()).collect();
    Ok(HistoryReport {
        schema: HISTORY_SCHEMA,
        enclosure: enclosure.to_owned(),
        quantities: keys(&standing).into_iter().map(|key| followed(&standing, key, today)).collect(),
        entries: entries.iter().map(|entry| entry_line(entry, corrected_by(entry.id))).collect(),
    })
}

fn entry_line(entry: &Entry, corrected_by: Option<EntryId>) -> EntryLine {
    let (kind, word, note) = match &entry.entry.content {
        Content::Qualification(found) => ("qualification", found.overall.clone(), found.configuration.clone()),
        Content::Service { what, note } => ("service", what.clone(), note.clone()),
    };
    let (number, day, corrects) = (entry.id, entry.entry.day.clone(), entry.entry.corrects);
    EntryLine { number, day, kind, word, note, corrects, corrected_by }
}

/// What makes results comparable: test, run, quantity, pressure, unit.
type Key<'a> = [&'a str; 5];

fn key(result: &StoredResult) -> Key<'_> {
    [&result.test, &result.run, &result.quantity, &result.at, &result.unit]
}

/// All keys, in the order of the last qualification, then those of earlier ones.
fn keys<'a>(standing: &[&'a Entry]) -> Vec<Key<'a>> {
    let mut keys: Vec<Key<'a>> = Vec::new();
    for result in standing.iter().rev().filter_map(|entry| results(entry)).flatten() {
        if !keys.contains(&key(result)) {
            keys.push(key(result));
        }
    }
    keys
}

fn results(entry: &Entry) -> Option<&Vec<StoredResult>> {
    match &entry.entry.content {
        Content::Qualification(found) => Some(&found.results),
        Content::Service { .. } => None,
    }
}

fn followed(standing: &[&Entry], wanted: Key<'_>, today: Date) -> Followed {
    let [test, run, quantity, at, unit] = wanted.map(str::to_owned);
    let found: Vec<(&Entry, &StoredResult)> = standing
        .iter()
        .filter_map(|entry| Some((*entry, results(entry)?.iter().find(|result| key(result) == wanted)?)))
        .collect();
    let limit = standing.iter().rev().find_map(|entry| limit(entry, &test, &run, &quantity));
    let usable: Vec<(Date, f64, f64, &StoredResult)> = found
        .iter()
        .filter(|(_, result)| result.valid && result.kind == "estimate")
        .filter_map(|(entry, result)| {
            Some((entry.entry.day.parse().ok()?, result.value?, result.standard_uncertainty?, *result))
        })
        .collect();
    Followed {
        compared: compared(&usable),
        trend: trend_line(&usable, standing, limit.as_ref(), today),
        results: found.iter().map(|(entry, result)| result_line(entry, result)).collect(),
        test,
        run,
        quantity,
        at,
        unit,
        limit,
    }
}

fn result_line(entry: &Entry, result: &StoredResult) -> ResultLine {
    ResultLine {
        entry: entry.id,
        day: entry.entry.day.clone(),
        value: result.value,
        standard_uncertainty: result.standard_uncertainty,
        interval95: result.interval95,
        kind: result.kind.clone(),
        valid: result.valid,
    }
}

fn limit(entry: &Entry, test: &str, run: &str, quantity: &str) -> Option<LimitLine> {
    let Content::Qualification(found) = &entry.entry.content else { return None };
    let holds = |verdict: &&StoredVerdict| verdict.test == test && verdict.run == run && verdict.quantity == quantity;
    let verdict = found.verdicts.iter().find(holds)?;
    let (value, kind) = verdict.most.map(|most| (most, "max")).or(verdict.least.map(|least| (least, "min")))?;
    Some(LimitLine { text: verdict.limit.clone(), value, kind })
}

fn components(result: &StoredResult) -> Vec<Component> {
    let component = |part: &tightfit_history::StoredPart| Component {
        source: format!("{} {}", part.source, part.lasts_with),
        standard_uncertainty: part.standard_uncertainty,
        lasting: !part.lasts_with.is_empty(),
    };
    result.budget.iter().map(component).collect()
}

type Usable<'a> = (Date, f64, f64, &'a StoredResult);

fn compared(usable: &[Usable<'_>]) -> Option<Compared> {
    let [.., (before, old, old_u, old_result), (_, new, new_u, new_result)] = usable else { return None };
    let parts = [components(new_result), components(old_result)];
    let found = difference((*new, *new_u), (*old, *old_u), [&parts[0], &parts[1]], 0.0);
    Some(Compared {
        before: before.to_string(),
        difference: found.value,
        standard_uncertainty: found.standard_uncertainty,
        interval95: found.interval95,
        significance: found.significance,
        shared: found.shared,
    })
}

fn trend_line(usable: &[Usable<'_>], standing: &[&Entry], limit: Option<&LimitLine>, today: Date) -> Option<TrendLine> {
    let common = common_variance(usable);
    let point = |(day, value, u, _): &Usable<'_>| Point::new(number(*day), *value, (u * u - common).max(0.0).sqrt());
    let points: Vec<Point> = usable.iter().map(point).collect();
    let services: Vec<(Date, String)> = standing.iter().filter_map(|entry| service(entry)).collect();
    let side = |limit: &LimitLine| if limit.kind == "max" { Side::Above } else { Side::Below };
    let settings = Settings {
        services: services.iter().map(|(day, _)| number(*day)).collect(),
        limit: limit.map(|limit| (limit.value, side(limit))),
        today: Some(number(today)),
        horizon_days: 10.0 * DAYS_PER_YEAR,
    };
    let found = trend(&points, &settings).ok()?;
    let per_year = found.slope_per_day.scaled(DAYS_PER_YEAR);
    let told = services.into_iter().zip(&found.steps).filter_map(|((day, what), step)| {
        let estimate = step.step.as_ref()?;
        Some(ServiceLine {
            day: day.to_string(),
            what,
            probability: step.probability,
            step: estimate.value,
            step95: estimate.interval95,
        })
    });
    Some(TrendLine {
        per_year: per_year.value,
        per_year95: per_year.interval95,
        probability_rising: found.probability_rising,
        scatter: found.scatter,
        services: told.collect(),
        forecast: found.crossing.map(|crossing| forecast(crossing, found.risk_day)),
        line: found.line,
    })
}

/// What all results have in common moves them together and is no part of a trend: the variance of the parts that last
/// with the same thing in every one of them.
fn common_variance(usable: &[Usable<'_>]) -> f64 {
    let Some(((.., first), rest)) = usable.split_first() else { return 0.0 };
    let all: Vec<Vec<Component>> = rest.iter().map(|(.., result)| components(result)).collect();
    let in_all = |part: &Component| {
        let same = |parts: &Vec<Component>| {
            parts.iter().find(|other| other.lasting && other.source == part.source).map(|p| p.standard_uncertainty)
        };
        let others: Option<Vec<f64>> = all.iter().map(same).collect();
        others.map(|others| others.into_iter().fold(part.standard_uncertainty, f64::min))
    };
    components(first).iter().filter(|part| part.lasting).filter_map(in_all).map(|u| u * u).sum()
}

fn service(entry: &Entry) -> Option<(Date, String)> {
    let Content::Service { what, note } = &entry.entry.content else { return None };
    let note = if note.is_empty() { String::new() } else { format!(" ({note})") };
    Some((entry.entry.day.parse().ok()?, format!("{what}{note}")))
}

fn forecast(crossing: Crossing, risk_day: Option<f64>) -> Forecast {
    let day = |day: f64| date(day).to_string();
    match crossing {
        Crossing::Beyond { probability } => Forecast::Beyond { probability },
        Crossing::Between { from, median, to } => Forecast::Between {
            from: from.map(day),
            median: median.map(day),
            to: to.map(day),
            risk_from: risk_day.map(day),
        },
        Crossing::NotWithin => Forecast::NotWithinTenYears,
    }
}

/// Day as a number, days since 1970.
pub(super) fn number(day: Date) -> f64 {
    (day - EPOCH).get_days().into()
}

/// The day of a number.
pub(super) fn date(number: f64) -> Date {
    let days = jiff::Span::new().days(number.round() as i64);
    EPOCH.checked_add(days).unwrap_or(Date::MAX)
}

const EPOCH: Date = jiff::civil::date(1970, 1, 1);

/// The enclosure that is likely meant where the store holds no results under a name, but some under one that is spelt alike.
///
/// # Errors
/// Those of the store.
pub fn likely_meant(store: &Store, enclosure: &str) -> Result<Option<String>, HistoryError> {
    let mut tested = store.summaries()?;
    tested.retain(|summary| summary.qualifications > 0);
    if tested.iter().any(|summary| summary.enclosure == enclosure) {
        return Ok(None);
    }
    Ok(nearest(enclosure, tested.iter().map(|summary| summary.enclosure.as_str())))
}
