//! One channel over several files, joined in time.

use tightfit_ingest::{Channel, Status};

use crate::data::{ChannelData, TestData};
use crate::plan::Window;

use super::TestError;

/// The channel over all files; where files overlap in time, the later one begins after the end of the earlier.
/// `None` where no file holds it.
pub(super) fn joined<'p>(data: &TestData<'p>, channel: Channel) -> Result<Option<ChannelData<'p>>, TestError> {
    let mut parts = data.channels(channel)?;
    parts.sort_by(|a, b| first_s(a).total_cmp(&first_s(b)));
    let mut parts = parts.into_iter();
    let Some(mut whole) = parts.next() else { return Ok(None) };
    for part in parts {
        // Two columns of one file are two sensors, not two parts of one record.
        if part.file == whole.file {
            continue;
        }
        append(&mut whole, &part);
    }
    Ok(Some(whole))
}

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

fn first_s(part: &ChannelData<'_>) -> f64 {
    part.time_s.first().copied().unwrap_or(f64::INFINITY)
}

fn append(whole: &mut ChannelData<'_>, part: &ChannelData<'_>) {
    let end_s = whole.time_s.last().copied().unwrap_or(f64::NEG_INFINITY);
    let from = part.time_s.partition_point(|time| *time <= end_s);
    if !whole.status.is_empty() || !part.status.is_empty() {
        whole.status.resize(whole.time_s.len(), Status::Measured);
        let status =
            if part.status.is_empty() { vec![Status::Measured; part.time_s.len()] } else { part.status.clone() };
        whole.status.extend_from_slice(&status[from..]);
    }
    whole.time_s.extend_from_slice(&part.time_s[from..]);
    whole.value.extend_from_slice(&part.value[from..]);
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
