//! What can be wrong with a plan: found all at once, each with its place and what would be right.

use std::fmt;

use crate::markup::shortened;
use tightfit_quantity::{QuantityError, ResponseError, UncertaintyError, UnitError};

/// Everything that is wrong with a plan, in the order of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanError {
    /// File name as the user gave it.
    pub file: String,
    /// At least one mistake.
    pub mistakes: Vec<Located>,
}

/// A mistake and its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Located {
    /// Line of the plan, first line = 1.
    pub line: usize,
    /// Column in characters, first = 1.
    pub column: usize,
    /// The line's text.
    pub text: String,
    /// What is wrong.
    pub mistake: Mistake,
}

/// One thing that is wrong with a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mistake {
    /// Not TOML.
    Syntax {
        /// The parser's words.
        message: String,
    },
    /// A key that this section does not have.
    UnknownKey {
        /// The key.
        key: String,
        /// The section, as a plan names it.
        section: String,
        /// The nearest key that it has.
        nearest: Option<String>,
    },
    /// A key that must be there and is not.
    Missing {
        /// The key.
        key: &'static str,
        /// The section.
        section: String,
        /// What to write.
        example: &'static str,
    },
    /// Another type of value than the key takes.
    WrongType {
        /// The key.
        key: String,
        /// What was found.
        found: &'static str,
        /// What is expected, with an example.
        expected: &'static str,
    },
    /// A word that is not one of those allowed.
    UnknownWord {
        /// The key.
        key: String,
        /// The word.
        found: String,
        /// The nearest that is allowed.
        nearest: Option<String>,
        /// All that are allowed.
        allowed: Vec<String>,
    },
    /// A quantity that cannot be read.
    Quantity {
        /// The key.
        key: String,
        /// Why.
        error: QuantityError,
    },
    /// An uncertainty that cannot be read.
    Uncertainty {
        /// The key.
        key: String,
        /// Why.
        error: UncertaintyError,
    },
    /// A response time that cannot be read.
    Response {
        /// The key.
        key: String,
        /// Why.
        error: ResponseError,
    },
    /// A unit that cannot be read.
    Unit {
        /// The key.
        key: String,
        /// Why.
        error: UnitError,
    },
    /// A value that cannot be true.
    Impossible {
        /// The key.
        key: String,
        /// The value as written.
        found: String,
        /// What is possible.
        expected: &'static str,
    },
    /// Two keys that exclude each other.
    Both {
        /// The one.
        first: &'static str,
        /// The other.
        second: &'static str,
        /// Why only one.
        because: &'static str,
    },
    /// A name that is used and not defined.
    NotDefined {
        /// What kind of thing: "instrument", "test", "file".
        kind: &'static str,
        /// The name.
        name: String,
        /// The nearest that is defined.
        nearest: Option<String>,
    },
    /// The same name twice.
    Twice {
        /// What kind of thing.
        kind: &'static str,
        /// The name.
        name: String,
    },
    /// A pressure of the plan beyond the rated pressure.
    BeyondRated {
        /// The key.
        key: String,
        /// The pressure as written.
        pressure: String,
        /// Rated range in words.
        rated: String,
    },
    /// A time that cannot be read.
    Time {
        /// The key.
        key: String,
        /// The text.
        found: String,
    },
    /// A time zone nobody knows.
    TimeZone {
        /// The text.
        found: String,
    },
    /// The format version is not one that this program reads.
    Version {
        /// What was found.
        found: i64,
    },
}

impl Mistake {
    /// What to do about it, where the sentence itself does not say it.
    #[must_use]
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::Syntax { message } if message.contains("duplicate key") => Some("keep one of the two".to_owned()),
            Self::Syntax { .. } => Some("text stands in \"quotes\"; a section name in [brackets]".to_owned()),
            Self::UnknownKey { nearest: Some(nearest), .. } | Self::NotDefined { nearest: Some(nearest), .. } => {
                Some(format!("did you mean \"{nearest}\"?"))
            }
            Self::UnknownKey { section, .. } => {
                Some(format!("remove it; the plan reference lists the keys of {section}"))
            }
            Self::Missing { example, .. } => Some(format!("add: {example}")),
            Self::UnknownWord { nearest: Some(nearest), .. } => Some(format!("did you mean \"{nearest}\"?")),
            Self::UnknownWord { allowed, .. } => Some(format!("known are: {}", allowed.join(", "))),
            Self::BeyondRated { .. } => Some(
                "test within the rated pressure; gloves and windows can burst, and the maker's rating decides"
                    .to_owned(),
            ),
            Self::Time { .. } => Some("write \"2026-05-04T09:00:00Z\" or, after the first row, \"10 min\"".to_owned()),
            Self::TimeZone { .. } => {
                Some("write a name such as \"Europe/Vienna\" or an offset such as \"+02:00\"".to_owned())
            }
            Self::Version { .. } => Some("this program reads plans of version 1: tightfit = 1".to_owned()),
            Self::NotDefined { kind: "instrument", name, .. } => Some(format!("add a section [instruments.{name}]")),
            _ => None,
        }
    }
}

