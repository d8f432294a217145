//! What to do next after a verdict: how much longer to run, or what to improve.

use tightfit_fit::{Estimate, Kind};
use tightfit_quantity::display_number;

use crate::catalogue::{Method, Sign, result_kind};
use crate::method::is_determined;
use crate::plan::{Limit, Rule};

/// Quantile of the normal distribution at 1 − risk.
fn one_sided_factor(risk: f64) -> f64 {
    tightfit_fit::uncertainty::Distribution::normal(0.0, 1.0).quantile(1.0 - risk)
}

/// What an expanded uncertainty is a multiple of.
const COVERAGE_FACTOR: f64 = 2.0;
/// Allowance for a leak that turns out nearer to the limit than it looks now.
const ALLOWANCE: f64 = 1.1;
/// Beyond so many times the length of the test nobody should be told to run on.
const LONGEST: f64 = 20.0;

/// Advice where the limit is not met.
pub(crate) fn fail(limit: &Limit, words: &str, method: &str) -> String {
    if method == Method::VacuumHold.name() {
        "Look for the leak: seals, valves, feed-throughs and welds of the vessel; then repeat the hold. If \
         walls give off the rest, keep it under vacuum longer before."
            .to_owned()
    } else if limit.quantity.starts_with("hourly_leak_rate") || limit.quantity.starts_with("leak_") {
        "Look for the leak: gloves and cuffs, window seals, ports, antechamber door, valves; then repeat the test. \
         A series with different boundaries tells where it is."
            .to_owned()
    } else if limit.quantity.ends_with("_ingress") && method == Method::PpmRiseSeries.name() {
        "Begin with what lets the most in: the parts through leaks and through gloves stand with the test. Mend, and \
         repeat the run that shows it."
            .to_owned()
    } else if limit.quantity.ends_with("_ingress") {
        "Begin with what lets the most in: a series of runs at several pressures (method ppm-rise-series) tells leak \
         from gloves. Look at gloves and cuffs, seals, ports and the antechamber door, mend, and repeat the test."
            .to_owned()
    } else {
        format!("The {words} is outside its limit: mend the cause and repeat the test.")
    }
}

/// Advice where a quantity that cannot be negative comes out so.
pub(crate) fn negative(words: &str, method: &str) -> String {
    let by_pressure = [Method::PressureChange, Method::PressureChangeSeries, Method::VacuumHold, Method::MakeUp];
    let why = if method.starts_with("ppm-rise") {
        "no leak does that. Look for what does: the purifier at work, a cylinder that still feeds gas, an analyser that drifts"
    } else if by_pressure.iter().any(|own| own.name() == method) {
        "no leak does that. Look for what does: gas still being fed in, a thermometer that does not follow the gas, a gauge or \
         barometer that drifts"
    } else {
        "which it cannot be. Look for what does that: an analyser whose zero is off, a wrong unit or column"
    };
    format!("The {words} comes out below zero for sure, and {why}; then repeat the test.")
}

