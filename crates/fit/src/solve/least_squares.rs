//! Nonlinear least squares: a user's model fitted by Levenberg-Marquardt, with checks of what came out.
//!
//! "Converged" is not "right": the search is run with several first step bounds, from careful to bold, the best end
//! point is restarted until it stays, and the gradient there is checked.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use std::cell::Cell;
use std::fmt;

/// Result of a nonlinear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct NonlinearFit {
    /// Parameters β.
    pub parameters: Vec<f64>,
    /// Covariance matrix s²·(JᵀWJ)⁻¹ in rows.
    pub covariance: Vec<Vec<f64>>,
    /// Weighted residual sum of squares.
    pub residual_sum_of_squares: f64,
    /// Points minus parameters.
    pub degrees_of_freedom: usize,
    /// Numerical rank of the Jacobian at the end.
    pub rank: usize,
    /// Evaluations of the whole model.
    pub evaluations: usize,
}

impl NonlinearFit {
    /// Standard error of each parameter.
    pub fn standard_errors(&self) -> Vec<f64> {
        (0..self.parameters.len()).map(|j| self.covariance[j][j].sqrt()).collect()
    }

    /// Residual standard deviation √(RSS/ν); NaN without degrees of freedom.
    pub fn residual_standard_deviation(&self) -> f64 {
        (self.residual_sum_of_squares / self.degrees_of_freedom as f64).sqrt()
    }
}

/// Why a fit failed.
#[derive(Debug, Clone, PartialEq)]
pub enum FitError {
    /// Slices or rows differ in length.
    Sizes,
    /// Fewer points than parameters, or no parameter.
    TooFewPoints {
        /// Points given.
        points: usize,
        /// Parameters to fit.
        parameters: usize,
    },
    /// A datum or the model at the start is not finite.
    NotFinite,
    /// Parameters or columns cannot be told apart by the data.
    RankDeficient {
        /// Rank found.
        rank: usize,
        /// Parameters to fit.
        parameters: usize,
    },
    /// No start led to a minimum.
    NotConverged {
        /// Cosine of the angle between residuals and the nearest column of the Jacobian; 0 at a minimum.
        gradient_cosine: f64,
    },
}

impl fmt::Display for FitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sizes => write!(f, "data, weights or rows differ in length"),
            Self::TooFewPoints { points, parameters } => {
                write!(f, "{points} points cannot fix {parameters} parameters")
            }
            Self::NotFinite => write!(f, "the data or the model at the start are not finite"),
            Self::RankDeficient { rank, parameters } => {
                write!(f, "the data fix only {rank} of {parameters} parameters: some act alike")
            }
            Self::NotConverged { gradient_cosine } => {
                write!(f, "no minimum was reached from this start (gradient cosine {gradient_cosine:.1e})")
            }
        }
    }
}

impl std::error::Error for FitError {}

/// Fits `model(x, β)` to `y` by weighted least squares, with derivatives by central differences of fourth order.
///
/// `x` holds one entry a point, of any type; `weights` are inverse variances up to a factor (all 1 where `None`);
/// `start` is the first guess of β. The covariance is s²·(JᵀWJ)⁻¹ with s² = RSS/(points − parameters).
///
/// ```
/// use tightfit_fit::solve::fit_nonlinear;
///
/// let time_s = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0];
/// let reading = [100.0, 60.8, 36.6, 22.4, 13.6, 8.1];
/// let fit = fit_nonlinear(|t: &f64, b: &[f64]| b[0] * (-t / b[1]).exp(), &time_s, &reading, None, &[80.0, 15.0])?;
/// assert!((fit.parameters[1] - 20.0).abs() < 0.3);
/// assert!(fit.standard_errors()[1] < 0.2);
/// # Ok::<(), tightfit_fit::solve::FitError>(())
/// ```
///
/// Checked on 21 problems of the NIST Statistical Reference Datasets from both published starts.
///
/// # Errors
/// See [`FitError`].
pub fn fit_nonlinear<X, M>(
    model: M,
    x: &[X],
    y: &[f64],
    weights: Option<&[f64]>,
    start: &[f64],
) -> Result<NonlinearFit, FitError>
where
    M: Fn(&X, &[f64]) -> f64,
{
    run(&Data { model: &model, jacobian: None, x, y, weights, evaluations: Cell::new(0) }, start)
}

