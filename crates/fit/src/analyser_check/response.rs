//! The first-order curve through one step from one gas to another.

use super::plateau::Plateau;

/// ln 10: a first-order response has covered 90 % after that many time constants.
pub(super) const T90_OVER_TAU: f64 = std::f64::consts::LN_10;

/// What a step says of the response.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Response {
    /// Time constants that were tried and how probable each is.
    pub(super) tau_s: Vec<f64>,
    pub(super) probability: Vec<f64>,
    /// When the reading began to move, s.
    pub(super) onset_s: f64,
    /// The most probable time constant.
    pub(super) best_s: f64,
    /// The largest time constant that fits nearly as well (95 %).
    pub(super) largest_s: f64,
    /// Height of the step, ppm.
    pub(super) jump_ppm: f64,
    /// Whether an immediate response fits as well.
    pub(super) may_be_immediate: bool,
}

const TIME_CONSTANTS: usize = 60;
const ONSETS: usize = 25;
const ZOOMS: usize = 7;
/// A step must stand out of the noise so far.
const LEAST_JUMP: f64 = 10.0;
/// Readings of a step that are looked at.
const MOST_READINGS: usize = 4000;
/// Twice the log-likelihood that 95 % of a χ² with one degree of freedom leave.
const LIKELY: f64 = 3.84;
/// What fits within so many variances of the best is possible.
const POSSIBLE: f64 = 20.0;

/// The response at the start of a plateau that follows another; `None` where the step is too small.
pub(super) fn of_step(
    time_s: &[f64],
    ppm: &[f64],
    before: &Plateau,
    after: &Plateau,
    noise_ppm: f64,
    cadence_s: f64,
) -> Option<Response> {
    let half = |plateau: &Plateau| plateau.first + (plateau.last - plateau.first) / 2;
    let levels = [median(&ppm[half(before)..=before.last.min(ppm.len() - 1)]), median(&ppm[half(after)..=after.last])];
    let jump_ppm = levels[1] - levels[0];
    if jump_ppm.abs() < LEAST_JUMP * noise_ppm {
        return None;
    }
    let covered = |index: usize| (ppm[index] - levels[0]) / jump_ppm;
    let start = half(before);
    // The step is where the reading passes half way for good.
    let middle = (start..=after.last).rev().find(|i| covered(*i) < 0.5)? + 1;
    let left = (start..middle).rev().find(|i| covered(*i) < 0.1).unwrap_or(start);
    let reached = (middle..=after.last).find(|i| covered(*i) > 0.63).unwrap_or(after.last);
    let rough_s = (time_s[reached] - time_s[left]).max(cadence_s);
    let until_s = time_s[middle] + 15.0 * rough_s;
    let first = left.saturating_sub(MOST_READINGS / 4).max(start);
    let end = time_s.partition_point(|t| *t <= until_s).min(after.last + 1).min(first + MOST_READINGS);
    let data = Data { time_s: &time_s[first..end], ppm: &ppm[first..end] };
    let mut grid = Grid {
        log_tau: [(0.02 * cadence_s).ln(), (5.0 * rough_s).ln()],
        onset_s: [time_s[left] - 1.5 * rough_s.min(time_s[left] - time_s[first]), time_s[middle]],
    };
    let least_log_tau = grid.log_tau[0];
    let mut scored = grid.score(&data);
    for _ in 0..ZOOMS {
        grid = grid.zoomed(&scored, data.variance(least(&scored), noise_ppm), least_log_tau);
        scored = grid.score(&data);
    }
    // Readings on the way, of which one alone can be met by any time constant.
    let beyond_noise = (5.0 * noise_ppm / jump_ppm.abs()).max(0.01);
    let on_the_way = (left..=after.last).filter(|i| (beyond_noise..1.0 - beyond_noise).contains(&covered(*i))).count();
    let best = scored.iter().min_by(|a, b| a.squares.total_cmp(&b.squares))?;
    let variance = data.variance(best.squares, noise_ppm) * data.correlation_factor(best.tau_s, best.onset_s);
    let mut response = summarised(&scored, variance, jump_ppm);
    response.may_be_immediate |= on_the_way < 2 || response.tau_s[0] < 0.05 * cadence_s;
    Some(response)
}

struct Data<'a> {
    time_s: &'a [f64],
    ppm: &'a [f64],
}

/// One pair that was tried.
struct Scored {
    tau_s: f64,
    onset_s: f64,
    squares: f64,
}

struct Grid {
    log_tau: [f64; 2],
    onset_s: [f64; 2],
}

