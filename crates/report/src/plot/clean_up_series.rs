//! The figures of a series of clean-ups.

use tightfit_fit::clean_up_series::{CleanUpSeries, DoseFit};

use super::{Axis, Clock, Figure, Line, Look, Mark, Panel, Scale, Shape};

const SECONDS_PER_DAY: f64 = 86_400.0;
/// Points of one line.
const POINTS: usize = 4000;

/// The log in decades with its doses, and the time constants with their trend.
pub(crate) fn figures(evaluation: &CleanUpSeries, clock: &Clock) -> Vec<Figure> {
    let mut figures = vec![log(evaluation)];
    if evaluation.doses.iter().any(|dose| dose.evaluation.is_some()) {
        figures.push(time_constants(evaluation, clock));
    }
    figures
}

fn log(evaluation: &CleanUpSeries) -> Figure {
    let series = &evaluation.series;
    let marks = (1..).zip(&evaluation.doses).map(|(number, dose)| Mark { number, span_s: [dose.onset_s; 2] }).collect();
    let content = series.content_ppm.iter().copied();
    Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "The log and the doses found in it".to_owned(),
        caption: "Content in decades; the numbers are the doses of the list. A decay is straight here until its floor \
                  shows."
            .to_owned(),
        description: format!("Line plot of the content over time with {} doses marked.", evaluation.doses.len()),
        panels: vec![Panel {
            y_label: "ppm".to_owned(),
            lines: vec![Line::new("measured", Look::Measured(0), &series.time_s, content, POINTS)],
            scale: Scale::Decades,
            marks,
            ..Panel::default()
        }],
    }
}

fn time_constants(evaluation: &CleanUpSeries, clock: &Clock) -> Figure {
    let found: Vec<(f64, &DoseFit)> =
        evaluation.doses.iter().filter_map(|dose| Some((dose.onset_s, dose.evaluation.as_ref()?))).collect();
    let points = found.iter().map(|(at, fit)| (*at, fit.time_constant.value)).collect();
    let bars = found.iter().flat_map(|(at, fit)| fit.time_constant.interval95.map(|end| (*at, end))).collect();
    let mut lines = vec![
        Line { label: String::new(), points: bars, look: Look::Bars },
        Line { label: "doses".to_owned(), points, look: Look::Points(Shape::Dot) },
    ];
    let words = match &evaluation.line {
        Some(line) => {
            let ends = [found.first(), found.last()].map(|end| end.map_or(line.centre_s, |(at, _)| *at));
            let at = |t: f64| line.time_constant_s * (line.per_day * (t - line.centre_s) / SECONDS_PER_DAY).exp();
            let points = ends.map(|t| (t, at(t))).to_vec();
            lines.push(Line { label: "trend".to_owned(), points, look: Look::Fitted });
            format!("The line is the trend: {:+.2} % a day.", 100.0 * line.per_day)
        }
        None => "Too few for a trend.".to_owned(),
    };
    let [first, last] =
        [found.first(), found.last()].map(|end| end.map_or((0.0, 0.0), |(at, fit)| (*at, fit.time_constant.value)));
    Figure {
        axis: Axis::Time,
        name: "time-constants".to_owned(),
        title: "Time constants of the doses".to_owned(),
        caption: format!("Bars are 95 % intervals of each dose. {words}"),
        description: format!(
            "Points with bars over time, {} in number, from {:.0} s at {} to {:.0} s at {}. {words}",
            found.len(),
            first.1,
            clock.moment(first.0),
            last.1,
            clock.moment(last.0)
        ),
        panels: vec![Panel { y_label: "s".to_owned(), lines, ..Panel::default() }],
    }
}
