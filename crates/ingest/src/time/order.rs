//! Which order day, month and year stand in, told from all dates of the column.

use super::cell::{Order, Orders, RawDate, moment};
use crate::question::{Question, Topic};
use crate::records::{Record, text_of};

/// The dates of a column in row order, each once where rows repeat it.
#[derive(Debug, Clone)]
pub(crate) struct Dates {
    possible: Orders,
    distinct: Vec<RawDate>,
    contradiction: Option<RawDate>,
}

/// What the dates say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// One order, and why.
    Decided(Order, String),
    /// Several orders remain.
    Open(Vec<Order>),
    /// No order fits all dates.
    Contradiction,
}

impl Dates {
    pub(crate) fn new() -> Self {
        Self { possible: Orders::ALL, distinct: Vec::new(), contradiction: None }
    }

    pub(crate) fn add(&mut self, date: RawDate) {
        const MOST: usize = 4000;
        if self.distinct.last() == Some(&date) {
            return;
        }
        let left = self.possible.and(date.orders());
        if left.is_empty() {
            self.contradiction = Some(date);
        } else {
            self.possible = left;
        }
        if self.distinct.len() < MOST {
            self.distinct.push(date);
        }
    }

    pub(crate) fn verdict(&self) -> Verdict {
        let left = self.possible.list();
        if self.contradiction.is_some() && left.len() != 1 {
            return Verdict::Contradiction;
        }
        if let [order] = left[..] {
            let because = match self.distinct.first() {
                Some(date) if date.orders().list().len() == 1 => "the dates can be read in no other way".to_owned(),
                _ => "only this order makes every date of the column a date".to_owned(),
            };
            return Verdict::Decided(order, because);
        }
        if self.distinct.iter().all(|date| left.windows(2).all(|pair| date.days(pair[0]) == date.days(pair[1]))) {
            return Verdict::Decided(left[0], "day and month are the same number".into());
        }
        self.by_steps(&left).map_or(Verdict::Open(left), |order| {
            Verdict::Decided(
                order,
                "in this order the log runs on from day to day; in any other it would leap by months".into(),
            )
        })
    }

    /// A log steps from day to day; read in the wrong order it leaps by months or years.
    fn by_steps(&self, left: &[Order]) -> Option<Order> {
        let leap = |order: Order| -> Option<i64> {
            let days: Option<Vec<i64>> = self.distinct.iter().map(|date| date.days(order)).collect();
            days?.windows(2).map(|pair| (pair[1] - pair[0]).abs()).max()
        };
        let mut leaps: Vec<(i64, Order)> = left.iter().filter_map(|order| Some((leap(*order)?, *order))).collect();
        leaps.sort_by_key(|(days, _)| *days);
        match leaps[..] {
            [(best, order), (next, _), ..] if best <= 7 && next >= 28 => Some(order),
            _ => None,
        }
    }
}

/// The question that dates of an open order pose, with a pattern for each answer. The first of the `time` columns holds the
/// date; a pattern speaks of all of them, with a blank between.
pub(crate) fn question(orders: &[Order], rows: &[Record<'_>], time: &[usize]) -> Question {
    let others = time.iter().filter(|column| **column != time[0]);
    let columns: Vec<usize> = std::iter::once(&time[0]).chain(others).copied().collect();
    let row = rows.iter().find(|row| moment(row.field(time[0])).is_some());
    let cells = row.map(|row| columns.iter().map(|column| text_of(row.field(*column))).collect::<Vec<_>>());
    let example = cells.unwrap_or_default().join(" ");
    // The clock may have a point of its own, so the date alone tells what stands between its parts.
    let date = example.split([' ', 'T']).next().unwrap_or_default();
    let names: Vec<&str> = orders.iter().map(|order| order.name()).collect();
    let separator = ["-", "."].into_iter().find(|mark| date.contains(mark)).unwrap_or("/");
    let year = if example.split(|c: char| !c.is_ascii_digit()).any(|part| part.len() == 4) { "%Y" } else { "%y" };
    let written = |column: &usize| row.and_then(|row| moment(row.field(*column)));
    let twelve_hours = columns.iter().filter_map(written).any(|moment| moment.half_day);
    let (colons, seconds) = (example.matches(':').count(), example.rsplit(':').next().unwrap_or_default());
    let clock = match (twelve_hours, colons) {
        (true, 0 | 1) => " %I:%M %p",
        (true, _) => " %I:%M:%S %p",
        (false, 0) => "",
        (false, 1) => " %H:%M",
        // Also a bare point after the seconds, which some loggers write.
        (false, _) if seconds.contains('.') => " %H:%M:%S%.f",
        (false, _) => " %H:%M:%S",
    };
    let patterns: Vec<String> = orders
        .iter()
        .map(|order| {
            let date = match order {
                Order::Ymd => [year, "%m", "%d"],
                Order::Dmy => ["%d", "%m", year],
                Order::Mdy => ["%m", "%d", year],
            };
            format!("time = \"{}{clock}\"", date.join(separator))
        })
        .collect();
    Question {
        topic: Topic::Time,
        text: format!("time: '{example}' may be read {}, and no date of the file decides", names.join(" or ")),
        answer: format!("[test.format] {}", patterns.join("   # or ")),
        blocking: true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(dates: &[&str]) -> Verdict {
        let mut all = Dates::new();
        for text in dates {
            if let Some(date) = moment(text.as_bytes()).and_then(|m| m.date) {
                all.add(date);
            }
        }
        all.verdict()
    }

    fn order(dates: &[&str]) -> Option<Order> {
        match verdict(dates) {
            Verdict::Decided(order, _) => Some(order),
            _ => None,
        }
    }

    #[test]
    fn one_value_decides_for_all() {
        assert_eq!(order(&["03/04/2026 10:00", "13/04/2026 10:00"]), Some(Order::Dmy));
        assert_eq!(order(&["03/04/2026 10:00", "04/13/2026 10:00"]), Some(Order::Mdy));
    }

    #[test]
    fn steps_from_day_to_day_decide_where_no_value_does() {
        assert_eq!(order(&["08/02/2021 12:00", "09/02/2021 00:00"]), Some(Order::Dmy));
        assert_eq!(order(&["02/08/2021 12:00", "02/09/2021 00:00"]), Some(Order::Mdy));
        assert_eq!(order(&["18-08-10 12:00", "19-08-10 00:00", "20-08-10 00:00"]), Some(Order::Dmy));
    }

    #[test]
    fn a_single_day_stays_open() {
        assert_eq!(verdict(&["03/04/2026 10:00", "03/04/2026 11:00"]), Verdict::Open(vec![Order::Dmy, Order::Mdy]));
    }
}
