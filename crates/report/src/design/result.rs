//! A design in the form that other people's scripts read: schema `tightfit.design/1`.

use schemars::JsonSchema;
use serde::Serialize;

/// Schema name of a design.
pub const DESIGN_SCHEMA: &str = "tightfit.design/1";

/// The planned tests of a plan.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Design {
    /// Name and version of this form.
    #[schemars(extend("const" = DESIGN_SCHEMA))]
    pub schema: String,
    /// Program and version.
    pub program: String,
    /// SHA-256 of the plan's text.
    pub plan_sha256: String,
    /// Name of the enclosure.
    pub enclosure: String,
    /// One entry a test and limit, in the order of the plan.
    pub tests: Vec<DesignedTest>,
    /// Tests of the plan that were not planned, and why.
    pub not_planned: Vec<String>,
    /// What to heed at the bench.
    pub cautions: Vec<String>,
}

impl Design {
    /// Exit code of the program: 0 where every test decides, 3 where one does not.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        if self.tests.iter().all(|test| test.decides) { 0 } else { 3 }
    }
}

/// A planned test. Uncertainties and leaks are in the unit of the limited quantity.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct DesignedTest {
    /// Name of the test.
    pub id: String,
    /// Its method.
    pub method: String,
    /// The limited quantity.
    pub quantity: String,
    /// The limit in words.
    pub limit: String,
    /// The limit's value.
    pub limit_value: f64,
    /// Unit of the quantity.
    pub unit: String,
    /// Decision rule.
    pub rule: String,
    /// Leak of the tight enclosure as a share of the limit; that of the leaky one is its inverse.
    pub expected_share: f64,
    /// Largest probability that the tight enclosure does not pass.
    pub producers_risk: f64,
    /// Whether a test up to the longest duration decides with these risks.
    pub decides: bool,
    /// The design in one sentence.
    pub sentence: String,
    /// Duration of the hold, s: the shortest that decides, or the longest that was looked at.
    pub duration_s: f64,
    /// Pressure difference to start from, Pa.
    pub pressure_difference_pa: f64,
    /// Pressure difference at which the limit holds, Pa.
    pub reference_pressure_pa: f64,
    /// What the evaluation will report on the tight enclosure.
    pub expected: Option<Expected>,
    /// Standard uncertainty that no duration takes away: instruments and compliance, for the tight enclosure.
    pub instrument_floor: Option<f64>,
    /// What changes of the set-up would buy, best first.
    pub improvements: Vec<ImprovementLine>,
    /// Uncertainty against duration, one curve a pressure difference.
    pub curves: Vec<Curve>,
    /// What was assumed, in words.
    pub assumptions: Vec<String>,
}

/// What to expect of a test.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Expected {
    /// Half the 95 % interval: mean over simulated tests.
    pub expanded_uncertainty: f64,
    /// The same: eight of ten tests lie between these.
    pub expanded_uncertainty_range: [f64; 2],
    /// Standard uncertainty as reported: root mean square.
    pub standard_uncertainty: f64,
    /// Root mean square of estimate minus truth.
    pub error: f64,
    /// Probability that the tight enclosure passes.
    pub passes_when_tight: f64,
    /// Probability that an enclosure at the limit passes.
    pub passes_at_the_limit: f64,
    /// Probability that the leaky enclosure fails.
    pub fails_when_leaky: f64,
    /// Smallest leak told from none in 95 of 100 tests, at 5 % false alarms.
    pub smallest_leak: f64,
    /// Budget of the standard uncertainty.
    pub budget: Vec<BudgetEntry>,
}

/// A line of a budget.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct BudgetEntry {
    /// What contributes.
    pub source: String,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// A change of the set-up.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct ImprovementLine {
    /// What is changed.
    pub change: String,
    /// Expanded uncertainty of the same test with it, over that without.
    pub uncertainty_ratio: f64,
    /// Duration of the shortest test with it, s; `null` where none that is no longer decides.
    pub duration_s: Option<f64>,
}

/// Uncertainty against duration at one pressure difference.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Curve {
    /// Pressure difference, Pa.
    pub pressure_difference_pa: f64,
    /// Its points, by duration.
    pub points: Vec<Point>,
}

/// A point of a curve.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Point {
    /// Duration, s.
    pub duration_s: f64,
    /// Half the 95 % interval.
    pub expanded_uncertainty: f64,
    /// Probability that the tight enclosure passes.
    pub passes_when_tight: f64,
}
