//! Solvers: linear and nonlinear least squares.

mod least_squares;
mod linear;

pub use least_squares::{FitError, NonlinearFit, fit_nonlinear, fit_nonlinear_with_jacobian};
pub use linear::{LinearFit, fit_linear};
