//! `tightfit diagnose PLAN`.

use std::io;

use tightfit_history::{Entry, Store};
use tightfit_report::history::{HistoryError, store_path};
use tightfit_report::{diagnose, folders, read_plan, text};

use super::history;
use super::qualify::refuse;
use crate::args::{DiagnoseArgs, Format};
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &DiagnoseArgs) -> io::Result<Exit> {
    let plan = match read_plan(&args.plan) {
        Ok(plan) => plan,
        Err(error) => return Ok(refuse(&error)),
    };
    let folders = folders(&args.plan, args.data_root.clone());
    let store = match remembered(args, &plan.enclosure.id) {
        Ok(entries) => entries,
        Err(error) if args.store.is_some() => return Ok(history::refuse(&error)),
        Err(error) => {
            output::remark(&format!("earlier results are left out: {error}"));
            Vec::new()
        }
    };
    let diagnosed = match diagnose::diagnose(&plan, args.test.as_deref(), &folders, &store) {
        Ok(diagnosed) => diagnosed,
        Err(error) => {
            output::error(&error.to_string(), Some(&error.hint()));
            return Ok(Exit::InputError);
        }
    };
    if let Some(out) = &args.folder.out {
        match diagnosed.write(out, args.folder.replace) {
            Ok(files) => files.iter().for_each(|file| output::remark(&format!("wrote {}", file.display()))),
            Err(error) => {
                output::error(&error.to_string(), Some(error.hint()));
                return Ok(Exit::InputError);
            }
        }
    }
    match args.format.format {
        Format::Json => output::json(&diagnosed.result)?,
        Format::Text => output::result(&text::diagnosis(&diagnosed, output::paint()))?,
    }
    Ok(Exit::Verdict(diagnosed.exit_code()))
}

/// What the store holds of the enclosure; nothing where the user has none.
fn remembered(args: &DiagnoseArgs, enclosure: &str) -> Result<Vec<Entry>, HistoryError> {
    let path = match store_path(args.store.as_deref()) {
        Err(HistoryError::NoHome) => return Ok(Vec::new()),
        path => path?,
    };
    if args.store.is_none() && !path.exists() {
        return Ok(Vec::new());
    }
    Ok(Store::open(&path)?.standing(enclosure)?)
}
