//! The time base: which cells hold the time, what they mean, and what zone they are in.

pub(crate) mod cell;
pub(crate) mod find;
pub(crate) mod order;
pub(crate) mod zone;

use cell::{DAY_NS, Moment, Order, moment};

use crate::account::RowReason;
use crate::number::{self, NumberStyle};

/// How the time of a row is put together from its cells.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TimePlan {
    pub(crate) parts: Vec<(usize, Part)>,
    pub(crate) base: Base,
    pub(crate) style: NumberStyle,
}

/// What one cell adds to the time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Part {
    /// Date, or date and clock, in this order of day and month.
    Date(Order),
    /// Clock alone.
    Clock,
    /// A plain number of this many nanoseconds each.
    Number { ns_per_unit: f64, offset_ns: i64 },
    /// The plan's own pattern over the cells from this one on, joined by blanks.
    Pattern { pattern: String, columns: Vec<usize> },
}

/// What the sum of the parts counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Base {
    /// UTC, or the offset stands in each row.
    Utc,
    /// Local time of a fixed offset, seconds east.
    Offset(i32),
    /// Local time of the room.
    Local,
    /// Elapsed.
    Elapsed,
    /// Clock without a date: elapsed, passing midnight.
    ClockOnly,
}

impl TimePlan {
    /// The time of a row, ns; and whether the row states its own offset (then the time is UTC).
    pub(crate) fn row<'a>(
        &self,
        field: impl Fn(usize) -> &'a [u8],
        memory: &mut DateMemory,
    ) -> Result<(i64, bool), RowReason> {
        let mut total: i64 = 0;
        let mut has_offset = false;
        for (column, part) in &self.parts {
            let cell = field(*column);
            if cell.is_empty() {
                return Err(RowReason::TimeMissing);
            }
            let ns = match part {
                Part::Date(order) => {
                    let (ns, offset) = memory.date_and_clock(cell, *order).ok_or(RowReason::TimeUnreadable)?;
                    has_offset |= offset;
                    ns
                }
                Part::Clock => {
                    let Moment { date: None, clock_ns: Some(ns), offset_s, .. } =
                        moment(cell).ok_or(RowReason::TimeUnreadable)?
                    else {
                        return Err(RowReason::TimeUnreadable);
                    };
                    has_offset |= offset_s.is_some();
                    ns - i64::from(offset_s.unwrap_or(0)) * 1_000_000_000
                }
                Part::Number { ns_per_unit, offset_ns } => {
                    let value = number::parse(cell, self.style).ok_or_else(|| unreadable_number(cell))?;
                    scaled(value, *ns_per_unit)
                        .and_then(|ns| ns.checked_add(*offset_ns))
                        .ok_or(RowReason::TimeUnreadable)?
                }
                Part::Pattern { pattern, columns } => {
                    let (ns, offset) = by_pattern(pattern, columns, &field).ok_or(RowReason::TimeUnreadable)?;
                    has_offset |= offset;
                    ns
                }
            };
            total = total.checked_add(ns).ok_or(RowReason::TimeUnreadable)?;
        }
        Ok((total, has_offset))
    }
}

fn unreadable_number(cell: &[u8]) -> RowReason {
    if matches!(crate::cell::read(cell, NumberStyle::POINT), crate::cell::Cell::Missing) {
        RowReason::TimeMissing
    } else {
        RowReason::TimeUnreadable
    }
}

/// Nanoseconds within ±200 years.
fn scaled(value: f64, ns_per_unit: f64) -> Option<i64> {
    const MOST: f64 = 6.3e18;
    let ns = (value * ns_per_unit).round();
    (ns.abs() < MOST).then_some(ns as i64)
}

