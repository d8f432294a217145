//! The machine-readable record of a dossier: `dossier.json`.

use std::path::{Component, Path, PathBuf};

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};
use sha2::{Digest, Sha256};

use crate::Qualified;
use crate::plan::hexadecimal;
use crate::result::Qualification;
use crate::write::NewFile;

/// File name of the record.
pub const RECORD_FILE: &str = "dossier.json";

/// The result as `--format json` prints it, and what it takes to recompute and compare it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DossierRecord {
    /// The result.
    #[serde(flatten)]
    pub result: Qualification,
    /// File name of the plan.
    pub plan_file: String,
    /// The plan in full.
    pub plan_text: String,
    /// Plan and raw files that were copied in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub data: Vec<DataFile>,
    /// All files of the dossier but this one.
    pub written: Vec<WrittenFile>,
    /// SHA-256 of this file with 64 zeros in this place. It finds accidents, not forgery.
    pub own_sha256: String,
}

/// A file that was copied in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DataFile {
    /// Its name in the plan.
    pub name: String,
    /// Its path in the dossier, with slashes.
    #[serde(deserialize_with = "path_inside")]
    pub path: String,
}

/// A file of the dossier.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WrittenFile {
    /// Its path in the dossier, with slashes.
    #[serde(deserialize_with = "path_inside")]
    pub path: String,
    /// Size.
    pub bytes: u64,
    /// SHA-256, hexadecimal.
    pub sha256: String,
}

/// Stands in for the record's own hash while that is computed.
const NO_HASH: &str = "0000000000000000000000000000000000000000000000000000000000000000";

impl DossierRecord {
    pub(super) fn new(qualified: &Qualified, files: &[NewFile], data: Vec<DataFile>) -> Self {
        Self {
            result: qualified.result.clone(),
            plan_file: super::plan_file_name(&qualified.plan.file),
            plan_text: qualified.plan.text.clone(),
            data,
            written: files.iter().map(written).collect(),
            own_sha256: NO_HASH.to_owned(),
        }
    }

    /// The record as text, its own hash filled in.
    pub(super) fn to_json(&self) -> String {
        let open = Self { own_sha256: NO_HASH.to_owned(), ..self.clone() };
        let text = serde_json::to_string_pretty(&open).expect("the record has only text keys and plain values") + "\n";
        let hash = hexadecimal(&Sha256::digest(text.as_bytes()));
        // The hash is the last value, so the last run of zeros is its place whatever the texts before it hold.
        match text.rfind(NO_HASH) {
            Some(at) => format!("{}{hash}{}", &text[..at], &text[at + NO_HASH.len()..]),
            None => text,
        }
    }

    /// Reads a record, and tells whether its text is as it was written.
    ///
    /// # Errors
    /// When the text is not such a record.
    pub fn from_json(text: &str) -> Result<(Self, bool), serde_json::Error> {
        let record: Self = serde_json::from_str(text)?;
        let unchanged = text.rfind(&record.own_sha256).is_some_and(|at| {
            let open = format!("{}{NO_HASH}{}", &text[..at], &text[at + record.own_sha256.len()..]);
            hexadecimal(&Sha256::digest(open.as_bytes())) == record.own_sha256
        });
        Ok((record, unchanged))
    }
}

/// A record comes with the dossier of somebody else: what it names must lie in the dossier, lest a recheck read the disk.
fn path_inside<'de, D: Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let path = String::deserialize(deserializer)?;
    let inside = Path::new(&path).components().all(|component| matches!(component, Component::Normal(_)));
    if inside { Ok(path) } else { Err(D::Error::custom(format!("the path \"{path}\" leaves the dossier's folder"))) }
}

fn written(file: &NewFile) -> WrittenFile {
    WrittenFile {
        path: super::slashed(&file.path),
        bytes: file.content.len() as u64,
        sha256: hexadecimal(&Sha256::digest(&file.content)),
    }
}

/// The files of the dossier in `folder`; none where there is no dossier.
pub(super) fn files_of(folder: &Path) -> Vec<PathBuf> {
    let record = std::fs::read_to_string(folder.join(RECORD_FILE)).ok();
    let Some((record, _)) = record.and_then(|text| DossierRecord::from_json(&text).ok()) else { return Vec::new() };
    let written = record.written.into_iter().map(|file| file.path.split('/').collect());
    written.chain(std::iter::once(PathBuf::from(RECORD_FILE))).collect()
}
