//! From plateaus and steps to errors and response.

use super::plateau::{Plateau, readings_ppm};
use super::response::{Response, T90_OVER_TAU, of_step};
use super::{Note, Step};
use crate::Estimate;
use crate::estimate::{BudgetLine, Kind};
use crate::noise::mean_and_standard_deviation;
use crate::ppm_rise::{ReadingStatus, Trace};
use crate::simulate::Random;
use crate::uncertainty::Distribution;

const PPM: f64 = 1e6;
/// Means of so many parts of a plateau tell how far its mean is uncertain, whatever the correlation within the parts.
const PARTS: usize = 10;
const DRAWS: usize = 4000;

/// An analyser check, evaluated.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyserCheck {
    /// Reading minus content at the least content stated, ppm.
    pub zero_error: Option<Estimate>,
    /// Reading minus content at the largest content stated, zero error included, ppm.
    pub span_error: Option<Estimate>,
    /// Time after which the reading has covered 90 % of a step, dead time not counted, s.
    pub response_t90: Option<Estimate>,
    /// Content of the gas that gave the span error, ppm.
    pub span_content_ppm: Option<f64>,
    /// The plateaus in the order of time.
    pub plateaus: Vec<FoundPlateau>,
    /// What must be known to read the results.
    pub notes: Vec<Note>,
    /// For plots.
    pub series: Series,
}

/// A plateau: a reference gas was given and the reading had settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundPlateau {
    /// Settled part, s.
    pub span_s: [f64; 2],
    /// Content of the gas, ppm.
    pub content_ppm: f64,
    /// Mean reading, ppm.
    pub reading_ppm: f64,
}

/// Curves for plots, thinned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Times, s.
    pub time_s: Vec<f64>,
    /// Readings, ppm.
    pub ppm: Vec<f64>,
}

/// Mean of the settled part of a plateau.
struct Mean {
    plateau: Plateau,
    content_ppm: f64,
    content_uncertainty_ppm: f64,
    span_s: [f64; 2],
    reading_ppm: f64,
    uncertainty_ppm: f64,
    degrees_of_freedom: f64,
    is_below_limit: bool,
    /// Whether part of its readings lies above the range.
    is_above_range: bool,
    is_settled: bool,
}

pub(super) fn summarise(trace: &Trace<'_>, steps: &[Step], plateaus: &[Plateau]) -> AnalyserCheck {
    let (ppm, noise_ppm) = readings_ppm(trace);
    let time_s = trace.samples.time_s();
    let cadence_s = trace.samples.cadence_s();
    let responses: Vec<Option<Response>> =
        plateaus.windows(2).map(|pair| of_step(time_s, &ppm, &pair[0], &pair[1], noise_ppm, cadence_s)).collect();
    let means: Vec<Mean> = plateaus
        .iter()
        .enumerate()
        .map(|(index, plateau)| {
            let response = index.checked_sub(1).and_then(|before| responses[before].as_ref());
            let next = responses.get(index).and_then(Option::as_ref);
            let end_s = next.map_or(f64::INFINITY, |next| next.onset_s - cadence_s);
            // The next step may begin before the reading is nearer to its gas than to this one.
            let last = plateau.last.min(time_s.partition_point(|t| *t < end_s).saturating_sub(1)).max(plateau.first);
            let plateau = Plateau { last, ..*plateau };
            mean(trace, &ppm, noise_ppm, &plateau, &steps[plateau.step], response)
        })
        .collect();
    let contents = || means.iter().map(|mean| mean.content_ppm);
    let (least, largest) = (contents().fold(f64::INFINITY, f64::min), contents().fold(f64::NEG_INFINITY, f64::max));
    let at = |content: f64| -> Vec<&Mean> {
        means.iter().filter(|mean| (mean.content_ppm - content).abs() <= 1e-9 * largest.abs()).collect()
    };
    let one = largest - least <= 1e-9 * largest.abs();
    let zero_error = (!one || least <= 0.0).then(|| error(&at(least), trace));
    let span_error = (!one || least > 0.0).then(|| error(&at(largest), trace));
    let mut notes = Vec::new();
    if one {
        notes.push(Note::OneContent);
    }
    let response_t90 = response(&responses, cadence_s, &mut notes);
    for (what, estimate, stated_ppm) in [
        ("zero error", &zero_error, PPM * trace.analyser.zero),
        ("span error", &span_error, (PPM * trace.analyser.zero).hypot(trace.analyser.scale * largest)),
    ] {
        if let Some(estimate) = estimate.as_ref().filter(|e| stated_ppm > 0.0 && e.kind == Kind::Estimate) {
            notes.push(Note::AgainstStated { what, ratio: estimate.value.abs() / stated_ppm });
        }
    }
    if let (Some(zero), Some(span)) = (&zero_error, &span_error) {
        let ppm = span.value - zero.value;
        notes.push(Note::SpanBeyondZero { ppm, relative: ppm / (largest - least) });
    }
    for content in [least, largest].into_iter().take(if one { 1 } else { 2 }) {
        note_plateaus(&at(content), content, &mut notes);
    }
    AnalyserCheck {
        zero_error,
        span_content_ppm: span_error.as_ref().map(|_| largest),
        span_error,
        response_t90,
        plateaus: means
            .iter()
            .map(|m| FoundPlateau { span_s: m.span_s, content_ppm: m.content_ppm, reading_ppm: m.reading_ppm })
            .collect(),
        notes,
        series: series(time_s, &ppm),
    }
}

