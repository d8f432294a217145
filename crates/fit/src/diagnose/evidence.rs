//! How well a model explains a log: the most probable parameters, and the evidence by Laplace's approximation.

use nalgebra::{DMatrix, DVector};

use super::feature::{Features, Kind, Stream};
use super::model::{BASE, Change, PARAMETERS, Point, Prior, Setting, Vector, predict};
use super::noise::{Filter, Gain, Residuals, Slow, Wander, robust};

/// A stream with the gains of its noise filter, which do not depend on the data.
struct Filtered<'a> {
    stream: &'a Stream,
    gains: Vec<Gain>,
}

/// All streams under one noise.
pub(super) struct Data<'a> {
    streams: Vec<Filtered<'a>>,
    setting: &'a Setting,
    slow: Slow,
    log_determinant: f64,
    ln_prior: f64,
}

/// The most probable parameters and what they are worth.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    pub(super) theta: Vector,
    /// Logarithm of the evidence, up to what is common to all models of a log.
    pub(super) ln_evidence: f64,
}

impl<'a> Data<'a> {
    pub(super) fn new(features: &'a Features, setting: &'a Setting, wander: Wander) -> Self {
        let mut log_determinant = 0.0;
        let slow = Slow::new(features);
        let streams = features.streams.iter().map(|stream| {
            let mut filter = Filter::new(stream.kind, wander, slow);
            let gains: Vec<Gain> = stream.rows.iter().map(|row| filter.next(row.time_h, row.sd)).collect();
            log_determinant -= 2.0 * gains.iter().map(|gain| gain.weight.ln()).sum::<f64>();
            Filtered { stream, gains }
        });
        let streams = streams.collect();
        Self { streams, setting, slow, log_determinant, ln_prior: wander.ln_prior() }
    }

    /// Sum of squares, one a stream.
    pub(super) fn misfit(&self, theta: &Vector, changes: &[Change]) -> Vec<(Kind, f64)> {
        let mut nothing = [0.0; PARAMETERS];
        let theta = &Point::from(theta);
        let each = self.streams.iter().map(|filtered| {
            let mut state = [0.0; 2];
            let mut sum = 0.0;
            for (row, gain) in filtered.stream.rows.iter().zip(&filtered.gains) {
                let expected = predict(filtered.stream, row, theta, changes, self.setting, &mut nothing);
                let residual = if row.censored && expected < row.y { 0.0 } else { row.y - expected };
                sum += robust(gain.innovation(&mut state, residual) * gain.weight).0;
            }
            (filtered.stream.kind, sum)
        });
        each.collect()
    }

    /// The wander under which what an explanation leaves over is likeliest.
    pub(super) fn likeliest_wander(&self, theta: &Vector, changes: &[Change]) -> Wander {
        let theta = &Point::from(theta);
        let left: Vec<Residuals> = self.streams.iter().map(|own| self.residuals(own.stream, theta, changes)).collect();
        Wander::likeliest(&left, self.slow)
    }

    fn residuals(&self, stream: &Stream, theta: &Point, changes: &[Change]) -> Residuals {
        let mut nothing = [0.0; PARAMETERS];
        let each = stream.rows.iter().map(|row| {
            let expected = predict(stream, row, theta, changes, self.setting, &mut nothing);
            let hidden = row.censored && expected < row.y;
            [row.time_h, if hidden { 0.0 } else { row.y - expected }, row.sd]
        });
        Residuals { kind: stream.kind, rows: each.collect() }
    }

    /// Mean expected and mean found value of a stream over the rows that pass.
    pub(super) fn means(
        &self,
        kind: Kind,
        theta: &Vector,
        changes: &[Change],
        pass: impl Fn(f64) -> bool,
    ) -> Option<[f64; 2]> {
        let filtered = self.streams.iter().find(|filtered| filtered.stream.kind == kind)?;
        let mut nothing = [0.0; PARAMETERS];
        let theta = &Point::from(theta);
        let rows: Vec<[f64; 2]> = filtered
            .stream
            .rows
            .iter()
            .filter(|row| pass(row.time_h))
            .map(|row| [predict(filtered.stream, row, theta, changes, self.setting, &mut nothing), row.y])
            .collect();
        let n = rows.len() as f64;
        (!rows.is_empty()).then(|| [0, 1].map(|k| rows.iter().map(|row| row[k]).sum::<f64>() / n))
    }

