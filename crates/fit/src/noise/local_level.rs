//! A level that wanders, seen through white noise: y = x + v, dx = √q dW (the local-level model of Harvey 1989, ch. 2).
//!
//! The smoothed level and draws of whole paths are what tells the largest content from the largest reading: the
//! largest of many noisy readings lies above the largest content, that of a drawn path does not.

use crate::simulate::Random;

/// A series with the noise of its readings and the wandering of its level estimated.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalLevel {
    time_s: Vec<f64>,
    value: Vec<f64>,
    readings: Vec<f64>,
    candidates: Vec<Candidate>,
}

/// One pair of variances with the weight that the series gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Candidate {
    /// Variance of one reading.
    white_variance: f64,
    /// Variance that the level gains in a second.
    diffusion_per_s: f64,
    weight: f64,
}

/// Ratios of wandering to noise that are tried: from a level that stands still to readings without noise.
const RATIOS: i32 = 29;

impl LocalLevel {
    /// Fits a series: `time_s` increasing, `readings` the number of readings averaged in each value (their noise is
    /// that much smaller). All three slices have the same length; an empty one gives `None`.
    ///
    /// `least_variance` is what the noise of one reading is at least (rounding).
    pub fn fit(time_s: Vec<f64>, value: Vec<f64>, readings: Vec<f64>, least_variance: f64) -> Option<Self> {
        if time_s.is_empty() || time_s.len() != value.len() || time_s.len() != readings.len() {
            return None;
        }
        let mut level = Self { time_s, value, readings, candidates: Vec::new() };
        let step_s = level.mean_step_s();
        let mean_readings = level.readings.iter().sum::<f64>() / level.readings.len() as f64;
        let scored: Vec<(f64, f64, f64)> = (0..RATIOS)
            .map(|index| {
                let ratio = if index == 0 { 0.0 } else { 10f64.powf(-7.0 + 0.35 * f64::from(index)) };
                let diffusion = ratio / (mean_readings * step_s);
                let (variance, log_likelihood) = level.concentrated(diffusion);
                (variance.max(least_variance), diffusion * variance, log_likelihood)
            })
            .collect();
        let best = scored.iter().map(|(_, _, l)| *l).fold(f64::NEG_INFINITY, f64::max);
        if !best.is_finite() {
            // All values alike: there is nothing to be estimated but the rounding.
            level.candidates = vec![Candidate { white_variance: least_variance, diffusion_per_s: 0.0, weight: 1.0 }];
            return Some(level);
        }
        let total: f64 = scored.iter().map(|(_, _, l)| (l - best).exp()).sum();
        level.candidates = scored
            .into_iter()
            .map(|(white_variance, diffusion_per_s, l)| Candidate {
                white_variance,
                diffusion_per_s,
                weight: (l - best).exp() / total,
            })
            .filter(|candidate| candidate.weight > 1e-3)
            .collect();
        Some(level)
    }

    /// Times in s.
    pub fn time_s(&self) -> &[f64] {
        &self.time_s
    }

    /// Standard deviation of one reading about the level.
    pub fn noise(&self) -> f64 {
        self.mean_of(|candidate| candidate.white_variance).sqrt()
    }

    /// The smoothed level at the times of the series, with the best pair of variances.
    pub fn smoothed(&self) -> Vec<f64> {
        let best = self.candidates.iter().copied().max_by(|a, b| a.weight.total_cmp(&b.weight));
        best.map(|best| self.backward(&best, |mean, _| mean)).unwrap_or_default()
    }

    /// Variance that the level gains in a second.
    pub fn diffusion_per_s(&self) -> f64 {
        self.mean_of(|candidate| candidate.diffusion_per_s)
    }

    /// One path of the level, drawn from what the series leaves possible.
    pub fn draw(&self, random: &mut Random) -> Vec<f64> {
        let mut left = random.uniform(0.0, self.candidates.iter().map(|c| c.weight).sum());
        let chosen = self.candidates.iter().find(|candidate| {
            left -= candidate.weight;
            left <= 0.0
        });
        let Some(chosen) = chosen.or(self.candidates.last()) else { return self.value.clone() };
        self.backward(chosen, |mean, variance| mean + variance.max(0.0).sqrt() * random.normal())
    }

