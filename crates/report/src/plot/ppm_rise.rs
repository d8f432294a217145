//! The figures of a run with purification off: the rise over what it is made of, and what the fit leaves over.

use tightfit_fit::ppm_rise::{PpmRise, Series, Species, SpeciesFit};
use tightfit_quantity::display_number;

use super::{Axis, Clock, Figure, Line, Look, Panel, Shape, Span};

/// Points of one line.
const POINTS: usize = 1500;
/// Parts under this share of the largest would be a hair on paper.
const SEEN: f64 = 0.01;
/// Triangles for readings that are only bounds.
const TRIANGLES: usize = 40;

/// Share of the steady ingress that came through leaks, by species, where a series of runs tells it.
pub(crate) type LeakShares = [Option<f64>; 2];

/// All figures, a panel a species.
pub(crate) fn figures(evaluation: &PpmRise, shares: LeakShares, window: [f64; 2], clock: &Clock) -> Vec<Figure> {
    let species: Vec<Shown<'_>> =
        [(Species::Oxygen, &evaluation.oxygen, shares[0]), (Species::Water, &evaluation.water, shares[1])]
            .into_iter()
            .filter_map(|(species, fit, leak_share)| Some(Shown { species, fit: fit.as_ref()?, leak_share }))
            .collect();
    vec![rise(&species, window, clock), residuals(&species)]
}

struct Shown<'a> {
    species: Species,
    fit: &'a SpeciesFit,
    leak_share: Option<f64>,
}

