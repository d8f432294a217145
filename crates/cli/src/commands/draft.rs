//! `tightfit draft FILE…`.

use std::io;

use tightfit_ingest::{ReadOptions, draft, read};

use crate::args::DraftArgs;
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &DraftArgs) -> io::Result<Exit> {
    let options = ReadOptions { time_zone: args.zone.time_zone.clone(), ..ReadOptions::default() };
    let mut recordings = Vec::new();
    for path in &args.files {
        match read(path, &options) {
            Ok(recording) => recordings.push(recording),
            Err(error) => {
                output::error(&error.to_string(), Some(&error.hint()));
                return Ok(Exit::InputError);
            }
        }
    }
    output::result(&draft(&recordings, args.zone.time_zone.as_deref()))?;
    Ok(Exit::Pass)
}
