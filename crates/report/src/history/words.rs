//! Results over years in words, for the terminal and for the pages.

use jiff::civil::Date;
use tightfit_quantity::display_number;

use super::follow::{Compared, EntryLine, Followed, Forecast, HistoryReport, ServiceLine, TrendLine};
use super::park::ParkLine;
use crate::catalogue::result_kind;
use crate::result::{ResultValue, ResultValueKind};
use crate::text::{paragraph, value_text};

/// Indent of what stands beside a label.
const INDENT: usize = 14;
/// Enclosures of a park that a terminal shows.
const SHOWN: usize = 200;

/// The entries of an enclosure, and its last results against those before.
#[must_use]
pub fn show_text(report: &HistoryReport) -> String {
    let mut out = String::new();
    paragraph(&mut out, "Enclosure", INDENT, &report.enclosure);
    for entry in &report.entries {
        paragraph(&mut out, &format!("  {}", entry.day), INDENT, &entry_words(entry));
    }
    if report.quantities.is_empty() {
        out.push_str("\nNo results yet: tightfit qualify PLAN --record, or tightfit history add DOSSIER\n");
        return out;
    }
    out.push_str("\nLast results\n");
    for followed in &report.quantities {
        paragraph(&mut out, "", 2, &heading(followed));
        let last = followed.results.last().map_or_else(String::new, |last| {
            let valid = if last.valid { "" } else { "; not valid" };
            format!("{}{valid}", value_text(&value(followed, last)))
        });
        let day = followed.results.last().map_or("", |last| last.day.as_str());
        paragraph(&mut out, &format!("    {day}"), INDENT + 2, &last);
        if let Some(compared) = &followed.compared {
            paragraph(&mut out, "", INDENT + 2, &compared_words(followed, compared));
        }
    }
    out
}

/// The trends of an enclosure.
#[must_use]
pub fn trend_text(report: &HistoryReport, quantity: Option<&str>) -> String {
    let mut out = String::new();
    paragraph(&mut out, "Enclosure", INDENT, &report.enclosure);
    for followed in report.quantities.iter().filter(|followed| is_shown(followed, quantity)) {
        out.push('\n');
        paragraph(&mut out, "", 0, &capital(&heading(followed)));
        for result in &followed.results {
            let valid = if result.valid { "" } else { "; not valid" };
            paragraph(
                &mut out,
                &format!("  {}", result.day),
                INDENT,
                &format!("{}{valid}", value_text(&value(followed, result))),
            );
        }
        match &followed.trend {
            Some(trend) => {
                for (label, words) in trend_words(followed, trend) {
                    paragraph(&mut out, &format!("  {label}"), INDENT, &words);
                }
            }
            None => paragraph(&mut out, "  trend", INDENT, TOO_FEW),
        }
    }
    out
}

/// What is said where a trend takes more results.
pub(super) const TOO_FEW: &str = "a trend takes results of at least three different days";

/// A quantity is followed where it is judged, or asked for, or where nothing is judged at all.
pub(super) fn is_shown(followed: &Followed, quantity: Option<&str>) -> bool {
    match quantity {
        Some(quantity) => followed.quantity == quantity,
        None => followed.limit.is_some(),
    }
}

/// All enclosures, those first that need attention.
#[must_use]
pub fn park_text(lines: &[ParkLine]) -> String {
    let mut out = String::new();
    let count = lines.len();
    let attention = lines.iter().filter(|line| !line.attention.is_empty()).count();
    let enclosures = if count == 1 { "1 enclosure".to_owned() } else { format!("{count} enclosures") };
    let need = match attention {
        0 => "none needs attention".to_owned(),
        1 => "1 needs attention".to_owned(),
        several => format!("{several} need attention"),
    };
    out.push_str(&format!("{enclosures}, {need}\n\n"));
    for line in lines.iter().take(SHOWN) {
        let last = if line.last_day.is_empty() {
            "never qualified".to_owned()
        } else {
            format!("{} on {}", line.last_overall, line.last_day)
        };
        let why = if line.attention.is_empty() { String::new() } else { format!("; {}", line.attention) };
        paragraph(&mut out, &format!("{} ", line.enclosure), INDENT, &format!("{last}{why}"));
    }
    if count > SHOWN {
        out.push_str(&format!("and {} more: the page shows all (--out DIR)\n", count - SHOWN));
    }
    out
}

/// The last results of the store beside those of a new qualification, one line each.
#[must_use]
pub fn earlier_text(report: &HistoryReport) -> String {
    let mut out = String::new();
    out.push_str("\nAgainst the last qualification\n");
    for followed in report.quantities.iter().filter(|followed| followed.limit.is_some()) {
        if let Some(compared) = &followed.compared {
            paragraph(&mut out, "", 2, &format!("{}: {}", heading(followed), compared_words(followed, compared)));
        }
    }
    out
}

fn entry_words(entry: &EntryLine) -> String {
    let note = if entry.note.is_empty() { String::new() } else { format!(": {}", entry.note) };
    let corrects = entry.corrects.map_or(String::new(), |old| format!(", in place of entry {old}"));
    let corrected = entry.corrected_by.map_or(String::new(), |new| format!(", replaced by entry {new}"));
    let what = if entry.kind == "service" { "service, " } else { "" };
    format!("{what}{}{note} (entry {}{corrects}{corrected})", entry.word, entry.number)
}

