//! The figures of a clean-up.

use tightfit_fit::clean_up::CleanUp;

use super::{Axis, Clock, Figure, Line, Look, Panel, Scale, Span};

/// Points of one line.
const POINTS: usize = 1500;

/// Record with fit, the same in decades, residuals.
pub(crate) fn figures(evaluation: &CleanUp, window: [f64; 2], clock: &Clock) -> Vec<Figure> {
    vec![decay(evaluation, window, clock), residuals(evaluation)]
}

fn decay(evaluation: &CleanUp, window: [f64; 2], clock: &Clock) -> Figure {
    let series = &evaluation.series;
    let tau_s = &evaluation.time_constant;
    let evaluated =
        format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    let line =
        |label, look, times: &[f64], values: &[f64]| Line::new(label, look, times, values.iter().copied(), POINTS);
    let lines = vec![
        line("measured", Look::Measured(0), &series.record_time_s, &series.record_ppm),
        line("fitted", Look::Fitted, &series.time_s, &series.fitted_ppm),
    ];
    let numbers = format!(
        "time constant {:.1} s (95 % {:.1} s to {:.1} s), floor {:.3} ppm",
        tau_s.value, tau_s.interval95[0], tau_s.interval95[1], evaluation.floor.value
    );
    Figure {
        axis: Axis::Time,
        name: "decay".to_owned(),
        title: "Clean-up of a dose".to_owned(),
        caption: format!(
            "The shaded part under the bracket was {evaluated}. Below the same in decades: a \
             single exponential is straight there until the floor shows."
        ),
        description: format!("Line plots of the content over time, plain and in decades; {evaluated}; {numbers}."),
        panels: vec![
            Panel {
                y_label: "ppm".to_owned(),
                lines: lines.clone(),
                spans: vec![Span::evaluated(window)],
                zero_line: true,
                ..Panel::default()
            },
            Panel { y_label: "ppm".to_owned(), scale: Scale::Decades, lines, ..Panel::default() },
        ],
    }
}

fn residuals(evaluation: &CleanUp) -> Figure {
    let series = &evaluation.series;
    let finite = series.residual_ppm.iter().copied().filter(|value| value.is_finite());
    let largest = finite.fold(0.0_f64, |largest, value| largest.max(value.abs()));
    Figure {
        axis: Axis::Time,
        name: "residuals".to_owned(),
        title: "Residuals of the fit".to_owned(),
        caption: "What the fit leaves over. A bow here means that the decay is not one exponential.".to_owned(),
        description: format!("Line plot of residuals; the largest is {largest:.3} ppm."),
        panels: vec![Panel {
            y_label: "residual (ppm)".to_owned(),
            lines: vec![Line::new("", Look::Measured(0), &series.time_s, series.residual_ppm.iter().copied(), POINTS)],
            zero_line: true,
            ..Panel::default()
        }],
    }
}
