//! The pages for who wants to trace and repeat it: instruments, files, how they were read, program, plan.

use maud::{Markup, html};

use super::by_hand;
use super::number::{count, name, typeset};
use crate::Qualified;
use crate::method::FileAccount;
use crate::plan::{ClockOffset, Instrument};
use crate::result::FileLine;

pub(super) fn render(qualified: &Qualified) -> Markup {
    html! {
        section.sheet aria-labelledby="traceability" {
            header { p.kind { "Traceability" } h2 #traceability { "How to repeat and check this" } }
            (recompute(qualified))
            (by_hand::render(qualified))
            (instruments(qualified))
            (raw_files(qualified))
            (readings(qualified))
            h3 { "The plan in full" }
            pre.plan { code { (qualified.plan.text) } }
        }
    }
}

fn recompute(qualified: &Qualified) -> Markup {
    let plan = super::plan_file_name(&qualified.plan.file);
    html! {
        p { "With the plan and the raw files below in one folder, this command computes everything in this dossier again:" }
        pre.command { code { "tightfit qualify " (shell_quoted(&plan)) } }
        dl.facts {
            div { dt { "Program" } dd { (qualified.result.program) } }
            div { dt { "Plan" } dd { (name(&plan)) } }
            div.wide { dt { "SHA-256 of the plan" } dd.hash { (qualified.result.plan_sha256) } }
        }
        p.small {
            "The file dossier.json beside this page holds the same results for machines, and the SHA-256 of every other file of the dossier. \
             The hashes find accidents and careless edits; they are no protection against forgery."
        }
    }
}

fn shell_quoted(name: &str) -> String {
    let plain = name.chars().all(|c| c.is_alphanumeric() || "._-/+".contains(c)) && !name.starts_with('-');
    if plain { name.to_owned() } else { format!("'{}'", name.replace('\'', "'\\''")) }
}

fn instruments(qualified: &Qualified) -> Markup {
    let instruments = &qualified.plan.instruments;
    html! {
        h3 { "Instruments and calibration" }
        @if instruments.is_empty() {
            p { "The plan states no instruments: no calibration enters the uncertainty." }
        } @else {
            table.instruments {
                thead { tr {
                    th scope="col" { "Instrument" }
                    th scope="col" { "Calibrated, due" }
                    th scope="col" { "Uncertainty" }
                    th scope="col" { "Resolution" }
                    th scope="col" { "Further" }
                    th scope="col" { "After the test" }
                } }
                tbody { @for instrument in instruments.values() { (instrument_row(instrument)) } }
            }
        }
    }
}

fn instrument_row(instrument: &Instrument) -> Markup {
    let stated = |text: Option<String>| text.unwrap_or_else(|| "not stated".to_owned());
    html! {
        tr {
            th scope="row" {
                (name(&instrument.name))
                span.sub {
                    @match &instrument.serial { Some(serial) => { "serial " (name(serial)) } None => { "serial not stated" } }
                }
            }
            td.keep {
                (stated(instrument.calibrated.map(|date| date.to_string())))
                span.sub.keep { @match instrument.due { Some(due) => { "due " (due) } None => { "due date not stated" } } }
            }
            td { (stated(instrument.uncertainty.as_ref().map(|u| u.text().to_owned()))) }
            td.keep { (stated(instrument.resolution.as_ref().map(|r| r.text().to_owned()))) }
            td { (further(instrument).join("; ")) }
            td { (match instrument.stays_on { Some(true) => "stays on", Some(false) => "comes off", None => "not stated" }) }
        }
    }
}

fn further(instrument: &Instrument) -> Vec<String> {
    let mut further = Vec::new();
    if let Some((low, high)) = &instrument.range {
        further.push(typeset(&format!("range {low} to {high}")));
    }
    if let Some(response) = &instrument.response {
        further.push(format!("response {}", response.text));
    }
    if let Some(zero) = &instrument.zero_check {
        further.push(typeset(&format!("zero check {}, taken off", zero.reading)));
    }
    if let Some(drift) = &instrument.drift {
        further.push(format!("drift at most {drift}"));
    }
    if let Some(limit) = &instrument.reporting_limit {
        further.push(format!("reports from {limit}"));
    }
    match instrument.clock {
        ClockOffset::NotStated | ClockOffset::Known(0.0) => {}
        ClockOffset::Known(seconds) => further.push(format!("clock ahead by {seconds} s, corrected")),
        ClockOffset::UnknownWithin(seconds) => further.push(format!("clock unknown within {seconds} s, estimated")),
    }
    further
}

fn raw_files(qualified: &Qualified) -> Markup {
    let mut files: Vec<&FileLine> = Vec::new();
    for file in qualified.result.tests.iter().flat_map(|test| &test.files) {
        if !files.contains(&file) {
            files.push(file);
        }
    }
    html! {
        h3 { "Raw files" }
        @if files.is_empty() {
            p { "No file could be used." }
        } @else {
            table.files {
                thead { tr { th scope="col" { "File" } th scope="col" { "Bytes" } th scope="col" { "SHA-256" } } }
                tbody {
                    @for file in files {
                        tr { th scope="row" { (name(&file.file)) } td.keep { (count(file.bytes)) } td.hash { (file.sha256) } }
                    }
                }
            }
        }
    }
}

fn readings(qualified: &Qualified) -> Markup {
    let mut accounts: Vec<&FileAccount> = Vec::new();
    for account in qualified.outcomes.iter().flatten().flat_map(|outcome| &outcome.files) {
        if !accounts.contains(&account) {
            accounts.push(account);
        }
    }
    html! { @for account in accounts { (reading(account)) } }
}

/// How one file was read.
fn reading(account: &FileAccount) -> Markup {
    let [read, used] = account.rows;
    html! {
        h3 { "How " (name(&account.file)) " was read" }
        p { (count(read)) " rows read, " (count(used)) " with usable readings." }
        @if !account.choices.is_empty() { ul { @for choice in &account.choices { li { (choice) } } } }
        @if !account.columns.is_empty() {
            table {
                thead { tr {
                    th scope="col" { "Column" }
                    th scope="col" { "Read as" }
                    th scope="col" { "Unit" }
                    th scope="col" { "Why" }
                } }
                tbody {
                    @for [header, channel, unit, because] in &account.columns {
                        tr { th scope="row" { (name(header)) } td { (channel.replace('_', " ")) } td { (unit) } td { (because) } }
                    }
                }
            }
        }
        @if !account.set_aside.is_empty() {
            table {
                thead { tr { th scope="col" { "Set aside because" } th scope="col" { "Rows" } th scope="col" { "Lines" } } }
                tbody {
                    @for (reason, rows, lines) in &account.set_aside {
                        tr { th scope="row" { (reason) } td { (count(*rows)) } td { (lines) } }
                    }
                }
            }
        }
        @if !account.remarks.is_empty() { ul { @for remark in &account.remarks { li { (remark) } } } }
    }
}
