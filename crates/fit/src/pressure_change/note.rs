//! Findings in words that a technician understands.

use std::fmt;

/// A finding of an evaluation.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// No thermometer: temperature and leak cannot be told apart.
    NoThermometer,
    /// The room's pressure was stated, not logged.
    RoomPressureNotLogged,
    /// The thermometer follows the gas late.
    ThermometerLags {
        /// Its name.
        name: String,
        /// Lag in s.
        lag_s: f64,
        /// Standard uncertainty in s.
        standard_uncertainty_s: f64,
    },
    /// What is left over still wanders.
    ResidualWanders {
        /// Its name.
        name: String,
        /// Standard deviation in K.
        wander_sd_k: f64,
        /// Memory in s.
        memory_s: f64,
    },
    /// The interval is wider for it.
    IntervalWidened {
        /// Factor against uncorrelated residuals.
        factor: f64,
    },
    /// Gloves and walls gave way.
    GaveWay {
        /// Compliance in m³/Pa.
        compliance_m3_per_pa: f64,
        /// Standard uncertainty in m³/Pa.
        standard_uncertainty_m3_per_pa: f64,
    },
    /// The compliance is neither given nor excluded.
    ComplianceUnknown,
    /// Thermometers disagree about the leak.
    ThermometersDisagree {
        /// The one furthest off.
        name: String,
        /// By how many joint standard uncertainties.
        pull: f64,
    },
    /// A conventional estimate disagrees with the model by more than the joint uncertainty.
    ConventionalDisagrees {
        /// `two-point` or `mass point`.
        method: &'static str,
        /// Its leak rate scaled to the reference pressure, 1/h.
        conventional_per_h: f64,
        /// That of the model, 1/h.
        model_per_h: f64,
    },
    /// Pressure differences so large that a linear law does not hold.
    LinearLawDoubtful {
        /// Largest difference in Pa.
        largest_difference_pa: f64,
    },
    /// The reference pressure is far from the pressure of the test.
    ReferencePressureFar {
        /// Reference over mean difference of the test.
        ratio: f64,
    },
    /// The reference pressure has the other sign than the test: the gas that flowed is another.
    ReferencePressureOfOtherSign,
    /// The window is short against the lag of the thermometer.
    WindowShort {
        /// Window in s.
        window_s: f64,
        /// Lag in s.
        lag_s: f64,
    },
    /// Coarse resolution dominates a channel.
    CoarseResolution {
        /// Channel.
        name: String,
        /// Step in its SI unit.
        step: f64,
    },
    /// A clock offset was found.
    ClockOffsetFound {
        /// Channel.
        name: String,
        /// Offset in s, positive when its clock is ahead.
        offset_s: f64,
        /// Standard uncertainty in s.
        standard_uncertainty_s: f64,
    },
    /// The data do not tell a clock offset.
    ClockOffsetNotTold {
        /// Channel.
        name: String,
    },
    /// A channel has a logger of its own, and the data do not tell whether its clock agrees.
    ClocksNotCompared {
        /// Channel.
        name: String,
    },
    /// Readings in gaps of the barometer were set aside.
    RoomPressureGap {
        /// How many.
        rows: usize,
    },
}

/// Nobody tests at so small a share of the pressure that counts; mbar taken for Pa make a hundred of it.
const UNIT_IN_DOUBT: f64 = 20.0;

/// What is forgotten sooner than this is noise of the readings, s.
const SHORTEST_MEMORY_S: f64 = 10.0;

