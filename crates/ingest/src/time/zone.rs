//! Local times to UTC: the autumn fold from the order of the rows, the spring gap reported.

use jiff::SignedDuration;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use super::cell::DAY_NS;

const SECOND_NS: i64 = 1_000_000_000;

/// What became of local times.
#[derive(Debug, Default, Clone)]
pub(crate) struct Conversion {
    /// Rows whose local time the clock skipped.
    pub(crate) skipped: Vec<usize>,
    /// Rows inside an hour that came twice.
    pub(crate) folded: usize,
    /// How many of these are of the second pass.
    pub(crate) second_pass: usize,
    /// The fold had one pass only, and nothing before or after it told which.
    pub(crate) fold_guessed: bool,
}

/// A zone by IANA name or as a fixed offset.
pub(crate) fn parse(name: &str) -> Option<TimeZone> {
    let name = name.trim();
    if let Ok(zone) = TimeZone::get(name) {
        return Some(zone);
    }
    let seconds = super::cell::offset_in(name).or_else(|| super::cell::offset_in(&format!("UTC{name}")))?;
    Offset::from_seconds(seconds).ok().map(TimeZone::fixed)
}

/// Turn local times (ns of the civil clock since 1970) into UTC, in row order.
pub(crate) fn to_utc(times: &mut [i64], zone: &TimeZone) -> Conversion {
    let mut conversion = Conversion::default();
    let mut day = Day { number: i64::MIN, offset_s: None };
    let mut previous: Option<i64> = None;
    let mut index = 0;
    while index < times.len() {
        let local = times[index];
        let number = local.div_euclid(DAY_NS);
        if day.number != number {
            day = Day::new(number, zone);
        }
        if let Some(offset) = day.offset_s {
            times[index] = local - i64::from(offset) * SECOND_NS;
        } else {
            match ambiguous(local, zone) {
                Some(AmbiguousOffset::Unambiguous { offset }) => {
                    times[index] = local - i64::from(offset.seconds()) * SECOND_NS;
                }
                Some(AmbiguousOffset::Gap { before, .. }) => {
                    times[index] = local - i64::from(before.seconds()) * SECOND_NS;
                    conversion.skipped.push(index);
                    index += 1;
                    continue;
                }
                Some(AmbiguousOffset::Fold { before, after }) => {
                    let end = fold_end(times, index, zone);
                    resolve_fold(&mut times[index..], end - index, previous, (before, after), zone, &mut conversion);
                    conversion.folded += end - index;
                    previous = Some(times[end - 1]);
                    index = end;
                    continue;
                }
                None => {}
            }
        }
        previous = Some(times[index]);
        index += 1;
    }
    conversion
}

/// A day without a change of clocks has one offset.
struct Day {
    number: i64,
    offset_s: Option<i32>,
}

impl Day {
    fn new(number: i64, zone: &TimeZone) -> Self {
        let at = |ns: i64| match ambiguous(ns, zone) {
            Some(AmbiguousOffset::Unambiguous { offset }) => Some(offset.seconds()),
            _ => None,
        };
        let start = number.saturating_mul(DAY_NS);
        let (first, last) =
            (at(start.saturating_sub(2 * 3600 * SECOND_NS)), at(start.saturating_add(DAY_NS + 2 * 3600 * SECOND_NS)));
        Self { number, offset_s: first.filter(|_| first == last) }
    }
}

fn civil(local_ns: i64) -> Option<DateTime> {
    jiff::civil::date(1970, 1, 1).at(0, 0, 0, 0).checked_add(SignedDuration::from_nanos(local_ns)).ok()
}

fn ambiguous(local_ns: i64, zone: &TimeZone) -> Option<AmbiguousOffset> {
    Some(zone.to_ambiguous_timestamp(civil(local_ns)?).offset())
}

/// The first row behind the run of rows inside the fold.
fn fold_end(times: &[i64], start: usize, zone: &TimeZone) -> usize {
    let behind =
        times[start..].iter().position(|local| !matches!(ambiguous(*local, zone), Some(AmbiguousOffset::Fold { .. })));
    behind.map_or(times.len(), |at| start + at)
}

