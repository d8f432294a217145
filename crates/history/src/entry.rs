//! What the store holds.

/// A number of an entry.
pub type EntryId = i64;

/// An entry to be added.
#[derive(Debug, Clone, PartialEq)]
pub struct NewEntry {
    /// Name of the enclosure.
    pub enclosure: String,
    /// Day of the test or the service, `YYYY-MM-DD`.
    pub day: String,
    /// What makes two entries the same: a hash of what was added.
    pub identity: String,
    /// The entry that this one takes the place of.
    pub corrects: Option<EntryId>,
    /// What it is.
    pub content: Content,
}

/// What an entry is.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// A qualification.
    Qualification(Box<QualificationEntry>),
    /// Something was done to the enclosure.
    Service {
        /// What: `gloves`, `seals`, `purifier`, `regeneration`, `other`.
        what: String,
        /// In words.
        note: String,
    },
}

/// The results of a qualification.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct QualificationEntry {
    /// Overall verdict.
    pub overall: String,
    /// How the enclosure was set up.
    pub configuration: String,
    /// Program and version.
    pub program: String,
    /// SHA-256 of the plan.
    pub plan_sha256: String,
    /// Its results.
    pub results: Vec<StoredResult>,
    /// Its verdicts.
    pub verdicts: Vec<StoredVerdict>,
    /// Its raw files.
    pub files: Vec<StoredFile>,
}

/// A result with its uncertainty.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoredResult {
    /// Name of the test.
    pub test: String,
    /// The run of a series; empty otherwise.
    pub run: String,
    /// Name of the quantity.
    pub quantity: String,
    /// `estimate`, `upper_bound`, `lower_bound`, `not_determined`.
    pub kind: String,
    /// Unit of all numbers.
    pub unit: String,
    /// Value.
    pub value: Option<f64>,
    /// Standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// Ends of the 95 % interval.
    pub interval95: [Option<f64>; 2],
    /// Pressure difference at which it holds; empty where it has none.
    pub at: String,
    /// Gas that flowed; empty where that does not matter.
    pub gas: String,
    /// Whether the test may be judged.
    pub valid: bool,
    /// Parts of the uncertainty.
    pub budget: Vec<StoredPart>,
}

/// A part of an uncertainty.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoredPart {
    /// What it comes from.
    pub source: String,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Names what it lasts with, an instrument and its calibration; empty where it does not last.
    pub lasts_with: String,
}

/// A verdict.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoredVerdict {
    /// Name of the test.
    pub test: String,
    /// The run of a series; empty otherwise.
    pub run: String,
    /// Name of the quantity.
    pub quantity: String,
    /// The limit as the plan states it.
    pub limit: String,
    /// Most and least that it allows, in the unit of the result.
    pub most: Option<f64>,
    /// See `most`.
    pub least: Option<f64>,
    /// The verdict in a word.
    pub verdict: String,
    /// Conformance probability.
    pub conformance_probability: Option<f64>,
}

/// A raw file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct StoredFile {
    /// Its name.
    pub name: String,
    /// Its size.
    pub bytes: u64,
    /// SHA-256, hexadecimal.
    pub sha256: String,
}

/// What became of an entry that was to be added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Added {
    /// It is in the store under this number.
    New(EntryId),
    /// The same was there already, under this number.
    Known(EntryId),
}

/// An entry as it stands in the store.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number.
    pub id: EntryId,
    /// The entry.
    pub entry: NewEntry,
    /// When it was recorded, UTC.
    pub recorded: String,
}

/// An enclosure in one line.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Summary {
    /// Its name.
    pub enclosure: String,
    /// Qualifications that stand, corrected ones not counted.
    pub qualifications: u64,
    /// Day of the last one; empty where there is none.
    pub last_day: String,
    /// Overall verdict of the last one.
    pub last_overall: String,
    /// Smallest conformance probability of the last one.
    pub least_probability: Option<f64>,
    /// Day of the last service; empty where there is none.
    pub last_service: String,
}