fn write_far(f: &mut fmt::Formatter<'_>, ratio: f64) -> fmt::Result {
    let is_far = !(1.0 / UNIT_IN_DOUBT..=UNIT_IN_DOUBT).contains(&ratio);
    let doubt = if is_far { "; is the unit of the gauge's column right?" } else { "" };
    let digits = if ratio < 1.0 { 2 } else { 1 };
    write!(
        f,
        "the reference pressure is {ratio:.digits$} times the pressure of the test: the budget allows for a leak that grows with \
         the root of the pressure{doubt}"
    )
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoThermometer => write!(
                f,
                "no thermometer was logged: a change of temperature looks like a leak, and the interval is wide for it"
            ),
            Self::RoomPressureNotLogged => write!(
                f,
                "the room's pressure was not logged: its changes look like a leak, and the budget allows for them"
            ),
            Self::ThermometerLags { name, lag_s, standard_uncertainty_s } => {
                write!(f, "the thermometer {name} lags by {lag_s:.0} s (± {standard_uncertainty_s:.0} s)")
            }
            Self::ResidualWanders { name, wander_sd_k, memory_s } if *memory_s < SHORTEST_MEMORY_S => write!(
                f,
                "the difference between {name} and the mean gas is off by {:.0} mK from one reading to the next",
                wander_sd_k * 1e3
            ),
            Self::ResidualWanders { name, wander_sd_k, memory_s } => write!(
                f,
                "the difference between {name} and the mean gas wanders by {:.0} mK over {}",
                wander_sd_k * 1e3,
                if *memory_s < 90.0 { format!("{memory_s:.0} s") } else { format!("{:.0} min", memory_s / 60.0) }
            ),
            Self::IntervalWidened { factor } => {
                let times = if *factor < 10.0 { format!("{factor:.1}") } else { format!("{factor:.0}") };
                write!(
                    f,
                    "readings in turn are off to the same side: the interval is {times} times as wide as it would be if each were off by itself"
                )
            }
            Self::GaveWay { compliance_m3_per_pa, standard_uncertainty_m3_per_pa } => write!(
                f,
                "the box gave way by {:.4} L/Pa (± {:.4} L/Pa): gloves or walls",
                compliance_m3_per_pa * 1e3,
                standard_uncertainty_m3_per_pa * 1e3
            ),
            Self::ComplianceUnknown => write!(
                f,
                "how far gloves and walls give way is not known: the leak may be up to three times what a rigid box would show; rigid covers on the ports, a stiffness check or a known leak would settle it"
            ),
            Self::ThermometersDisagree { name, pull } => {
                write!(
                    f,
                    "{name} disagrees with the others about the leak ({pull:.1} joint standard uncertainties): warm corner, or a reference vessel that leaks"
                )
            }
            Self::ConventionalDisagrees { method, conventional_per_h, model_per_h } => write!(
                f,
                "brought to the reference pressure, the {method} evaluation gives {conventional_per_h:.2e} 1/h where the model finds {model_per_h:.2e} 1/h, apart by more than their joint uncertainty: temperature lag, settling or compliance"
            ),
            Self::LinearLawDoubtful { largest_difference_pa } => write!(
                f,
                "at {largest_difference_pa:.0} Pa a leak is not proportional to the pressure difference: a linear law does not hold here"
            ),
            Self::ReferencePressureFar { ratio } => write_far(f, *ratio),
            Self::ReferencePressureOfOtherSign => {
                write!(
                    f,
                    "the reference pressure has the other sign than the test: the result is for the gas that flowed in the test"
                )
            }
            Self::WindowShort { window_s, lag_s } => write!(
                f,
                "the window of {:.0} min is short against the thermometer's lag of {lag_s:.0} s: settling and leak are hard to tell apart",
                window_s / 60.0
            ),
            Self::CoarseResolution { name, step } => {
                let step = crate::note_number::as_shown(*step);
                write!(f, "the readings of {name} move in steps of {step}: the interval is wider for it")
            }
            Self::ClockOffsetNotTold { name } => write!(
                f,
                "the offset of the clock of {name} cannot be told from these data; the budget allows for all that it may be"
            ),
            Self::ClocksNotCompared { name } => write!(
                f,
                "{name} comes from a logger of its own, and these data do not tell whether the clocks agree; taken as set to the \
                 minute: compare them and state clock_offset"
            ),
            Self::ClockOffsetFound { name, offset_s, standard_uncertainty_s } => {
                write!(
                    f,
                    "the clock of {name} is {} by {:.0} s (± {standard_uncertainty_s:.0} s)",
                    if *offset_s >= 0.0 { "ahead" } else { "behind" },
                    offset_s.abs()
                )
            }
            Self::RoomPressureGap { rows: 1 } => {
                write!(f, "1 reading lies in a gap of the barometer and was set aside")
            }
            Self::RoomPressureGap { rows } => {
                write!(f, "{rows} readings lie in gaps of the barometer and were set aside")
            }
        }
    }
}
