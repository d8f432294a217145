//! Which shapes of outgassing the readings support: grids that close in on where the likelihood lives.

use super::Outgassing;
use super::forward::Forward;
use super::likelihood::{Noise, Rows, Shared, amounts};
use super::shape::{Domain, Shape};

/// A shape with the logarithm of the prior probability of its cell, and of its evidence at the noise of the search.
#[derive(Debug, Clone, Copy)]
pub(super) struct ShapeNode {
    pub shape: Shape,
    pub log_prior: f64,
    pub log_evidence: f64,
}

/// Log evidence below the best at which a shape no longer matters.
const REACH: f64 = 9.0;
const ROUNDS: usize = 9;

/// Everything a search needs.
pub(super) struct Search<'a> {
    pub rows: &'a Rows,
    pub shared: &'a Shared,
    pub forward: &'a Forward,
    pub noise: Noise,
}

impl Search<'_> {
    /// Grid of shapes of one kind that holds the posterior.
    pub(super) fn nodes(&self, kind: Outgassing) -> Vec<ShapeNode> {
        match kind {
            Outgassing::None => self.grid(kind, Shape::domain(kind), [1, 1]),
            Outgassing::OneExponential => self.close_in(kind, [18, 1]),
            Outgassing::TwoExponentials => self.plane(kind, [12, 12]),
            Outgassing::PowerLaw => self.plane(kind, [8, 10]),
        }
    }

    fn plane(&self, kind: Outgassing, counts: [usize; 2]) -> Vec<ShapeNode> {
        let nodes = self.close_in(kind, counts);
        // A narrow ridge across the grid would be met by chance only: then the grid is turned along it.
        let heavy = nodes.iter().filter(|n| n.log_evidence > best(&nodes) - 3.0).count();
        if heavy >= 12 {
            return nodes;
        }
        self.turned(kind, &nodes).unwrap_or(nodes)
    }

    fn close_in(&self, kind: Outgassing, counts: [usize; 2]) -> Vec<ShapeNode> {
        let mut domain = Shape::domain(kind);
        let mut nodes = self.grid(kind, domain, counts);
        for _ in 0..ROUNDS {
            let smaller = around(&nodes, domain, counts);
            let shrink = |axis: usize| {
                let width = domain[axis][1] - domain[axis][0];
                counts[axis] > 1 && smaller[axis][1] - smaller[axis][0] < 0.75 * width
            };
            if !shrink(0) && !shrink(1) {
                break;
            }
            domain = smaller;
            nodes = self.grid(kind, domain, counts);
        }
        nodes
    }

    fn grid(&self, kind: Outgassing, domain: Domain, counts: [usize; 2]) -> Vec<ShapeNode> {
        let axis = |axis: usize| -> Vec<f64> {
            let n = counts[axis];
            let width = domain[axis][1] - domain[axis][0];
            // Midpoints of cells: the prior mass of a node is that of its cell.
            (0..n).map(|i| domain[axis][0] + width * (i as f64 + 0.5) / n as f64).collect()
        };
        let cell: f64 = (0..2)
            .filter(|&axis| counts[axis] > 1)
            .map(|axis| (domain[axis][1] - domain[axis][0]) / counts[axis] as f64)
            .product();
        let log_prior = (cell / Shape::prior_area(kind)).ln();
        let shapes: Vec<Shape> = axis(0)
            .iter()
            .flat_map(|&u| axis(1).into_iter().map(move |v| Shape { kind, u, v }))
            .filter(|shape| shape.is_admissible())
            .collect();
        self.evaluated(shapes, if kind == Outgassing::None { 0.0 } else { log_prior })
    }

    /// Nine by nine nodes along the principal axes of the posterior.
    fn turned(&self, kind: Outgassing, nodes: &[ShapeNode]) -> Option<Vec<ShapeNode>> {
        let mut current = nodes.to_vec();
        for _ in 0..3 {
            let top = best(&current);
            let weights: Vec<f64> = current.iter().map(|n| (n.log_evidence - top).exp()).collect();
            let total: f64 = weights.iter().sum();
            let mean = |f: &dyn Fn(&Shape) -> f64| {
                current.iter().zip(&weights).map(|(n, w)| w * f(&n.shape)).sum::<f64>() / total
            };
            let (u, v) = (mean(&|s| s.u), mean(&|s| s.v));
            let heaviest = current.iter().max_by(|a, b| a.log_evidence.total_cmp(&b.log_evidence))?;
            // Few nodes carry the weight: never narrower than their spacing.
            let floor = spacing(&current, heaviest);
            let uu = mean(&|s| (s.u - u).powi(2)) + floor[0].powi(2) / 12.0;
            let vv = mean(&|s| (s.v - v).powi(2)) + floor[1].powi(2) / 12.0;
            let uv = mean(&|s| (s.u - u) * (s.v - v));
            let angle = 0.5 * (2.0 * uv).atan2(uu - vv);
            let (sine, cosine) = angle.sin_cos();
            let long = (uu * cosine * cosine + vv * sine * sine + 2.0 * uv * sine * cosine).max(1e-16).sqrt();
            let short = (uu * sine * sine + vv * cosine * cosine - 2.0 * uv * sine * cosine).max(1e-18).sqrt();
            let step = 0.85;
            let mut shapes = Vec::with_capacity(81);
            for i in -4..=4 {
                for j in -4..=4 {
                    let (a, b) = (f64::from(i) * step * long, f64::from(j) * step * short);
                    let shape = Shape { kind, u: u + a * cosine - b * sine, v: v + a * sine + b * cosine };
                    if shape.is_admissible() {
                        shapes.push(shape);
                    }
                }
            }
            let log_prior = (step * step * long * short / Shape::prior_area(kind)).ln();
            let turned = self.evaluated(shapes, log_prior);
            if turned.is_empty() {
                return None;
            }
            current = turned;
            if current.iter().filter(|n| n.log_evidence > best(&current) - 3.0).count() >= 10 {
                break;
            }
        }
        Some(current)
    }

    fn evaluated(&self, shapes: Vec<Shape>, log_prior: f64) -> Vec<ShapeNode> {
        let (columns, places) = columns(self.forward, &shapes);
        let whitened = self.rows.whiten(&self.noise, self.shared, &columns);
        shapes
            .into_iter()
            .zip(&places)
            .filter_map(|(shape, place)| {
                let solved = self.rows.solve(&whitened, place)?;
                let log_prior = log_prior + shape.log_density();
                Some(ShapeNode { shape, log_prior, log_evidence: solved.log_evidence() + log_prior })
            })
            .collect()
    }
}

