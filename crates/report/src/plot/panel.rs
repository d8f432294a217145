//! One panel: frame, grid, shaded span, marks, lines and their names.

use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::draw::{Area, Failure, UNIT};
use super::ticks::{Ticks, linear, padded};
use super::{Clock, Line, Look, Panel};
use crate::markup::{clean, shortened};

/// Room for the numbers and the name of the vertical axis.
const LEFT: i32 = 62;
/// Room for the names of the lines.
const RIGHT: i32 = 138;
/// Where no line has a name.
const RIGHT_WITHOUT_NAMES: i32 = 14;
/// Letters of a line's name that fit there.
const NAME_LENGTH: usize = 22;
/// Marks that are drawn, so that a record full of outliers stays a record.
const MARKS: usize = 100;
/// Lines of so few points get a dot at each.
const DOTTED_POINTS: usize = 60;

const INK: RGBColor = RGBColor(0x1d, 0x28, 0x2f);
const GREY: RGBColor = RGBColor(0x5b, 0x66, 0x6d);
const FAINT: RGBColor = RGBColor(0xd5, 0xdb, 0xde);
const SHADE: RGBColor = RGBColor(0xee, 0xf1, 0xf2);
/// Measured lines are apart in lightness as well as in hue, and in their dashes.
const MEASURED: [RGBColor; 4] =
    [RGBColor(0x12, 0x3f, 0x6b), RGBColor(0xb0, 0x5f, 0x10), RGBColor(0x1f, 0x7a, 0x72), RGBColor(0x7a, 0x4a, 0x8a)];

/// Widths in units.
const HAIR: u32 = 2;
const THIN: u32 = 4;

type Chart<'a> = ChartContext<'a, SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// What a panel must know of the figure around it.
pub(super) struct Layout {
    pub(super) top: i32,
    pub(super) bottom: i32,
    /// Whether it carries the time axis.
    pub(super) is_last: bool,
    /// Whether lines of the figure have names at their ends.
    pub(super) has_names: bool,
}

pub(super) fn draw(
    area: &Area<'_>,
    panel: &Panel,
    time: [f64; 2],
    clock: &Clock,
    layout: &Layout,
) -> Result<(), Failure> {
    let values = panel.lines.iter().flat_map(|line| &line.points).map(|point| point.1);
    let zero = panel.zero_line.then_some(0.0);
    let Some([low, high]) = padded(values.chain(zero)) else { return Ok(()) };
    let right = if layout.has_names { RIGHT } else { RIGHT_WITHOUT_NAMES };
    let chart = ChartBuilder::on(area)
        .margin_top(layout.top * UNIT)
        .margin_right(right * UNIT)
        .margin_left(LEFT * UNIT)
        .margin_bottom(layout.bottom * UNIT)
        .build_cartesian_2d(time[0]..time[1], low..high)?;
    let axes = Axes { time, low, high, y_ticks: linear([low, high], 4), x_ticks: clock.ticks(time, 6) };
    let mut paper = Paper { area, chart, axes };
    paper.span(panel)?;
    paper.grid()?;
    paper.marks(panel)?;
    paper.lines(panel)?;
    paper.y_labels(panel)?;
    if layout.is_last {
        paper.x_labels(clock)?;
    }
    paper.names(panel)?;
    if !panel.heading.is_empty() {
        let style = bold(11, HPos::Left, VPos::Top);
        area.draw(&Text::new(clean(&panel.heading), (LEFT * UNIT, UNIT), style))?;
    }
    Ok(())
}

struct Axes {
    time: [f64; 2],
    low: f64,
    high: f64,
    y_ticks: Ticks,
    x_ticks: Vec<super::clock::Tick>,
}

struct Paper<'a, 'b> {
    area: &'b Area<'a>,
    chart: Chart<'a>,
    axes: Axes,
}

impl Paper<'_, '_> {
    /// Place of a point on the panel's own area.
    fn place(&self, x: f64, y: f64) -> (i32, i32) {
        // Backend coordinates count from the corner of the whole figure, drawing areas from their own.
        let (_, base) = self.area.get_base_pixel();
        let (px, py) = self.chart.backend_coord(&(x, y));
        (px, py - base)
    }

    fn clamped(&self, span: [f64; 2]) -> [f64; 2] {
        span.map(|moment| moment.clamp(self.axes.time[0], self.axes.time[1]))
    }

    fn path(&mut self, points: Vec<(f64, f64)>, style: ShapeStyle) -> Result<(), Failure> {
        self.chart.draw_series([PathElement::new(points, style)])?;
        Ok(())
    }

