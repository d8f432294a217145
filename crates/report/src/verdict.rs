//! From an estimate and a limit to a verdict: conformance probability as in JCGM 106:2012, zones as in ISO 14253-1.

use tightfit_fit::decision::{Decision, Found};
use tightfit_fit::{Estimate, Kind};
use tightfit_quantity::Unit;

use crate::advice;
use crate::catalogue::{ResultKind, Sign, result_kind};
use crate::method::is_determined;
use crate::plan::{Bound, Limit, Plan};
use crate::result::{Overall, Verdict, VerdictResult};

/// A test, or a run of a series, as verdicts see it.
#[derive(Clone, Copy)]
pub(crate) struct Judged<'a> {
    pub(crate) id: &'a str,
    pub(crate) run: Option<&'a str>,
    /// Name of its method.
    pub(crate) method: &'a str,
    /// Why the test may not be judged.
    pub(crate) problems: &'a [String],
    pub(crate) estimates: &'a [(&'static str, Estimate)],
    /// Length of the evaluated window, s.
    pub(crate) window_s: f64,
}

/// The verdicts on all limits of a plan, in the order of the limits; a limit that holds for several tests gives one each.
pub(crate) fn judge(plan: &Plan, tests: &[Judged<'_>]) -> Vec<VerdictResult> {
    let mut verdicts = Vec::new();
    for limit in &plan.limits {
        let concerned = tests.iter().filter(|test| limit.test.as_deref().is_none_or(|id| id == test.id));
        let found: Vec<_> = concerned
            .filter_map(|test| {
                let estimate = test.estimates.iter().find(|(name, _)| *name == limit.quantity)?;
                Some(judge_one(limit, test, &estimate.1))
            })
            .collect();
        if found.is_empty() {
            verdicts.push(not_found(limit, &unevaluated(plan, tests)));
        }
        verdicts.extend(found);
    }
    verdicts
}

/// The verdict on the whole.
pub(crate) fn overall(plan: &Plan, verdicts: &[VerdictResult], any_input_error: bool) -> Overall {
    use crate::plan::CheckResult;
    let any = |wanted| verdicts.iter().any(|verdict| verdict.verdict == wanted);
    let any_check = |wanted| plan.checks.iter().any(|check| check.result == wanted);
    if any_input_error {
        Overall::InputError
    } else if any(Verdict::Fail) || any_check(CheckResult::NotOk) {
        Overall::Fail
    } else if any(Verdict::NotValid) {
        Overall::NotValid
    } else if any(Verdict::Undecided) || any_check(CheckResult::NotDone) {
        Overall::Undecided
    } else if verdicts.is_empty() {
        Overall::NoLimits
    } else {
        Overall::Pass
    }
}

fn judge_one(limit: &Limit, test: &Judged<'_>, estimate: &Estimate) -> VerdictResult {
    let bound = bound_in_result_unit(limit);
    let conformance = conformance_probability(limit, bound, estimate);
    let impossible = is_impossible(limit, estimate);
    let verdict = if test.problems.is_empty() && !impossible {
        decide(limit, bound, estimate, conformance)
    } else {
        Verdict::NotValid
    };
    let advice = match verdict {
        Verdict::NotValid if test.problems.is_empty() => advice::negative(words(limit), test.method),
        Verdict::NotValid => format!("Repeat the test: {}.", test.problems.join("; ")),
        Verdict::Pass => "Nothing further for this limit.".to_owned(),
        Verdict::Fail => advice::fail(limit, words(limit), test.method),
        Verdict::Undecided => advice::undecided(limit, words(limit), bound, estimate, test.window_s),
    };
    // Undecided for want of information: the probability would be that of what is known beforehand alone.
    let by_readings = verdict != Verdict::Undecided || conformance > UNLIKELY;
    let told = (verdict == Verdict::Fail || can_show(&limit.bound, estimate.kind).met) && by_readings && !impossible;
    let conformance_probability = (is_determined(estimate) && told).then_some(conformance);
    VerdictResult {
        verdict,
        conformance_probability,
        advice,
        run: test.run.map(str::to_owned),
        ..blank(limit, test.id)
    }
}

fn blank(limit: &Limit, test: &str) -> VerdictResult {
    VerdictResult {
        quantity: limit.quantity.clone(),
        test: test.to_owned(),
        run: None,
        limit: limit.bound.to_string(),
        rule: limit.rule.name().to_owned(),
        source: limit.source.clone(),
        verdict: Verdict::NotValid,
        conformance_probability: None,
        advice: String::new(),
    }
}

/// Tests of the plan that gave nothing at all.
fn unevaluated<'p>(plan: &'p Plan, tests: &[Judged<'_>]) -> Vec<&'p str> {
    let ids = plan.tests.iter().map(|test| test.id.as_str());
    ids.filter(|id| tests.iter().all(|test| test.id != *id)).collect()
}

fn not_found(limit: &Limit, unevaluated: &[&str]) -> VerdictResult {
    let test = limit.test.clone().unwrap_or_default();
    let words = words(limit);
    let advice = if !test.is_empty() {
        format!("The test \"{test}\" gave no {words}: see its problems.")
    } else if unevaluated.is_empty() {
        format!("No test of the plan gave {words}: add one, or remove the limit.")
    } else {
        format!("No test gave {words}, and {} could not be evaluated: see why above.", unevaluated.join(", "))
    };
    VerdictResult { advice, ..blank(limit, &test) }
}

/// Whether a quantity that cannot be negative comes out below zero for sure: then something else was measured.
fn is_impossible(limit: &Limit, estimate: &Estimate) -> bool {
    sign(limit) == Sign::NotNegative && is_determined(estimate) && estimate.is_surely_negative()
}

fn sign(limit: &Limit) -> Sign {
    result_kind(&limit.quantity).map_or(Sign::NotNegative, ResultKind::sign)
}

/// A conformance probability below this is that of a failure, where the readings tell it.
const UNLIKELY: f64 = 0.05;

fn decide(limit: &Limit, bound: f64, estimate: &Estimate, conformance: f64) -> Verdict {
    if !is_determined(estimate) || !conformance.is_finite() {
        return Verdict::Undecided;
    }
    let decision = limit.rule.decide(&Found {
        conformance_probability: conformance,
        probability_by_readings: match limit.bound {
            _ if sign(limit) == Sign::OfError => conformance,
            Bound::Max(_) => estimate.distribution.cdf(bound),
            Bound::Min(_) => 1.0 - estimate.distribution.cdf(bound),
        },
        is_within: match limit.bound {
            Bound::Max(_) if sign(limit) == Sign::OfError => estimate.value.abs() <= bound,
            Bound::Max(_) => estimate.value <= bound,
            Bound::Min(_) => estimate.value >= bound,
        },
        expanded_uncertainty: estimate.expanded_uncertainty(),
        limit: bound,
    });
    let shown = can_show(&limit.bound, estimate.kind);
    match decision {
        Decision::Pass if shown.met => Verdict::Pass,
        Decision::Fail if shown.exceeded => Verdict::Fail,
        Decision::Pass | Decision::Fail | Decision::Undecided => Verdict::Undecided,
    }
}

/// What a result of some kind can show of a limit at all.
struct CanShow {
    met: bool,
    exceeded: bool,
}

/// "At most so much" shows that a maximum is met or a minimum is not, and "at least so much" the opposite.
fn can_show(limit: &Bound, kind: Kind) -> CanShow {
    let (met, exceeded) = match (kind, limit) {
        (Kind::Estimate, _) => (true, true),
        (Kind::UpperBound, Bound::Max(_)) | (Kind::LowerBound, Bound::Min(_)) => (true, false),
        (Kind::UpperBound, Bound::Min(_)) | (Kind::LowerBound, Bound::Max(_)) => (false, true),
        (Kind::NotDetermined, _) => (false, false),
    };
    CanShow { met, exceeded }
}

fn conformance_probability(limit: &Limit, bound: f64, estimate: &Estimate) -> f64 {
    let by_readings = |at: f64| estimate.distribution.cdf(at);
    let at_most = match (sign(limit), &limit.bound) {
        (Sign::NotNegative, _) => estimate.probability_at_most(bound),
        (Sign::OfError, Bound::Max(_)) => by_readings(bound.abs()) - by_readings(-bound.abs()),
        (Sign::Either | Sign::OfError, _) => by_readings(bound),
    };
    let at_most = at_most.clamp(0.0, 1.0);
    // A value without spread on the bound itself keeps it from either side: all of the time within is enough for 100 %.
    if estimate.standard_uncertainty <= 0.0 && estimate.value.to_bits() == bound.to_bits() {
        return 1.0;
    }
    match limit.bound {
        Bound::Max(_) => at_most,
        Bound::Min(_) => 1.0 - at_most,
    }
}

/// The limit's bound in the unit of the result.
fn bound_in_result_unit(limit: &Limit) -> f64 {
    let si = limit.bound.quantity().si();
    result_unit(limit).map_or(si, |unit| unit.from_si(si))
}

fn result_unit(limit: &Limit) -> Option<Unit> {
    Unit::parse(result_kind(&limit.quantity)?.unit).ok()
}

fn words(limit: &Limit) -> &str {
    result_kind(&limit.quantity).map_or(limit.quantity.as_str(), |kind: &ResultKind| kind.words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Rule;
    use tightfit_fit::uncertainty::Distribution;
    use tightfit_quantity::Quantity;

    fn verdict(kind: Kind, bound: &Bound) -> (Verdict, Option<f64>) {
        let estimate = Estimate { kind, ..normal(10.0, 0.1) };
        judged("oxygen_max", bound, &estimate)
    }

    fn normal(value: f64, standard_deviation: f64) -> Estimate {
        Estimate::from_distribution(Distribution::normal(value, standard_deviation), Vec::new())
    }

    fn judged(quantity: &str, bound: &Bound, estimate: &Estimate) -> (Verdict, Option<f64>) {
        let limit = Limit {
            quantity: quantity.into(),
            bound: bound.clone(),
            rule: Rule::GuardedAcceptance { risk: 0.05 },
            test: None,
            source: None,
        };
        let test =
            Judged { id: "test", run: None, method: "endurance", problems: &[], estimates: &[], window_s: 3600.0 };
        let found = judge_one(&limit, &test, estimate);
        (found.verdict, found.conformance_probability)
    }

    #[test]
    fn a_bound_shows_no_more_than_it_can() {
        use Verdict::{Fail, Pass, Undecided};
        let of = |text: &str| Quantity::parse(text).unwrap();
        for (kind, bound, expected) in [
            (Kind::Estimate, Bound::Max(of("20 ppm")), Pass),
            (Kind::Estimate, Bound::Max(of("5 ppm")), Fail),
            (Kind::Estimate, Bound::Min(of("5 ppm")), Pass),
            (Kind::Estimate, Bound::Min(of("20 ppm")), Fail),
            (Kind::UpperBound, Bound::Max(of("20 ppm")), Pass),
            (Kind::UpperBound, Bound::Max(of("5 ppm")), Undecided),
            (Kind::UpperBound, Bound::Min(of("5 ppm")), Undecided),
            (Kind::UpperBound, Bound::Min(of("20 ppm")), Fail),
            (Kind::LowerBound, Bound::Max(of("20 ppm")), Undecided),
            (Kind::LowerBound, Bound::Max(of("5 ppm")), Fail),
            (Kind::LowerBound, Bound::Min(of("5 ppm")), Pass),
            (Kind::LowerBound, Bound::Min(of("20 ppm")), Undecided),
            (Kind::NotDetermined, Bound::Max(of("20 ppm")), Undecided),
        ] {
            let (found, probability) = verdict(kind, &bound);
            assert_eq!(found, expected, "{kind:?} {bound:?}");
            let misleading = kind != Kind::Estimate && expected == Undecided && probability.is_some_and(|p| p > 0.5);
            assert!(!misleading, "{kind:?} {bound:?}: {probability:?}");
        }
    }

    #[test]
    fn a_leak_below_zero_for_sure_is_no_pass() {
        let limit = Bound::Max(Quantity::parse("5e-4 1/h").unwrap());
        let rate = |value, u| judged("hourly_leak_rate", &limit, &normal(value, u));
        assert_eq!(rate(-1e-4, 1e-4).0, Verdict::Pass);
        assert_eq!(rate(-1e-3, 1e-4), (Verdict::NotValid, None));
        // What tells nothing shows no failure either, however unlikely a small leak is beforehand.
        assert_eq!(rate(-1e-3, 16e-3), (Verdict::Undecided, None));
        assert_eq!(rate(2e-3, 1e-4).0, Verdict::Fail);
    }

    #[test]
    fn a_limit_on_an_error_holds_for_both_signs() {
        let limit = Bound::Max(Quantity::parse("0.05 ppm").unwrap());
        let error = |value| judged("zero_error", &limit, &normal(value, 0.005)).0;
        assert_eq!(
            [-0.134, -0.01, 0.01, 0.134].map(error),
            [Verdict::Fail, Verdict::Pass, Verdict::Pass, Verdict::Fail]
        );
    }

    #[test]
    fn a_pressure_below_the_rooms_is_judged_by_its_own_sign() {
        let least = Bound::Min(Quantity::parse("-1500 Pa").unwrap());
        let lowest = |value| judged("gauge_pressure_min", &least, &normal(value, 10.0)).0;
        assert_eq!([-520.0, -1800.0, 300.0].map(lowest), [Verdict::Pass, Verdict::Fail, Verdict::Pass]);
        let most = Bound::Max(Quantity::parse("-100 Pa").unwrap());
        let highest = |value| judged("gauge_pressure_max", &most, &normal(value, 10.0)).0;
        assert_eq!([-400.0, -20.0].map(highest), [Verdict::Pass, Verdict::Fail]);
    }
}
