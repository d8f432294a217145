//! What one run says about the ingress of one species, as a log likelihood on a grid.

use crate::uncertainty::Distribution;
use crate::{Estimate, Kind};

/// Log likelihood of the true ingress (ppm/h) in one run. The ingress had a flat prior in the run, so its posterior
/// density is the likelihood; a run that gives only a bound says that the ingress lies below the bound.
#[derive(Debug, Clone)]
pub(super) struct RunLikelihood {
    /// Ingress through leaks per unit of conductance over volume, ppm/h per 1/s.
    pub leak_coefficient: f64,
    pub centre: f64,
    pub standard_deviation: f64,
    pub is_bound: bool,
    /// Upper end of the interval.
    pub upper: f64,
    first: f64,
    step: f64,
    log_likelihood: Vec<f64>,
}

const CELLS: usize = 240;
/// Standard deviations to either side that the grid covers; beyond, the likelihood falls off as a normal one.
const REACH: f64 = 8.0;

impl RunLikelihood {
    /// `None` for a run that determines nothing.
    pub(super) fn new(estimate: &Estimate, leak_coefficient: f64) -> Option<Self> {
        let is_bound = match estimate.kind {
            Kind::Estimate => false,
            Kind::UpperBound => true,
            Kind::LowerBound | Kind::NotDetermined => return None,
        };
        let distribution = &estimate.distribution;
        let centre = distribution.median();
        // Half the width of the central two thirds: robust where the tails of the posterior are long.
        let standard_deviation = 0.5 * (distribution.quantile(0.841_345) - distribution.quantile(0.158_655));
        if !(standard_deviation > 0.0) || !centre.is_finite() {
            return None;
        }
        let step = 2.0 * REACH * standard_deviation / CELLS as f64;
        let first = centre - REACH * standard_deviation;
        let log_likelihood = (0..=CELLS)
            .map(|i| {
                let at = first + step * i as f64;
                let z = (at - centre) / standard_deviation;
                if is_bound { log_above(distribution, at) } else { log_density(distribution, at, step, z) }
            })
            .collect();
        let upper = estimate.interval95[1];
        Some(Self { leak_coefficient, centre, standard_deviation, is_bound, upper, first, step, log_likelihood })
    }

    /// Log likelihood of an ingress, up to a constant.
    pub(super) fn at(&self, ingress: f64) -> f64 {
        let position = (ingress - self.first) / self.step;
        if self.is_bound && position < 0.0 {
            return 0.0;
        }
        if !(0.0..CELLS as f64).contains(&position) {
            let z = (ingress - self.centre) / self.standard_deviation;
            let edge = if position < 0.0 { self.log_likelihood[0] } else { self.log_likelihood[CELLS] };
            return edge - 0.5 * (z * z - REACH * REACH);
        }
        let cell = position as usize;
        let fraction = position - cell as f64;
        self.log_likelihood[cell] + fraction * (self.log_likelihood[cell + 1] - self.log_likelihood[cell])
    }
}

fn log_density(distribution: &Distribution, at: f64, step: f64, z: f64) -> f64 {
    let mass = distribution.cdf(at + 0.5 * step) - distribution.cdf(at - 0.5 * step);
    // Far out the difference of two rounded probabilities is noise; never less than a normal tail there.
    mass.max(1e-14 * (-0.5 * (z * z - 49.0).max(0.0)).exp()).ln()
}

fn log_above(distribution: &Distribution, at: f64) -> f64 {
    (1.0 - distribution.cdf(at)).max(1e-12).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_normal_run_has_a_parabola_as_log_likelihood() {
        let estimate = Estimate::from_distribution(Distribution::normal(2.0, 0.5), Vec::new());
        let run = RunLikelihood::new(&estimate, 1.0).unwrap();
        let drop = run.at(2.0) - run.at(3.0);
        assert!((drop - 2.0).abs() < 0.02, "{drop}");
    }

    #[test]
    fn a_bound_does_not_favour_small_rates() {
        let mut estimate = Estimate::from_distribution(Distribution::normal(2.0, 0.1), Vec::new());
        estimate.kind = Kind::UpperBound;
        let run = RunLikelihood::new(&estimate, 1.0).unwrap();
        assert!((run.at(0.1) - run.at(1.0)).abs() < 1e-9);
        assert!(run.at(3.0) < -20.0);
    }
}
