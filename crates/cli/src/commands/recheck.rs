//! `tightfit recheck DOSSIER`.

use std::io;

use tightfit_report::recheck::recheck;

use crate::args::RecheckArgs;
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &RecheckArgs) -> io::Result<Exit> {
    let found = match recheck(&args.dossier, args.data_root.as_deref()) {
        Ok(found) => found,
        Err(error) => {
            output::error(&error.to_string(), Some(error.hint()));
            return Ok(Exit::InputError);
        }
    };
    if found.is_same() {
        output::result(&format!("the same: {} files by hash, {} numbers recomputed\n", found.files, found.numbers))?;
        return Ok(Exit::Pass);
    }
    let lines: Vec<String> = found.differences.iter().map(|difference| format!("differs: {difference}\n")).collect();
    output::result(&lines.concat())?;
    Ok(Exit::Differs)
}
