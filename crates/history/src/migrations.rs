//! The versions of the store's schema, each made from the one before.

use rusqlite::{Connection, Transaction, TransactionBehavior};

use crate::StoreError;

/// Marks a file as one of our stores ("tfit").
const APPLICATION_ID: i32 = 0x7466_6974;

/// What makes version k + 1 from version k. Steps that were released are never changed.
const STEPS: &[&str] = &[
    include_str!("schema.sql"),
    // A park is looked at by the newest entry of each enclosure.
    "CREATE INDEX entry_by_kind ON entry (kind, enclosure, day);",
    // What was judged stays as it was judged.
    "CREATE TRIGGER file_stays BEFORE UPDATE ON file BEGIN SELECT RAISE(ABORT, 'files are only added'); END;
     CREATE TRIGGER file_is_kept BEFORE DELETE ON file BEGIN SELECT RAISE(ABORT, 'files are only added'); END;",
];

/// Version that this program writes.
pub(crate) const VERSION: usize = STEPS.len();

/// Brings the store to this program's version, whole or not at all.
pub(crate) fn migrate(connection: &mut Connection) -> Result<(), StoreError> {
    migrate_to(connection, VERSION)
}

pub(crate) fn migrate_to(connection: &mut Connection, version: usize) -> Result<(), StoreError> {
    // Reading does not lock others out, and nearly always nothing is to be done. All is read at one moment: another process
    // may be making the store right now.
    let reading = connection.transaction_with_behavior(TransactionBehavior::Deferred)?;
    if checked_version(&reading)? == version {
        return Ok(());
    }
    drop(reading);
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another process may have been first.
    let from = checked_version(&transaction)?;
    for step in STEPS.iter().take(version).skip(from) {
        transaction.execute_batch(step)?;
    }
    if from < version {
        set(&transaction, version)?;
    }
    transaction.commit()?;
    Ok(())
}

fn set(transaction: &Transaction<'_>, version: usize) -> Result<(), StoreError> {
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", version as i64)?;
    Ok(())
}

/// The version of the store; 0 for an empty one.
fn checked_version(connection: &Connection) -> Result<usize, StoreError> {
    let number = |name: &str| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let (id, version) = (number("application_id")?, number("user_version")?);
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    if tables > 0 && id != i64::from(APPLICATION_ID) {
        return Err(not_a_store());
    }
    let version = usize::try_from(version).map_err(|_| not_a_store())?;
    if version > VERSION {
        return Err(StoreError::FromTheFuture { found: version, known: VERSION });
    }
    Ok(version)
}

/// The opening adds the file's name.
fn not_a_store() -> StoreError {
    StoreError::NotAStore { path: std::path::PathBuf::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_newer_program_opens_an_older_store_and_keeps_what_it_holds() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate_to(&mut connection, 1).unwrap();
        let insert = "INSERT INTO entry (kind, enclosure, day, identity, word) VALUES ('service', 'K-12', '2026-05-04', 'a', 'gloves')";
        connection.execute(insert, []).unwrap();
        migrate(&mut connection).unwrap();
        assert_eq!(checked_version(&connection).unwrap(), VERSION);
        let kept: String = connection.query_row("SELECT enclosure FROM entry", [], |row| row.get(0)).unwrap();
        assert_eq!(kept, "K-12");
        migrate(&mut connection).unwrap();
    }

    #[test]
    fn a_store_from_the_future_and_another_programs_file_are_refused() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate(&mut connection).unwrap();
        connection.pragma_update(None, "user_version", 99).unwrap();
        assert!(matches!(migrate(&mut connection), Err(StoreError::FromTheFuture { found: 99, .. })));
        let mut other = Connection::open_in_memory().unwrap();
        other.execute_batch("CREATE TABLE recipes (name TEXT)").unwrap();
        assert!(matches!(migrate(&mut other), Err(StoreError::NotAStore { .. })));
    }
}
