//! Check of an analyser against reference gas: its zero, its span, and how fast it follows.
//!
//! The record holds one or more plateaus of gas of stated content. The errors are reading minus content on the settled
//! plateaus of least and of largest content; the response is that of the first-order curve through the steps between
//! them. Mole fractions are pure numbers in what goes in and ppm in what comes out; times are in s.

mod error;
mod note;
mod plateau;
mod response;
mod result;

pub use error::AnalyserCheckError;
pub use note::Note;
pub use result::{AnalyserCheck, FoundPlateau, Series};

use crate::input::InputError;
use crate::ppm_rise::{Quantity, Trace};

/// A reference gas, and when it was given where that is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Its content, a mole fraction.
    pub content: Quantity,
    /// From and to, s; found from the readings where absent.
    pub span_s: Option<[f64; 2]>,
}

/// Evaluates one check.
///
/// The stated uncertainty of the analyser does not enter: it is what is being checked. That of the reference gas does.
/// Checked by simulation: see `tests/coverage/analyser_check.rs`.
///
/// # Errors
/// When no plateau of a stated gas is found; see [`AnalyserCheckError`].
pub fn evaluate(trace: &Trace<'_>, steps: &[Step]) -> Result<AnalyserCheck, AnalyserCheckError> {
    if steps.is_empty() {
        return Err(AnalyserCheckError::NoReferenceGas);
    }
    if !trace.status.is_empty() && trace.status.len() != trace.samples.len() {
        return Err(InputError::StatusLength { statuses: trace.status.len(), readings: trace.samples.len() }.into());
    }
    let plateaus = plateau::find(trace, steps);
    if plateaus.is_empty() {
        return Err(AnalyserCheckError::NoPlateau);
    }
    Ok(result::summarise(trace, steps, &plateaus))
}
