//! Findings in words that a technician understands.

use std::fmt;

use super::{Outgassing, Species};
use crate::note_number::as_shown;

/// A finding of an evaluation.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// Many readings are censored.
    Censored {
        /// Species.
        species: Species,
        /// Share of the readings in the window, 0 to 1.
        share: f64,
    },
    /// The result is a bound because nearly nothing was measured.
    BoundFromCensored {
        /// Species.
        species: Species,
    },
    /// The result is a bound because outgassing cannot be told from ingress.
    NotSeparable {
        /// Species.
        species: Species,
        /// Probability of a power law among the models.
        power_law_weight: f64,
    },
    /// The result hinges on the model of outgassing.
    HingesOnModel {
        /// Species.
        species: Species,
        /// The two models that differ.
        models: [Outgassing; 2],
        /// What they give, ppm/h.
        ingress_ppm_per_h: [f64; 2],
    },
    /// Outgassing was found.
    OutgassingFound {
        /// Species.
        species: Species,
        /// Share of the rise over the window.
        share: f64,
        /// What a straight line would say, ppm/h.
        straight_line_ppm_per_h: f64,
    },
    /// The rise gets steeper, which a steady ingress does not.
    Steepens {
        /// Species.
        species: Species,
        /// Rate at the start and at the end, ppm/h.
        ppm_per_h: [f64; 2],
    },
    /// The rise slackens, by outgassing or by a sink.
    Slackens {
        /// Species.
        species: Species,
        /// Ingress if a sink slackens it and if outgassing does, ppm/h.
        ppm_per_h: [f64; 2],
    },
    /// The run is short against the decay of the outgassing.
    RunShort {
        /// Species.
        species: Species,
        /// Duration of the window in h.
        window_h: f64,
        /// Time constant of the outgassing in h.
        time_constant_h: f64,
    },
    /// The interval is wider because the noise is correlated.
    IntervalWidened {
        /// Species.
        species: Species,
        /// Factor.
        factor: f64,
    },
    /// The bound on the analyser's drift matters.
    DriftMatters {
        /// Species.
        species: Species,
        /// Standard uncertainty that it adds, ppm/h.
        standard_uncertainty_ppm_per_h: f64,
    },
    /// The resolution of the analyser is coarse against its noise.
    CoarseResolution {
        /// Species.
        species: Species,
        /// Step in ppm.
        step_ppm: f64,
    },
    /// The pressure difference is not known: ingress at another pressure cannot be stated.
    PressureUnknown,
    /// The pressure below the room's changed in the run, and with it what came in through leaks.
    PressureChanged {
        /// Pressure difference at the start and at the end, Pa.
        ends_pa: [f64; 2],
    },
    /// Gas was fed in and diluted what came in.
    Diluted {
        /// Mean exchange rate in 1/h.
        exchange_per_h: f64,
    },
    /// Make-up flow was logged but the volume is not known: dilution is left out.
    DilutionNeedsVolume,
    /// Content comes near that of the room.
    NearRoomAir {
        /// Species.
        species: Species,
        /// Largest content over that of the room.
        ratio: f64,
    },
    /// The content fell through the run.
    Falling {
        /// Species.
        species: Species,
    },
    /// Single readings far off were set aside.
    Outliers {
        /// Species.
        species: Species,
        /// How many.
        count: usize,
    },
}

/// A share in whole percent; what would round to nothing is "under 1 %".
fn percent(share: f64) -> String {
    if share < 0.01 { "under 1 %".to_owned() } else { format!("{:.0} %", 100.0 * share) }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Censored { species, share } => write!(
                f,
                "{} of the {species} readings lie beyond what the analyser reports; they count as \"below\" or \"above\", not as numbers",
                percent(*share)
            ),
            Self::BoundFromCensored { species } => write!(
                f,
                "too few {species} readings are numbers for a value: the result is an upper bound; a longer run gives a value"
            ),
            Self::NotSeparable { species, power_law_weight } => write!(
                f,
                "{species} still coming off the walls cannot be told from {species} coming in (a slow tail is {} probable): the result is an upper bound; a second run at another pressure, or a much longer one, would tell",
                percent(*power_law_weight)
            ),
            Self::HingesOnModel { species, models, ingress_ppm_per_h } => write!(
                f,
                "the {species} ingress hinges on how the outgassing decays: {:.3} ppm/h with {}, {:.3} ppm/h with {}; the interval spans them, a longer run would settle it",
                ingress_ppm_per_h[0], models[0], ingress_ppm_per_h[1], models[1]
            ),
            Self::OutgassingFound { species, share, straight_line_ppm_per_h } => write!(
                f,
                "{} of the rise of {species} is outgassing and is taken out; a straight line would have said {} ppm/h",
                percent(*share),
                as_shown(*straight_line_ppm_per_h)
            ),
            Self::Steepens { species, ppm_per_h: [first, last] } => write!(
                f,
                "warning: the rise of {species} gets steeper in the run, from about {first:.3} to {last:.3} ppm/h, which no steady ingress does; the interval spans both; find what let in more (a leak that opened, a valve, a glove) and repeat"
            ),
            Self::Slackens { species, ppm_per_h: [sink, outgassing] } => write!(
                f,
                "warning: the rise of {species} slackens, and the readings do not tell why: {outgassing:.3} ppm/h come in if it is outgassing that decays, {sink:.3} ppm/h if something takes {species} up (a purifier's valve that is not tight, contents that react); the interval spans both; close the purifier's valves tightly, take reactive contents out and repeat, and wait longer before the start"
            ),
            Self::RunShort { species, window_h, time_constant_h } => write!(
                f,
                "the run of {window_h:.1} h is short against the outgassing of {species} (time constant about {time_constant_h:.1} h)"
            ),
            Self::IntervalWidened { species, factor } => write!(
                f,
                "the {species} readings wander; allowing for it makes the interval {factor:.1} times as wide as a textbook fit would"
            ),
            Self::DriftMatters { species, standard_uncertainty_ppm_per_h } => write!(
                f,
                "the drift allowed for the {species} analyser adds {standard_uncertainty_ppm_per_h:.4} ppm/h to the uncertainty, the largest part of it"
            ),
            Self::CoarseResolution { species, step_ppm } => {
                let step_ppm = as_shown(*step_ppm);
                write!(f, "the {species} readings move in steps of {step_ppm} ppm, coarser than their noise")
            }
            Self::PressureUnknown => write!(
                f,
                "the pressure difference to the room is not known: the ingress holds for the pressure of this run, whatever it was"
            ),
            Self::PressureChanged { ends_pa: [from, to] } => write!(
                f,
                "the pressure difference went from {from:.0} to {to:.0} Pa in the run, and what came in through leaks with it; the ingress is that at its mean, and the interval spans none to all of it coming through leaks"
            ),
            Self::Diluted { exchange_per_h } => {
                write!(
                    f,
                    "gas fed in exchanged {:.3} % of the volume an hour; its dilution is allowed for",
                    100.0 * exchange_per_h
                )
            }
            Self::DilutionNeedsVolume => {
                write!(f, "gas was fed in, but without the volume of the enclosure its dilution cannot be allowed for")
            }
            Self::NearRoomAir { species, ratio } => {
                write!(
                    f,
                    "{species} rose to {:.0} % of that in the room's air, which slows the rise; the fit allows for it",
                    100.0 * ratio
                )
            }
            Self::Falling { species } => {
                write!(f, "{species} fell during the run: check that the purifier was off and what else takes it up")
            }
            Self::Outliers { species, count } => {
                write!(f, "{count} {species} readings far from their neighbours were set aside")
            }
        }
    }
}
