//! Numbers of switches and valves, brought to 0 (off, closed) to 1 (on, open).

use crate::assign::Assigned;
use crate::channel::Channel;

/// What a logger writes for "on".
const FULL: [f64; 3] = [-1.0, 100.0, 255.0];

/// Brings the values of a switch or valve to 0 to 1; says how, where that was needed.
#[expect(clippy::float_cmp, reason = "a logger writes its states as whole numbers, which are exact")]
pub(crate) fn bring_to_unit(column: &Assigned, values: &mut [f64]) -> Option<String> {
    let switches = [Channel::ValveOpen, Channel::PurifierOn, Channel::Transfer];
    if !switches.contains(&column.channel) || column.words.is_some() {
        return None;
    }
    let numbers = || values.iter().copied().filter(|value| !value.is_nan());
    let full = FULL.into_iter().find(|full| numbers().any(|value| value == *full))?;
    let two_states = numbers().all(|value| value == 0.0 || value == full);
    let percent = full == 100.0 && numbers().all(|value| (0.0..=100.0).contains(&value));
    if !two_states && !percent {
        return None;
    }
    for value in values.iter_mut() {
        *value /= full;
    }
    Some(if two_states {
        format!("{}: {full} counts as 1", column.channel)
    } else {
        format!("{}: 0 to 100 is read as a percentage", column.channel)
    })
}
