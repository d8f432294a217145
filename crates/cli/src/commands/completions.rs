//! `tightfit completions SHELL`.

use std::io;

use clap::CommandFactory;

use crate::args::{Arguments, CompletionsArgs};
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &CompletionsArgs) -> io::Result<Exit> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Arguments::command(), "tightfit", &mut script);
    output::result(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Pass)
}