/// The same with derivatives given: `jacobian(x, β, row)` writes ∂model/∂β into `row`.
///
/// # Errors
/// See [`FitError`].
pub fn fit_nonlinear_with_jacobian<X, M, J>(
    model: M,
    jacobian: J,
    x: &[X],
    y: &[f64],
    weights: Option<&[f64]>,
    start: &[f64],
) -> Result<NonlinearFit, FitError>
where
    M: Fn(&X, &[f64]) -> f64,
    J: Fn(&X, &[f64], &mut [f64]),
{
    run(&Data { model: &model, jacobian: Some(&jacobian), x, y, weights, evaluations: Cell::new(0) }, start)
}

/// First step bounds, in units of the scaled start: bold ones find far minima, careful ones do not run away.
const STEP_BOUNDS: [f64; 5] = [100.0, 10.0, 1.0, 0.1, 0.01];
/// Cosine between residuals and the columns of the Jacobian above which an end point is no minimum.
const GRADIENT_LIMIT: f64 = 1e-5;
/// Residual that stands for a model value that is not finite: the step that led there is refused.
const REFUSED: f64 = 1e120;

fn run<X>(data: &Data<'_, X>, start: &[f64]) -> Result<NonlinearFit, FitError> {
    let (points, parameters) = (data.x.len(), start.len());
    if points != data.y.len() || data.weights.is_some_and(|w| w.len() != points) {
        return Err(FitError::Sizes);
    }
    if parameters == 0 || points < parameters {
        return Err(FitError::TooFewPoints { points, parameters });
    }
    if data.residuals(start).iter().any(|r| !r.is_finite() || r.abs() >= REFUSED) {
        return Err(FitError::NotFinite);
    }
    let mut best: Option<(f64, Vec<f64>)> = None;
    for bound in STEP_BOUNDS {
        let end = settle(data, start.to_vec(), bound);
        if best.as_ref().is_none_or(|(least, _)| end.0 < *least * (1.0 - 1e-12)) {
            best = Some(end);
        }
    }
    let (residual_sum_of_squares, parameters) = best.ok_or(FitError::NotFinite)?;
    finish(data, parameters, residual_sum_of_squares)
}

/// Runs the search, and again from its end until the sum of squares stays.
fn settle<X>(data: &Data<'_, X>, start: Vec<f64>, bound: f64) -> (f64, Vec<f64>) {
    let mut at = start;
    let mut least = f64::INFINITY;
    for _ in 0..12 {
        let problem = Problem { data, parameters: DVector::from_vec(at.clone()) };
        let (problem, report) = LevenbergMarquardt::new()
            .with_stepbound(bound)
            .with_patience(400)
            .with_ftol(1e-15)
            .with_xtol(1e-15)
            .with_gtol(0.0)
            .minimize(problem);
        let sum = 2.0 * report.objective_function;
        if !(sum < least) {
            break;
        }
        let gained = least - sum;
        at = problem.parameters.as_slice().to_vec();
        least = sum;
        if gained <= 1e-13 * least {
            break;
        }
    }
    (least, at)
}

