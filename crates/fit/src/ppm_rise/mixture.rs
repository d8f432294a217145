//! Posterior of the steady ingress: a mixture over noise and shapes of outgassing.

use super::Outgassing;
use super::likelihood::{INGRESS, MOST, Solved, phi, positive};
use super::shape::Shape;
use crate::uncertainty::Distribution;
use statrs::function::gamma::ln_gamma;

/// One combination of noise and shape: a Student t of the ingress, times the probability that the amounts outgassed
/// are positive given the ingress.
#[derive(Debug, Clone, Copy)]
pub(super) struct Component {
    pub shape: Shape,
    pub noise: usize,
    /// Which course of the ingress (see [`LeakShare`](super::inflow::LeakShare)).
    pub course: usize,
    pub solved: Solved,
    pub log_weight: f64,
}

/// Components that matter, their weights adding to 1 (positivity included).
#[derive(Debug, Clone)]
pub(super) struct Mixture {
    components: Vec<(Component, f64)>,
}

/// Most components that are kept.
const LIMIT: usize = 400;

impl Mixture {
    /// `None` without components that are possible.
    pub(super) fn new(mut components: Vec<Component>) -> Option<Self> {
        components.retain(|c| c.solved.is_possible());
        let total = |c: &Component| c.log_weight + c.solved.log_positive();
        components.sort_by(|a, b| total(b).total_cmp(&total(a)));
        let top = total(components.first()?);
        components.truncate(LIMIT);
        let mut weighted: Vec<(Component, f64)> = components
            .into_iter()
            .map(|c| (c, (total(&c) - top).exp()))
            .take_while(|(_, weight)| *weight > 1e-4)
            .collect();
        let sum: f64 = weighted.iter().map(|(_, w)| w).sum();
        for (_, weight) in &mut weighted {
            *weight /= sum;
        }
        Some(Self { components: weighted })
    }

    pub(super) fn heaviest(&self) -> &Component {
        &self.components[0].0
    }

    /// Probability of a model.
    pub(super) fn weight(&self, kind: Outgassing) -> f64 {
        self.of(kind).map(|(_, w)| w).sum()
    }

    /// Probability of the components that a rule keeps.
    pub(super) fn weight_of(&self, keep: impl Fn(&Component) -> bool) -> f64 {
        self.components.iter().filter(|(c, _)| keep(c)).map(|(_, w)| w).sum()
    }

    /// Components with their weights, heaviest first.
    pub(super) fn weighted(&self) -> &[(Component, f64)] {
        &self.components
    }

    /// The part of the mixture that a rule keeps; `None` where it keeps nothing.
    pub(super) fn part(&self, keep: impl Fn(&Component) -> bool) -> Option<Self> {
        Self::new(self.components.iter().filter(|(c, _)| keep(c)).map(|(c, _)| *c).collect())
    }

    fn of(&self, kind: Outgassing) -> impl Iterator<Item = &(Component, f64)> {
        self.components.iter().filter(move |(c, _)| c.shape.kind == kind)
    }

    /// The part of the mixture with one model; `None` where it has none.
    pub(super) fn only(&self, kind: Outgassing) -> Option<Self> {
        self.part(|c| c.shape.kind == kind)
    }

    /// Distribution of the ingress over the window.
    pub(super) fn ingress(&self) -> Distribution {
        let kernels: Vec<Kernel> = self.components.iter().map(|(c, w)| Kernel::new(c, *w)).collect();
        let grid = grid(&kernels.iter().map(|k| (k.location, k.scale)).collect::<Vec<_>>());
        let density: Vec<f64> = grid.iter().map(|&r| kernels.iter().map(|k| k.density(r)).sum()).collect();
        Distribution::from_density(grid, &density)
    }

    /// Distribution of ingress and outgassing together at the end of the window, per window.
    pub(super) fn rate_at_end(&self) -> Distribution {
        let bells: Vec<Bell> = self
            .components
            .iter()
            .map(|(component, weight)| {
                let solved = &component.solved;
                let shared = solved.size - solved.terms;
                let mut gradient = [0.0; MOST];
                gradient[INGRESS] = 1.0;
                for term in 0..solved.terms {
                    gradient[shared + term] = component.shape.rate_at_end(term);
                }
                let location = (0..solved.size).map(|i| gradient[i] * solved.beta[i]).sum();
                let variance: f64 = (0..solved.size)
                    .map(|i| gradient[i] * (0..solved.size).map(|j| solved.covariance[i][j] * gradient[j]).sum::<f64>())
                    .sum();
                Bell { location, scale: variance.max(1e-300).sqrt(), weight: *weight }
            })
            .collect();
        of_bells(&bells)
    }

