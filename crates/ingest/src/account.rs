//! The account: every row read is either used or set aside with a reason.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

/// Why a row was set aside.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum RowReason {
    /// The header again, in mid-file.
    RepeatedHeader,
    /// Units or aggregation under a repeated header.
    RepeatedUnits,
    /// Text between or after the data.
    NotData,
    /// Separators only.
    Empty,
    /// The row's time is missing.
    TimeMissing,
    /// The row's time cannot be read.
    TimeUnreadable,
    /// A local time the clock skipped in spring.
    TimeSkipped,
    /// No reading in any column that was looked at.
    NoReading,
    /// The only readings are signals outside the table of their conversion.
    OutsideConversion,
    /// The same time and the same readings as an earlier row.
    Duplicate,
    /// Another row of the same time, with other readings.
    SameTime,
    /// A record with a quote that never closes.
    UnclosedQuote,
    /// The last row, which ends in mid-row.
    CutShort,
    /// The time waits for an answer; see the recording's questions.
    TimeOpen,
    /// A row of another kind, by the mark in its first column.
    OtherKind(String),
    /// In the long layout: a reading of a quantity nobody asked for.
    OtherQuantity(String),
}

impl fmt::Display for RowReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::RepeatedHeader => f.write_str("repeated header"),
            Self::RepeatedUnits => f.write_str("units row of a repeated header"),
            Self::NotData => f.write_str("text between or after the data"),
            Self::Empty => f.write_str("separators only"),
            Self::TimeMissing => f.write_str("time missing"),
            Self::TimeUnreadable => f.write_str("time not readable"),
            Self::TimeSkipped => f.write_str("local time skipped by the change to summer time"),
            Self::NoReading => f.write_str("no usable reading"),
            Self::OutsideConversion => f.write_str("signal outside the conversion table"),
            Self::Duplicate => f.write_str("duplicate of an earlier row"),
            Self::SameTime => f.write_str("same time as an earlier row, other readings"),
            Self::UnclosedQuote => f.write_str("quote never closed"),
            Self::CutShort => f.write_str("last row, cut short"),
            Self::TimeOpen => f.write_str("time waits for the answer to a question"),
            Self::OtherKind(kind) => write!(f, "row of another kind ({kind})"),
            Self::OtherQuantity(name) => write!(f, "reading of another quantity ({name})"),
        }
    }
}

/// Rows set aside for one reason.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetAside {
    /// Why.
    pub reason: RowReason,
    /// How many rows.
    pub count: u64,
    /// Line numbers (first line of the file = 1), the first [`Account::LINES_KEPT`] of them.
    pub lines: Vec<u64>,
}

/// Row account of one file. `rows_read = rows_used + rows_set_aside` by construction.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "Saved", into = "Saved")]
pub struct Account {
    used: u64,
    set_aside: BTreeMap<RowReason, (u64, Vec<u64>)>,
}

/// An account as it is saved: a list, for the reasons are no text to be keys of.
#[derive(Serialize, Deserialize)]
struct Saved {
    used: u64,
    set_aside: Vec<SetAside>,
}

impl From<Account> for Saved {
    fn from(account: Account) -> Self {
        Self { used: account.used, set_aside: account.by_reason() }
    }
}

impl From<Saved> for Account {
    fn from(saved: Saved) -> Self {
        let set_aside = saved.set_aside.into_iter().map(|group| (group.reason, (group.count, group.lines))).collect();
        Self { used: saved.used, set_aside }
    }
}

impl Account {
    /// Line numbers kept for each reason unless all are asked for.
    pub const LINES_KEPT: usize = 1000;

    /// Count rows as used.
    pub(crate) fn use_rows(&mut self, count: u64) {
        self.used += count;
    }

    /// Count a row as set aside.
    pub(crate) fn set_aside(&mut self, reason: RowReason, line: u64) {
        let entry = self.set_aside.entry(reason).or_default();
        entry.0 += 1;
        if entry.1.len() < Self::LINES_KEPT {
            entry.1.push(line);
        }
    }

    /// Every record after the header that is not blank.
    pub fn rows_read(&self) -> u64 {
        self.used + self.rows_set_aside()
    }

    /// Rows with a valid time and at least one usable reading.
    pub fn rows_used(&self) -> u64 {
        self.used
    }

    /// Rows read and not used.
    pub fn rows_set_aside(&self) -> u64 {
        self.set_aside.values().map(|(count, _)| count).sum()
    }

    /// The rows set aside, by reason.
    pub fn by_reason(&self) -> Vec<SetAside> {
        self.set_aside
            .iter()
            .map(|(reason, (count, lines))| SetAside { reason: reason.clone(), count: *count, lines: lines.clone() })
            .collect()
    }
}