/// `hourly leak rate at -1000 Pa (tightness)`.
pub(super) fn heading(followed: &Followed) -> String {
    let words = result_kind(&followed.quantity).map_or(followed.quantity.as_str(), |kind| kind.words);
    let at = if followed.at.is_empty() { String::new() } else { format!(" at {}", followed.at) };
    let run = if followed.run.is_empty() { String::new() } else { format!(", {}", followed.run) };
    format!("{words}{at} ({}{run})", followed.test)
}

pub(super) fn value(followed: &Followed, result: &super::follow::ResultLine) -> ResultValue {
    ResultValue {
        value: result.value,
        unit: followed.unit.clone(),
        standard_uncertainty: result.standard_uncertainty,
        interval95: result.interval95,
        kind: match result.kind.as_str() {
            "estimate" => ResultValueKind::Estimate,
            "upper_bound" => ResultValueKind::UpperBound,
            "lower_bound" => ResultValueKind::LowerBound,
            _ => ResultValueKind::NotDetermined,
        },
        at: None,
        upper95: None,
        degrees_of_freedom: None,
        budget: Vec::new(),
    }
}

/// Whether the last result differs from the one before.
pub(super) fn compared_words(followed: &Followed, compared: &Compared) -> String {
    let unit = &followed.unit;
    let change = signed(compared.difference);
    let half = display_number(0.5 * (compared.interval95[1] - compared.interval95[0]), 2);
    let verdict = match compared.significance {
        p if p < 0.01 => "a clear change",
        p if p < 0.05 => "probably a change",
        _ => "no more than the uncertainties allow",
    };
    let shared = if compared.shared > 0.1 * compared.standard_uncertainty {
        "; what both share (instrument and calibration, volume) is taken out"
    } else {
        ""
    };
    format!(
        "{change} ± {half} {unit} (95 %) since {}: {verdict} (chance {} if nothing had changed){shared}",
        compared.before,
        percent(compared.significance)
    )
}

/// Label and words of a trend, one line each.
pub(super) fn trend_words(followed: &Followed, trend: &TrendLine) -> Vec<(&'static str, String)> {
    let unit = &followed.unit;
    let [low, high] = trend.per_year95.map(signed);
    let direction = match trend.probability_rising {
        p if p > 0.975 => "rising",
        p if p < 0.025 => "falling",
        _ => "no trend shown",
    };
    let per_year = signed(trend.per_year);
    let mut lines = vec![
        ("trend", format!("{direction}: {per_year} {unit} a year (95 % between {low} and {high})")),
        (
            "scatter",
            format!("tests differ by about {} {unit} beyond their uncertainties", display_number(trend.scatter, 2)),
        ),
    ];
    lines.extend(trend.services.iter().map(|service| ("service", service_words(service, unit))));
    if let (Some(limit), Some(forecast)) = (&followed.limit, &trend.forecast) {
        lines.push(("limit", format!("{}: {}", limit.text, forecast_words(forecast))));
        lines.push(("next test", next_words(forecast)));
    }
    lines
}

fn service_words(service: &ServiceLine, unit: &str) -> String {
    let [low, high] = service.step95.map(signed);
    let step = format!("{} {unit} (95 % between {low} and {high})", signed(service.step));
    let (day, what, chance) = (&service.day, &service.what, percent(service.probability));
    match service.probability {
        p if p >= 0.95 => format!("{day}, {what}: changed it by {step}"),
        p if p <= 0.2 => format!("{day}, {what}: no sign that it changed anything (probability {chance})"),
        _ => format!("{day}, {what}: may have changed it by {step}; probability {chance}"),
    }
}

/// `between March 2027 and October 2028`.
pub(super) fn forecast_words(forecast: &Forecast) -> String {
    match forecast {
        Forecast::Beyond { probability } => format!("exceeded already, with {}", percent(*probability)),
        Forecast::NotWithinTenYears => "not reached within ten years, with 97.5 %".to_owned(),
        Forecast::Between { from, to, .. } => match (from.as_deref().and_then(month), to.as_deref().and_then(month)) {
            (Some(from), Some(to)) if from == to => format!("reached in {from} (95 %)"),
            (Some(from), Some(to)) => format!("reached between {from} and {to} (95 %)"),
            (None, Some(to)) => format!("reached before {to}, perhaps already (95 %)"),
            (Some(from), None) => format!("not reached before {from} (97.5 %); perhaps not within ten years"),
            (None, None) => "may be reached at any time, or not within ten years: the results do not tell".to_owned(),
        },
    }
}

fn next_words(forecast: &Forecast) -> String {
    match forecast {
        Forecast::Beyond { .. } => "now: find the cause, mend it, test again".to_owned(),
        Forecast::NotWithinTenYears => {
            "at the usual interval; from the trend alone the limit is no reason to test sooner".to_owned()
        }
        Forecast::Between { risk_from, .. } => match risk_from.as_deref().and_then(month) {
            Some(month) => format!("before {month}: from then on the chance to be beyond the limit is over 5 %"),
            None => "at the usual interval; the chance to be beyond the limit stays below 5 %".to_owned(),
        },
    }
}

fn month(day: &str) -> Option<String> {
    let day: Date = day.parse().ok()?;
    Some(day.strftime("%B %Y").to_string())
}

fn signed(value: f64) -> String {
    let text = display_number(value, 2);
    if value > 0.0 { format!("+{text}") } else { text }
}

fn percent(probability: f64) -> String {
    match 100.0 * probability {
        p if p > 99.9 => "over 99.9 %".to_owned(),
        p if p < 0.1 => "under 0.1 %".to_owned(),
        p if p < 10.0 => format!("{p:.1} %"),
        p => format!("{p:.0} %"),
    }
}

pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}
