//! Channels of several loggers on one time base, without inventing data: straight lines between neighbouring
//! readings, never across a gap, never beyond the ends, never through a censored reading.

use std::sync::Arc;

use crate::channel::{Channel, Kind};
use crate::recording::{Series, Status};

/// How channels are brought onto one time base.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JoinOptions {
    /// Longest step that is bridged, in median steps of the channel.
    pub longest_gap_in_cadences: f64,
}

impl Default for JoinOptions {
    /// Three steps: two lost readings are bridged, a pause is not.
    fn default() -> Self {
        Self { longest_gap_in_cadences: 3.0 }
    }
}

/// Channels on one time base.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined {
    /// Times, s, ascending.
    pub time_s: Arc<Vec<f64>>,
    /// One column a channel.
    pub columns: Vec<JoinedColumn>,
    /// How values came about, in words, for the record.
    pub method: String,
}

/// One channel on the common time base.
#[derive(Debug, Clone, PartialEq)]
pub struct JoinedColumn {
    /// The series it came from, without its readings: channel, unit, instrument.
    pub channel: Channel,
    /// Unit of the export.
    pub unit: String,
    /// Instrument of the plan.
    pub instrument: Option<String>,
    /// Values in SI, `None` where the channel says nothing about that time.
    pub value: Vec<Option<f64>>,
    /// Status of each value; [`Status::Measured`] where there is none.
    pub status: Vec<Status>,
}

/// Bring `series` onto the times of the first of them.
///
/// Between two measured readings a value is the straight line between them, for states the reading before. A value
/// stands only where the step from reading to reading is at most the given multiple of the channel's median step. A
/// censored reading is kept at its own time and not interpolated from.
pub fn join(series: &[&Series], options: JoinOptions) -> Joined {
    let time_s = series.first().map(|first| Arc::clone(&first.time_s)).unwrap_or_default();
    join_at(time_s, series, options)
}

/// Bring `series` onto given times (s, ascending). See [`join`].
pub fn join_at(time_s: Arc<Vec<f64>>, series: &[&Series], options: JoinOptions) -> Joined {
    let columns = series.iter().map(|series| column_at(&time_s, series, options)).collect();
    Joined {
        time_s,
        columns,
        method: format!(
            "straight lines between neighbouring readings (states: the reading before), across at most {} median steps of the channel",
            options.longest_gap_in_cadences
        ),
    }
}

fn column_at(time_s: &[f64], series: &Series, options: JoinOptions) -> JoinedColumn {
    let longest = options.longest_gap_in_cadences * median_step(&series.time_s).unwrap_or(0.0);
    let mut value = Vec::with_capacity(time_s.len());
    let mut status = Vec::with_capacity(time_s.len());
    let mut next = 0;
    for time in time_s {
        while next < series.len() && series.time_s[next] < *time {
            next += 1;
        }
        let (found, state) = at(series, next, *time, longest);
        value.push(found);
        status.push(state);
    }
    JoinedColumn {
        channel: series.channel,
        unit: series.unit.clone(),
        instrument: series.instrument.clone(),
        value,
        status,
    }
}

/// The value at `time`; `next` is the first reading at or behind it.
#[expect(clippy::float_cmp, reason = "a reading at exactly that time is taken as it stands")]
fn at(series: &Series, next: usize, time: f64, longest: f64) -> (Option<f64>, Status) {
    if next < series.len() && series.time_s[next] == time {
        return (Some(series.value[next]), series.status_at(next));
    }
    let (Some(before), true) = (next.checked_sub(1), next < series.len()) else { return (None, Status::Measured) };
    let step = series.time_s[next] - series.time_s[before];
    let measured = series.status_at(before) == Status::Measured && series.status_at(next) == Status::Measured;
    if step > longest || !measured {
        return (None, Status::Measured);
    }
    if series.channel.kind() == Kind::State {
        return (Some(series.value[before]), Status::Measured);
    }
    let share = (time - series.time_s[before]) / step;
    (Some(series.value[before] + share * (series.value[next] - series.value[before])), Status::Measured)
}

fn median_step(time_s: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step > 0.0).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    Some(*steps.select_nth_unstable_by(middle, f64::total_cmp).1)
}
