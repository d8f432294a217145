//! The result of a qualification as text.

use tightfit_quantity::{Unit, display_number};

use crate::Qualified;
use crate::catalogue::result_kind;
use crate::plot::Clock;
use crate::result::{Overall, Qualification, ResultValue, ResultValueKind, TestResult, Verdict, VerdictResult};

use super::layout::{Paint, paragraph};

/// Indent of what stands beside a label.
const INDENT: usize = 12;

/// The result in words, numbers after them; times on the clock of the plan's time zone.
#[must_use]
pub fn qualification(qualified: &Qualified, paint: Paint) -> String {
    let result = &qualified.result;
    let clock = Clock::new(None, qualified.plan.room.time_zone.as_deref());
    let mut out = String::new();
    paragraph(&mut out, "Enclosure", INDENT, &result.enclosure);
    for test in &result.tests {
        out.push('\n');
        write_test(&mut out, test, &clock);
    }
    out.push('\n');
    for verdict in &result.verdicts {
        write_verdict(&mut out, result, verdict, paint);
    }
    for check in result.checks.iter().filter(|check| check.result != "ok") {
        paragraph(&mut out, &check.result.to_uppercase(), INDENT, &format!("{} (checked by eye)", check.item));
    }
    let (before, word) = overall_word(result.overall, paint);
    out.push_str(&format!("{:<INDENT$}{before}{word}{}\n", "Overall", paint.end));
    out
}

fn write_test(out: &mut String, test: &TestResult, clock: &Clock) {
    let validity = match (test.valid, test.window.is_some()) {
        (true, _) => "valid",
        (false, true) => "NOT VALID",
        (false, false) => "NOT EVALUATED",
    };
    paragraph(out, "Test", INDENT, &format!("{} ({}), {validity}", test.id, test.method));
    for problem in &test.problems {
        paragraph(out, "  problem", INDENT, &clock.retold(problem));
    }
    if let Some([from, to]) = &test.window {
        let reason = test.window_reason.as_deref().unwrap_or_default();
        paragraph(out, "  window", INDENT, &clock.retold(&format!("{from} to {to}, {reason}")));
    }
    if test.rows_read > 0 {
        paragraph(out, "  rows", INDENT, &rows(test));
    }
    for (name, value) in &test.results.0 {
        write_result(out, name, value);
    }
    if let Some(class) = &test.tightness_class {
        paragraph(out, "  class", INDENT, &format!("ISO 10648-2 at {}: {}", class.at, class.words));
    }
    for event in &test.events {
        paragraph(out, "  event", INDENT, &clock.retold(event));
    }
    for note in &test.notes {
        paragraph(out, "  note", INDENT, &clock.retold(note));
    }
}

fn rows(test: &TestResult) -> String {
    let mut text = format!("{} read, {} used, {} set aside", test.rows_read, test.rows_used, test.rows_set_aside);
    for (index, line) in test.set_aside.iter().enumerate() {
        text.push_str(if index == 0 { ": " } else { "; " });
        text.push_str(&format!("{} {}", line.count, line.reason));
    }
    text
}

fn write_result(out: &mut String, name: &str, value: &ResultValue) {
    let (base, run) = name.split_once('[').unwrap_or((name, ""));
    let words = result_kind(base).map_or(base, |kind| kind.words);
    let run = if run.is_empty() { String::new() } else { format!(" [{}", run.replace(&format!("{base}["), "[")) };
    let at = value.at.as_ref().map_or(String::new(), |at| format!(" at {at}"));
    let upper = value
        .upper95
        .map_or(String::new(), |upper| format!("; one-sided 95 % limit of the method {}", display_number(upper, 3)));
    out.push_str(&format!("  {words}{run}\n"));
    let text = if base.ends_with("_share_within") && is_whole(value) {
        "1: all readings that count".to_owned()
    } else {
        value_text(value)
    };
    paragraph(out, "", INDENT, &format!("{text}{at}{upper}"));
}

/// A share of all, without a doubt.
fn is_whole(value: &ResultValue) -> bool {
    value.value == Some(1.0) && value.interval95 == [Some(1.0), Some(1.0)]
}

