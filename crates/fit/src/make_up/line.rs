//! Slope of a running total with noise that remembers: a mixture over the memory and size of the noise.

use crate::noise::{NoiseModel, OrnsteinUhlenbeck, whiten};
use crate::uncertainty::Distribution;

/// Distribution of the slope; `None` for fewer than four points.
///
/// Noise is white plus an Ornstein-Uhlenbeck part; start, slope and size of the noise are integrated out (flat, flat,
/// Jeffreys), ratio and memory of the parts averaged over a grid.
pub(super) fn slope(time_s: &[f64], readings: &[f64], total: &[f64]) -> Option<Distribution> {
    let n = time_s.len();
    if n < 4 {
        return None;
    }
    let span_s = time_s[n - 1] - time_s[0];
    // Scaled so that neither span nor size of the total matters to the sums.
    let (from, size) = (total[0], (total[n - 1] - total[0]).abs().max(1e-300));
    let rows: Vec<f64> =
        (0..n).flat_map(|i| [1.0, (time_s[i] - time_s[0]) / span_s, (total[i] - from) / size]).collect();
    let mut parts = Vec::new();
    let dof = n as f64 - 2.0;
    for memory in [0.003, 0.01, 0.03, 0.1, 0.3, 1.0] {
        for ratio in [0.0, 0.3, 3.0, 30.0, 300.0] {
            if ratio == 0.0 && memory > 0.003 {
                continue;
            }
            let noise = NoiseModel {
                white_variance: 1.0,
                correlated: [OrnsteinUhlenbeck { variance: ratio, memory_s: memory * span_s }, OrnsteinUhlenbeck::NONE],
            };
            let whitened = whiten(time_s, readings, &rows, 3, &noise);
            let g = &whitened.gram;
            let determinant = g[0] * g[4] - g[1] * g[1];
            if !(determinant > 0.0) {
                continue;
            }
            let slope = (g[0] * g[5] - g[1] * g[2]) / determinant;
            let start = (g[4] * g[2] - g[1] * g[5]) / determinant;
            let squares = (g[8] - start * g[2] - slope * g[5]).max(1e-26 * g[8]).max(1e-300);
            let scale = (squares / dof * g[0] / determinant).sqrt();
            let prior = if ratio == 0.0 { 0.2_f64 } else { 0.8 / 24.0 };
            let log_weight = prior.ln() - 0.5 * (whitened.log_determinant + determinant.ln() + dof * squares.ln());
            parts.push((slope, scale, log_weight));
        }
    }
    let top = parts.iter().map(|part| part.2).fold(f64::NEG_INFINITY, f64::max);
    let mut kept: Vec<(Distribution, f64)> = parts
        .iter()
        .map(|(slope, scale, weight)| (Distribution::student(*slope, *scale, dof), (weight - top).exp()))
        .filter(|(_, weight)| *weight > 1e-4)
        .collect();
    let sum: f64 = kept.iter().map(|(_, weight)| weight).sum();
    for (_, weight) in &mut kept {
        *weight /= sum;
    }
    Some(mixed(&kept).scaled(size / span_s))
}

fn mixed(parts: &[(Distribution, f64)]) -> Distribution {
    if let [(only, _)] = parts {
        return only.clone();
    }
    let mut x: Vec<f64> = parts
        .iter()
        .flat_map(|(part, _)| (0..80).map(move |i| part.quantile((1e-4_f64).max((f64::from(i) + 0.5) / 80.0))))
        .chain(parts.iter().flat_map(|(part, _)| [1e-4, 1e-3, 0.999, 0.9999].map(|p| part.quantile(p))))
        .collect();
    x.sort_by(f64::total_cmp);
    x.dedup();
    let cumulative: Vec<f64> =
        x.iter().map(|at| parts.iter().map(|(part, weight)| weight * part.cdf(*at)).sum()).collect();
    if x.len() < 2 { parts[0].0.clone() } else { Distribution::Tabulated { x, cumulative } }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::Random;

    #[test]
    fn the_slope_of_a_noisy_total_lies_in_its_interval() {
        let mut inside = 0;
        for seed in 0..100 {
            let mut random = Random::new(seed);
            let time: Vec<f64> = (0..300).map(|i| 60.0 * f64::from(i)).collect();
            let mut wander = 0.0;
            let total: Vec<f64> = time
                .iter()
                .map(|t| {
                    wander = random.ornstein_uhlenbeck(wander, 0.3, 1500.0, 60.0);
                    1e-3 * t + wander + 0.05 * random.normal()
                })
                .collect();
            let slope = slope(&time, &[1.0; 300], &total).unwrap();
            inside += u32::from((slope.quantile(0.025)..slope.quantile(0.975)).contains(&1e-3));
        }
        assert!((88..=100).contains(&inside), "{inside}");
    }
}
