//! A level that wanders, seen through white noise.
//!
//! Two ways of wandering are averaged by how well they predict the series: a level that changes by independent steps,
//! y = x + v, dx = √q dW, and one whose slope does, dx = s dt, ds = √q dW (Harvey, Forecasting, Structural Time Series
//! Models and the Kalman Filter, 1989, chapter 2). The first follows rough courses, the second smooth ones.
//!
//! The smoothed level and draws of whole paths are what tells the largest content from the largest reading: the
//! largest of many noisy readings lies above the largest content, that of a drawn path does not.

mod steps;
mod trend;

use crate::simulate::Random;

/// A series with the noise of its readings and the wandering of its level estimated.
#[derive(Debug, Clone, PartialEq)]
pub struct LocalLevel {
    series: Series,
    candidates: Vec<Candidate>,
}

/// The values that a level is fitted to.
#[derive(Debug, Clone, PartialEq)]
struct Series {
    time_s: Vec<f64>,
    value: Vec<f64>,
    readings: Vec<f64>,
}

/// One way of wandering with its variances, the weight that the series gives it, and its filter.
#[derive(Debug, Clone, PartialEq)]
struct Candidate {
    /// Variance of one reading.
    white_variance: f64,
    weight: f64,
    filtered: Filtered,
}

#[derive(Debug, Clone, PartialEq)]
enum Filtered {
    Steps(steps::Filtered),
    Trend(trend::Filtered),
}

/// One path of the level.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// The level at the times of the series.
    pub value: Vec<f64>,
    /// Variance that the level gains in a second between them; 0 where it runs smoothly.
    pub roughness_per_s: f64,
}

/// Wandering of one kind, tried: variance of a reading, wandering, logarithm of likelihood times prior weight.
struct Tried {
    white_variance: f64,
    diffusion: f64,
    log_weight: f64,
    is_trend: bool,
}

/// Ratios of wandering to noise that are tried, from none to readings without noise.
const RATIOS: i32 = 29;
/// Weight beforehand of a level that does not move, beside 1 for each ratio: it is one of three ways, not one of many.
const STILL: f64 = 15.0;
/// Weight beforehand of each smooth course: where the readings cannot tell, a rough course is the safer guess, since its
/// largest value lies above that of the smooth one through the same readings.
const SMOOTH: f64 = 0.2;
/// Candidates of less weight are left out.
const LEAST_WEIGHT: f64 = 2e-3;
/// A series so short has no slope to be told.
const LEAST_FOR_TREND: usize = 8;

impl LocalLevel {
    /// Fits a series: `time_s` increasing, `readings` the number of readings averaged in each value (their noise is
    /// that much smaller). All three have the same length; an empty series gives `None`.
    ///
    /// `least_variance` is what the noise of one reading is at least (rounding).
    pub fn fit(time_s: Vec<f64>, value: Vec<f64>, readings: Vec<f64>, least_variance: f64) -> Option<Self> {
        if time_s.is_empty() || time_s.len() != value.len() || time_s.len() != readings.len() {
            return None;
        }
        let series = Series { time_s, value, readings };
        let tried = series.try_all();
        let best = tried.iter().map(|t| t.log_weight).fold(f64::NEG_INFINITY, f64::max);
        if !best.is_finite() {
            // All values alike: there is nothing to be estimated but the rounding.
            let filtered = Filtered::Steps(steps::filter(&series, least_variance, 0.0));
            let candidates = vec![Candidate { white_variance: least_variance, weight: 1.0, filtered }];
            return Some(Self { series, candidates });
        }
        let total: f64 = tried.iter().map(|t| (t.log_weight - best).exp()).sum();
        let candidates = tried
            .into_iter()
            .map(|t| ((t.log_weight - best).exp() / total, t))
            .filter(|(weight, _)| *weight > LEAST_WEIGHT)
            .map(|(weight, t)| {
                let white_variance = t.white_variance.max(least_variance);
                let diffusion = t.diffusion * t.white_variance;
                let filtered = if t.is_trend {
                    Filtered::Trend(trend::filter(&series, white_variance, diffusion))
                } else {
                    Filtered::Steps(steps::filter(&series, white_variance, diffusion))
                };
                Candidate { white_variance, weight, filtered }
            })
            .collect();
        Some(Self { series, candidates })
    }

    /// Times in s.
    pub fn time_s(&self) -> &[f64] {
        &self.series.time_s
    }

    /// Mean of the values, each with the weight of its readings.
    pub fn mean(&self) -> f64 {
        let Series { value, readings, .. } = &self.series;
        value.iter().zip(readings).map(|(v, n)| v * n).sum::<f64>() / readings.iter().sum::<f64>()
    }

    /// Standard deviation of one reading about the level.
    pub fn noise(&self) -> f64 {
        let total: f64 = self.candidates.iter().map(|c| c.weight).sum();
        (self.candidates.iter().map(|c| c.weight * c.white_variance).sum::<f64>() / total).sqrt()
    }

    /// The smoothed level at the times of the series, of the best candidate.
    pub fn smoothed(&self) -> Vec<f64> {
        let best = self.candidates.iter().max_by(|a, b| a.weight.total_cmp(&b.weight));
        best.map(|best| best.backward(&self.series, || 0.0)).unwrap_or_default()
    }

