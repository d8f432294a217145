//! Search over time constants of the gas.

use super::columns::{Law, Shape};
use super::likelihood::{Noise, Rows, Solved};
use super::response::LagNode;

/// Range of time constants that is searched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TauScan {
    pub from_s: f64,
    pub to_s: f64,
    pub law: Law,
}

impl TauScan {
    pub(super) fn over(span_s: f64) -> Self {
        Self { from_s: span_s / 300.0, to_s: 3.0 * span_s, law: Law::Exponential }
    }

    /// Around the time constant of one exponential, for a law that changes it little.
    pub(super) fn about(&self, tau_s: f64, law: Law) -> Self {
        Self { from_s: self.from_s.max(tau_s / 2.5), to_s: self.to_s.min(1.3 * tau_s), law }
    }

    pub(super) fn shape(&self, tau_s: f64, node: &LagNode) -> Shape {
        Shape { tau_s, lag_s: node.lag_s, law: self.law, rise: node.rise.map(|path| path.at(tau_s)) }
    }

    /// Time constants spread evenly in their logarithm.
    pub(super) fn nodes(&self, count: usize) -> impl Iterator<Item = f64> + use<> {
        let (from_s, ratio) = (self.from_s, self.to_s / self.from_s);
        (0..count).map(move |i| from_s * ratio.powf(i as f64 / (count - 1) as f64))
    }

    /// Most probable time constant and noise: all noise models are looked at once, then the best of them more closely.
    pub(super) fn best(&self, rows: &Rows<'_>, noises: &[Noise], node: &LagNode) -> Option<(Shape, Noise, Solved)> {
        self.best_within(rows, noises, node, [25; 4])
    }

    /// The same, with so many time constants in each pass.
    pub(super) fn best_within<const PASSES: usize>(
        &self,
        rows: &Rows<'_>,
        noises: &[Noise],
        node: &LagNode,
        passes: [usize; PASSES],
    ) -> Option<(Shape, Noise, Solved)> {
        let mut scan = *self;
        let mut best: Option<(Shape, Noise, Solved)> = None;
        for nodes in passes {
            let mut top = f64::NEG_INFINITY;
            let models = best.map_or(noises.to_vec(), |(_, noise, _)| vec![noise]);
            for tau_s in scan.nodes(nodes) {
                let shape = scan.shape(tau_s, node);
                let parts = rows.parts(&shape);
                for noise in &models {
                    let Some(solved) = rows.solve_parts(&parts, shape.len(), noise) else { continue };
                    let score = solved.log_marginal + solved.log_prior_of_law(&shape) + noise.log_prior;
                    if solved.beta[0] > 0.0 && score > top {
                        top = score;
                        best = Some((shape, *noise, solved));
                    }
                }
            }
            let tau_s = best.as_ref()?.0.tau_s;
            let step = (scan.to_s / scan.from_s).powf(1.0 / (nodes - 1) as f64);
            scan = Self { from_s: tau_s / step, to_s: tau_s * step, ..scan };
        }
        best
    }
}
