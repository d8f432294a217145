//! The figures of a pressure-change test.

use tightfit_fit::pressure_change::{PressureChange, Series, ThermometerSeries};
use tightfit_quantity::display_number;

use super::{Axis, Clock, Figure, Line, Look, Mark, Panel, Span};

/// Points that all lines of a figure share, so that many sensors do not swell a dossier.
const POINTS: usize = 6000;
/// Panels of one figure that still fit on a printed page.
const PANELS: usize = 5;
const CELSIUS_ZERO_K: f64 = 273.15;

/// All figures that the evaluation gives something for.
pub(crate) fn figures(evaluation: &PressureChange, clock: &Clock) -> Vec<Figure> {
    let all = [record(evaluation, clock), temperature(evaluation), fit(evaluation), residuals(evaluation)];
    all.into_iter().filter(|figure| figure.panels.iter().any(|panel| !panel.lines.is_empty())).collect()
}

fn record(evaluation: &PressureChange, clock: &Clock) -> Figure {
    let Series { record_time_s, record_difference_pa, .. } = &evaluation.series;
    let scale = PressureScale::of(record_difference_pa);
    let window = [evaluation.window.from_s, evaluation.window.to_s];
    let values = || record_difference_pa.iter().map(|value| value / scale.pascal);
    let line = Line::new("", Look::Measured(0), record_time_s, values(), POINTS);
    let marks: Vec<Mark> = (1..)
        .zip(&evaluation.events)
        .map(|(number, event)| Mark { number, span_s: [event.from_s, event.to_s] })
        .collect();
    let events = match marks.len() {
        0 => "No event was found in it.".to_owned(),
        1 => "One event is marked by a vertical line; its number is that of the list below.".to_owned(),
        n => format!("{n} events are marked by vertical lines; their numbers are those of the list below."),
    };
    let evaluated =
        format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Pressure difference to the room over the whole record".to_owned(),
        caption: format!("The shaded part under the bracket was {evaluated}. {events}"),
        description: format!(
            "Line plot: pressure difference between enclosure and room in {}, {}; {evaluated}. {events}",
            scale.unit,
            range_text(values(), scale.unit)
        ),
        panels: if line.points.is_empty() {
            Vec::new()
        } else {
            vec![Panel {
                y_label: format!("Δp to the room ({})", scale.unit),
                lines: vec![line],
                spans: vec![Span::evaluated(window)],
                marks,
                ..Panel::default()
            }]
        },
    }
}

fn temperature(evaluation: &PressureChange) -> Figure {
    let series = &evaluation.series;
    let most = POINTS / (series.thermometers.len() + 2);
    let celsius = |kelvin: &f64| kelvin - CELSIUS_ZERO_K;
    let mut lines: Vec<Line> = series
        .thermometers
        .iter()
        .enumerate()
        .map(|(index, t)| Line::new(&t.name, Look::Measured(index), &t.time_s, t.reading_k.iter().map(celsius), most))
        .collect();
    let gas = series.gas_temperature_k.iter().map(celsius);
    let gas_text = range_text(series.gas_temperature_k.iter().map(celsius), "°C");
    lines.push(Line::new("gas, from pressure", Look::Fitted, &series.time_s, gas, most));
    lines.retain(|line| !line.points.is_empty());
    let room = || series.room_pa.iter().map(|value| value / 100.0);
    let room_line = Line::new("", Look::Measured(0), &series.time_s, room(), most);
    let sensors = match series.thermometers.len() {
        0 => "No thermometer was logged.".to_owned(),
        1 => "The thermometer stands beside the mean temperature of the gas that the pressure tells.".to_owned(),
        n => format!("The {n} thermometers stand beside the mean temperature of the gas that the pressure tells."),
    };
    let mut panels = Vec::new();
    if !lines.is_empty() {
        panels.push(Panel { heading: "Temperature".to_owned(), y_label: "°C".to_owned(), lines, ..Panel::default() });
    }
    if !room_line.points.is_empty() {
        panels.push(Panel {
            heading: "Pressure of the room".to_owned(),
            y_label: "hPa".to_owned(),
            lines: vec![room_line],
            ..Panel::default()
        });
    }
    Figure {
        axis: Axis::Time,
        name: "temperature".to_owned(),
        title: "Temperature and pressure of the room during the window".to_owned(),
        caption: format!(
            "{sensors} 1 K changes the pressure of a closed enclosure by about 340 Pa, so small and late readings matter."
        ),
        description: format!(
            "Line plots over the window. {sensors} Gas temperature {gas_text}. Room pressure {}.",
            range_text(room(), "hPa")
        ),
        panels,
    }
}

