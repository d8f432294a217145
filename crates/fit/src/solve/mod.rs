//! Solvers: linear and nonlinear least squares.
