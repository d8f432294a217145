//! Endurance run: the largest content with the purifier on, and the share of time within a target.
//!
//! Both are of the gas, not of the readings: the largest of many noisy readings lies above the largest content, and a
//! reading that hovers about the target crosses it by noise alone. The level behind the readings is drawn many times
//! ([`LocalLevel`](crate::noise::LocalLevel)), together with the analyser's zero, scale and drift; largest value and
//! share are those of the draws. Short excursions (transfers through the antechamber) are found or marked, followed
//! reading by reading, and their peaks put back where the analyser's response has rounded them off.
//!
//! Mole fractions are pure numbers in what goes in and ppm in what comes out; times are in s.

mod error;
mod excursion;
mod note;
mod peak;
mod readings;
mod result;

pub use error::EnduranceError;
pub use excursion::Excursion;
pub use note::Note;
pub use result::{Endurance, Kept, Series};

use crate::input::InputError;
use crate::ppm_rise::Trace;

/// What is known beside the readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Content to be kept, as a mole fraction; without it there is no share.
    pub target: Option<f64>,
    /// Stretches with the purifier off, s, in order: set aside.
    pub off_s: Vec<[f64; 2]>,
    /// Marked transfers, s, in order; a mark may be a moment.
    pub transfers_s: Vec<[f64; 2]>,
    /// Whether the analyser's response is stated: a time constant of zero is then an immediate one, not an unknown one.
    pub response_is_stated: bool,
    /// Closed interval to be evaluated, s; the whole record where absent.
    pub window_s: Option<[f64; 2]>,
}

/// Evaluates one species of an endurance run.
///
/// Censored readings below the reporting limit count as within a target that is not below that limit; readings above
/// the range make the largest content a lower bound. Gaps and stretches with the purifier off are counted out.
///
/// Checked by simulation with wandering contents, transfers, analyser lag and instrument errors drawn as stated: see
/// `tests/coverage/endurance.rs`.
///
/// # Errors
/// When no reading is left; see [`EnduranceError`].
pub fn evaluate(trace: &Trace<'_>, settings: &Settings) -> Result<Endurance, EnduranceError> {
    if !trace.status.is_empty() && trace.status.len() != trace.samples.len() {
        return Err(InputError::StatusLength { statuses: trace.status.len(), readings: trace.samples.len() }.into());
    }
    let readings = readings::gather(trace, settings)?;
    Ok(result::summarise(trace, settings, &readings))
}
