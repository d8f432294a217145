//! What a customer reads in one minute: what was tested, whether it passed, what to do next.

use maud::{Markup, html};
use tightfit_quantity::display_number;

use super::by_hand;
use super::html::verdict_badge;
use super::number::{self, Shown, capitalized, name, probability, prose, typeset};
use crate::Qualified;
use crate::catalogue::{Method, result_kind};
use crate::plan::{CheckResult, Glove, Instrument, Plan, Rule};
use crate::plot::Clock;
use crate::result::{Overall, TightnessClass, Verdict, VerdictResult};

pub(super) fn render(qualified: &Qualified) -> Markup {
    html! {
        section.sheet.first aria-labelledby="overview" {
            header.top {
                div {
                    p.kind { "Tightness dossier" }
                    h1 #overview { "Enclosure " (name(&qualified.result.enclosure)) }
                    p.date { (dates(qualified)) }
                }
                div.overall {
                    (verdict_badge(qualified.result.overall.words()))
                    p { (overall_sentence(qualified)) }
                }
            }
            (facts(qualified))
            (criteria(qualified))
            (next_steps(qualified))
            (cautions(&qualified.plan))
            (signatures(qualified))
        }
        section.sheet aria-labelledby="handing-over" {
            header { p.kind { "Handing over" } h2 #handing-over { "Checks, changes and ports" } }
            (checks(qualified))
            (after_the_test(qualified))
        }
    }
}

/// The days on which tests were made.
fn dates(qualified: &Qualified) -> String {
    let zone = qualified.plan.room.time_zone.as_deref();
    let mut days: Vec<String> = Vec::new();
    for drawing in qualified.outcomes.iter().flatten().flat_map(|outcome| &outcome.drawings) {
        let clock = Clock::new(drawing.origin_s, zone);
        for day in drawing.evaluation.window_s().into_iter().filter_map(|moment| clock.day(moment)) {
            if !days.contains(&day) {
                days.push(day);
            }
        }
    }
    match days.as_slice() {
        [] => "Date of test: not in the logs; to be filled in ____________".to_owned(),
        [day] => format!("Tested on {day}"),
        [first, .., last] => format!("Tested from {first} to {last}"),
    }
}

fn overall_sentence(qualified: &Qualified) -> String {
    let verdicts = &qualified.result.verdicts;
    let found = |wanted| verdicts.iter().filter(|verdict| verdict.verdict == wanted).count();
    let limits = |wanted, one: &str, several: &str| match (found(wanted), verdicts.len()) {
        (_, 1) => format!("The limit {one}."),
        (1, all) => format!("1 of {all} limits {one}."),
        (found, all) => format!("{found} of {all} limits {several}."),
    };
    match qualified.result.overall {
        Overall::Pass if verdicts.is_empty() => "All checks were found in order.".to_owned(),
        Overall::Pass if verdicts.len() == 1 => "The limit is met.".to_owned(),
        Overall::Pass => format!("All {} limits are met.", verdicts.len()),
        Overall::Fail if found(Verdict::Fail) == 0 => "A check by eye was not in order.".to_owned(),
        Overall::Fail => limits(Verdict::Fail, "is not met", "are not met"),
        Overall::Undecided if found(Verdict::Undecided) == 0 => "A check by eye was not done.".to_owned(),
        Overall::Undecided => limits(Verdict::Undecided, "is not decided by the data", "are not decided by the data"),
        Overall::NotValid => {
            limits(Verdict::NotValid, "cannot be judged from these data", "cannot be judged from these data")
        }
        Overall::InputError => "The files of a test could not be used.".to_owned(),
        Overall::NoLimits => "The plan states no limits: results without a verdict.".to_owned(),
    }
}

fn facts(qualified: &Qualified) -> Markup {
    let plan = &qualified.plan;
    let enclosure = &plan.enclosure;
    let volume = enclosure.volume.as_ref();
    html! {
        dl.facts {
            div.wide { dt { "Configuration as tested" } dd { (enclosure.configuration.as_deref().unwrap_or("not stated in the plan")) } }
            div { dt { "Volume" } dd {
                @match volume {
                    Some(volume) => {
                        (number::quantity(&volume.quantity))
                        @if let Some(u) = volume.standard_uncertainty.filter(|u| *u > 0.0) {
                            " (± " (number::plain(200.0 * u / volume.si, 2)) " %, k = 2)"
                        }
                    }
                    None => { "not stated" }
                }
            } }
            div { dt { "Fill gas" } dd { (enclosure.gas.name()) } }
            div { dt { "Rated pressure" } dd {
                @match &enclosure.rated_pressure {
                    Some((low, high)) => { (number::quantity(low)) " to " (number::quantity(high)) " to the room" }
                    None => { "not stated" }
                }
            } }
            @if !enclosure.gloves.is_empty() {
                div { dt { "Gloves" } dd { @for glove in &enclosure.gloves { p { (glove_text(glove)) } } } }
            }
            @if !plan.checks.is_empty() {
                div { dt { "Checks by eye" } dd { (checks_text(qualified)) } }
            }
            @let by_hand = by_hand::by_hand(qualified);
            @if by_hand > 0 {
                div { dt { "Earlier attempts, windows set by hand" } dd { (by_hand) ", numbered under “How to repeat and check this”" } }
            }
            div { dt { "Procedure" } dd { (plan.qualification.procedure.as_deref().unwrap_or("not stated")) } }
        }
    }
}

fn checks_text(qualified: &Qualified) -> String {
    let checks = &qualified.plan.checks;
    let ok = checks.iter().filter(|check| check.result == CheckResult::Ok).count();
    if ok == checks.len() { format!("all {ok} in order") } else { format!("{ok} of {} in order", checks.len()) }
}

fn glove_text(glove: &Glove) -> String {
    let thickness = glove.thickness.as_ref().map(|thickness| format!(", {}", thickness.quantity.text()));
    format!("{} × {}{}", glove.count, glove.material, thickness.unwrap_or_default())
}

fn criteria(qualified: &Qualified) -> Markup {
    let verdicts = &qualified.result.verdicts;
    html! {
        h2 { "Criteria" }
        @if verdicts.is_empty() {
            p { "The plan states no limits. The results stand on the pages of the tests." }
        } @else {
            table.criteria {
                thead { tr {
                    th scope="col" { "Quantity" }
                    th scope="col" { "Result" }
                    th scope="col" { "Limit" }
                    th scope="col" { "Probability that the limit is met" }
                    th scope="col" { "Verdict" }
                } }
                tbody { @for verdict in verdicts { (criterion(qualified, verdict)) } }
            }
            @for (test, class) in classes(qualified) {
                p { strong { "Leak tightness by ISO 10648-2" } " at " (typeset(&class.at)) " (test “" (name(test)) "”): " (typeset(&class.words)) "." }
            }
            p.small {
                "Results are given ± expanded uncertainty: with 95 % probability the true value lies within. A leak rate holds only at \
                 the pressure difference to the room stated with it; positive means flow towards the room’s pressure."
            }
        }
    }
}

/// The classes that tests show, each with the test.
fn classes(qualified: &Qualified) -> impl Iterator<Item = (&str, &TightnessClass)> {
    let tests = &qualified.result.tests;
    tests.iter().filter_map(|test| Some((test.id.as_str(), test.tightness_class.as_ref()?)))
}

fn criterion(qualified: &Qualified, verdict: &VerdictResult) -> Markup {
    let test = qualified.result.tests.iter().find(|test| test.id == verdict.test);
    let result = qualified.result.judged_value(verdict);
    let (limit, bound) = number::limit(&verdict.limit);
    html! {
        tr {
            th scope="row" {
                (capitalized(words(&verdict.quantity)))
                @if !verdict.test.is_empty() { span.sub { "test “" (name(&verdict.test)) "”" } }
            }
            td {
                @match (result, &bound) {
                    (Some(result), Some(bound)) => { (Shown::in_unit_of(result, bound).with_uncertainty()) }
                    (Some(result), None) => { (Shown::own(result).with_uncertainty()) }
                    (None, _) => { "no result" }
                }
                @if let Some(at) = result.and_then(|result| result.at.as_deref()) {
                    span.sub {
                        "at " (typeset(at))
                        @if let Some(gas) = test.and_then(|test| test.gas.as_deref()) { ", flow of " (gas) }
                    }
                }
            }
            td {
                (limit)
                span.sub { (verdict.source.as_deref().unwrap_or("source not stated")) }
                span.sub { (rule_text(qualified, verdict)) }
            }
            td data-label="Probability that the limit is met: " { (verdict.conformance_probability.map_or("–".to_owned(), probability)) }
            td { (verdict_badge(verdict.verdict.words())) }
        }
    }
}

/// `rule: guarded acceptance, risk 5 %`.
fn rule_text(qualified: &Qualified, verdict: &VerdictResult) -> String {
    let limit = qualified.plan.limits.iter().find(|limit| {
        limit.quantity == verdict.quantity
            && limit.rule.name() == verdict.rule
            && limit.bound.to_string() == verdict.limit
    });
    let risk = limit.and_then(|limit| match limit.rule {
        Rule::GuardedAcceptance { risk } | Rule::GuardedRejection { risk } => Some(risk),
        Rule::Simple { .. } => None,
    });
    let risk = risk.map(|risk| format!(", risk {} %", display_number(100.0 * risk, 2).trim_end_matches(".0")));
    format!("rule: {}{}", verdict.rule.replace('-', " "), risk.unwrap_or_default())
}

/// What people call a result.
pub(super) fn words(name: &str) -> &str {
    result_kind(name).map_or(name, |kind| kind.words)
}

fn next_steps(qualified: &Qualified) -> Markup {
    let steps = steps(qualified);
    html! {
        div.next {
            h2 { "What to do next" }
            @if steps.is_empty() {
                p { "Nothing further. Keep this dossier with the enclosure, and test again when your procedure asks for it and after every service." }
            } @else {
                ol { @for step in steps { li { (prose(&step)) } } }
            }
        }
    }
}

fn steps(qualified: &Qualified) -> Vec<String> {
    let mut steps: Vec<String> = Vec::new();
    for (id, error) in qualified.errors() {
        steps.push(format!("Test “{id}” gave no result: {error}. What helps: {}.", error.hint()));
    }
    for verdict in qualified.result.verdicts.iter().filter(|verdict| verdict.verdict != Verdict::Pass) {
        let step = format!("{}: {}", capitalized(words(&verdict.quantity)), verdict.advice);
        if !steps.contains(&step) {
            steps.push(step);
        }
    }
    for check in &qualified.plan.checks {
        match check.result {
            CheckResult::Ok => {}
            CheckResult::NotOk => steps.push(format!("Put right and check again: {}", check.item)),
            CheckResult::NotDone => steps.push(format!("Do the check that was left out: {}", check.item)),
        }
    }
    // What has to be mended is tested again first, and the instruments stay for that.
    if !steps.is_empty() {
        return steps;
    }
    let leaving = leaving(qualified);
    let names: Vec<&str> = leaving.iter().map(|instrument| instrument.name.as_str()).collect();
    if let Some((last, others)) = names.split_last() {
        let ports = if others.is_empty() { "its port" } else { "their ports" };
        let and = if others.is_empty() { "" } else { " and " };
        steps.push(format!("Take off what does not stay on ({}{and}{last}) and close {ports}.", others.join(", ")));
    }
    if !leaving.is_empty() || !qualified.plan.enclosure.changed_after_test.is_empty() {
        steps.push(
            "Make a short confirming test of everything that was touched after the test: the list is under \
             “After the test”."
                .to_owned(),
        );
    }
    steps
}

/// Instruments that leave the enclosure after the test.
fn leaving(qualified: &Qualified) -> Vec<&Instrument> {
    qualified.plan.instruments.values().filter(|instrument| instrument.stays_on == Some(false)).collect()
}

fn checks(qualified: &Qualified) -> Markup {
    html! {
        @if !qualified.result.checks.is_empty() {
            h2 { "Checks by eye" }
            table {
                thead { tr { th scope="col" { "What was looked at" } th scope="col" { "Found" } th scope="col" { "Remark" } } }
                tbody {
                    @for check in &qualified.result.checks {
                        tr {
                            th scope="row" { (check.item) }
                            td { (verdict_badge(&check.result)) }
                            td { (check.note.as_deref().unwrap_or("")) }
                        }
                    }
                }
            }
        }
    }
}

fn after_the_test(qualified: &Qualified) -> Markup {
    let changes = &qualified.plan.enclosure.changed_after_test;
    let leaving = leaving(qualified);
    let lines: Vec<(String, &str)> = changes
        .iter()
        .map(|change| (change.clone(), "changed after the test"))
        .chain(leaving.iter().map(|instrument| (instrument_text(instrument), "comes off: port to be closed")))
        .collect();
    html! {
        h2 { "After the test" }
        @if lines.is_empty() {
            p { "Nothing is stated to have been changed after the test, and no instrument to have come off." }
        } @else {
            p {
                "The results above do not cover what was touched later. Each line asks for a short confirming test: bring the enclosure to the \
                 pressure difference of the test, let it settle, and either hold it for a short time or seek leaks at the joint that was touched."
            }
            table.to-fill {
                thead { tr {
                    th scope="col" { "What" }
                    th scope="col" { "Why" }
                    th scope="col" { "Confirmed by (method, result)" }
                    th scope="col" { "Date, initials" }
                } }
                tbody {
                    @for (what, why) in &lines {
                        tr { th scope="row" { (name(what)) } td { (why) } td { "\u{a0}" } td { "\u{a0}" } }
                    }
                }
            }
        }
    }
}

fn instrument_text(instrument: &Instrument) -> String {
    match &instrument.serial {
        Some(serial) => format!("{} (serial {serial})", instrument.name),
        None => instrument.name.clone(),
    }
}

fn cautions(plan: &Plan) -> Markup {
    let has = |methods: &[Method]| plan.tests.iter().any(|test| methods.contains(&test.method));
    html! {
        aside.cautions aria-label="Cautions" {
            h2 { "Cautions" }
            ul {
                li { strong { "Breathing air." } " Inert gas displaces it without warning. Work only with ventilation and an oxygen monitor; never lean into an open enclosure that held inert gas." }
                li { strong { "Pressure." } " Over-pressure and under-pressure can burst gloves and windows. Stay within the rated pressure and keep relief devices in service." }
                @if has(&[Method::Antechamber, Method::VacuumHold]) {
                    li { strong { "Vacuum." } " Evacuated vessels and windows can implode, and hands and hoses be drawn in. Evacuate only what is rated for it, and let gas in slowly." }
                }
                @if has(&[Method::Regeneration]) {
                    li { strong { "Hot vessel, hydrogen." } " The vessel burns for hours after heating, and the exhaust can hold hydrogen. Lead it to a safe place outdoors, away from ignition." }
                }
                li { strong { "What comes first." } " Local codes, the maker’s ratings and licensed practice come before anything written here." }
                li { strong { "No licence." } " This dossier does not qualify the enclosure for the containment of toxic or radioactive matter." }
            }
        }
    }
}

fn signatures(qualified: &Qualified) -> Markup {
    let people = &qualified.plan.qualification;
    let places = [("Tester", people.tester.as_deref()), ("Witness", people.witness.as_deref()), ("Accepted by", None)];
    html! {
        section.signatures aria-label="Signatures" {
            @for (role, name) in places {
                div {
                    p.role { (role) }
                    p.name { (name.unwrap_or("\u{a0}")) }
                    p.line { "Date, signature" }
                }
            }
        }
    }
}
