//! The page of a diagnosis: self-contained, prints well, needs no colour.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use tightfit_fit::diagnose::Cause;

use super::result::{ExplanationResult, Speaks};
use super::{Diagnosed, words};
use crate::markup::{clean, shortened};
use crate::plot::Figure;

const STYLE: &str = include_str!("../dossier/dossier.css");

pub(super) fn render(diagnosed: &Diagnosed, figures: &[Figure]) -> String {
    let result = &diagnosed.result;
    let page: Markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(result.program);
                title { "Enclosure " (shortened(&result.enclosure, 30)) ": why ppm rises" }
                style { (PreEscaped(STYLE)) }
            }
            body { main {
                section.sheet.first aria-labelledby="overview" {
                    header.top {
                        div {
                            p.kind { "Diagnosis of a working log" }
                            h1 #overview { "Enclosure " (result.enclosure) }
                            p.date { (diagnosed.clock.span(diagnosed.window_s, "to")) }
                        }
                        div.overall { span.verdict.none { (state(diagnosed)) } }
                    }
                    p { strong { (sentence(&diagnosed.conclusion)) } }
                    @if !result.problems.is_empty() {
                        div.problem { ul { @for problem in &result.problems { li { (sentence(&diagnosed.clock.retold(problem))) } } } }
                    }
                    (table(diagnosed))
                    h2 { "What to measure next" }
                    p { (sentence(&result.next_measurement.text)) }
                    p.small { "Expected information: " (format!("{:.2}", result.next_measurement.expected_gain)) " bits." }
                    h2 { "Cautions" }
                    ul { @for caution in &result.cautions { li { (caution) } } }
                }
                section.sheet aria-labelledby="evidence" {
                    header { p.kind { "Evidence" } h2 #evidence { "What speaks for and against" } }
                    @for (number, figure) in figures.iter().enumerate().filter(|(_, figure)| !figure.panels.is_empty()) {
                        figure {
                            (PreEscaped(figure.svg(&diagnosed.clock, "page")))
                            figcaption { strong { "Figure " (number + 1) ". " (figure.title) "." } " " (figure.caption) }
                        }
                    }
                    @for own in result.explanations.iter().filter(|own| !own.evidence.is_empty()) { (explanation(own)) }
                }
                section.sheet aria-labelledby="account" {
                    header { p.kind { "Account" } h2 #account { "Rows, files and notes" } }
                    p { (result.rows_read) " rows read, " (result.rows_used) " used, " (result.rows_set_aside) " set aside." }
                    ul { @for line in &result.set_aside { li { (line.count) " " (line.reason) } } }
                    ul { @for note in &result.notes { li { (sentence(&diagnosed.clock.retold(note))) } } }
                    ul.small { @for file in &result.files { li { (file.file) ", " (file.bytes) " bytes, SHA-256 " (file.sha256) } } }
                    p.small { (result.program) ", plan SHA-256 " (result.plan_sha256) }
                }
            } }
        }
    };
    clean(&page.into_string())
}

fn state(diagnosed: &Diagnosed) -> &'static str {
    match diagnosed.exit_code() {
        0 if diagnosed.leads_to_nothing() => "nothing changed",
        0 => "explained",
        4 => "not valid",
        _ => "undecided",
    }
}

fn table(diagnosed: &Diagnosed) -> Markup {
    let found = diagnosed.diagnosis.iter().flat_map(|diagnosis| &diagnosis.explanations);
    let began: Vec<Option<[f64; 2]>> = found.map(|own| own.began_s).collect();
    let began = |rank: usize| began.get(rank).copied().flatten();
    let explanations = diagnosed.result.explanations.iter().enumerate();
    html! {
        table {
            thead { tr { th { "Explanation" } th { "Probability" } th { "Began" } th { "Size" } } }
            tbody {
                @for (rank, own) in explanations.filter(|(_, own)| own.probability >= 0.005) {
                    tr {
                        td { (words_of(&own.cause)) }
                        td.number { (format!("{:.0} %", 100.0 * own.probability)) }
                        td { @if let Some(range) = began(rank) { (diagnosed.clock.span(range, "to")) } @else { "–" } }
                        td { (own.size) }
                    }
                }
            }
        }
    }
}

fn explanation(own: &ExplanationResult) -> Markup {
    html! {
        h3 { (sentence(words_of(&own.cause))) }
        ul { @for piece in &own.evidence {
            li { strong { @match piece.speaks { Speaks::For => "For: ", Speaks::Against => "Against: " } } (piece.text) }
        } }
    }
}

/// What people call the cause of that name.
pub(crate) fn words_of(cause: &str) -> &'static str {
    Cause::ALL.iter().find(|own| own.as_str() == cause).map_or("unknown", |own| words::name(*own))
}

/// With a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str())
}
