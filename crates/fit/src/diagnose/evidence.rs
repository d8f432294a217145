//! How well a model explains a log: the most probable parameters, and the evidence by Laplace's approximation.

use nalgebra::{DMatrix, DVector};

use super::feature::{Features, Kind, Stream};
use super::log::Species;
use super::model::{BASE, Change, PARAMETERS, Point, Prior, Setting, Vector, predict};

/// How much the log wanders by itself, relative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wander {
    /// Standard deviation and memory in h of floors and rises, oxygen and water.
    pub(super) content: [[f64; 2]; 2],
    /// Standard deviation of decays.
    pub(super) dose: f64,
}

impl Wander {
    /// What an ordinary enclosure shows.
    pub(super) const USUAL: Self = Self { content: [[0.08, 48.0]; 2], dose: 0.05 };
    /// What no change explains.
    pub(super) const WILD: Self = Self { content: [[0.7, 48.0]; 2], dose: 0.5 };
    /// Standard deviations of floors and rises that a log may have, with the logarithm of their prior: steady, ordinary
    /// and restless enclosures, and one that was badly logged.
    const CONTENT: [[f64; 2]; 5] = [[0.02, -0.5], [0.04, 0.0], [0.08, 0.0], [0.16, -0.5], [0.3, -2.0]];
    /// Memories, h: of half a shift, of two days, of a week.
    const MEMORY_H: [f64; 3] = [6.0, 48.0, 170.0];
    const DOSE: [[f64; 2]; 3] = [[0.05, 0.0], [0.07, -0.5], [0.15, -2.0]];

    /// Standard deviation and memory in h.
    fn of(self, kind: Kind) -> [f64; 2] {
        match kind {
            Kind::Floor(species) | Kind::Rise(species) => self.content[species.index()],
            Kind::Decay(_) => [self.dose, 60.0],
            // Habits vary from week to week.
            Kind::DoseArea(_) => [0.25_f64.max(self.dose), 60.0],
            Kind::TransferCount => [0.2_f64.max(self.dose), 60.0],
            Kind::Flow => [0.01_f64.max(0.5 * self.dose), 60.0],
            Kind::Leakage => [0.05, 60.0],
            Kind::Makeup => [0.1_f64.max(2.0 * self.dose), 30.0],
        }
    }

    /// Logarithm of its prior.
    fn ln_prior(self) -> f64 {
        let of = |values: &[[f64; 2]], sd: f64| {
            values.iter().find(|[own, _]| (own - sd).abs() < 1e-9).map_or(0.0, |[_, ln_prior]| *ln_prior)
        };
        of(&Self::DOSE, self.dose) + self.content.iter().map(|[sd, _]| of(&Self::CONTENT, *sd)).sum::<f64>()
    }
}

/// A stream with the gains of its noise filter, which do not depend on the data.
struct Filtered<'a> {
    stream: &'a Stream,
    /// Memory kept since the row before, gain, reciprocal standard deviation of the innovation.
    gains: Vec<[f64; 3]>,
}

