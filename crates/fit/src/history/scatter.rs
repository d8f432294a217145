//! The scatter between tests and the steps at services, both not known and averaged over.

use nalgebra::{DMatrix, DVector};

use super::Point;
use super::regression::{Fit, fit};
use crate::uncertainty::Distribution;

/// Values of the scatter that are tried, equally probable beforehand.
const GRID: usize = 80;
/// Points of a tabulated density.
const ABSCISSAE: usize = 240;
/// Scale of the half-Cauchy prior of the scatter over the usual uncertainty.
const PRIOR_SCALE: f64 = 2.0;

/// Fits for every model and every value of the scatter with their posterior weights.
#[derive(Debug, Clone)]
pub(super) struct Mixture {
    parts: Vec<Part>,
    /// ln of the sum of the weights before they were made to add to 1.
    pub(super) log_evidence: f64,
}

#[derive(Debug, Clone)]
struct Part {
    scatter: f64,
    weight: f64,
    model: usize,
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// One of the models that are averaged over.
#[derive(Debug, Clone)]
pub(super) struct Model {
    /// Design: a row a point, a column an unknown.
    pub(super) design: DMatrix<f64>,
    /// Unknowns with a normal prior around 0: column and standard deviation.
    pub(super) priors: Vec<(usize, f64)>,
    /// Place of each of its unknowns among those of all models.
    pub(super) places: Vec<usize>,
    /// ln of its probability beforehand.
    pub(super) log_prior: f64,
}

impl Mixture {
    /// Averages over `models` of `unknowns` unknowns in all; `None` where the columns of all depend on each other.
    pub(super) fn new(models: &[Model], unknowns: usize, points: &[Point]) -> Option<Self> {
        let scale = PRIOR_SCALE * scale(points);
        // Quantiles of the half-Cauchy distribution.
        let quantile = |k: usize| scale * (std::f64::consts::FRAC_PI_2 * (k as f64 + 0.5) / GRID as f64).tan();
        let scatters: Vec<f64> = (0..GRID).map(quantile).collect();
        let fits: Vec<(usize, f64, Fit)> = models
            .iter()
            .enumerate()
            .flat_map(|(index, model)| model.fits(points, &scatters).map(move |(scatter, fit)| (index, scatter, fit)))
            .collect();
        let log_weight = |model: usize, fit: &Fit| models[model].log_prior + fit.log_restricted;
        let top = fits.iter().map(|(model, _, fit)| log_weight(*model, fit)).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = fits.iter().map(|(model, _, fit)| (log_weight(*model, fit) - top).exp()).sum();
        if !(sum > 0.0) {
            return None;
        }
        let parts = fits
            .into_iter()
            .map(|(model, scatter, fit)| {
                let weight = (log_weight(model, &fit) - top).exp() / sum;
                models[model].part(model, scatter, weight, &fit, unknowns)
            })
            .filter(|part| part.weight > 1e-6)
            .collect();
        Some(Self { parts, log_evidence: top + (sum / GRID as f64).ln() })
    }

    /// The parts of the models that `keep` says.
    pub(super) fn only(&self, keep: impl Fn(usize) -> bool) -> Option<Self> {
        let mut parts: Vec<Part> = self.parts.iter().filter(|part| keep(part.model)).cloned().collect();
        let sum: f64 = parts.iter().map(|part| part.weight).sum();
        for part in &mut parts {
            part.weight /= sum;
        }
        (sum > 0.0).then_some(Self { parts, log_evidence: self.log_evidence + sum.ln() })
    }

    /// Probability of the models that `keep` says.
    pub(super) fn probability(&self, keep: impl Fn(usize) -> bool) -> f64 {
        self.parts.iter().filter(|part| keep(part.model)).map(|part| part.weight).sum()
    }

    /// Distribution of a linear combination of the unknowns.
    pub(super) fn combination(&self, factors: &[f64]) -> Distribution {
        let normals = self.normals(factors);
        let [low, centre, high] = [0.0005, 0.5, 0.9995].map(|p| quantile(&normals, p));
        let reach = 3.0;
        let x = spaced(centre - reach * (centre - low), centre, centre + reach * (high - centre));
        let density: Vec<f64> = x
            .iter()
            .map(|x| normals.iter().map(|(w, mean, sd)| w / sd * (-0.5 * ((x - mean) / sd).powi(2)).exp()).sum())
            .collect();
        Distribution::from_density(x, &density)
    }

    /// Quantiles of the combination.
    pub(super) fn quantiles<const N: usize>(&self, factors: &[f64], probabilities: [f64; N]) -> [f64; N] {
        let normals = self.normals(factors);
        probabilities.map(|p| quantile(&normals, p))
    }

    /// Probability that the combination is above `limit`.
    pub(super) fn probability_above(&self, factors: &[f64], limit: f64) -> f64 {
        1.0 - cdf(&self.normals(factors), limit)
    }