/// Advice where the data do not decide. `bound` and `estimate` are in the unit of the result; the evaluated window lasted
/// `window_s`.
///
/// While noise dominates, its share falls at least as the inverse of time; what the instruments contribute does not fall
/// at all.
pub(crate) fn undecided(limit: &Limit, words: &str, bound: f64, estimate: &Estimate, window_s: f64) -> String {
    if !is_determined(estimate) {
        return format!("These data do not determine the {words}: see the notes of the test.");
    }
    let largest = estimate.budget.first().map_or("the readings", |line| line.source.as_str());
    let limit_text = limit.bound.quantity().text();
    if estimate.kind != Kind::Estimate {
        let of_content = result_kind(&limit.quantity).is_some_and(|kind| kind.unit.starts_with("ppm"));
        let what = match estimate.kind {
            Kind::LowerBound if of_content => {
                "take an analyser of a larger range, or log more often, as the notes of the test have it".to_owned()
            }
            Kind::LowerBound => "record on until the value itself is reached".to_owned(),
            _ if of_content && is_hidden(estimate) => measure("reporting limit").to_owned(),
            _ => format!("run longer, or {}", measure(largest)),
        };
        return format!("The data give only a bound, and it does not decide the limit of {limit_text}: {what}.");
    }
    let of_error = result_kind(&limit.quantity).is_some_and(|kind| kind.sign() == Sign::OfError);
    let margin = (bound - if of_error { estimate.value.abs() } else { estimate.value }).abs();
    let allowed = match limit.rule {
        Rule::Simple { max_uncertainty } => max_uncertainty * bound.abs() / COVERAGE_FACTOR,
        Rule::GuardedAcceptance { risk } | Rule::GuardedRejection { risk } => margin / one_sided_factor(risk),
    };
    let noise = estimate.budget.iter().filter(|line| falls_with_time(&line.source));
    let noise = noise.map(|line| line.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
    let fixed = (estimate.standard_uncertainty.powi(2) - noise * noise).max(0.0).sqrt();
    let too_near = !matches!(limit.rule, Rule::Simple { .. }) && margin < 0.2 * estimate.standard_uncertainty;
    if too_near || allowed <= fixed {
        let why = if matches!(limit.rule, Rule::Simple { .. }) {
            format!(
                "The uncertainty is too large for the simple rule at a limit of {limit_text}, and more time will not lower it enough"
            )
        } else {
            format!("Too near the limit of {limit_text} for these instruments")
        };
        return format!(
            "{why}. The largest contribution is {largest}: {}, or lower the value itself.",
            measure(largest)
        );
    }
    let total_s = window_s * (noise / (allowed * allowed - fixed * fixed).sqrt()).max(1.0) * ALLOWANCE;
    if total_s > LONGEST * window_s {
        return format!(
            "Running longer alone will hardly decide. The largest contribution is {largest}: {}.",
            measure(largest)
        );
    }
    format!(
        "Run longer: about {} in all should decide, if the value is what it looks like now. What shortens it: {} (largest contribution: {largest}).",
        duration_text(total_s),
        measure(largest)
    )
}

/// Whether readings below the reporting limit are what makes a result a bound.
fn is_hidden(estimate: &Estimate) -> bool {
    estimate.budget.is_empty() || estimate.budget.iter().any(|line| line.source.contains("reporting limit"))
}

/// Words of contributions that fall as a test goes on.
const FALLING: [&str; 8] =
    ["noise", "wander", "temperature", "fit", "residual", "scatter", "readings", "ingress of the runs"];

fn falls_with_time(source: &str) -> bool {
    let source = source.to_lowercase();
    FALLING.iter().any(|word| source.contains(word)) && !source.contains("reporting limit")
}

/// What lowers a contribution, by what its name speaks of; the first that fits.
const MEASURES: [(&[&str], &str); 11] = [
    (&["reporting limit"], "take an analyser that reports lower contents, or run until the readings are numbers"),
    (
        &["models of outgassing"],
        "close the purifier's valves tightly, take reactive contents out, and wait longer before the start",
    ),
    (&["clock"], "set the loggers' clocks before the test, and state clock_offset"),
    (&["compliance", "gloves and walls"], "close the ports rigidly, make a stiffness check or open a known leak"),
    (&["thermometer", "wander", "temperature"], "keep the gas mixed, add a thermometer or a reference vessel"),
    (&["barometer", "room pressure", "room’s pressure"], "log a barometer of smaller uncertainty"),
    (
        &["gauge zero"],
        "take a zero check before and after, or test at a larger pressure difference within the rated pressure",
    ),
    (
        &["gauge"],
        "take a gauge of smaller uncertainty, or test at a larger pressure difference within the rated pressure",
    ),
    (&["leak law", "reference pressure", "exponent"], "test at the reference pressure itself"),
    (&["volume"], "measure the volume of the enclosure better"),
    (&["analyser"], "check the analyser against reference gas and state its response"),
];

fn measure(source: &str) -> &'static str {
    let source = source.to_lowercase();
    let fits = |words: &&[&str]| words.iter().any(|word| source.contains(word));
    MEASURES.iter().find(|(words, _)| fits(words)).map_or("take instruments of smaller uncertainty", |(_, text)| text)
}

