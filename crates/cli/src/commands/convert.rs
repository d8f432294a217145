//! `tightfit convert VALUE UNIT`.

use std::io;

use tightfit_report::convert::{Conditions, convert_text};

use crate::args::ConvertArgs;
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &ConvertArgs) -> io::Result<Exit> {
    let conditions = Conditions::parse(
        args.volume.as_deref(),
        args.pressure.as_deref(),
        args.temperature.as_deref(),
        args.reference_temperature.as_deref(),
    );
    match conditions.and_then(|conditions| convert_text(&args.value, &args.unit, &conditions)) {
        Ok(text) => {
            output::result(&format!("{text}\n"))?;
            Ok(Exit::Pass)
        }
        Err(error) => {
            output::error(&error.to_string(), Some(&error.hint()));
            Ok(Exit::InputError)
        }
    }
}
