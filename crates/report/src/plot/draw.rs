//! Puts a figure on paper.

use plotters::coord::Shift;
use plotters::element::DashedPathElement;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::ticks::{linear, padded};
use super::{Clock, Figure, Line, Look, Mark, Panel};
use crate::markup::{clean, escape, shortened};

/// The backend draws on whole units, so a unit is a quarter of a point and lines stay smooth.
const UNIT: i32 = 4;
const WIDTH: i32 = 700;
const PANEL_HEIGHT: i32 = 190;
/// Where panels are many, each gets less.
const SMALL_PANEL_HEIGHT: i32 = 130;
const AXIS_HEIGHT: i32 = 44;
const LEFT: i32 = 66;
/// Room for the names of the lines.
const RIGHT: i32 = 128;
const HEADING_HEIGHT: i32 = 18;
/// Room for the names of shaded spans and the numbers of marks.
const MARKS_HEIGHT: i32 = 14;
/// Numbers of marks that fit over a panel; the rest only gets its line.
const NUMBERED_MARKS: usize = 12;
/// Letters of a line's name.
const NAME_LENGTH: usize = 19;

const INK: RGBColor = RGBColor(0x1d, 0x28, 0x2f);
const FAINT: RGBColor = RGBColor(0xd5, 0xdb, 0xde);
const SHADE: RGBColor = RGBColor(0xee, 0xf1, 0xf2);
const GREY: RGBColor = RGBColor(0x5b, 0x66, 0x6d);
/// Measured lines: apart in lightness as well as in colour, and in their dashes.
const MEASURED: [RGBColor; 4] =
    [RGBColor(0x12, 0x3f, 0x6b), RGBColor(0xa8, 0x5b, 0x12), RGBColor(0x2b, 0x7f, 0x78), RGBColor(0x7a, 0x4a, 0x8a)];
const FITTED: RGBColor = RGBColor(0x00, 0x00, 0x00);

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Failure = Box<dyn std::error::Error>;

/// The figure as SVG with title and description for those who cannot see it.
pub(super) fn svg(figure: &Figure, clock: &Clock, prefix: &str) -> String {
    let panels: Vec<&Panel> = figure.panels.iter().filter(|panel| panel.is_drawable()).collect();
    let heights: Vec<i32> = panels.iter().map(|panel| panel.height(panels.len())).collect();
    let height = heights.iter().sum::<i32>() + AXIS_HEIGHT;
    let mut text = String::new();
    // Writing to text cannot fail; should it ever, the reader is told rather than shown half a figure.
    if let Err(error) = draw(&mut text, &panels, &heights, height, clock) {
        text = format!(
            "<svg><text x=\"40\" y=\"80\" font-size=\"48\">This figure could not be drawn: {}</text></svg>",
            escape(&error.to_string())
        );
    }
    let body = text.find('>').map_or("", |end| &text[end + 1..]);
    let anchor = format!("{prefix}-{}", figure.name);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" viewBox=\"0 0 {} {}\" role=\"img\" \
         aria-labelledby=\"{anchor}-title {anchor}-desc\">\n<title id=\"{anchor}-title\">{}</title>\n<desc id=\"{anchor}-desc\">{}</desc>{body}",
        WIDTH * UNIT,
        height * UNIT,
        escape(&figure.title),
        escape(&figure.description),
    )
}

impl Panel {
    fn is_drawable(&self) -> bool {
        self.lines.iter().any(|line| !line.points.is_empty())
    }

    fn height(&self, panels: usize) -> i32 {
        (if panels > 2 { SMALL_PANEL_HEIGHT } else { PANEL_HEIGHT }) + self.top()
    }

    /// Room over the plotting area.
    fn top(&self) -> i32 {
        let heading = if self.heading.is_empty() { 4 } else { HEADING_HEIGHT };
        heading + if self.span.is_some() || !self.marks.is_empty() { MARKS_HEIGHT } else { 0 }
    }

    fn time_span(&self) -> Option<[f64; 2]> {
        let times = self.lines.iter().flat_map(|line| &line.points).map(|point| point.0);
        let [low, high] = times.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], t| [low.min(t), high.max(t)]);
        (low <= high).then(|| if low < high { [low, high] } else { [low - 0.5, high + 0.5] })
    }
}

