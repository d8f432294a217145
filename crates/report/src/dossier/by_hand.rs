//! What an auditor asks first: which attempts there were, which windows a hand set, and what was left out. All of
//! it in one place, numbered, so that it can be referred to.

use maud::{Markup, html};

use super::number::{count, name, prose};
use crate::Qualified;
use crate::method::{OUTSIDE, Outcome};
use crate::plan::{Moment, Test, Window};
use crate::plot::Clock;

/// One line of the list.
struct Intervention {
    /// The test; with its run, where there are several.
    test: String,
    kind: &'static str,
    what: String,
    decided_by: &'static str,
}

const BY_HAND: &str = "by hand, in the plan";
const BY_PROGRAM: &str = "by the program";

pub(super) fn render(qualified: &Qualified) -> Markup {
    let interventions = all(qualified);
    html! {
        h3 #by-hand { "Attempts, windows set by hand, exclusions" }
        @if interventions.is_empty() {
            p { "No earlier attempt is stated, no window was set by hand, and no row was left out." }
        } @else {
            p { "Everything that was tried before, chosen or left out, of all tests:" }
            table.by-hand {
                thead { tr {
                    th scope="col" { "No." }
                    th scope="col" { "Test" }
                    th scope="col" { "What" }
                    th scope="col" { "In words" }
                    th scope="col" { "Decided" }
                } }
                tbody {
                    @for (index, line) in interventions.iter().enumerate() {
                        tr {
                            th scope="row" { (index + 1) }
                            td { (name(&line.test)) }
                            td { (line.kind) }
                            td { (prose(&line.what)) }
                            td { (line.decided_by) }
                        }
                    }
                }
            }
        }
    }
}

/// How many lines a hand has put on the list: earlier attempts and windows.
pub(super) fn by_hand(qualified: &Qualified) -> usize {
    all(qualified).iter().filter(|line| line.decided_by == BY_HAND).count()
}

fn all(qualified: &Qualified) -> Vec<Intervention> {
    let mut lines = Vec::new();
    for (index, test) in qualified.plan.tests.iter().enumerate() {
        let outcome = qualified.outcomes.get(index).and_then(|outcome| outcome.as_ref().ok());
        let zone = qualified.plan.room.time_zone.as_deref();
        lines.extend(attempts(test));
        lines.extend(windows(test, outcome, zone));
        lines.extend(exclusions(test, outcome));
    }
    lines
}

/// Earlier attempts, and this one where they are counted.
fn attempts(test: &Test) -> Vec<Intervention> {
    let line = |what| Intervention { test: test.id.clone(), kind: "attempt", what, decided_by: BY_HAND };
    let reason = test.earlier.as_deref().unwrap_or("the reason is not stated");
    let number = test.attempt.unwrap_or(if test.earlier.is_some() { 2 } else { 1 });
    match number {
        ..=1 => Vec::new(),
        2 => vec![line(format!("attempt 1 set aside: {reason}")), line("attempt 2: the one evaluated here".to_owned())],
        _ => vec![
            line(format!("attempts 1 to {} set aside: {reason}", number - 1)),
            line(format!("attempt {number}: the one evaluated here")),
        ],
    }
}

fn windows(test: &Test, outcome: Option<&Outcome>, zone: Option<&str>) -> Vec<Intervention> {
    let origin_s = outcome.and_then(|outcome| outcome.drawings.first()).and_then(|drawing| drawing.origin_s);
    let clock = Clock::new(origin_s, zone);
    let line = |name: String, what| Intervention { test: name, kind: "window", what, decided_by: BY_HAND };
    let mut lines = Vec::new();
    if let Some(window) = &test.window {
        lines.push(line(test.id.clone(), window_text(window, &clock, origin_s)));
    }
    for (index, run) in test.runs.iter().enumerate() {
        if let Some(window) = &run.window {
            let run = test.run_name(index + 1);
            lines.push(line(format!("{}, {run}", test.id), window_text(window, &clock, origin_s)));
        }
    }
    if let Some(leak) = &test.superimposed_leak {
        let open = Window { from: Some(leak.from), to: Some(leak.to) };
        let what = format!("known leak open {}", window_text(&open, &clock, origin_s));
        lines.push(line(test.id.clone(), what));
    }
    lines
}

fn window_text(window: &Window, clock: &Clock, origin_s: Option<f64>) -> String {
    let undated = Clock::new(None, None);
    let text = |moment: Option<Moment>, none: &str| match moment {
        None => none.to_owned(),
        Some(Moment::AfterStart(seconds)) => undated.moment(seconds),
        Some(Moment::At(moment)) => match origin_s {
            Some(origin_s) => clock.moment(moment.as_duration().as_secs_f64() - origin_s),
            None => moment.to_string(),
        },
    };
    format!("from {} to {}", text(window.from, "the first row"), text(window.to, "the last row"))
}

fn exclusions(test: &Test, outcome: Option<&Outcome>) -> Vec<Intervention> {
    let lines = outcome.map(|outcome| outcome.result.set_aside.as_slice()).unwrap_or_default();
    let is_window_by_hand = test.window.is_some() || test.runs.iter().any(|run| run.window.is_some());
    lines
        .iter()
        .map(|line| Intervention {
            test: test.id.clone(),
            kind: "exclusion",
            what: format!(
                "{} {} set aside: {}",
                count(line.count),
                if line.count == 1 { "row" } else { "rows" },
                line.reason
            ),
            decided_by: if is_window_by_hand && line.reason == OUTSIDE { BY_HAND } else { BY_PROGRAM },
        })
        .collect()
}
