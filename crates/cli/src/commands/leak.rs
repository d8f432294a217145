//! `tightfit leak FILE…`.

use std::io;

use tightfit_report::plan::{Mistake, PlanError};
use tightfit_report::{LeakFlags, QualifyError, qualify_by_flags};

use crate::args::LeakArgs;
use crate::commands::qualify;
use crate::exit::Exit;
use crate::output;

pub(crate) fn run(args: &LeakArgs) -> io::Result<Exit> {
    let flags = LeakFlags {
        files: args.files.clone(),
        volume: args.volume.clone(),
        at: args.at.clone(),
        gas: args.gas.clone(),
        max: args.max.clone(),
        compliance: args.compliance.clone(),
        room_pressure: args.room_pressure.clone(),
        time_zone: args.zone.time_zone.clone(),
        from: args.from.clone(),
        to: args.to.clone(),
    };
    match qualify_by_flags(&flags) {
        Ok(qualified) => qualify::print(&qualified, args.format.format),
        Err(QualifyError::Plan(error)) => Ok(refuse(&error)),
        Err(error) => Ok(qualify::refuse(&error)),
    }
}

/// The mistakes of the plan that the flags stand for, told of the flags.
fn refuse(error: &PlanError) -> Exit {
    for located in &error.mistakes {
        let key = located.text.split_once(" = ").map_or("", |(key, _)| key);
        if let Mistake::Missing { key: "reference_pressure", .. } = located.mistake {
            output::error("--max says nothing without the pressure at which it holds", Some("add: --at \"-1000 Pa\""));
            continue;
        }
        let sentence = located.mistake.to_string();
        let sentence = sentence.strip_prefix(&format!("\"{key}\": ")).unwrap_or(&sentence);
        output::error(&format!("{}: {sentence}", flag(key)), located.mistake.hint().as_deref());
    }
    Exit::InputError
}

/// The flag that a key of the plan comes from.
fn flag(key: &str) -> String {
    match key {
        "reference_pressure" => "--at".to_owned(),
        "pressure" => "--room-pressure".to_owned(),
        key => format!("--{}", key.replace('_', "-")),
    }
}