fn draw(text: &mut String, panels: &[&Panel], heights: &[i32], height: i32, clock: &Clock) -> Result<(), Failure> {
    let spans: Vec<[f64; 2]> = panels.iter().filter_map(|panel| panel.time_span()).collect();
    let root = SVGBackend::with_string(text, ((WIDTH * UNIT) as u32, (height * UNIT) as u32)).into_drawing_area();
    let time =
        spans.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |all, span| [all[0].min(span[0]), all[1].max(span[1])]);
    let mut rest = root.clone();
    for (index, panel) in panels.iter().enumerate() {
        let is_last = index + 1 == panels.len();
        let own = (heights[index] + if is_last { AXIS_HEIGHT } else { 0 }) * UNIT;
        let (area, below) = rest.split_vertically(own);
        draw_panel(&area, panel, time, clock, is_last)?;
        rest = below;
    }
    root.present()?;
    Ok(())
}

fn draw_panel(area: &Area<'_>, panel: &Panel, time: [f64; 2], clock: &Clock, is_last: bool) -> Result<(), Failure> {
    let values = panel.lines.iter().flat_map(|line| &line.points).map(|point| point.1);
    let zero = panel.zero_line.then_some(0.0);
    let Some([low, high]) = padded(values.chain(zero)) else { return Ok(()) };
    let y_ticks = linear([low, high], 4);
    let x_ticks = clock.ticks(time, 6);
    let mut chart = ChartBuilder::on(area)
        .margin_top(panel.top() * UNIT)
        .margin_right(RIGHT * UNIT)
        .margin_left(LEFT * UNIT)
        .margin_bottom(if is_last { AXIS_HEIGHT * UNIT } else { 8 * UNIT })
        .build_cartesian_2d(time[0]..time[1], low..high)?;
    if let Some((span, _)) = panel.span {
        let [from, to] = span.map(|moment| moment.clamp(time[0], time[1]));
        chart.draw_series([Rectangle::new([(from, low), (to, high)], SHADE.filled())])?;
    }
    let grid = FAINT.stroke_width(UNIT as u32 / 2);
    chart.draw_series(y_ticks.values.iter().map(|y| PathElement::new([(time[0], *y), (time[1], *y)], grid)))?;
    chart.draw_series(x_ticks.iter().map(|(x, _)| PathElement::new([(*x, low), (*x, high)], grid)))?;
    let frame = [(time[0], high), (time[0], low), (time[1], low)];
    chart.draw_series([PathElement::new(frame, GREY.stroke_width(UNIT as u32 / 2))])?;
    if panel.zero_line {
        chart.draw_series([PathElement::new([(time[0], 0.0), (time[1], 0.0)], INK.stroke_width(UNIT as u32))])?;
    }
    for mark in &panel.marks {
        let x = (0.5 * (mark.span_s[0] + mark.span_s[1])).clamp(time[0], time[1]);
        let path = [(x, low), (x, high)];
        chart.draw_series([DashedPathElement::new(path, UNIT, 2 * UNIT, GREY.stroke_width(UNIT as u32))])?;
    }
    if let Some((span, _)) = panel.span {
        for edge in span.map(|moment| moment.clamp(time[0], time[1])) {
            chart.draw_series([PathElement::new([(edge, low), (edge, high)], INK.stroke_width(UNIT as u32))])?;
        }
    }
    for line in &panel.lines {
        let points = line.points.iter().copied();
        match line.dashes() {
            None => chart.draw_series([PathElement::new(points.collect::<Vec<_>>(), line.style())])?,
            Some((dash, gap)) => {
                let points: Vec<_> = points.collect();
                chart.draw_series([DashedPathElement::new(points, dash * UNIT, gap * UNIT, line.style())])?
            }
        };
        if line.points.len() <= MARKED_POINTS {
            let dots = line.points.iter().map(|point| Circle::new(*point, 2 * UNIT, line.style().filled()));
            chart.draw_series(dots)?;
        }
    }
    // Backend coordinates count from the corner of the whole figure, drawing areas from their own.
    let (_, base) = area.get_base_pixel();
    let place = |x: f64, y: f64| {
        let (px, py) = chart.backend_coord(&(x, y));
        (px, py - base)
    };
    for value in &y_ticks.values {
        let (x, y) = place(time[0], *value);
        area.draw(&Text::new(y_ticks.label(*value), (x - 5 * UNIT, y), font(10, INK, HPos::Right, VPos::Center)))?;
    }
    if is_last {
        for (time, label) in &x_ticks {
            let (x, y) = place(*time, low);
            area.draw(&Text::new(label.clone(), (x, y + 5 * UNIT), font(10, INK, HPos::Center, VPos::Top)))?;
        }
        let (x, y) = place(0.5 * (time[0] + time[1]), low);
        let title = clean(&clock.axis_title(time));
        area.draw(&Text::new(title, (x, y + 22 * UNIT), font(10, GREY, HPos::Center, VPos::Top)))?;
    }
    write_y_title(area, panel, place(time[0], 0.5 * (low + high)).1)?;
    write_names(area, panel, |y| place(time[1], y), [low, high])?;
    write_marks(area, panel, time, |x| place(x, high))?;
    if !panel.heading.is_empty() {
        let style = bold(11, HPos::Left, VPos::Top);
        area.draw(&Text::new(clean(&panel.heading), (LEFT * UNIT, UNIT), style))?;
    }
    Ok(())
}

