//! `tightfit manual`.

use std::io;

use clap::CommandFactory;

use crate::args::Arguments;
use crate::exit::Exit;
use crate::output;

pub(crate) fn run() -> io::Result<Exit> {
    let mut page = Vec::new();
    let command = Arguments::command();
    clap_mangen::Man::new(command.clone()).render(&mut page)?;
    for subcommand in command.get_subcommands().filter(|subcommand| subcommand.get_name() != "help") {
        let name = format!("tightfit-{}", subcommand.get_name());
        clap_mangen::Man::new(subcommand.clone().name(name)).render(&mut page)?;
    }
    output::result(&String::from_utf8_lossy(&page))?;
    Ok(Exit::Pass)
}
