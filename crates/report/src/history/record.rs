//! What of a qualification goes into the store.

use std::path::Path;

use jiff::civil::Date;
use sha2::{Digest, Sha256};
use tightfit_history::{Content, NewEntry, QualificationEntry, StoredFile, StoredPart, StoredResult, StoredVerdict};
use tightfit_ingest::Channel;
use tightfit_quantity::{Quantity, Unit};

use super::{EntryOptions, HistoryError};
use crate::Qualified;
use crate::catalogue::Method;
use crate::data::day_in;
use crate::dossier::{DossierRecord, RECORD_FILE};
use crate::plan::{Plan, Test, hexadecimal};
use crate::result::{Qualification, Results, TestResult, VerdictResult};

/// The entry of a qualification that was just made.
///
/// # Errors
/// [`HistoryError::NoDay`] where neither the logs nor the options tell the day.
pub fn qualification_entry(qualified: &Qualified, options: &EntryOptions) -> Result<NewEntry, HistoryError> {
    entry(&qualified.result, Some(&qualified.plan), options)
}

/// The entry of a dossier: the folder, or its `dossier.json`.
///
/// # Errors
/// Where the record cannot be read, is not whole, or tells no day.
pub fn dossier_entry(path: &Path, options: &EntryOptions) -> Result<NewEntry, HistoryError> {
    let file = if path.is_dir() { path.join(RECORD_FILE) } else { path.to_owned() };
    let text = std::fs::read_to_string(&file).map_err(|source| HistoryError::Dossier { path: file.clone(), source })?;
    let (record, unchanged) =
        DossierRecord::from_json(&text).map_err(|source| HistoryError::NotARecord { path: file.clone(), source })?;
    if !unchanged {
        return Err(HistoryError::Edited { path: file });
    }
    // A plan of an older program may not be understood any more; its results are.
    let plan = Plan::parse(&record.plan_file, &record.plan_text).ok();
    entry(&record.result, plan.as_ref(), options)
}

/// The entry of a service.
#[must_use]
pub fn service_entry(enclosure: &str, what: &str, note: &str, day: Date, options: &EntryOptions) -> NewEntry {
    NewEntry {
        enclosure: enclosure.to_owned(),
        day: day.to_string(),
        identity: hash(&["service", enclosure, what, note, &day.to_string()]),
        corrects: options.corrects,
        content: Content::Service { what: what.to_owned(), note: note.to_owned() },
    }
}

fn entry(result: &Qualification, plan: Option<&Plan>, options: &EntryOptions) -> Result<NewEntry, HistoryError> {
    let day = options.day.or_else(|| first_day(result, plan)).ok_or(HistoryError::NoDay)?;
    let files: Vec<StoredFile> = result
        .tests
        .iter()
        .flat_map(|test| &test.files)
        .map(|file| StoredFile { name: file.file.clone(), bytes: file.bytes, sha256: file.sha256.clone() })
        .collect();
    let day_text = day.to_string();
    let hashes = files.iter().map(|file| file.sha256.as_str());
    let identity =
        hash(&[&[result.program.as_str(), &result.plan_sha256, &day_text], &hashes.collect::<Vec<_>>()[..]].concat());
    let content = QualificationEntry {
        overall: result.overall.words().to_owned(),
        configuration: plan.and_then(|plan| plan.enclosure.configuration.clone()).unwrap_or_default(),
        program: result.program.clone(),
        plan_sha256: result.plan_sha256.clone(),
        results: result.tests.iter().flat_map(|test| results(test, plan)).collect(),
        verdicts: result.verdicts.iter().map(|verdict| stored_verdict(result, verdict)).collect(),
        files,
    };
    Ok(NewEntry {
        enclosure: result.enclosure.clone(),
        identity,
        day: day_text,
        corrects: options.corrects,
        content: Content::Qualification(Box::new(content)),
    })
}

/// Each part with its length, so that no two lists of parts read alike.
fn hash(parts: &[&str]) -> String {
    let mut hasher = Sha256::new();
    for part in parts {
        hasher.update((part.len() as u64).to_le_bytes());
        hasher.update(part.as_bytes());
    }
    hexadecimal(&hasher.finalize())
}

/// Day of the earliest window in the plan's zone, where logs are dated.
fn first_day(result: &Qualification, plan: Option<&Plan>) -> Option<Date> {
    let zone = plan.and_then(|plan| plan.room.time_zone.as_deref());
    let windows = result
        .tests
        .iter()
        .flat_map(|test| test.window.iter().chain(test.runs.iter().filter_map(|run| run.window.as_ref())));
    windows.filter_map(|window| Some(day_in(window[0].parse().ok()?, zone))).min()
}

