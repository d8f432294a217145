//! Figures of measured series over time, drawn as SVG text.
//!
//! A [`Figure`] says what is to be seen; [`draw`] puts it on paper. Every figure reads without colour: lines differ by
//! dash and weight and carry their names at their ends.

mod clean_up;
mod clock;
mod draw;
mod panel;
mod ppm_rise;
mod pressure_change;
mod ticks;

pub(crate) use clock::Clock;

use crate::method::{Drawing, Evaluation};

/// The figures of an evaluation.
pub(crate) fn figures(drawing: &Drawing, clock: &Clock) -> Vec<Figure> {
    match &drawing.evaluation {
        Evaluation::PressureChange(evaluation) => pressure_change::figures(evaluation, clock),
        Evaluation::PpmRise(evaluation) => ppm_rise::figures(evaluation, drawing.window_s(), clock),
        Evaluation::CleanUp(evaluation) => clean_up::figures(evaluation, drawing.window_s(), clock),
    }
}

/// One figure: panels one above the other on a common time axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Figure {
    /// Short name for files and anchors: letters, digits and hyphens.
    pub(crate) name: String,
    /// What it shows, in a few words.
    pub(crate) title: String,
    /// What to see in it, for the caption.
    pub(crate) caption: String,
    /// The same for who cannot see it, with the numbers that a look would give.
    pub(crate) description: String,
    /// Panels from top to bottom.
    pub(crate) panels: Vec<Panel>,
}

/// One panel.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Panel {
    /// What stands over it; may be empty.
    pub(crate) heading: String,
    /// Quantity and unit of the vertical axis.
    pub(crate) y_label: String,
    /// Its lines.
    pub(crate) lines: Vec<Line>,
    /// A span of time to be shaded, with its name.
    pub(crate) span: Option<([f64; 2], &'static str)>,
    /// Moments to be marked.
    pub(crate) marks: Vec<Mark>,
    /// Whether the zero is drawn as a line.
    pub(crate) zero_line: bool,
}

/// A line of a panel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// Its name, set at its right end; none where the axis says it.
    pub(crate) label: String,
    /// Time in s and value in the unit of the axis.
    pub(crate) points: Vec<(f64, f64)>,
    /// How it is drawn.
    pub(crate) look: Look,
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// The n-th of several measured lines.
    Measured(usize),
    /// What the model makes of them.
    Fitted,
}

/// A moment or a stretch that something happened in.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mark {
    /// Its number in the list of events.
    pub(crate) number: usize,
    /// When, from and to, s.
    pub(crate) span_s: [f64; 2],
}

impl Line {
    /// A line of the points that are finite, thinned out to at most `most` points.
    fn new(label: &str, look: Look, time_s: &[f64], value: impl Iterator<Item = f64>, most: usize) -> Self {
        let points: Vec<_> =
            time_s.iter().copied().zip(value).filter(|(time, value)| time.is_finite() && value.is_finite()).collect();
        let step = points.len().div_ceil(most.max(2)).max(1);
        Self { label: label.to_owned(), points: points.into_iter().step_by(step).collect(), look }
    }
}

impl Figure {
    /// The figure as an SVG document; `prefix` keeps its anchors apart from those of other figures on a page.
    #[must_use]
    pub(crate) fn svg(&self, clock: &Clock, prefix: &str) -> String {
        draw::svg(self, clock, prefix)
    }
}
