//! One panel: frame, grid, shaded span, marks, lines and their names.

use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::calendar;
use super::draw::{Area, Failure, UNIT};
use super::hatch;
use super::ticks::{Ticks, decades, linear, padded};
use super::{Axis, Clock, Line, Look, Panel, Scale, Shape};
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
pub(super) const HAIR: u32 = 2;
pub(super) const THIN: u32 = 4;
/// Half the size of a single point.
const POINT: i32 = 3 * UNIT;
/// Fills of stacked parts, apart in lightness.
const FILLS: [RGBColor; 4] =
    [RGBColor(0xc9, 0xd8, 0xe6), RGBColor(0x8f, 0xa9, 0xc2), RGBColor(0xe6, 0xd3, 0xb8), RGBColor(0x5f, 0x7f, 0x9e)];

type Chart<'a> = ChartContext<'a, SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// What a panel must know of the figure around it.
pub(super) struct Layout {
    pub(super) top: i32,
    pub(super) bottom: i32,
    /// Whether it carries the time axis.
    pub(super) is_last: bool,
    /// Whether lines of the figure have names at their ends.
    pub(super) has_names: bool,
    /// The horizontal axis.
    pub(super) axis: Axis,
}

pub(super) fn draw(
    area: &Area<'_>,
    panel: &Panel,
    time: [f64; 2],
    clock: &Clock,
    layout: &Layout,
) -> Result<(), Failure> {
    let curves = curves(panel);
    let linear_scale = panel.scale == Scale::Linear;
    let stacked = panel.lines.iter().any(|line| matches!(line.look, Look::Stacked(_)));
    let zero = ((panel.zero_line || stacked) && linear_scale).then_some(0.0);
    let values = curves.iter().flat_map(|curve| &curve.points).map(|point| point.1);
    let Some([low, high]) = padded(values.chain(zero)) else { return Ok(()) };
    let right = if layout.has_names { RIGHT } else { RIGHT_WITHOUT_NAMES };
    let chart = ChartBuilder::on(area)
        .margin_top(layout.top * UNIT)
        .margin_right(right * UNIT)
        .margin_left(LEFT * UNIT)
        .margin_bottom(layout.bottom * UNIT)
        .build_cartesian_2d(time[0]..time[1], low..high)?;
    let y_ticks = if linear_scale { linear([low, high], 4) } else { decades([low, high]) };
    let x_ticks = match &layout.axis {
        Axis::Time => clock.ticks(time, 6),
        Axis::Days => calendar::ticks(time, 6),
        Axis::Quantity(_) => {
            let ticks = linear(time, 6);
            ticks.values.iter().map(|value| (*value, ticks.label(*value))).collect()
        }
    };
    let mut paper = Paper { area, chart, axes: Axes { time, low, high, y_ticks, x_ticks } };
    paper.spans(panel)?;
    paper.grid()?;
    paper.marks(panel)?;
    if zero.is_some() {
        paper.path(vec![(time[0], 0.0), (time[1], 0.0)], INK.stroke_width(THIN))?;
    }
    for curve in &curves {
        paper.curve(curve)?;
    }
    paper.y_labels(panel)?;
    if layout.is_last {
        paper.x_labels(clock, &layout.axis)?;
    }
    paper.names(&curves)?;
    if !panel.heading.is_empty() {
        let style = bold(11, HPos::Left, VPos::Top);
        area.draw(&Text::new(clean(&panel.heading), (LEFT * UNIT, 3 * UNIT), style))?;
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

    /// The shaded stretches, with edges and a bracket over each so that they do not depend on the shade.
    fn spans(&mut self, panel: &Panel) -> Result<(), Failure> {
        let (low, high) = (self.axes.low, self.axes.high);
        // The numbers of marks stand in the same place, so a name keeps to the left of the first.
        let first_mark = panel.marks.iter().map(|mark| self.place(self.clamped(mark.span_s)[0], high).0).min();
        let mut free_from = i32::MIN;
        for span in &panel.spans {
            let [from, to] = self.clamped(span.range);
            if from >= to {
                continue;
            }
            self.chart.draw_series([Rectangle::new([(from, low), (to, high)], SHADE.filled())])?;
            let ((left, top), (right, bottom)) = (self.place(from, high), self.place(to, low));
            for [start, end] in hatch::lines(span.shade, [left, top, right, bottom]) {
                self.area.draw(&PathElement::new([start, end], FAINT.stroke_width(THIN)))?;
            }
            for edge in [from, to] {
                self.path(vec![(edge, low), (edge, high)], INK.stroke_width(THIN))?;
            }
            let bracket = [(left, top), (left, top - 3 * UNIT), (right, top - 3 * UNIT), (right, top)];
            self.area.draw(&PathElement::new(bracket, INK.stroke_width(THIN)))?;
            let clear = first_mark.is_none_or(|x| x > left + 60 * UNIT || x < left - 10 * UNIT);
            if clear && left >= free_from {
                let label = shortened(&span.label, NAME_LENGTH);
                free_from = left + label.chars().count() as i32 * 6 * UNIT;
                self.area.draw(&Text::new(label, (left, top - 4 * UNIT), font(10, INK, HPos::Left, VPos::Bottom)))?;
            }
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

    fn curve(&mut self, curve: &Curve<'_>) -> Result<(), Failure> {
        let style = curve.look.color().stroke_width(curve.look.width());
        match curve.look {
            Look::Points(shape) => self.points(curve, shape),
            Look::Bars => self.bars(curve),
            Look::Stacked(number) => {
                let fill = FILLS[number % FILLS.len()].filled();
                let below = curve.base.iter().rev().copied();
                self.chart
                    .draw_series([Polygon::new(curve.points.iter().copied().chain(below).collect::<Vec<_>>(), fill)])?;
                self.path(curve.points.clone(), style)
            }
            Look::Measured(_) | Look::Fitted => {
                self.path(curve.points.clone(), style)?;
                if curve.points.len() <= DOTTED_POINTS {
                    let dots = curve.points.iter().map(|point| Circle::new(*point, 2 * UNIT, style.filled()));
                    self.chart.draw_series(dots)?;
                }
                Ok(())
            }
        }
    }

    fn points(&mut self, curve: &Curve<'_>, shape: Shape) -> Result<(), Failure> {
        let color = curve.look.color();
        for point in &curve.points {
            let (x, y) = self.place(point.0, point.1);
            let style = color.stroke_width(THIN);
            match shape {
                Shape::Dot => self.area.draw(&Circle::new((x, y), POINT, color.filled()))?,
                Shape::Below | Shape::Above => {
                    let tip = if shape == Shape::Below { POINT } else { -POINT };
                    let corners = [(x, y + tip), (x - POINT, y - tip), (x + POINT, y - tip), (x, y + tip)];
                    self.area.draw(&PathElement::new(corners, style))?;
                }
            }
        }
        Ok(())
    }

    fn bars(&mut self, curve: &Curve<'_>) -> Result<(), Failure> {
        let style = curve.look.color().stroke_width(THIN);
        for pair in curve.points.chunks_exact(2) {
            let (low, high) = (self.place(pair[0].0, pair[0].1), self.place(pair[1].0, pair[1].1));
            for stroke in [
                [low, high],
                [(low.0 - POINT, low.1), (low.0 + POINT, low.1)],
                [(high.0 - POINT, high.1), (high.0 + POINT, high.1)],
            ] {
                self.area.draw(&PathElement::new(stroke, style))?;
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

    fn x_labels(&self, clock: &Clock, axis: &Axis) -> Result<(), Failure> {
        let Axes { time, low, x_ticks, .. } = &self.axes;
        for (moment, label) in x_ticks {
            let (x, y) = self.place(*moment, *low);
            let style = font(10, INK, HPos::Center, VPos::Top);
            self.area.draw(&Text::new(label.clone(), (x, y + 5 * UNIT), style))?;
        }
        let (x, y) = self.place(0.5 * (time[0] + time[1]), *low);
        let style = font(10, GREY, HPos::Center, VPos::Top);
        let title = match axis {
            Axis::Time => clock.axis_title(*time),
            Axis::Days => "date".to_owned(),
            Axis::Quantity(title) => title.clone(),
        };
        self.area.draw(&Text::new(clean(&title), (x, y + 22 * UNIT), style))?;
        Ok(())
    }

    /// The names of the lines beside their ends, pushed apart where they would overlap.
    fn names(&self, curves: &[Curve<'_>]) -> Result<(), Failure> {
        let Axes { time, low, high, .. } = self.axes;
        let named = curves.iter().filter(|curve| !curve.label.is_empty());
        let mut names: Vec<(i32, &Curve<'_>)> =
            named.filter_map(|curve| Some((self.place(time[1], curve.name_at()?).1, curve))).collect();
        names.sort_by_key(|(y, _)| *y);
        let ends: Vec<i32> = names.iter().map(|(y, _)| *y).collect();
        let (x, bottom) = self.place(time[1], low);
        let spaced = spread(&ends, 12 * UNIT, [self.place(time[1], high).1, bottom]);
        for ((end, curve), y) in names.into_iter().zip(spaced) {
            let color = curve.look.color();
            let path = [(x + UNIT, end), (x + 8 * UNIT, y)];
            self.area.draw(&PathElement::new(path, color.stroke_width(HAIR)))?;
            let style = font(10, color, HPos::Left, VPos::Center);
            self.area.draw(&Text::new(shortened(curve.label, NAME_LENGTH), (x + 10 * UNIT, y), style))?;
        }
        Ok(())
    }
}

/// A line in the coordinates of the paper.
struct Curve<'a> {
    label: &'a str,
    look: Look,
    points: Vec<(f64, f64)>,
    /// Where the fill of a stacked part ends.
    base: Vec<(f64, f64)>,
}

impl Curve<'_> {
    /// Height at which its name points to it: the end of a line, the middle of a part.
    fn name_at(&self) -> Option<f64> {
        let end = self.points.last()?.1;
        Some(self.base.last().map_or(end, |base| 0.5 * (base.1 + end)))
    }
}

/// The lines of a panel with parts stacked and decades taken.
fn curves(panel: &Panel) -> Vec<Curve<'_>> {
    let mut below: Vec<(f64, f64)> = Vec::new();
    panel.lines.iter().map(|line| curve(line, panel.scale, &mut below)).collect()
}

fn curve<'a>(line: &'a Line, scale: Scale, below: &mut Vec<(f64, f64)>) -> Curve<'a> {
    let (label, look) = (line.label.as_str(), line.look);
    if matches!(look, Look::Stacked(_)) {
        let floor = line.points.iter().enumerate().map(|(k, (x, _))| (*x, below.get(k).map_or(0.0, |point| point.1)));
        let base: Vec<_> = floor.collect();
        let points: Vec<_> = line.points.iter().zip(&base).map(|((x, y), (_, under))| (*x, y + under)).collect();
        below.clone_from(&points);
        return Curve { label, look, points, base };
    }
    let points = match scale {
        Scale::Linear => line.points.clone(),
        Scale::Decades => line.points.iter().filter(|(_, y)| *y > 0.0).map(|(x, y)| (*x, y.log10())).collect(),
    };
    Curve { label, look, points, base: Vec::new() }
}

impl Look {
    /// Every look that may be dashed, each with a width that no other line of a figure has.
    pub(super) const ALL: [Self; 5] =
        [Self::Measured(0), Self::Measured(1), Self::Measured(2), Self::Measured(3), Self::Fitted];

    fn color(self) -> RGBColor {
        match self {
            Self::Measured(index) => MEASURED[index % MEASURED.len()],
            Self::Fitted => BLACK,
            Self::Points(_) | Self::Bars | Self::Stacked(_) => MEASURED[0],
        }
    }

    pub(super) fn width(self) -> u32 {
        match self {
            Self::Measured(index) => [5, 6, 9, 7][index % MEASURED.len()],
            Self::Fitted => 8,
            Self::Points(_) | Self::Bars | Self::Stacked(_) => THIN,
        }
    }

    /// Lengths of dashes and gaps; the first measured line is solid.
    pub(super) fn dashes(self) -> Option<&'static str> {
        match self {
            Self::Measured(index) => [None, Some("48 12"), Some("10 10"), Some("48 12 10 12")][index % MEASURED.len()],
            Self::Fitted => Some("28 16"),
            Self::Points(_) | Self::Bars | Self::Stacked(_) => None,
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