    /// One path of the level, drawn from what the series leaves possible.
    pub fn draw(&self, random: &mut Random) -> Path {
        let mut left = random.uniform(0.0, self.candidates.iter().map(|c| c.weight).sum());
        let chosen = self.candidates.iter().find(|candidate| {
            left -= candidate.weight;
            left <= 0.0
        });
        let Some(chosen) = chosen.or(self.candidates.last()) else {
            return Path { value: self.series.value.clone(), roughness_per_s: 0.0 };
        };
        let roughness_per_s = match &chosen.filtered {
            Filtered::Steps(filtered) => filtered.diffusion_per_s,
            Filtered::Trend(_) => 0.0,
        };
        Path { value: chosen.backward(&self.series, || random.normal()), roughness_per_s }
    }
}

impl Candidate {
    /// Goes back through the filtered states, each given the one after it; `deviate` makes the draws (0: the mean).
    fn backward(&self, series: &Series, deviate: impl FnMut() -> f64) -> Vec<f64> {
        match &self.filtered {
            Filtered::Steps(filtered) => filtered.backward(series, deviate),
            Filtered::Trend(filtered) => filtered.backward(series, self.white_variance, deviate),
        }
    }
}

impl Series {
    fn len(&self) -> usize {
        self.value.len()
    }

    /// Time from the value before, s.
    fn step_s(&self, index: usize) -> f64 {
        self.time_s[index] - self.time_s[index - 1]
    }

    fn try_all(&self) -> Vec<Tried> {
        let span_s = self.time_s[self.len() - 1] - self.time_s[0];
        let step_s = (span_s / (self.len() as f64 - 1.0).max(1.0)).max(f64::MIN_POSITIVE);
        let readings = self.readings.iter().sum::<f64>() / self.len() as f64;
        let ratio = |index: i32| if index == 0 { 0.0 } else { 10f64.powf(-7.0 + 0.35 * f64::from(index)) };
        let mut tried: Vec<Tried> = (0..RATIOS)
            .map(|index| {
                let diffusion = ratio(index) / (readings * step_s);
                let (white_variance, log_likelihood) = steps::concentrated(self, diffusion);
                let prior = if index == 0 { STILL } else { 1.0_f64 };
                Tried { white_variance, diffusion, log_weight: log_likelihood + prior.ln(), is_trend: false }
            })
            .collect();
        if self.len() >= LEAST_FOR_TREND {
            // Smooth courses need far smaller ratios: the slope's steps add up twice.
            tried.extend((1..RATIOS).map(|index| {
                let diffusion = ratio(index).powf(1.5) / (readings * step_s.powi(3));
                let (white_variance, log_likelihood) = trend::concentrated(self, diffusion);
                Tried { white_variance, diffusion, log_weight: log_likelihood + SMOOTH.ln(), is_trend: true }
            }));
        }
        tried
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn largest_of_draws(level: &LocalLevel) -> f64 {
        let mut random = Random::new(1);
        let largest = |path: Path| path.value.into_iter().fold(f64::NEG_INFINITY, f64::max);
        (0..50).map(|_| largest(level.draw(&mut random))).sum::<f64>() / 50.0
    }

    fn noisy(count: usize, noise: f64, course: fn(f64) -> f64) -> LocalLevel {
        let mut random = Random::new(3);
        let time_s: Vec<f64> = (0..count).map(|i| i as f64 * 10.0).collect();
        let value: Vec<f64> = time_s.iter().map(|t| course(*t) + noise * random.normal()).collect();
        LocalLevel::fit(time_s, value, vec![1.0; count], 0.0).unwrap()
    }

    #[test]
    fn a_constant_seen_through_noise_has_paths_that_hardly_move() {
        let level = noisy(2000, 0.1, |_| 5.0);
        assert!((level.noise() - 0.1).abs() < 0.01);
        let mean = largest_of_draws(&level);
        assert!((mean - 5.0).abs() < 0.03, "{mean}");
    }

    #[test]
    fn a_smooth_course_seen_through_noise_has_smooth_paths() {
        let mean = largest_of_draws(&noisy(2000, 0.1, |t| (t / 2500.0).sin()));
        assert!((mean - 1.0).abs() < 0.05, "{mean}");
    }

    #[test]
    fn readings_without_noise_are_followed() {
        let time_s: Vec<f64> = (0..400).map(f64::from).collect();
        let value: Vec<f64> = time_s.iter().map(|t| (t / 40.0).sin()).collect();
        let level = LocalLevel::fit(time_s, value.clone(), vec![1.0; 400], 0.0).unwrap();
        let worst = level.smoothed().iter().zip(&value).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(worst < 0.01, "{worst}");
    }

    #[test]
    fn values_all_alike_give_a_level_of_that_value() {
        let level = LocalLevel::fit(vec![0.0, 1.0, 2.0, 3.0], vec![2.0; 4], vec![1.0; 4], 0.0).unwrap();
        assert_eq!(level.draw(&mut Random::new(1)).value, vec![2.0; 4]);
    }
}
