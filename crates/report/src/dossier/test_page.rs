//! The page of one test: record, fit, results beside the conventional ones, budget, what was set aside.

use maud::{Markup, PreEscaped, html};

use super::Drawn;
use super::first_page::words;
use super::html::verdict_badge;
use super::number::{
    Shown, capitalized, common_exponent, count, limit, name, plain, prose, quantity, typeset, unit_text,
};
use crate::Qualified;
use crate::method::{Drawing, Outcome, TestError};
use crate::plan::Test;
use crate::plot::{Clock, Figure};
use crate::result::{Consequence, ResultValue, Results, TestResult, ValidityLine};

pub(super) fn render(qualified: &Qualified, index: usize, drawn: &[Drawn]) -> Markup {
    let Some(test) = qualified.plan.tests.get(index) else {
        return html! {};
    };
    let heading = format!("test-{}", index + 1);
    html! {
        section.sheet aria-labelledby=(heading) {
            header {
                p.kind { "Test " (index + 1) " of " (qualified.plan.tests.len()) ": " (test.method.words()) }
                h2 id=(heading) { (name(&test.id)) }
            }
            @match qualified.outcomes.get(index) {
                Some(Ok(outcome)) => { (evaluated(qualified, test, outcome, drawn)) }
                Some(Err(error)) => { (without_result(error)) }
                None => {}
            }
        }
    }
}

fn without_result(error: &TestError) -> Markup {
    html! {
        div.problem {
            p { (verdict_badge("input error")) " This test gave no result." }
            p { (capitalized(&error.to_string())) "." }
            p { strong { "What helps: " } (error.hint()) "." }
        }
    }
}

fn evaluated(qualified: &Qualified, test: &Test, outcome: &Outcome, drawn: &[Drawn]) -> Markup {
    let result = &outcome.result;
    let zone = qualified.plan.room.time_zone.as_deref();
    let clock = Clock::new(None, zone);
    let verdicts = qualified.result.verdicts.iter().filter(|verdict| verdict.test == result.id);
    // Figures are numbered through the whole test, whatever runs it has.
    let before = |number: usize| drawn[..number].iter().map(|drawn| drawn.figures.len()).sum::<usize>();
    html! {
        @if !result.problems.is_empty() {
            div.problem {
                p { (verdict_badge("not valid")) " This test may not be judged:" }
                ul { @for problem in &result.problems { li { (capitalized(&prose(&clock.retold(problem)))) "." } } }
            }
        }
        ul.verdicts {
            @for verdict in verdicts {
                li { (verdict_badge(verdict.verdict.words())) " " (words(&verdict.quantity)) ", " (limit(&verdict.limit).0) }
            }
        }
        (conduct(test, outcome, zone))
        @for (number, (drawing, drawn)) in outcome.drawings.iter().zip(drawn).enumerate() {
            @if !drawing.title.is_empty() && outcome.drawings.len() > 1 { h3 { (name(&drawing.title)) } }
            @for (place, (figure, svg)) in drawn.figures.iter().enumerate() {
                (figure_markup(figure, svg, before(number) + place + 1))
                @if figure.name == "record" { (events(drawing, &drawn.clock)) }
            }
        }
        @if result.results.0.is_empty() && !result.runs.is_empty() { h3 { "Results" } }
        (results(&result.results, result.gas.as_deref(), "Results"))
        @for run in &result.runs {
            (results(&run.results, result.gas.as_deref(), &format!("Results: {}", run.boundary)))
        }
        @for (run, name, value) in budgets(qualified, result) { (budget(run, name, value)) }
        (validity(result, &clock))
        (findings(result, &clock))
        (rows(result))
    }
}

/// How the test was made and evaluated.
fn conduct(test: &Test, outcome: &Outcome, zone: Option<&str>) -> Markup {
    let result = &outcome.result;
    let window = outcome
        .drawings
        .first()
        .filter(|_| outcome.drawings.len() == 1)
        .map(|drawing| Clock::new(drawing.origin_s, zone).span(drawing.evaluation.window_s(), "to"));
    let retold = |[from, to]: &[String; 2]| Clock::new(None, zone).retold(&format!("{from} to {to}"));
    let window = window.or_else(|| result.window.as_ref().map(retold));
    html! {
        dl.facts.four {
            div.wide { dt { "Evaluated" } dd {
                (window.as_deref().unwrap_or("see the runs"))
                span.sub {
                    @if test.window.is_some() { "Window set by hand in the plan" } @else { "Window found by the program" }
                    @if let Some(reason) = result.window_reason.as_deref().filter(|reason| *reason != "set by hand") { ": " (reason) }
                    "."
                }
            } }
            @if let Some(boundary) = &test.boundary { div { dt { "Inside the boundary" } dd { (boundary) } } }
            @if let Some(pressure) = &test.reference_pressure { div { dt { "Leak rate stated at" } dd { (quantity(pressure)) } } }
            div { dt { "Attempt" } dd {
                @match test.attempt { Some(attempt) => { "number " (attempt) } None => { "no earlier one is stated" } }
                @if let Some(earlier) = &test.earlier { span.sub { "Earlier attempt set aside: " (earlier) } }
            } }
            @if let Some(class) = &result.tightness_class {
                div.wide { dt { "Leak-tightness class by ISO 10648-2 at " (typeset(&class.at)) } dd { (capitalized(&typeset(&class.words))) } }
            }
            div { dt { "Rows" } dd {
                (count(result.rows_used)) " of " (count(result.rows_read)) " used"
                @if result.rows_set_aside > 0 { span.sub { (count(result.rows_set_aside)) " set aside, with reasons below" } }
            } }
        }
    }
}

