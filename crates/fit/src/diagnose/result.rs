//! What a diagnosis says.

use std::fmt;

use super::calibrate::probabilities;
use super::compare::{Comparison, PRIOR, Weighed, compare};
use super::evidence::Data;
use super::feature::{Features, Kind, Row, expand};
use super::grid::Grid;
use super::hypothesis::Cause;
use super::log::{Background, Log, Species};
use super::model::{Profile, prepare};
use super::next::{self, Next};

/// Why a log cannot be diagnosed.
#[derive(Debug, Clone, PartialEq)]
pub enum DiagnoseError {
    /// Neither oxygen nor water.
    NothingLogged,
    /// Too short.
    TooShort {
        /// Length, h.
        hours: f64,
    },
    /// Too few hours with the purifier running or off without disturbance.
    TooFewRows,
}

impl fmt::Display for DiagnoseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NothingLogged => f.write_str("the log holds neither oxygen nor water"),
            Self::TooShort { hours } => write!(f, "the log covers {hours:.1} h, and a diagnosis needs at least a day"),
            Self::TooFewRows => {
                f.write_str("the log holds too few undisturbed hours: no floor and no rise could be read from it")
            }
        }
    }
}

impl std::error::Error for DiagnoseError {}

/// One kind of number before and after an onset, in its unit (ppm, ppm/h, 1/h, ppm·h, 1/day, that of the flow).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// What.
    pub kind: Kind,
    /// Mean found before and after.
    pub found: [f64; 2],
    /// Mean expected after the onset by the explanation.
    pub expected: f64,
    /// Improvement in χ² over no change; negative where the explanation does worse.
    pub gain: f64,
    /// What the explanation lacks in χ² to the best of the others.
    pub behind: f64,
}

/// One explanation.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// What.
    pub cause: Cause,
    /// How probable, 0 to 1.
    pub probability: f64,
    /// When it began, s on the log's clock: 95 % interval. None where nothing began.
    pub began_s: Option<[f64; 2]>,
    /// What it does to the rows.
    pub shown: Vec<Shown>,
    /// A second cause that came along in the best account.
    pub second: Option<Cause>,
}

/// The explanations, most probable first.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnosis {
    /// All ten, in order of probability.
    pub explanations: Vec<Explanation>,
    /// What would tell the leaders apart.
    pub next: Next,
    /// What the log shows and what it does not.
    pub resolution: Resolution,
    /// Numbers over time, for a picture: kind, time in s on the log's clock, value.
    pub points: Vec<(Kind, Vec<(f64, f64)>)>,
}

/// What a log shows and what it does not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "each says of one kind of evidence whether it is there")]
pub struct Resolution {
    /// Whether the pressure was logged.
    pub pressure: bool,
    /// Whether the content went to and fro between two levels that stand for a pressure nobody logged.
    pub levels: bool,
    /// Whether it was ever below the room's.
    pub under_pressure: bool,
    /// Whether rises with the purifier off were seen.
    pub rises: bool,
    /// Whether decays of doses were seen well enough for a time constant.
    pub decays: bool,
    /// Whether the circulation flow was logged.
    pub flow: bool,
    /// Whether the make-up flow was logged.
    pub makeup: bool,
    /// Whether transfers were logged.
    pub transfers: bool,
    /// Whether both species were logged.
    pub both_species: bool,
}

/// All explanations as they stand before a log has told anything.
#[must_use]
pub fn undecided() -> Vec<Explanation> {
    let each = Cause::ALL.into_iter().zip(PRIOR);
    let mut all: Vec<Explanation> = each
        .map(|(cause, probability)| Explanation { cause, probability, began_s: None, shown: Vec::new(), second: None })
        .collect();
    let sum: f64 = all.iter().map(|own| own.probability).sum();
    for own in &mut all {
        own.probability /= sum;
    }
    all.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    all
}

/// Shortest log, h.
const SHORTEST_H: f64 = 24.0;
const FEWEST_ROWS: usize = 6;

/// Diagnoses a working log.
///
/// Units stand at the fields of [`Log`]; it must cover at least 24 h. Explanations are weighed by how well they foretell the
/// log's floors, rises, clean-ups and pressures from the state that `background` tells. Checked by simulation with two generators: see `tests/coverage/diagnose.rs` and the
/// method's page for how often the cause is named.
///
/// # Errors
/// See [`DiagnoseError`].
pub fn diagnose(log: &Log, background: &Background) -> Result<Diagnosis, DiagnoseError> {
    let grid = Grid::new(log).ok_or(DiagnoseError::NothingLogged)?;
    if grid.duration_h() < SHORTEST_H {
        return Err(DiagnoseError::TooShort { hours: grid.duration_h() });
    }
    let features = Features::new(&grid, background);
    let rows = features.streams.iter().filter(|s| matches!(s.kind, Kind::Floor(_) | Kind::Rise(_)));
    if rows.map(|stream| stream.rows.len()).sum::<usize>() < FEWEST_ROWS {
        return Err(DiagnoseError::TooFewRows);
    }
    let (setting, prior) = prepare(&features, background);
    let comparison = compare(&features, &setting, &prior);
    let data = Data::new(&features, &setting, comparison.wander);
    let mut explanations = explanations(&comparison, &data, &features, grid.start_s);
    explanations.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let probabilities = probabilities(&comparison.weighed);
    let next = next::best(&comparison.weighed, &probabilities, &features, &setting);
    let points = features.streams.iter().map(|stream| {
        let of = |row: &Row| (grid.start_s + 3600.0 * row.time_h, expand(row.y, stream.scale));
        (stream.kind, stream.rows.iter().map(of).collect())
    });
    Ok(Diagnosis { explanations, next, resolution: resolution(&features), points: points.collect() })
}

