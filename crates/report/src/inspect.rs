//! What an export holds: schema `tightfit.inspect/1`.

use schemars::JsonSchema;
use serde::Serialize;
use tightfit_ingest::Recording;

use crate::data::timestamp_text;
use crate::result::SetAsideLine;

/// Schema name of an inspection.
pub const INSPECT_SCHEMA: &str = "tightfit.inspect/1";

/// What several exports hold.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Inspection {
    /// Name and version of this form.
    #[schemars(extend("const" = INSPECT_SCHEMA))]
    pub schema: &'static str,
    /// One entry a file that could be read.
    pub files: Vec<InspectedFile>,
}

/// What one export holds.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct InspectedFile {
    /// The file as the user gave it.
    pub file: String,
    /// Records after the header that are not blank.
    pub rows_read: u64,
    /// Records with a time and a reading.
    pub rows_used: u64,
    /// All others.
    pub rows_set_aside: u64,
    /// Why, counted.
    pub set_aside: Vec<SetAsideLine>,
    /// The columns and what they were taken for.
    pub columns: Vec<InspectedColumn>,
    /// First time: UTC, or seconds after the first row.
    pub first_time: Option<String>,
    /// Last time.
    pub last_time: Option<String>,
    /// Median step between rows, s.
    pub cadence_s: Option<f64>,
    /// How the form of the file was taken.
    pub choices: Vec<String>,
    /// Remarks that need no answer.
    pub notes: Vec<String>,
    /// What the file alone cannot decide, each with the plan text that answers it.
    pub questions: Vec<String>,
    #[serde(skip)]
    pub(crate) recording: Recording,
}

/// A column of an export.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct InspectedColumn {
    /// Header text.
    pub column: String,
    /// What it was taken for; `null` where it is not used.
    pub quantity: Option<String>,
    /// Its unit as found.
    pub unit: Option<String>,
    /// Why.
    pub because: String,
}

/// Puts a recording into the form of an inspection.
#[must_use]
pub fn inspect(file: &str, recording: Recording) -> InspectedFile {
    let account = &recording.account;
    let time = |time_s: f64| {
        if recording.is_dated() { timestamp_text(time_s) } else { format!("{} s", (time_s * 1e3).round() / 1e3) }
    };
    InspectedFile {
        file: file.to_owned(),
        rows_read: account.rows_read(),
        rows_used: account.rows_used(),
        rows_set_aside: account.rows_set_aside(),
        set_aside: account
            .by_reason()
            .into_iter()
            .map(|line| SetAsideLine { reason: line.reason.to_string(), count: line.count })
            .collect(),
        columns: recording
            .columns
            .iter()
            .map(|column| InspectedColumn {
                column: column.header.clone(),
                quantity: column.channel.map(|channel| channel.as_str().to_owned()),
                unit: column.unit.clone(),
                because: column.because.clone(),
            })
            .collect(),
        first_time: recording.span_s.map(|(first, _)| time(first)),
        last_time: recording.span_s.map(|(_, last)| time(last)),
        cadence_s: recording.cadence_s,
        choices: recording.choices.iter().map(|c| format!("{}: {} ({})", c.what, c.value, c.because)).collect(),
        notes: recording.notes.clone(),
        questions: recording
            .questions
            .iter()
            .map(|q| format!("{} — answer in the plan: {}", q.text, q.answer))
            .collect(),
        recording,
    }
}
