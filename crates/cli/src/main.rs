//! The `tightfit` program: parse, call, print, exit.

mod args;
mod commands;
mod exit;
mod output;
mod progress;

use std::process::ExitCode;

use clap::Parser;

use args::{Arguments, Command};

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let outcome = match arguments.command {
        Command::Qualify(args) => commands::qualify::run(&args),
        Command::Diagnose(args) => commands::diagnose::run(&args),
        Command::Inspect(args) => commands::inspect::run(&args),
        Command::Draft(args) => commands::draft::run(&args),
        Command::Design(args) => commands::design::run(&args),
        Command::Recheck(args) => commands::recheck::run(&args),
        Command::Leak(args) => commands::leak::run(&args),
        Command::Convert(args) => commands::convert::run(&args),
        Command::History(command) => commands::history::run(&command),
        Command::Completions(args) => commands::completions::run(&args),
        Command::Manual => commands::manual::run(),
    };
    match outcome {
        Ok(exit) => exit.into(),
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => exit::Exit::Pass.into(),
        Err(error) => {
            output::error(&format!("the output cannot be written: {error}"), None);
            exit::Exit::InputError.into()
        }
    }
}
