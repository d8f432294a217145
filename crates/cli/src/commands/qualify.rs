//! `tightfit qualify PLAN`.

use std::io;
use std::path::Path;

use tightfit_report::dossier::{self, WriteOptions};
use tightfit_report::write::NewFile;
use tightfit_report::{Qualified, QualifyError, folders, qualify, read_plan, text};

use crate::args::{DossierArgs, Format, QualifyArgs};
use crate::exit::Exit;
use crate::{output, progress};

pub(crate) fn run(args: &QualifyArgs) -> io::Result<Exit> {
    let plan = match read_plan(&args.plan) {
        Ok(plan) => plan,
        Err(error) => return Ok(refuse(&error)),
    };
    if args.dossier.pdf
        && let Err(error) = tightfit_pdf::available()
    {
        return Ok(refused(&error.to_string(), error.hint()));
    }
    let spinner = progress::spinner();
    let folders = folders(&args.plan, args.data_root.clone());
    let mut qualified = qualify(plan, &folders, |test| spinner.set_message(test.to_owned()));
    spinner.finish_and_clear();
    let recorded = args.record.then(|| super::history::record(args, &mut qualified));
    if let Some(out) = &args.dossier.out
        && let Err(exit) = write(&qualified, out, &args.dossier)
    {
        return Ok(exit);
    }
    let exit = print(&qualified, args.format.format)?;
    match recorded {
        Some(Ok(text)) => text.lines().for_each(output::remark),
        Some(Err(error)) => return Ok(super::history::refuse(&error)),
        None => {}
    }
    Ok(exit)
}

/// Writes the dossier, or says why there is none.
fn write(qualified: &Qualified, out: &Path, args: &DossierArgs) -> Result<(), Exit> {
    let further = if args.pdf { vec![pdf(qualified)?] } else { Vec::new() };
    let options = WriteOptions { replace: args.replace, with_data: args.with_data, further };
    let files = dossier::write(qualified, out, &options).map_err(|error| refused(&error.to_string(), error.hint()))?;
    for file in files {
        output::remark(&format!("wrote {}", file.display()));
    }
    Ok(())
}

fn pdf(qualified: &Qualified) -> Result<NewFile, Exit> {
    let pdf = tightfit_pdf::typeset(&dossier::render_html(qualified));
    let pdf = pdf.map_err(|error| refused(&error.to_string(), error.hint()))?;
    if !pdf.without_glyph.is_empty() {
        let letters: String = pdf.without_glyph.iter().collect();
        output::remark(&format!("the PDF has no letters for {letters}; a browser prints dossier.html with them"));
    }
    Ok(NewFile { path: tightfit_pdf::PDF_FILE.into(), content: pdf.bytes })
}

fn refused(message: &str, hint: &str) -> Exit {
    output::error(message, Some(hint));
    Exit::InputError
}

/// Prints a result, and the errors of tests that gave none.
pub(crate) fn print(qualified: &Qualified, format: Format) -> io::Result<Exit> {
    match format {
        Format::Json => output::json(&qualified.result)?,
        Format::Text => output::result(&text::qualification(qualified, output::paint()))?,
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
