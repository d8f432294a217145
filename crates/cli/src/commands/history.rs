//! `tightfit history add | note | show | trend | export`.

use std::io;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use tightfit_history::{Added, NewEntry, Store};
use tightfit_report::Qualified;
use tightfit_report::history::{
    EntryOptions, HistoryError, dossier_entry, earlier_text, follow, history_csv, likely_meant, park, park_text,
    qualification_entry, service_entry, show_text, store_path, trend_text, write_enclosure, write_park, write_tables,
};

use crate::args::{
    Format, HistoryAddArgs, HistoryCommand, HistoryExportArgs, HistoryNoteArgs, HistoryShowArgs, HistoryTrendArgs,
    QualifyArgs, StoreArgs,
};
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(command: &HistoryCommand) -> io::Result<Exit> {
    match command {
        HistoryCommand::Add(args) => finish(add(args)),
        HistoryCommand::Note(args) => finish(note(args)),
        HistoryCommand::Show(args) => finish(show(args)),
        HistoryCommand::Trend(args) => finish(trend(args)),
        HistoryCommand::Export(args) => finish(export(args)),
    }
}

/// Text for the output, or why there is none.
type Outcome = Result<String, HistoryError>;

fn finish(outcome: Outcome) -> io::Result<Exit> {
    match outcome {
        Ok(text) => output::result(&text).map(|()| Exit::Pass),
        Err(error) => Ok(refuse(&error)),
    }
}

pub(super) fn refuse(error: &HistoryError) -> Exit {
    output::error(&error.to_string(), Some(&error.hint()));
    Exit::InputError
}

fn add(args: &HistoryAddArgs) -> Outcome {
    let options = EntryOptions { day: args.date, corrects: args.entry.corrects };
    let entry = dossier_entry(&args.dossier, &options)?;
    add_entry(args.entry.store.store.as_deref(), &entry)
}

fn note(args: &HistoryNoteArgs) -> Outcome {
    let options = EntryOptions { day: None, corrects: args.entry.corrects };
    let day = args.date.unwrap_or_else(today);
    let entry = service_entry(&args.enclosure, &args.what, &args.note, day, &options);
    let store = args.entry.store.store.as_deref();
    let text = add_entry(store, &entry)?;
    let meant = likely_meant(&Store::open(&store_path(store)?)?, &args.enclosure)?;
    let enclosure = &args.enclosure;
    Ok(meant
        .map_or(text.clone(), |name| format!("{text}  the store holds no results of {enclosure} yet, but of {name}\n")))
}

fn add_entry(store: Option<&Path>, entry: &NewEntry) -> Outcome {
    let path = store_path(store)?;
    let added = Store::open_or_create(&path)?.add(entry)?;
    let (enclosure, day, path) = (&entry.enclosure, &entry.day, path.display());
    Ok(match added {
        Added::New(number) => format!("recorded as entry {number}: {enclosure}, {day}\n  in {path}\n"),
        Added::Known(number) => format!("known already as entry {number}: {enclosure}, {day}\n  in {path}\n"),
    })
}

fn show(args: &HistoryShowArgs) -> Outcome {
    let store = open(&args.store)?;
    if let Some(enclosure) = &args.enclosure {
        let report = follow(&store, enclosure, today())?;
        if let Some(out) = &args.folder.out {
            told(&write_enclosure(&report, out, args.folder.replace)?);
        }
        return Ok(text_or_json(args.format.format, &report, || show_text(&report)));
    }
    let lines = park(&store, today())?;
    if let Some(out) = &args.folder.out {
        told(&write_park(&store, today(), out, args.folder.replace)?);
    }
    Ok(text_or_json(args.format.format, &lines, || park_text(&lines)))
}

fn trend(args: &HistoryTrendArgs) -> Outcome {
    let report = follow(&open(&args.store)?, &args.enclosure, args.today.unwrap_or_else(today))?;
    if let Some(out) = &args.folder.out {
        told(&write_enclosure(&report, out, args.folder.replace)?);
    }
    Ok(text_or_json(args.format.format, &report, || trend_text(&report, args.quantity.as_deref())))
}

fn export(args: &HistoryExportArgs) -> Outcome {
    let store = open(&args.store)?;
    let names: Vec<String> = match &args.enclosure {
        Some(enclosure) => vec![enclosure.clone()],
        None => store.summaries()?.into_iter().map(|summary| summary.enclosure).collect(),
    };
    let reports: Vec<_> = names.iter().map(|name| follow(&store, name, today())).collect::<Result<_, _>>()?;
    match &args.folder.out {
        Some(out) => {
            told(&write_tables(&reports, out, args.folder.replace)?);
            Ok(String::new())
        }
        None => Ok(history_csv(&reports)),
    }
}

/// Records a qualification and sets earlier results beside it; says what it did.
pub(crate) fn record(args: &QualifyArgs, qualified: &mut Qualified) -> Result<String, HistoryError> {
    let options = EntryOptions { day: args.date, corrects: None };
    let entry = qualification_entry(qualified, &options)?;
    let text = add_entry(args.store.as_deref(), &entry)?;
    let report = follow(&Store::open(&store_path(args.store.as_deref())?)?, &entry.enclosure, today())?;
    let earlier = if report.entries.len() > 1 { earlier_text(&report) } else { String::new() };
    qualified.earlier = Some(report);
    Ok(format!("{earlier}\n{text}"))
}

fn open(args: &StoreArgs) -> Result<Store, HistoryError> {
    Ok(Store::open(&store_path(args.store.as_deref())?)?)
}

fn told(files: &[PathBuf]) {
    for file in files {
        output::remark(&format!("wrote {}", file.display()));
    }
}

fn text_or_json(format: Format, value: &impl serde::Serialize, text: impl FnOnce() -> String) -> String {
    match format {
        Format::Text => text(),
        Format::Json => output::json_text(value),
    }
}

fn today() -> Date {
    jiff::tz::TimeZone::system().to_datetime(jiff::Timestamp::now()).date()
}
