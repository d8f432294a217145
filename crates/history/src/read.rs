//! Reading what the store holds.

use std::collections::BTreeMap;

use rusqlite::{Row, params};

use crate::{
    Content, Entry, EntryId, NewEntry, QualificationEntry, Store, StoreError, StoredFile, StoredPart, StoredResult,
    StoredVerdict, Summary,
};

impl Store {
    /// All entries of an enclosure by day, those that were corrected included.
    ///
    /// # Errors
    /// What the database says.
    pub fn entries(&self, enclosure: &str) -> Result<Vec<Entry>, StoreError> {
        let mut entries = self.heads(enclosure)?;
        let mut results = self.results(enclosure)?;
        let mut verdicts = self.verdicts(enclosure)?;
        let mut files = self.files(enclosure)?;
        for entry in &mut entries {
            if let Content::Qualification(found) = &mut entry.entry.content {
                found.results = results.remove(&entry.id).unwrap_or_default();
                found.verdicts = verdicts.remove(&entry.id).unwrap_or_default();
                found.files = files.remove(&entry.id).unwrap_or_default();
            }
        }
        Ok(entries)
    }

    /// The entries of an enclosure that stand: those that no other corrects.
    ///
    /// # Errors
    /// What the database says.
    pub fn standing(&self, enclosure: &str) -> Result<Vec<Entry>, StoreError> {
        let entries = self.entries(enclosure)?;
        let corrected: Vec<EntryId> = entries.iter().filter_map(|entry| entry.entry.corrects).collect();
        Ok(entries.into_iter().filter(|entry| !corrected.contains(&entry.id)).collect())
    }

