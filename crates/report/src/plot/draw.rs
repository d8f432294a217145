//! Puts a figure on paper: its panels one above the other, and the words for who cannot see it.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::panel::Layout;
use super::{Clock, Figure, Look, Panel};
use crate::markup::escape;

/// The backend draws on whole units, so a unit is a quarter of a point and lines stay smooth.
pub(super) const UNIT: i32 = 4;
const WIDTH: i32 = 700;
const PANEL_HEIGHT: i32 = 165;
/// Where there are several, each gets less.
const SMALL_PANEL_HEIGHT: i32 = 112;
const AXIS_HEIGHT: i32 = 42;
/// Room under a panel that has none below it.
const GAP: i32 = 10;

pub(super) type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
pub(super) type Failure = Box<dyn std::error::Error>;

/// The figure as SVG with title and description for those who cannot see it.
pub(super) fn svg(figure: &Figure, clock: &Clock, prefix: &str) -> String {
    let panels: Vec<&Panel> = figure.panels.iter().filter(|panel| panel.is_drawable()).collect();
    let heights: Vec<i32> = panels.iter().map(|panel| panel.height(panels.len())).collect();
    let height = heights.iter().sum::<i32>() + AXIS_HEIGHT;
    let mut text = String::new();
    // Writing to text cannot fail; should it ever, the reader is told rather than shown half a figure.
    if let Err(error) = draw(&mut text, &panels, &heights, height, clock) {
        let error = escape(&error.to_string());
        text = format!(
            "<svg><text x=\"40\" y=\"80\" font-size=\"48\">This figure could not be drawn: {error}</text></svg>"
        );
    }
    let body = dashed(text.find('>').map_or("", |end| &text[end + 1..]));
    let [width_units, height_units] = [WIDTH * UNIT, height * UNIT];
    let anchor = format!("{prefix}-{}", figure.name);
    let [title, description] = [&figure.title, &figure.description].map(|words| escape(words));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{height}\" \
         viewBox=\"0 0 {width_units} {height_units}\" stroke-linejoin=\"round\" role=\"img\" \
         aria-labelledby=\"{anchor}-title {anchor}-desc\">\n\
         <title id=\"{anchor}-title\">{title}</title>\n<desc id=\"{anchor}-desc\">{description}</desc>{body}"
    )
}

/// The backend knows no dashes. Each look has a width of its own, and the dashes are set where that width stands; the
/// quotation marks in the texts of others are escaped, so that nothing else can look like such an attribute.
fn dashed(body: &str) -> String {
    Look::ALL.iter().fold(body.to_owned(), |body, look| match look.dashes() {
        Some(dashes) => {
            let width = format!("stroke-width=\"{}\"", look.width());
            body.replace(&width, &format!("{width} stroke-dasharray=\"{dashes}\""))
        }
        None => body,
    })
}

fn draw(text: &mut String, panels: &[&Panel], heights: &[i32], height: i32, clock: &Clock) -> Result<(), Failure> {
    let spans = panels.iter().filter_map(|panel| panel.time_span());
    let time = spans.fold([f64::INFINITY, f64::NEG_INFINITY], |all, span| [all[0].min(span[0]), all[1].max(span[1])]);
    let has_names = panels.iter().any(|panel| panel.lines.iter().any(|line| !line.label.is_empty()));
    let root = SVGBackend::with_string(text, ((WIDTH * UNIT) as u32, (height * UNIT) as u32)).into_drawing_area();
    let mut rest = root.clone();
    for (index, panel) in panels.iter().enumerate() {
        let is_last = index + 1 == panels.len();
        let own = heights[index] + if is_last { AXIS_HEIGHT } else { 0 };
        let (area, below) = rest.split_vertically(own * UNIT);
        let layout = Layout { top: panel.top(), bottom: if is_last { AXIS_HEIGHT } else { GAP }, is_last, has_names };
        super::panel::draw(&area, panel, time, clock, &layout)?;
        rest = below;
    }
    root.present()?;
    Ok(())
}

impl Panel {
    fn is_drawable(&self) -> bool {
        self.lines.iter().any(|line| !line.points.is_empty())
    }

    fn height(&self, panels: usize) -> i32 {
        (if panels > 1 { SMALL_PANEL_HEIGHT } else { PANEL_HEIGHT }) + self.top()
    }

    /// Room over the plotting area.
    fn top(&self) -> i32 {
        const HEADING: i32 = 18;
        const MARKS: i32 = 14;
        let heading = if self.heading.is_empty() { 4 } else { HEADING };
        heading + if self.span.is_some() || !self.marks.is_empty() { MARKS } else { 0 }
    }

    fn time_span(&self) -> Option<[f64; 2]> {
        let times = self.lines.iter().flat_map(|line| &line.points).map(|point| point.0);
        let [low, high] = times.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], t| [low.min(t), high.max(t)]);
        let pad = if low < high { 0.0 } else { 0.5 };
        (low <= high).then_some([low - pad, high + pad])
    }
}