fn finish<X>(data: &Data<'_, X>, parameters: Vec<f64>, mut sum: f64) -> Result<NonlinearFit, FitError> {
    let (points, count) = (data.x.len(), parameters.len());
    let mut at = DVector::from_vec(parameters);
    // A few undamped steps squeeze out the last digits that the damped search leaves.
    for _ in 0..3 {
        let residuals = DVector::from_vec(data.residuals(at.as_slice()));
        let Some(step) = scaled_solution(data.jacobian_matrix(at.as_slice()), &residuals) else { break };
        let next = &at - step;
        let next_sum: f64 = data.residuals(next.as_slice()).iter().map(|r| r * r).sum();
        if !(next_sum <= sum * (1.0 + 1e-12)) {
            break;
        }
        at = next;
        sum = next_sum;
    }
    let residuals = DVector::from_vec(data.residuals(at.as_slice()));
    let mut jacobian = data.jacobian_matrix(at.as_slice());
    let lengths: Vec<f64> = jacobian.column_iter().map(|column| column.norm()).collect();
    let gradient_cosine = jacobian
        .column_iter()
        .zip(&lengths)
        .map(|(column, length)| (column.dot(&residuals) / (length * residuals.norm()).max(1e-300)).abs())
        .fold(0.0, f64::max);
    let size: f64 = data.y.iter().map(|y| y * y).sum::<f64>().sqrt();
    // Residuals that are nothing but rounding have no direction.
    let exact = residuals.norm() <= 1e-10 * size;
    if !exact && !(gradient_cosine < GRADIENT_LIMIT) {
        return Err(FitError::NotConverged { gradient_cosine });
    }
    for (mut column, length) in jacobian.column_iter_mut().zip(&lengths) {
        column /= length.max(1e-300);
    }
    let decomposition = jacobian.svd(false, true);
    let values = &decomposition.singular_values;
    let rank = values.iter().filter(|v| **v > 1e-13 * values.max()).count();
    if rank < count {
        return Err(FitError::RankDeficient { rank, parameters: count });
    }
    let degrees_of_freedom = points - count;
    let variance = if degrees_of_freedom > 0 { sum / degrees_of_freedom as f64 } else { f64::NAN };
    let directions = decomposition.v_t.ok_or(FitError::RankDeficient { rank, parameters: count })?;
    let covariance = (0..count)
        .map(|i| {
            (0..count)
                .map(|j| {
                    let product: f64 =
                        (0..count).map(|k| directions[(k, i)] * directions[(k, j)] / values[k].powi(2)).sum();
                    variance * product / (lengths[i] * lengths[j])
                })
                .collect()
        })
        .collect();
    Ok(NonlinearFit {
        parameters: at.as_slice().to_vec(),
        covariance,
        residual_sum_of_squares: sum,
        degrees_of_freedom,
        rank,
        evaluations: data.evaluations.get(),
    })
}

/// Solution of J·step ≈ r by QR with unit columns.
fn scaled_solution(mut jacobian: DMatrix<f64>, residuals: &DVector<f64>) -> Option<DVector<f64>> {
    let lengths: Vec<f64> = jacobian.column_iter().map(|column| column.norm()).collect();
    if lengths.iter().any(|length| !(*length > 0.0 && length.is_finite())) {
        return None;
    }
    for (mut column, length) in jacobian.column_iter_mut().zip(&lengths) {
        column /= *length;
    }
    let qr = jacobian.qr();
    let projected = qr.q().transpose() * residuals;
    let mut step = qr.r().solve_upper_triangular(&projected)?;
    for (s, length) in step.iter_mut().zip(&lengths) {
        *s /= length;
    }
    step.iter().all(|s| s.is_finite()).then_some(step)
}

type Jacobian<'a, X> = &'a dyn Fn(&X, &[f64], &mut [f64]);

/// Model and data.
struct Data<'a, X> {
    model: &'a dyn Fn(&X, &[f64]) -> f64,
    jacobian: Option<Jacobian<'a, X>>,
    x: &'a [X],
    y: &'a [f64],
    weights: Option<&'a [f64]>,
    evaluations: Cell<usize>,
}

