//! The page as a whole.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{Drawn, first_page, test_page, traceability};
use crate::markup::{clean, shortened};
use crate::{PROGRAM, Qualified, history};

/// Style of the page; it stands in the page itself, which asks for nothing from anywhere.
pub(crate) const STYLE: &str = include_str!("dossier.css");

/// The page with its figures, which are drawn already.
pub(super) fn render(qualified: &Qualified, drawn: &[Vec<Drawn>]) -> String {
    // Windows and tabs cut long titles anyway.
    let id = shortened(&qualified.result.enclosure, 30);
    document(
        &format!("Enclosure {id}: tightness dossier"),
        &html! {
            (first_page::render(qualified))
            @if let Some(earlier) = &qualified.earlier { (history::earlier(earlier)) }
            @for (index, drawn) in drawn.iter().enumerate() { (test_page::render(qualified, index, drawn)) }
            (traceability::render(qualified))
        },
    )
}

/// A page in the dossier's style around `content`.
pub(crate) fn document(title: &str, content: &Markup) -> String {
    let page: Markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(PROGRAM);
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body { main { (content) } }
        }
    };
    clean(&page.into_string())
}

/// A verdict as symbol and word, apart without colour by symbol and frame.
pub(crate) fn verdict_badge(verdict: &str) -> Markup {
    let (class, symbol) = match verdict {
        "pass" | "ok" => ("pass", "✓"),
        "fail" | "not ok" => ("fail", "✗"),
        "undecided" | "not done" => ("undecided", "?"),
        "not valid" => ("not-valid", "–"),
        "input error" => ("not-valid", "!"),
        _ => ("none", "○"),
    };
    html! {
        span class={ "verdict " (class) } {
            span.symbol aria-hidden="true" { (symbol) }
            " " span { (verdict) }
        }
    }
}
