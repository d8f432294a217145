//! Results over years as pages of the dossier's kind.

use jiff::civil::Date;
use maud::{Markup, PreEscaped, html};

use super::follow::{Followed, HistoryReport};
use super::park::ParkLine;
use super::words::{TOO_FEW, capital, compared_words, heading, is_shown, trend_words, value};
use crate::dossier::html::{document, verdict_badge};
use crate::plot::{Axis, Clock, Figure, Line, Look, Panel, Shape};
use crate::text::value_text;

/// The page of one enclosure.
pub(super) fn render(report: &HistoryReport) -> String {
    let shown: Vec<&Followed> = report.quantities.iter().filter(|followed| is_shown(followed, None)).collect();
    let title = format!("Enclosure {}: results over the years", report.enclosure);
    document(
        &title,
        &html! {
            section.sheet.first aria-labelledby="overview" {
                header.top { div {
                    p.kind { "Results over the years" }
                    h1 #overview { "Enclosure " (report.enclosure) }
                } }
                h2 { "What was recorded" }
                table {
                    thead { tr { th scope="col" { "Day" } th scope="col" { "Entry" } th scope="col" { "What" } th scope="col" { "Remarks" } } }
                    tbody { @for entry in &report.entries { tr {
                        th.keep scope="row" { (entry.day) }
                        td { (entry.number) }
                        td { @if entry.kind == "service" { "service: " (entry.word) } @else { (verdict_badge(&entry.word)) } }
                        td {
                            (entry.note)
                            @if let Some(new) = entry.corrected_by { span.sub { "replaced by entry " (new) } }
                            @if let Some(old) = entry.corrects { span.sub { "in place of entry " (old) } }
                        }
                    } } }
                }
            }
            @for (number, followed) in shown.iter().enumerate() { (quantity(followed, number)) }
        },
    )
}

fn quantity(followed: &Followed, number: usize) -> Markup {
    let anchor = format!("quantity-{}", number + 1);
    html! {
        section.sheet aria-labelledby=(anchor) {
            header { h2 id=(anchor) { (capital(&heading(followed))) } }
            @if let Some(compared) = &followed.compared {
                p { strong { "Against the one before: " } (compared_words(followed, compared)) "." }
            }
            @match &followed.trend {
                Some(trend) => {
                    ul.findings { @for (label, words) in trend_words(followed, trend) {
                        li { strong { (capital(label)) ": " } (words) "." }
                    } }
                }
                None => { p { (capital(TOO_FEW)) "." } }
            }
            @if let Some(figure) = figure(followed) {
                figure {
                    (PreEscaped(figure.svg(&Clock::new(None, None), &anchor)))
                    figcaption { (figure.caption) }
                }
            }
            table {
                thead { tr { th scope="col" { "Day" } th scope="col" { "Result" } th scope="col" { "Entry" } } }
                tbody { @for result in &followed.results { tr {
                    th.keep scope="row" { (result.day) }
                    td { (value_text(&value(followed, result))) @if !result.valid { span.sub { "not valid" } } }
                    td { (result.entry) }
                } } }
            }
        }
    }
}

