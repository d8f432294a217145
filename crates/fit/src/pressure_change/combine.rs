//! Joins the likelihoods of several sensors into one distribution of the conductance.

use super::base::SHARED;
use super::likelihood::Node;
use crate::uncertainty::Distribution;

/// Values of the shared nuisances (deviations from the expansion point; the first entry is not used) with the log of
/// prior times quadrature weight.
pub(crate) type Nuisance = ([f64; SHARED], f64);

/// A sensor's integrated likelihood, and how far it may be wrong as a whole.
pub(crate) struct Evidence {
    pub(crate) nodes: Vec<Node>,
    /// Probability that the sensor drifts against the mean gas beyond what its wander says (warm corner, leaking
    /// vessel), and the standard deviation of the conductance that such a drift feigns. Used only beside others: alone
    /// nothing could show it.
    pub(crate) suspicion: (f64, f64),
}

/// Joint result of all sensors.
pub(crate) struct Combined {
    /// Conductance over volume, deviation from the expansion point, in 1/s.
    pub(crate) distribution: Distribution,
    /// Nuisance nodes that carry weight, and their posterior weights.
    pub(crate) nuisances: Vec<Nuisance>,
    pub(crate) nuisance_weight: Vec<f64>,
    /// Median and standard deviation of each sensor alone (the heaviest nuisance node).
    pub(crate) alone: Vec<(f64, f64)>,
}

/// Combines the evidence on a grid that is fine where any sensor's density is.
pub(crate) fn combine(evidence: &[Evidence], nuisances: &[Nuisance]) -> Option<Combined> {
    let kept = worthwhile(evidence, nuisances);
    let nuisances = &kept[..];
    let grid = grid(evidence, nuisances)?;
    let mut joint = vec![vec![0.0; grid.len()]; nuisances.len()];
    let mut tables = Vec::with_capacity(evidence.len());
    for sensor in evidence {
        let table: Vec<Vec<f64>> = nuisances
            .iter()
            .map(|(others, _)| {
                let curve = log_likelihood(&sensor.nodes, others, &grid);
                if evidence.len() > 1 { with_suspicion(curve, &grid, sensor.suspicion) } else { curve }
            })
            .collect();
        for (sum, curve) in joint.iter_mut().zip(&table) {
            for (s, c) in sum.iter_mut().zip(curve) {
                *s += c;
            }
        }
        tables.push(table);
    }
    for (curve, (_, log_prior)) in joint.iter_mut().zip(nuisances) {
        for value in curve {
            *value += log_prior;
        }
    }
    let top = joint.iter().flatten().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return None;
    }
    let mut density = vec![0.0; grid.len()];
    let mut nuisance_weight = Vec::with_capacity(nuisances.len());
    for curve in &joint {
        let part: Vec<f64> = curve.iter().map(|value| (value - top).exp()).collect();
        nuisance_weight.push(trapezoid(&grid, &part));
        density.iter_mut().zip(&part).for_each(|(d, p)| *d += p);
    }
    let total: f64 = nuisance_weight.iter().sum();
    for weight in &mut nuisance_weight {
        *weight /= total;
    }
    let heaviest = (0..nuisances.len()).max_by(|a, b| nuisance_weight[*a].total_cmp(&nuisance_weight[*b]))?;
    let alone = tables
        .iter()
        .map(|table| {
            let curve = &table[heaviest];
            let top = curve.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let density: Vec<f64> = curve.iter().map(|value| (value - top).exp()).collect();
            let distribution = Distribution::from_density(grid.clone(), &density);
            (distribution.median(), distribution.standard_deviation())
        })
        .collect();
    Some(Combined { distribution: Distribution::from_density(grid, &density), nuisances: kept, nuisance_weight, alone })
}

/// Nuisance nodes without those that one sensor alone makes impossible. Several sensors may disagree about them, so
/// then all are kept.
fn worthwhile(evidence: &[Evidence], nuisances: &[Nuisance]) -> Vec<Nuisance> {
    let [sensor] = evidence else { return nuisances.to_vec() };
    let weight = |(others, log_prior): &Nuisance| {
        sensor.nodes.iter().map(|node| node.log_marginal(others)).fold(f64::NEG_INFINITY, f64::max) + log_prior
    };
    let weights: Vec<f64> = nuisances.iter().map(weight).collect();
    let top = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    nuisances.iter().zip(weights).filter(|(_, weight)| *weight > top - 14.0).map(|(nuisance, _)| *nuisance).collect()
}

