//! Uncertainty: distributions of results, propagation, Monte Carlo.

mod distribution;
mod monte_carlo;
mod propagation;

pub use distribution::Distribution;
pub use monte_carlo::{MonteCarlo, monte_carlo};
pub use propagation::{Propagated, effective_degrees_of_freedom, propagate};
