//! Findings in words that a technician understands.

use std::fmt;

/// A finding of an evaluation.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// The flow was taken as extraction.
    Extraction,
    /// Nothing tells the pressure difference.
    DifferenceNotKnown,
    /// The leak rate stands at the mean pressure difference.
    NoReferencePressure,
    /// The reference pressure is far from the pressure of the test.
    ReferenceFar {
        /// Mean of the test and reference, Pa.
        pressures_pa: [f64; 2],
    },
    /// The reference pressure has another sign than the pressure of the test.
    ReferenceOtherSign,
    /// The temperature of the gas was not logged.
    TemperatureNotLogged,
    /// The room's pressure was not logged.
    RoomPressureNotLogged,
    /// What the enclosure stored by temperature and room pressure matters.
    StorageMatters {
        /// Share of what was fed in.
        share: f64,
    },
    /// Few whole valve cycles.
    FewCycles {
        /// How many.
        cycles: usize,
    },
    /// Pulses are short against the time between readings.
    PulsesShort {
        /// Mean duration of a pulse and time between readings, s.
        durations_s: [f64; 2],
    },
    /// The leak cannot be told from none.
    BelowResolution,
    /// What the meter's volumes refer to is not stated.
    MeterReferenceNotStated,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Extraction => write!(
                f,
                "the enclosure was held below the room's pressure, so the flow is taken as gas extracted, and the leak as air coming in"
            ),
            Self::DifferenceNotKnown => write!(
                f,
                "the pressure difference that was held is neither logged nor stated (pressure = \"500 Pa\" in the test), so no leak \
                 rate can be stated"
            ),
            Self::NoReferencePressure => {
                write!(
                    f,
                    "no reference pressure is stated: the leak rate stands at the mean pressure difference of the test"
                )
            }
            Self::ReferenceFar { pressures_pa: [mean, reference] } => write!(
                f,
                "the leak rate was measured at {mean:.0} Pa and is stated at {reference:.0} Pa as if in proportion; single larger holes \
                 follow the root of the pressure instead, which the uncertainty allows for"
            ),
            Self::ReferenceOtherSign => write!(
                f,
                "the reference pressure lies on the other side of the room's pressure than the test: gloves and seals may leak \
                 differently, and another gas flows"
            ),
            Self::TemperatureNotLogged => write!(
                f,
                "the temperature of the gas was not logged: what the enclosure stored by warming or cooling is in the uncertainty"
            ),
            Self::RoomPressureNotLogged => write!(
                f,
                "the room's pressure was not logged: what the enclosure stored as it moved is in the uncertainty"
            ),
            Self::StorageMatters { share } => write!(
                f,
                "temperature and room pressure account for {:.0} % of the gas that was fed in; that is taken out of the leak rate",
                100.0 * share
            ),
            Self::FewCycles { cycles } => {
                write!(f, "only {cycles} whole valve cycles were logged: a longer record tells the flow better")
            }
            Self::PulsesShort { durations_s: [pulse, cadence] } => write!(
                f,
                "pulses of {pulse:.0} s are short against a reading every {cadence:.0} s, so their volume is uncertain: log faster, or \
                 log a running total"
            ),
            Self::BelowResolution => write!(
                f,
                "the leak cannot be told from none: it is given as an upper bound; a longer record, or a better known temperature, lowers it"
            ),
            Self::MeterReferenceNotStated => write!(
                f,
                "what the meter's volumes refer to is not stated; they are taken at gas temperature and room pressure"
            ),
        }
    }
}