    /// Distribution of the outgassing alone at the end of the window, per window; it is not negative, and zero where
    /// a model has none.
    pub(super) fn outgassing_at_end(&self) -> Distribution {
        let mut none = 0.0;
        let mut parts = Vec::new();
        for (component, weight) in &self.components {
            let solved = &component.solved;
            let shared = solved.size - solved.terms;
            if solved.terms == 0 {
                none += weight;
                continue;
            }
            let rate = |term: usize| component.shape.rate_at_end(term);
            let location: f64 = (0..solved.terms).map(|a| rate(a) * solved.beta[shared + a]).sum();
            let mut variance = 0.0;
            for a in 0..solved.terms {
                for b in 0..solved.terms {
                    variance += rate(a) * rate(b) * solved.covariance[shared + a][shared + b];
                }
            }
            let scale = variance.max(1e-300).sqrt();
            parts.push((location, scale, *weight, phi(location / scale).max(1e-12)));
        }
        let Some(top) = parts.iter().map(|p| p.0.max(0.0) + 6.0 * p.1).reduce(f64::max) else {
            return Distribution::normal(0.0, 0.0);
        };
        // Squares of even steps: fine near zero, where most of the components end.
        let x: Vec<f64> = (0..=600).map(|i| top * (f64::from(i) / 600.0).powi(2)).collect();
        let cumulative = x.iter().map(|&r| {
            let below = |&(location, scale, weight, positive): &(f64, f64, f64, f64)| {
                weight * (1.0 - phi((location - r) / scale) / positive).max(0.0)
            };
            (none + parts.iter().map(below).sum::<f64>()).min(1.0)
        });
        Distribution::Tabulated { cumulative: cumulative.collect(), x }
    }
}

/// One of several normal distributions that are mixed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bell {
    pub(super) location: f64,
    pub(super) scale: f64,
    pub(super) weight: f64,
}

/// Mixture of normal distributions.
pub(super) fn of_bells(bells: &[Bell]) -> Distribution {
    let grid = grid(&bells.iter().map(|bell| (bell.location, bell.scale)).collect::<Vec<_>>());
    let density: Vec<f64> = grid
        .iter()
        .map(|&r| {
            let of = |bell: &Bell| bell.weight / bell.scale * (-0.5 * ((r - bell.location) / bell.scale).powi(2)).exp();
            bells.iter().map(of).sum()
        })
        .collect();
    Distribution::from_density(grid, &density)
}

/// What the density of one component needs.
struct Kernel {
    location: f64,
    scale: f64,
    degrees_of_freedom: f64,
    factor: f64,
    terms: usize,
    mean: [f64; 2],
    slope: [f64; 2],
    rest: [[f64; 2]; 2],
}

impl Kernel {
    fn new(component: &Component, weight: f64) -> Self {
        let solved = &component.solved;
        let shared = solved.size - solved.terms;
        let variance = solved.covariance[INGRESS][INGRESS].max(1e-300);
        let (mut mean, mut slope, mut rest) = ([0.0; 2], [0.0; 2], [[0.0; 2]; 2]);
        for a in 0..solved.terms {
            mean[a] = solved.beta[shared + a];
            slope[a] = solved.covariance[shared + a][INGRESS] / variance;
        }
        for a in 0..solved.terms {
            for b in 0..solved.terms {
                rest[a][b] = solved.covariance[shared + a][shared + b] - slope[a] * slope[b] * variance;
            }
            rest[a][a] = rest[a][a].max(1e-12 * solved.covariance[shared + a][shared + a]);
        }
        let nu = solved.degrees_of_freedom;
        let scale = variance.sqrt();
        let normalisation =
            (ln_gamma(0.5 * (nu + 1.0)) - ln_gamma(0.5 * nu)).exp() / (nu * std::f64::consts::PI).sqrt();
        Self {
            location: solved.beta[INGRESS],
            scale,
            degrees_of_freedom: nu,
            // The weight counts positivity already; the density counts it again, so it is divided out here.
            factor: weight / solved.log_positive().exp().max(1e-300) * normalisation / scale,
            terms: solved.terms,
            mean,
            slope,
            rest,
        }
    }

    fn density(&self, r: f64) -> f64 {
        let z = (r - self.location) / self.scale;
        if z.abs() > 9.0 {
            return 0.0;
        }
        let nu = self.degrees_of_freedom;
        let student = (-0.5 * (nu + 1.0) * (z * z / nu).ln_1p()).exp();
        if self.terms == 0 {
            return self.factor * student;
        }
        let widened = (nu + z * z) / (nu + 1.0);
        let shift = r - self.location;
        let mean = [self.mean[0] + self.slope[0] * shift, self.mean[1] + self.slope[1] * shift];
        self.factor * student * positive(&mean[..self.terms], &|a, b| self.rest[a][b] * widened)
    }
}

/// Abscissae that resolve the narrowest and reach the widest of many bell curves.
fn grid(curves: &[(f64, f64)]) -> Vec<f64> {
    let mut points = Vec::new();
    let every = (curves.len() / 5).max(1);
    let mut add = |(location, scale): (f64, f64)| {
        points.extend((-17..=17).map(|i| {
            let u = 6.0 * f64::from(i) / 17.0;
            // Up to 12 scales out, closer together near the middle.
            location + scale * u * (1.0 + u * u / 36.0)
        }));
    };
    for curve in curves.iter().take(2).chain(curves.iter().step_by(every)) {
        add(*curve);
    }
    if let Some(widest) = curves.iter().max_by(|a, b| a.1.total_cmp(&b.1)) {
        add(*widest);
    }
    if let Some(narrowest) = curves.iter().min_by(|a, b| a.1.total_cmp(&b.1)) {
        add(*narrowest);
    }
    points.sort_by(f64::total_cmp);
    let reach = points.last().zip(points.first()).map_or(1.0, |(b, a)| b - a);
    points.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * reach);
    points
}
