//! `tightfit leak FILE…`.

use std::io;

use tightfit_report::{LeakFlags, qualify_by_flags};

use crate::args::LeakArgs;
use crate::commands::qualify;
use crate::exit::Exit;

pub(crate) fn run(args: &LeakArgs) -> io::Result<Exit> {
    let flags = LeakFlags {
        files: args.files.clone(),
        volume: args.volume.clone(),
        at: args.at.clone(),
        gas: args.gas.clone(),
        max: args.max.clone(),
        compliance: args.compliance.clone(),
        room_pressure: args.room_pressure.clone(),
        time_zone: args.time_zone.clone(),
        from: args.from.clone(),
        to: args.to.clone(),
    };
    match qualify_by_flags(&flags) {
        Ok(qualified) => qualify::print(&qualified, args.format),
        Err(error) => Ok(qualify::refuse(&error)),
    }
}
