//! Findings in words that a technician understands.

use std::fmt;

/// Something that must be known to read the result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// Span error with the zero error taken off.
    SpanBeyondZero {
        /// ppm.
        ppm: f64,
        /// Relative to the content.
        relative: f64,
    },
    /// The first and the last plateau of one gas differ.
    Drift {
        /// Content of the gas, ppm.
        content_ppm: f64,
        /// Last minus first, ppm.
        ppm: f64,
        /// Its standard uncertainty, ppm.
        uncertainty_ppm: f64,
        /// Time between them, s.
        seconds: f64,
    },
    /// Readings were still moving at the end of a plateau.
    NotSettled {
        /// Content of the gas, ppm.
        content_ppm: f64,
    },
    /// Rise and fall differ.
    StepsDiffer {
        /// Fastest t90, s.
        fastest_s: f64,
        /// Slowest t90, s.
        slowest_s: f64,
    },
    /// No step is large enough for a response.
    NoStep,
    /// The readings are too far apart for the response.
    ResponseFasterThanReadings {
        /// Time between readings, s.
        cadence_s: f64,
    },
    /// A reference gas read above the range.
    AboveRange {
        /// Its content, ppm.
        content_ppm: f64,
    },
    /// The zero gas read below the reporting limit.
    ZeroBelowLimit,
    /// Only one content was given: one error.
    OneContent,
    /// Error beside what the plan states of the analyser.
    AgainstStated {
        /// Which error.
        what: &'static str,
        /// Error over the standard uncertainty stated.
        ratio: f64,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SpanBeyondZero { ppm, relative } => write!(
                f,
                "with the zero error taken off, the span is off by {ppm:.3} ppm ({:.2} % of the content)",
                100.0 * relative
            ),
            Self::Drift { content_ppm, ppm, uncertainty_ppm, seconds } => write!(
                f,
                "at {content_ppm} ppm the last plateau reads {:.3} ppm (standard uncertainty {uncertainty_ppm:.3} ppm) {} than the first, {:.1} h before: that is the drift between them",
                ppm.abs(),
                if *ppm < 0.0 { "lower" } else { "higher" },
                seconds / 3600.0
            ),
            Self::NotSettled { content_ppm } => {
                write!(f, "the reading at {content_ppm} ppm was still moving; give the gas longer")
            }
            Self::StepsDiffer { fastest_s, slowest_s } => write!(
                f,
                "the steps are not equally fast: t90 from {fastest_s:.1} s to {slowest_s:.1} s; falling steps are often slower"
            ),
            Self::NoStep => {
                write!(f, "no step between two gases stands out of the noise: the response is not determined")
            }
            Self::ResponseFasterThanReadings { cadence_s } => write!(
                f,
                "with a reading every {cadence_s:.1} s the response shows only as a bound; log faster to find it"
            ),
            Self::AboveRange { content_ppm } => write!(
                f,
                "with {content_ppm} ppm the analyser reads above its range: its error there is known only as a bound; take a gas of smaller content"
            ),
            Self::ZeroBelowLimit => {
                write!(f, "the gas of least content read below the reporting limit: its error is known only as a bound")
            }
            Self::OneContent => write!(f, "one gas gives one error; a second gas gives zero and span"),
            Self::AgainstStated { what, ratio } => write!(
                f,
                "the {what} is {ratio:.1} times the standard uncertainty that the plan states of the analyser: beyond 2, correct or adjust it, or state more"
            ),
        }
    }
}
