//! Short ways to read a text and to look at what came out.

use tightfit_ingest::{Channel, ColumnRequest, Format, ReadOptions, Recording, read_bytes};

/// Read a text as a file without a plan.
pub(crate) fn read(text: &str) -> Recording {
    read_bytes("export.csv", text.as_bytes(), &ReadOptions::default()).unwrap()
}

/// Read bytes as a file without a plan.
pub(crate) fn read_raw(bytes: &[u8]) -> Recording {
    read_bytes("export.csv", bytes, &ReadOptions::default()).unwrap()
}

/// Read a text with a plan.
pub(crate) fn read_with(text: &str, options: &ReadOptions) -> Recording {
    read_bytes("export.csv", text.as_bytes(), options).unwrap()
}

/// Options of a plan that gives columns and format.
pub(crate) fn plan(columns: Vec<ColumnRequest>, format: Format) -> ReadOptions {
    ReadOptions { format, columns, ..ReadOptions::default() }
}

/// The values of a channel, SI.
pub(crate) fn values(recording: &Recording, channel: Channel) -> Vec<f64> {
    recording.series(channel).map(|series| series.value.clone()).unwrap_or_default()
}

/// The times of a channel.
pub(crate) fn times(recording: &Recording, channel: Channel) -> Vec<f64> {
    recording.series(channel).map(|series| series.time_s.to_vec()).unwrap_or_default()
}

/// Rows read, used and set aside.
pub(crate) fn rows(recording: &Recording) -> (u64, u64, u64) {
    let account = &recording.account;
    (account.rows_read(), account.rows_used(), account.rows_set_aside())
}

/// The blocking questions, as text.
pub(crate) fn questions(recording: &Recording) -> Vec<String> {
    recording.questions.iter().filter(|question| question.blocking).map(|question| question.text.clone()).collect()
}

/// A plain log of gauge pressure: five rows, one minute apart.
pub(crate) const PLAIN: &str = "time,dP (Pa)\n2026-05-04T09:00:00Z,-1000\n2026-05-04T09:01:00Z,-999\n2026-05-04T09:02:00Z,-998.5\n2026-05-04T09:03:00Z,-998\n2026-05-04T09:04:00Z,-997.25\n";
/// Its values.
pub(crate) const PLAIN_PA: [f64; 5] = [-1000.0, -999.0, -998.5, -998.0, -997.25];
/// Its first time.
pub(crate) const PLAIN_START_S: f64 = 1_777_885_200.0;
