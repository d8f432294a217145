//! The figures of a purge-down.

use tightfit_fit::purge_down::PurgeDown;

use super::{Axis, Clock, Figure, Line, Look, Panel, Scale, Span};

/// Points of one line.
const POINTS: usize = 1500;

/// Content in decades with the fit, and what the fit leaves over relative to it.
pub(crate) fn figures(evaluation: &PurgeDown, clock: &Clock) -> Vec<Figure> {
    let window = evaluation.window_s;
    let series = &evaluation.series;
    let evaluated =
        format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    let [low, high] = evaluation.time_constant.interval95;
    let numbers = format!("time constant {:.1} s (95 %: {low:.1} s to {high:.1} s)", evaluation.time_constant.value);
    let line =
        |label, look, times: &[f64], values: &[f64]| Line::new(label, look, times, values.iter().copied(), POINTS);
    let relative = series.residual_ppm.iter().zip(&series.fitted_ppm).map(|(left, fitted)| 100.0 * left / fitted);
    vec![Figure {
        axis: Axis::Time,
        name: "purge".to_owned(),
        title: "Purge with inert gas".to_owned(),
        caption: format!(
            "Content in decades: a steady, mixed purge is straight until the floor shows. The shaded part was {evaluated}. \
             Below, what the fit leaves over, relative to it."
        ),
        description: format!("Line plot of the content in decades over time; {evaluated}; {numbers}."),
        panels: vec![
            Panel {
                y_label: "ppm".to_owned(),
                lines: vec![
                    line("measured", Look::Measured(0), &series.record_time_s, &series.record_ppm),
                    line("fitted", Look::Fitted, &series.time_s, &series.fitted_ppm),
                ],
                scale: Scale::Decades,
                spans: vec![Span::evaluated(window)],
                ..Panel::default()
            },
            Panel {
                y_label: "residual (%)".to_owned(),
                lines: vec![Line::new("", Look::Measured(0), &series.time_s, relative, POINTS)],
                zero_line: true,
                ..Panel::default()
            },
        ],
    }]
}
