//! Planning the tests of a plan: how long, at which pressure difference, with what.

mod bench;
mod page;
mod result;
pub(crate) mod words;

use std::fmt;
use std::path::Path;

use tightfit_fit::design::{CurvePoint, Designed, Forecast, curve, improvements, shortest};

use crate::catalogue::{Method, result_kind};
use crate::plan::{Plan, Test};
use crate::qualify::{PROGRAM, QualifyError, plan_text};

pub use page::{JSON_FILE, PAGE_FILE, write};
pub use result::{BudgetEntry, Curve, DESIGN_SCHEMA, Design, DesignedTest, Expected, ImprovementLine, Point};

use bench::Planned;

/// Why nothing can be planned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DesignError {
    /// The plan has no test that can be planned.
    NoTest,
    /// A test has no limit on a leak.
    NoLimit {
        /// The test.
        test: String,
    },
    /// A test has no reference pressure.
    NoReference {
        /// The test.
        test: String,
    },
    /// No instrument reads the pressure inside.
    NoGauge {
        /// The test.
        test: String,
    },
    /// The volume is needed and not given.
    VolumeMissing {
        /// What for.
        needed_for: String,
    },
}

impl DesignError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoTest => "add a [[test]] with method = \"pressure-change\"",
            Self::NoLimit { .. } => "add a [[limit]] with quantity = \"hourly_leak_rate\" and max = \"5e-4 1/h\"",
            Self::NoReference { .. } => "state it in the test: reference_pressure = \"-1000 Pa\"",
            Self::NoGauge { .. } => {
                "name one [instruments.gauge], or say which it is: gauge_pressure = { instrument = \"NAME\" }"
            }
            Self::VolumeMissing { .. } => "add it to [enclosure]: volume = \"0.92 m3\"",
        }
    }
}

impl fmt::Display for DesignError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoTest => write!(f, "the plan has no test that can be planned: only pressure-change is"),
            Self::NoLimit { test } => write!(f, "the test \"{test}\" has no upper limit on a leak"),
            Self::NoReference { test } => write!(f, "the test \"{test}\" has no reference pressure"),
            Self::NoGauge { test } => write!(f, "no instrument reads the pressure inside in the test \"{test}\""),
            Self::VolumeMissing { needed_for } => write!(f, "the enclosure's volume is needed for {needed_for}"),
        }
    }
}

impl std::error::Error for DesignError {}

/// Reads a plan whose tests are still to be made.
///
/// # Errors
/// See [`QualifyError`].
pub fn read_plan(path: &Path) -> Result<Plan, QualifyError> {
    let file = path.display().to_string();
    Plan::parse_for_design(&file, &plan_text(path)?).map_err(QualifyError::Plan)
}

/// Plans every pressure-change test of a plan. `progress` is told what is being tried.
///
/// # Errors
/// [`DesignError`] where the plan does not say enough.
pub fn design(plan: &Plan, mut progress: impl FnMut(&str)) -> Result<Design, DesignError> {
    let (plannable, others): (Vec<&Test>, Vec<&Test>) =
        plan.tests.iter().partition(|test| test.method == Method::PressureChange);
    if plannable.is_empty() {
        return Err(DesignError::NoTest);
    }
    let mut planned = Vec::new();
    for test in plannable {
        let limits: Vec<_> = plan.limits.iter().filter(|limit| bench::is_plannable(limit, test)).collect();
        if limits.is_empty() {
            return Err(DesignError::NoLimit { test: test.id.clone() });
        }
        for limit in limits {
            planned.push(Planned::new(plan, test, limit)?);
        }
    }
    Ok(Design {
        schema: DESIGN_SCHEMA.to_owned(),
        program: PROGRAM.to_owned(),
        plan_sha256: plan.sha256.clone(),
        enclosure: plan.enclosure.id.clone(),
        tests: planned.iter().map(|planned| designed(planned, &mut progress)).collect(),
        not_planned: others
            .iter()
            .map(|test| format!("{}: tests by {} are not planned by this version", test.id, test.method.name()))
            .collect(),
        cautions: CAUTIONS.iter().map(|caution| (*caution).to_owned()).collect(),
    })
}

const CAUTIONS: [&str; 3] = [
    "Over- and under-pressure can burst gloves and windows: stay within the maker's rating, keep faces away, and have \
     a relief that opens before the rated pressure.",
    "Inert gas displaces breathing air: ventilate, and measure oxygen where people work.",
    "Watch the pressure during the hold: 1 K moves it by some 350 Pa.",
];