fn mean(
    trace: &Trace<'_>,
    ppm: &[f64],
    noise_ppm: f64,
    plateau: &Plateau,
    step: &Step,
    response: Option<&Response>,
) -> Mean {
    let time_s = trace.samples.time_s();
    // So many time constants bring the rest of the step under a twentieth of the noise.
    let settling_s = response.map_or(time_s[plateau.first], |response| {
        let constants = (response.jump_ppm.abs() / (0.05 * noise_ppm)).ln().clamp(5.0, 20.0);
        response.onset_s + constants * response.best_s
    });
    let settled = time_s.partition_point(|t| *t < settling_s).max(plateau.first);
    // A plateau that ends before that is taken from its last third, and said to be moving.
    let is_settled = settled + 5 <= plateau.last;
    let first = if is_settled { settled } else { plateau.last - (plateau.last - plateau.first) / 3 };
    let part = &ppm[first..=plateau.last];
    let (reading_ppm, mut uncertainty_ppm, degrees_of_freedom) = mean_of_parts(part);
    let step_ppm = PPM * trace.analyser.resolution;
    if noise_ppm < 0.45 * step_ppm {
        uncertainty_ppm = uncertainty_ppm.hypot(step_ppm / 12.0_f64.sqrt());
    }
    let count = |status| (first..=plateau.last).filter(|i| trace.status_of(*i) == status).count();
    Mean {
        plateau: *plateau,
        content_ppm: PPM * step.content.value,
        content_uncertainty_ppm: PPM * step.content.standard_uncertainty,
        span_s: [time_s[first], time_s[plateau.last]],
        reading_ppm,
        uncertainty_ppm,
        degrees_of_freedom,
        is_below_limit: 2 * count(ReadingStatus::BelowLimit) > part.len(),
        is_above_range: count(ReadingStatus::AboveRange) > 0,
        is_settled,
    }
}

/// Mean, its standard uncertainty from the means of parts, and degrees of freedom.
fn mean_of_parts(values: &[f64]) -> (f64, f64, f64) {
    let parts = (values.len() / 3).clamp(2, PARTS).min(values.len());
    let means: Vec<f64> = (0..parts)
        .map(|part| {
            let range = part * values.len() / parts..(part + 1) * values.len() / parts;
            mean_and_standard_deviation(&values[range]).0
        })
        .collect();
    let deviation = mean_and_standard_deviation(&means).1;
    (mean_and_standard_deviation(values).0, deviation / (parts as f64).sqrt(), (parts - 1) as f64)
}

/// Reading minus content, averaged over the plateaus of one gas; where they differ, by half of that uncertain.
fn error(means: &[&Mean], trace: &Trace<'_>) -> Estimate {
    let count = means.len() as f64;
    let errors: Vec<f64> = means.iter().map(|mean| mean.reading_ppm - mean.content_ppm).collect();
    let (value, between) = mean_and_standard_deviation(&errors);
    let of_noise = means.iter().map(|mean| mean.uncertainty_ppm.powi(2)).sum::<f64>().sqrt() / count;
    let of_noise = of_noise.max(between / count.sqrt());
    let of_gas = means.iter().map(|mean| mean.content_uncertainty_ppm).fold(0.0, f64::max);
    let degrees: f64 = means.iter().map(|mean| mean.degrees_of_freedom).sum();
    let budget =
        vec![BudgetLine::new("reference gas", of_gas), BudgetLine::new("noise and drift of the readings", of_noise)];
    let distribution = Distribution::student(value, of_noise, degrees).with_normal_error(of_gas);
    let mut estimate = Estimate::from_distribution(distribution, budget);
    if means.iter().all(|mean| mean.is_below_limit) {
        let content_ppm = means.first().map_or(0.0, |mean| mean.content_ppm);
        let limit_ppm = PPM * trace.analyser.reporting_limit.unwrap_or(value / PPM);
        estimate = Estimate::from_distribution(
            Distribution::normal(limit_ppm - content_ppm, of_gas),
            vec![BudgetLine::new("reference gas", of_gas)],
        );
        estimate = estimate.into_upper_bound();
    } else if means.iter().any(|mean| mean.is_above_range) {
        estimate = estimate.into_lower_bound();
    }
    estimate
}

