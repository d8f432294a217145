//! Uncertainty: distributions of results, propagation of systematic parts.

mod distribution;

pub use distribution::Distribution;
