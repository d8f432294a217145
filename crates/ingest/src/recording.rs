//! What was read: typed, in SI, on one time base, every row accounted for.

use std::sync::Arc;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use tightfit_quantity::StandardReference;

use crate::account::Account;
use crate::channel::Channel;
use crate::question::Question;

/// One export, read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recording {
    /// File name (no folder), as shown to people.
    pub file: String,
    /// The choices made about the file's form, each with its reason in words.
    pub choices: Vec<Choice>,
    /// Every column of the file, in order, and what it was taken for.
    pub columns: Vec<Column>,
    /// The channels, in SI.
    #[serde(skip)]
    pub series: Vec<Series>,
    /// Whether times are dated.
    pub time_base: TimeBase,
    /// First and last time of the rows used, s; `None` without rows.
    pub span_s: Option<(f64, f64)>,
    /// Median step between rows, s; `None` with fewer than two rows.
    pub cadence_s: Option<f64>,
    /// Steps longer than three times the cadence: (from, to), s.
    pub gaps_s: Vec<(f64, f64)>,
    /// Starts of phases: where the clock restarted inside the file. Line number and time, s.
    pub phases: Vec<Phase>,
    /// How often the clock steps back from one row to the next; the rows were put in time order.
    pub backward_steps: usize,
    /// Runs of one unchanging value in a channel that otherwise moves: a sensor that may have stood still.
    pub stuck: Vec<Stuck>,
    /// Things worth saying that need no answer.
    pub notes: Vec<String>,
    /// What the change of clocks in spring or autumn did to local times; also among the notes.
    #[serde(default)]
    pub clock_changes: Vec<String>,
    /// The row account.
    pub account: Account,
    /// What the file alone cannot decide.
    pub questions: Vec<Question>,
}

/// One choice about the file's form.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Choice {
    /// What was chosen: `encoding`, `delimiter`, `decimal mark`, `header`, `time`, …
    pub what: String,
    /// The value.
    pub value: String,
    /// Why.
    pub because: String,
}

/// A column of the file (in the long layout: a name).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Column {
    /// Header text, as found.
    pub header: String,
    /// Whether rows were looked at and none holds a number or a limit in it.
    #[serde(default)]
    pub without_number: bool,
    /// Position in the record, 1 = first; 0 for a name of the long layout.
    pub position: usize,
    /// The channel it was taken for.
    pub channel: Option<Channel>,
    /// Unit as found or as the plan says.
    pub unit: Option<String>,
    /// Why it was taken for that, or left.
    pub because: String,
    /// Cells by what became of them.
    pub cells: CellCount,
}

/// What became of a column's cells.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CellCount {
    /// Plain readings.
    pub measured: u64,
    /// Below the reporting limit.
    pub below_limit: u64,
    /// Above the range.
    pub above_range: u64,
    /// Blank, dashes, `NaN`, `#N/A` and their kin.
    pub missing: u64,
    /// Filler values such as -9999.
    pub filler: u64,
    /// Text that is no reading.
    pub text: u64,
    /// Signals outside the table of their conversion.
    #[serde(default)]
    pub outside_table: u64,
}

/// What a reading is worth.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Status {
    /// A plain reading.
    #[default]
    Measured,
    /// Censored: the truth lies below the value.
    BelowLimit,
    /// Censored: the truth lies above the value.
    AboveRange,
}

impl Status {
    /// The word shown to people and written in tables.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::BelowLimit => "below limit",
            Self::AboveRange => "above range",
        }
    }
}

/// One channel on the time base of its file, in time order.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Which quantity.
    pub channel: Channel,
    /// Header text of the column it came from.
    pub column: String,
    /// Unit of the export, as found or as the plan says.
    pub unit: String,
    /// For pressures: what they are measured against.
    pub reference: PressureReference,
    /// For flows and totals at reference conditions: the conditions; `None` where volumes are those of the gas as
    /// it flows.
    pub standard_reference: Option<StandardReference>,
    /// Instrument of the plan.
    pub instrument: Option<String>,
    /// Times, s: since 1970-01-01T00:00Z for dated logs, since the first row for elapsed ones. Ascending, no NaN.
    /// Shared between the channels that have a reading in every row.
    pub time_s: Arc<Vec<f64>>,
    /// Values in [`Channel::si_unit`], no NaN, as long as `time_s`. For censored readings the limit.
    pub value: Vec<f64>,
    /// Status of each reading; empty where all are [`Status::Measured`].
    pub status: Vec<Status>,
}

