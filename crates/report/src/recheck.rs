//! Recomputing a dossier from its raw files and comparing.
//!
//! Files are compared by hash, numbers with a relative tolerance of 10⁻⁷, since sines and logarithms differ in their
//! last digits between machines. The hashes have no key: they find accidents and careless edits, not forgery.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use serde_json::Value;
use sha2::{Digest, Sha256};

use crate::data::Folders;
use crate::dossier::{DossierRecord, RECORD_FILE};
use crate::plan::{Plan, PlanError, hexadecimal};
use crate::qualify;

/// Largest relative difference of numbers that count as the same.
pub const TOLERANCE: f64 = 1e-7;

/// What a recheck found.
#[derive(Debug, Clone, PartialEq)]
pub struct Recheck {
    /// Files whose hashes were compared.
    pub files: usize,
    /// Numbers that were compared.
    pub numbers: usize,
    /// What differs, in the order in which it was found.
    pub differences: Vec<Difference>,
}

/// One thing that differs.
#[derive(Debug, Clone, PartialEq)]
pub enum Difference {
    /// The record itself is not as it was written.
    RecordChanged,
    /// A file is not as it was written.
    FileChanged {
        /// Path in the dossier, or name in the plan.
        file: String,
    },
    /// A file is gone.
    FileMissing {
        /// Path in the dossier, or name in the plan.
        file: String,
    },
    /// A result is not what the raw files give.
    Value {
        /// Place in the result, for example `tests.0.results.hourly_leak_rate.value`.
        place: String,
        /// In the dossier.
        stated: String,
        /// Recomputed.
        found: String,
    },
}

/// Why a dossier cannot be rechecked.
#[derive(Debug)]
pub enum RecheckError {
    /// The record cannot be read.
    Read {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The record is not one.
    NotARecord {
        /// The file.
        file: PathBuf,
        /// What the parser said.
        message: String,
    },
    /// The plan in the record has mistakes, so that nothing can be recomputed.
    Plan(PlanError),
    /// Raw files are not at hand.
    NoData {
        /// A file that is needed.
        file: String,
    },
}

impl RecheckError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Read { .. } => "name the dossier's folder or its dossier.json",
            Self::NotARecord { .. } => "the file was damaged or is no dossier; fetch it again from where it was kept",
            Self::Plan(_) => "the plan in the dossier was changed, or is of a later version of the program",
            Self::NoData { .. } => "name the folder of the raw files with --data-root DIR",
        }
    }
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::RecordChanged => write!(f, "{RECORD_FILE} was changed after it was written"),
            Self::FileChanged { file } => write!(f, "{file} was changed after it was hashed"),
            Self::FileMissing { file } => write!(f, "{file} is missing"),
            Self::Value { place, stated, found } => write!(f, "{place}: the dossier says {stated}, recomputed {found}"),
        }
    }
}

impl fmt::Display for RecheckError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read { file, source } => write!(f, "{}: cannot be read: {source}", file.display()),
            Self::NotARecord { file, message } => write!(f, "{}: is no dossier record: {message}", file.display()),
            Self::Plan(error) => error.fmt(f),
            Self::NoData { file } => write!(f, "the raw file {file} is neither in the dossier nor beside it"),
        }
    }
}

impl std::error::Error for RecheckError {}

/// Rechecks the dossier at `path`, its folder or its `dossier.json`. Raw files are taken from the dossier where they
/// were copied in, else from `data_root` or from beside the dossier.
///
/// # Errors
/// See [`RecheckError`]; whatever merely differs is a finding.
pub fn recheck(path: &Path, data_root: Option<&Path>) -> Result<Recheck, RecheckError> {
    let (folder, file) = if path.is_dir() {
        (path.to_owned(), path.join(RECORD_FILE))
    } else {
        (path.parent().map(Path::to_owned).unwrap_or_default(), path.to_owned())
    };
    let bytes = std::fs::read(&file).map_err(|source| RecheckError::Read { file: file.clone(), source })?;
    let not_a_record = |message: String| RecheckError::NotARecord { file: file.clone(), message };
    let text = String::from_utf8(bytes).map_err(|error| not_a_record(error.to_string()))?;
    let (record, unchanged) = DossierRecord::from_json(&text).map_err(|error| not_a_record(error.to_string()))?;
    let mut recheck = Recheck { files: 1, numbers: 0, differences: Vec::new() };
    if !unchanged {
        recheck.differences.push(Difference::RecordChanged);
    }
    recheck.compare_files(&record, &folder);
    recheck.recompute(&record, &folder, data_root)?;
    Ok(recheck)
}

