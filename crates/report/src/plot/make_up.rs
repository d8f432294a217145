//! The figures of a constant-pressure test.

use tightfit_fit::make_up::MakeUp;
use tightfit_quantity::display_number;

use super::{Axis, Clock, Figure, Line, Look, Panel, Span};

/// Points of one line.
const POINTS: usize = 3000;

/// The pressure that was held, and the gas that it took.
pub(crate) fn figures(evaluation: &MakeUp, clock: &Clock) -> Vec<Figure> {
    let series = &evaluation.series;
    let window = [evaluation.window.from_s, evaluation.window.to_s];
    let evaluated =
        format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    let litres = |values: &[f64]| values.iter().map(|value| value * 1e3).collect::<Vec<_>>();
    let (fed, leaked) = (litres(&series.fed_m3), litres(&series.leaked_m3));
    let line =
        |label: &str, look, values: &[f64]| Line::new(label, look, &series.time_s, values.iter().copied(), POINTS);
    let held = evaluation.difference_range_pa.map_or(String::new(), |[low, high]| {
        format!(" The pressure lay between {} Pa and {} Pa.", display_number(low, 3), display_number(high, 3))
    });
    let mut panels = vec![Panel {
        y_label: "gas (L)".to_owned(),
        lines: vec![line("fed in", Look::Measured(0), &fed), line("leaked", Look::Fitted, &leaked)],
        spans: vec![Span::evaluated(window)],
        ..Panel::default()
    }];
    if !series.difference_pa.is_empty() {
        let values = series.difference_pa.iter().copied();
        panels.push(Panel {
            y_label: "gauge pressure (Pa)".to_owned(),
            lines: vec![Line::new("", Look::Measured(0), &series.difference_time_s, values, POINTS)],
            zero_line: true,
            ..Panel::default()
        });
    }
    vec![Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Gas that held the pressure".to_owned(),
        caption: format!(
            "Gas fed in, and the same less what the enclosure stored as temperature and room pressure moved: what leaked. \
             The part under the bracket was {evaluated}.{held}"
        ),
        description: format!(
            "Line plots of the gas fed in and of the gauge pressure; {evaluated}; mean flow {} L/h.{held}",
            display_number(evaluation.makeup_flow_mean.value * 3.6e6, 3)
        ),
        panels,
    }]
}