    /// Weight, mean and standard deviation of the combination for each part.
    fn normals(&self, factors: &[f64]) -> Vec<Normal> {
        let normal = |part: &Part| {
            let mut variance = 0.0;
            for (i, a) in factors.iter().enumerate() {
                for (j, b) in factors.iter().enumerate() {
                    variance += a * b * part.covariance[(i, j)];
                }
            }
            let mean: f64 = factors.iter().zip(&part.mean).map(|(a, m)| a * m).sum();
            (part.weight, mean, variance.max(0.0).sqrt().max(f64::MIN_POSITIVE))
        };
        self.parts.iter().map(normal).collect()
    }

    /// Quantile of the scatter.
    pub(super) fn scatter_quantile(&self, probability: f64) -> f64 {
        let mut weights: Vec<(f64, f64)> = self.parts.iter().map(|part| (part.scatter, part.weight)).collect();
        weights.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut sum = 0.0;
        let reached = weights.iter().find(|(_, weight)| {
            sum += weight;
            sum >= probability
        });
        reached.or(weights.last()).map_or(0.0, |(scatter, _)| *scatter)
    }
}

impl Model {
    /// The fits for each scatter that can be had. A prior is one more observation of 0 with its own variance.
    fn fits<'a>(&'a self, points: &'a [Point], scatters: &'a [f64]) -> impl Iterator<Item = (f64, Fit)> + 'a {
        let (n, extra) = (points.len(), self.priors.len());
        let design = DMatrix::from_fn(n + extra, self.design.ncols(), |i, j| match i.checked_sub(n) {
            None => self.design[(i, j)],
            Some(k) => f64::from(u8::from(self.priors[k].0 == j)),
        });
        let y = DVector::from_fn(n + extra, |i, _| points.get(i).map_or(0.0, |point| point.value));
        scatters.iter().filter_map(move |scatter| {
            let of_points = points.iter().map(|p| p.standard_uncertainty.powi(2) + scatter * scatter);
            let variance: Vec<f64> = of_points.chain(self.priors.iter().map(|(_, sd)| sd * sd)).collect();
            Some((*scatter, fit(&design, &y, &variance)?))
        })
    }

    fn part(&self, model: usize, scatter: f64, weight: f64, fit: &Fit, unknowns: usize) -> Part {
        let mut mean = DVector::zeros(unknowns);
        let mut covariance = DMatrix::zeros(unknowns, unknowns);
        for (i, a) in self.places.iter().enumerate() {
            mean[*a] = fit.coefficients[i];
            for (j, b) in self.places.iter().enumerate() {
                covariance[(*a, *b)] = fit.covariance[(i, j)];
            }
        }
        Part { scatter, weight, model, mean, covariance }
    }
}

/// Weight, mean, standard deviation.
type Normal = (f64, f64, f64);

fn cdf(normals: &[Normal], x: f64) -> f64 {
    normals.iter().map(|(weight, mean, sd)| weight * normal_cdf((x - mean) / sd)).sum()
}

fn quantile(normals: &[Normal], probability: f64) -> f64 {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for (_, mean, sd) in normals {
        low = low.min(mean - 8.0 * sd);
        high = high.max(mean + 8.0 * sd);
    }
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if cdf(normals, middle) < probability { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Scale of the uncertainties: the usual one, or what the values show where that is far more.
fn scale(points: &[Point]) -> f64 {
    let mut u: Vec<f64> = points.iter().map(|point| point.standard_uncertainty).collect();
    u.sort_by(f64::total_cmp);
    let mean = points.iter().map(|point| point.value).sum::<f64>() / points.len() as f64;
    let spread = (points.iter().map(|p| (p.value - mean).powi(2)).sum::<f64>() / points.len() as f64).sqrt();
    u[u.len() / 2].max(0.05 * spread).max(1e-9 * mean.abs()).max(f64::MIN_POSITIVE.sqrt())
}

/// Abscissae that crowd around the centre and still reach the far tails.
fn spaced(low: f64, centre: f64, high: f64) -> Vec<f64> {
    let half = ABSCISSAE / 2;
    let bend = |k: usize| (k as f64 / half as f64).powi(2);
    let left = (1..=half).rev().map(|k| centre - (centre - low) * bend(k));
    let right = (1..=half).map(|k| centre + (high - centre) * bend(k));
    left.chain(std::iter::once(centre)).chain(right).collect()
}

fn normal_cdf(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_combination_has_the_median_and_tails_of_its_mixture() {
        let points: Vec<Point> =
            [1.0, 1.3, 0.9, 1.1, 1.2].iter().zip(0..).map(|(y, k)| Point::new(f64::from(k), *y, 0.1)).collect();
        let level =
            Model { design: DMatrix::from_element(5, 1, 1.0), priors: Vec::new(), places: vec![0], log_prior: 0.0 };
        let mixture = Mixture::new(&[level], 1, &points).unwrap();
        let mean = mixture.combination(&[1.0]);
        assert!((mean.median() - 1.1).abs() < 1e-3);
        let [upper] = mixture.quantiles(&[1.0], [0.975]);
        assert!((mean.quantile(0.975) - upper).abs() < 2e-3 * upper);
        assert!((mixture.probability_above(&[1.0], upper) - 0.025).abs() < 1e-9);
    }
}