    /// Objective, gradient and curvature (half the second derivative) with the prior.
    fn normal(
        &self,
        theta: &Vector,
        changes: &[Change],
        prior: &Prior,
        size: usize,
    ) -> (f64, DVector<f64>, DMatrix<f64>) {
        let mut gradient = DVector::zeros(size);
        let mut curvature = DMatrix::zeros(size, size);
        let mut objective = 0.0;
        for index in 0..size {
            let off = (theta[index] - prior.mean[index]) / prior.sd[index];
            objective += off * off;
            gradient[index] -= off / prior.sd[index];
            curvature[(index, index)] += prior.sd[index].powi(-2);
        }
        let theta = &Point::from(theta);
        let mut slope = [0.0; PARAMETERS];
        // Pairs of parameters in the order in which they became active; summed into the lower half at the end.
        let mut products = [[0.0; PARAMETERS]; PARAMETERS];
        for filtered in &self.streams {
            let mut states = [[0.0; 2]; PARAMETERS];
            let mut level = [0.0; 2];
            let mut active: Vec<usize> = Vec::new();
            let mut is_active = [false; PARAMETERS];
            for (row, gain) in filtered.stream.rows.iter().zip(&filtered.gains) {
                let expected = predict(filtered.stream, row, theta, changes, self.setting, &mut slope);
                let hidden = row.censored && expected < row.y;
                let residual = if hidden { 0.0 } else { row.y - expected };
                if hidden {
                    slope.fill(0.0);
                }
                for index in 0..size {
                    if slope[index] != 0.0 && !is_active[index] {
                        is_active[index] = true;
                        active.push(index);
                    }
                }
                let innovation = gain.innovation(&mut level, residual) * gain.weight;
                let (cost, share) = robust(innovation);
                objective += cost;
                for index in &active {
                    slope[*index] = gain.innovation(&mut states[*index], slope[*index]) * gain.weight;
                }
                for (place, i) in active.iter().enumerate() {
                    let scaled = share * slope[*i];
                    gradient[*i] += scaled * innovation;
                    let line = &mut products[*i];
                    for j in &active[..=place] {
                        line[*j] += scaled * slope[*j];
                    }
                }
            }
        }
        for i in 0..size {
            for j in 0..size {
                curvature[(i.max(j), i.min(j))] += products[i][j];
            }
        }
        (objective, gradient, curvature)
    }

    /// Finds the most probable parameters from a start. Where the evidence stays far below `hopeless` after some rounds,
    /// no more are spent: such a fit weighs nothing, and only how far it got is lost.
    pub(super) fn fit(
        &self,
        start: &Vector,
        changes: &[Change],
        prior: &Prior,
        amplitudes: usize,
        hopeless: f64,
    ) -> Fit {
        const ROUNDS: usize = 12;
        const CLOSE: f64 = 0.1;
        const TRIED: usize = 3;
        let size = BASE + amplitudes;
        let mut theta = *start;
        let (mut objective, mut gradient, mut curvature) = self.normal(&theta, changes, prior, size);
        let mut damping = 1e-3;
        for round in 0..ROUNDS {
            if round >= TRIED && -0.5 * (objective + self.log_determinant) < hopeless {
                break;
            }
            let mut damped = curvature.clone();
            for index in 0..size {
                damped[(index, index)] *= 1.0 + damping;
            }
            let Some(cholesky) = damped.cholesky() else { break };
            let step = cholesky.solve(&gradient);
            let mut next = theta;
            for index in 0..size {
                // A longer step than this leaves the range in which the slope means anything.
                let longest = 2.0 * prior.sd[index];
                next[index] += step[index].clamp(-longest, longest);
            }
            let found = self.normal(&next, changes, prior, size);
            if found.0 < objective {
                let gained = objective - found.0;
                theta = next;
                (objective, gradient, curvature) = found;
                damping = (damping * 0.1).max(1e-6);
                if gained < CLOSE {
                    break;
                }
            } else {
                damping *= 20.0;
                if damping > 1e4 {
                    break;
                }
            }
        }
        // The curvature holds the prior's precision, so that its determinant over that of the prior is Occam's factor.
        let ln_prior: f64 = prior.sd[..size].iter().map(|sd| -2.0 * sd.ln()).sum();
        let ln_curvature = curvature
            .cholesky()
            .map_or(f64::INFINITY, |cholesky| 2.0 * cholesky.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>());
        let ln_evidence = self.ln_prior - 0.5 * (objective + self.log_determinant + ln_curvature - ln_prior);
        Fit { theta, ln_evidence: if ln_evidence.is_finite() { ln_evidence } else { f64::MIN / 4.0 } }
    }
}
