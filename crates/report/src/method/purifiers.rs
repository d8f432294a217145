//! Several purifiers of one enclosure: each alone against all together.

use tightfit_fit::{Estimate, Kind};
use tightfit_quantity::display_number;

use super::{Outcome, TestError};
use crate::catalogue::Method;
use crate::plan::{Plan, Test};

/// A clean-up with the purifiers that ran, and the effective flow found, m³/h.
struct Found<'a> {
    purifiers: &'a [String],
    flow: Estimate,
}

/// Adds to each clean-up with several purifiers how it compares with theirs alone, where the plan has those.
pub(crate) fn compare(plan: &Plan, outcomes: &mut [Result<Outcome, TestError>]) {
    let found: Vec<Option<Found<'_>>> =
        plan.tests.iter().zip(outcomes.iter()).map(|(test, outcome)| found(test, outcome.as_ref().ok()?)).collect();
    for (together, outcome) in found.iter().zip(outcomes) {
        if let (Some(together), Ok(outcome)) = (together, outcome) {
            outcome.result.notes.extend(note(together, &found));
        }
    }
}

fn found<'a>(test: &'a Test, outcome: &Outcome) -> Option<Found<'a>> {
    let is_usable = test.method == Method::CleanUp && outcome.result.valid && !test.keys.purifiers.is_empty();
    let (_, flow) = outcome.estimates.iter().find(|(name, _)| *name == "cleanup_flow").filter(|_| is_usable)?;
    (flow.kind == Kind::Estimate).then(|| Found { purifiers: &test.keys.purifiers, flow: flow.clone() })
}

fn note(together: &Found<'_>, all: &[Option<Found<'_>>]) -> Option<String> {
    if together.purifiers.len() < 2 {
        return None;
    }
    let alone = |name: &String| all.iter().flatten().find(|found| found.purifiers == std::slice::from_ref(name));
    let alone: Vec<&Found<'_>> = together.purifiers.iter().map(alone).collect::<Option<_>>()?;
    let sum: f64 = alone.iter().map(|found| found.flow.value).sum();
    let variance: f64 = alone.iter().map(|found| found.flow.standard_uncertainty.powi(2)).sum();
    let difference = together.flow.value - sum;
    let expanded = 2.0 * (variance + together.flow.standard_uncertainty.powi(2)).sqrt();
    let words = match difference {
        d if d < -expanded => "less than alone: they share a fan, a pipe or a valve, or hinder each other",
        d if d > expanded => "more than alone: look whether the tests alone were made as stated",
        _ => "as much as alone",
    };
    let [sum, difference, expanded, found] =
        [sum, difference, expanded, together.flow.value].map(|number| display_number(number, 3));
    Some(format!(
        "{} alone clear {sum} m3/h in sum, together {found} m3/h: a difference of {difference} ± {expanded} m3/h (95 %), \
         {words}",
        together.purifiers.join(" and ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tightfit_fit::uncertainty::Distribution;

    fn cleared(purifiers: &[String], flow: f64) -> Found<'_> {
        Found { purifiers, flow: Estimate::from_distribution(Distribution::normal(flow, 1.0), Vec::new()) }
    }

    #[test]
    fn purifiers_that_hinder_each_other_are_told_and_those_that_do_not_are_not() {
        let names = ["P1", "P2"].map(str::to_owned);
        let all = [Some(cleared(&names[..1], 40.0)), Some(cleared(&names[1..], 38.0))];
        let hindered = cleared(&names, 60.0);
        let text = note(&hindered, &all).unwrap();
        assert!(text.contains("P1 and P2 alone clear 78.0 m3/h") && text.contains("less than alone"), "{text}");
        let sound = cleared(&names, 77.0);
        assert!(note(&sound, &all).unwrap().ends_with("as much as alone"));
        assert_eq!(note(&cleared(&names[..1], 40.0), &all), None);
        assert_eq!(note(&sound, &all[..1]), None, "one alone is missing");
    }
}
