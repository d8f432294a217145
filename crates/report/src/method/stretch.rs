//! Parts of a record: windows set by hand, stretches of a state.

use crate::data::{ChannelData, TestData};
use crate::plan::Window;

/// Keeps what lies in a window that was set by hand.
pub(super) fn cut(data: &TestData<'_>, channel: &mut ChannelData<'_>, window: Option<Window>) {
    let Some(window) = window else { return };
    let [from_s, to_s] = data.window_s(channel, window);
    let first = channel.time_s.partition_point(|time| *time < from_s);
    let end = channel.time_s.partition_point(|time| *time <= to_s).max(first);
    channel.time_s = channel.time_s[first..end].to_vec();
    channel.value = channel.value[first..end].to_vec();
    if !channel.status.is_empty() {
        channel.status = channel.status[first..end].to_vec();
    }
}

/// Why a window is the one it is, for methods that look at the whole record.
pub(super) fn whole_or_set(window: Option<Window>) -> String {
    if window.is_some() { "set by hand" } else { "the whole record" }.to_owned()
}

/// Stretches in which a state channel fulfils `is`: from the reading that says so to the next that does not.
pub(super) fn stretches(state: &ChannelData<'_>, is: impl Fn(f64) -> bool) -> Vec<[f64; 2]> {
    let mut found = Vec::new();
    let mut open: Option<f64> = None;
    for (time, value) in state.time_s.iter().zip(&state.value) {
        match (open, is(*value)) {
            (None, true) => open = Some(*time),
            (Some(from), false) => {
                found.push([from, *time]);
                open = None;
            }
            _ => {}
        }
    }
    if let (Some(from), Some(last)) = (open, state.time_s.last()) {
        // The last reading belongs to the stretch that it ends.
        found.push([from, last.next_up()]);
    }
    found
}
