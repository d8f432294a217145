//! The store of results over years: one SQLite file, entries only ever added.
//!
//! It knows enclosures, days, results with uncertainty, verdicts and services; it does not know plans, files or
//! statistics. Several processes may write at once; what was committed survives a crash at any moment.

mod entry;
mod error;
mod migrations;
mod read;
mod store;

pub use entry::{
    Added, Content, Entry, EntryId, NewEntry, QualificationEntry, StoredFile, StoredPart, StoredResult, StoredVerdict,
    Summary,
};
pub use error::StoreError;
pub use store::{Store, default_path_below};
