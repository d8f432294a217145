//! One way of a cause with the onsets it was tried with, and where to try.

use super::{EDGE, ONSETS, ln_sum};
use crate::diagnose::evidence::Fit;
use crate::diagnose::feature::Features;
use crate::diagnose::hypothesis::Hypothesis;
use crate::diagnose::model::Change;

/// One way with all the onsets it was tried with.
#[derive(Debug, Clone)]
pub(super) struct Tried {
    pub(super) hypothesis: Hypothesis,
    /// Onset in h and fit, in order of onset.
    pub(super) fits: Vec<(f64, Fit)>,
    /// Evidence over all onsets.
    pub(super) ln_evidence: f64,
}

impl Tried {
    pub(super) fn best(&self) -> Option<&(f64, Fit)> {
        self.fits.iter().max_by(|a, b| a.1.ln_evidence.total_cmp(&b.1.ln_evidence))
    }

    pub(super) fn insert(&mut self, onset_h: f64, fit: Fit) {
        let at = self.fits.partition_point(|(own, _)| *own < onset_h);
        self.fits.insert(at, (onset_h, fit));
    }

    /// Weights of the onsets: evidence times the time each stands for.
    pub(super) fn ln_weights(&self, end_h: f64) -> Vec<f64> {
        let times: Vec<f64> = self.fits.iter().map(|(onset, _)| *onset).collect();
        let last = times.len().saturating_sub(1);
        let each = self.fits.iter().enumerate().map(|(i, (onset, fit))| {
            let before = if i == 0 { 0.0 } else { 0.5 * (times[i - 1] + onset) };
            let after = if i == last { end_h } else { 0.5 * (times[i + 1] + onset) };
            fit.ln_evidence + ((after - before).max(1e-6) / end_h).ln()
        });
        each.collect()
    }

    pub(super) fn weigh(&mut self, end_h: f64) {
        self.ln_evidence = self.hypothesis.ln_share + ln_sum(&self.ln_weights(end_h));
    }

    pub(super) fn change(&self, onset_h: f64) -> Change {
        Change { effect: self.hypothesis.effect, profile: self.hypothesis.profile, onset_h }
    }
}

/// Evenly spaced onsets, and where the streams have their clearest steps.
pub(super) fn onsets(features: &Features) -> Vec<f64> {
    let end_h = features.duration_h;
    let mut onsets: Vec<f64> =
        (0..ONSETS).map(|k| end_h * (EDGE + (1.0 - 2.0 * EDGE) * k as f64 / (ONSETS as f64 - 1.0) * 0.97)).collect();
    for stream in &features.streams {
        let y: Vec<f64> = stream.rows.iter().map(|row| row.y).collect();
        let Some(at) = clearest_step(&y) else { continue };
        onsets.push(0.5 * (stream.rows[at - 1].time_h + stream.rows[at].time_h));
    }
    onsets.retain(|onset| (EDGE * end_h..(1.0 - EDGE) * end_h).contains(onset));
    onsets.sort_by(f64::total_cmp);
    onsets.dedup_by(|later, earlier| *later - *earlier < 0.12 * features.cell_h);
    onsets
}

/// First index after the split that parts a series best into two levels.
fn clearest_step(y: &[f64]) -> Option<usize> {
    const FEWEST: usize = 2;
    if y.len() < 2 * FEWEST + 1 {
        return None;
    }
    let total: f64 = y.iter().sum();
    let n = y.len() as f64;
    let mut before = 0.0;
    let mut best = (0.0, None);
    for (index, value) in y.iter().enumerate() {
        let k = index as f64;
        if index >= FEWEST && index + FEWEST <= y.len() {
            let apart = before / k - (total - before) / (n - k);
            let score = apart * apart * k * (n - k) / n;
            if score > best.0 {
                best = (score, Some(index));
            }
        }
        before += value;
    }
    best.1
}
