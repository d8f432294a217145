//! Limits of acceptance, and checks by eye.

use tightfit_fit::decision::Rule;
use tightfit_quantity::{Dimension, Quantity};

use crate::limit_set::{LIMIT_SETS, LimitSet};

use super::mistake::{Mistake, nearest};
use super::section::Section;

/// A limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// Name of the result it limits.
    pub quantity: String,
    /// The only test it holds for, or every test that yields the quantity.
    pub test: Option<String>,
    /// The bound.
    pub bound: Bound,
    /// Decision rule.
    pub rule: Rule,
    /// Where the limit comes from.
    pub source: Option<String>,
}

/// One side of a limit.
#[derive(Debug, Clone, PartialEq)]
pub enum Bound {
    /// The quantity must be at most this.
    Max(Quantity),
    /// The quantity must be at least this.
    Min(Quantity),
}

/// Something that is looked at, not logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// What was looked at.
    pub item: String,
    /// What was found.
    pub result: CheckResult,
    /// Remark.
    pub note: Option<String>,
}

/// What a check by eye found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckResult {
    /// As it should be.
    Ok,
    /// Not as it should be: the whole fails.
    NotOk,
    /// Not looked at: the whole stays undecided.
    NotDone,
}

/// Risk of a guarded rule where the plan states none.
const DEFAULT_RISK: f64 = 0.05;
/// Largest share of the limit that the expanded uncertainty may take under the simple rule.
const DEFAULT_MAX_UNCERTAINTY: f64 = 1.0 / 3.0;

impl Bound {
    /// The bounding quantity.
    #[must_use]
    pub fn quantity(&self) -> &Quantity {
        match self {
            Self::Max(quantity) | Self::Min(quantity) => quantity,
        }
    }
}

impl std::fmt::Display for Bound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Max(quantity) => write!(f, "max {quantity}"),
            Self::Min(quantity) => write!(f, "min {quantity}"),
        }
    }
}

impl Limit {
    /// Required durations of a regeneration as limits, as far as `stated` limits none of them for that test.
    pub(super) fn required_by(test: &super::Test, stated: &[Self]) -> Vec<Self> {
        let required = &test.keys.required;
        let of = |quantity: &str, least: Option<&super::Measured>| {
            let holds =
                |limit: &&Self| limit.quantity == quantity && limit.test.as_deref().is_none_or(|id| id == test.id);
            let least = least.filter(|_| !stated.iter().any(|limit| holds(&limit)))?;
            Some(Self {
                quantity: quantity.to_owned(),
                test: Some(test.id.clone()),
                bound: Bound::Min(least.quantity.clone()),
                rule: Rule::Simple { max_uncertainty: DEFAULT_MAX_UNCERTAINTY },
                source: Some("required duration of the plan".to_owned()),
            })
        };
        [
            of("heating_time", required.heating.as_ref()),
            of("purge_time", required.purge.as_ref()),
            of("evacuation_time", required.evacuation.as_ref()),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// `quantities` are the results that limits may name, with what they measure.
    pub(super) fn read(
        section: &Section<'_>,
        quantities: &[(&'static str, Dimension)],
        tests: &[String],
    ) -> Option<Self> {
        let names: Vec<&str> = LIMIT_SETS.iter().map(|set| set.name).collect();
        let name = section.word("set", &names);
        let set = name.as_deref().and_then(|name| LIMIT_SETS.iter().find(|set| set.name == name));
        let quantity = quantity(section, quantities, set);
        let bound = bound(section, quantity.as_deref(), quantities, set);
        let limit = Self {
            quantity: quantity.unwrap_or_default(),
            test: section.text("test"),
            bound: bound.clone().unwrap_or_else(|| Bound::Max(Quantity::new(0.0, tightfit_quantity::Unit::one()))),
            rule: rule(section),
            source: section.text("source").or_else(|| set.map(|set| set.source.to_owned())),
        };
        if let Some(test) = &limit.test
            && !tests.contains(test)
        {
            let nearest = nearest(test, tests.iter().map(String::as_str));
            section.note("test", Mistake::NotDefined { kind: "test", name: test.clone(), nearest });
        }
        section.finish();
        bound.map(|_| limit)
    }
}

fn quantity(section: &Section<'_>, quantities: &[(&'static str, Dimension)], set: Option<&LimitSet>) -> Option<String> {
    if let Some(set) = set {
        if section.has("quantity") {
            let because = "the set says which quantity it limits";
            section.note("quantity", Mistake::Both { first: "set", second: "quantity", because });
        }
        return Some(set.quantity.to_owned());
    }
    if !section.has("quantity") {
        if !section.has("set") {
            section.missing("quantity", "quantity = \"hourly_leak_rate\"");
        }
        return None;
    }
    let names: Vec<&str> = quantities.iter().map(|(name, _)| *name).collect();
    section.word("quantity", &names)
}

fn bound(
    section: &Section<'_>,
    quantity: Option<&str>,
    quantities: &[(&'static str, Dimension)],
    set: Option<&LimitSet>,
) -> Option<Bound> {
    let dimension = quantities.iter().find(|(name, _)| Some(*name) == quantity).map(|(_, dimension)| *dimension);
    let read = |key| match dimension {
        Some(dimension) => section.quantity(key, dimension),
        None => section.any_quantity(key),
    };
    let (max, min) = (read("max"), read("min"));
    if let Some(set) = set {
        if section.has("max") || section.has("min") {
            let because = "the set states its own limit";
            section.note("max", Mistake::Both { first: "set", second: "max", because });
        }
        return Quantity::parse(set.max).ok().map(Bound::Max);
    }
    match (max, min) {
        (Some(_), Some(_)) => {
            section.note(
                "min",
                Mistake::Both { first: "max", second: "min", because: "write one [[limit]] for each side" },
            );
            None
        }
        (Some(max), None) => Some(Bound::Max(max)),
        (None, Some(min)) => Some(Bound::Min(min)),
        (None, None) => {
            if !section.has("max") && !section.has("min") && !section.has("set") {
                section.missing("max", "max = \"5e-4 1/h\"");
            }
            None
        }
    }
}

fn rule(section: &Section<'_>) -> Rule {
    let risk = share(section, "risk").unwrap_or(DEFAULT_RISK);
    let max_uncertainty = share(section, "max_uncertainty").unwrap_or(DEFAULT_MAX_UNCERTAINTY);
    match section.word("rule", &["simple", "guarded-acceptance", "guarded-rejection"]).as_deref() {
        Some("simple") => Rule::Simple { max_uncertainty },
        Some("guarded-rejection") => Rule::GuardedRejection { risk },
        _ => Rule::GuardedAcceptance { risk },
    }
}

fn share(section: &Section<'_>, key: &'static str) -> Option<f64> {
    let quantity = section.quantity(key, Dimension::Ratio)?;
    let share = quantity.si();
    if share > 0.0 && share < 1.0 {
        return Some(share);
    }
    let found = quantity.text().to_owned();
    section.note(key, Mistake::Impossible { key: key.to_owned(), found, expected: "a share between 0 % and 100 %" });
    None
}

impl Check {
    pub(super) fn read(section: &Section<'_>) -> Self {
        let result = section.word("result", &["ok", "not ok", "not done"]);
        if !section.has("result") {
            section.missing("result", "result = \"not done\"");
        }
        let check = Self {
            item: section.required_text("item", "item = \"Gloves: no cracks\""),
            result: match result.as_deref() {
                Some("ok") => CheckResult::Ok,
                Some("not ok") => CheckResult::NotOk,
                _ => CheckResult::NotDone,
            },
            note: section.text("note"),
        };
        section.finish();
        check
    }
}