impl<X> Data<'_, X> {
    fn root_weight(&self, index: usize) -> f64 {
        self.weights.map_or(1.0, |weights| weights[index].sqrt())
    }

    /// Model minus data, times the root of the weight.
    fn residuals(&self, parameters: &[f64]) -> Vec<f64> {
        self.evaluations.set(self.evaluations.get() + 1);
        self.x
            .iter()
            .zip(self.y)
            .enumerate()
            .map(|(index, (x, y))| {
                let residual = ((self.model)(x, parameters) - y) * self.root_weight(index);
                if residual.is_finite() && residual.abs() < REFUSED { residual } else { REFUSED }
            })
            .collect()
    }

    fn jacobian_matrix(&self, parameters: &[f64]) -> DMatrix<f64> {
        let count = parameters.len();
        let mut matrix = DMatrix::zeros(self.x.len(), count);
        if let Some(jacobian) = self.jacobian {
            let mut row = vec![0.0; count];
            for (index, x) in self.x.iter().enumerate() {
                jacobian(x, parameters, &mut row);
                for (column, value) in row.iter().enumerate() {
                    matrix[(index, column)] = finite(value * self.root_weight(index));
                }
            }
            return matrix;
        }
        let mut moved = parameters.to_vec();
        for column in 0..count {
            let value = parameters[column];
            // Below the fifth root of the machine's precision, which balances truncation h⁴ against rounding 1/h for a
            // smooth model: a narrow peak far from zero (width a hundredth of its place) is not smooth on that scale.
            let wanted = if value == 0.0 { 1e-5 } else { 1e-4 * value.abs() };
            let step = (value + wanted) - value;
            let mut at = |offset: f64| {
                moved[column] = value + offset * step;
                let values: Vec<f64> = self.x.iter().map(|x| (self.model)(x, &moved)).collect();
                moved[column] = value;
                values
            };
            let [far_below, below, above, far_above] = [at(-2.0), at(-1.0), at(1.0), at(2.0)];
            for index in 0..self.x.len() {
                let difference = 8.0 * (above[index] - below[index]) - (far_above[index] - far_below[index]);
                matrix[(index, column)] = finite(difference / (12.0 * step) * self.root_weight(index));
            }
            self.evaluations.set(self.evaluations.get() + 4);
        }
        matrix
    }
}

fn finite(value: f64) -> f64 {
    if value.is_finite() && value.abs() < REFUSED { value } else { 0.0 }
}

struct Problem<'a, 'd, X> {
    data: &'a Data<'d, X>,
    parameters: DVector<f64>,
}

impl<X> LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_, '_, X> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.parameters.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        Some(DVector::from_vec(self.data.residuals(self.parameters.as_slice())))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.data.jacobian_matrix(self.parameters.as_slice()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_parameters_that_act_alike_are_named() {
        let x = [1.0, 2.0, 3.0, 4.0];
        let result = fit_nonlinear(|x, b| (b[0] + b[1]) * x, &x, &[1.0, 2.1, 2.9, 4.2], None, &[0.3, 0.4]);
        assert!(matches!(result, Err(FitError::RankDeficient { rank: 1, parameters: 2 })), "{result:?}");
    }

    #[test]
    fn fewer_points_than_parameters_are_refused() {
        let result = fit_nonlinear(|x, b| b[0] + b[1] * x, &[1.0], &[1.0], None, &[0.0, 1.0]);
        assert_eq!(result, Err(FitError::TooFewPoints { points: 1, parameters: 2 }));
    }

    #[test]
    fn a_given_jacobian_leads_to_the_same_fit() {
        let x: Vec<f64> = (0..20).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 3.0 * (-x / 7.0).exp() + 0.01 * (x * 1.7).sin()).collect();
        let model = |x: &f64, b: &[f64]| b[0] * (-x / b[1]).exp();
        let jacobian = |x: &f64, b: &[f64], row: &mut [f64]| {
            row[0] = (-x / b[1]).exp();
            row[1] = b[0] * x / (b[1] * b[1]) * (-x / b[1]).exp();
        };
        let numeric = fit_nonlinear(model, &x, &y, None, &[1.0, 3.0]).unwrap();
        let given = fit_nonlinear_with_jacobian(model, jacobian, &x, &y, None, &[1.0, 3.0]).unwrap();
        for (a, b) in numeric.parameters.iter().zip(&given.parameters) {
            assert!((a - b).abs() < 1e-9 * b.abs());
        }
    }
}
