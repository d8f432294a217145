//! Findings in words that a technician understands.

use std::fmt;

use super::{Course, Dose, TrendLine};
use crate::Estimate;

/// Something that must be known to read the result.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// No dose was found.
    NoDose,
    /// What the time constants do.
    Course {
        /// In a word.
        course: Course,
        /// Relative change per day with its 95 % interval.
        per_day: [f64; 3],
        /// Length of the log, days.
        days: f64,
    },
    /// Too few time constants for a trend.
    TooFew {
        /// Number of them.
        found: usize,
    },
    /// Doses whose decay gives no time constant.
    NotEvaluated {
        /// Number of them.
        count: usize,
    },
    /// Time constants so far off the others that the trend leaves them out.
    FarOff {
        /// Number of them.
        count: usize,
    },
    /// Time constants differ by more than their uncertainty.
    Scatter {
        /// Relative standard deviation.
        relative: f64,
    },
}

pub(super) fn notes(
    doses: &[Dose],
    course: Course,
    far: usize,
    trend: Option<&Estimate>,
    line: Option<&TrendLine>,
    length_s: f64,
) -> Vec<Note> {
    if doses.is_empty() {
        return vec![Note::NoDose];
    }
    let mut notes = Vec::new();
    let evaluated = doses.iter().filter(|dose| dose.evaluation.is_some()).count();
    match trend {
        Some(trend) => {
            let [low, high] = trend.interval95;
            notes.push(Note::Course {
                course,
                per_day: [trend.value, low, high],
                days: length_s / super::SECONDS_PER_DAY,
            });
        }
        None => notes.push(Note::TooFew { found: evaluated - far }),
    }
    if evaluated < doses.len() {
        notes.push(Note::NotEvaluated { count: doses.len() - evaluated });
    }
    if far > 0 {
        notes.push(Note::FarOff { count: far });
    }
    if let Some(line) = line.filter(|line| line.scatter > 0.03) {
        notes.push(Note::Scatter { relative: line.scatter });
    }
    notes
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoDose => write!(f, "no dose was found: nowhere does the content rise suddenly and come down again"),
            Self::Course { course, per_day, days } => {
                let whole = 100.0 * (per_day[0] * days).exp_m1();
                let [value, low, high] = per_day.map(|change| 100.0 * change);
                let words = match course {
                    Course::Slowing => "the clean-up is slowing",
                    Course::SpeedingUp => "the clean-up is speeding up",
                    Course::Steady | Course::TooFew => "the clean-up is steady as far as can be told",
                };
                write!(
                    f,
                    "{words}: the time constant changes by {value:.2} % a day ({low:.2} % to {high:.2} %), {whole:.0} % over the {days:.1} days of the log"
                )
            }
            Self::TooFew { found } => {
                write!(
                    f,
                    "{found} time constants are too few for a trend; at least {} are needed",
                    super::trend::NEEDED
                )
            }
            Self::NotEvaluated { count } => write!(
                f,
                "{count} of the doses give no time constant: too weak, or the log ends or the next dose comes too soon"
            ),
            Self::FarOff { count } => write!(
                f,
                "left out of the trend: {count} of the time constants, off the others by more than a factor of three. Look at these doses"
            ),
            Self::Scatter { relative } => write!(
                f,
                "time constants scatter by {:.0} % from dose to dose beyond their own uncertainty; the trend's interval allows for it. Circulation flow, mixing and the kind of dose would do this",
                100.0 * relative
            ),
        }
    }
}
