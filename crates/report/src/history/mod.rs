//! Results over years: what goes into the store, the last result against the one before, trends and forecasts.

mod follow;
mod page;
mod park;
mod record;
mod table;
mod words;

use std::fmt;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use tightfit_history::{EntryId, Store, StoreError};

use crate::write::{Existing, NewFile, WriteError, write_folder};

pub use follow::{Compared, Followed, HISTORY_SCHEMA, HistoryReport, follow, likely_meant};
pub use record::{dossier_entry, qualification_entry, service_entry};
pub use table::history_csv;
pub use words::{earlier_text, park_text, show_text, trend_text};

pub(crate) use page::earlier;

/// Kinds of service that `history note` takes.
pub const SERVICES: [&str; 5] = ["gloves", "seals", "purifier", "regeneration", "other"];

/// The page of one enclosure or of a park.
pub const PAGE_FILE: &str = "history.html";
const CSV_FILE: &str = "history.csv";
const PARQUET_FILE: &str = "history.parquet";

/// Why something cannot be recorded or followed.
#[derive(Debug)]
pub enum HistoryError {
    /// The store refuses.
    Store(StoreError),
    /// The dossier cannot be read.
    Dossier {
        /// Where it was looked for.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// The record is not one of this program.
    NotARecord {
        /// Where it stands.
        path: PathBuf,
        /// What is wrong with it.
        source: serde_json::Error,
    },
    /// The record was changed after it was written.
    Edited {
        /// Where it stands.
        path: PathBuf,
    },
    /// The logs carry no dates, so that nobody knows when the test was.
    NoDay,
    /// The store holds nothing of this enclosure.
    UnknownEnclosure {
        /// Its name.
        enclosure: String,
        /// The nearest that it holds.
        nearest: Option<String>,
    },
    /// Nowhere to keep the store was found.
    NoHome,
    /// The pages cannot be written.
    Write(WriteError),
}

impl HistoryError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::Store(error) => error.hint().to_owned(),
            Self::Dossier { .. } => "name the folder that tightfit qualify --out wrote, or its dossier.json".to_owned(),
            Self::NotARecord { .. } => "write the dossier again with this program".to_owned(),
            Self::Edited { .. } => {
                "tightfit recheck says what differs; record the dossier as it was written".to_owned()
            }
            Self::NoDay => "say when it was: --date 2026-05-04".to_owned(),
            Self::UnknownEnclosure { nearest: Some(nearest), .. } => format!("did you mean \"{nearest}\"?"),
            Self::UnknownEnclosure { .. } => "tightfit history show lists the enclosures".to_owned(),
            Self::NoHome => "name the file: --store FILE".to_owned(),
            Self::Write(error) => error.hint().to_owned(),
        }
    }
}

impl fmt::Display for HistoryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Store(error) => error.fmt(f),
            Self::Dossier { path, source } => write!(f, "{}: the dossier cannot be read: {source}", path.display()),
            Self::NotARecord { path, source } => {
                write!(f, "{}, line {}: this is not the record of a dossier", path.display(), source.line())
            }
            Self::Edited { path } => write!(f, "{}: the record was changed after it was written", path.display()),
            Self::NoDay => write!(f, "the logs carry no dates, so the day of the test is not known"),
            Self::UnknownEnclosure { enclosure, .. } => {
                write!(f, "the store holds nothing of enclosure \"{enclosure}\"")
            }
            Self::NoHome => write!(f, "no folder for a user's data was found"),
            Self::Write(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for HistoryError {}

impl From<StoreError> for HistoryError {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<WriteError> for HistoryError {
    fn from(error: WriteError) -> Self {
        Self::Write(error)
    }
}

/// What an entry carries beside the results themselves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EntryOptions {
    /// Day of the test, where the logs do not tell it.
    pub day: Option<Date>,
    /// The entry that it takes the place of.
    pub corrects: Option<EntryId>,
}

/// The store at `path`, or the user's own.
///
/// # Errors
/// [`HistoryError::NoHome`] where neither is known.
pub fn store_path(path: Option<&Path>) -> Result<PathBuf, HistoryError> {
    let own = || Some(tightfit_history::default_path_below(directories::BaseDirs::new()?.data_dir()));
    path.map(Path::to_owned).or_else(own).ok_or(HistoryError::NoHome)
}

/// Writes the page of one enclosure with its results as tables.
///
/// # Errors
/// See [`WriteError`].
pub fn write_enclosure(report: &HistoryReport, out: &Path, replace: bool) -> Result<Vec<PathBuf>, WriteError> {
    let page = NewFile { path: PAGE_FILE.into(), content: page::render(report).into_bytes() };
    write(&std::iter::once(page).chain(tables(std::slice::from_ref(report))).collect::<Vec<_>>(), out, replace)
}

/// Writes the results of an enclosure, or of all of a store, as CSV and Parquet.
///
/// # Errors
/// See [`HistoryError`].
pub fn write_tables(reports: &[HistoryReport], out: &Path, replace: bool) -> Result<Vec<PathBuf>, HistoryError> {
    Ok(write(&tables(reports), out, replace)?)
}

fn tables(reports: &[HistoryReport]) -> Vec<NewFile> {
    vec![
        NewFile { path: CSV_FILE.into(), content: history_csv(reports).into_bytes() },
        #[cfg(feature = "parquet")]
        NewFile { path: PARQUET_FILE.into(), content: table::history_parquet(reports) },
    ]
}

/// Writes the page of all enclosures of a store, those first that need attention.
///
/// # Errors
/// See [`HistoryError`].
pub fn write_park(store: &Store, today: Date, out: &Path, replace: bool) -> Result<Vec<PathBuf>, HistoryError> {
    let lines = park(store, today)?;
    let page = NewFile { path: PAGE_FILE.into(), content: page::render_park(&lines, today).into_bytes() };
    Ok(write(&[page], out, replace)?)
}

fn write(files: &[NewFile], out: &Path, replace: bool) -> Result<Vec<PathBuf>, WriteError> {
    let known: Vec<PathBuf> = [PAGE_FILE, CSV_FILE, PARQUET_FILE].into_iter().map(PathBuf::from).collect();
    write_folder(out, files, if replace { Existing::Replace(&known) } else { Existing::Refuse })
}

pub use park::{ParkLine, park};
