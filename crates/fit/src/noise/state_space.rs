//! White noise plus two Ornstein-Uhlenbeck components, as a Kalman filter: generalised least squares in O(n).
//!
//! The gains do not depend on the data, so all columns of a design matrix pass through the same filter; their
//! innovations, divided by their standard deviation, are the columns whitened by the Cholesky factor of the
//! covariance matrix, which is never formed.

/// A correlated component with autocovariance `variance`·exp(−|Δt|/`memory_s`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrnsteinUhlenbeck {
    /// Stationary variance; 0 switches the component off.
    pub variance: f64,
    /// Memory in s, above 0.
    pub memory_s: f64,
}

impl OrnsteinUhlenbeck {
    /// No component.
    pub const NONE: Self = Self { variance: 0.0, memory_s: 1.0 };
}

/// White noise of one reading plus two correlated components.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseModel {
    /// Variance of the white part of a single reading.
    pub white_variance: f64,
    /// Correlated components.
    pub correlated: [OrnsteinUhlenbeck; 2],
}

/// Rows whitened and multiplied out.
#[derive(Debug, Clone, PartialEq)]
pub struct Whitened {
    /// Symmetric k × k matrix XᵀV⁻¹X, row after row.
    pub gram: Vec<f64>,
    /// ln det V.
    pub log_determinant: f64,
}

/// Whitens a row-major matrix of `columns` columns and multiplies it out.
///
/// `time_s` are the times of the rows, increasing; `readings` the number of readings averaged in each row.
pub fn whiten(time_s: &[f64], readings: &[f64], rows: &[f64], columns: usize, noise: &NoiseModel) -> Whitened {
    let mut gram = vec![0.0; columns * columns];
    let mut log_determinant = 0.0;
    let mut scaled = vec![0.0; columns];
    // Products of variances are collected before the logarithm, which costs more than the rest of a step.
    let mut product = 1.0_f64;
    filter(
        time_s,
        readings,
        rows,
        columns,
        noise,
        #[inline(always)]
        |innovation, variance| {
            product *= variance;
            if !(1e-200..1e200).contains(&product) {
                log_determinant += product.ln();
                product = 1.0;
            }
            let inverse = 1.0 / variance;
            for (s, v) in scaled.iter_mut().zip(innovation) {
                *s = v * inverse;
            }
            for (j, s) in scaled.iter().enumerate() {
                for (g, v) in gram[j * columns..=j * columns + j].iter_mut().zip(innovation) {
                    *g += s * v;
                }
            }
        },
    );
    log_determinant += product.ln();
    for j in 0..columns {
        for i in 0..j {
            gram[i * columns + j] = gram[j * columns + i];
        }
    }
    Whitened { gram, log_determinant }
}

/// Whitens a row-major matrix of `columns` columns without multiplying it out: the whitened matrix, column after column,
/// and ln det V.
pub fn whiten_columns(
    time_s: &[f64],
    readings: &[f64],
    rows: &[f64],
    columns: usize,
    noise: &NoiseModel,
) -> (Vec<f64>, f64) {
    let mut whitened = vec![0.0; rows.len()];
    let mut log_determinant = 0.0;
    let mut row = 0;
    filter(time_s, readings, rows, columns, noise, |innovation, variance| {
        log_determinant += variance.ln();
        let factor = 1.0 / variance.sqrt();
        for (column, v) in innovation.iter().enumerate() {
            whitened[column * time_s.len() + row] = v * factor;
        }
        row += 1;
    });
    (whitened, log_determinant)
}

/// Standardised one-step prediction errors of one series: independent and of unit variance where the model holds.
pub fn innovations(time_s: &[f64], readings: &[f64], series: &[f64], noise: &NoiseModel) -> Vec<f64> {
    let mut out = Vec::with_capacity(series.len());
    filter(time_s, readings, series, 1, noise, |innovation, variance| out.push(innovation[0] / variance.sqrt()));
    out
}

/// Runs the filter and hands innovations and their variance of every row to `take`.
fn filter(
    time_s: &[f64],
    readings: &[f64],
    rows: &[f64],
    columns: usize,
    noise: &NoiseModel,
    take: impl FnMut(&[f64], f64),
) {
    // The same steps throughout; one component alone, and the widths that fits pass most often, are compiled apart.
    match (columns, noise.correlated[1].variance > 0.0) {
        (3, false) => steps::<false>(time_s, readings, rows, 3, noise, take),
        (4, false) => steps::<false>(time_s, readings, rows, 4, noise, take),
        (5, false) => steps::<false>(time_s, readings, rows, 5, noise, take),
        (_, false) => steps::<false>(time_s, readings, rows, columns, noise, take),
        (_, true) => steps::<true>(time_s, readings, rows, columns, noise, take),
    }
}