fn rise(species: &[Shown<'_>], window: [f64; 2], clock: &Clock) -> Figure {
    let evaluated =
        format!("evaluated from {} to {}", clock.moment(window[0]), clock.moment_beside(window[1], window[0]));
    let censored: usize =
        species.iter().map(|shown| shown.fit.rows.used_below_limit + shown.fit.rows.used_above_range).sum();
    let bounds = match censored {
        0 => String::new(),
        n => format!(
            " Of the readings {n} say only that the content lay below the reporting limit or above the range: open triangles \
             at that limit, pointing to where the content lay. They count as bounds, not as numbers."
        ),
    };
    let panels = species.iter().map(|shown| Panel {
        heading: shown.species.to_string(),
        y_label: "ppm".to_owned(),
        lines: [shown.parts(), shown.measured(), shown.fitted(), shown.bounds()].concat(),
        spans: vec![Span::evaluated(window)],
        ..Panel::default()
    });
    let parts = species.iter().map(Shown::parts_in_words).collect::<Vec<_>>().join("; ");
    Figure {
        axis: Axis::Time,
        name: "rise".to_owned(),
        title: "Content with the purifier off, and what it is made of".to_owned(),
        caption: format!(
            "The shaded part under the bracket was {evaluated}. There the parts of the fit lie one on the other: what was \
             there at the start, what came in steadily, what came off the walls.{bounds}"
        ),
        description: format!("Measured and fitted content over stacked parts; {evaluated}; {parts}.{bounds}"),
        panels: panels.collect(),
    }
}

impl Shown<'_> {
    fn series(&self) -> &Series {
        &self.fit.series
    }

    /// The parts with their names, from the bottom up; those that are nothing are left out.
    fn named_parts(&self) -> Vec<(&'static str, usize, Vec<f64>)> {
        let series = self.series();
        let share = |share: f64| series.ingress_part_ppm.iter().map(|ppm| share * ppm).collect::<Vec<f64>>();
        let steady = match self.leak_share {
            Some(leak) => vec![("through leaks", 3, share(leak)), ("through gloves", 1, share(1.0 - leak))],
            None => vec![("leaks and gloves", 1, series.ingress_part_ppm.clone())],
        };
        let start = ("at the start", 0, series.start_part_ppm.clone());
        let rest =
            [("off the walls", 2, series.outgassing_part_ppm.clone()), ("fed in", 0, series.make_up_part_ppm.clone())];
        let largest = |part: &[f64]| part.iter().fold(0.0_f64, |largest, ppm| largest.max(ppm.abs()));
        let all: Vec<_> = std::iter::once(start).chain(steady).chain(rest).collect();
        let scale = all.iter().map(|part| largest(&part.2)).fold(0.0, f64::max);
        all.into_iter().filter(|part| largest(&part.2) > SEEN * scale).collect()
    }

    /// Parts that are somewhere below zero cannot be stacked: they become lines.
    fn parts(&self) -> Vec<Line> {
        let parts = self.named_parts();
        let scale = self.series().fitted_ppm.iter().fold(0.0_f64, |scale, ppm| scale.max(ppm.abs()));
        let stacks = parts.iter().flat_map(|part| &part.2).all(|ppm| *ppm > -0.01 * scale);
        let look = |place: usize, fill| if stacks { Look::Stacked(fill) } else { Look::Measured(1 + place % 3) };
        let line = |(place, (name, fill, ppm)): (usize, (&str, usize, Vec<f64>))| {
            let ppm = ppm.into_iter().map(|ppm| if stacks { ppm.max(0.0) } else { ppm });
            Line::new(name, look(place, fill), &self.series().time_s, ppm, POINTS)
        };
        parts.into_iter().enumerate().map(line).collect()
    }

    fn parts_in_words(&self) -> String {
        let end = |part: &[f64]| {
            part.last().map_or_else(|| "nothing".to_owned(), |ppm| format!("{} ppm", display_number(*ppm, 3)))
        };
        let parts: Vec<String> =
            self.named_parts().iter().map(|(name, _, ppm)| format!("{} {name}", end(ppm))).collect();
        let [low, high] = range(self.series().record_ppm.iter().copied());
        let parts = if parts.is_empty() { String::new() } else { format!("; at its end {}", parts.join(", ")) };
        format!("{} from {} to {} ppm{parts}", self.species, display_number(low, 3), display_number(high, 3))
    }

    /// The record in pieces, without the stretches whose readings are only bounds.
    fn measured(&self) -> Vec<Line> {
        let series = self.series();
        let is_bound = |time: f64| {
            let [Some(first), Some(last)] = [series.time_s.first(), series.time_s.last()] else { return false };
            let next = series.time_s.partition_point(|t| *t < time).min(series.time_s.len() - 1);
            let nearest =
                if next > 0 && time - series.time_s[next - 1] < series.time_s[next] - time { next - 1 } else { next };
            let within = *first - 1.0 <= time && time <= *last + 1.0;
            within && series.censored.get(nearest).copied().unwrap_or(false)
        };
        let record: Vec<(f64, f64)> =
            series.record_time_s.iter().copied().zip(series.record_ppm.iter().copied()).collect();
        let pieces = record.chunk_by(|a, b| is_bound(a.0) == is_bound(b.0)).filter(|piece| !is_bound(piece[0].0));
        let mut lines: Vec<Line> = pieces
            .map(|piece| {
                let times: Vec<f64> = piece.iter().map(|point| point.0).collect();
                Line::new("", Look::Measured(0), &times, piece.iter().map(|point| point.1), POINTS)
            })
            .collect();
        // The name goes to the piece that ends at the right.
        if let Some(last) = lines.last_mut() {
            "measured".clone_into(&mut last.label);
        }
        lines
    }

    fn fitted(&self) -> Vec<Line> {
        let series = self.series();
        vec![Line::new("fitted", Look::Fitted, &series.time_s, series.fitted_ppm.iter().copied(), POINTS)]
    }

    /// Readings that are only bounds, as triangles that point to where the content lay.
    fn bounds(&self) -> Vec<Line> {
        let (series, rows) = (self.series(), &self.fit.rows);
        let bounds: Vec<(f64, f64)> = (series.time_s.iter().zip(&series.reading_ppm).zip(&series.censored))
            .filter(|(_, censored)| **censored)
            .map(|((time, ppm), _)| (*time, *ppm))
            .collect();
        // Where both kinds occur the reporting limit is the lower one of the two levels.
        let [low, high] = range(bounds.iter().map(|point| point.1));
        let is_below = |ppm: f64| match (rows.used_below_limit, rows.used_above_range) {
            (_, 0) => true,
            (0, _) => false,
            _ => ppm < 0.5 * (low + high),
        };
        let line = |name, shape, below: bool| {
            let (times, values): (Vec<f64>, Vec<f64>) =
                bounds.iter().filter(|point| is_below(point.1) == below).copied().unzip();
            Line::new(name, Look::Points(shape), &times, values.into_iter(), TRIANGLES)
        };
        let lines = [line("below the limit", Shape::Below, true), line("above the range", Shape::Above, false)];
        lines.into_iter().filter(|line| !line.points.is_empty()).collect()
    }
}

fn residuals(species: &[Shown<'_>]) -> Figure {
    let of = |shown: &Shown<'_>| -> (Vec<f64>, Vec<f64>) {
        let series = shown.series();
        (series.time_s.iter().zip(&series.residual_ppm).zip(&series.censored))
            .filter(|(_, censored)| !**censored)
            .map(|((time, ppm), _)| (*time, *ppm))
            .unzip()
    };
    let panels = species.iter().map(|shown| {
        let (times, values) = of(shown);
        Panel {
            heading: shown.species.to_string(),
            y_label: "residual (ppm)".to_owned(),
            lines: vec![Line::new("", Look::Measured(0), &times, values.into_iter(), POINTS)],
            zero_line: true,
            ..Panel::default()
        }
    });
    let words = species.iter().map(|shown| {
        let [low, high] = range(of(shown).1.into_iter());
        format!("{} from {} to {} ppm", shown.species, display_number(low, 2), display_number(high, 2))
    });
    Figure {
        axis: Axis::Time,
        name: "residuals".to_owned(),
        title: "Residuals of the fit".to_owned(),
        caption: "Reading less fit, means over short stretches. Slow waves are correlated noise; the interval allows for them."
            .to_owned(),
        description: format!("Line plots of residuals: {}.", words.collect::<Vec<_>>().join(", ")),
        panels: panels.collect(),
    }
}

fn range(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| [low.min(value), high.max(value)])
}
