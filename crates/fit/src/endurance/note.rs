//! Findings in words that a technician understands.

use std::fmt;

/// Something that must be known to read the result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// Short excursions were found.
    Excursions {
        /// How many.
        count: usize,
        /// How many of them the record marks as transfers.
        marked: usize,
        /// Largest content without them, ppm, and the ends of its interval.
        max_ppm: [f64; 3],
        /// Share of time within the target without them and the ends of its interval.
        share: Option<[f64; 3]>,
    },
    /// A mark stands where the content did not rise.
    MarksWithoutRise {
        /// How many.
        count: usize,
    },
    /// The analyser's response is not stated and there are excursions.
    ResponseNotStated,
    /// The analyser's response rounds the peaks off.
    ResponsePutBack {
        /// Its time constant, s.
        tau_s: f64,
    },
    /// Largest content and largest reading differ by more than the interval says of the content.
    LargestReading {
        /// Largest reading, ppm.
        reading_ppm: f64,
    },
    /// Excursions came down between readings.
    PeaksUnseen {
        /// How many of the highest.
        count: usize,
    },
    /// Stretches with the purifier off were set aside.
    PurifierOff {
        /// Time in them, s.
        seconds: f64,
        /// Readings in them.
        readings: usize,
    },
    /// Gaps were counted out.
    Gaps {
        /// How many.
        count: usize,
        /// Time in them, s.
        seconds: f64,
    },
    /// Readings below the reporting limit count as within.
    BelowLimit {
        /// Their share of the readings.
        share: f64,
    },
    /// The target lies below the reporting limit.
    TargetBelowLimit {
        /// The limit, ppm.
        limit_ppm: f64,
    },
    /// Readings above the range.
    AboveRange {
        /// Their number.
        count: usize,
    },
    /// Single readings that the analyser's response does not allow were set aside.
    Spikes {
        /// How many.
        count: usize,
    },
    /// The analyser's zero decides the share.
    ZeroDecides,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Excursions { count, marked, max_ppm: [max, low, high], share } => {
                write!(f, "{count} short excursions, as transfers cause them, were found")?;
                match marked {
                    0 => write!(f, " (none marked in the record)")?,
                    marked => write!(f, " ({marked} marked in the record)")?,
                }
                write!(
                    f,
                    "; they count. Without them the largest content is {max:.3} ppm ({low:.3} ppm to {high:.3} ppm)"
                )?;
                let Some([share, low, high]) = share.map(|share| share.map(|part| format!("{:.1}", 100.0 * part)))
                else {
                    return Ok(());
                };
                write!(f, " and {share} % of the time lies within the target")?;
                if low == high { Ok(()) } else { write!(f, " ({low} % to {high} %)") }
            }
            Self::MarksWithoutRise { count } => {
                let transfers = if *count == 1 { "transfer" } else { "transfers" };
                write!(f, "{count} marked {transfers} left no rise that stands out of the noise")
            }
            Self::ResponseNotStated => write!(
                f,
                "the analyser's response is not stated: peaks that are short beside it were higher than the result says; state response = \"t90 …\""
            ),
            Self::ResponsePutBack { tau_s } => write!(
                f,
                "the analyser follows with a time constant of {tau_s:.1} s, which rounds short peaks off; that is put back"
            ),
            Self::LargestReading { reading_ppm } => write!(
                f,
                "the largest single reading is {reading_ppm:.3} ppm; the result is the largest content of the gas, with the noise of single readings taken out and peaks put back"
            ),
            Self::PeaksUnseen { count } => {
                let (they, were) = if *count == 1 { ("excursion", "was") } else { ("excursions", "were") };
                write!(
                    f,
                    "{count} of the highest {they} {were} over within a reading or two, or came in a gap: how high the content went between the readings is not known, and the result is at least what was read; log more often than the gas takes to come down"
                )
            }
            Self::PurifierOff { seconds, readings } => {
                write!(f, "{readings} readings in {:.2} h with the purifier off were set aside", seconds / 3600.0)
            }
            Self::Gaps { count, seconds } => write!(
                f,
                "{count} gaps of the record, {:.2} h together, are counted out: share and largest content are of the time that was observed",
                seconds / 3600.0
            ),
            Self::BelowLimit { share } => write!(
                f,
                "{:.1} % of the readings only say \"below the reporting limit\"; they count as within the target",
                100.0 * share
            ),
            Self::TargetBelowLimit { limit_ppm } => write!(
                f,
                "the target lies below the analyser's reporting limit of {limit_ppm} ppm: the share within it is not known"
            ),
            Self::AboveRange { count } => {
                write!(f, "{count} readings lie above the analyser's range: the largest content is at least the result")
            }
            Self::Spikes { count } => write!(
                f,
                "{count} single readings stand out alone, where gas or analyser cannot follow so fast; they were set aside"
            ),
            Self::ZeroDecides => write!(
                f,
                "the content lies so near the target that small errors decide the share: check the analyser's zero with a reference gas"
            ),
        }
    }
}
