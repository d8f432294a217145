//! A design as one page with its figure, and as files.

use std::path::{Path, PathBuf};

use maud::{DOCTYPE, Markup, PreEscaped, html};
use tightfit_quantity::display_number;

use super::words;
use super::{Design, DesignedTest, Expected};
use crate::dossier::STYLE;
use crate::markup::{clean, shortened};
use crate::plot::{Axis, Clock, Figure, Line, Look, Panel, Scale};
use crate::write::{Existing, NewFile, WriteError, write_folder};

/// The page of a design.
pub const PAGE_FILE: &str = "design.html";
/// The design for programs.
pub const JSON_FILE: &str = "design.json";

/// Writes page and JSON as the whole content of the folder `out`; `replace` allows a design that stands there already.
///
/// # Errors
/// See [`WriteError`]; then nothing at `out` has changed.
pub fn write(design: &Design, out: &Path, replace: bool) -> Result<Vec<PathBuf>, WriteError> {
    let json = serde_json::to_vec_pretty(design).unwrap_or_default();
    let files = [
        NewFile { path: PAGE_FILE.into(), content: render(design).into_bytes() },
        NewFile { path: JSON_FILE.into(), content: json },
    ];
    let known = [PathBuf::from(PAGE_FILE), PathBuf::from(JSON_FILE)];
    write_folder(out, &files, if replace { Existing::Replace(&known) } else { Existing::Refuse })
}

fn render(design: &Design) -> String {
    let id = shortened(&design.enclosure, 30);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(design.program);
                title { "Enclosure " (id) ": test design" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    @for (number, test) in design.tests.iter().enumerate() {
                        (sheet(design, test, number))
                    }
                }
            }
        }
    };
    clean(&page.into_string())
}

fn sheet(design: &Design, test: &DesignedTest, number: usize) -> Markup {
    let unit = unit_words(&test.unit);
    html! {
        section.sheet {
            header {
                p.kind { "Enclosure " (shortened(&design.enclosure, 60)) ", test design" }
                h2 { (shortened(&test.id, 60)) ": " (test.limit) }
            }
            p { strong { (test.sentence) } }
            @if let Some(expected) = &test.expected { (expectation(test, expected, &unit)) }
            figure { (PreEscaped(figure(test).svg(&Clock::new(None, None), &format!("d{number}")))) figcaption { (caption(test)) } }
            @if !test.improvements.is_empty() {
                h3 { "What a better set-up would buy" }
                table {
                    thead { tr { th { "Change" } th { "Uncertainty of the same test" } th { "Shortest test" } } }
                    tbody {
                        @for line in &test.improvements {
                            tr {
                                td { (line.change) }
                                td.number { (format!("{:.0} %", 100.0 * line.uncertainty_ratio)) }
                                td.number { (line.duration_s.map_or("none decides".to_owned(), words::duration)) }
                            }
                        }
                    }
                }
            }
            h3 { "What was assumed" }
            ul { @for words in &test.assumptions { li { (words) } } }
            h3 { "Cautions" }
            ul { @for words in &design.cautions { li { (words) } } }
            @for words in &design.not_planned { p.small { (words) } }
            p.small { (design.program) ", plan SHA-256 " (design.plan_sha256) }
        }
    }
}

fn expectation(test: &DesignedTest, expected: &Expected, unit: &str) -> Markup {
    let value = |x: f64| format!("{} {unit}", display_number(x, 2));
    let [low, high] = expected.expanded_uncertainty_range;
    let rows = [
        ("Expanded uncertainty (95 %), mean", value(expected.expanded_uncertainty)),
        ("in eight of ten tests", format!("{} to {}", display_number(low, 2), value(high))),
        ("Smallest leak told from none", value(expected.smallest_leak)),
        ("Stays however long: instruments, compliance", value(test.instrument_floor.unwrap_or(0.0))),
    ];
    html! {
        table {
            tbody { @for (name, number) in rows { tr { td { (name) } td.number { (number) } } } }
        }
    }
}

fn unit_words(unit: &str) -> String {
    unit.replace('.', "·").replace("m3", "m³")
}

fn caption(test: &DesignedTest) -> String {
    format!(
        "Expanded uncertainty against duration. The shortest test that decides needs about {} of the limit or less.",
        test.expected.as_ref().map_or("a half".to_owned(), |expected| {
            format!("{:.0} %", 100.0 * expected.expanded_uncertainty / test.limit_value)
        })
    )
}

/// Expanded uncertainty against duration, and the limit.
fn figure(test: &DesignedTest) -> Figure {
    let hours = |seconds: f64| seconds / 3600.0;
    let mut lines: Vec<Line> = test
        .curves
        .iter()
        .enumerate()
        .map(|(index, curve)| Line {
            label: words::pressure(curve.pressure_difference_pa),
            points: curve.points.iter().map(|point| (hours(point.duration_s), point.expanded_uncertainty)).collect(),
            look: Look::Measured(index),
        })
        .collect();
    let times: Vec<f64> = lines.iter().flat_map(|line| &line.points).map(|point| point.0).collect();
    let ends = [times.iter().copied().fold(f64::INFINITY, f64::min), times.iter().copied().fold(0.0, f64::max)];
    lines.push(Line {
        label: "limit".to_owned(),
        points: ends.iter().map(|end| (*end, test.limit_value)).collect(),
        look: Look::Fitted,
    });
    let told = test.curves.iter().flat_map(|curve| {
        curve.points.iter().map(|point| {
            let [pressure, time] = [words::pressure(curve.pressure_difference_pa), words::duration(point.duration_s)];
            format!("{pressure}, {time}: {}", display_number(point.expanded_uncertainty, 2))
        })
    });
    Figure {
        name: "uncertainty-against-duration".to_owned(),
        title: "Expanded uncertainty against duration".to_owned(),
        caption: caption(test),
        description: told.collect::<Vec<_>>().join("; "),
        axis: Axis::Quantity("duration (h)".to_owned()),
        panels: vec![Panel {
            y_label: format!("expanded uncertainty ({})", unit_words(&test.unit)),
            scale: Scale::Decades,
            lines,
            ..Panel::default()
        }],
    }
}
