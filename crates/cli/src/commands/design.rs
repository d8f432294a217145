//! `tightfit design PLAN`.

use std::io;

use tightfit_report::{design, text};

use crate::args::{DesignArgs, Format};
use crate::commands::qualify;
use crate::exit::Exit;
use crate::{output, progress};

pub(crate) fn run(args: &DesignArgs) -> io::Result<Exit> {
    let plan = match design::read_plan(&args.plan) {
        Ok(plan) => plan,
        Err(error) => return Ok(qualify::refuse(&error)),
    };
    let spinner = progress::spinner();
    let designed = design::design(&plan, |step| spinner.set_message(step.to_owned()));
    spinner.finish_and_clear();
    let designed = match designed {
        Ok(designed) => designed,
        Err(error) => {
            output::error(&error.to_string(), Some(error.hint()));
            return Ok(Exit::InputError);
        }
    };
    if let Some(out) = &args.folder.out {
        match design::write(&designed, out, args.folder.replace) {
            Ok(files) => files.iter().for_each(|file| output::remark(&format!("wrote {}", file.display()))),
            Err(error) => {
                output::error(&error.to_string(), Some(error.hint()));
                return Ok(Exit::InputError);
            }
        }
    }
    match args.format.format {
        Format::Json => output::json(&designed)?,
        Format::Text => output::result(&text::design(&designed, output::paint()))?,
    }
    Ok(Exit::Verdict(designed.exit_code()))
}
