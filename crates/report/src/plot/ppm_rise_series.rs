//! The figure of several runs with purification off: ingress against the pressure difference.

use tightfit_fit::ppm_rise::Species;
use tightfit_fit::ppm_rise_series::{PpmRiseSeries, RunPoint};
use tightfit_quantity::display_number;

use super::{Axis, Figure, Line, Look, Panel, Shape};

/// Standard deviations of a 95 % interval.
const TWO_SIDED_95: f64 = 1.96;

/// The figure, a panel a species; none where the runs gave no fit.
pub(crate) fn figures(series: &PpmRiseSeries) -> Vec<Figure> {
    let of = |species| series.points.iter().filter(|point| point.species == species).collect::<Vec<_>>();
    let shown: Vec<(Species, Vec<&RunPoint>)> = [Species::Oxygen, Species::Water]
        .into_iter()
        .map(|species| (species, of(species)))
        .filter(|(_, points)| !points.is_empty())
        .collect();
    if shown.is_empty() {
        return Vec::new();
    }
    let bounds = if series.points.iter().any(|point| point.is_bound) {
        " A run that gave only a bound is an open triangle at that bound, pointing to where the ingress lies."
    } else {
        ""
    };
    let words: Vec<String> = series.points.iter().map(point_in_words).collect();
    vec![Figure {
        axis: Axis::Quantity("pressure below the room (Pa)".to_owned()),
        name: "ingress".to_owned(),
        title: "Ingress against the pressure difference".to_owned(),
        caption: format!(
            "Dots with bars are the single runs with their 95 % intervals, the dashed line the law fitted to all of them: what \
             comes through gloves at any pressure, and on top of it what comes through leaks the deeper the enclosure stands \
             below the room. Left of zero it stood above the room.{bounds}"
        ),
        description: format!("Ingress of each run against pressure difference: {}.{bounds}", words.join("; ")),
        panels: shown.iter().map(|(species, points)| panel(*species, points)).collect(),
    }]
}

fn panel(species: Species, points: &[&RunPoint]) -> Panel {
    let law = Law::of(points);
    let at = |point: &RunPoint| -point.pressure_difference_pa;
    let runs = points.iter().filter(|point| !point.is_bound);
    let dots = runs.clone().map(|point| (at(point), point.ingress_ppm_per_h[0])).collect();
    let bars = runs.flat_map(|point| {
        let [value, u] = point.ingress_ppm_per_h;
        [-1.0, 1.0].map(|side| (at(point), value + side * TWO_SIDED_95 * u))
    });
    let bounds = points.iter().filter(|point| point.is_bound);
    let triangles = bounds
        .map(|point| (at(point), point.ingress_ppm_per_h[0] + TWO_SIDED_95 * point.ingress_ppm_per_h[1]))
        .collect();
    let line = |label: &str, look, points| Line { label: label.to_owned(), points, look };
    let lines = vec![
        line("through gloves", Look::Stacked(1), law.curve(|law, _| law.permeation)),
        line("through leaks", Look::Stacked(2), law.curve(Law::leak)),
        line("fitted", Look::Fitted, law.curve(|law, pa| law.permeation + law.leak(pa))),
        line("", Look::Bars, bars.collect()),
        line("", Look::Points(Shape::Dot), dots),
        line("at most", Look::Points(Shape::Below), triangles),
    ];
    Panel {
        heading: species.to_string(),
        y_label: "ppm/h".to_owned(),
        lines: lines.into_iter().filter(|line| !line.points.is_empty()).collect(),
        zero_line: true,
        ..Panel::default()
    }
}

/// The law fitted to the runs of one species, in ppm/h.
struct Law {
    permeation: f64,
    /// Per Pa below the room.
    leak_per_pa: f64,
    span_pa: [f64; 2],
}

impl Law {
    fn of(points: &[&RunPoint]) -> Self {
        let pressures = points.iter().map(|point| point.pressure_difference_pa);
        let [low, high] =
            pressures.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], p| [low.min(p), high.max(p)]);
        // A little beyond the runs, so that those at the ends do not stand on the frame.
        let margin = (0.05 * (high - low)).max(5.0);
        let deepest = points.iter().min_by(|a, b| a.pressure_difference_pa.total_cmp(&b.pressure_difference_pa));
        let leak_per_pa = deepest
            .filter(|point| point.pressure_difference_pa < 0.0)
            .map_or(0.0, |point| point.leak_ppm_per_h / -point.pressure_difference_pa);
        let permeation = points.first().map_or(0.0, |point| point.fitted_ppm_per_h - point.leak_ppm_per_h);
        Self { permeation, leak_per_pa, span_pa: [low - margin, high + margin] }
    }

    fn leak(&self, pressure_pa: f64) -> f64 {
        self.leak_per_pa * (-pressure_pa).max(0.0)
    }

    /// Corner points of a curve against the pressure below the room: the ends and, between them, the room's pressure.
    fn curve(&self, value: impl Fn(&Self, f64) -> f64) -> Vec<(f64, f64)> {
        let [low, high] = self.span_pa;
        let corner = (low < 0.0 && 0.0 < high).then_some(0.0);
        [Some(high), corner, Some(low)].into_iter().flatten().map(|pa| (-pa, value(self, pa))).collect()
    }
}

fn point_in_words(point: &RunPoint) -> String {
    let [value, u] = point.ingress_ppm_per_h;
    let number = |value: f64| display_number(value, 3);
    let at = format!("{} at {} Pa", point.species, number(point.pressure_difference_pa));
    if point.is_bound {
        format!("{at} at most {} ppm/h", number(value + TWO_SIDED_95 * u))
    } else {
        format!(
            "{at} {} ± {} ppm/h, fitted {}",
            number(value),
            number(TWO_SIDED_95 * u),
            number(point.fitted_ppm_per_h)
        )
    }
}