impl Located {
    /// What to do about it. Messages name section and key in one line, `[test.format] decimal = ","`, and are pasted so.
    fn hint(&self) -> Option<String> {
        let is_section_and_key = self.text.trim_start().starts_with('[')
            && self.text.split_once("] ").is_some_and(|(_, key)| key.contains('='));
        if matches!(self.mistake, Mistake::Syntax { .. }) && is_section_and_key {
            return Some("the section stands on a line of its own, the key on the next".to_owned());
        }
        self.mistake.hint()
    }
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Syntax { message } => write!(f, "the plan is not valid TOML: {message}"),
            Self::UnknownKey { key, section, .. } => write!(f, "unknown key \"{key}\" in {section}"),
            Self::Missing { key, section, .. } => write!(f, "{section} has no \"{key}\""),
            Self::WrongType { key, found, expected } => write!(f, "\"{key}\" is {found}, expected {expected}"),
            Self::UnknownWord { key, found, .. } => write!(f, "\"{found}\" is no value of \"{key}\""),
            Self::Quantity { key, error } => write!(f, "\"{key}\": {error}"),
            Self::Uncertainty { key, error } => write!(f, "\"{key}\": {error}"),
            Self::Response { key, error } => write!(f, "\"{key}\": {error}"),
            Self::Unit { key, error } => write!(f, "\"{key}\": {error}"),
            Self::Impossible { key, found, expected } => {
                write!(f, "\"{key}\" is {found}, which cannot be: expected {expected}")
            }
            Self::Both { first, second, because } => {
                write!(f, "both \"{first}\" and \"{second}\" are given; keep one: {because}")
            }
            Self::NotDefined { kind, name, .. } => write!(f, "the {kind} \"{name}\" is not defined in this plan"),
            Self::Twice { kind, name } => write!(f, "the {kind} \"{name}\" is defined twice"),
            Self::BeyondRated { key, pressure, rated } => {
                write!(f, "\"{key}\" {pressure} is beyond the rated pressure of the enclosure ({rated})")
            }
            Self::Time { key, found } => write!(f, "\"{key}\": \"{found}\" is neither a time nor a duration"),
            Self::TimeZone { found } => write!(f, "unknown time zone \"{found}\""),
            Self::Version { found } => write!(f, "the plan is of format version {found}"),
        }
    }
}

/// Characters of a line of the plan, and of what is wrong with it, that are shown.
const MOST_SHOWN: usize = 300;

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, located) in self.mistakes.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            let mistake = shortened(&located.mistake.to_string(), MOST_SHOWN);
            writeln!(f, "{}, line {}: {mistake}", self.file, located.line)?;
            let shown = [Some(shortened(located.text.trim(), MOST_SHOWN)), located.hint()];
            let lines: Vec<_> = shown.into_iter().flatten().filter(|line| !line.is_empty()).collect();
            write!(f, "    {}", lines.join("\n    "))?;
        }
        Ok(())
    }
}

impl std::error::Error for PlanError {}

/// The closest of `known` to `found`, if it is close enough to be meant.
pub(crate) fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let found = found.to_lowercase();
    let length = found.chars().count();
    let most = |candidate: &str| 1 + candidate.chars().count() / 3;
    known
        .into_iter()
        // Texts are at least as far apart as their lengths, and a long one would cost its length for every candidate.
        .filter(|candidate| candidate.to_lowercase().chars().count().abs_diff(length) <= most(candidate))
        .map(|candidate| (strsim::osa_distance(&candidate.to_lowercase(), &found), candidate))
        .filter(|(distance, candidate)| *distance <= most(candidate))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate.to_owned())
}