impl Data<'_> {
    /// Variance of a reading about the best curve; not less than that of the noise.
    fn variance(&self, least_squares: f64, noise_ppm: f64) -> f64 {
        let degrees = (self.ppm.len() as f64 - 4.0).max(1.0);
        (least_squares / degrees).max(noise_ppm.powi(2)).max(1e-18)
    }

    /// How much correlation between neighbouring residuals adds to the variance of what is fitted.
    fn correlation_factor(&self, tau_s: f64, onset_s: f64) -> f64 {
        let line = self.line(tau_s, onset_s);
        let residuals: Vec<f64> = self
            .time_s
            .iter()
            .zip(self.ppm)
            .map(|(t, y)| y - line.intercept - line.slope * covered(*t, tau_s, onset_s))
            .collect();
        // The sum of autocorrelations as long as they are clearly positive.
        let total: f64 = residuals.iter().map(|r| r * r).sum();
        let at_lag = |lag: usize| residuals[lag..].iter().zip(&residuals).map(|(a, b)| a * b).sum::<f64>() / total;
        let noise = 2.0 / (residuals.len() as f64).sqrt();
        let lags = (residuals.len() / 4).min(100);
        1.0 + 2.0 * (1..lags).map(at_lag).take_while(|correlation| *correlation > noise).sum::<f64>()
    }

    /// y = a + b·(1 − e^(−(t − t₀)/τ)) with the best a and b.
    fn line(&self, tau_s: f64, onset_s: f64) -> Line {
        let n = self.ppm.len() as f64;
        let (mut sx, mut sy, mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (t, y) in self.time_s.iter().zip(self.ppm) {
            let x = covered(*t, tau_s, onset_s);
            let y = y - self.ppm[0];
            sx += x;
            sy += y;
            sxx += x * x;
            sxy += x * y;
            syy += y * y;
        }
        let (vx, vxy, vy) = (sxx - sx * sx / n, sxy - sx * sy / n, syy - sy * sy / n);
        let slope = if vx > 0.0 { vxy / vx } else { 0.0 };
        Line { slope, intercept: self.ppm[0] + (sy - slope * sx) / n, squares: (vy - slope * vxy).max(0.0) }
    }
}

/// Share of a step that a first-order response has covered.
fn covered(time_s: f64, tau_s: f64, onset_s: f64) -> f64 {
    if time_s > onset_s { -(-(time_s - onset_s) / tau_s).exp_m1() } else { 0.0 }
}

/// A straight line in the share covered.
struct Line {
    slope: f64,
    intercept: f64,
    squares: f64,
}

impl Grid {
    fn score(&self, data: &Data<'_>) -> Vec<Scored> {
        let along = |[from, to]: [f64; 2], i: usize, of: usize| from + (to - from) * (i as f64 + 0.5) / of as f64;
        let mut scored = Vec::with_capacity(TIME_CONSTANTS * ONSETS);
        for i in 0..TIME_CONSTANTS {
            let tau_s = along(self.log_tau, i, TIME_CONSTANTS).exp();
            for j in 0..ONSETS {
                let onset_s = along(self.onset_s, j, ONSETS);
                scored.push(Scored { tau_s, onset_s, squares: data.line(tau_s, onset_s).squares });
            }
        }
        scored
    }

    /// The part of the grid that the readings leave possible, with a little around it: time constant and onset trade
    /// against each other along a narrow ridge, which the grid follows.
    fn zoomed(&self, scored: &[Scored], variance: f64, least_log_tau: f64) -> Self {
        let within = least(scored) + POSSIBLE * variance;
        let ends = |part: fn(&Scored) -> f64, [from, to]: [f64; 2], of: usize| {
            let margin = 2.5 * (to - from) / of as f64;
            let possible = || scored.iter().filter(|s| s.squares <= within).map(part);
            let low = possible().fold(f64::INFINITY, f64::min);
            let high = possible().fold(f64::NEG_INFINITY, f64::max);
            [low - margin, high + margin]
        };
        let log_tau = ends(|s| s.tau_s.ln(), self.log_tau, TIME_CONSTANTS);
        Self {
            log_tau: [log_tau[0].max(least_log_tau), log_tau[1].max(least_log_tau + 0.1)],
            onset_s: ends(|s| s.onset_s, self.onset_s, ONSETS),
        }
    }
}

fn least(scored: &[Scored]) -> f64 {
    scored.iter().map(|s| s.squares).fold(f64::INFINITY, f64::min)
}

fn summarised(scored: &[Scored], variance: f64, jump_ppm: f64) -> Response {
    let best_squares = least(scored);
    let weight = |s: &Scored| (-0.5 * (s.squares - best_squares) / variance).exp();
    let mut tau_s = Vec::with_capacity(TIME_CONSTANTS);
    let mut probability = Vec::with_capacity(TIME_CONSTANTS);
    for of_tau in scored.chunks_exact(ONSETS) {
        tau_s.push(of_tau[0].tau_s);
        probability.push(of_tau.iter().map(weight).sum::<f64>());
    }
    let total: f64 = probability.iter().sum();
    for p in &mut probability {
        *p /= total;
    }
    let best = scored.iter().min_by(|a, b| a.squares.total_cmp(&b.squares));
    let likely = scored.iter().filter(|s| s.squares - best_squares < LIKELY * variance);
    Response {
        tau_s,
        probability,
        onset_s: best.map_or(0.0, |s| s.onset_s),
        best_s: best.map_or(0.0, |s| s.tau_s),
        largest_s: likely.map(|s| s.tau_s).fold(0.0, f64::max),
        jump_ppm,
        may_be_immediate: false,
    }
}

fn median(values: &[f64]) -> f64 {
    let mut values = values.to_vec();
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
