//! The figures of vacuum holds and antechamber cycles.

use tightfit_fit::antechamber::Antechamber;
use tightfit_fit::vacuum_hold::VacuumHold;
use tightfit_quantity::display_number;

use super::{Axis, Clock, Figure, Line, Look, Mark, Panel, Scale, Shade, Shape, Span};

/// Points of one line.
const POINTS: usize = 3000;
const PA_PER_HPA: f64 = 100.0;

/// The record in decades, and the hold with what came off the walls.
pub(crate) fn hold_figures(evaluation: &VacuumHold, clock: &Clock) -> Vec<Figure> {
    vec![record(evaluation, clock), rise(evaluation, clock)]
}

fn record(evaluation: &VacuumHold, clock: &Clock) -> Figure {
    let series = &evaluation.series;
    let window = [evaluation.window.from_s, evaluation.window.to_s];
    let evaluated = evaluated(window, clock);
    Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Pressure of the vessel".to_owned(),
        caption: format!("Absolute pressure in decades. The shaded part under the bracket was {evaluated}."),
        description: format!("Line plot of the absolute pressure in hPa, in decades; {evaluated}."),
        panels: vec![Panel {
            y_label: "pressure (hPa)".to_owned(),
            scale: Scale::Decades,
            lines: vec![positive("", Look::Measured(0), &series.record_time_s, &series.record_pa)],
            spans: vec![Span::evaluated(window)],
            ..Panel::default()
        }],
    }
}

fn rise(evaluation: &VacuumHold, clock: &Clock) -> Figure {
    let series = &evaluation.series;
    let start = series.fitted_pa.first().copied().unwrap_or(0.0);
    let line =
        |label: &str, look, values: &[f64]| Line::new(label, look, &series.time_s, values.iter().copied(), POINTS);
    let steady: Vec<f64> = series.fitted_pa.iter().zip(&series.outgassed_pa).map(|(fit, off)| fit - off).collect();
    let residual: Vec<f64> = series.pressure_pa.iter().zip(&series.fitted_pa).map(|(p, fit)| p - fit).collect();
    let leak = &evaluation.leak_throughput;
    let numbers = format!(
        "leak {} Pa m3/s, outgassing at the end {} Pa m3/s",
        display_number(leak.value, 3),
        display_number(evaluation.outgassing_throughput.value, 3)
    );
    let window = [evaluation.window.from_s, evaluation.window.to_s];
    Figure {
        axis: Axis::Time,
        name: "rise".to_owned(),
        title: "Rise while isolated".to_owned(),
        caption: format!(
            "Pressure of the isolated vessel, the fit, and the fit without what came off the walls: that part is the leak alone. \
             Below, what the fit leaves over; a bow there means that the models do not follow the rise. Start: {} Pa.",
            display_number(start, 3)
        ),
        description: format!("Line plots of the rise and of residuals; {}; {numbers}.", evaluated(window, clock)),
        panels: vec![
            Panel {
                y_label: "pressure (Pa)".to_owned(),
                lines: vec![
                    line("measured", Look::Measured(0), &series.pressure_pa),
                    line("fitted", Look::Fitted, &series.fitted_pa),
                    line("leak alone", Look::Measured(1), &steady),
                ],
                ..Panel::default()
            },
            Panel {
                y_label: "residual (Pa)".to_owned(),
                lines: vec![line("", Look::Measured(0), &residual)],
                zero_line: true,
                ..Panel::default()
            },
        ],
    }
}

/// The record in decades with its phases, and what is left after each cycle.
pub(crate) fn cycle_figures(evaluation: &Antechamber, clock: &Clock) -> Vec<Figure> {
    let series = &evaluation.series;
    let first = evaluation.cycles.first().map_or(0.0, |cycle| cycle.pump_s);
    let last = evaluation.cycles.last().map_or(0.0, |cycle| cycle.end_s);
    let margin = 0.03 * (last - first);
    let range = [first - margin, last + margin];
    let shown = |time: &f64| (range[0]..=range[1]).contains(time);
    let (time_s, pressure_pa): (Vec<f64>, Vec<f64>) =
        series.time_s.iter().zip(&series.pressure_pa).filter(|(time, _)| shown(time)).map(|(t, p)| (*t, *p)).unzip();
    let oxygen = &evaluation.residual_oxygen;
    let left = format!(
        "after {} cycles {} ppm of oxygen are left (95 % up to {} ppm)",
        evaluation.cycle_count,
        display_number(oxygen.value, 3),
        display_number(oxygen.interval95[1], 3)
    );
    vec![Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Cycles of the antechamber".to_owned(),
        caption: format!(
            "Absolute pressure in decades; readings at or below zero have no place there. Phases differ by their hatching: pumping \
             rises to the right, holding is plain, filling is upright. Below, the oxygen that is left after each filling, with its 95 % \
             interval: {left}."
        ),
        description: format!(
            "Line plot of the absolute pressure in hPa in decades with the phases of {} cycles from {} on; {left}.",
            evaluation.cycle_count,
            clock.moment(first)
        ),
        panels: vec![
            Panel {
                y_label: "pressure (hPa)".to_owned(),
                scale: Scale::Decades,
                lines: vec![positive("", Look::Measured(0), &time_s, &pressure_pa)],
                spans: phases(evaluation),
                marks: marks(evaluation),
                ..Panel::default()
            },
            Panel {
                y_label: "oxygen left (ppm)".to_owned(),
                scale: Scale::Decades,
                lines: left_over(evaluation),
                ..Panel::default()
            },
        ],
    }]
}

fn phases(evaluation: &Antechamber) -> Vec<Span> {
    let span = |range, label: &str, shade| Span { range, label: label.to_owned(), shade };
    let of = evaluation.cycles.iter().flat_map(|cycle| {
        [
            span([cycle.pump_s, cycle.low_from_s], "pump", Shade::Rising),
            span([cycle.low_from_s, cycle.fill_s], "hold", Shade::Plain),
            span([cycle.fill_s, cycle.full_s], "fill", Shade::Upright),
        ]
    });
    of.filter(|span| span.range[1] > span.range[0]).collect()
}

fn marks(evaluation: &Antechamber) -> Vec<Mark> {
    let of = (1..).zip(&evaluation.cycles);
    of.map(|(number, cycle)| Mark { number, span_s: [cycle.full_s, cycle.full_s] }).collect()
}

fn left_over(evaluation: &Antechamber) -> Vec<Line> {
    let bound = evaluation.residual_oxygen.kind == tightfit_fit::Kind::UpperBound;
    let oxygen = &evaluation.series.oxygen;
    if bound {
        let points = oxygen.iter().map(|(time, [_, _, high])| (*time, *high)).collect();
        return vec![Line { label: "at most".to_owned(), points, look: Look::Points(Shape::Below) }];
    }
    let ends = oxygen.iter().flat_map(|(time, [low, _, high])| [(*time, *low), (*time, *high)]).collect();
    let middles = oxygen.iter().map(|(time, [_, value, _])| (*time, *value)).collect();
    vec![
        Line { label: String::new(), points: ends, look: Look::Bars },
        Line { label: "left".to_owned(), points: middles, look: Look::Points(Shape::Dot) },
    ]
}

/// A line in hPa of the readings that have a place in decades.
fn positive(label: &str, look: Look, time_s: &[f64], pressure_pa: &[f64]) -> Line {
    let value = pressure_pa.iter().map(|p| if *p > 0.0 { p / PA_PER_HPA } else { f64::NAN });
    Line::new(label, look, time_s, value, POINTS)
}

fn evaluated(window: [f64; 2], clock: &Clock) -> String {
    format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]))
}