fn fit(evaluation: &PressureChange) -> Figure {
    let series = &evaluation.series;
    let scale = PressureScale::of(&series.difference_pa);
    let shown = series.thermometers.len().min(PANELS - 1);
    let most = POINTS / (2 * shown + 2);
    let pressure = [
        ("measured", Look::Measured(0), &series.difference_pa),
        ("leak alone", Look::Fitted, &series.fitted_difference_pa),
    ];
    let lines = pressure.map(|(name, look, values)| {
        Line::new(name, look, &series.time_s, values.iter().map(|value| value / scale.pascal), most)
    });
    let mut panels = vec![Panel {
        heading: "Pressure difference to the room".to_owned(),
        y_label: format!("Δp ({})", scale.unit),
        lines: lines.into_iter().filter(|line| !line.points.is_empty()).collect(),
        ..Panel::default()
    }];
    panels.extend(series.thermometers.iter().take(shown).map(|t| fitted_thermometer(t, most)));
    panels.retain(|panel| !panel.lines.is_empty());
    let note = omitted(series.thermometers.len() - shown);
    let below = if shown > 0 { " Below: each thermometer and what the fit expects it to read." } else { "" };
    Figure {
        axis: Axis::Time,
        name: "fit".to_owned(),
        title: "Measured and fitted".to_owned(),
        caption: format!(
            "The measured pressure difference, and what the fitted leak alone would have left had temperature and room \
             stayed as they were.{below}{note}"
        ),
        description: format!(
            "Line plots over the window: measured pressure difference {}; by the fitted leak alone {}. {}.{note}",
            range_text(series.difference_pa.iter().map(|v| v / scale.pascal), scale.unit),
            range_text(series.fitted_difference_pa.iter().map(|v| v / scale.pascal), scale.unit),
            thermometers_text(shown)
        ),
        panels,
    }
}

fn fitted_thermometer(thermometer: &ThermometerSeries, most: usize) -> Panel {
    let celsius = |kelvin: &f64| kelvin - CELSIUS_ZERO_K;
    let time = &thermometer.time_s;
    Panel {
        heading: thermometer.name.clone(),
        y_label: "°C".to_owned(),
        lines: vec![
            Line::new("measured", Look::Measured(0), time, thermometer.reading_k.iter().map(celsius), most),
            Line::new("fitted", Look::Fitted, time, thermometer.fitted_k.iter().map(celsius), most),
        ],
        ..Panel::default()
    }
}

fn residuals(evaluation: &PressureChange) -> Figure {
    let thermometers = &evaluation.series.thermometers;
    let shown = thermometers.len().min(PANELS);
    let most = POINTS / shown.max(1);
    let millikelvin = |t: &ThermometerSeries| t.residual_k.iter().map(|value| value * 1e3).collect::<Vec<_>>();
    let panels = thermometers.iter().take(shown).map(|t| Panel {
        heading: t.name.clone(),
        y_label: "residual (mK)".to_owned(),
        lines: vec![Line::new("", Look::Measured(0), &t.time_s, millikelvin(t).into_iter(), most)],
        zero_line: true,
        ..Panel::default()
    });
    let spreads: Vec<String> =
        thermometers.iter().take(shown).map(|t| format!("{}: {}", t.name, spread_text(&millikelvin(t)))).collect();
    let note = omitted(thermometers.len() - shown);
    Figure {
        axis: Axis::Time,
        name: "residuals".to_owned(),
        title: "Residuals of the fit".to_owned(),
        caption: format!(
            "What the fit leaves over. Slow waves mean that the thermometer does not follow the mean gas; the interval \
             allows for them.{note}"
        ),
        description: format!(
            "Line plots of measured minus fitted temperature in mK around zero. {}.{note}",
            spreads.join("; ")
        ),
        panels: panels.collect(),
    }
}

fn thermometers_text(count: usize) -> String {
    match count {
        0 => "No thermometer".to_owned(),
        1 => "Readings and fitted readings of the thermometer".to_owned(),
        n => format!("Readings and fitted readings of {n} thermometers"),
    }
}

fn omitted(count: usize) -> String {
    match count {
        0 => String::new(),
        n => format!(" Not drawn for want of space: {n} more."),
    }
}

fn spread_text(values: &[f64]) -> String {
    let n = values.len().max(1) as f64;
    let root_mean_square = (values.iter().map(|value| value * value).sum::<f64>() / n).sqrt();
    format!("root mean square {} mK", display_number(root_mean_square, 2))
}

fn range_text(values: impl Iterator<Item = f64>, unit: &str) -> String {
    let mut any = None;
    for value in values.filter(|value| value.is_finite()) {
        let [first, low, high, _] = any.unwrap_or([value; 4]);
        any = Some([first, low.min(value), high.max(value), value]);
    }
    any.map_or_else(
        || "not available".to_owned(),
        |[first, low, high, last]| {
            // To the hundredth of their range and finer: what a look at the figure gives.
            let decimals = (2.0 - (high - low).log10().floor()).clamp(0.0, 4.0) as usize;
            let text = |value: f64| format!("{value:.decimals$}").replace('-', "−");
            format!("from {} to {} {unit}, between {} and {}", text(first), text(last), text(low), text(high))
        },
    )
}

/// The unit of a pressure axis.
struct PressureScale {
    unit: &'static str,
    pascal: f64,
}

impl PressureScale {
    fn of(values_pa: &[f64]) -> Self {
        let largest = values_pa.iter().fold(0.0, |largest: f64, value| largest.max(value.abs()));
        if largest > 20e3 { Self { unit: "kPa", pascal: 1e3 } } else { Self { unit: "Pa", pascal: 1.0 } }
    }
}