/// Smallest box around the nodes that matter, one step wider on each side.
fn around(nodes: &[ShapeNode], domain: Domain, counts: [usize; 2]) -> Domain {
    let top = best(nodes);
    let mut range = [[f64::INFINITY, f64::NEG_INFINITY]; 2];
    for node in nodes.iter().filter(|n| n.log_evidence > top - REACH) {
        for (axis, at) in [node.shape.u, node.shape.v].into_iter().enumerate() {
            range[axis] = [range[axis][0].min(at), range[axis][1].max(at)];
        }
    }
    for axis in 0..2 {
        let step = (domain[axis][1] - domain[axis][0]) / (counts[axis].max(2) - 1) as f64;
        range[axis] = [(range[axis][0] - step).max(domain[axis][0]), (range[axis][1] + step).min(domain[axis][1])];
    }
    range
}

/// Highest log evidence.
pub(super) fn best(nodes: &[ShapeNode]) -> f64 {
    nodes.iter().map(|n| n.log_evidence).fold(f64::NEG_INFINITY, f64::max)
}

/// Distance from a node to the nearest others along each axis.
fn spacing(nodes: &[ShapeNode], node: &ShapeNode) -> [f64; 2] {
    let nearest = |own: f64, of: &dyn Fn(&Shape) -> f64| {
        nodes.iter().map(|n| (of(&n.shape) - own).abs()).filter(|d| *d > 1e-12).fold(f64::INFINITY, f64::min).min(1.0)
    };
    [nearest(node.shape.u, &|s| s.u), nearest(node.shape.v, &|s| s.v)]
}

/// Amplitude columns of many shapes, equal ones once, and for each shape the columns it uses.
pub(super) fn columns(forward: &Forward, shapes: &[Shape]) -> (Vec<Vec<f64>>, Vec<Vec<usize>>) {
    let mut known: Vec<(Outgassing, [u64; 2])> = Vec::new();
    let mut all = Vec::new();
    let places = shapes
        .iter()
        .map(|shape| {
            (0..shape.terms())
                .map(|term| {
                    let key = match shape.kind {
                        Outgassing::PowerLaw => (shape.kind, [shape.u.to_bits(), shape.v.to_bits()]),
                        _ if term == 0 => (Outgassing::OneExponential, [shape.u.to_bits(), 0]),
                        _ => (Outgassing::OneExponential, [shape.v.to_bits(), 0]),
                    };
                    known.iter().position(|k| *k == key).unwrap_or_else(|| {
                        let single = match shape.kind {
                            Outgassing::PowerLaw => *shape,
                            _ => Shape {
                                kind: Outgassing::OneExponential,
                                u: if term == 0 { shape.u } else { shape.v },
                                v: 0.0,
                            },
                        };
                        known.push(key);
                        all.extend(amounts(forward, single));
                        all.len() - 1
                    })
                })
                .collect()
        })
        .collect();
    (all, places)
}