/// Rows before the clock went back are of the first pass, rows after it of the second. With one pass only the
/// smaller break, to the row before or to the row behind, tells which it was.
fn resolve_fold(
    rows: &mut [i64],
    count: usize,
    previous: Option<i64>,
    (before, after): (Offset, Offset),
    zone: &TimeZone,
    conversion: &mut Conversion,
) {
    let first_pass = |local: i64| local - i64::from(before.seconds()) * SECOND_NS;
    let second_pass = |local: i64| local - i64::from(after.seconds()) * SECOND_NS;
    let hour = i64::from(before.seconds() - after.seconds()) * SECOND_NS;
    let step_back = (1..count).find(|i| rows[*i] < rows[i - 1] && rows[i - 1] - rows[*i] > hour / 3);
    let change = if let Some(at) = step_back {
        at
    } else {
        let gap_before = previous.map(|previous| first_pass(rows[0]) - previous);
        let behind = rows.get(count).and_then(|local| ambiguous(*local, zone).map(|offset| (*local, offset)));
        let gap_behind = behind.and_then(|(local, offset)| match offset {
            AmbiguousOffset::Unambiguous { offset } => {
                Some(local - i64::from(offset.seconds()) * SECOND_NS - second_pass(rows[count - 1]))
            }
            _ => None,
        });
        match (gap_before, gap_behind) {
            (Some(gap_before), Some(gap_behind)) if gap_before <= gap_behind => count,
            (Some(_) | None, Some(_)) => 0,
            (Some(_), None) => count,
            (None, None) => {
                conversion.fold_guessed = true;
                count
            }
        }
    };
    conversion.second_pass += count - change;
    for (i, local) in rows[..count].iter_mut().enumerate() {
        *local = if i < change { first_pass(*local) } else { second_pass(*local) };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utc_minutes(zone: &str, locals: &[&str]) -> (Vec<i64>, Conversion) {
        let mut times: Vec<i64> = locals
            .iter()
            .map(|text| {
                let moment = super::super::cell::moment(text.as_bytes()).expect("a time");
                moment.date.and_then(|d| d.days(super::super::cell::Order::Ymd)).expect("a date") * DAY_NS
                    + moment.clock_ns.expect("a clock")
            })
            .collect();
        let conversion = to_utc(&mut times, &parse(zone).expect("a zone"));
        let start = times[0];
        (times.iter().map(|t| (t - start) / (60 * SECOND_NS)).collect(), conversion)
    }

    #[test]
    fn the_autumn_fold_follows_the_order_of_rows() {
        let (minutes, conversion) = utc_minutes(
            "Europe/Vienna",
            &[
                "2026-10-25 01:30",
                "2026-10-25 02:00",
                "2026-10-25 02:30",
                "2026-10-25 02:00",
                "2026-10-25 02:30",
                "2026-10-25 03:00",
            ],
        );
        assert_eq!(minutes, [0, 30, 60, 90, 120, 150]);
        assert_eq!(conversion.folded, 4);
    }

    #[test]
    fn one_pass_through_the_fold_goes_where_the_log_runs_on() {
        let (minutes, _) = utc_minutes("Europe/Vienna", &["2026-10-25 02:30", "2026-10-25 02:45", "2026-10-25 03:00"]);
        assert_eq!(minutes, [0, 15, 30]);
    }

    #[test]
    fn the_spring_gap_is_reported() {
        let (_, conversion) =
            utc_minutes("Europe/Vienna", &["2026-03-29 01:30", "2026-03-29 02:30", "2026-03-29 03:30"]);
        assert_eq!(conversion.skipped, [1]);
    }

    #[test]
    fn zones_may_be_offsets() {
        for zone in ["Europe/Vienna", "UTC", "+02:00", "UTC+2", "GMT-07:00", "America/New_York"] {
            assert!(parse(zone).is_some(), "{zone}");
        }
        assert!(parse("Nowhere/Atlantis").is_none());
    }
}