/// All streams under one noise.
pub(super) struct Data<'a> {
    streams: Vec<Filtered<'a>>,
    setting: &'a Setting,
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
        let streams = features.streams.iter().map(|stream| {
            let [sd, memory_h] = wander.of(stream.kind);
            let mut variance = sd * sd;
            let mut time_h = stream.rows[0].time_h;
            let gains = stream.rows.iter().map(|row| {
                let keep = (-(row.time_h - time_h) / memory_h).exp();
                variance = keep * keep * variance + sd * sd * (1.0 - keep * keep);
                time_h = row.time_h;
                let total = variance + row.sd * row.sd;
                log_determinant += total.ln();
                let gain = variance / total;
                variance *= 1.0 - gain;
                [keep, gain, total.sqrt().recip()]
            });
            let gains = gains.collect();
            Filtered { stream, gains }
        });
        let streams = streams.collect();
        Self { streams, setting, log_determinant, ln_prior: wander.ln_prior() }
    }

    /// Sum of squares, one a stream.
    pub(super) fn misfit(&self, theta: &Vector, changes: &[Change]) -> Vec<(Kind, f64)> {
        let mut nothing = [0.0; PARAMETERS];
        let theta = &Point::from(theta);
        let each = self.streams.iter().map(|filtered| {
            let mut state = 0.0;
            let mut sum = 0.0;
            for (row, [keep, gain, weight]) in filtered.stream.rows.iter().zip(&filtered.gains) {
                let expected = predict(filtered.stream, row, theta, changes, self.setting, &mut nothing);
                let residual = if row.censored && expected < row.y { 0.0 } else { row.y - expected };
                state *= keep;
                let innovation = residual - state;
                state += gain * innovation;
                sum += robust(innovation * weight).0;
            }
            (filtered.stream.kind, sum)
        });
        each.collect()
    }

    /// The wander under which what an explanation leaves over is likeliest.
    pub(super) fn likeliest_wander(&self, theta: &Vector, changes: &[Change]) -> Wander {
        let theta = &Point::from(theta);
        let left: Vec<Residuals> = self.streams.iter().map(|own| self.residuals(own.stream, theta, changes)).collect();
        let best = |choices: &mut dyn Iterator<Item = ([f64; 2], f64)>, pass: &dyn Fn(Kind) -> bool| {
            let own: Vec<&Residuals> = left.iter().filter(|own| pass(own.kind)).collect();
            let weighed = choices.map(|(choice, ln_prior)| {
                (choice, ln_prior + own.iter().map(|own| own.ln_likelihood(choice)).sum::<f64>())
            });
            weighed.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(choice, _)| choice)
        };
        let content = [Species::Oxygen, Species::Water].map(|species| {
            let mut choices = Wander::CONTENT
                .iter()
                .flat_map(|[sd, ln_prior]| Wander::MEMORY_H.iter().map(|memory_h| ([*sd, *memory_h], *ln_prior)));
            let of = |kind: Kind| [Kind::Floor(species), Kind::Rise(species)].contains(&kind);
            best(&mut choices, &of).unwrap_or(Wander::USUAL.content[0])
        });
        let mut doses = Wander::DOSE.iter().map(|[sd, ln_prior]| ([*sd, 60.0], *ln_prior));
        let dose = best(&mut doses, &|kind| matches!(kind, Kind::Decay(_))).unwrap_or([Wander::USUAL.dose, 60.0])[0];
        Wander { content, dose }
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
            let mut state = [0.0; PARAMETERS];
            let mut level = 0.0;
            let mut active: Vec<usize> = Vec::new();
            let mut is_active = [false; PARAMETERS];
            for (row, [keep, gain, weight]) in filtered.stream.rows.iter().zip(&filtered.gains) {
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
                level *= keep;
                let innovation = (residual - level) * weight;
                level += gain * (residual - level);
                let (cost, share) = robust(innovation);
                objective += cost;
                for index in &active {
                    let held = state[*index] * keep;
                    let own = slope[*index] - held;
                    state[*index] = held + gain * own;
                    slope[*index] = own * weight;
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

/// What an explanation leaves over of a stream: time in h, residual, white standard deviation.
struct Residuals {
    kind: Kind,
    rows: Vec<[f64; 3]>,
}

impl Residuals {
    /// Logarithm of their likelihood under a wander of this standard deviation and memory in h.
    fn ln_likelihood(&self, [sd, memory_h]: [f64; 2]) -> f64 {
        let (mut variance, mut level, mut before_h) = (sd * sd, 0.0, f64::NEG_INFINITY);
        let mut sum = 0.0;
        for [time_h, residual, white] in &self.rows {
            let keep = (-(time_h - before_h) / memory_h).exp();
            variance = keep * keep * variance + sd * sd * (1.0 - keep * keep);
            level *= keep;
            before_h = *time_h;
            let total = variance + white * white;
            sum -= 0.5 * (robust((residual - level) / total.sqrt()).0 + total.ln());
            let gain = variance / total;
            level += gain * (residual - level);
            variance *= 1.0 - gain;
        }
        sum
    }
}

/// Huber's cost of an innovation, and the weight that gives the same pull: beyond four standard deviations the cost
/// grows only evenly, so that single odd rows do not decide.
fn robust(innovation: f64) -> (f64, f64) {
    const BEND: f64 = 4.0;
    let size = innovation.abs();
    if size <= BEND { (size * size, 1.0) } else { (BEND * (2.0 * size - BEND), BEND / size) }
}
