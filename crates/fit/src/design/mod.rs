//! Planning a pressure-change test before there is a record: how long, at which pressure difference, with what.
//!
//! The prediction is what the evaluation itself makes of records that are simulated for the set-up: rooms, weather,
//! instruments and seeds are fixed, so that the same plan always gives the same answer, and whatever the evaluation
//! learns to do the prediction knows at once. A formula for the information in a record would have to know the noise;
//! the evaluation does not, and its intervals are wider for that by a factor that only it can tell.

mod forecast;
mod improvement;
mod search;
mod set_up;
mod trial;

pub use forecast::Forecast;
pub use improvement::{Improvement, improvements};
pub use search::{CurvePoint, Designed, NoDesign, curve, shortest};
pub use set_up::{Limited, PlannedThermometer, PlannedVessel, SetUp};
pub use trial::{Trial, forecast, growth_of_the_difference_pa};

use crate::decision::Rule;

/// What is asked of a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// The quantity that is limited.
    pub limited: Limited,
    /// Its limit, in the unit of the quantity.
    pub limit: f64,
    /// How the limit is judged.
    pub rule: Rule,
    /// Producer's risk: largest probability that a tight enclosure does not pass (and, by guarded rejection, that a
    /// leaky one does not fail).
    pub producers_risk: f64,
    /// Leak of the tight enclosure as a share of the limit; its inverse is that of the leaky one.
    pub tight_share: f64,
    /// Longest test worth planning in s.
    pub longest_s: f64,
}

impl Demand {
    /// Whether a test with this forecast decides with the stated risks.
    pub fn is_met_by(&self, forecast: &Forecast) -> bool {
        self.met_probability(forecast) >= 1.0 - self.producers_risk
    }

    /// The probability that the demand is about.
    pub(crate) fn met_probability(&self, forecast: &Forecast) -> f64 {
        match self.rule {
            Rule::GuardedRejection { .. } => forecast.passes_when_tight.min(forecast.fails_when_leaky),
            Rule::GuardedAcceptance { .. } | Rule::Simple { .. } => forecast.passes_when_tight,
        }
    }
}
