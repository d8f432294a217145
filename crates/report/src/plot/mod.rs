//! Figures of measured series over time, drawn as SVG text.
//!
//! A [`Figure`] says what is to be seen; [`draw`] puts it on paper. Every figure reads without colour: lines differ by
//! dash and weight and carry their names at their ends.

pub(crate) mod analyser_check;
mod calendar;
pub(crate) mod clean_up;
pub(crate) mod clean_up_series;
mod clock;
pub(crate) mod diagnose;
mod draw;
pub(crate) mod endurance;
mod hatch;
pub(crate) mod make_up;
mod panel;
pub(crate) mod ppm_rise;
pub(crate) mod ppm_rise_series;
pub(crate) mod pressure_change;
pub(crate) mod purge_down;
pub(crate) mod regeneration;
mod ticks;
pub(crate) mod vacuum;

pub(crate) use clock::Clock;

/// One figure: panels one above the other on a common horizontal axis.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Figure {
    /// Short name for files and anchors: letters, digits and hyphens.
    pub(crate) name: String,
    /// What it shows, in a few words.
    pub(crate) title: String,
    /// What to see in it, for the caption.
    pub(crate) caption: String,
    /// The same for who cannot see it, with the numbers that a look would give.
    pub(crate) description: String,
    /// What the horizontal axis is.
    pub(crate) axis: Axis,
    /// Panels from top to bottom.
    pub(crate) panels: Vec<Panel>,
}

/// The horizontal axis of a figure.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) enum Axis {
    /// Time, read on the clock of the record.
    #[default]
    Time,
    /// Days since 1970, read on the calendar.
    Days,
    /// A quantity, with its name and unit.
    Quantity(String),
}

/// The vertical axis of a panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Scale {
    /// Equal steps.
    #[default]
    Linear,
    /// Equal ratios; values that are not positive have no place on it.
    Decades,
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
    /// Whether the vertical axis counts steps or decades.
    pub(crate) scale: Scale,
    /// Stretches to be shaded, each with its name.
    pub(crate) spans: Vec<Span>,
    /// Moments to be marked.
    pub(crate) marks: Vec<Mark>,
    /// Whether the zero is drawn as a line.
    pub(crate) zero_line: bool,
}

/// A shaded stretch of the horizontal axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Span {
    /// From and to.
    pub(crate) range: [f64; 2],
    /// What it is, set over it where there is room.
    pub(crate) label: String,
    /// How it is shaded; phases of different kind differ by pattern, not by colour alone.
    pub(crate) shade: Shade,
}

/// How a stretch is shaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Shade {
    /// A light grey.
    #[default]
    Plain,
    /// Hatched upwards to the right.
    Rising,
    /// Hatched downwards to the right.
    Falling,
    /// Hatched upright.
    Upright,
    /// Hatched both ways.
    Crossed,
}

/// A line of a panel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Line {
    /// Its name, set at its right end; none where the axis says it.
    pub(crate) label: String,
    /// Time in s, or the quantity of the horizontal axis, and value in the unit of the vertical axis.
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
    /// Single points, no line between them.
    Points(Shape),
    /// Upright bars with caps: the points come in pairs, lower end and upper end at the same place.
    Bars,
    /// The n-th of several parts, filled down to the part before it in the panel, or to zero: parts are stacked.
    Stacked(usize),
}

/// The shape of a single point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// A filled dot.
    Dot,
    /// An open triangle that points down: the truth lies at or below it.
    Below,
    /// An open triangle that points up: the truth lies at or above it.
    Above,
}

/// A moment or a stretch that something happened in.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mark {
    /// Its number in the list of events.
    pub(crate) number: usize,
    /// When, from and to, s.
    pub(crate) span_s: [f64; 2],
}

impl Span {
    /// The part of the record that was evaluated.
    pub(crate) fn evaluated(range: [f64; 2]) -> Self {
        Self { range, label: "evaluated".to_owned(), shade: Shade::Plain }
    }
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
