//! The figures of a diagnosis: floors and rises, and what the purifier does, over time.

use tightfit_fit::diagnose::{Diagnosis, Kind, Species};

use super::{Axis, Figure, Line, Look, Panel, Scale, Shade, Shape, Span};
use crate::diagnose::{letters, name};

const MINUTES_PER_HOUR: f64 = 60.0;
const SECONDS_PER_HOUR: f64 = 3600.0;

/// Content, and purifier with habits.
pub(crate) fn figures(diagnosis: &Diagnosis) -> Vec<Figure> {
    vec![content(diagnosis), purifier(diagnosis)]
}

fn content(diagnosis: &Diagnosis) -> Figure {
    let kinds = Species::BOTH.iter().flat_map(|species| {
        [
            (Kind::Floor(*species), format!("{} with the purifier running", letters(*species)), "ppm"),
            (Kind::Rise(*species), format!("rise of {} with the purifier off", letters(*species)), "ppm/h"),
        ]
    });
    let panels = kinds.filter_map(|(kind, heading, unit)| panel(diagnosis, kind, heading, unit, |v| v)).collect();
    figure(diagnosis, "content", "Oxygen and water over the log", panels)
}

fn purifier(diagnosis: &Diagnosis) -> Figure {
    let mut panels: Vec<Panel> = Vec::new();
    for species in Species::BOTH {
        let heading = format!("time constant of {} after a dose", letters(species));
        panels.extend(panel(diagnosis, Kind::Decay(species), heading, "min", |rate| MINUTES_PER_HOUR / rate));
    }
    panels.extend(panel(diagnosis, Kind::Flow, "circulation flow".to_owned(), "m³/h", |flow| SECONDS_PER_HOUR * flow));
    panels.extend(panel(diagnosis, Kind::Makeup, "make-up flow, mean of a day".to_owned(), "m³/h", |v| v));
    panels.extend(panel(diagnosis, Kind::TransferCount, "transfers".to_owned(), "1/day", |v| v));
    figure(diagnosis, "purifier", "Purifier, gas and transfers over the log", panels)
}

fn figure(diagnosis: &Diagnosis, figure: &str, title: &str, panels: Vec<Panel>) -> Figure {
    let leader = diagnosis.explanations.first();
    let began = leader.and_then(|leader| leader.began_s).is_some();
    let caption = match leader {
        Some(leader) if began => format!(
            "Each point gathers an hour to a day. The shaded stretch is where the leading explanation ({}) began, 95 %.",
            name(leader.cause)
        ),
        _ => "Each point gathers an hour to a day.".to_owned(),
    };
    Figure {
        name: figure.to_owned(),
        title: title.to_owned(),
        description: format!("Points over time in {} panels, one a quantity. {caption}", panels.len()),
        caption,
        axis: Axis::Time,
        panels,
    }
}

fn panel(diagnosis: &Diagnosis, kind: Kind, heading: String, unit: &str, map: impl Fn(f64) -> f64) -> Option<Panel> {
    let (_, points) = diagnosis.points.iter().find(|(own, _)| *own == kind)?;
    let points: Vec<(f64, f64)> = points.iter().map(|(time, value)| (*time, map(*value))).collect();
    let began = diagnosis.explanations.first().and_then(|leader| leader.began_s);
    let spans = began.map(|range| Span { range, label: "began".to_owned(), shade: Shade::Plain });
    let positive = points.iter().all(|(_, value)| *value > 0.0);
    let (low, high) = points.iter().fold((f64::INFINITY, 0.0_f64), |(low, high), (_, v)| (low.min(*v), high.max(*v)));
    Some(Panel {
        heading,
        y_label: unit.to_owned(),
        lines: vec![Line { label: String::new(), points, look: Look::Points(Shape::Dot) }],
        scale: if positive && high > 20.0 * low { Scale::Decades } else { Scale::Linear },
        spans: spans.into_iter().collect(),
        ..Panel::default()
    })
}