/// `1.23e-4 ± 0.11e-4 1/h (95 %)`, or the interval where it is lopsided, or a bound.
#[must_use]
pub(crate) fn value_text(value: &ResultValue) -> String {
    if let Some(in_larger_unit) = in_minutes_or_hours(value) {
        return value_text(&in_larger_unit);
    }
    // A pure number has no unit to show; a product of units is written as plans write it.
    let unit = if value.unit == "1" { String::new() } else { format!(" {}", value.unit.replace('.', " ")) };
    match (value.kind, value.value, value.interval95) {
        (ResultValueKind::Estimate, Some(number), [Some(low), Some(high)]) => {
            let half = 0.5 * (high - low);
            if half == 0.0 && value.unit == "1" && number.fract() == 0.0 {
                return format!("{number:.0}, counted");
            }
            if half == 0.0 {
                return format!("{}{unit}, uncertainty not known", display_number(number, 3));
            }
            let lopsided = (0.5 * (high + low) - number).abs() > 0.1 * half;
            if lopsided {
                let [number, low, high] = [number, low, high].map(|value| display_number(value, 3));
                format!("{number}{unit}, 95 % between {low} and {high}")
            } else {
                let (number, half) = rounded_together(number, half);
                format!("{number} ± {half}{unit} (95 %)")
            }
        }
        (ResultValueKind::UpperBound, _, [_, Some(high)]) => {
            format!("at most {}{unit} (95 %)", display_number(high, 3))
        }
        (ResultValueKind::LowerBound, _, [Some(low), _]) => {
            format!("at least {}{unit} (95 %)", display_number(low, 3))
        }
        (_, Some(number), _) => format!("{}{unit}, interval not determined", display_number(number, 3)),
        _ => "not determined from these data".to_owned(),
    }
}

/// A duration of many seconds in the unit in which people think of it.
fn in_minutes_or_hours(value: &ResultValue) -> Option<ResultValue> {
    let seconds = [value.value, value.interval95[0], value.interval95[1]].into_iter().flatten().fold(0.0, f64::max);
    let (unit, length_s) = match seconds {
        seconds if value.unit != "s" || seconds < TEN_MINUTES_S => return None,
        seconds if seconds < TWO_HOURS_S => ("min", 60.0),
        _ => ("h", 3600.0),
    };
    Some(ResultValue {
        value: value.value.map(|seconds| seconds / length_s),
        interval95: value.interval95.map(|end| end.map(|seconds| seconds / length_s)),
        upper95: value.upper95.map(|seconds| seconds / length_s),
        unit: unit.to_owned(),
        ..value.clone()
    })
}

const TEN_MINUTES_S: f64 = 600.0;
const TWO_HOURS_S: f64 = 7200.0;

/// Value and expanded uncertainty with the same last digit, the uncertainty with two digits (JCGM 100:2008, 7.2.6).
fn rounded_together(value: f64, half: f64) -> (String, String) {
    let last = half.log10().floor() as i32 - 1;
    let size = value.abs().max(half).log10().floor() as i32;
    // What rounds to nothing has no sign.
    let value = if value.abs() < 0.5 * 10f64.powi(last) { 0.0 } else { value };
    if (-3..6).contains(&size) {
        let decimals = (-last).max(0) as usize;
        return (format!("{value:.decimals$}"), format!("{half:.decimals$}"));
    }
    let decimals = (size - last).max(0) as usize;
    let scale = 10f64.powi(-size);
    (format!("{:.decimals$}e{size}", value * scale), format!("{:.decimals$}e{size}", half * scale))
}

fn write_verdict(out: &mut String, result: &Qualification, verdict: &VerdictResult, paint: Paint) {
    let (before, word) = verdict_word(verdict.verdict, paint);
    let words = result_kind(&verdict.quantity).map_or(verdict.quantity.as_str(), |kind| kind.words);
    let source = verdict.source.as_ref().map_or(String::new(), |source| format!(" ({source})"));
    let mut head = String::new();
    let test = if verdict.test.is_empty() { String::new() } else { format!(" of {}", verdict.test) };
    let test = verdict.run.as_ref().map_or(test.clone(), |run| format!("{test}, {run}"));
    paragraph(&mut head, word, INDENT, &format!("{words}{test}: {}{source}", verdict.limit));
    // Coloured after wrapping, so that the marks do not count as columns.
    out.push_str(&head.replacen(word, &format!("{before}{word}{}", paint.end), 1));
    let value = result.judged_value(verdict);
    if let Some(value) = value {
        paragraph(out, "", INDENT, &format!("found {}", in_unit_of_limit(value, verdict)));
    }
    if let Some(probability) = verdict.conformance_probability {
        let rule = &verdict.rule;
        paragraph(out, "", INDENT, &format!("conformance probability {} ({rule})", percent(probability)));
    }
    paragraph(out, "", INDENT, &verdict.advice);
}

