//! The four leak-tightness classes of ISO 10648-2:1994, and which of them a test shows.
//!
//! Figures from memory of the standard, confirmed by public summaries of it; compare with a copy before quoting them. The
//! standard tests at −250 Pa (normal use) or −1000 Pa (acceptance); a class is assigned at the reference pressure that
//! the plan states, and says it.

use crate::method::{Outcome, is_determined};
use crate::plan::Test;
use crate::result::{ClassLine, TightnessClass};
use crate::text::percent;

/// A class of the standard; its limit as plans name it stands in [`crate::limit_set`].
#[derive(Debug, Clone, Copy, PartialEq)]
struct Class {
    number: u8,
    /// Limit of the hourly leak rate, 1/h.
    limit_per_h: f64,
}

/// All classes, tightest first.
const CLASSES: [Class; 4] = [
    Class { number: 1, limit_per_h: 5e-4 },
    Class { number: 2, limit_per_h: 2.5e-3 },
    Class { number: 3, limit_per_h: 1e-2 },
    Class { number: 4, limit_per_h: 1e-1 },
];

/// Pressure differences at which the standard tests: normal use, acceptance.
const PRESSURES_OF_THE_STANDARD: [&str; 2] = ["-250 Pa", "-1000 Pa"];

/// Conformance probability from which a class is assigned, and below whose complement it is excluded.
const SURE: f64 = 0.95;

/// The class that a valid test shows, where its leak rate stands at a pressure difference that the plan states.
pub(crate) fn assign(test: &Test, outcome: &Outcome) -> Option<TightnessClass> {
    test.reference_pressure.as_ref()?;
    let (_, rate) = outcome.estimates.iter().find(|(name, _)| *name == "hourly_leak_rate")?;
    if !outcome.result.valid || !is_determined(rate) || rate.is_surely_negative() {
        return None;
    }
    let at = outcome.result.results.get("hourly_leak_rate")?.at.clone()?;
    let probabilities = CLASSES.map(|class| rate.probability_at_most(class.limit_per_h).clamp(0.0, 1.0));
    Some(from_probabilities(at, probabilities))
}

fn from_probabilities(at: String, probabilities: [f64; 4]) -> TightnessClass {
    let lines: Vec<ClassLine> = CLASSES
        .iter()
        .zip(probabilities)
        .map(|(class, conformance_probability)| ClassLine {
            class: class.number,
            limit_per_h: class.limit_per_h,
            conformance_probability,
        })
        .collect();
    let assigned = lines.iter().find(|line| line.conformance_probability >= SURE);
    let elsewhere = if PRESSURES_OF_THE_STANDARD.contains(&at.as_str()) {
        ""
    } else {
        "; the standard tests at -250 Pa or -1000 Pa"
    };
    let words = words(assigned, &lines) + elsewhere;
    TightnessClass { assigned: assigned.map(|line| line.class), words, at, classes: lines }
}

fn words(assigned: Option<&ClassLine>, lines: &[ClassLine]) -> String {
    let first = match assigned {
        Some(line) => format!("class {} ({})", line.class, percent(line.conformance_probability)),
        None => "no class shown".to_owned(),
    };
    let tighter = lines.iter().take_while(|line| assigned.is_none_or(|assigned| line.class < assigned.class));
    let open = tighter.filter(|line| line.conformance_probability > 1.0 - SURE);
    open.fold(first, |text, line| {
        format!("{text}; class {} undecided ({})", line.class, percent(line.conformance_probability))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limit_set::LIMIT_SETS;

    #[test]
    fn the_limit_in_text_and_in_numbers_is_the_same() {
        for class in CLASSES {
            let name = format!("ISO 10648-2 class {}", class.number);
            let set = LIMIT_SETS.iter().find(|set| set.name == name).unwrap();
            let text = tightfit_quantity::Quantity::parse(set.max).unwrap().si() * 3600.0;
            assert!((text / class.limit_per_h - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn the_tightest_class_that_is_sure_is_assigned_and_open_ones_are_named() {
        let class = from_probabilities("-1000 Pa".to_owned(), [0.4, 0.96, 1.0, 1.0]);
        assert_eq!(class.assigned, Some(2));
        assert_eq!(class.words, "class 2 (96.0 %); class 1 undecided (40.0 %)");
        let none = from_probabilities("-1000 Pa".to_owned(), [0.0, 0.0, 0.01, 0.5]);
        assert_eq!((none.assigned, none.words.as_str()), (None, "no class shown; class 4 undecided (50.0 %)"));
        let excluded = from_probabilities("-1000 Pa".to_owned(), [0.0, 1.0, 1.0, 1.0]);
        assert_eq!(excluded.words, "class 2 (> 99.99 %)");
    }
}
