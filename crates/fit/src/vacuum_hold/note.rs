//! Findings in words that a technician understands.

use std::fmt;

/// A finding of an evaluation.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// Leak and outgassing cannot be told apart yet.
    NotSeparable {
        /// Time that would tell, beyond the record, s.
        more_s: f64,
        /// Share of the rise at the end that may be outgassing.
        outgassing_share: f64,
    },
    /// Outgassing was found beside the leak.
    OutgassingFound {
        /// Leak and outgassing at the end, Pa·m³/s.
        parts: [f64; 2],
        /// What a straight line through the readings would call the leak, Pa·m³/s.
        straight_line: f64,
    },
    /// Nothing was seen to come in.
    BelowResolution,
    /// Gas temperature was not logged and matters.
    TemperatureNotLogged {
        /// Standard uncertainty that it adds, Pa·m³/s.
        standard_uncertainty: f64,
    },
    /// The room's pressure was not logged and matters.
    RoomPressureNotLogged {
        /// Standard uncertainty that it adds, Pa·m³/s.
        standard_uncertainty: f64,
    },
    /// The law of the leak matters: the pressure rose towards that of the room.
    LawMatters {
        /// Leak by the laminar and by the molecular law, Pa·m³/s.
        leaks: [f64; 2],
    },
    /// The pressure left the course of the hold.
    RegimeChanged {
        /// When, s on the record's axis.
        at_s: f64,
        /// Pressure there and at the end of the change, Pa.
        pressure_pa: [f64; 2],
    },
    /// The clock started again; one phase was evaluated.
    Restarted {
        /// How often.
        times: usize,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotSeparable { more_s, outgassing_share } => write!(
                f,
                "leak and outgassing are not separable yet: up to {:.0} % of the rise at the end may be outgassing, so the \
                 leak is given as an upper bound; some {} more would tell",
                100.0 * outgassing_share,
                duration(*more_s)
            ),
            Self::OutgassingFound { parts: [leak, outgassing], straight_line } => write!(
                f,
                "the rise slows down as outgassing does: at the end {leak:.2e} Pa m3/s leak in and {outgassing:.2e} Pa m3/s come \
                 off the walls; a straight line through the readings would say {straight_line:.2e} Pa m3/s of leak"
            ),
            Self::BelowResolution => write!(
                f,
                "the leak cannot be told from none: it is given as an upper bound; a longer hold or a finer gauge lowers it"
            ),
            Self::TemperatureNotLogged { standard_uncertainty } => write!(
                f,
                "the temperature of the gas was not logged; its likely drift adds {standard_uncertainty:.1e} Pa m3/s to the \
                 standard uncertainty"
            ),
            Self::RoomPressureNotLogged { standard_uncertainty } => write!(
                f,
                "the gauge counts from the room, whose pressure was not logged; the weather adds {standard_uncertainty:.1e} \
                 Pa m3/s to the standard uncertainty"
            ),
            Self::LawMatters { leaks: [laminar, molecular] } => write!(
                f,
                "the pressure rose towards that of the room, so the law of the leak matters: {laminar:.2e} Pa m3/s if laminar, \
                 {molecular:.2e} Pa m3/s if molecular; the interval spans both"
            ),
            Self::RegimeChanged { at_s, pressure_pa: [from, to] } => write!(
                f,
                "at {at_s:.0} s the pressure leaves its course, from {from:.4} Pa to {to:.4} Pa: what follows is not evaluated"
            ),
            Self::Restarted { times } => write!(
                f,
                "the clock starts again {times} times, and the pauses are not known: the longest hold between was evaluated"
            ),
        }
    }
}

/// A duration as people say it.
fn duration(seconds: f64) -> String {
    let (value, unit) = if seconds < 5400.0 {
        (seconds / 60.0, "min")
    } else if seconds < 172_800.0 {
        (seconds / 3600.0, "h")
    } else {
        (seconds / 86_400.0, "days")
    };
    format!("{:.0} {unit}", value.max(1.0))
}