/// Name of the vertical axis, read from below.
fn write_y_title(area: &Area<'_>, panel: &Panel, middle: i32) -> Result<(), Failure> {
    let style = font(10, GREY, HPos::Center, VPos::Top).transform(FontTransform::Rotate270);
    area.draw(&Text::new(panel.y_label.clone(), (3 * UNIT, middle), style))?;
    Ok(())
}

/// Lines of so few points get a dot at each.
const MARKED_POINTS: usize = 60;

/// The names of the lines beside their ends, pushed apart where they would overlap.
fn write_names(
    area: &Area<'_>,
    panel: &Panel,
    place: impl Fn(f64) -> (i32, i32),
    [low, high]: [f64; 2],
) -> Result<(), Failure> {
    let end = |line: &Line| Some(line.points.last()?.1);
    let mut names: Vec<(i32, &Line)> =
        panel.lines.iter().filter_map(|line| Some((place(end(line)?.clamp(low, high)).1, line))).collect();
    names.sort_by_key(|(y, _)| *y);
    let spaced = spread(&names.iter().map(|(y, _)| *y).collect::<Vec<_>>(), 12 * UNIT, [place(high).1, place(low).1]);
    let x = place(low).0;
    for ((own_y, line), y) in names.iter().zip(spaced) {
        let path = [(x + UNIT, *own_y), (x + 8 * UNIT, y)];
        area.draw(&PathElement::new(path, line.color().stroke_width(UNIT as u32 / 2)))?;
        let style = font(10, line.color(), HPos::Left, VPos::Center);
        area.draw(&Text::new(shortened(&line.label, NAME_LENGTH), (x + 10 * UNIT, y), style))?;
    }
    Ok(())
}

fn write_marks(
    area: &Area<'_>,
    panel: &Panel,
    time: [f64; 2],
    place: impl Fn(f64) -> (i32, i32),
) -> Result<(), Failure> {
    if let Some((span, name)) = panel.span {
        let [from, to] = span.map(|moment| moment.clamp(time[0], time[1]));
        let (x, y) = place(from);
        let right = place(to).0;
        // A bracket over the span, so that it does not depend on the shade.
        let y = y - 3 * UNIT;
        let bracket = [(x, y + 3 * UNIT), (x, y), (right, y), (right, y + 3 * UNIT)];
        area.draw(&PathElement::new(bracket, INK.stroke_width(UNIT as u32)))?;
        if panel.marks.is_empty() || right - x > 160 * UNIT {
            let style = font(10, INK, HPos::Left, VPos::Bottom);
            area.draw(&Text::new(name, (x, y - UNIT), style))?;
        }
    }
    let mut taken = i32::MIN;
    for Mark { number, span_s } in panel.marks.iter().take(NUMBERED_MARKS) {
        let (x, y) = place((0.5 * (span_s[0] + span_s[1])).clamp(time[0], time[1]));
        if x < taken {
            continue;
        }
        taken = x + 14 * UNIT;
        let style = bold(10, HPos::Center, VPos::Bottom);
        area.draw(&Text::new(number.to_string(), (x, y - 4 * UNIT), style))?;
    }
    Ok(())
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

impl Line {
    fn color(&self) -> RGBColor {
        match self.look {
            Look::Measured(index) => MEASURED[index % MEASURED.len()],
            Look::Fitted => FITTED,
        }
    }

    fn style(&self) -> ShapeStyle {
        let width = match self.look {
            Look::Measured(_) => UNIT + 1,
            Look::Fitted => 2 * UNIT - 1,
        };
        self.color().stroke_width(width as u32)
    }

    /// Dash and gap; the first measured line is solid.
    fn dashes(&self) -> Option<(i32, i32)> {
        match self.look {
            Look::Fitted => Some((7, 4)),
            Look::Measured(index) => [None, Some((11, 3)), Some((2, 2)), Some((6, 2))][index % 4],
        }
    }
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
}
