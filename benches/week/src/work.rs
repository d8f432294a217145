//! What is measured, each in a process of its own.

use std::path::Path;

use tightfit_ingest::{ReadOptions, aggregate, read};
use tightfit_report::{folders, qualify, read_plan};

/// What everything is measured against.
pub(crate) const BARE_READ: &str =
    if cfg!(feature = "bare-read") { "bare read by the frame library" } else { "count of lines, no frame library" };

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Work {
    /// The frame library's CSV reader, dates parsed; without it, a count of lines.
    BareRead,
    /// A recording with its account.
    Ingest,
    /// Bins of ten minutes, read piece by piece.
    Bins,
    /// All that `tightfit qualify --format json` does.
    Qualify,
}

impl Work {
    const ALL: [Self; 4] = [Self::BareRead, Self::Ingest, Self::Bins, Self::Qualify];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::BareRead => "bare",
            Self::Ingest => "ingest",
            Self::Bins => "bins",
            Self::Qualify => "qualify",
        }
    }

    pub(crate) fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|work| work.name() == name)
    }

    /// Does it with an export, or a plan for `Qualify`, and returns the rows that were used.
    pub(crate) fn run(self, path: &Path) -> usize {
        match self {
            Self::BareRead => bare_read(path),
            Self::Ingest => ingest(path),
            Self::Bins => bins(path),
            Self::Qualify => whole(path),
        }
    }
}

#[cfg(feature = "bare-read")]
fn bare_read(path: &Path) -> usize {
    use polars::prelude::{CsvParseOptions, CsvReadOptions, SerReader};
    let options = CsvReadOptions::default().with_parse_options(CsvParseOptions::default().with_try_parse_dates(true));
    let frame =
        options.try_into_reader_with_file_path(Some(path.to_path_buf())).expect("a reader").finish().expect("a frame");
    let dates = frame.column("time").expect("a time column").dtype().clone();
    assert!(dates.is_temporal(), "{dates}");
    frame.height()
}

/// Nothing but the bytes.
#[cfg(not(feature = "bare-read"))]
fn bare_read(path: &Path) -> usize {
    std::fs::read(path).expect("a file").iter().filter(|byte| **byte == b'\n').count()
}

fn options() -> ReadOptions {
    ReadOptions { time_zone: Some("UTC".into()), ..ReadOptions::default() }
}

fn ingest(path: &Path) -> usize {
    let recording = read(path, &options()).expect("a recording");
    assert_eq!(recording.series.len(), 5);
    assert!(recording.questions.is_empty(), "{:?}", recording.questions);
    recording.account.rows_used() as usize
}

fn bins(path: &Path) -> usize {
    let aggregate = aggregate(path, &options(), 600.0).expect("bins");
    aggregate.recording.account.rows_used() as usize
}

fn whole(path: &Path) -> usize {
    let plan = read_plan(path).expect("a plan");
    let qualified = qualify(plan, &folders(path, None), |_| {});
    let errors: Vec<String> = qualified.errors().map(|(test, error)| format!("{test}: {error}")).collect();
    assert!(errors.is_empty(), "{errors:?}");
    let json = serde_json::to_string_pretty(&qualified.result).expect("a result is JSON");
    assert!(json.contains("hourly_leak_rate") || json.contains("time_constant_last"));
    qualified.result.tests[0].rows_used as usize
}

/// Peak resident memory as the system counts it; zero where it does not.
pub(crate) fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kb| kb.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}

/// Processor time of this process in s, which the system counts in hundredths; zero where it is not told.
pub(crate) fn processor_s() -> f64 {
    const TICKS_PER_S: f64 = 100.0;
    let status = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // The second field is a name in brackets, which may hold blanks; user and system time are the 14th and 15th.
    let after_name = status.rsplit_once(')').map_or("", |(_, rest)| rest);
    let ticks = after_name.split_whitespace().skip(11).take(2).filter_map(|field| field.parse::<f64>().ok());
    ticks.sum::<f64>() / TICKS_PER_S
}