    /// The shaded span, with edges and a bracket over it so that it does not depend on the shade.
    fn span(&mut self, panel: &Panel) -> Result<(), Failure> {
        let Some((span, name)) = panel.span else { return Ok(()) };
        let (low, high) = (self.axes.low, self.axes.high);
        let [from, to] = self.clamped(span);
        self.chart.draw_series([Rectangle::new([(from, low), (to, high)], SHADE.filled())])?;
        for edge in [from, to] {
            self.path(vec![(edge, low), (edge, high)], INK.stroke_width(THIN))?;
        }
        let ((left, y), (right, _)) = (self.place(from, high), self.place(to, high));
        let bracket = [(left, y), (left, y - 3 * UNIT), (right, y - 3 * UNIT), (right, y)];
        self.area.draw(&PathElement::new(bracket, INK.stroke_width(THIN)))?;
        // The numbers of marks stand in the same place, so the name keeps to the left of the first.
        let first_mark = panel.marks.iter().map(|mark| self.place(self.clamped(mark.span_s)[0], high).0).min();
        if first_mark.is_none_or(|x| x > left + 60 * UNIT || x < left - 10 * UNIT) {
            let style = font(10, INK, HPos::Left, VPos::Bottom);
            self.area.draw(&Text::new(name, (left, y - 4 * UNIT), style))?;
        }
        Ok(())
    }

    fn grid(&mut self) -> Result<(), Failure> {
        let Axes { time, low, high, .. } = self.axes;
        let horizontal = self.axes.y_ticks.values.iter().map(|y| vec![(time[0], *y), (time[1], *y)]);
        let vertical = self.axes.x_ticks.iter().map(|(x, _)| vec![(*x, low), (*x, high)]);
        let grid: Vec<_> = horizontal.chain(vertical).collect();
        for points in grid {
            self.path(points, FAINT.stroke_width(HAIR))?;
        }
        self.path(vec![(time[0], high), (time[0], low), (time[1], low)], GREY.stroke_width(HAIR))
    }

    fn marks(&mut self, panel: &Panel) -> Result<(), Failure> {
        let Axes { low, high, .. } = self.axes;
        let mut free_from = i32::MIN;
        for mark in panel.marks.iter().take(MARKS) {
            let [from, to] = self.clamped(mark.span_s);
            let x = 0.5 * (from + to);
            self.path(vec![(x, low), (x, high)], GREY.stroke_width(THIN))?;
            let (px, py) = self.place(x, high);
            if px >= free_from {
                free_from = px + 14 * UNIT;
                let style = bold(10, HPos::Center, VPos::Bottom);
                self.area.draw(&Text::new(mark.number.to_string(), (px, py - 4 * UNIT), style))?;
            }
        }
        Ok(())
    }

    fn lines(&mut self, panel: &Panel) -> Result<(), Failure> {
        if panel.zero_line {
            self.path(vec![(self.axes.time[0], 0.0), (self.axes.time[1], 0.0)], INK.stroke_width(THIN))?;
        }
        for line in &panel.lines {
            let style = line.look.color().stroke_width(line.look.width());
            self.path(line.points.clone(), style)?;
            if line.points.len() <= DOTTED_POINTS {
                self.chart
                    .draw_series(line.points.iter().map(|point| Circle::new(*point, 2 * UNIT, style.filled())))?;
            }
        }
        Ok(())
    }

    fn y_labels(&self, panel: &Panel) -> Result<(), Failure> {
        let Axes { time, low, high, y_ticks, .. } = &self.axes;
        for value in &y_ticks.values {
            let (x, y) = self.place(time[0], *value);
            let style = font(10, INK, HPos::Right, VPos::Center);
            self.area.draw(&Text::new(y_ticks.label(*value), (x - 5 * UNIT, y), style))?;
        }
        let middle = self.place(time[0], 0.5 * (low + high)).1;
        let style = font(10, GREY, HPos::Center, VPos::Top).transform(FontTransform::Rotate270);
        self.area.draw(&Text::new(panel.y_label.clone(), (2 * UNIT, middle), style))?;
        Ok(())
    }

    fn x_labels(&self, clock: &Clock) -> Result<(), Failure> {
        let Axes { time, low, x_ticks, .. } = &self.axes;
        for (moment, label) in x_ticks {
            let (x, y) = self.place(*moment, *low);
            let style = font(10, INK, HPos::Center, VPos::Top);
            self.area.draw(&Text::new(label.clone(), (x, y + 5 * UNIT), style))?;
        }
        let (x, y) = self.place(0.5 * (time[0] + time[1]), *low);
        let style = font(10, GREY, HPos::Center, VPos::Top);
        self.area.draw(&Text::new(clean(&clock.axis_title(*time)), (x, y + 22 * UNIT), style))?;
        Ok(())
    }

