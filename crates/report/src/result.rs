//! The result in the form that other people's scripts read: schema `tightfit.result/1`.

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize};

/// Schema name of a qualification's result.
pub const RESULT_SCHEMA: &str = "tightfit.result/1";

/// The result of a qualification.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct Qualification {
    /// Name and version of this form.
    #[schemars(extend("const" = RESULT_SCHEMA))]
    pub schema: String,
    /// Program and version.
    pub program: String,
    /// SHA-256 of the plan's text.
    pub plan_sha256: String,
    /// Name of the enclosure.
    pub enclosure: String,
    /// Tests in the order of the plan.
    pub tests: Vec<TestResult>,
    /// Verdicts in the order of the limits.
    pub verdicts: Vec<VerdictResult>,
    /// Checks by eye.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<CheckLine>,
    /// Verdict on the whole.
    pub overall: Overall,
}

/// The result of one test.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct TestResult {
    /// Name of the test.
    pub id: String,
    /// Its method.
    pub method: String,
    /// Whether its results may be judged.
    pub valid: bool,
    /// Why not.
    pub problems: Vec<String>,
    /// What else must be known to read the results.
    pub notes: Vec<String>,
    /// The validity checks, each with what it found and what follows from it.
    #[serde(default)]
    pub validity: Vec<ValidityLine>,
    /// The gas that flowed: `air`, or the fill gas.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub gas: Option<String>,
    /// First and last moment that was evaluated.
    pub window: Option<[String; 2]>,
    /// Why this window.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub window_reason: Option<String>,
    /// Rows of all files.
    pub rows_read: u64,
    /// Rows that entered the evaluation.
    pub rows_used: u64,
    /// Rows that did not.
    pub rows_set_aside: u64,
    /// Why not, counted.
    pub set_aside: Vec<SetAsideLine>,
    /// What happened during the test.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub events: Vec<String>,
    /// Raw files.
    #[serde(default)]
    pub files: Vec<FileLine>,
    /// The results by name.
    pub results: Results,
    /// Leak-tightness class by ISO 10648-2, where the leak rate stands at a stated pressure difference.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tightness_class: Option<TightnessClass>,
    /// Correlations between results that were found together.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub correlations: Vec<CorrelationLine>,
    /// Results of the runs of a series.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub runs: Vec<RunResult>,
}

/// One validity check of a test.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct ValidityLine {
    /// What was checked.
    pub check: String,
    /// What was found.
    pub finding: String,
    /// Whether it is as it should be.
    pub passed: bool,
    /// What follows from it.
    pub consequence: Consequence,
}

/// What follows from a validity check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub enum Consequence {
    /// Nothing.
    #[serde(rename = "none")]
    None,
    /// The test may be judged; its results are to be read with the finding.
    #[serde(rename = "said")]
    Said,
    /// The test may not be judged.
    #[serde(rename = "not valid")]
    NotValid,
}

/// Leak-tightness class by ISO 10648-2 at the pressure difference of the hourly leak rate.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct TightnessClass {
    /// The tightest class whose limit is met with at least 95 % conformance probability; `null` where none is.
    pub assigned: Option<u8>,
    /// Pressure difference at which it holds.
    pub at: String,
    /// The same in words: `class 2 (> 99.99 %); class 1 undecided (41.3 %)`.
    pub words: String,
    /// All classes, tightest first.
    pub classes: Vec<ClassLine>,
}

/// One class and how likely it is met.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct ClassLine {
    /// Class, 1 to 4.
    pub class: u8,
    /// Its limit of the hourly leak rate, 1/h.
    pub limit_per_h: f64,
    /// Probability that the limit is met.
    pub conformance_probability: f64,
}

/// Correlation between two results.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct CorrelationLine {
    /// Names of the two.
    pub between: [String; 2],
    /// Correlation coefficient, −1 to 1.
    pub coefficient: f64,
}

/// One run of a series.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct RunResult {
    /// What was inside the boundary.
    pub boundary: String,
    /// First and last moment that was evaluated.
    pub window: Option<[String; 2]>,
    /// Its results by name.
    pub results: Results,
}

/// Rows set aside for one reason.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct SetAsideLine {
    /// Why.
    pub reason: String,
    /// How many.
    pub count: u64,
}

/// A raw file.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct FileLine {
    /// Name as the plan gives it.
    pub file: String,
    /// Size.
    pub bytes: u64,
    /// SHA-256, hexadecimal.
    pub sha256: String,
}

/// Named results in the order in which a method gives them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Results(pub Vec<(String, ResultValue)>);

/// One result.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct ResultValue {
    /// The value; `null` where it is not determined.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: String,
    /// Standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// Two-sided 95 % interval; an open end is `null`.
    pub interval95: [Option<f64>; 2],
    /// Estimate, bound, or not determined.
    pub kind: ResultValueKind,
    /// Pressure difference at which it holds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<String>,
    /// One-sided 95 % upper limit of a published method.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub upper95: Option<f64>,
    /// Effective degrees of freedom; `null` where there are very many.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub degrees_of_freedom: Option<f64>,
    /// What makes up the standard uncertainty, largest first.
    pub budget: Vec<BudgetEntry>,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct BudgetEntry {
    /// What contributes.
    pub source: String,
    /// Its standard uncertainty in the unit of the result.
    pub standard_uncertainty: f64,
}

