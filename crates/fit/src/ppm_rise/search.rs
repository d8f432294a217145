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
    /// Whether its amounts can be positive.
    pub possible: bool,
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

    /// A grid turned along the ridge of the likelihood where that has a clear top, else one along the axes.
    fn plane(&self, kind: Outgassing, counts: [usize; 2]) -> Vec<ShapeNode> {
        let rough = self.grid(kind, Shape::domain(kind), counts);
        let top = self.climb(kind, &rough);
        if let Some(nodes) = top.and_then(|top| self.turned(kind, &top)) {
            return nodes;
        }
        self.close_in(kind, counts)
    }

    /// Climbs from the best node to the top by Newton steps on the paraboloid through nine points.
    fn climb(&self, kind: Outgassing, rough: &[ShapeNode]) -> Option<Top> {
        let start = rough.iter().max_by(|a, b| a.log_evidence.total_cmp(&b.log_evidence))?.shape;
        let (mut at, mut reach) = ([start.u, start.v], 0.1);
        let mut top = None;
        for _ in 0..40 {
            let Some(nine) = self.nine(kind, at, reach) else {
                // Next to an edge: a smaller stencil, or a top on the edge.
                if reach < 0.01 {
                    return None;
                }
                reach *= 0.3;
                continue;
            };
            let best = (0..9).max_by(|a, b| nine[*a].total_cmp(&nine[*b]))?;
            let paraboloid = Paraboloid::through(&nine, reach);
            let step = paraboloid.covariance().map(|c| {
                let g = paraboloid.gradient;
                [c[0] * g[0] + c[1] * g[1], c[1] * g[0] + c[2] * g[1]]
            });
            match step {
                Some(step) => {
                    let longest = step[0].abs().max(step[1].abs());
                    let share = (5.0 * reach / longest.max(1e-300)).min(1.0);
                    at = [at[0] + share * step[0], at[1] + share * step[1]];
                    // The stencil follows the standard deviation across the ridge.
                    let next = paraboloid.steepness().sqrt().recip().clamp(1e-5, 0.1);
                    let settled = longest < 0.5 * next && (0.4..2.5).contains(&(next / reach));
                    reach = next.clamp(0.2 * reach, 2.0 * reach);
                    if settled {
                        let covariance = paraboloid.covariance()?;
                        top = Some(Top { at, covariance });
                        break;
                    }
                }
                None if best != 4 => {
                    at = [at[0] + reach * ((best / 3) as f64 - 1.0), at[1] + reach * ((best % 3) as f64 - 1.0)];
                    reach = (1.5 * reach).min(0.1);
                }
                None => reach *= 0.4,
            }
        }
        // Broad or at an edge: a grid along the axes does better.
        top.filter(|t| t.covariance[0].max(t.covariance[2]) < 0.15)
    }

    /// Log evidence on a three by three stencil; `None` where it leaves the admissible shapes.
    fn nine(&self, kind: Outgassing, at: [f64; 2], reach: f64) -> Option<[f64; 9]> {
        let shapes: Vec<Shape> = (0..9)
            .map(|i| Shape {
                kind,
                u: at[0] + reach * (f64::from(i / 3) - 1.0),
                v: at[1] + reach * (f64::from(i % 3) - 1.0),
            })
            .collect();
        if !shapes.iter().all(|shape| shape.is_admissible()) {
            return None;
        }
        let nodes = self.evaluated(shapes, 0.0);
        let mut nine = [0.0; 9];
        (nodes.len() == 9).then(|| {
            for (slot, node) in nine.iter_mut().zip(&nodes) {
                *slot = node.log_evidence;
            }
            nine
        })
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

    /// Nine by nine nodes along the principal axes of the posterior; `None` where they do not hold it.
    fn turned(&self, kind: Outgassing, top: &Top) -> Option<Vec<ShapeNode>> {
        let [uu, uv, vv] = top.covariance;
        let angle = 0.5 * (2.0 * uv).atan2(uu - vv);
        let (sine, cosine) = angle.sin_cos();
        let long = (uu * cosine * cosine + vv * sine * sine + 2.0 * uv * sine * cosine).max(1e-16).sqrt();
        let short = (uu * sine * sine + vv * cosine * cosine - 2.0 * uv * sine * cosine).max(1e-18).sqrt();
        let step = 0.9;
        let mut shapes = Vec::with_capacity(81);
        for i in -4..=4 {
            for j in -4..=4 {
                let (a, b) = (f64::from(i) * step * long, f64::from(j) * step * short);
                let shape = Shape { kind, u: top.at[0] + a * cosine - b * sine, v: top.at[1] + a * sine + b * cosine };
                if shape.is_admissible() {
                    shapes.push(shape);
                }
            }
        }
        let log_prior = (step * step * long * short / Shape::prior_area(kind)).ln();
        let nodes = self.evaluated(shapes, log_prior);
        let heavy = nodes.iter().filter(|n| n.log_evidence > best(&nodes) - 2.0).count();
        ((6..40).contains(&heavy)).then_some(nodes)
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
                Some(ShapeNode {
                    shape,
                    log_prior,
                    log_evidence: solved.log_evidence() + log_prior,
                    possible: solved.is_possible(),
                })
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

/// Top of the evidence and the covariance (uu, uv, vv) of the coordinates there.
struct Top {
    at: [f64; 2],
    covariance: [f64; 3],
}

/// Gradient and curvature at the middle of nine points.
struct Paraboloid {
    gradient: [f64; 2],
    /// Second derivatives uu, uv, vv.
    curvature: [f64; 3],
}

impl Paraboloid {
    /// Central differences; index 3·i + j holds the point i − 1, j − 1 steps from the middle.
    fn through(nine: &[f64; 9], step: f64) -> Self {
        let gradient = [(nine[7] - nine[1]) / (2.0 * step), (nine[5] - nine[3]) / (2.0 * step)];
        let square = step * step;
        let curvature = [
            (nine[7] + nine[1] - 2.0 * nine[4]) / square,
            (nine[8] + nine[0] - nine[6] - nine[2]) / (4.0 * square),
            (nine[5] + nine[3] - 2.0 * nine[4]) / square,
        ];
        Self { gradient, curvature }
    }

    fn determinant(&self) -> f64 {
        self.curvature[0] * self.curvature[2] - self.curvature[1] * self.curvature[1]
    }

    /// Inverse of the negative curvature (uu, uv, vv); `None` where there is no top.
    fn covariance(&self) -> Option<[f64; 3]> {
        let [uu, uv, vv] = self.curvature;
        let determinant = self.determinant();
        (uu < 0.0 && determinant > 1e-9 * uu * vv).then(|| [-vv / determinant, uv / determinant, -uu / determinant])
    }

    /// Sum of the two variances' inverses, the larger of which is that across the ridge.
    fn steepness(&self) -> f64 {
        -(self.curvature[0] + self.curvature[2])
    }
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