fn figure_markup(figure: &Figure, svg: &str, number: usize) -> Markup {
    html! {
        figure {
            (PreEscaped(svg))
            figcaption { strong { "Figure " (number) ". " (figure.title) "." } " " (typeset(&figure.caption)) }
        }
    }
}

/// What happened during the record, numbered as in the figure.
fn events(drawing: &Drawing, clock: &Clock) -> Markup {
    let events = drawing.evaluation.events();
    html! {
        @if !events.is_empty() {
            h3 { "Events found in the record" }
            ol.events {
                @for event in &events {
                    @let [from_s, to_s] = event.span_s;
                    li {
                        (clock.moment(from_s))
                        @if to_s > from_s { " to " (clock.moment_beside(to_s, from_s)) }
                        ": " (typeset(&event.words))
                    }
                }
            }
        }
    }
}

fn results(results: &Results, gas: Option<&str>, title: &str) -> Markup {
    let has_at = results.0.iter().any(|(_, value)| value.at.is_some());
    html! {
        @if !results.0.is_empty() {
            h3 { (title) }
            table {
                thead { tr {
                    th scope="col" { "Quantity" }
                    th scope="col" { "Value" }
                    th scope="col" { "95 % interval" }
                    @if has_at { th scope="col" { "At Δp" } th scope="col" { "Gas that flowed" } }
                } }
                tbody { @for (name, value) in &results.0 {
                        (result_row(name, value, gas, has_at, exponent(results, &value.unit)))
                    } }
            }
            @if results.get("hourly_leak_rate_two_point").or(results.get("hourly_leak_rate_mass_point")).is_some() {
                p.small {
                    "The first line is this program’s own estimate and the one that is judged. The two-point and mass-point evaluations are the \
                     conventional ones and stand beside it for comparison, at the mean pressure difference of the window and not scaled."
                }
            }
        }
    }
}

/// Results in one unit share a power of ten, so that they can be compared at a glance.
fn exponent(results: &Results, unit: &str) -> Option<i32> {
    common_exponent(results.0.iter().filter(|(_, value)| value.unit == unit).filter_map(|(_, value)| value.value))
}

fn result_row(name: &str, value: &ResultValue, gas: Option<&str>, has_at: bool, exponent: Option<i32>) -> Markup {
    let shown = Shown::own(value).with_exponent(exponent);
    html! {
        tr {
            th scope="row" {
                (capitalized(words(name)))
                @match name {
                    "hourly_leak_rate" => { span.sub { "our estimate" } }
                    "hourly_leak_rate_two_point" | "hourly_leak_rate_mass_point" => { span.sub { "conventional" } }
                    _ => {}
                }
            }
            td.keep { (shown.value()) }
            td.keep {
                (shown.interval())
                @if let Some(limit) = shown.upper_limit() { span.sub { "one-sided 95 % limit of the method: " (limit) } }
            }
            @if has_at {
                td.keep { (value.at.as_deref().map_or("–".to_owned(), typeset)) }
                td.keep { (value.at.as_deref().and(gas).unwrap_or("–")) }
            }
        }
    }
}

/// Results whose budget is shown: the first, and every other one that is judged; each with its run, where it has one.
fn budgets<'a>(
    qualified: &'a Qualified,
    result: &'a TestResult,
) -> impl Iterator<Item = (&'a str, &'a str, &'a ResultValue)> {
    let judged = |name: &str| {
        qualified.result.verdicts.iter().any(|verdict| verdict.test == result.id && verdict.quantity == name)
    };
    let runs = result.runs.iter().map(|run| (run.boundary.as_str(), &run.results));
    let all = std::iter::once(("", &result.results)).chain(runs).flat_map(|(run, results)| {
        results.0.iter().enumerate().map(move |(index, (name, value))| (run, index, name.as_str(), value))
    });
    all.filter(move |(_, index, name, value)| !value.budget.is_empty() && (*index == 0 || judged(name)))
        .map(|(run, _, name, value)| (run, name, value))
}

