//! What the analyser checks of a plan mean for its other tests: the zero error found is taken off.
//!
//! It works as if the plan stated `zero_check` (and, between a check before and one after, `drift`) for the instrument,
//! so that every method treats it alike. What the plan states itself wins.

use std::collections::BTreeMap;

use tightfit_fit::{Estimate, Kind};
use tightfit_ingest::Channel;
use tightfit_quantity::{Quantity, Uncertainty, display_number};

use crate::catalogue::Method;
use crate::plan::{Instrument, Plan, Test, ZeroCheck};

use super::{Outcome, TestError};

/// The gas of least content tells the zero where it holds at most this share of the largest: what scale adds to it is
/// then small beside it.
const LEAST_CONTENT: f64 = 0.1;
/// Zeros so far apart, s, tell how fast the zero moves; nearer together they tell their noise.
const LEAST_BETWEEN_S: f64 = 3600.0;

/// A check as the other tests see it.
#[derive(Debug)]
pub(crate) struct Checked {
    /// The instrument in the plan.
    pub(crate) instrument: String,
    /// Which content it shows.
    pub(crate) channel: Channel,
    /// Least and largest content given, ppm.
    pub(crate) contents_ppm: [f64; 2],
    /// Zero errors of single plateaus in the order of time: time, s since 1970 where dated, and error, ppm.
    pub(crate) zeros: Vec<(Option<f64>, f64)>,
    /// The zero error over all of them, and what else was found, by name.
    pub(crate) zero_error: Option<Estimate>,
}

/// The plan as the other tests take it, and what is said in them.
pub(crate) struct Corrected {
    pub(crate) plan: Plan,
    /// By instrument.
    notes: BTreeMap<String, Vec<String>>,
}

impl Corrected {
    /// From the outcomes of the checks; other outcomes are not looked at.
    pub(crate) fn of(plan: &Plan, outcomes: &[Option<Result<Outcome, TestError>>]) -> Self {
        let mut corrected = Self { plan: plan.clone(), notes: BTreeMap::new() };
        let mut of_instrument: BTreeMap<&str, Vec<(&Outcome, &Checked)>> = BTreeMap::new();
        for outcome in outcomes.iter().flatten().flatten().filter(|outcome| outcome.result.valid) {
            let checks = outcome.drawings.iter().filter_map(|drawing| drawing.evaluation.analyser_check());
            for checked in checks {
                of_instrument.entry(&checked.instrument).or_default().push((outcome, checked));
            }
        }
        for (name, checks) in of_instrument {
            corrected.take(name, &checks);
        }
        corrected
    }

    /// Says in the tests that used a checked analyser what became of the check.
    pub(crate) fn note_in(&self, outcomes: &mut [Result<Outcome, TestError>]) {
        for (test, outcome) in self.plan.tests.iter().zip(outcomes) {
            let Ok(outcome) = outcome else { continue };
            if test.method == Method::AnalyserCheck {
                continue;
            }
            let of_test = self.notes.iter().filter(|(instrument, _)| uses(test, instrument));
            outcome.result.notes.extend(of_test.flat_map(|(_, notes)| notes.iter().cloned()));
        }
    }

    fn take(&mut self, name: &str, checks: &[(&Outcome, &Checked)]) {
        let mut notes: Vec<String> = checks.iter().filter_map(|(outcome, _)| found(outcome, name)).collect();
        let why_not = self.why_not(name, checks);
        if let Some(instrument) = self.plan.instruments.get_mut(name) {
            match why_not {
                Some(reason) => notes.push(format!("the zero error of {name} is not taken off here: {reason}")),
                None => notes.extend(correct(instrument, checks)),
            }
        }
        self.notes.insert(name.to_owned(), notes);
    }

    /// What keeps the zero error from being taken off.
    fn why_not(&self, name: &str, checks: &[(&Outcome, &Checked)]) -> Option<String> {
        if self.plan.instruments.get(name).is_some_and(|instrument| instrument.zero_check.is_some()) {
            return Some("the plan states its zero_check, which is".to_owned());
        }
        if checks.iter().all(|(_, checked)| checked.zero().is_none()) {
            return Some("no check gives it as more than a bound, with gas of near zero content".to_owned());
        }
        let channel = checks.first().map(|(_, checked)| checked.channel)?;
        let shows =
            |test: &Test| test.columns.iter().any(|c| c.instrument.as_deref() == Some(name) && c.channel != channel);
        self.plan
            .tests
            .iter()
            .any(shows)
            .then(|| format!("it shows more than {channel} in this plan; give each of its outputs a name of its own"))
    }
}