impl Recheck {
    /// Whether everything is the same.
    #[must_use]
    pub fn is_same(&self) -> bool {
        self.differences.is_empty()
    }

    fn compare_files(&mut self, record: &DossierRecord, folder: &Path) {
        for written in &record.written {
            self.files += 1;
            let file = written.path.clone();
            match std::fs::read(folder.join(&written.path)) {
                Ok(content) if hexadecimal(&Sha256::digest(&content)) == written.sha256 => {}
                Ok(_) => self.differences.push(Difference::FileChanged { file }),
                Err(_) => self.differences.push(Difference::FileMissing { file }),
            }
        }
    }

    fn recompute(
        &mut self,
        record: &DossierRecord,
        folder: &Path,
        data_root: Option<&Path>,
    ) -> Result<(), RecheckError> {
        let plan = Plan::parse(&record.plan_file, &record.plan_text).map_err(RecheckError::Plan)?;
        let folders = folders(record, &plan, folder, data_root)?;
        let qualified = qualify(plan, &folders, |_| {});
        for (stated, found) in record.result.tests.iter().zip(&qualified.result.tests) {
            for file in stated.files.iter().filter(|file| !found.files.contains(file)) {
                self.differences.push(Difference::FileChanged { file: file.file.clone() });
            }
        }
        // Another version of the program is no difference of the results.
        let mut found = qualified.result;
        found.program.clone_from(&record.result.program);
        let [stated, found] =
            [&record.result, &found].map(|result| serde_json::to_value(result).unwrap_or(Value::Null));
        self.compare("", &stated, &found);
        Ok(())
    }

    fn compare(&mut self, place: &str, stated: &Value, found: &Value) {
        let below = |key: &str| if place.is_empty() { key.to_owned() } else { format!("{place}.{key}") };
        match (stated, found) {
            (Value::Object(a), Value::Object(b)) => {
                for (key, value) in a {
                    self.compare(&below(key), value, b.get(key).unwrap_or(&Value::Null));
                }
                for (key, value) in b.iter().filter(|(key, _)| !a.contains_key(*key)) {
                    self.compare(&below(key), &Value::Null, value);
                }
            }
            (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
                for (index, (a, b)) in a.iter().zip(b).enumerate() {
                    self.compare(&below(&index.to_string()), a, b);
                }
            }
            (Value::Number(a), Value::Number(b)) => {
                self.numbers += 1;
                let [a, b] = [a, b].map(|number| number.as_f64().unwrap_or(f64::NAN));
                if !((a - b).abs() <= TOLERANCE * a.abs().max(b.abs())) {
                    self.differ(place, stated, found);
                }
            }
            (a, b) if a == b => {}
            _ => self.differ(place, stated, found),
        }
    }

    fn differ(&mut self, place: &str, stated: &Value, found: &Value) {
        let [stated, found] = [stated, found].map(ToString::to_string);
        self.differences.push(Difference::Value { place: place.to_owned(), stated, found });
    }
}

/// Where each raw file is looked for.
fn folders(
    record: &DossierRecord,
    plan: &Plan,
    folder: &Path,
    data_root: Option<&Path>,
) -> Result<Folders, RecheckError> {
    let parent = folder.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let beside = data_root.unwrap_or(parent).to_owned();
    let copies = record.data.iter().map(|file| (file.name.clone(), folder.join(&file.path))).collect();
    let folders = Folders { plan: beside, copies, ..Folders::default() };
    let wanted = plan.tests.iter().flat_map(crate::plan::Test::all_files);
    // A file that the qualification itself did not find may be missing again.
    let read_then = |file: &str| record.result.tests.iter().any(|test| test.files.iter().any(|f| f.file == file));
    match wanted.into_iter().find(|file| read_then(file) && !folders.holds(file)) {
        Some(file) => Err(RecheckError::NoData { file: file.to_owned() }),
        None => Ok(folders),
    }
}
