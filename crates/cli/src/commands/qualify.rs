//! `tightfit qualify PLAN`.

use std::io;

use tightfit_report::dossier::{self, WriteOptions};
use tightfit_report::{Qualified, QualifyError, folders, qualify, read_plan, text};

use crate::args::{Format, QualifyArgs};
use crate::exit::Exit;
use crate::{output, progress};

pub(crate) fn run(args: &QualifyArgs) -> io::Result<Exit> {
    let plan = match read_plan(&args.plan) {
        Ok(plan) => plan,
        Err(error) => return Ok(refuse(&error)),
    };
    let spinner = progress::spinner();
    let folders = folders(&args.plan, args.data_root.clone());
    let mut qualified = qualify(plan, &folders, |test| spinner.set_message(test.to_owned()));
    spinner.finish_and_clear();
    let recorded = args.record.then(|| super::history::record(args, &mut qualified));
    if let Some(out) = &args.out {
        let options = WriteOptions { replace: args.replace, with_data: args.with_data };
        match dossier::write(&qualified, out, &options) {
            Ok(files) => files.iter().for_each(|file| output::remark(&format!("wrote {}", file.display()))),
            Err(error) => {
                output::error(&error.to_string(), Some(error.hint()));
                return Ok(Exit::InputError);
            }
        }
    }
    let exit = print(&qualified, args.format)?;
    match recorded {
        Some(Ok(text)) => text.lines().for_each(output::remark),
        Some(Err(error)) => return Ok(super::history::refuse(&error)),
        None => {}
    }
    Ok(exit)
}

/// Prints a result, and the errors of tests that gave none.
pub(crate) fn print(qualified: &Qualified, format: Format) -> io::Result<Exit> {
    match format {
        Format::Json => output::json(&qualified.result)?,
        Format::Text => output::result(&text::qualification(&qualified.result, output::paint()))?,
    }
    for (test, error) in qualified.errors() {
        output::error(&format!("test \"{test}\": {error}"), Some(&error.hint()));
    }
    Ok(Exit::Verdict(qualified.exit_code()))
}

/// Says why there is no qualification.
pub(crate) fn refuse(error: &QualifyError) -> Exit {
    output::error(&error.to_string(), error.hint());
    Exit::InputError
}