impl Checked {
    /// The zero error, where it is one.
    fn zero(&self) -> Option<&Estimate> {
        let [least, largest] = self.contents_ppm;
        let tells_zero = least <= LEAST_CONTENT * largest || least <= 0.0;
        self.zero_error.as_ref().filter(|zero| tells_zero && zero.kind == Kind::Estimate)
    }
}

fn uses(test: &Test, instrument: &str) -> bool {
    test.columns.iter().any(|column| column.instrument.as_deref() == Some(instrument))
}

/// States zero and drift in the instrument, and says so.
fn correct(instrument: &mut Instrument, checks: &[(&Outcome, &Checked)]) -> Vec<String> {
    let zeros: Vec<&Estimate> = checks.iter().filter_map(|(_, checked)| checked.zero()).collect();
    let count = zeros.len() as f64;
    let value = zeros.iter().map(|zero| zero.value).sum::<f64>() / count;
    // Checks share their reference gas, so that several are not better than one; what they differ by is a bound.
    let of_one = (zeros.iter().map(|zero| zero.standard_uncertainty.powi(2)).sum::<f64>() / count).sqrt();
    let half_range = 0.5
        * (zeros.iter().map(|zero| zero.value).fold(f64::NEG_INFINITY, f64::max)
            - zeros.iter().map(|zero| zero.value).fold(f64::INFINITY, f64::min));
    let uncertainty = of_one.hypot(half_range / 3.0_f64.sqrt());
    let (Ok(reading), Ok(stated)) =
        (Quantity::parse(&format!("{value} ppm")), Uncertainty::parse(&format!("{uncertainty} ppm")))
    else {
        return Vec::new();
    };
    instrument.zero_check = Some(ZeroCheck { reading, uncertainty: Some(stated) });
    let name = &instrument.name;
    let mut notes = vec![format!(
        "the zero error of {name}, {value:.4} ppm with a standard uncertainty of {uncertainty:.4} ppm, is taken off here \
         (zero_check in the plan would win)"
    )];
    if instrument.drift.is_none()
        && let Some((ppm_per_h, hours)) = drift(checks)
        && let Ok(bound) = Quantity::parse(&format!("{ppm_per_h} ppm/h"))
    {
        instrument.drift = Some(bound);
        notes.push(format!(
            "between the first and the last zero of {name}, {hours:.1} h apart, it moved by {:.4} ppm: {ppm_per_h:.5} \
             ppm/h counts as the bound of its drift",
            ppm_per_h * hours
        ));
    }
    notes
}

/// How fast the zero moved between its first and its last check, ppm/h, and the time between them, h.
fn drift(checks: &[(&Outcome, &Checked)]) -> Option<(f64, f64)> {
    let told = checks.iter().filter(|(_, checked)| checked.zero().is_some());
    let mut zeros: Vec<(f64, f64)> =
        told.flat_map(|(_, checked)| &checked.zeros).filter_map(|(time_s, ppm)| Some(((*time_s)?, *ppm))).collect();
    zeros.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (zeros.first()?, zeros.last()?);
    let between_s = last.0 - first.0;
    let hours = between_s / 3600.0;
    (between_s >= LEAST_BETWEEN_S).then(|| ((last.1 - first.1).abs() / hours, hours))
}

/// What a check found.
fn found(checked: &Outcome, instrument: &str) -> Option<String> {
    let of = |name| checked.estimates.iter().find(|(known, _)| *known == name).map(|(_, estimate)| estimate);
    let part = |words: &str, estimate: Option<&Estimate>, unit: &str| {
        estimate.map(|e| {
            let [value, low, high] = [e.value, e.interval95[0], e.interval95[1]].map(|value| display_number(value, 3));
            format!("{words} {value} {unit} ({low} to {high})")
        })
    };
    let parts: Vec<String> = [
        part("a zero error of", of("zero_error"), "ppm"),
        part("a span error of", of("span_error"), "ppm"),
        part("a t90 of", of("response_t90"), "s"),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| {
        let id = &checked.result.id;
        format!("the check \"{id}\" of {instrument} found {}", parts.join(", "))
    })
}
