//! Changes: what, how and when.

use crate::diagnose::log::Species;

/// How a change comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::diagnose) enum Profile {
    /// At once, to stay.
    Step,
    /// Grows evenly to the end of the log.
    Ramp,
    /// Grows with the square of time to the end of the log.
    Bend,
    /// Grows evenly over the given h, then stays.
    RampTo(f64),
    /// At once, then dies away with this time constant, h.
    Decaying(f64),
}

impl Profile {
    /// Its size at a time, 0 to 1.
    pub(super) fn at(self, time_h: f64, onset_h: f64, end_h: f64) -> f64 {
        let since = time_h - onset_h;
        if since <= 0.0 {
            return 0.0;
        }
        let share = since / (end_h - onset_h).max(1e-9);
        match self {
            Self::Step => 1.0,
            Self::Ramp => share.min(1.0),
            Self::Bend => share.min(1.0).powi(2),
            Self::RampTo(h) => (since / h).min(1.0),
            Self::Decaying(h) => (-since / h).exp(),
        }
    }
}

/// What changes. Numbers are places of amplitudes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::diagnose) enum Effect {
    /// Leakage grows (ln of ppm/h per Pa), and with it the make-up that holds an over-pressure (ln of its relative growth).
    Leak { size: usize, makeup: usize },
    /// Permeation grows: ln of oxygen in ppm/h, ln of water over oxygen.
    Permeation { size: usize, ratio: usize },
    /// The purifier's rate falls: ln of the fall of its logarithm, for the species that have one.
    Capacity([Option<usize>; 2]),
    /// Circulation falls: ln of the fall of its logarithm.
    Flow(usize),
    /// Water comes off walls or goods: ln of ppm/h; perhaps oxygen too: ln of its ratio to water.
    Outgassing { water: usize, oxygen: Option<usize> },
    /// An analyser's zero moves: ln of ppm, and the sign.
    Drift { species: Species, size: usize, sign: f64 },
    /// The supplied gas brings more: ln of ppm/h.
    Supply([Option<usize>; 2]),
    /// More or larger transfers: ln of the rise of the logarithms of number and size.
    Transfers { count: Option<usize>, size: Option<usize> },
}

/// One change: what, how and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::diagnose) struct Change {
    pub(in crate::diagnose) effect: Effect,
    pub(in crate::diagnose) profile: Profile,
    pub(in crate::diagnose) onset_h: f64,
}
