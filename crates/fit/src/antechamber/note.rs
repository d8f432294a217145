//! Findings in words that a technician understands.

use std::fmt;

/// A finding of an evaluation.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// The gauge cannot tell how much was left.
    GaugeCannotTell {
        /// Lowest pressure by the readings, and its standard uncertainty, Pa.
        lowest_pa: [f64; 2],
    },
    /// The gauge shows more vacuum than there is.
    BeyondVacuum {
        /// By how much, Pa.
        by_pa: f64,
    },
    /// The gauge's error is most of the uncertainty.
    GaugeDominates {
        /// Factor between lower and upper end of the interval.
        factor: f64,
    },
    /// The last evacuation was not backfilled within the record.
    NotBackfilled,
    /// The record begins with the chamber evacuated.
    BeginsEvacuated,
    /// The pressure rose in between without being backfilled.
    PartialRise {
        /// How often.
        times: usize,
    },
    /// Readings are so far apart that the lowest pressure was not seen.
    SampledTooSlowly {
        /// Time between readings, s.
        cadence_s: f64,
    },
    /// Readings are so far apart that whole cycles may lie between them.
    MayMissCycles {
        /// Time between readings, s.
        cadence_s: f64,
        /// What would do, s.
        needed_s: f64,
    },
    /// The record holds several transfers; the last was evaluated.
    SeveralTransfers {
        /// Number of transfers.
        transfers: usize,
    },
    /// The leak is not known.
    LeakNotKnown,
    /// A leak that the record does not resolve decides what is left.
    LeakDecides,
    /// No rise was seen while held.
    NoRise,
    /// What leaked in makes a good part of what is left.
    LeakMatters {
        /// Share of the residual oxygen.
        share: f64,
    },
    /// The backfill gas makes a good part of what is left.
    SupplyMatters {
        /// Share of the residual oxygen.
        share: f64,
    },
    /// Nothing is stated on the backfill gas.
    SupplyNotStated,
    /// Cycles that a target needs.
    CyclesNeeded {
        /// Target, ppm.
        target_ppm: f64,
        /// Cycles that do with 95 % confidence.
        cycles: usize,
    },
    /// No number of cycles reaches the target.
    TargetOutOfReach {
        /// Target, ppm.
        target_ppm: f64,
        /// What is left after many cycles, ppm.
        left_ppm: f64,
    },
    /// Outgassing is not counted.
    OutgassingExcluded,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::GaugeCannotTell { lowest_pa: [value, u] } => write!(
                f,
                "the gauge cannot tell how much gas was left: the lowest pressure reads {value:.0} Pa absolute with a standard \
                 uncertainty of {u:.0} Pa, so the residual oxygen is an upper bound; an absolute gauge of fine resolution would tell"
            ),
            Self::BeyondVacuum { by_pa } => write!(
                f,
                "the gauge shows {by_pa:.0} Pa more vacuum than the room's pressure allows: its zero or scale, or the barometer, is off"
            ),
            Self::GaugeDominates { factor } => write!(
                f,
                "what the gauge and the barometer may be off near full vacuum decides the result: the ends of the interval lie \
                 a factor of {factor:.1} apart"
            ),
            Self::NotBackfilled => {
                write!(f, "the last evacuation was not backfilled within the record and does not count")
            }
            Self::BeginsEvacuated => write!(
                f,
                "the record begins with the antechamber evacuated: it is taken to hold air at that pressure, whatever came before"
            ),
            Self::PartialRise { times } => write!(
                f,
                "the pressure rose {times} times in between without being backfilled: these rises count neither as cycles nor as leak"
            ),
            Self::SampledTooSlowly { cadence_s } => write!(
                f,
                "with a reading every {cadence_s:.0} s the lowest pressure was not seen: it may have gone on falling before the \
                 backfill, and the interval allows for that"
            ),
            Self::MayMissCycles { cadence_s, needed_s } => write!(
                f,
                "with a reading every {cadence_s:.0} s a backfill or a whole cycle may lie between two readings: the count of cycles, and \
                 what they left, is what the readings show; log every {needed_s:.0} s or faster"
            ),
            Self::SeveralTransfers { transfers } => write!(
                f,
                "the record holds {transfers} transfers with long pauses between; the last was evaluated, since nobody knows \
                 what came in through the doors in between"
            ),
            Self::LeakNotKnown => write!(
                f,
                "no hold of the antechamber under vacuum shows its leak; what may have leaked in is bounded by how little the \
                 pressure rose: hold it under vacuum with the pump shut off, for ten readings or more"
            ),
            Self::LeakDecides => write!(
                f,
                "a leak below what the record resolves may have let in more than the cycles left: the residual oxygen is given as \
                 an upper bound; a vacuum hold of the antechamber, long enough to show its leak, makes it a value"
            ),
            Self::NoRise => write!(
                f,
                "the pressure does not rise while it is held: the leak is small, or the pump stayed on, which would hide it"
            ),
            Self::LeakMatters { share } => {
                write!(f, "{:.0} % of the residual oxygen leaked in during the cycles", 100.0 * share)
            }
            Self::SupplyMatters { share } => {
                write!(f, "{:.0} % of the residual oxygen came with the backfill gas", 100.0 * share)
            }
            Self::SupplyNotStated => write!(
                f,
                "the plan states no oxygen in the supply gas: the backfill is taken as pure ([supply] oxygen = \"1 ppm\")"
            ),
            Self::CyclesNeeded { target_ppm, cycles } => {
                write!(
                    f,
                    "{cycles} such cycles bring the antechamber to {target_ppm} ppm of oxygen with 95 % confidence"
                )
            }
            Self::TargetOutOfReach { target_ppm, left_ppm } => write!(
                f,
                "no number of such cycles reaches {target_ppm} ppm for certain: leak and backfill gas may leave {left_ppm:.2} ppm"
            ),
            Self::OutgassingExcluded => {
                write!(f, "what walls and goods give off, above all water and dissolved air, is not counted")
            }
        }
    }
}