fn by_pattern<'a>(pattern: &str, columns: &[usize], field: &impl Fn(usize) -> &'a [u8]) -> Option<(i64, bool)> {
    let cells: Option<Vec<&str>> = columns.iter().map(|column| std::str::from_utf8(field(*column)).ok()).collect();
    let text = cells?.join(" ");
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let parsed = jiff::fmt::strtime::parse(pattern, &text).ok()?;
    if parsed.offset().is_some()
        && let Ok(timestamp) = parsed.to_timestamp()
    {
        return Some((i64::try_from(timestamp.as_nanosecond()).ok()?, true));
    }
    let days = match parsed.to_date() {
        Ok(date) => date.duration_since(jiff::civil::date(1970, 1, 1)).as_hours() / 24,
        Err(_) if !pattern.contains(['d', 'j', 'F', 'D', 'x', 'c']) => 0,
        Err(_) => return None,
    };
    let clock = parsed.to_time().map_or(0, |time| time.duration_since(jiff::civil::Time::midnight()).as_nanos());
    Some((days.checked_mul(DAY_NS)?.checked_add(i64::try_from(clock).ok()?)?, false))
}

/// The last date seen, as text and as days: consecutive rows share it, and reading it is half of the work.
#[derive(Debug, Clone, Default)]
pub(crate) struct DateMemory {
    text: Vec<u8>,
    days_ns: i64,
}

impl DateMemory {
    /// Date and clock in ns since 1970 (UTC where the cell states an offset: `true`).
    fn date_and_clock(&mut self, cell: &[u8], order: Order) -> Option<(i64, bool)> {
        if let Some(found) = self.remembered(cell) {
            return Some(found);
        }
        let found = moment(cell)?;
        let days_ns = found.date?.days(order)?.checked_mul(DAY_NS)?;
        let clock = found.clock_ns.unwrap_or(0);
        if clock > DAY_NS + 1_000_000_000 {
            return None;
        }
        self.remember(cell, days_ns);
        Some((days_ns + clock - i64::from(found.offset_s.unwrap_or(0)) * 1_000_000_000, found.offset_s.is_some()))
    }

    /// `dddddddddd hh:mm:ss`, the ten characters of the date those of the row before.
    fn remembered(&self, cell: &[u8]) -> Option<(i64, bool)> {
        let (date, rest) = cell.split_at_checked(10)?;
        if self.text != date {
            return None;
        }
        let [b' ' | b'T', h1, h2, b':', m1, m2, b':', s1, s2, fraction @ ..] = rest else { return None };
        let pair = |tens: u8, ones: u8| -> Option<i64> {
            let (tens, ones) = (tens.wrapping_sub(b'0'), ones.wrapping_sub(b'0'));
            (tens < 10 && ones < 10).then(|| i64::from(tens * 10 + ones))
        };
        let (hour, minute, second) = (pair(*h1, *h2)?, pair(*m1, *m2)?, pair(*s1, *s2)?);
        if hour > 23 || minute > 59 || second > 59 {
            return None;
        }
        let ns = self.days_ns + (hour * 3600 + minute * 60 + second) * 1_000_000_000;
        match fraction {
            [] => Some((ns, false)),
            [b'Z'] => Some((ns, true)),
            [b'.' | b',', digits @ ..] if (1..=9).contains(&digits.len()) && digits.iter().all(u8::is_ascii_digit) => {
                let value = digits.iter().fold(0i64, |sum, digit| sum * 10 + i64::from(digit - b'0'));
                Some((ns + value * 10i64.pow(9 - digits.len() as u32), false))
            }
            _ => None,
        }
    }

    /// Only dates of ten characters, year and all, are worth remembering.
    fn remember(&mut self, cell: &[u8], days_ns: i64) {
        self.text.clear();
        if let Some((date, [b' ' | b'T', ..])) = cell.split_at_checked(10)
            && date.iter().all(|byte| byte.is_ascii_digit() || matches!(byte, b'-' | b'/' | b'.'))
        {
            self.text.extend_from_slice(date);
            self.days_ns = days_ns;
        }
    }
}
