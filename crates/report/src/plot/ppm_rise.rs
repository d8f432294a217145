//! The figures of a run with purification off.

use tightfit_fit::ppm_rise::{PpmRise, Species, SpeciesFit};

use super::{Axis, Clock, Figure, Line, Look, Panel, Span};

/// Points of one line.
const POINTS: usize = 1500;

/// All figures: rise with fit, parts, residuals, a panel a species.
pub(crate) fn figures(evaluation: &PpmRise, window: [f64; 2], clock: &Clock) -> Vec<Figure> {
    let species: Vec<(Species, &SpeciesFit)> =
        [(Species::Oxygen, &evaluation.oxygen), (Species::Water, &evaluation.water)]
            .into_iter()
            .filter_map(|(species, fit)| Some((species, fit.as_ref()?)))
            .collect();
    vec![rise(&species, window, clock), parts(&species), residuals(&species)]
}

fn rise(species: &[(Species, &SpeciesFit)], window: [f64; 2], clock: &Clock) -> Figure {
    let evaluated =
        format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    let censored: usize = species.iter().map(|(_, fit)| fit.rows.used_below_limit + fit.rows.used_above_range).sum();
    let bounds = match censored {
        0 => String::new(),
        n => format!(
            " {n} readings only say below the reporting limit or above the range; they are drawn at that limit and counted as bounds."
        ),
    };
    let panels = species.iter().map(|(species, fit)| {
        let series = &fit.series;
        Panel {
            heading: species.to_string(),
            y_label: "ppm".to_owned(),
            lines: vec![
                Line::new(
                    "measured",
                    Look::Measured(0),
                    &series.record_time_s,
                    series.record_ppm.iter().copied(),
                    POINTS,
                ),
                Line::new("fitted", Look::Fitted, &series.time_s, series.fitted_ppm.iter().copied(), POINTS),
            ],
            spans: vec![Span::evaluated(window)],
            ..Panel::default()
        }
    });
    Figure {
        axis: Axis::Time,
        name: "rise".to_owned(),
        title: "Content with the purifier off".to_owned(),
        caption: format!("The shaded part under the bracket was {evaluated}.{bounds}"),
        description: format!(
            "Line plots: {}; {evaluated}.{bounds}",
            ranges(species, |fit| &fit.series.record_ppm, "ppm")
        ),
        panels: panels.collect(),
    }
}

fn parts(species: &[(Species, &SpeciesFit)]) -> Figure {
    let panels = species.iter().map(|(species, fit)| {
        let series = &fit.series;
        let line = |label, number, values: &[f64]| {
            Line::new(label, Look::Measured(number), &series.time_s, values.iter().copied(), POINTS)
        };
        let lines = vec![
            line("leaks, gloves", 0, &series.ingress_part_ppm),
            line("off the walls", 1, &series.outgassing_part_ppm),
            line("fed in", 2, &series.make_up_part_ppm),
        ];
        let seen = |line: &Line| line.points.iter().any(|(_, value)| value.abs() > 1e-9);
        Panel {
            heading: species.to_string(),
            y_label: "ppm".to_owned(),
            lines: lines.into_iter().filter(seen).collect(),
            zero_line: true,
            ..Panel::default()
        }
    });
    Figure {
        axis: Axis::Time,
        name: "parts".to_owned(),
        title: "What the rise is made of".to_owned(),
        caption:
            "What came in steadily through leaks and gloves, what came off the walls and what was fed in, as the fit \
                  tells them apart."
                .to_owned(),
        description: format!(
            "Line plots of the parts of the fit: {}.",
            ranges(species, |fit| &fit.series.ingress_part_ppm, "ppm through leaks and gloves")
        ),
        panels: panels.collect(),
    }
}

fn residuals(species: &[(Species, &SpeciesFit)]) -> Figure {
    let panels = species.iter().map(|(species, fit)| Panel {
        heading: species.to_string(),
        y_label: "residual (ppm)".to_owned(),
        lines: vec![Line::new(
            "",
            Look::Measured(0),
            &fit.series.time_s,
            fit.series.residual_ppm.iter().copied(),
            POINTS,
        )],
        zero_line: true,
        ..Panel::default()
    });
    Figure {
        axis: Axis::Time,
        name: "residuals".to_owned(),
        title: "Residuals of the fit".to_owned(),
        caption: "What the fit leaves over. Slow waves are correlated noise; the interval allows for them.".to_owned(),
        description: format!("Line plots of residuals: {}.", ranges(species, |fit| &fit.series.residual_ppm, "ppm")),
        panels: panels.collect(),
    }
}

fn ranges(species: &[(Species, &SpeciesFit)], values: impl Fn(&SpeciesFit) -> &Vec<f64>, unit: &str) -> String {
    let range = |(species, fit): &(Species, &SpeciesFit)| {
        let values = values(fit).iter().copied();
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        format!("{species} from {low:.3} to {high:.3} {unit}")
    };
    species.iter().map(range).collect::<Vec<_>>().join(", ")
}