/// Log of the sum over nodes at every grid point.
fn log_likelihood(nodes: &[Node], others: &[f64; SHARED], grid: &[f64]) -> Vec<f64> {
    let profiles: Vec<(f64, f64, f64)> = nodes.iter().map(|node| node.profile(others)).collect();
    let top = nodes
        .iter()
        .zip(&profiles)
        .map(|(node, (_, rss, _))| node.log_likelihood(*rss))
        .fold(f64::NEG_INFINITY, f64::max);
    let mut sum = vec![0.0; grid.len()];
    for (node, (best, rss, curvature)) in nodes.iter().zip(&profiles) {
        let height = node.log_likelihood(*rss) - top;
        if height < -40.0 {
            continue;
        }
        let power = -0.5 * (node.degrees_of_freedom + 1.0);
        for (s, g) in sum.iter_mut().zip(grid) {
            let excess = curvature * (g - best).powi(2) / rss;
            *s += (height + power * excess.ln_1p()).exp();
        }
    }
    sum.into_iter().map(|s| s.max(1e-300).ln() + top).collect()
}

/// Mixes a curve with the same curve smeared by an unknown drift.
fn with_suspicion(curve: Vec<f64>, grid: &[f64], (probability, drift): (f64, f64)) -> Vec<f64> {
    if probability <= 0.0 {
        return curve;
    }
    let top = curve.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let density: Vec<f64> = curve.iter().map(|value| (value - top).exp()).collect();
    let mass = trapezoid(grid, &density);
    let distribution = Distribution::from_density(grid.to_vec(), &density);
    let (centre, own) = (distribution.mean(), distribution.standard_deviation());
    let smeared = |g: f64| -> f64 {
        // A small and a large drift, half each: a density with long tails, so that a gross error loses its pull.
        [0.5, 4.0]
            .iter()
            .map(|factor| {
                let spread = own.hypot(factor * drift);
                0.5 * mass / (spread * std::f64::consts::TAU.sqrt()) * (-0.5 * ((g - centre) / spread).powi(2)).exp()
            })
            .sum()
    };
    density
        .iter()
        .zip(grid)
        .map(|(d, g)| ((1.0 - probability) * d + probability * smeared(*g)).max(1e-300).ln() + top)
        .collect()
}

/// Abscissae: around the best value of every sensor and nuisance node, dense near it and sparse far out.
fn grid(evidence: &[Evidence], nuisances: &[Nuisance]) -> Option<Vec<f64>> {
    let mut points = Vec::new();
    let mut finest = f64::INFINITY;
    for sensor in evidence {
        for (others, _) in nuisances {
            let best = sensor.nodes.iter().max_by(|a, b| a.log_marginal(others).total_cmp(&b.log_marginal(others)))?;
            let (centre, rss, curvature) = best.profile(others);
            let scale = (rss / best.degrees_of_freedom.max(1.0) / curvature).sqrt();
            // The widest node that matters sets how far out to go.
            let widest = sensor
                .nodes
                .iter()
                .map(|node| {
                    let (b, rss, curvature) = node.profile(others);
                    (b - centre).abs() + 6.0 * (rss / node.degrees_of_freedom.max(1.0) / curvature).sqrt()
                })
                .fold(6.0 * scale, f64::max)
                + if evidence.len() > 1 { 10.0 * sensor.suspicion.1 } else { 0.0 };
            if !(scale > 0.0 && widest.is_finite()) {
                return None;
            }
            finest = finest.min(scale);
            let reach = (1.5 * widest / scale).asinh();
            for i in -45..=45_i32 {
                points.push(centre + scale * (reach * f64::from(i) / 45.0).sinh());
            }
        }
    }
    points.sort_by(f64::total_cmp);
    let mut thinned: Vec<f64> = Vec::with_capacity(points.len());
    for point in points {
        if thinned.last().is_none_or(|last| point - last > 0.25 * finest) {
            thinned.push(point);
        }
    }
    Some(thinned)
}

fn trapezoid(x: &[f64], y: &[f64]) -> f64 {
    x.windows(2).zip(y.windows(2)).map(|(x, y)| 0.5 * (x[1] - x[0]) * (y[0] + y[1])).sum()
}
