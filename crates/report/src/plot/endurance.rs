//! The figure of an endurance run.

use tightfit_fit::endurance::Endurance;

use super::{Axis, Clock, Figure, Line, Look, Mark, Panel, Scale, Shade, Span};
use crate::method::endurance::Run;

/// Points of one line; the series is thinned already so that no peak is lost.
const POINTS: usize = 4000;

/// Contents over time in decades, with the target, stretches with the purifier off, and excursions.
pub(crate) fn figures(run: &Run, window: [f64; 2], clock: &Clock) -> Vec<Figure> {
    let kept: Vec<String> = run.species.iter().map(|(name, evaluation)| numbers(name, evaluation)).collect();
    let period = format!("from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    vec![Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Contents with the purifier on".to_owned(),
        caption: format!(
            "Readings {period} in decades, with the target as a broken line. Numbered lines are short excursions of the \
             first content; hatched stretches had the purifier off and do not count."
        ),
        description: format!("Line plots of the contents {period}; {}.", kept.join("; ")),
        panels: run
            .species
            .iter()
            .enumerate()
            .map(|(index, (name, evaluation))| panel(run, name, evaluation, window, index == 0))
            .collect(),
    }]
}

fn numbers(name: &str, evaluation: &Endurance) -> String {
    let max = Run::max(evaluation);
    let share = evaluation.kept.share_within.as_ref();
    let share =
        share.map_or(String::new(), |share| format!(", {:.2} % of the time within the target", 100.0 * share.value));
    format!(
        "largest {name} {:.3} ppm (95 % {:.3} ppm to {:.3} ppm){share}, {} short excursions",
        max.value,
        max.interval95[0],
        max.interval95[1],
        evaluation.excursions.len()
    )
}

fn panel(run: &Run, name: &str, evaluation: &Endurance, window: [f64; 2], has_marks: bool) -> Panel {
    let series = &evaluation.series;
    let mut lines = vec![Line::new("measured", Look::Measured(0), &series.time_s, series.ppm.iter().copied(), POINTS)];
    lines.extend(run.target_ppm.map(|target| Line::new("target", Look::Fitted, &window, [target; 2].into_iter(), 2)));
    let off = run.off_s.iter().filter(|off| off[1] > window[0] && off[0] < window[1]);
    let marks =
        evaluation.excursions.iter().zip(1..).map(|(excursion, number)| Mark { number, span_s: excursion.span_s });
    Panel {
        y_label: format!("{name} (ppm)"),
        lines,
        scale: Scale::Decades,
        spans: off.map(|off| Span { range: *off, label: "purifier off".to_owned(), shade: Shade::Crossed }).collect(),
        marks: if has_marks { marks.collect() } else { Vec::new() },
        ..Panel::default()
    }
}
