//! Law of propagation of uncertainty (JCGM 100:2008, clauses 5 and G.4).

/// Effective degrees of freedom of a sum of independent contributions, each a standard uncertainty with its degrees of
/// freedom (infinite where exactly known): Welch-Satterthwaite, JCGM 100:2008, equation G.2b.
pub fn effective_degrees_of_freedom(contributions: &[(f64, f64)]) -> f64 {
    let variance: f64 = contributions.iter().map(|(u, _)| u * u).sum();
    let fourth: f64 = contributions.iter().map(|(u, dof)| u.powi(4) / dof).sum();
    if fourth > 0.0 { variance * variance / fourth } else { f64::INFINITY }
}

/// Outputs of a propagation.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    /// Values of the outputs.
    pub values: Vec<f64>,
    /// Covariance matrix of the outputs, in rows.
    pub covariance: Vec<Vec<f64>>,
}

impl Propagated {
    /// Standard uncertainty of one output, numbered from 0.
    pub fn standard_uncertainty(&self, output: usize) -> f64 {
        self.covariance[output][output].max(0.0).sqrt()
    }

    /// Correlation coefficient of two outputs, numbered from 0; NaN where one of them has no uncertainty.
    pub fn correlation(&self, first: usize, second: usize) -> f64 {
        self.covariance[first][second] / (self.standard_uncertainty(first) * self.standard_uncertainty(second))
    }
}

/// Propagates the covariance of inputs to first order through a function of several outputs (JCGM 100:2008, equation
/// H.9). `covariance` holds rows of a square matrix as large as `inputs`; derivatives are central differences over a
/// thousandth of each standard uncertainty.
pub fn propagate(function: impl Fn(&[f64]) -> Vec<f64>, inputs: &[f64], covariance: &[Vec<f64>]) -> Propagated {
    let values = function(inputs);
    let derivatives: Vec<Vec<f64>> = (0..inputs.len())
        .map(|j| {
            let step = 1e-3 * covariance[j][j].sqrt();
            if step <= 0.0 {
                return vec![0.0; values.len()];
            }
            let at = |offset: f64| {
                let mut moved = inputs.to_vec();
                moved[j] += offset;
                function(&moved)
            };
            at(step).iter().zip(at(-step)).map(|(above, below)| (above - below) / (2.0 * step)).collect()
        })
        .collect();
    let covariance = (0..values.len())
        .map(|a| {
            (0..values.len())
                .map(|b| {
                    let mut sum = 0.0;
                    for (i, row) in covariance.iter().enumerate() {
                        for (j, c) in row.iter().enumerate() {
                            sum += derivatives[i][a] * c * derivatives[j][b];
                        }
                    }
                    sum
                })
                .collect()
        })
        .collect();
    Propagated { values, covariance }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sum_of_independent_inputs_adds_in_quadrature() {
        let sum = propagate(|x| vec![x[0] + x[1]], &[1.0, 2.0], &[vec![9.0, 0.0], vec![0.0, 16.0]]);
        assert!((sum.standard_uncertainty(0) - 5.0).abs() < 1e-9);
    }

    #[test]
    fn one_contribution_keeps_its_degrees_of_freedom() {
        assert!((effective_degrees_of_freedom(&[(2.0, 7.0)]) - 7.0).abs() < 1e-12);
        assert!(effective_degrees_of_freedom(&[(2.0, f64::INFINITY)]).is_infinite());
    }
}