/// `45 min`, `3.5 h`.
pub(crate) fn duration_text(seconds: f64) -> String {
    if seconds < 5400.0 {
        format!("{:.0} min", (seconds / 60.0).ceil())
    } else {
        format!("{} h", display_number(seconds / 3600.0, if seconds < 360_000.0 { 2 } else { 3 }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Bound;
    use tightfit_fit::BudgetLine;
    use tightfit_fit::uncertainty::Distribution;
    use tightfit_quantity::Quantity;

    fn limit(rule: Rule) -> Limit {
        Limit {
            quantity: "hourly_leak_rate".to_owned(),
            test: None,
            bound: Bound::Max(Quantity::parse("5e-4 1/h").unwrap()),
            rule,
            source: None,
        }
    }

    fn estimate(value: f64, lines: &[(&str, f64)]) -> Estimate {
        let budget: Vec<BudgetLine> = lines.iter().map(|(source, u)| BudgetLine::new(*source, *u)).collect();
        let u = lines.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
        Estimate::from_distribution(Distribution::normal(value, u), budget)
    }

    const GUARDED: Rule = Rule::GuardedAcceptance { risk: 0.05 };

    #[test]
    fn where_noise_dominates_the_advice_is_a_time_that_would_decide() {
        // A margin of 1e-4 needs u = 1e-4/1.645; noise of 1.2e-4 falls there in 1.97 times the hour, and a tenth on top.
        let text = undecided(&limit(GUARDED), "", 5e-4, &estimate(4e-4, &[("noise and wander", 1.2e-4)]), 3600.0);
        assert!(text.starts_with("Run longer: about 2.2 h in all"), "{text}");
    }

    #[test]
    fn a_smaller_risk_asks_for_more_time() {
        let strict = limit(Rule::GuardedAcceptance { risk: 0.01 });
        let text = undecided(&strict, "", 5e-4, &estimate(4e-4, &[("noise and wander", 1.2e-4)]), 3600.0);
        assert!(text.starts_with("Run longer: about 3.1 h in all"), "{text}");
    }

    #[test]
    fn where_instruments_dominate_the_advice_names_the_one_to_improve() {
        let text = undecided(&limit(GUARDED), "", 5e-4, &estimate(4e-4, &[("gauge zero", 1e-4)]), 3600.0);
        assert!(text.contains("Too near the limit of 5e-4 1/h") && text.contains("zero check"), "{text}");
        let text =
            undecided(&limit(GUARDED), "", 5e-4, &estimate(4e-4, &[("compliance of gloves and walls", 2e-4)]), 3600.0);
        assert!(text.contains("stiffness check"), "{text}");
    }

    #[test]
    fn the_simple_rule_is_advised_by_its_own_bound_on_the_uncertainty() {
        let simple = limit(Rule::Simple { max_uncertainty: 1.0 / 3.0 });
        // u must be at most 8.3e-5: noise of 1.2e-4 gets there in 1.44 times the hour, and a tenth on top.
        let text = undecided(&simple, "", 5e-4, &estimate(1e-5, &[("noise", 1.2e-4)]), 3600.0);
        assert!(text.starts_with("Run longer: about 1.6 h"), "{text}");
        let text = undecided(&simple, "", 5e-4, &estimate(1e-5, &[("gauge scale", 1.25e-4)]), 3600.0);
        assert!(text.contains("too large for the simple rule"), "{text}");
    }
}
