//! Findings in words that a technician understands.

use std::fmt;

/// Something that must be known to read the result.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// The analyser's response was not stated.
    LagUnknown,
    /// The analyser's response matters.
    LagMatters {
        /// Its time constant over that of the gas.
        ratio: f64,
        /// Standard uncertainty of τ that comes from it, s.
        standard_uncertainty_s: f64,
    },
    /// A second, slow term was needed.
    SlowTail {
        /// Time constant of it, s.
        time_constant_s: f64,
        /// Its share of the dose.
        share: f64,
    },
    /// The purifier takes up a smaller share at high content.
    Loading {
        /// Time constant at the height of the dose over that at low content.
        slower: f64,
    },
    /// The decay is not one exponential and the fit shows it.
    NotExponential {
        /// Largest deviation over the dose.
        deviation: f64,
    },
    /// The record ends before the floor shows.
    FloorNotReached {
        /// Length of the window in time constants.
        time_constants: f64,
    },
    /// The content rises again before the record ends.
    RisesAgain {
        /// Length of the decay up to there in time constants.
        time_constants: f64,
    },
    /// Part of the readings is censored.
    Censored {
        /// Their share.
        share: f64,
    },
    /// The floor lies above the target.
    TargetNotReached {
        /// Probability that the target is never reached.
        probability: f64,
    },
    /// Ingress that the floor implies, at most.
    ImpliedIngress {
        /// Upper end, ppm/h.
        ppm_per_h: f64,
    },
    /// The single-pass efficiency comes out above 1.
    EfficiencyAboveOne {
        /// The value.
        value: f64,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LagUnknown => write!(
                f,
                "the analyser's response is not stated; it cannot be told from the clean-up itself, so the interval spans what analysers usually do, up to 3 min, as long as they are quicker than the gas; were this one slower, its response would be shown in place of the gas's time constant. State response = \"t90 …\" to tell"
            ),
            Self::LagMatters { ratio, standard_uncertainty_s } => write!(
                f,
                "the analyser lags by {ratio:.2} time constants of the gas; that is taken out, and its uncertainty adds {standard_uncertainty_s:.2} s"
            ),
            Self::SlowTail { time_constant_s, share } => write!(
                f,
                "{:.1} % of the dose came down more slowly (about {time_constant_s:.0} s), as water coming off the walls does; the time constant is that of the fast part",
                100.0 * share
            ),
            Self::Loading { slower } => write!(
                f,
                "the purifier takes up a smaller share at high content: at the height of the dose the content falls about {slower:.2} times more slowly than near the floor; the time constant is that at low content"
            ),
            Self::NotExponential { deviation } => write!(
                f,
                "the decay is not one exponential: the fit misses by up to {:.1} % of the dose; efficiency that changes with load, mixing or a second source would look like this",
                100.0 * deviation
            ),
            Self::FloorNotReached { time_constants } => write!(
                f,
                "the record ends {time_constants:.1} time constants after its start: floor and time constant are hard to tell apart; log on until the reading stays"
            ),
            Self::RisesAgain { time_constants } => write!(
                f,
                "the content rises again before the record ends, as after another dose: what was read up to there, {time_constants:.1} time constants, is evaluated{}",
                if *time_constants < 4.0 {
                    "; floor and time constant are hard to tell apart in so short a decay"
                } else {
                    ""
                }
            ),
            Self::Censored { share } => write!(
                f,
                "{:.0} % of the readings only say \"below the reporting limit\" or \"above the range\"; they count as bounds",
                100.0 * share
            ),
            Self::TargetNotReached { probability } => write!(
                f,
                "the floor lies above the target with a probability of {:.0} %, and then it is never reached as things are",
                100.0 * probability
            ),
            Self::ImpliedIngress { ppm_per_h } => write!(
                f,
                "the floor allows an ingress of at most {ppm_per_h:.3} ppm/h (97.5 %; the analyser's zero and the bed's equilibrium are in it)"
            ),
            Self::EfficiencyAboveOne { value } => {
                write!(f, "a single-pass efficiency of {value:.2} is not possible: check volume and circulation flow")
            }
        }
    }
}
