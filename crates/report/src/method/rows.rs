//! The account of a test: every row of every file was used, or set aside with a reason.

use tightfit_ingest::Recording;

use crate::data::{RawFile, TestData};
use crate::result::{FileLine, SetAsideLine, TestResult};

use super::FileAccount;
use super::validity::{self, Findings};

/// Why rows before and after the evaluated window are set aside.
pub(crate) const OUTSIDE: &str = "outside the window";

/// Fills in rows read, used and set aside, and what the checks of the files found. `window_s` counts from the data's origin; `within` are rows inside the window
/// that were not used after all, with the reason.
pub(super) fn account(result: &mut TestResult, data: &TestData<'_>, window_s: [f64; 2], within: &[(&str, usize)]) {
    let mut aside = Aside(std::mem::take(&mut result.set_aside));
    for file in &data.files {
        let account = &file.recording.account;
        result.rows_read += account.rows_read();
        for line in account.by_reason() {
            aside.add(&line.reason.to_string(), line.count);
        }
        let inside = rows_between(&file.recording, window_s.map(|time| time + data.origin_s));
        aside.add(OUTSIDE, account.rows_used().saturating_sub(inside));
    }
    for (reason, count) in within {
        aside.add(reason, *count as u64);
    }
    result.rows_set_aside = aside.total();
    result.rows_used = result.rows_read.saturating_sub(result.rows_set_aside);
    result.set_aside = aside.0;
    result.files.extend(data.files.iter().map(file_line));
    for note in data.assumptions().into_iter().chain(data.clock_changes()) {
        if !result.notes.contains(&note) {
            result.notes.push(note);
        }
    }
    let mut findings = Findings::default();
    validity::recordings(data, window_s, &mut findings);
    findings.into_result(result);
}

fn file_line(file: &RawFile) -> FileLine {
    FileLine { file: file.name.clone(), bytes: file.bytes, sha256: file.sha256.clone() }
}

struct Aside(Vec<SetAsideLine>);

impl Aside {
    fn add(&mut self, reason: &str, count: u64) {
        if count == 0 {
            return;
        }
        match self.0.iter_mut().find(|line| line.reason == reason) {
            Some(line) => line.count += count,
            None => self.0.push(SetAsideLine { reason: reason.to_owned(), count }),
        }
    }

    fn total(&self) -> u64 {
        self.0.iter().map(|line| line.count).sum()
    }
}

/// Used rows of a recording with a time in the closed interval.
///
/// In the wide layout the channels share their rows, so a row counts once however many channels it feeds; in the
/// long layout each reading is a row of its own.
fn rows_between(recording: &Recording, [from, to]: [f64; 2]) -> u64 {
    let inside = |times: &[f64]| times.iter().filter(|time| (from..=to).contains(*time)).count() as u64;
    let readings: u64 = recording.series.iter().map(|series| series.len() as u64).sum();
    if readings == recording.account.rows_used() {
        return recording.series.iter().map(|series| inside(&series.time_s)).sum();
    }
    // A channel with a reading in every row tells them all, as most do.
    if let Some(whole) = recording.series.iter().find(|series| series.len() as u64 == recording.account.rows_used()) {
        return inside(&whole.time_s);
    }
    let mut times: Vec<f64> = recording.series.iter().flat_map(|series| series.time_s.iter().copied()).collect();
    times.sort_unstable_by(f64::total_cmp);
    times.dedup();
    inside(&times).min(recording.account.rows_used())
}

pub(super) fn file_account(file: &RawFile) -> FileAccount {
    let recording = &file.recording;
    FileAccount {
        file: file.name.clone(),
        choices: recording
            .choices
            .iter()
            .map(|choice| format!("{}: {} ({})", choice.what, choice.value, choice.because))
            .collect(),
        columns: recording
            .columns
            .iter()
            .map(|column| {
                let channel = column.channel.map_or("not used", tightfit_ingest::Channel::as_str);
                [
                    column.header.clone(),
                    channel.to_owned(),
                    column.unit.clone().unwrap_or_default(),
                    column.because.clone(),
                ]
            })
            .collect(),
        rows: [recording.account.rows_read(), recording.account.rows_used()],
        set_aside: recording
            .account
            .by_reason()
            .into_iter()
            .map(|line| (line.reason.to_string(), line.count, first_lines(&line.lines)))
            .collect(),
        remarks: recording.notes.clone(),
    }
}

fn first_lines(lines: &[u64]) -> String {
    const SHOWN: usize = 8;
    let mut text = lines.iter().take(SHOWN).map(u64::to_string).collect::<Vec<_>>().join(", ");
    if lines.len() > SHOWN {
        text.push_str(", …");
    }
    text
}