/// Plans one test.
fn designed(planned: &Planned<'_>, progress: &mut impl FnMut(&str)) -> DesignedTest {
    let id = planned.test.id.as_str();
    let Planned { set_up, demand, rated_pa, .. } = planned;
    let mut trying = |duration_s: f64| progress(&format!("{id}: trying {}", words::duration(duration_s)));
    let (found, decides) = match shortest(set_up, demand, *rated_pa, &mut trying) {
        Ok(found) => (Some(found), true),
        Err(none) => (none.longest, false),
    };
    let duration_s = found.as_ref().map_or(demand.longest_s, |found| found.duration_s);
    let difference_pa = found.as_ref().map_or(set_up.reference_pressure_pa, |found| found.difference_pa);
    let curves = curves(planned, [difference_pa, duration_s], progress);
    let mut changing = |change: &str| progress(&format!("{id}: {change}"));
    let changes = found
        .as_ref()
        .map(|found| improvements(set_up, demand, *rated_pa, found, decides, &mut changing))
        .unwrap_or_default();
    let expected = found.as_ref().map(|Designed { forecast, .. }| expected(forecast));
    let sentence = match &expected {
        Some(expected) if decides => words::sentence(planned, difference_pa, duration_s, expected),
        longest => words::no_design(planned, difference_pa, longest.as_ref()),
    };
    let kind = result_kind(&planned.limit.quantity);
    DesignedTest {
        id: id.to_owned(),
        method: planned.test.method.name().to_owned(),
        quantity: planned.limit.quantity.clone(),
        limit: planned.limit.bound.to_string(),
        limit_value: demand.limit,
        unit: kind.map_or("", |kind| kind.unit).to_owned(),
        rule: planned.limit.rule.name().to_owned(),
        expected_share: demand.tight_share,
        producers_risk: demand.producers_risk,
        decides,
        sentence,
        duration_s,
        pressure_difference_pa: difference_pa,
        reference_pressure_pa: set_up.reference_pressure_pa,
        instrument_floor: found.as_ref().map(|found| floor(&found.forecast)),
        expected,
        improvements: changes
            .into_iter()
            .filter(|change| change.ratio < NO_GAIN)
            .map(|change| ImprovementLine {
                change: change.change,
                uncertainty_ratio: change.ratio,
                duration_s: change.duration_s,
            })
            .collect(),
        curves,
        assumptions: planned.assumptions.clone(),
    }
}

/// Ratio of uncertainties from which a change of the set-up makes nothing better.
const NO_GAIN: f64 = 1.02;

/// Curves at the planned pressure difference, half of it, and the reference.
fn curves(planned: &Planned<'_>, [difference_pa, duration_s]: [f64; 2], progress: &mut impl FnMut(&str)) -> Vec<Curve> {
    let mut differences = vec![difference_pa, 0.5 * difference_pa];
    let reference_pa = planned.set_up.reference_pressure_pa;
    if differences.iter().all(|known| !(0.85..1.18).contains(&(reference_pa / known))) {
        differences.push(reference_pa);
    }
    differences.sort_by(|a, b| b.abs().total_cmp(&a.abs()));
    differences
        .into_iter()
        .map(|pressure_difference_pa| {
            let mut told = |duration_s: f64| {
                let [pressure, time] = [words::pressure(pressure_difference_pa), words::duration(duration_s)];
                progress(&format!("{}: curve at {pressure}, {time}", planned.test.id));
            };
            let points = curve(&planned.set_up, &planned.demand, pressure_difference_pa, duration_s, &mut told);
            Curve { pressure_difference_pa, points: points.iter().map(point).collect() }
        })
        .collect()
}

fn point(point: &CurvePoint) -> Point {
    Point {
        duration_s: point.duration_s,
        expanded_uncertainty: point.forecast.expanded_uncertainty,
        passes_when_tight: point.forecast.passes_when_tight,
    }
}

fn expected(forecast: &Forecast) -> Expected {
    Expected {
        expanded_uncertainty: forecast.expanded_uncertainty,
        expanded_uncertainty_range: forecast.expanded_uncertainty_range,
        standard_uncertainty: forecast.standard_uncertainty,
        error: forecast.error,
        passes_when_tight: forecast.passes_when_tight,
        passes_at_the_limit: forecast.passes_at_the_limit,
        fails_when_leaky: forecast.fails_when_leaky,
        smallest_leak: forecast.smallest_leak,
        budget: forecast
            .budget
            .iter()
            .map(|line| BudgetEntry { source: line.source.clone(), standard_uncertainty: line.standard_uncertainty })
            .collect(),
    }
}

/// What instruments and compliance contribute: it stays however long the test is.
fn floor(forecast: &Forecast) -> f64 {
    let stays = forecast.budget.iter().filter(|line| !line.source.contains("noise"));
    stays.map(|line| line.standard_uncertainty.powi(2)).sum::<f64>().sqrt()
}