    /// The names of the lines beside their ends, pushed apart where they would overlap.
    fn names(&self, panel: &Panel) -> Result<(), Failure> {
        let Axes { time, low, high, .. } = self.axes;
        let named = panel.lines.iter().filter(|line| !line.label.is_empty());
        let mut names: Vec<(i32, &Line)> =
            named.filter_map(|line| Some((self.place(time[1], line.points.last()?.1).1, line))).collect();
        names.sort_by_key(|(y, _)| *y);
        let ends: Vec<i32> = names.iter().map(|(y, _)| *y).collect();
        let (x, bottom) = self.place(time[1], low);
        let spaced = spread(&ends, 12 * UNIT, [self.place(time[1], high).1, bottom]);
        for ((end, line), y) in names.into_iter().zip(spaced) {
            let color = line.look.color();
            let path = [(x + UNIT, end), (x + 8 * UNIT, y)];
            self.area.draw(&PathElement::new(path, color.stroke_width(HAIR)))?;
            let style = font(10, color, HPos::Left, VPos::Center);
            self.area.draw(&Text::new(shortened(&line.label, NAME_LENGTH), (x + 10 * UNIT, y), style))?;
        }
        Ok(())
    }
}

impl Look {
    /// Every look, each with a width that no other line of a figure has.
    pub(super) const ALL: [Self; 5] =
        [Self::Measured(0), Self::Measured(1), Self::Measured(2), Self::Measured(3), Self::Fitted];

    fn color(self) -> RGBColor {
        match self {
            Self::Measured(index) => MEASURED[index % MEASURED.len()],
            Self::Fitted => BLACK,
        }
    }

    pub(super) fn width(self) -> u32 {
        match self {
            Self::Measured(index) => [5, 6, 9, 7][index % MEASURED.len()],
            Self::Fitted => 8,
        }
    }

    /// Lengths of dashes and gaps; the first measured line is solid.
    pub(super) fn dashes(self) -> Option<&'static str> {
        match self {
            Self::Measured(index) => [None, Some("48 12"), Some("10 10"), Some("48 12 10 12")][index % MEASURED.len()],
            Self::Fitted => Some("28 16"),
        }
    }
}

/// Moves sorted positions apart to at least `gap`, keeping them within `[first, last]` where they fit.
fn spread(positions: &[i32], gap: i32, [first, last]: [i32; 2]) -> Vec<i32> {
    let mut spaced = positions.to_vec();
    for index in 0..spaced.len() {
        let least = if index == 0 { first } else { spaced[index - 1] + gap };
        spaced[index] = spaced[index].max(least);
    }
    for index in (0..spaced.len()).rev() {
        let most = if index + 1 == spaced.len() { last } else { spaced[index + 1] - gap };
        spaced[index] = spaced[index].min(most);
    }
    spaced
}

/// Letters of the size in points; the backend divides sizes by 1.24.
fn font(size: i32, color: RGBColor, horizontal: HPos, vertical: VPos) -> TextStyle<'static> {
    styled(size, FontStyle::Normal, color, horizontal, vertical)
}

fn bold(size: i32, horizontal: HPos, vertical: VPos) -> TextStyle<'static> {
    styled(size, FontStyle::Bold, INK, horizontal, vertical)
}

fn styled(size: i32, style: FontStyle, color: RGBColor, horizontal: HPos, vertical: VPos) -> TextStyle<'static> {
    let font = FontDesc::new(FontFamily::SansSerif, f64::from(size * UNIT) * 1.24, style);
    TextStyle { font, color: color.to_backend_color(), pos: Pos::new(horizontal, vertical) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_pushed_apart_and_stay_on_the_paper() {
        assert_eq!(spread(&[10, 12, 14], 10, [0, 100]), [10, 20, 30]);
        assert_eq!(spread(&[90, 95], 10, [0, 100]), [90, 100]);
        assert_eq!(spread(&[], 10, [0, 100]), Vec::<i32>::new());
    }

    #[test]
    fn every_look_has_a_width_of_its_own() {
        let mut widths: Vec<u32> = Look::ALL.iter().map(|look| look.width()).chain([HAIR, THIN]).collect();
        widths.sort_unstable();
        widths.dedup();
        assert_eq!(widths.len(), Look::ALL.len() + 2);
    }
}
