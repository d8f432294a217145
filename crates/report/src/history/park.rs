//! All enclosures of a store, those first that need attention.

use jiff::civil::Date;
use serde::Serialize;
use tightfit_history::{Store, Summary};

use super::HistoryError;
use super::follow::number;

/// Days after which a requalification is looked for (common practice, no source: once a year).
const YEAR: f64 = 365.25;

/// An enclosure of a park.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ParkLine {
    /// Its name.
    pub enclosure: String,
    /// Qualifications that stand.
    pub qualifications: u64,
    /// Day of the last; empty where there is none.
    pub last_day: String,
    /// Its overall verdict.
    pub last_overall: String,
    /// Its smallest conformance probability.
    pub least_probability: Option<f64>,
    /// Day of the last service; empty where there is none.
    pub last_service: String,
    /// Why it needs attention; empty where it does not.
    pub attention: String,
}

/// Every enclosure of the store, by need of attention: what failed, what is not valid or undecided, what was served
/// after its last qualification, what is overdue, then by conformance probability.
///
/// # Errors
/// What the store says.
pub fn park(store: &Store, today: Date) -> Result<Vec<ParkLine>, HistoryError> {
    let mut lines: Vec<(u8, ParkLine)> = store.summaries()?.into_iter().map(|summary| line(summary, today)).collect();
    lines.sort_by(|(rank_a, a), (rank_b, b)| {
        let probability = |line: &ParkLine| line.least_probability.unwrap_or(1.0);
        rank_a.cmp(rank_b).then(probability(a).total_cmp(&probability(b))).then(a.last_day.cmp(&b.last_day))
    });
    Ok(lines.into_iter().map(|(_, line)| line).collect())
}

fn line(summary: Summary, today: Date) -> (u8, ParkLine) {
    let age = summary.last_day.parse().ok().map(|day: Date| number(today) - number(day));
    let (rank, attention) = match (summary.last_overall.as_str(), age) {
        ("fail", _) => (0, "failed: mend, then test again"),
        ("not valid" | "input error", _) => (1, "the last test could not be judged: repeat it"),
        ("undecided", _) => (2, "the last test did not decide: see its advice"),
        (_, None) => (3, "never qualified"),
        _ if summary.last_service > summary.last_day => (4, "served since its last test: test what was touched"),
        (_, Some(age)) if age > YEAR => (5, "the last test is more than a year old"),
        _ => (6, ""),
    };
    let line = ParkLine {
        enclosure: summary.enclosure,
        qualifications: summary.qualifications,
        last_day: summary.last_day,
        last_overall: summary.last_overall,
        least_probability: summary.least_probability,
        last_service: summary.last_service,
        attention: attention.to_owned(),
    };
    (rank, line)
}