/// Results with their intervals, the trend, the limit; `None` where there is nothing to draw.
fn figure(followed: &Followed) -> Option<Figure> {
    let drawn: Vec<(f64, f64, [f64; 2])> = followed
        .results
        .iter()
        .filter(|result| result.valid)
        .filter_map(|result| {
            let day: Date = result.day.parse().ok()?;
            let value = result.value?;
            let [low, high] = result.interval95;
            Some((super::follow::number(day), value, [low.unwrap_or(value), high.unwrap_or(value)]))
        })
        .collect();
    let (first, last) = (drawn.first()?.0, drawn.last()?.0);
    let line = |label: &str, look, points: Vec<(f64, f64)>| Line { label: label.to_owned(), points, look };
    let mut lines = vec![
        line("", Look::Bars, drawn.iter().flat_map(|(x, _, [low, high])| [(*x, *low), (*x, *high)]).collect()),
        line("", Look::Points(Shape::Dot), drawn.iter().map(|(x, y, _)| (*x, *y)).collect()),
    ];
    let mut end = last;
    if let Some(trend) = &followed.trend {
        let of = |k: usize| trend.line.iter().map(|(day, values)| (*day, values[k])).collect::<Vec<_>>();
        end = end.max(of(0).last().map_or(last, |point| point.0));
        lines.push(line("trend", Look::Fitted, of(0)));
        lines.push(line("95 %", Look::Measured(2), of(1)));
        lines.push(line("95 %", Look::Measured(2), of(2)));
    }
    if let Some(limit) = &followed.limit {
        let (from, to) = (first.min(end - 180.0), end.max(first + 180.0));
        lines.push(line("limit", Look::Measured(1), vec![(from, limit.value), (to, limit.value)]));
    }
    let words = heading(followed);
    Some(Figure {
        name: "years".to_owned(),
        title: format!("{} over the years", capital(&words)),
        caption: format!(
            "Results with their 95 % intervals{}.",
            if followed.trend.is_some() { ", the trend and its 95 % interval" } else { "" }
        ),
        description: format!(
            "{} results of {words} from {} to {} with the trend and the limit.",
            drawn.len(),
            super::follow::date(first),
            super::follow::date(last)
        ),
        axis: Axis::Days,
        panels: vec![Panel { y_label: followed.unit.clone(), lines, zero_line: true, ..Panel::default() }],
    })
}

/// The page of a park.
pub(super) fn render_park(lines: &[ParkLine], today: Date) -> String {
    let attention = lines.iter().filter(|line| !line.attention.is_empty()).count();
    document(
        "Enclosures: what needs attention",
        &html! {
            section.sheet.first aria-labelledby="overview" {
                header.top { div {
                    p.kind { "All enclosures" }
                    h1 #overview { (attention) " of " (lines.len()) " need attention" }
                    p.date { "As of " (today) }
                } }
                table {
                    thead { tr {
                        th scope="col" { "Enclosure" } th scope="col" { "Last qualification" } th scope="col" { "Verdict" }
                        th scope="col" { "What to do" } th scope="col" { "Last service" }
                    } }
                    tbody { @for line in lines { tr {
                        th scope="row" { (line.enclosure) }
                        td { @if line.last_day.is_empty() { "never" } @else { (line.last_day) } }
                        td { @if !line.last_overall.is_empty() { (verdict_badge(&line.last_overall)) } }
                        td { (capital(&line.attention)) }
                        td { (line.last_service) }
                    } } }
                }
            }
        },
    )
}

/// What a dossier says of the results before; nothing where there are none.
pub(crate) fn earlier(report: &HistoryReport) -> Markup {
    let judged = report.quantities.iter().filter(|followed| is_shown(followed, None) && followed.results.len() > 1);
    if judged.clone().next().is_none() {
        return Markup::default();
    }
    html! {
        section.sheet aria-labelledby="earlier" {
            header { p.kind { "Requalification" } h2 #earlier { "Against earlier results" } }
            table {
                thead { tr { th scope="col" { "Quantity" } th scope="col" { "Day" } th scope="col" { "Result" } } }
                tbody { @for followed in judged.clone() {
                    @for (place, result) in followed.results.iter().rev().take(6).enumerate() { tr {
                        th scope="row" { @if place == 0 { (capital(&heading(followed))) } }
                        td.keep { (result.day) @if place == 0 { span.sub { "this one" } } }
                        td { (value_text(&value(followed, result))) @if !result.valid { span.sub { "not valid" } } }
                    } }
                } }
            }
            ul.findings { @for followed in judged {
                @if let Some(compared) = &followed.compared {
                    li { (capital(&heading(followed))) ": " (compared_words(followed, compared)) "." }
                }
                @if let Some(trend) = &followed.trend {
                    @for (label, words) in trend_words(followed, trend) { li { (capital(label)) ": " (words) "." } }
                }
            } }
        }
    }
}