#[inline(always)]
#[allow(clippy::inline_always, reason = "only inlined do the widths become constants")]
fn steps<const TWO: bool>(
    time_s: &[f64],
    readings: &[f64],
    rows: &[f64],
    columns: usize,
    noise: &NoiseModel,
    mut take: impl FnMut(&[f64], f64),
) {
    let [first, second] = noise.correlated;
    let (mut p11, mut p12, mut p22) = (first.variance, 0.0, second.variance);
    let mut state = vec![[0.0_f64; 2]; columns];
    let mut innovation = vec![0.0; columns];
    let mut decay = Decay::default();
    for (index, row) in rows.chunks_exact(columns).enumerate() {
        let (a, b) = if index == 0 { (1.0, 1.0) } else { decay.over(time_s[index] - time_s[index - 1], first, second) };
        if index > 0 {
            p11 = a * a * (p11 - first.variance) + first.variance;
            if TWO {
                p12 *= a * b;
                p22 = b * b * (p22 - second.variance) + second.variance;
            }
        }
        let variance = p11 + 2.0 * p12 + p22 + noise.white_variance / readings[index];
        let gain1 = (p11 + p12) / variance;
        let gain2 = if TWO { (p12 + p22) / variance } else { 0.0 };
        for ((v, s), x) in innovation.iter_mut().zip(state.iter_mut()).zip(row) {
            let predicted1 = a * s[0];
            *v = x - predicted1;
            if TWO {
                let predicted2 = b * s[1];
                *v -= predicted2;
                s[1] = predicted2 + gain2 * *v;
            }
            s[0] = predicted1 + gain1 * *v;
        }
        p11 -= gain1 * gain1 * variance;
        if TWO {
            p12 -= gain1 * gain2 * variance;
            p22 -= gain2 * gain2 * variance;
        }
        take(&innovation, variance);
    }
}

/// Decay factors over a step, kept while the step stays the same.
#[derive(Default)]
struct Decay {
    step_s: f64,
    factors: (f64, f64),
}

impl Decay {
    fn over(&mut self, step_s: f64, first: OrnsteinUhlenbeck, second: OrnsteinUhlenbeck) -> (f64, f64) {
        // Means of equally many readings lie a little unevenly; half a percent of a step does not matter to noise.
        if (step_s - self.step_s).abs() > 5e-3 * step_s {
            self.step_s = step_s;
            // What has no variance is nothing whatever its decay.
            let over = |of: OrnsteinUhlenbeck| if of.variance > 0.0 { (-step_s / of.memory_s).exp() } else { 1.0 };
            self.factors = (over(first), over(second));
        }
        self.factors
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};

    #[test]
    fn the_filter_agrees_with_the_dense_covariance_matrix() {
        let time_s = [0.0_f64, 10.0, 25.0, 30.0, 100.0, 160.0];
        let readings = [1.0, 2.0, 1.0, 4.0, 1.0, 3.0];
        let noise = NoiseModel {
            white_variance: 0.3,
            correlated: [
                OrnsteinUhlenbeck { variance: 1.0, memory_s: 40.0 },
                OrnsteinUhlenbeck { variance: 0.5, memory_s: 300.0 },
            ],
        };
        let rows: Vec<f64> = time_s.iter().flat_map(|t: &f64| [1.0, *t, (*t / 20.0).sin()]).collect();
        let whitened = whiten(&time_s, &readings, &rows, 3, &noise);

        let n = time_s.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| {
            let lag: f64 = (time_s[i] - time_s[j]).abs();
            let white = if i == j { noise.white_variance / readings[i] } else { 0.0 };
            white + noise.correlated.iter().map(|c| c.variance * (-lag / c.memory_s).exp()).sum::<f64>()
        });
        let design = DMatrix::from_row_slice(n, 3, &rows);
        let factor = covariance.cholesky().unwrap();
        let expected = design.transpose() * factor.solve(&design);
        for (found, wanted) in whitened.gram.iter().zip(expected.iter()) {
            assert!((found - wanted).abs() < 1e-9 * wanted.abs().max(1.0), "{found} {wanted}");
        }
        let log_determinant = 2.0 * factor.l().diagonal().map(f64::ln).sum();
        assert!((whitened.log_determinant - log_determinant).abs() < 1e-10);

        let (columns, logarithm) = whiten_columns(&time_s, &readings, &rows, 3, &noise);
        let product: f64 = columns[..n].iter().zip(&columns[2 * n..]).map(|(a, b)| a * b).sum();
        assert!((product - whitened.gram[2]).abs() < 1e-10 && (logarithm - whitened.log_determinant).abs() < 1e-10);

        let series = [0.1, -0.4, 0.3, 0.9, -0.2, 0.5];
        let squares: f64 = innovations(&time_s, &readings, &series, &noise).iter().map(|v| v * v).sum();
        let y = DVector::from_row_slice(&series);
        assert!((squares - y.dot(&factor.solve(&y))).abs() < 1e-10);
    }
}