fn results(test: &TestResult, plan: Option<&Plan>) -> Vec<StoredResult> {
    let planned = plan.and_then(|plan| Some((plan, plan.tests.iter().find(|planned| planned.id == test.id)?)));
    let of = |run: &str, results: &Results| -> Vec<StoredResult> {
        let stored = |(name, value): &(String, crate::result::ResultValue)| StoredResult {
            test: test.id.clone(),
            run: run.to_owned(),
            quantity: name.clone(),
            kind: kind(value.kind).to_owned(),
            unit: value.unit.clone(),
            value: value.value,
            standard_uncertainty: value.standard_uncertainty,
            interval95: value.interval95,
            at: value.at.clone().unwrap_or_default(),
            gas: test.gas.clone().unwrap_or_default(),
            valid: test.valid,
            budget: value
                .budget
                .iter()
                .map(|line| StoredPart {
                    source: line.source.clone(),
                    standard_uncertainty: line.standard_uncertainty,
                    lasts_with: planned
                        .and_then(|(plan, test)| lasts_with(plan, test, name, &line.source))
                        .unwrap_or_default(),
                })
                .collect(),
        };
        results.0.iter().map(stored).collect()
    };
    let single = of("", &test.results);
    single.into_iter().chain(test.runs.iter().flat_map(|run| of(&run.boundary, &run.results))).collect()
}

fn kind(kind: crate::result::ResultValueKind) -> &'static str {
    use crate::result::ResultValueKind as K;
    match kind {
        K::Estimate => "estimate",
        K::UpperBound => "upper_bound",
        K::LowerBound => "lower_bound",
        K::NotDetermined => "not_determined",
    }
}

/// What an error lasts with: the enclosure's stated volume, or an instrument with a dated calibration. Noise, drift and
/// steps of a display are new in every test.
fn lasts_with(plan: &Plan, test: &Test, quantity: &str, source: &str) -> Option<String> {
    if source == "volume" || source == "volume of the enclosure" {
        let volume = plan.enclosure.volume.as_ref()?;
        return Some(format!("volume {}", volume.quantity));
    }
    let has = |word: &str| source.split([' ', ',']).any(|part| part == word);
    if !(has("zero") || has("scale")) || has("drift") {
        return None;
    }
    let channels: &[Channel] = match source {
        s if s.contains("gauge") => gauges(test),
        s if s.contains("barometer") => &[Channel::RoomPressure],
        s if s.contains("analyser") && is_of_water(test, quantity) => &[Channel::Water],
        s if s.contains("analyser") => &[Channel::Oxygen],
        _ => return None,
    };
    let column = channels.iter().find_map(|channel| test.columns.iter().find(|column| column.channel == *channel))?;
    let instrument = plan.instruments.get(column.instrument.as_ref()?)?;
    let calibrated = instrument.calibrated?;
    let serial = instrument.serial.as_deref().unwrap_or_default();
    Some(format!("{} {serial} calibrated {calibrated}", instrument.name))
}

/// The channels of which the gauge of a test is one.
fn gauges(test: &Test) -> &'static [Channel] {
    match test.method {
        Method::VacuumHold | Method::Antechamber => {
            &[Channel::AntechamberPressure, Channel::VesselPressure, Channel::AbsolutePressure, Channel::GaugePressure]
        }
        _ => &[Channel::GaugePressure, Channel::AbsolutePressure],
    }
}

/// Whether a result is of water: by its name, by what the plan chooses, or because nothing else is there.
fn is_of_water(test: &Test, quantity: &str) -> bool {
    let has = |channel: Channel| test.columns.iter().any(|column| column.channel == channel);
    quantity.starts_with("water")
        || !quantity.starts_with("oxygen")
            && (test.keys.species.as_deref() == Some("water") || has(Channel::Water) && !has(Channel::Oxygen))
}

fn stored_verdict(result: &Qualification, verdict: &VerdictResult) -> StoredVerdict {
    let unit = result.judged_value(verdict).map(|value| value.unit.clone()).unwrap_or_default();
    let bound = |word: &str| {
        let text = verdict.limit.strip_prefix(word)?.trim();
        Some(Unit::parse(&unit).ok()?.from_si(Quantity::parse(text).ok()?.si()))
    };
    StoredVerdict {
        test: verdict.test.clone(),
        run: verdict.run.clone().unwrap_or_default(),
        quantity: verdict.quantity.clone(),
        limit: verdict.limit.clone(),
        most: bound("max"),
        least: bound("min"),
        verdict: verdict.verdict.words().to_owned(),
        conformance_probability: verdict.conformance_probability,
    }
}