/// t90 over all steps. Steps that differ by more than they can tell count with what they differ by.
fn response(responses: &[Option<Response>], cadence_s: f64, notes: &mut Vec<Note>) -> Option<Estimate> {
    let found: Vec<&Response> = responses.iter().flatten().collect();
    if found.is_empty() {
        notes.push(Note::NoStep);
        return None;
    }
    let resolved: Vec<&Response> = found.iter().copied().filter(|response| !response.may_be_immediate).collect();
    if resolved.is_empty() {
        notes.push(Note::ResponseFasterThanReadings { cadence_s });
        return Some(fastest_bound(&found));
    }
    let moments: Vec<(f64, f64)> = resolved.iter().map(|response| response.t90()).collect();
    let weights: Vec<f64> = moments.iter().map(|(_, u)| 1.0 / (u * u).max(1e-12)).collect();
    let total: f64 = weights.iter().sum();
    let value = moments.iter().zip(&weights).map(|((t90, _), w)| w * t90).sum::<f64>() / total;
    let chi_squared: f64 = moments.iter().zip(&weights).map(|((t90, _), w)| w * (t90 - value).powi(2)).sum();
    let degrees = (moments.len() - 1) as f64;
    let differs = moments.len() > 1 && chi_squared > 4.0 * degrees.max(1.0);
    if differs {
        // The steps are of different speed: their plain mean, and the spread between them.
        let values: Vec<f64> = moments.iter().map(|(t90, _)| *t90).collect();
        let (mean, spread) = mean_and_standard_deviation(&values);
        let ends = values.iter().fold([f64::INFINITY, 0.0_f64], |[a, b], v| [a.min(*v), b.max(*v)]);
        notes.push(Note::StepsDiffer { fastest_s: ends[0], slowest_s: ends[1] });
        let budget = vec![BudgetLine::new("differences between steps", spread)];
        return Some(Estimate::from_distribution(Distribution::student(mean, spread, degrees.max(1.0)), budget));
    }
    let mut random = Random::new(0x5439);
    let draws = (0..DRAWS)
        .map(|_| {
            resolved.iter().zip(&weights).map(|(response, weight)| weight * response.draw(&mut random)).sum::<f64>()
                / total
        })
        .collect();
    let distribution = Distribution::from_draws(draws);
    let budget = vec![BudgetLine::new("noise and time between readings", distribution.standard_deviation())];
    Some(Estimate::from_distribution(distribution, budget))
}

/// The step that bounds the response most.
fn fastest_bound(found: &[&Response]) -> Estimate {
    let upper_s = found.iter().map(|response| T90_OVER_TAU * response.largest_s).fold(f64::INFINITY, f64::min);
    Estimate::from_distribution(Distribution::normal(upper_s, 0.0), Vec::new()).into_upper_bound()
}

impl Response {
    /// Mean and standard deviation of t90, s.
    fn t90(&self) -> (f64, f64) {
        let pairs = || self.tau_s.iter().zip(&self.probability);
        let mean: f64 = pairs().map(|(tau, p)| p * tau).sum();
        let variance: f64 = pairs().map(|(tau, p)| p * (tau - mean).powi(2)).sum();
        (T90_OVER_TAU * mean, T90_OVER_TAU * variance.sqrt())
    }

    fn draw(&self, random: &mut Random) -> f64 {
        let mut left = random.uniform(0.0, 1.0);
        for index in 0..self.tau_s.len() {
            if left < self.probability[index] {
                // Anywhere within the cell of the grid.
                let next = self.tau_s.get(index + 1).copied().unwrap_or(self.tau_s[index]);
                let inside = left / self.probability[index] - 0.5;
                return T90_OVER_TAU * (self.tau_s[index] + inside * (next - self.tau_s[index]));
            }
            left -= self.probability[index];
        }
        T90_OVER_TAU * self.tau_s[self.tau_s.len() - 1]
    }
}

fn note_plateaus(means: &[&Mean], content_ppm: f64, notes: &mut Vec<Note>) {
    if means.iter().any(|mean| !mean.is_settled) {
        notes.push(Note::NotSettled { content_ppm });
    }
    if means.iter().all(|mean| mean.is_below_limit) {
        notes.push(Note::ZeroBelowLimit);
    }
    if means.iter().any(|mean| mean.is_above_range) {
        notes.push(Note::AboveRange { content_ppm });
    }
    if let (Some(first), Some(last)) = (means.first(), means.last())
        && first.plateau != last.plateau
    {
        notes.push(Note::Drift {
            content_ppm,
            ppm: last.reading_ppm - first.reading_ppm,
            uncertainty_ppm: first.uncertainty_ppm.hypot(last.uncertainty_ppm),
            seconds: last.span_s[0] - first.span_s[1],
        });
    }
}

fn series(time_s: &[f64], ppm: &[f64]) -> Series {
    let stride = time_s.len().div_ceil(4000);
    Series {
        time_s: time_s.iter().step_by(stride).copied().collect(),
        ppm: ppm.iter().step_by(stride).copied().collect(),
    }
}
