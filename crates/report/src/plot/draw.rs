//! Puts a figure on paper: its panels one above the other, and the words for who cannot see it.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::panel::Layout;
use super::{Axis, Clock, Figure, Look, Panel};
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
    if let Err(error) = draw(&mut text, &panels, &heights, height, &figure.axis, clock) {
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

fn draw(
    text: &mut String,
    panels: &[&Panel],
    heights: &[i32],
    height: i32,
    axis: &Axis,
    clock: &Clock,
) -> Result<(), Failure> {
    let spans = panels.iter().filter_map(|panel| panel.time_span());
    let time = spans.fold([f64::INFINITY, f64::NEG_INFINITY], |all, span| [all[0].min(span[0]), all[1].max(span[1])]);
    let has_names = panels.iter().any(|panel| panel.lines.iter().any(|line| !line.label.is_empty()));
    let root = SVGBackend::with_string(text, ((WIDTH * UNIT) as u32, (height * UNIT) as u32)).into_drawing_area();
    let mut rest = root.clone();
    for (index, panel) in panels.iter().enumerate() {
        let is_last = index + 1 == panels.len();
        let own = heights[index] + if is_last { AXIS_HEIGHT } else { 0 };
        let (area, below) = rest.split_vertically(own * UNIT);
        let layout = Layout {
            top: panel.top(),
            bottom: if is_last { AXIS_HEIGHT } else { GAP },
            is_last,
            has_names,
            axis: axis.clone(),
        };
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
        heading + if !self.spans.is_empty() || !self.marks.is_empty() { MARKS } else { 0 }
    }

    fn time_span(&self) -> Option<[f64; 2]> {
        let times = self.lines.iter().flat_map(|line| &line.points).map(|point| point.0);
        let [low, high] = times.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], t| [low.min(t), high.max(t)]);
        let pad = if low < high { 0.0 } else { 0.5 };
        (low <= high).then_some([low - pad, high + pad])
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Line, Scale, Shade, Shape, Span};
    use super::*;

    fn line(label: &str, look: Look, points: &[(f64, f64)]) -> Line {
        Line { label: label.to_owned(), points: points.to_vec(), look }
    }

    fn everything() -> Figure {
        let shades = [Shade::Plain, Shade::Rising, Shade::Falling, Shade::Upright, Shade::Crossed];
        let span = |(k, shade)| Span { range: [k as f64, k as f64 + 0.9], label: format!("phase {k}"), shade };
        let spans = shades.into_iter().enumerate().map(span).collect();
        let ramp = |slope: f64| (0..=50).map(|k| (f64::from(k) / 10.0, slope * f64::from(k))).collect::<Vec<_>>();
        Figure {
            name: "everything".to_owned(),
            axis: Axis::Quantity("Δp to the room (Pa)".to_owned()),
            panels: vec![
                Panel {
                    y_label: "ppm".to_owned(),
                    scale: Scale::Decades,
                    spans,
                    lines: vec![
                        line("", Look::Points(Shape::Below), &[(0.5, 0.1), (1.0, 0.1)]),
                        line("", Look::Points(Shape::Above), &[(4.0, 1e3), (4.5, 1e3)]),
                        line("", Look::Points(Shape::Dot), &[(2.0, 5.0)]),
                        line("", Look::Bars, &[(2.0, 2.0), (2.0, 9.0), (3.0, 20.0), (3.0, 90.0)]),
                        line("nothing here", Look::Fitted, &[(1.0, -1.0)]),
                    ],
                    ..Panel::default()
                },
                Panel {
                    y_label: "ppm".to_owned(),
                    lines: vec![
                        line("leaks", Look::Stacked(0), &ramp(1.0)),
                        line("gloves", Look::Stacked(1), &ramp(0.5)),
                        line("walls", Look::Stacked(2), &ramp(0.2)),
                    ],
                    ..Panel::default()
                },
            ],
            ..Figure::default()
        }
    }

    #[test]
    fn every_look_shade_and_scale_is_drawn_as_well_formed_svg() {
        let svg = everything().svg(&Clock::new(None, None), "t");
        let document = roxmltree::Document::parse(&svg).unwrap();
        let count = |tag: &str| document.descendants().filter(|node| node.has_tag_name(tag)).count();
        assert_eq!(count("circle"), 1);
        // Three parts filled.
        assert_eq!(count("polygon"), 3);
        // A panel in decades without a positive value still is no reason to stop.
        assert!(svg.contains("Δp to the room (Pa)") && svg.contains("phase 4"));
    }
}
