//! Brings inside and room pressure onto one time axis.

use super::coarse::Unstepped;
use super::{InsidePressure, Record, RoomPressure};
use crate::Samples;

/// The barometer is interpolated over at most this many of its cadences; a longer hole is a gap.
pub const GAP_FACTOR: f64 = 5.0;

/// Pressures at the times of the inside pressure, in Pa.
#[derive(Debug, Clone, Default)]
pub(crate) struct Joined {
    pub(crate) time_s: Vec<f64>,
    pub(crate) difference_pa: Vec<f64>,
    pub(crate) room_pa: Vec<f64>,
}

impl Joined {
    pub(crate) fn absolute_pa(&self, index: usize) -> f64 {
        self.difference_pa[index] + self.room_pa[index]
    }

    /// Indices of the readings in the closed interval.
    pub(crate) fn range(&self, from_s: f64, to_s: f64) -> std::ops::Range<usize> {
        let start = self.time_s.partition_point(|&t| t < from_s);
        let end = self.time_s.partition_point(|&t| t <= to_s);
        start..end.max(start)
    }
}

/// Joins the pressures of a record; `barometer_ahead_s` is how far the barometer's clock runs ahead. Coarse steps of the
/// barometer, of which `resolution_pa` is what is stated, are taken out.
pub(crate) fn join(record: &Record<'_>, resolution_pa: f64, barometer_ahead_s: f64) -> Joined {
    let unstepped = match &record.room {
        RoomPressure::Logged(samples) => Unstepped::of(*samples, resolution_pa).map(|unstepped| unstepped.room_pa()),
        RoomPressure::Stated(_) => None,
    };
    join_with(record, barometer_ahead_s, unstepped.as_deref())
}

/// How much more a barometer showed a time later, in Pa, at each of some times of its clock; coarse steps taken out, and the
/// outermost readings holding beyond them.
pub(crate) fn change_of_room(samples: Samples<'_>, resolution_pa: f64, times_s: &[f64], later_s: f64) -> Vec<f64> {
    let unstepped = Unstepped::of(samples, resolution_pa).map(|unstepped| unstepped.room_pa());
    let smooth = unstepped.as_ref().and_then(|room_pa| Samples::new(samples.time_s(), room_pa).ok()).unwrap_or(samples);
    let (mut now, mut later) = (Interpolator::new(smooth), Interpolator::new(smooth));
    times_s.iter().map(|time_s| later.held_at(time_s + later_s) - now.held_at(*time_s)).collect()
}

/// The same with other room pressures at the times of the barometer's readings, in Pa.
pub(crate) fn join_with(record: &Record<'_>, barometer_ahead_s: f64, room_pa: Option<&[f64]>) -> Joined {
    let inside = record.inside.samples();
    let mut joined = Joined::default();
    let mut room = match &record.room {
        RoomPressure::Logged(samples) => {
            let replaced = room_pa.and_then(|room_pa| Samples::new(samples.time_s(), room_pa).ok());
            RoomAt::Logged(Interpolator::new(replaced.unwrap_or(*samples)))
        }
        RoomPressure::Stated(value) => RoomAt::Stated(*value),
    };
    for (&time, &reading) in inside.time_s().iter().zip(inside.value()) {
        let Some(room_pa) = room.at(time + barometer_ahead_s) else { continue };
        joined.time_s.push(time);
        joined.room_pa.push(room_pa);
        joined.difference_pa.push(match record.inside {
            InsidePressure::Gauge(_) => reading,
            InsidePressure::Absolute(_) => reading - room_pa,
        });
    }
    joined
}

enum RoomAt<'a> {
    Logged(Interpolator<'a>),
    Stated(f64),
}

impl RoomAt<'_> {
    fn at(&mut self, time_s: f64) -> Option<f64> {
        match self {
            Self::Logged(samples) => samples.at(time_s),
            Self::Stated(value) => Some(*value),
        }
    }
}

/// Linear interpolation for times that come in increasing order.
pub(crate) struct Interpolator<'a> {
    samples: Samples<'a>,
    longest_s: f64,
    reach_s: f64,
    next: usize,
}

impl<'a> Interpolator<'a> {
    pub(crate) fn new(samples: Samples<'a>) -> Self {
        let cadence_s = samples.cadence_s();
        Self { samples, longest_s: GAP_FACTOR * cadence_s, reach_s: cadence_s, next: 0 }
    }

    /// Value at a time not before the last one asked for; `None` inside a gap and more than one cadence beyond the
    /// ends, where the nearest reading still holds.
    pub(crate) fn at(&mut self, time_s: f64) -> Option<f64> {
        let times = self.samples.time_s();
        let values = self.samples.value();
        while self.next < times.len() && times[self.next] < time_s {
            self.next += 1;
        }
        if self.next == 0 {
            return (times[0] - time_s <= self.reach_s).then_some(values[0]);
        }
        let before = self.next - 1;
        if self.next == times.len() {
            return (time_s - times[before] <= self.reach_s).then_some(values[before]);
        }
        let step = times[self.next] - times[before];
        if step > self.longest_s {
            return None;
        }
        Some(values[before] + (values[self.next] - values[before]) * (time_s - times[before]) / step)
    }

    /// The same, but in gaps and beyond the ends the reading before, or else the first, holds.
    fn held_at(&mut self, time_s: f64) -> f64 {
        self.at(time_s).unwrap_or_else(|| self.samples.value()[self.next.saturating_sub(1)])
    }
}
