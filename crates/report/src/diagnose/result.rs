//! A diagnosis as scripts read it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::result::{FileLine, SetAsideLine};

/// Name and version of the form.
pub const DIAGNOSIS_SCHEMA: &str = "tightfit.diagnosis/1";

/// Why oxygen or water rose.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct DiagnosisResult {
    /// Name and version of this form.
    #[schemars(extend("const" = DIAGNOSIS_SCHEMA))]
    pub schema: String,
    /// Program and version.
    pub program: String,
    /// SHA-256 of the plan.
    pub plan_sha256: String,
    /// The enclosure.
    pub enclosure: String,
    /// The test of the plan that names the log.
    pub test: String,
    /// Whether the log may be judged.
    pub valid: bool,
    /// Why not.
    pub problems: Vec<String>,
    /// First and last moment that was looked at.
    pub window: Option<[String; 2]>,
    /// Rows of all files.
    pub rows_read: u64,
    /// Rows that were used.
    pub rows_used: u64,
    /// Rows that were not.
    pub rows_set_aside: u64,
    /// Why not, counted.
    pub set_aside: Vec<SetAsideLine>,
    /// Raw files.
    pub files: Vec<FileLine>,
    /// The conclusion in a sentence or two.
    pub conclusion: String,
    /// Whether one explanation stands out.
    pub decided: bool,
    /// All explanations, most probable first; probabilities sum to 1.
    pub explanations: Vec<ExplanationResult>,
    /// What would tell the leaders apart.
    pub next_measurement: NextMeasurement,
    /// What must be taken care of when following it.
    pub cautions: Vec<String>,
    /// What else must be known to read the result.
    pub notes: Vec<String>,
}

/// One explanation.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct ExplanationResult {
    /// `leak`, `glove_permeation`, `purifier_capacity`, `circulation_flow`, `outgassing`, `analyser_drift`,
    /// `supply_gas`, `transfers`, `nothing_changed` or `none_of_these`.
    pub cause: String,
    /// How probable, 0 to 1.
    pub probability: f64,
    /// When it began, 95 % interval; null where nothing did.
    pub began: Option<[String; 2]>,
    /// How large it is, in words.
    pub size: String,
    /// What speaks for and against it.
    pub evidence: Vec<Evidence>,
}

/// One piece of evidence.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Evidence {
    /// In a sentence.
    pub text: String,
    /// For or against the explanation.
    pub speaks: Speaks,
}

/// For or against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Speaks {
    /// For.
    For,
    /// Against.
    Against,
}

/// What to measure next.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct NextMeasurement {
    /// What, how, and what each leader predicts.
    pub text: String,
    /// Expected information on which explanation is true, bits.
    pub expected_gain: f64,
}