    /// Every enclosure in one line, in the order of their names.
    ///
    /// # Errors
    /// What the database says.
    pub fn summaries(&self) -> Result<Vec<Summary>, StoreError> {
        let mut statement = self.connection.prepare(
            "SELECT id, kind, enclosure, day, word FROM entry
             WHERE id NOT IN (SELECT corrects FROM entry WHERE corrects IS NOT NULL)
             ORDER BY enclosure, day, id",
        )?;
        let mut last_ids: Vec<Option<EntryId>> = Vec::new();
        let mut summaries: Vec<Summary> = Vec::new();
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let enclosure: String = row.get(2)?;
            if summaries.last().is_none_or(|summary| summary.enclosure != enclosure) {
                summaries.push(Summary { enclosure, ..Summary::default() });
                last_ids.push(None);
            }
            // Entries come by day, so that the last one of a kind is the one that stays.
            let (Some(summary), Some(last_id)) = (summaries.last_mut(), last_ids.last_mut()) else { continue };
            if row.get::<_, String>(1)? == "service" {
                summary.last_service = row.get(3)?;
            } else {
                *last_id = Some(row.get(0)?);
                summary.qualifications += 1;
                summary.last_day = row.get(3)?;
                summary.last_overall = row.get(4)?;
            }
        }
        let mut least = self.connection.prepare("SELECT min(conformance_probability) FROM verdict WHERE entry = ?1")?;
        for (summary, id) in summaries.iter_mut().zip(last_ids) {
            if let Some(id) = id {
                summary.least_probability = least.query_row([id], |row| row.get(0))?;
            }
        }
        Ok(summaries)
    }

    /// Whether the file is whole, by the database's own check.
    ///
    /// # Errors
    /// What the database says.
    pub fn is_sound(&self) -> Result<bool, StoreError> {
        let word: String = self.connection.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
        Ok(word == "ok")
    }

    fn heads(&self, enclosure: &str) -> Result<Vec<Entry>, StoreError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, kind, enclosure, day, recorded, identity, corrects, word, configuration, note, program,
                    plan_sha256
             FROM entry WHERE enclosure = ?1 ORDER BY day, id",
        )?;
        let entries = statement.query_map([enclosure], head)?;
        Ok(entries.collect::<Result<_, _>>()?)
    }

    fn results(&self, enclosure: &str) -> Result<BTreeMap<EntryId, Vec<StoredResult>>, StoreError> {
        let mut parts: BTreeMap<(EntryId, String, String, String), Vec<StoredPart>> = BTreeMap::new();
        let mut statement = self.connection.prepare_cached(
            "SELECT b.* FROM budget b JOIN entry e ON e.id = b.entry WHERE e.enclosure = ?1 ORDER BY b.rowid",
        )?;
        let mut rows = statement.query([enclosure])?;
        while let Some(row) = rows.next()? {
            let key = (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?);
            let part = StoredPart { source: row.get(4)?, standard_uncertainty: row.get(5)?, lasts_with: row.get(6)? };
            parts.entry(key).or_default().push(part);
        }
        let mut results: BTreeMap<EntryId, Vec<StoredResult>> = BTreeMap::new();
        let mut statement = self
            .connection
            .prepare_cached("SELECT r.* FROM result r JOIN entry e ON e.id = r.entry WHERE e.enclosure = ?1")?;
        let mut rows = statement.query([enclosure])?;
        while let Some(row) = rows.next()? {
            let id: EntryId = row.get(0)?;
            let mut result = result(row)?;
            let key = (id, result.test.clone(), result.run.clone(), result.quantity.clone());
            result.budget = parts.remove(&key).unwrap_or_default();
            results.entry(id).or_default().push(result);
        }
        Ok(results)
    }

    fn verdicts(&self, enclosure: &str) -> Result<BTreeMap<EntryId, Vec<StoredVerdict>>, StoreError> {
        let mut verdicts: BTreeMap<EntryId, Vec<StoredVerdict>> = BTreeMap::new();
        let mut statement = self.connection.prepare_cached(
            "SELECT v.* FROM verdict v JOIN entry e ON e.id = v.entry WHERE e.enclosure = ?1 ORDER BY v.rowid",
        )?;
        let mut rows = statement.query([enclosure])?;
        while let Some(row) = rows.next()? {
            let verdict = StoredVerdict {
                test: row.get(1)?,
                run: row.get(2)?,
                quantity: row.get(3)?,
                limit: row.get(4)?,
                most: row.get(5)?,
                least: row.get(6)?,
                verdict: row.get(7)?,
                conformance_probability: row.get(8)?,
            };
            verdicts.entry(row.get(0)?).or_default().push(verdict);
        }
        Ok(verdicts)
    }

    fn files(&self, enclosure: &str) -> Result<BTreeMap<EntryId, Vec<StoredFile>>, StoreError> {
        let mut files: BTreeMap<EntryId, Vec<StoredFile>> = BTreeMap::new();
        let mut statement = self.connection.prepare_cached(
            "SELECT f.* FROM file f JOIN entry e ON e.id = f.entry WHERE e.enclosure = ?1 ORDER BY f.rowid",
        )?;
        let mut rows = statement.query(params![enclosure])?;
        while let Some(row) = rows.next()? {
            let file = StoredFile { name: row.get(1)?, bytes: row.get::<_, i64>(2)? as u64, sha256: row.get(3)? };
            files.entry(row.get(0)?).or_default().push(file);
        }
        Ok(files)
    }
}

fn head(row: &Row<'_>) -> rusqlite::Result<Entry> {
    let kind: String = row.get(1)?;
    let word: String = row.get(7)?;
    let content = if kind == "service" {
        Content::Service { what: word, note: row.get(9)? }
    } else {
        Content::Qualification(Box::new(QualificationEntry {
            overall: word,
            configuration: row.get(8)?,
            program: row.get(10)?,
            plan_sha256: row.get(11)?,
            ..QualificationEntry::default()
        }))
    };
    let entry =
        NewEntry { enclosure: row.get(2)?, day: row.get(3)?, identity: row.get(5)?, corrects: row.get(6)?, content };
    Ok(Entry { id: row.get(0)?, entry, recorded: row.get(4)? })
}

fn result(row: &Row<'_>) -> rusqlite::Result<StoredResult> {
    Ok(StoredResult {
        test: row.get(1)?,
        run: row.get(2)?,
        quantity: row.get(3)?,
        kind: row.get(4)?,
        unit: row.get(5)?,
        value: row.get(6)?,
        standard_uncertainty: row.get(7)?,
        interval95: [row.get(8)?, row.get(9)?],
        at: row.get(10)?,
        gas: row.get(11)?,
        valid: row.get(12)?,
        budget: Vec::new(),
    })
}