    /// Filters forward, then goes back; `take` makes the value of a time from mean and variance given the later one.
    fn backward(&self, candidate: &Candidate, mut take: impl FnMut(f64, f64) -> f64) -> Vec<f64> {
        let count = self.value.len();
        let (mut mean, mut variance) = (Vec::with_capacity(count), Vec::with_capacity(count));
        for index in 0..count {
            let noise = candidate.white_variance / self.readings[index];
            if index == 0 {
                mean.push(self.value[0]);
                variance.push(noise);
                continue;
            }
            let predicted = variance[index - 1] + candidate.diffusion_per_s * self.step(index);
            let gain = if predicted + noise > 0.0 { predicted / (predicted + noise) } else { 0.0 };
            mean.push(mean[index - 1] + gain * (self.value[index] - mean[index - 1]));
            variance.push((1.0 - gain) * predicted);
        }
        let mut path = vec![0.0; count];
        path[count - 1] = take(mean[count - 1], variance[count - 1]);
        for index in (0..count - 1).rev() {
            let added = candidate.diffusion_per_s * self.step(index + 1);
            let sum = variance[index] + added;
            let gain = if sum > 0.0 { variance[index] / sum } else { 1.0 };
            path[index] = take(mean[index] + gain * (path[index + 1] - mean[index]), variance[index] * (1.0 - gain));
        }
        path
    }

    /// Variance of one reading and log-likelihood for a diffusion that is given per unit of that variance.
    fn concentrated(&self, diffusion: f64) -> (f64, f64) {
        let count = self.value.len();
        if count < 3 {
            return (0.0, f64::NEG_INFINITY);
        }
        let (mut mean, mut variance) = (self.value[0], 1.0 / self.readings[0]);
        let (mut squares, mut log_determinant) = (0.0, 0.0);
        for index in 1..count {
            let predicted = variance + diffusion * self.step(index);
            let total = predicted + 1.0 / self.readings[index];
            let error = self.value[index] - mean;
            squares += error * error / total;
            log_determinant += total.ln();
            let gain = predicted / total;
            mean += gain * error;
            variance = (1.0 - gain) * predicted;
        }
        let degrees = (count - 1) as f64;
        let white = squares / degrees;
        if white <= 0.0 {
            return (0.0, f64::NEG_INFINITY);
        }
        (white, -0.5 * (degrees * white.ln() + log_determinant))
    }

    fn step(&self, index: usize) -> f64 {
        self.time_s[index] - self.time_s[index - 1]
    }

    fn mean_step_s(&self) -> f64 {
        let span_s = self.time_s[self.time_s.len() - 1] - self.time_s[0];
        (span_s / (self.time_s.len() as f64 - 1.0).max(1.0)).max(f64::MIN_POSITIVE)
    }

    fn mean_of(&self, part: impl Fn(&Candidate) -> f64) -> f64 {
        let total: f64 = self.candidates.iter().map(|c| c.weight).sum();
        self.candidates.iter().map(|c| c.weight * part(c)).sum::<f64>() / total
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn constant_with_noise(count: usize) -> LocalLevel {
        let mut random = Random::new(3);
        let time_s: Vec<f64> = (0..count).map(|i| i as f64 * 10.0).collect();
        let value: Vec<f64> = time_s.iter().map(|_| 5.0 + 0.1 * random.normal()).collect();
        LocalLevel::fit(time_s, value, vec![1.0; count], 0.0).unwrap()
    }

    #[test]
    fn a_constant_seen_through_noise_has_paths_that_hardly_move() {
        let level = constant_with_noise(2000);
        assert!((level.noise() - 0.1).abs() < 0.01);
        let mut random = Random::new(1);
        let largest: Vec<f64> =
            (0..50).map(|_| level.draw(&mut random).into_iter().fold(f64::NEG_INFINITY, f64::max)).collect();
        let mean = largest.iter().sum::<f64>() / 50.0;
        assert!((mean - 5.0).abs() < 0.03, "{mean}");
    }

    #[test]
    fn readings_without_noise_are_followed() {
        let time_s: Vec<f64> = (0..400).map(f64::from).collect();
        let value: Vec<f64> = time_s.iter().map(|t| (t / 40.0).sin()).collect();
        let level = LocalLevel::fit(time_s, value.clone(), vec![1.0; 400], 0.0).unwrap();
        let worst = level.smoothed().iter().zip(&value).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(worst < 0.03, "{worst}");
    }

    #[test]
    fn values_all_alike_give_a_level_of_that_value() {
        let level = LocalLevel::fit(vec![0.0, 1.0, 2.0, 3.0], vec![2.0; 4], vec![1.0; 4], 0.0).unwrap();
        assert_eq!(level.draw(&mut Random::new(1)), vec![2.0; 4]);
    }
}