fn resolution(features: &Features) -> Resolution {
    let any = |kind: fn(Species) -> Kind| Species::BOTH.iter().any(|species| features.stream(kind(*species)).is_some());
    let under = features.streams.iter().flat_map(|stream| &stream.rows).any(|row| row.at.under_pressure_pa > 5.0);
    Resolution {
        pressure: features.has_pressure,
        levels: features.has_levels,
        under_pressure: features.has_pressure && under,
        rises: any(Kind::Rise),
        decays: any(Kind::Decay),
        flow: features.has_flow,
        makeup: features.has_makeup,
        transfers: features.has_transfer_marks,
        both_species: Species::BOTH.iter().all(|species| features.stream(Kind::Floor(*species)).is_some()),
    }
}

fn explanations(comparison: &Comparison, data: &Data<'_>, features: &Features, start_s: f64) -> Vec<Explanation> {
    let probabilities = probabilities(&comparison.weighed);
    let misfits: Vec<Vec<(Kind, f64)>> =
        comparison.weighed.iter().map(|own| data.misfit(&own.account.theta, &own.account.changes)).collect();
    let best = (0..probabilities.len()).filter(|i| comparison.weighed[*i].cause != Cause::NoneOfThese);
    let best = best.max_by(|a, b| probabilities[*a].total_cmp(&probabilities[*b])).unwrap_or(0);
    let unchanged = comparison.weighed.iter().position(|own| own.cause == Cause::NothingChanged).unwrap_or(0);
    let onset_h = comparison.weighed[best].account.changes.first().map(|change| change.onset_h);
    let against = Against { data, best: &misfits[best], unchanged: &misfits[unchanged], onset_h };
    let each = comparison.weighed.iter().zip(probabilities).zip(&misfits);
    let mut all: Vec<Explanation> = each
        .map(|((weighed, probability), misfit)| Explanation {
            cause: weighed.cause,
            probability,
            began_s: began_h(weighed, features).map(|range| range.map(|h| start_s + 3600.0 * h)),
            shown: against.shown(weighed, misfit, features),
            second: weighed.second,
        })
        .collect();
    for cause in Cause::ALL {
        if !all.iter().any(|own| own.cause == cause) {
            all.push(Explanation { cause, probability: 0.0, began_s: None, shown: Vec::new(), second: None });
        }
    }
    all
}

/// What an explanation is held against.
struct Against<'a> {
    data: &'a Data<'a>,
    best: &'a [(Kind, f64)],
    unchanged: &'a [(Kind, f64)],
    /// Onset of the best explanation, for those without one.
    onset_h: Option<f64>,
}

impl Against<'_> {
    fn shown(&self, weighed: &Weighed, misfit: &[(Kind, f64)], features: &Features) -> Vec<Shown> {
        let Some(onset_h) = weighed.account.changes.first().map(|change| change.onset_h).or(self.onset_h) else {
            return Vec::new();
        };
        let each = misfit.iter().zip(self.best).zip(self.unchanged).map(|((own, best), unchanged)| {
            let stream = features.stream(own.0)?;
            let means = |pass: &dyn Fn(f64) -> bool| {
                self.data.means(own.0, &weighed.account.theta, &weighed.account.changes, pass)
            };
            let before = means(&|time_h| time_h < onset_h)?;
            let after = means(&|time_h| time_h >= onset_h)?;
            Some(Shown {
                kind: own.0,
                found: [expand(before[1], stream.scale), expand(after[1], stream.scale)],
                expected: expand(after[0], stream.scale),
                gain: unchanged.1 - own.1,
                behind: own.1 - best.1,
            })
        });
        each.flatten().collect()
    }
}

/// 95 % interval of the onset; a lead in evidence for one onset is worth less than it says, as for causes.
fn began_h(weighed: &Weighed, features: &Features) -> Option<[f64; 2]> {
    const TEMPERATURE: f64 = 3.0;
    /// Faults do not grow by the shapes that are tried, and where a shape begins is not quite where they do: share of
    /// the log.
    const SHAPE: f64 = 0.03;
    let first = weighed.account.changes.first()?;
    let grows = if first.profile == Profile::Step { 0.0 } else { SHAPE * features.duration_h };
    let reach_h = features.cell_h + grows;
    let widened = |[from, to]: [f64; 2]| Some([(from - reach_h).max(0.0), (to + reach_h).min(features.duration_h)]);
    if weighed.onsets.is_empty() {
        return widened([first.onset_h; 2]);
    }
    let largest = weighed.onsets.iter().map(|(_, weight)| *weight).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = weighed.onsets.iter().map(|(_, weight)| ((weight - largest) / TEMPERATURE).exp()).collect();
    let total: f64 = weights.iter().sum();
    let quantile = |share: f64| {
        let mut sum = 0.0;
        for ((onset, _), weight) in weighed.onsets.iter().zip(&weights) {
            sum += weight / total;
            if sum >= share {
                return *onset;
            }
        }
        weighed.onsets.last().map_or(0.0, |(onset, _)| *onset)
    };
    widened([quantile(0.025), quantile(0.975)])
}