/// What a pressure is measured against.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub enum PressureReference {
    /// The channel's own (gauge for `gauge_pressure`, absolute for `absolute_pressure`), or no pressure.
    #[default]
    OfChannel,
    /// The room; positive above it.
    Gauge,
    /// Vacuum.
    Absolute,
}

/// What times mean.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum TimeBase {
    /// Dated: seconds since 1970-01-01T00:00Z. The text says where the offset came from.
    Dated {
        /// `UTC`, `offset in each row`, `Europe/Vienna`, or `not known` with a question.
        zone: String,
    },
    /// Since the first row.
    Elapsed,
}

/// The start of a phase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Phase {
    /// First line of the phase.
    pub line: u64,
    /// Its first time, s.
    pub time_s: f64,
    /// What marks it.
    pub because: String,
}

/// A run of one unchanging value. The readings stay in the series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stuck {
    /// Which channel.
    pub channel: Channel,
    /// Header text of its column.
    #[serde(default)]
    pub column: String,
    /// First and last time of the run, s.
    pub span_s: (f64, f64),
    /// The value, SI.
    pub value: f64,
    /// Number of readings.
    pub count: usize,
    /// Where the value lies among all of the channel.
    #[serde(default)]
    pub place: Place,
}

/// Where a value lies among all measured readings of its channel.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// No reading is lower.
    Lowest,
    /// Some are lower and some are higher.
    #[default]
    Between,
    /// No reading is higher.
    Highest,
}

impl Choice {
    pub(crate) fn new(what: &str, value: impl Into<String>, because: impl Into<String>) -> Self {
        Self { what: what.into(), value: value.into(), because: because.into() }
    }
}

impl Series {
    /// Number of readings.
    pub fn len(&self) -> usize {
        self.value.len()
    }

    /// Whether there is no reading.
    pub fn is_empty(&self) -> bool {
        self.value.is_empty()
    }

    /// Status of reading `index`.
    pub fn status_at(&self, index: usize) -> Status {
        self.status.get(index).copied().unwrap_or_default()
    }
}

impl Recording {
    /// The same with its first row at a moment, where its times only count from there; dated ones stay.
    pub(crate) fn begun_at(mut self, start: Timestamp) -> Self {
        if self.is_dated() {
            self.notes.push("the rows have dates of their own: the stated start is not used".to_owned());
            return self;
        }
        let start_s = start.as_duration().as_secs_f64();
        let moved = |(from, to): (f64, f64)| (from + start_s, to + start_s);
        // The channels share their times, and keep sharing them.
        let own_times: Vec<_> = self.series.iter().map(|series| Arc::clone(&series.time_s)).collect();
        for index in 0..self.series.len() {
            let (done, rest) = self.series.split_at_mut(index);
            let own = &mut rest[0];
            let alike = own_times[..index].iter().position(|times| Arc::ptr_eq(times, &own_times[index]));
            own.time_s = match alike {
                Some(earlier) => Arc::clone(&done[earlier].time_s),
                None => Arc::new(own.time_s.iter().map(|time| time + start_s).collect()),
            };
        }
        self.span_s = self.span_s.map(moved);
        self.gaps_s.iter_mut().for_each(|gap| *gap = moved(*gap));
        self.phases.iter_mut().for_each(|phase| phase.time_s += start_s);
        self.stuck.iter_mut().for_each(|stuck| stuck.span_s = moved(stuck.span_s));
        self.time_base = TimeBase::Dated { zone: "UTC".to_owned() };
        self.choices.push(Choice {
            what: "time".to_owned(),
            value: format!("from {start} on"),
            because: "the plan states the moment of the first row".to_owned(),
        });
        self
    }

    /// The series of a channel.
    pub fn series(&self, channel: Channel) -> Option<&Series> {
        self.series.iter().find(|series| series.channel == channel)
    }

    /// Whether times are dated.
    pub fn is_dated(&self) -> bool {
        matches!(self.time_base, TimeBase::Dated { .. })
    }

    /// The questions that must be answered before `channel` can be used.
    pub fn questions_for(&self, channel: Channel) -> impl Iterator<Item = &Question> {
        self.questions.iter().filter(move |question| question.blocking && question.concerns(channel))
    }
}
