//! Finds the hold in a record.

use super::join::Joined;
use super::{Event, PressureChangeError, Record, Settings, Window, WindowChoice, WindowEnd, WindowStart};
use std::ops::Range;

/// What was found.
pub(crate) struct Found {
    pub(crate) window: Window,
    /// Joined readings in the window.
    pub(crate) range: Range<usize>,
    /// Which joined readings are used.
    pub(crate) keep: Vec<bool>,
    pub(crate) events: Vec<Event>,
    /// Times of steps that are to be modelled, in s.
    pub(crate) steps_s: Vec<f64>,
}

pub(crate) fn find(record: &Record<'_>, settings: &Settings, joined: &Joined) -> Result<Found, PressureChangeError> {
    let inside = record.inside.samples();
    let window = match settings.window {
        WindowChoice::Set { from_s, to_s } => Window { from_s, to_s, start: WindowStart::Set, end: WindowEnd::Set },
        WindowChoice::Auto => Window {
            from_s: inside.first_time_s(),
            to_s: inside.last_time_s(),
            start: WindowStart::RecordStart,
            end: WindowEnd::RecordEnd,
        },
    };
    let range = joined.range(window.from_s, window.to_s);
    Ok(Found { window, range, keep: vec![true; joined.time_s.len()], events: Vec::new(), steps_s: Vec::new() })
}