/// What a result is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ResultValueKind {
    /// A value with a two-sided interval.
    Estimate,
    /// At most this.
    UpperBound,
    /// At least this.
    LowerBound,
    /// The data do not determine it.
    NotDetermined,
}

/// A limit and what came of it.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
pub struct VerdictResult {
    /// Name of the limited result.
    pub quantity: String,
    /// The test it was judged in.
    pub test: String,
    /// The run of a series, by its boundary.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub run: Option<String>,
    /// The limit.
    pub limit: String,
    /// Decision rule.
    pub rule: String,
    /// Where the limit comes from.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub source: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// Probability that the limit is met, given the result and that a leak cannot be negative.
    pub conformance_probability: Option<f64>,
    /// What to do next.
    pub advice: String,
}

/// A verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub enum Verdict {
    /// The limit is met.
    #[serde(rename = "pass")]
    Pass,
    /// The limit is not met.
    #[serde(rename = "fail")]
    Fail,
    /// The data do not decide.
    #[serde(rename = "undecided")]
    Undecided,
    /// The data may not be judged.
    #[serde(rename = "not valid")]
    NotValid,
}

/// A check by eye.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct CheckLine {
    /// What was looked at.
    pub item: String,
    /// `ok`, `not ok`, `not done`.
    pub result: String,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub note: Option<String>,
}

/// Verdict on the whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub enum Overall {
    /// Everything passed.
    #[serde(rename = "pass")]
    Pass,
    /// Something failed.
    #[serde(rename = "fail")]
    Fail,
    /// Something stayed undecided.
    #[serde(rename = "undecided")]
    Undecided,
    /// Something may not be judged.
    #[serde(rename = "not valid")]
    NotValid,
    /// A file could not be read.
    #[serde(rename = "input error")]
    InputError,
    /// The plan has no limits.
    #[serde(rename = "no limits")]
    NoLimits,
}

impl TestResult {
    /// A test without results, not valid.
    #[must_use]
    pub fn empty(id: &str, method: &str) -> Self {
        Self {
            id: id.to_owned(),
            method: method.to_owned(),
            valid: false,
            problems: Vec::new(),
            notes: Vec::new(),
            validity: Vec::new(),
            gas: None,
            window: None,
            window_reason: None,
            rows_read: 0,
            rows_used: 0,
            rows_set_aside: 0,
            set_aside: Vec::new(),
            events: Vec::new(),
            files: Vec::new(),
            results: Results::default(),
            tightness_class: None,
            correlations: Vec::new(),
            runs: Vec::new(),
        }
    }
}

impl Verdict {
    /// The verdict in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Undecided => "undecided",
            Self::NotValid => "not valid",
        }
    }
}

impl Overall {
    /// The verdict in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Undecided => "undecided",
            Self::NotValid => "not valid",
            Self::InputError => "input error",
            Self::NoLimits => "no limits",
        }
    }

    /// Exit code of the program.
    #[must_use]
    pub fn exit_code(self) -> u8 {
        match self {
            Self::Pass | Self::NoLimits => 0,
            Self::Fail => 1,
            Self::InputError => 2,
            Self::Undecided => 3,
            Self::NotValid => 4,
        }
    }
}

impl Results {
    /// The result of that name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&ResultValue> {
        self.0.iter().find(|(own, _)| own == name).map(|(_, value)| value)
    }
}

impl Serialize for Results {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(name, value)| (name, value)))
    }
}

/// In JSON the names are the keys of an object.
impl JsonSchema for Results {
    fn schema_name() -> Cow<'static, str> {
        "Results".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        BTreeMap::<String, ResultValue>::json_schema(generator)
    }
}

impl<'de> Deserialize<'de> for Results {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;

        impl<'de> serde::de::Visitor<'de> for Visitor {
            type Value = Results;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("results by name")
            }

            fn visit_map<A: serde::de::MapAccess<'de>>(self, mut map: A) -> Result<Results, A::Error> {
                let mut results = Vec::new();
                while let Some(entry) = map.next_entry()? {
                    results.push(entry);
                }
                Ok(Results(results))
            }
        }

        deserializer.deserialize_map(Visitor)
    }
}

impl Qualification {
    /// The result that a verdict judged.
    #[must_use]
    pub fn judged_value(&self, verdict: &VerdictResult) -> Option<&ResultValue> {
        let test = self.tests.iter().find(|test| test.id == verdict.test)?;
        let results = match &verdict.run {
            Some(run) => &test.runs.iter().find(|own| own.boundary == *run)?.results,
            None => &test.results,
        };
        results.get(&verdict.quantity)
    }
}
