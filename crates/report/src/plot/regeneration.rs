//! The figure of a regeneration.

use tightfit_fit::regeneration::PhaseKind;
use tightfit_quantity::constant::ZERO_CELSIUS_K;

use super::{Axis, Clock, Figure, Line, Look, Panel, Scale, Shade, Span};
use crate::method::regeneration::Run;

const POINTS: usize = 3000;
/// In a cubic metre a second.
const LITRES_PER_MINUTE: f64 = 60_000.0;

/// Temperature, flow and pressure, each with the phase that it shows.
pub(crate) fn figures(run: &Run, clock: &Clock) -> Vec<Figure> {
    let phases: Vec<String> = run
        .evaluation
        .phases
        .iter()
        .map(|phase| {
            let [from, to] = phase.span_s;
            format!("{} from {} to {}", words(phase.kind), clock.moment(from), clock.moment_beside(to, from))
        })
        .collect();
    let series = &run.evaluation.series;
    let panels = [
        panel(run, PhaseKind::Heating, "vessel (°C)", &series.temperature, |k| k - ZERO_CELSIUS_K, run.plateau_k),
        panel(run, PhaseKind::Purge, "flow (L/min)", &series.flow, |flow| flow * LITRES_PER_MINUTE, None),
        panel(run, PhaseKind::Evacuation, "vessel (kPa)", &series.pressure, |pa| pa / 1e3, run.evacuated_below_pa),
    ];
    vec![Figure {
        axis: Axis::Time,
        name: "record".to_owned(),
        title: "Phases of the regeneration".to_owned(),
        caption:
            "Hatched: what counts as heated (rising lines), purged (falling lines) and evacuated (upright lines). \
                  Broken lines are the plateau and the threshold; the pressure is in decades."
                .to_owned(),
        description: format!("Line plots of temperature, flow and pressure. Phases: {}.", phases.join("; ")),
        panels: panels.into_iter().flatten().collect(),
    }]
}

fn panel(
    run: &Run,
    kind: PhaseKind,
    y_label: &str,
    (time_s, value): &(Vec<f64>, Vec<f64>),
    shown: fn(f64) -> f64,
    level: Option<f64>,
) -> Option<Panel> {
    let ends = [*time_s.first()?, *time_s.last()?];
    let mut lines = vec![Line::new("measured", Look::Measured(0), time_s, value.iter().map(|v| shown(*v)), POINTS)];
    lines.extend(level.map(|level| {
        let name = if kind == PhaseKind::Heating { "plateau" } else { "threshold" };
        Line::new(name, Look::Fitted, &ends, [shown(level); 2].into_iter(), 2)
    }));
    let found = run.evaluation.phases.iter().filter(|phase| phase.kind == kind);
    Some(Panel {
        y_label: y_label.to_owned(),
        lines,
        scale: if kind == PhaseKind::Evacuation { Scale::Decades } else { Scale::Linear },
        spans: found
            .map(|phase| Span { range: phase.span_s, label: words(kind).to_owned(), shade: shade(kind) })
            .collect(),
        ..Panel::default()
    })
}

fn words(kind: PhaseKind) -> &'static str {
    match kind {
        PhaseKind::Heating => "heated",
        PhaseKind::Purge => "purged",
        PhaseKind::Evacuation => "evacuated",
    }
}

fn shade(kind: PhaseKind) -> Shade {
    match kind {
        PhaseKind::Heating => Shade::Rising,
        PhaseKind::Purge => Shade::Falling,
        PhaseKind::Evacuation => Shade::Upright,
    }
}
