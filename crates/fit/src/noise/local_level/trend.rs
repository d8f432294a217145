//! A level whose slope changes by independent steps.

use super::Series;

/// Level and slope after each value from the second on, and their covariance (level, both, slope).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Filtered {
    diffusion: f64,
    state: Vec<[f64; 2]>,
    covariance: Vec<[f64; 3]>,
}

/// Level and slope with covariance.
#[derive(Debug, Clone, Copy)]
struct Belief {
    state: [f64; 2],
    covariance: [f64; 3],
}

impl Belief {
    /// After the first two values: the line through them.
    fn start(series: &Series, white_variance: f64, diffusion: f64) -> Self {
        let h = series.step_s(1);
        let noise = [white_variance / series.readings[0], white_variance / series.readings[1]];
        Self {
            state: [series.value[1], (series.value[1] - series.value[0]) / h],
            covariance: [noise[1], noise[1] / h, (noise[0] + noise[1]) / (h * h) + diffusion * h / 3.0],
        }
    }

    fn predicted(&self, h: f64, diffusion: f64) -> Self {
        let ([x, s], [xx, xs, ss]) = (self.state, self.covariance);
        Self {
            state: [x + h * s, s],
            covariance: [
                xx + h * (2.0 * xs + h * ss) + diffusion * h.powi(3) / 3.0,
                xs + h * ss + diffusion * h * h / 2.0,
                ss + diffusion * h,
            ],
        }
    }

    fn updated(&self, error: f64, total: f64) -> Self {
        let [xx, xs, ss] = self.covariance;
        let gain = [xx / total, xs / total];
        Self {
            state: [self.state[0] + gain[0] * error, self.state[1] + gain[1] * error],
            covariance: [(1.0 - gain[0]) * xx, (1.0 - gain[0]) * xs, ss - gain[1] * xs],
        }
    }
}

pub(super) fn filter(series: &Series, white_variance: f64, diffusion: f64) -> Filtered {
    let mut belief = Belief::start(series, white_variance, diffusion);
    let (mut state, mut covariance) = (vec![belief.state; 2], vec![belief.covariance; 2]);
    for index in 2..series.len() {
        let predicted = belief.predicted(series.step_s(index), diffusion);
        let total = predicted.covariance[0] + white_variance / series.readings[index];
        belief = predicted.updated(series.value[index] - predicted.state[0], total);
        state.push(belief.state);
        covariance.push(belief.covariance);
    }
    Filtered { diffusion, state, covariance }
}

impl Filtered {
    pub(super) fn backward(&self, series: &Series, white_variance: f64, mut deviate: impl FnMut() -> f64) -> Vec<f64> {
        let last = series.len() - 1;
        let mut path = vec![0.0; series.len()];
        let mut later = drawn(self.state[last], self.covariance[last], &mut deviate);
        path[last] = later[0];
        for index in (1..last).rev() {
            let h = series.step_s(index + 1);
            let belief = Belief { state: self.state[index], covariance: self.covariance[index] };
            let ahead = belief.predicted(h, self.diffusion);
            let [xx, xs, ss] = belief.covariance;
            let [pxx, pxs, pss] = ahead.covariance;
            let determinant = pxx * pss - pxs * pxs;
            // P Fᵀ, rows (level, slope); then the gain J = P Fᵀ P⁻¹.
            let carried = [[xx + h * xs, xs], [xs + h * ss, ss]];
            let gain = carried.map(|[a, b]| {
                if determinant > 0.0 {
                    [(a * pss - b * pxs) / determinant, (b * pxx - a * pxs) / determinant]
                } else {
                    [0.0, 0.0]
                }
            });
            let off = [later[0] - ahead.state[0], later[1] - ahead.state[1]];
            let mean = [0, 1].map(|i| belief.state[i] + gain[i][0] * off[0] + gain[i][1] * off[1]);
            let left = |i: usize, j: usize, p: f64| p - gain[i][0] * carried[j][0] - gain[i][1] * carried[j][1];
            later = drawn(mean, [left(0, 0, xx), left(0, 1, xs), left(1, 1, ss)], &mut deviate);
            path[index] = later[0];
        }
        // The first value, between what the second state says of it and what was read.
        let h = series.step_s(1);
        let (noise, back) = (white_variance / series.readings[0], self.diffusion * h.powi(3) / 3.0);
        let gain = if noise + back > 0.0 { back / (noise + back) } else { 1.0 };
        let extended = later[0] - h * later[1];
        path[0] = extended + gain * (series.value[0] - extended) + (gain * noise).sqrt() * deviate();
        path
    }
}

/// Level and slope drawn from mean and covariance.
fn drawn(mean: [f64; 2], [xx, xs, ss]: [f64; 3], deviate: &mut impl FnMut() -> f64) -> [f64; 2] {
    let (a, b) = (deviate(), deviate());
    let sd = xx.max(0.0).sqrt();
    let along = if sd > 0.0 { xs / sd } else { 0.0 };
    [mean[0] + sd * a, mean[1] + along * a + (ss - along * along).max(0.0).sqrt() * b]
}

/// A smooth course is believed only where it predicts clearly better: where noise hides the course, the rough one is the
/// careful choice.
const SMOOTHNESS_MUST_SHOW: f64 = 3.0;

/// Variance of one reading and log-likelihood, for a diffusion given per unit of that variance.
pub(super) fn concentrated(series: &Series, diffusion: f64) -> (f64, f64) {
    let mut belief = Belief::start(series, 1.0, diffusion);
    let (mut squares, mut log_determinant) = (0.0, 0.0);
    for index in 2..series.len() {
        let predicted = belief.predicted(series.step_s(index), diffusion);
        let total = predicted.covariance[0] + 1.0 / series.readings[index];
        let error = series.value[index] - predicted.state[0];
        squares += error * error / total;
        log_determinant += total.ln();
        belief = predicted.updated(error, total);
    }
    let degrees = (series.len() - 2) as f64;
    let white = squares / degrees;
    if white <= 0.0 {
        return (0.0, f64::NEG_INFINITY);
    }
    // One value more is taken up by the start than for steps; it is put back at the same spread.
    let start = 0.5 * (white.ln() + 1.0);
    (white, -0.5 * (degrees * white.ln() + log_determinant) - start - SMOOTHNESS_MUST_SHOW)
}
