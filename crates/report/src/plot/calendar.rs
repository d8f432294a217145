//! Round dates on an axis that counts days.

use jiff::civil::{Date, date};
use jiff::{Span, ToSpan};

use super::clock::Tick;

const EPOCH: Date = date(1970, 1, 1);
/// Months between ticks.
const MONTHS: [i32; 9] = [1, 2, 3, 6, 12, 24, 60, 120, 240];
/// Days between ticks, counted from the first one.
const DAYS: [i32; 4] = [1, 2, 7, 14];

/// Ticks at the first of months, `wanted` of them at most, for a span in days since 1970; on days where it is short.
pub(super) fn ticks([from, to]: [f64; 2], wanted: usize) -> Vec<Tick> {
    let most = wanted.max(1) as f64;
    let day = |number: f64| EPOCH.checked_add((number as i64).days()).ok();
    let Some(first) = day(from.ceil()) else { return Vec::new() };
    if let Some(step) = DAYS.into_iter().find(|step| (to - from) / f64::from(*step) <= most - 1.0) {
        return every(first, step.days(), to, "%Y-%m-%d");
    }
    let months = |step: &i32| f64::from(*step) * 30.4;
    let step = MONTHS.into_iter().find(|step| (to - from) / months(step) <= most).unwrap_or(600);
    // At least a year apart they stand at new years that the step divides.
    let years = i16::try_from(step / 12).unwrap_or(1).max(1);
    let year = if step > 12 { first.year().div_euclid(years) * years } else { first.year() };
    let Ok(start) = Date::new(year, 1, 1) else { return Vec::new() };
    let format = if step >= 12 { "%Y" } else { "%Y-%m" };
    every(start, step.months(), to, format).into_iter().filter(|tick| tick.0 >= from).collect()
}

fn every(start: Date, step: Span, to: f64, format: &str) -> Vec<Tick> {
    let number = |day: Date| f64::from((day - EPOCH).get_days());
    let days = start.series(step).take_while(|day| number(*day) <= to);
    days.map(|day| (number(day), day.strftime(format).to_string())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(from: Date, to: Date) -> Vec<String> {
        let number = |day: Date| f64::from((day - EPOCH).get_days());
        ticks([number(from), number(to)], 6).into_iter().map(|tick| tick.1).collect()
    }

    #[test]
    fn years_months_and_days_stand_at_round_dates() {
        assert_eq!(labels(date(2021, 5, 4), date(2026, 5, 4)), ["2022", "2023", "2024", "2025", "2026"]);
        assert_eq!(labels(date(2003, 5, 4), date(2026, 5, 4)), ["2005", "2010", "2015", "2020", "2025"]);
        assert_eq!(
            labels(date(2026, 2, 10), date(2026, 8, 2)),
            ["2026-03", "2026-04", "2026-05", "2026-06", "2026-07", "2026-08"]
        );
        assert_eq!(labels(date(2025, 11, 3), date(2026, 11, 3)), ["2026-01", "2026-04", "2026-07", "2026-10"]);
        assert_eq!(
            labels(date(2026, 5, 4), date(2026, 5, 7)),
            ["2026-05-04", "2026-05-05", "2026-05-06", "2026-05-07"]
        );
    }
}
