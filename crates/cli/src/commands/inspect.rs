//! `tightfit inspect FILE…`.

use std::io;

use tightfit_ingest::{ReadOptions, read};
use tightfit_report::inspect::{INSPECT_SCHEMA, InspectedFile, Inspection, inspect};
use tightfit_report::text;

use crate::args::{Format, InspectArgs};
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &InspectArgs) -> io::Result<Exit> {
    let options = ReadOptions { time_zone: args.zone.time_zone.clone(), ..ReadOptions::default() };
    let mut files = Vec::new();
    let mut all_read = true;
    for path in &args.files {
        match read(path, &options) {
            Ok(recording) => files.push(inspect(&path.display().to_string(), recording)),
            Err(error) => {
                all_read = false;
                output::error(&error.to_string(), Some(&error.hint()));
            }
        }
    }
    match args.format.format {
        Format::Json => output::json(&Inspection { schema: INSPECT_SCHEMA, files })?,
        Format::Text => output::result(&as_text(&files, args))?,
    }
    Ok(if all_read { Exit::Pass } else { Exit::InputError })
}

fn as_text(files: &[InspectedFile], args: &InspectArgs) -> String {
    let texts = files.iter().map(|file| {
        let rows = if args.rows { text::rows_set_aside(file) } else { String::new() };
        text::inspection(file, args.zone.time_zone.as_deref()) + &rows
    });
    texts.collect::<Vec<_>>().join("\n")
}
