//! Random numbers from a named generator, so that a seed means the same numbers on every machine.

use rand_distr::{Distribution, StandardNormal, StandardUniform};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

/// Seeded random numbers: the generator PCG64 (O'Neill 2014).
#[derive(Debug, Clone)]
pub struct Random(Pcg64);

impl Random {
    /// A generator with a seed.
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// A standard normal number.
    pub fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// A number uniform on `[low, high)`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        let unit: f64 = StandardUniform.sample(&mut self.0);
        low + (high - low) * unit
    }

    /// Next value of an Ornstein-Uhlenbeck process with the given stationary standard deviation and memory (its
    /// autocorrelation is exp(−Δt/memory)), after a step of `step_s`.
    pub fn ornstein_uhlenbeck(&mut self, value: f64, standard_deviation: f64, memory_s: f64, step_s: f64) -> f64 {
        let keep = (-step_s / memory_s).exp();
        keep * value + standard_deviation * (1.0 - keep * keep).sqrt() * self.normal()
    }
}