/// The value in the unit in which the limit is written, so that the two can be compared at a glance.
pub(crate) fn in_unit_of_limit(value: &ResultValue, verdict: &VerdictResult) -> String {
    let limit =
        verdict.limit.split_once(' ').and_then(|(_, quantity)| tightfit_quantity::Quantity::parse(quantity).ok());
    let units = limit.and_then(|limit| Some((Unit::parse(&value.unit).ok()?, limit.unit().clone())));
    match units {
        Some((from, to)) if from != to => {
            let convert = |number: f64| to.from_si(from.to_si(number));
            value_text(&ResultValue {
                value: value.value.map(convert),
                interval95: value.interval95.map(|end| end.map(convert)),
                unit: to.symbol().to_owned(),
                ..value.clone()
            })
        }
        _ => value_text(value),
    }
}

/// A probability as a percentage that never claims certainty.
#[must_use]
pub(crate) fn percent(probability: f64) -> String {
    match probability {
        p if p > 0.9999 => "> 99.99 %".to_owned(),
        p if p < 0.0001 => "< 0.01 %".to_owned(),
        p if p > 0.99 => format!("{:.2} %", p * 100.0),
        p => format!("{:.1} %", p * 100.0),
    }
}

fn verdict_word(verdict: Verdict, paint: Paint) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Pass => (paint.good, "PASS"),
        Verdict::Fail => (paint.bad, "FAIL"),
        Verdict::Undecided => (paint.open, "UNDECIDED"),
        Verdict::NotValid => (paint.bad, "NOT VALID"),
    }
}

fn overall_word(overall: Overall, paint: Paint) -> (&'static str, &'static str) {
    match overall {
        Overall::Pass => (paint.good, "PASS"),
        Overall::Fail => (paint.bad, "FAIL"),
        Overall::Undecided => (paint.open, "UNDECIDED"),
        Overall::NotValid => (paint.bad, "NOT VALID"),
        Overall::InputError => (paint.bad, "INPUT ERROR"),
        Overall::NoLimits => (paint.open, "no limit is stated, so no verdict"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_and_uncertainty_end_at_the_same_digit() {
        assert_eq!(rounded_together(1.234_56e-4, 0.112e-4), ("1.23e-4".to_owned(), "0.11e-4".to_owned()));
        assert_eq!(rounded_together(12.345_6, 0.27), ("12.35".to_owned(), "0.27".to_owned()));
        assert_eq!(rounded_together(123_456.0, 2_345.0), ("123456".to_owned(), "2345".to_owned()));
    }

    #[test]
    fn long_durations_stand_in_minutes_or_hours_and_units_as_plans_write_them() {
        let found = |unit: &str, value: f64| {
            let interval95 = [Some(0.99 * value), Some(1.01 * value)];
            let (unit, kind) = (unit.to_owned(), ResultValueKind::Estimate);
            value_text(&ResultValue {
                value: Some(value),
                unit,
                standard_uncertainty: Some(0.005 * value),
                interval95,
                kind,
                at: None,
                upper95: None,
                degrees_of_freedom: None,
                budget: Vec::new(),
            })
        };
        assert_eq!(found("s", 500.0), "500.0 ± 5.0 s (95 %)");
        assert_eq!(found("s", 3000.0), "50.00 ± 0.50 min (95 %)");
        assert_eq!(found("s", 28_800.0), "8.000 ± 0.080 h (95 %)");
        assert_eq!(found("Pa.m3/s", 0.005), "0.005000 ± 0.000050 Pa m3/s (95 %)");
    }

    #[test]
    fn a_probability_never_reads_as_certain() {
        assert_eq!(percent(1.0), "> 99.99 %");
        assert_eq!(percent(0.0), "< 0.01 %");
        assert_eq!(percent(0.951), "95.1 %");
    }
}
