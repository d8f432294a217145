//! A level that changes by independent steps.

use super::Series;

/// Level and its variance after each value.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Filtered {
    pub(super) diffusion_per_s: f64,
    mean: Vec<f64>,
    variance: Vec<f64>,
}

pub(super) fn filter(series: &Series, white_variance: f64, diffusion_per_s: f64) -> Filtered {
    let (mut mean, mut variance) = (Vec::with_capacity(series.len()), Vec::with_capacity(series.len()));
    for index in 0..series.len() {
        let noise = white_variance / series.readings[index];
        if index == 0 {
            mean.push(series.value[0]);
            variance.push(noise);
            continue;
        }
        let predicted = variance[index - 1] + diffusion_per_s * series.step_s(index);
        let gain = if predicted + noise > 0.0 { predicted / (predicted + noise) } else { 0.0 };
        mean.push(mean[index - 1] + gain * (series.value[index] - mean[index - 1]));
        variance.push((1.0 - gain) * predicted);
    }
    Filtered { diffusion_per_s, mean, variance }
}

impl Filtered {
    pub(super) fn backward(&self, series: &Series, mut deviate: impl FnMut() -> f64) -> Vec<f64> {
        let last = series.len() - 1;
        let mut path = vec![0.0; series.len()];
        path[last] = self.mean[last] + self.variance[last].sqrt() * deviate();
        for index in (0..last).rev() {
            let sum = self.variance[index] + self.diffusion_per_s * series.step_s(index + 1);
            let gain = if sum > 0.0 { self.variance[index] / sum } else { 1.0 };
            let mean = self.mean[index] + gain * (path[index + 1] - self.mean[index]);
            path[index] = mean + (self.variance[index] * (1.0 - gain)).max(0.0).sqrt() * deviate();
        }
        path
    }
}

/// Variance of one reading and log-likelihood, for a diffusion given per unit of that variance.
pub(super) fn concentrated(series: &Series, diffusion: f64) -> (f64, f64) {
    if series.len() < 3 {
        return (0.0, f64::NEG_INFINITY);
    }
    let (mut mean, mut variance) = (series.value[0], 1.0 / series.readings[0]);
    let (mut squares, mut log_determinant) = (0.0, 0.0);
    for index in 1..series.len() {
        let predicted = variance + diffusion * series.step_s(index);
        let total = predicted + 1.0 / series.readings[index];
        let error = series.value[index] - mean;
        squares += error * error / total;
        log_determinant += total.ln();
        let gain = predicted / total;
        mean += gain * error;
        variance = (1.0 - gain) * predicted;
    }
    let degrees = (series.len() - 1) as f64;
    let white = squares / degrees;
    if white <= 0.0 {
        return (0.0, f64::NEG_INFINITY);
    }
    (white, -0.5 * (degrees * white.ln() + log_determinant))
}
