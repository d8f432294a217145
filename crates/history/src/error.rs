//! Why a store cannot be used.

use std::fmt;
use std::path::{Path, PathBuf};

use crate::EntryId;

/// Why a store cannot be used.
#[derive(Debug)]
pub enum StoreError {
    /// The file cannot be opened or made.
    Open {
        /// The file.
        path: PathBuf,
        /// What the system or the database said.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// There is no store there to read.
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// The file is not a store of this program.
    NotAStore {
        /// The file; empty until the opening adds it.
        path: PathBuf,
    },
    /// A newer program wrote the store.
    FromTheFuture {
        /// Version of the store.
        found: usize,
        /// Newest version that this program knows.
        known: usize,
    },
    /// The entry that is to be corrected does not exist, belongs to another enclosure, or was corrected already.
    CannotCorrect {
        /// Its number.
        entry: EntryId,
        /// Why not.
        why: WhyNot,
    },
    /// The database refused.
    Database(rusqlite::Error),
}

/// Why an entry cannot be corrected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNot {
    /// There is none of that number.
    Unknown,
    /// It is of another enclosure.
    OtherEnclosure(String),
    /// It was corrected already, by this entry.
    Corrected(EntryId),
    /// What is to correct it stands in the store already, as this entry, and corrects nothing or another one.
    KnownAlready(EntryId),
}

impl StoreError {
    /// The same error with the file it is about, where it has none yet.
    pub(crate) fn at(self, file: &Path) -> Self {
        match self {
            Self::NotAStore { path } if path.as_os_str().is_empty() => Self::NotAStore { path: file.to_owned() },
            other => other,
        }
    }

    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Open { .. } => "check that the folder exists and may be written, or name another file: --store FILE",
            Self::Missing { .. } => {
                "record a first qualification: tightfit history add DOSSIER, or name the file: --store FILE"
            }
            Self::NotAStore { .. } => "name the file of results: --store FILE",
            Self::FromTheFuture { .. } => "use the newer program; this one leaves the file as it is",
            Self::CannotCorrect { .. } => "tightfit history show ENCLOSURE lists the entries and their numbers",
            Self::Database(_) => "try again; if another program holds the file, close that first",
        }
    }
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Open { path, source } => write!(f, "{}: the store cannot be opened: {source}", path.display()),
            Self::Missing { path } => write!(f, "{}: there is no store of results", path.display()),
            Self::NotAStore { path } => write!(f, "{}: the file is not a store of results", path.display()),
            Self::FromTheFuture { found, known } => write!(
                f,
                "a newer program wrote this store: its version is {found}, this program knows versions up to {known}"
            ),
            Self::CannotCorrect { entry, why: WhyNot::Unknown } => write!(f, "there is no entry {entry} to correct"),
            Self::CannotCorrect { entry, why: WhyNot::OtherEnclosure(other) } => {
                write!(f, "entry {entry} belongs to enclosure \"{other}\"")
            }
            Self::CannotCorrect { entry, why: WhyNot::KnownAlready(known) } => {
                write!(f, "entry {entry} is not corrected: the same result is in the store already, as entry {known}")
            }
            Self::CannotCorrect { entry, why: WhyNot::Corrected(by) } => {
                write!(f, "entry {entry} was corrected already, by entry {by}")
            }
            Self::Database(error) => write!(f, "the store refused: {error}"),
        }
    }
}

impl std::error::Error for StoreError {}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::NotADatabase) => Self::NotAStore { path: PathBuf::new() },
            _ => Self::Database(error),
        }
    }
}
