//! Opening a store and adding to it.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior, params};

use crate::error::WhyNot;
use crate::{Added, Content, EntryId, NewEntry, QualificationEntry, StoreError, StoredResult, migrations};

/// How long one process waits for another to finish its entry.
const PATIENCE: Duration = Duration::from_secs(30);

/// A store of results.
#[derive(Debug)]
pub struct Store {
    pub(crate) connection: Connection,
}

/// Where a user's store lies below the folder of the user's data.
#[must_use]
pub fn default_path_below(data: &Path) -> PathBuf {
    data.join("tightfit").join("history.sqlite")
}

impl Store {
    /// Opens the store at `path`, making it where there is none.
    ///
    /// # Errors
    /// [`StoreError::Open`] where the file cannot be made, [`StoreError::NotAStore`] and
    /// [`StoreError::FromTheFuture`] for files that must be left alone.
    pub fn open_or_create(path: &Path) -> Result<Self, StoreError> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(|error| open_error(path, error))?;
        }
        Self::with(Connection::open(path).map_err(|error| open_error(path, error))?).map_err(|error| error.at(path))
    }

    /// Opens a store that exists.
    ///
    /// # Errors
    /// As [`Store::open_or_create`]; [`StoreError::Missing`] where there is none.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if !path.exists() {
            return Err(StoreError::Missing { path: path.to_owned() });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(|error| open_error(path, error))?;
        Self::with(connection).map_err(|error| error.at(path))
    }

    fn with(mut connection: Connection) -> Result<Self, StoreError> {
        connection.busy_timeout(PATIENCE)?;
        // The rollback journal works on every file system and leaves one file; full synchronisation means that what
        // was committed survives a loss of power.
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "foreign_keys", "ON")?;
        migrations::migrate(&mut connection)?;
        Ok(Self { connection })
    }

    /// Adds an entry, whole or not at all; the same entry twice is added once.
    ///
    /// # Errors
    /// [`StoreError::CannotCorrect`], or what the database says.
    pub fn add(&mut self, entry: &NewEntry) -> Result<Added, StoreError> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let added = add_in(&transaction, entry)?;
        transaction.commit()?;
        Ok(added)
    }

    /// Adds many entries at once, all or none.
    ///
    /// # Errors
    /// As [`Store::add`].
    pub fn add_all(&mut self, entries: &[NewEntry]) -> Result<Vec<Added>, StoreError> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let added = entries.iter().map(|entry| add_in(&transaction, entry)).collect::<Result<_, _>>()?;
        transaction.commit()?;
        Ok(added)
    }
}

fn add_in(transaction: &Transaction<'_>, entry: &NewEntry) -> Result<Added, StoreError> {
    let known = transaction
        .prepare_cached("SELECT id, corrects FROM entry WHERE identity = ?1")?
        .query_row([&entry.identity], |row| Ok((row.get(0)?, row.get::<_, Option<EntryId>>(1)?)))
        .optional()?;
    match (known, entry.corrects) {
        (Some((id, corrects)), Some(entry)) if corrects != Some(entry) => {
            return Err(StoreError::CannotCorrect { entry, why: WhyNot::KnownAlready(id) });
        }
        (Some((id, _)), _) => return Ok(Added::Known(id)),
        (None, _) => {}
    }
    if let Some(corrected) = entry.corrects {
        check_correction(transaction, corrected, &entry.enclosure)?;
    }
    insert(transaction, entry).map(Added::New)
}

fn open_error(path: &Path, source: impl std::error::Error + Send + Sync + 'static) -> StoreError {
    StoreError::Open { path: path.to_owned(), source: Box::new(source) }
}

fn check_correction(transaction: &Transaction<'_>, entry: EntryId, enclosure: &str) -> Result<(), StoreError> {
    let refuse = |why| Err(StoreError::CannotCorrect { entry, why });
    let of: Option<String> =
        transaction.query_row("SELECT enclosure FROM entry WHERE id = ?1", [entry], |row| row.get(0)).optional()?;
    match of {
        None => return refuse(WhyNot::Unknown),
        Some(other) if other != enclosure => return refuse(WhyNot::OtherEnclosure(other)),
        Some(_) => {}
    }
    let by: Option<EntryId> =
        transaction.query_row("SELECT id FROM entry WHERE corrects = ?1", [entry], |row| row.get(0)).optional()?;
    by.map_or(Ok(()), |by| refuse(WhyNot::Corrected(by)))
}

fn insert(transaction: &Transaction<'_>, entry: &NewEntry) -> Result<EntryId, StoreError> {
    let empty = QualificationEntry::default();
    let (kind, word, note, qualification) = match &entry.content {
        Content::Qualification(found) => ("qualification", &found.overall, "", found.as_ref()),
        Content::Service { what, note } => ("service", what, note.as_str(), &empty),
    };
    transaction.execute(
        "INSERT INTO entry (kind, enclosure, day, identity, corrects, word, configuration, note, program, plan_sha256)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        params![
            kind,
            entry.enclosure,
            entry.day,
            entry.identity,
            entry.corrects,
            word,
            qualification.configuration,
            note,
            qualification.program,
            qualification.plan_sha256
        ],
    )?;
    let id = transaction.last_insert_rowid();
    for result in &qualification.results {
        insert_result(transaction, id, result)?;
    }
    for verdict in &qualification.verdicts {
        transaction.prepare_cached("INSERT INTO verdict VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")?.execute(
            params![
                id,
                verdict.test,
                verdict.run,
                verdict.quantity,
                verdict.limit,
                verdict.most,
                verdict.least,
                verdict.verdict,
                verdict.conformance_probability
            ],
        )?;
    }
    for file in &qualification.files {
        transaction.prepare_cached("INSERT INTO file VALUES (?1, ?2, ?3, ?4)")?.execute(params![
            id,
            file.name,
            file.bytes as i64,
            file.sha256
        ])?;
    }
    Ok(id)
}

fn insert_result(transaction: &Transaction<'_>, id: EntryId, result: &StoredResult) -> Result<(), StoreError> {
    let [low, high] = result.interval95;
    transaction
        .prepare_cached("INSERT INTO result VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)")?
        .execute(params![
        id,
        result.test,
        result.run,
        result.quantity,
        result.kind,
        result.unit,
        result.value,
        result.standard_uncertainty,
        low,
        high,
        result.at,
        result.gas,
        result.valid
    ])?;
    for part in &result.budget {
        transaction.prepare_cached("INSERT INTO budget VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)")?.execute(params![
            id,
            result.test,
            result.run,
            result.quantity,
            part.source,
            part.standard_uncertainty,
            part.lasts_with
        ])?;
    }
    Ok(())
}