fn budget(run: &str, name: &str, value: &ResultValue) -> Markup {
    let variance: f64 = value.budget.iter().map(|line| line.standard_uncertainty.powi(2)).sum();
    let share = |u: f64| if variance > 0.0 { u * u / variance } else { 0.0 };
    let unit = unit_text(&value.unit);
    html! {
        h3 { "Uncertainty budget: " (words(name)) @if !run.is_empty() { ", " (run) } }
        table.budget {
            thead { tr {
                th scope="col" { "Source" }
                th scope="col" { "Standard uncertainty" }
                th scope="col" { "Share of the variance" }
            } }
            tbody {
                @for line in &value.budget {
                    tr {
                        th scope="row" { (capitalized(&line.source)) }
                        td { (plain(line.standard_uncertainty, 2)) " " (unit) }
                        td.share { (bar(share(line.standard_uncertainty))) }
                    }
                }
            }
            @if let Some(all) = value.standard_uncertainty {
                tfoot { tr {
                    th scope="row" { "All together" }
                    td { (plain(all, 2)) " " (unit) }
                    td {
                        @match value.degrees_of_freedom {
                            Some(dof) => { (plain(dof, 2)) " effective degrees of freedom" }
                            None => {}
                        }
                    }
                } }
            }
        }
    }
}

/// A share as a bar with a frame, so that it prints without backgrounds, and its number.
fn bar(share: f64) -> Markup {
    const LENGTH: f64 = 120.0;
    html! {
        svg width="120" height="9" viewBox="0 0 120 9" aria-hidden="true" focusable="false" {
            rect x="0.5" y="0.5" width="119" height="8" fill="none" stroke="#8a949a" {}
            rect x="0" y="0" width=(format!("{:.1}", LENGTH * share.clamp(0.0, 1.0))) height="9" fill="#123f6b" {}
        }
        " " (share_text(share))
    }
}

fn share_text(share: f64) -> String {
    if share > 0.0 && share < 0.01 { "under 1 %".to_owned() } else { format!("{:.0} %", 100.0 * share) }
}

/// Every check with what it found and what follows, those that found trouble first.
fn validity(result: &TestResult, clock: &Clock) -> Markup {
    let mut lines: Vec<&ValidityLine> = result.validity.iter().collect();
    lines.sort_by_key(|line| match line.consequence {
        Consequence::NotValid => 0,
        Consequence::Said => 1,
        Consequence::None => 2,
    });
    html! {
        @if !lines.is_empty() {
            h3 { "Validity checks" }
            table.validity {
                thead { tr { th scope="col" { "Check" } th scope="col" { "Finding" } th scope="col" { "Consequence" } } }
                tbody {
                    @for line in lines {
                        tr {
                            th scope="row" { (capitalized(&line.check)) }
                            td { (finding(&clock.retold(&line.finding))) }
                            td.keep { (consequence(line.consequence)) }
                        }
                    }
                }
            }
        }
    }
}

/// A finding that begins with the name of a file keeps it as it is.
fn finding(text: &str) -> String {
    let begins_with_name = text.split(' ').next().is_some_and(|word| word.contains(['.', '_', '/']));
    if begins_with_name { prose(text) } else { capitalized(&prose(text)) }
}

fn consequence(consequence: Consequence) -> Markup {
    match consequence {
        Consequence::None => html! { "none: in order" },
        Consequence::Said => html! { "valid, to be known" },
        Consequence::NotValid => verdict_badge("not valid"),
    }
}

/// What is not among the checks already.
fn findings(result: &TestResult, clock: &Clock) -> Markup {
    let checked = |note: &&String| !result.validity.iter().any(|line| line.finding == **note);
    let notes: Vec<&String> = result.notes.iter().filter(checked).collect();
    html! {
        @if !notes.is_empty() {
            h3 { "Findings" }
            ul.findings { @for note in notes { li { (capitalized(&prose(&clock.retold(note)))) "." } } }
        }
    }
}

fn rows(result: &TestResult) -> Markup {
    html! {
        h3 { "What became of the rows" }
        table.rows {
            thead { tr { th scope="col" { "Rows" } th scope="col" { "Count" } } }
            tbody {
                tr { th scope="row" { "read" } td { (count(result.rows_read)) } }
                tr { th scope="row" { "used" } td { (count(result.rows_used)) } }
                @for line in &result.set_aside {
                    tr { th scope="row" { "set aside: " (line.reason) } td { (count(line.count)) } }
                }
            }
        }
    }
}
