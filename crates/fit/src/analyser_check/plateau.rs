//! Stretches in which a reference gas was given.

use super::Step;
use crate::noise::scatter;
use crate::ppm_rise::Trace;

const PPM: f64 = 1e6;
const LEAST_READINGS: usize = 5;
/// What is shorter than this share of the longest stretch is a passage between two gases.
const LEAST_SHARE: f64 = 0.1;

/// Readings given to one gas, the passage at the start included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plateau {
    pub(super) first: usize,
    pub(super) last: usize,
    /// Which of the stated gases.
    pub(super) step: usize,
}

/// The plateaus in the order of time.
pub(super) fn find(trace: &Trace<'_>, steps: &[Step]) -> Vec<Plateau> {
    let mut found: Vec<Plateau> =
        steps.iter().enumerate().filter_map(|(index, step)| stated(trace, index, step)).collect();
    if found.is_empty() {
        found = by_reading(trace, steps);
    }
    found.sort_by_key(|plateau| plateau.first);
    found
}

fn stated(trace: &Trace<'_>, step: usize, stated: &Step) -> Option<Plateau> {
    let [from_s, to_s] = stated.span_s?;
    let time = trace.samples.time_s();
    let (first, end) = (time.partition_point(|t| *t < from_s), time.partition_point(|t| *t <= to_s));
    (end >= first + LEAST_READINGS).then(|| Plateau { first, last: end - 1, step })
}

/// Every reading belongs to the gas whose content is nearest; short stretches are passages.
fn by_reading(trace: &Trace<'_>, steps: &[Step]) -> Vec<Plateau> {
    let nearest = |reading: f64| {
        let distance = |step: &Step| (step.content.value - reading).abs();
        (0..steps.len()).min_by(|a, b| distance(&steps[*a]).total_cmp(&distance(&steps[*b]))).unwrap_or(0)
    };
    let value = trace.samples.value();
    let mut runs: Vec<Plateau> = Vec::new();
    for (index, reading) in value.iter().enumerate() {
        // The median of three, so that a spike does not cut a plateau in two.
        let around = &value[index.saturating_sub(1)..(index + 2).min(value.len())];
        let calm = if around.len() == 3 { middle(around) } else { *reading };
        // Of two steps with one content the first stands for both.
        let step = nearest(calm);
        match runs.last_mut() {
            Some(run) if run.step == step => run.last = index,
            _ => runs.push(Plateau { first: index, last: index, step }),
        }
    }
    let length = |run: &Plateau| run.last + 1 - run.first;
    let longest = runs.iter().map(length).max().unwrap_or(0);
    let least = LEAST_READINGS.max((LEAST_SHARE * longest as f64) as usize);
    let mut kept: Vec<Plateau> = Vec::new();
    for run in runs {
        match kept.last_mut() {
            // A short passage belongs to the plateau that follows it, so its rise is kept.
            _ if length(&run) < least => {}
            Some(before) if before.step == run.step => before.last = run.last,
            Some(before) => {
                let first = before.last + 1;
                kept.push(Plateau { first, ..run });
            }
            None => kept.push(run),
        }
    }
    kept
}

fn middle(three: &[f64]) -> f64 {
    let (a, b, c) = (three[0], three[1], three[2]);
    a.min(b).max(a.max(b).min(c))
}

/// Readings in ppm and the noise of a single one.
pub(super) fn readings_ppm(trace: &Trace<'_>) -> (Vec<f64>, f64) {
    let ppm: Vec<f64> = trace.samples.value().iter().map(|value| PPM * value).collect();
    let noise = scatter(&ppm).max(PPM * trace.analyser.resolution / 12.0_f64.sqrt());
    (ppm, noise)
}
