//! The figure of an analyser check.

use tightfit_fit::analyser_check::AnalyserCheck;

use super::{Axis, Clock, Figure, Line, Look, Panel, Shade, Span};

const POINTS: usize = 4000;

/// Readings with the plateaus that were evaluated, and what was given there.
pub(crate) fn figures(evaluation: &AnalyserCheck, _clock: &Clock) -> Vec<Figure> {
    let series = &evaluation.series;
    let plateaus: Vec<String> = evaluation
        .plateaus
        .iter()
        .map(|plateau| format!("{:.3} ppm read {:.3} ppm", plateau.content_ppm, plateau.reading_ppm))
        .collect();
    let mut lines = vec![Line::new("measured", Look::Measured(0), &series.time_s, series.ppm.iter().copied(), POINTS)];
    // One line a plateau; the first carries the name.
    lines.extend(evaluation.plateaus.iter().enumerate().map(|(index, plateau)| {
        let name = if index + 1 == evaluation.plateaus.len() { "content given" } else { "" };
        Line::new(name, Look::Fitted, &plateau.span_s, [plateau.content_ppm; 2].into_iter(), 2)
    }));
    vec![Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Readings of the reference gas".to_owned(),
        caption: "Shaded: the settled plateaus whose mean is compared with the content given (broken line).".to_owned(),
        description: format!("Line plot of the readings; plateaus: {}.", plateaus.join(", ")),
        panels: vec![Panel {
            y_label: "ppm".to_owned(),
            lines,
            spans: evaluation
                .plateaus
                .iter()
                .map(|plateau| Span {
                    range: plateau.span_s,
                    label: format!("{} ppm", short(plateau.content_ppm)),
                    shade: Shade::Plain,
                })
                .collect(),
            zero_line: true,
            ..Panel::default()
        }],
    }]
}

fn short(ppm: f64) -> f64 {
    (ppm * 1e3).round() / 1e3
}
