//! The store of results over years: one SQLite file, entries only ever added.
//!
//! It knows enclosures, days, results with uncertainty, verdicts and services; it does not know plans, files or
//! statistics. Several processes may write at once; what was committed survives a crash at any moment.
//!
//! ```
//! use tightfit_history::{Added, Content, NewEntry, Store};
//!
//! # let folder = std::env::temp_dir().join(format!("tightfit-history-example-{}", std::process::id()));
//! # std::fs::create_dir_all(&folder)?;
//! let mut store = Store::open_or_create(&folder.join("history.sqlite"))?;
//! let gloves = NewEntry {
//!     enclosure: "K-12".to_owned(),
//!     day: "2026-05-03".to_owned(),
//!     identity: "left glove, 3 May".to_owned(),
//!     corrects: None,
//!     content: Content::Service { what: "gloves".to_owned(), note: "left glove replaced".to_owned() },
//! };
//! assert!(matches!(store.add(&gloves)?, Added::New(_)));
//! // The same again changes nothing.
//! assert!(!matches!(store.add(&gloves)?, Added::New(_)));
//! assert_eq!(store.entries("K-12")?.len(), 1);
//! # drop(store);
//! # std::fs::remove_dir_all(&folder)?;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

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
