//! Findings in words that a technician understands.

use std::fmt;

/// Something that must be known to read the result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// The plateau was not reached.
    PlateauNotReached {
        /// Highest temperature, K.
        highest_k: f64,
    },
    /// The temperature stayed so near the plateau that the thermometer's uncertainty decides.
    PlateauWithinUncertainty {
        /// Standard uncertainty of the thermometer there, K.
        thermometer_k: f64,
    },
    /// Heating came in several stretches.
    HeatingInterrupted {
        /// How many.
        stretches: usize,
    },
    /// No pressure or no evacuation was found: heating counts to the end.
    NoEvacuationBeforeEnd,
    /// The pressure did not fall below the threshold.
    NotEvacuated {
        /// Lowest pressure, Pa.
        lowest_pa: f64,
    },
    /// Evacuation came in several stretches.
    EvacuationInterrupted {
        /// How many.
        stretches: usize,
    },
    /// The record ends while the vessel is still evacuated.
    EndsEvacuated,
    /// No flow was found.
    NoFlow,
    /// The purge came in several stretches.
    PurgeInterrupted {
        /// How many.
        stretches: usize,
    },
    /// What the meter showed without flow was taken off.
    FlowZero {
        /// As a share of the flow while purging.
        share: f64,
    },
    /// Part of the purge found the vessel cold.
    PurgedCold {
        /// Time with flow below the plateau, s.
        cold_s: f64,
    },
    /// The record has gaps, which count as nothing.
    Gaps {
        /// Time in them, s.
        seconds: f64,
    },
    /// The hydrogen's fraction is missing, and with it the dose.
    FractionMissing,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const ZERO_CELSIUS_K: f64 = 273.15;
        match self {
            Self::PlateauNotReached { highest_k } => {
                write!(
                    f,
                    "the vessel did not reach the plateau; the highest reading is {:.1} °C",
                    highest_k - ZERO_CELSIUS_K
                )
            }
            Self::PlateauWithinUncertainty { thermometer_k } => write!(
                f,
                "the vessel was held so near the plateau that the thermometer's standard uncertainty of {thermometer_k:.2} K decides how long it counts as heated; heat a little higher, or calibrate the thermometer"
            ),
            Self::HeatingInterrupted { stretches } => {
                write!(
                    f,
                    "the vessel was at or above the plateau in {stretches} stretches; what lies between does not count"
                )
            }
            Self::NoEvacuationBeforeEnd => {
                write!(f, "no evacuation was found in the record, so heating counts to its end")
            }
            Self::NotEvacuated { lowest_pa } => {
                write!(
                    f,
                    "the pressure did not fall below the threshold; the lowest reading is {:.2} kPa",
                    lowest_pa / 1e3
                )
            }
            Self::EvacuationInterrupted { stretches } => {
                write!(f, "the vessel was evacuated in {stretches} stretches; what lies between does not count")
            }
            Self::EndsEvacuated => {
                write!(f, "the record ends while the vessel is evacuated: the evacuation counts to the last reading")
            }
            Self::NoFlow => write!(f, "no flow of reducing gas was found"),
            Self::PurgeInterrupted { stretches } => {
                write!(f, "the gas flowed in {stretches} stretches; what lies between does not count")
            }
            Self::FlowZero { share } => write!(
                f,
                "the flow meter shows {:.2} % of the purge flow while nothing flows; that is taken off",
                100.0 * share
            ),
            Self::PurgedCold { cold_s } => write!(
                f,
                "for {:.0} min the reducing gas flowed while the vessel was below the plateau; what it gave there may have restored little",
                cold_s / 60.0
            ),
            Self::Gaps { seconds } => {
                write!(f, "the record has gaps of {:.0} min together, in which nothing counts", seconds / 60.0)
            }
            Self::FractionMissing => {
                write!(f, "the hydrogen dose needs the gas's composition: state hydrogen_fraction = \"…\" in the test")
            }
        }
    }
}
