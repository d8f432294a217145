//! Which columns hold the time, told from header words and from the cells of a sample.

use super::cell::{DAY_NS, Moment, moment, offset_in};
use super::order::{Dates, Verdict};
use super::{Base, Part, TimePlan};
use crate::fold::Folded;
use crate::header::Table;
use crate::number::{self, NumberStyle};
use crate::options::Format;
use crate::question::{Question, Topic};
use crate::recording::Choice;
use crate::records::Record;
use crate::unit_text;
use crate::words::is_time;

const SECOND_NS: f64 = 1e9;
/// Days from 1899-12-30, day 0 of spreadsheets, to 1970-01-01.
const SPREADSHEET_EPOCH_DAYS: i64 = 25_569;
/// Seconds from 1904-01-01 and from 1900-01-01 to 1970-01-01: what counters of seconds start from besides 1970.
const OTHER_EPOCHS_S: [f64; 3] = [0.0, 2_082_844_800.0, 2_208_988_800.0];

/// What was found; without a plan the time is open and a question says why.
pub(crate) struct Found {
    pub(crate) plan: Option<TimePlan>,
    /// Columns taken by the time, not to be taken for readings.
    pub(crate) columns: Vec<usize>,
    /// A column of dates whose order the sample leaves open: the whole file must be looked at.
    pub(crate) open_dates: Option<usize>,
}

/// What the cells of one column look like.
#[derive(Debug, Clone, Default)]
struct Profile {
    filled: usize,
    dated: usize,
    dated_clock: usize,
    clock: usize,
    numbers: Vec<f64>,
    offsets: usize,
    distinct: usize,
    backwards: usize,
}

impl Profile {
    fn new(rows: &[Record<'_>], column: usize, style: NumberStyle) -> Self {
        let mut profile = Self::default();
        let mut before: &[u8] = &[];
        for row in rows {
            let cell = row.field(column);
            if cell.is_empty() {
                continue;
            }
            profile.filled += 1;
            profile.distinct += usize::from(cell != before);
            before = cell;
            if let Some(value) = number::parse(cell, style) {
                profile.backwards += usize::from(profile.numbers.last().is_some_and(|last| value < *last));
                profile.numbers.push(value);
            }
            match moment(cell) {
                Some(Moment { date: Some(_), clock_ns, offset_s, .. }) => {
                    profile.dated += 1;
                    profile.dated_clock += usize::from(clock_ns.is_some());
                    profile.offsets += usize::from(offset_s.is_some());
                }
                Some(Moment { clock_ns: Some(_), .. }) => profile.clock += 1,
                _ => {}
            }
        }
        profile
    }

    fn mostly(&self, count: usize) -> bool {
        self.filled > 0 && count * 10 >= self.filled * 7
    }

    fn rises(&self) -> bool {
        self.mostly(self.numbers.len()) && self.backwards * 10 <= self.numbers.len()
    }

    /// Rises from row to row, not only now and then.
    fn counts_up(&self) -> bool {
        self.rises() && self.distinct * 2 > self.filled
    }

    fn range(&self) -> (f64, f64) {
        self.numbers.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)))
    }
}

/// Everything the search looks at.
pub(crate) struct Search<'a> {
    pub(crate) table: &'a Table,
    pub(crate) rows: &'a [Record<'a>],
    pub(crate) style: NumberStyle,
    pub(crate) format: &'a Format,
    /// Columns of the plan's `time`, 0 = first.
    pub(crate) wanted: &'a [usize],
    /// Unit that the plan gives the time column.
    pub(crate) unit: Option<&'a str>,
}

/// Find the time base.
pub(crate) fn find(search: &Search<'_>, choices: &mut Vec<Choice>, questions: &mut Vec<Question>) -> Found {
    let width = search.table.width.max(search.table.names.len());
    let profiles: Vec<Profile> = (0..width).map(|column| Profile::new(search.rows, column, search.style)).collect();
    let finder = Finder { search, profiles };
    let found = match search.format.time.as_deref() {
        Some("elapsed") => finder.elapsed_by_plan(),
        Some("epoch s") => finder.number_by_plan(SECOND_NS, 0, Base::Utc),
        Some("epoch ms") => finder.number_by_plan(1e6, 0, Base::Utc),
        Some("spreadsheet days") => finder.number_by_plan(DAY_NS as f64, -SPREADSHEET_EPOCH_DAYS * DAY_NS, Base::Local),
        Some(pattern) => finder.pattern_by_plan(pattern),
        None => finder.recognise(),
    };
    finder.finish(found, choices, questions)
}

struct Finder<'a> {
    search: &'a Search<'a>,
    profiles: Vec<Profile>,
}

/// A time base, or what is missing for one.
enum Candidate {
    Plan {
        plan: TimePlan,
        because: String,
    },
    /// The unit of elapsed numbers is not known.
    UnitOpen {
        column: usize,
    },
    /// Day numbers of an unlikely epoch.
    DaysOpen {
        column: usize,
    },
    None,
}

impl Finder<'_> {
    fn name(&self, column: usize) -> &str {
        self.search.table.names.get(column).map_or("", String::as_str)
    }

    fn plan(&self, parts: Vec<(usize, Part)>, base: Base, because: impl Into<String>) -> Candidate {
        Candidate::Plan { plan: TimePlan { parts, base, style: self.search.style }, because: because.into() }
    }

    fn first_wanted_or(&self, otherwise: impl FnOnce() -> Option<usize>) -> Option<usize> {
        self.search.wanted.first().copied().or_else(otherwise)
    }

    fn elapsed_by_plan(&self) -> Candidate {
        let Some(column) = self.first_wanted_or(|| self.best_elapsed_column()) else { return Candidate::None };
        if self.profiles.get(column).is_some_and(|profile| profile.mostly(profile.clock)) {
            return self.plan(
                vec![(column, Part::Clock)],
                Base::Elapsed,
                "the plan says elapsed, the cells are h:mm:ss",
            );
        }
        match self.elapsed_unit(column) {
            Some((ns_per_unit, because)) => {
                self.plan(vec![(column, Part::Number { ns_per_unit, offset_ns: 0 })], Base::Elapsed, because)
            }
            None => Candidate::UnitOpen { column },
        }
    }

    fn number_by_plan(&self, ns_per_unit: f64, offset_ns: i64, base: Base) -> Candidate {
        match self.first_wanted_or(|| self.best_elapsed_column()) {
            Some(column) => {
                self.plan(vec![(column, Part::Number { ns_per_unit, offset_ns })], base, "the plan says so")
            }
            None => Candidate::None,
        }
    }

    fn pattern_by_plan(&self, pattern: &str) -> Candidate {
        let columns = if self.search.wanted.is_empty() {
            match self.recognise() {
                Candidate::Plan { plan, .. } => plan.parts.into_iter().map(|(column, _)| column).collect(),
                _ => (0..self.profiles.len()).filter(|column| is_time(self.name(*column))).take(1).collect(),
            }
        } else {
            self.search.wanted.to_vec()
        };
        // One pattern may speak of the date column alone while the clock stands apart.
        let columns = if columns.is_empty() { vec![0] } else { columns };
        let base =
            if pattern.contains("%z") || pattern.contains("%:z") { Base::Utc } else { self.local_base(columns[0]) };
        let base = if pattern.contains(['d', 'j', 'F', 'D', 's']) { base } else { Base::ClockOnly };
        let first = columns[0];
        self.plan(vec![(first, Part::Pattern { pattern: pattern.to_owned(), columns })], base, "the plan says so")
    }

    fn recognise(&self) -> Candidate {
        if !self.search.wanted.is_empty() {
            return self.read_wanted();
        }
        [
            self.epoch(),
            self.date_time(),
            self.date_and_clock(),
            self.spreadsheet(),
            self.named_elapsed(),
            self.clock_only(),
            self.unnamed_elapsed(),
        ]
        .into_iter()
        .find(|candidate| !matches!(candidate, Candidate::None))
        .unwrap_or(Candidate::None)
    }

    /// The plan names the columns and nothing else: read each for what it looks like.
    fn read_wanted(&self) -> Candidate {
        let mut parts = Vec::new();
        let mut dated = false;
        let wanted = self.search.wanted;
        for column in wanted.iter().copied() {
            let Some(profile) = self.profiles.get(column) else { return Candidate::None };
            if profile.mostly(profile.dated) {
                parts.push((column, self.date_part(column)));
                dated = true;
            } else if profile.mostly(profile.clock) {
                parts.push((column, Part::Clock));
            } else if wanted.len() > 1 && !parts.is_empty() {
                match self.fraction_or_hour(column) {
                    Some(part) => parts.push((column, part)),
                    None => return Candidate::None,
                }
            } else if let candidate @ Candidate::Plan { .. } =
                self.epoch_column(column).map_or(Candidate::None, |found| found)
            {
                return candidate;
            } else if let candidate @ (Candidate::Plan { .. } | Candidate::DaysOpen { .. }) =
                self.spreadsheet_column(column)
            {
                return candidate;
            } else {
                return match self.elapsed_unit(column) {
                    Some((ns_per_unit, because)) => {
                        self.plan(vec![(column, Part::Number { ns_per_unit, offset_ns: 0 })], Base::Elapsed, because)
                    }
                    None => Candidate::UnitOpen { column },
                };
            }
        }
        let base = if dated { self.local_base(wanted[0]) } else { Base::ClockOnly };
        self.plan(parts, base, "the plan names the columns")
    }

    /// Dates in the column; the order stands open until all of them were looked at.
    fn date_part(&self, column: usize) -> Part {
        let mut dates = Dates::new();
        for row in self.search.rows {
            if let Some(Moment { date: Some(date), .. }) = moment(row.field(column)) {
                dates.add(date);
            }
        }
        match dates.verdict() {
            Verdict::Decided(order, _) => Part::Date(order),
            Verdict::Open(orders) => Part::Date(orders[0]),
            Verdict::Contradiction => Part::Date(super::cell::Order::Ymd),
        }
    }

    fn local_base(&self, column: usize) -> Base {
        let profile = &self.profiles[column];
        if profile.offsets * 2 > profile.filled {
            return Base::Utc;
        }
        let name = self.name(column);
        let unit = self.search.table.units.get(column).map_or("", String::as_str);
        if let Some(offset) = offset_in(name).or_else(|| offset_in(unit)) {
            return Base::Offset(offset);
        }
        Base::Local
    }

    fn date_time(&self) -> Candidate {
        let candidates = (0..self.profiles.len()).filter(|column| {
            let profile = &self.profiles[*column];
            profile.mostly(profile.dated) && (profile.dated_clock * 2 > profile.dated)
        });
        // Of several (start of the run, end of the run, clock of the reading) the one that changes most often.
        let best = candidates.max_by_key(|column| (self.profiles[*column].distinct, std::cmp::Reverse(*column)));
        match best {
            Some(column) => {
                let mut parts = vec![(column, self.date_part(column))];
                parts.extend(self.fraction_beside(column));
                self.plan(
                    parts,
                    self.local_base(column),
                    format!("column '{}' holds date and clock", self.name(column)),
                )
            }
            None => Candidate::None,
        }
    }

    fn date_and_clock(&self) -> Candidate {
        let mut dates =
            (0..self.profiles.len()).filter(|column| self.profiles[*column].mostly(self.profiles[*column].dated));
        let Some(date) = dates.next() else { return Candidate::None };
        let clock = (0..self.profiles.len())
            .filter(|column| self.profiles[*column].mostly(self.profiles[*column].clock))
            .min_by_key(|column| column.abs_diff(date));
        let part = match clock {
            Some(clock) => (clock, Part::Clock),
            None => match (0..self.profiles.len()).find_map(|column| Some((column, self.hour_part(column)?))) {
                Some(hour) => hour,
                None => {
                    return self.plan(
                        vec![(date, self.date_part(date))],
                        self.local_base(date),
                        format!("column '{}' holds dates", self.name(date)),
                    );
                }
            },
        };
        let because = format!("column '{}' holds the date, column '{}' the clock", self.name(date), self.name(part.0));
        let base = match self.local_base(date) {
            Base::Local => self.local_base(part.0),
            base => base,
        };
        let mut parts = vec![(date, self.date_part(date)), part.clone()];
        parts.extend(self.fraction_beside(part.0));
        self.plan(parts, base, because)
    }

    /// Hours 0 to 24 as plain numbers under a header that says so.
    fn hour_part(&self, column: usize) -> Option<Part> {
        let words = Folded::new(self.name(column));
        let (low, high) = self.profiles[column].range();
        (self.profiles[column].mostly(self.profiles[column].numbers.len())
            && words.is_hour()
            && low >= 0.0
            && high <= 24.0)
            .then_some(Part::Number { ns_per_unit: 3600.0 * SECOND_NS, offset_ns: 0 })
    }

    /// Milliseconds (or finer) of the second in the column behind the clock.
    fn fraction_beside(&self, clock: usize) -> Option<(usize, Part)> {
        let column = clock + 1;
        Some((column, self.fraction_part(column)?))
    }

    fn fraction_or_hour(&self, column: usize) -> Option<Part> {
        self.fraction_part(column).or_else(|| self.hour_part(column))
    }

    fn fraction_part(&self, column: usize) -> Option<Part> {
        let profile = self.profiles.get(column)?;
        let words = Folded::new(self.name(column));
        let (low, high) = profile.range();
        let whole = profile.numbers.iter().all(|value| value.fract() == 0.0);
        if !profile.mostly(profile.numbers.len()) || !whole || low < 0.0 {
            return None;
        }
        let ns_per_unit = match () {
            () if words.is_milliseconds() && high < 1000.0 => 1e6,
            () if words.is_microseconds() && high < 1e6 => 1e3,
            () if words.is_nanoseconds() && high < 1e9 => 1.0,
            () => return None,
        };
        Some(Part::Number { ns_per_unit, offset_ns: 0 })
    }

    /// Seconds or milliseconds since 1970: the one number that needs no zone.
    fn epoch(&self) -> Candidate {
        (0..self.profiles.len())
            .filter(|column| {
                let words = Folded::new(self.name(*column));
                is_time(self.name(*column)) || words.is_epoch() || *column == 0
            })
            .find_map(|column| self.epoch_column(column))
            .unwrap_or(Candidate::None)
    }

    fn epoch_column(&self, column: usize) -> Option<Candidate> {
        let profile = &self.profiles[column];
        let (low, high) = profile.range();
        let is_named = is_time(self.name(column)) || Folded::new(self.name(column)).is_epoch();
        let counts = if is_named { profile.mostly(profile.numbers.len()) } else { profile.rises() };
        if !counts || profile.mostly(profile.dated) {
            return None;
        }
        let (ns_per_unit, words) = if low > 7e8 && high < 4.1e9 && high < 2.0e9 + 0.2e9 {
            (SECOND_NS, "seconds since 1970")
        } else if low > 7e11 && high < 2.2e12 {
            (1e6, "milliseconds since 1970")
        } else if low > 7e14 && high < 2.2e15 {
            (1e3, "microseconds since 1970")
        } else {
            return None;
        };
        let mut parts = vec![(column, Part::Number { ns_per_unit, offset_ns: 0 })];
        if ns_per_unit >= SECOND_NS && profile.numbers.iter().all(|value| value.fract() == 0.0) {
            parts.extend(self.fraction_beside(column));
        }
        Some(self.plan(parts, Base::Utc, format!("column '{}' counts {words}", self.name(column))))
    }

    fn spreadsheet(&self) -> Candidate {
        (0..self.profiles.len())
            .filter(|column| is_time(self.name(*column)) && !unit_is_time(self.search.table, *column))
            .map(|column| self.spreadsheet_column(column))
            .find(|candidate| !matches!(candidate, Candidate::None))
            .unwrap_or(Candidate::None)
    }

    /// Day numbers of spreadsheets, 1990 to 2100.
    fn spreadsheet_column(&self, column: usize) -> Candidate {
        let profile = &self.profiles[column];
        let (low, high) = profile.range();
        let is_date = Folded::new(self.name(column)).is_date();
        if !profile.rises()
            || high - low > 10_000.0
            || !profile.numbers.iter().any(|value| value.fract() != 0.0) && !is_date
        {
            return if is_date
                && (7_000.0..80_000.0).contains(&low)
                && high < 80_000.0
                && profile.mostly(profile.numbers.len())
            {
                Candidate::DaysOpen { column }
            } else {
                Candidate::None
            };
        }
        if low > 32_874.0 && high < 73_050.0 {
            let part = Part::Number { ns_per_unit: DAY_NS as f64, offset_ns: -SPREADSHEET_EPOCH_DAYS * DAY_NS };
            return self.plan(
                vec![(column, part)],
                Base::Local,
                format!("column '{}' holds day numbers of a spreadsheet", self.name(column)),
            );
        }
        if is_date && low > 7_000.0 && high < 32_874.0 { Candidate::DaysOpen { column } } else { Candidate::None }
    }

    fn named_elapsed(&self) -> Candidate {
        let Some(column) = self.best_elapsed_column() else { return Candidate::None };
        match self.elapsed_unit(column) {
            Some((ns_per_unit, because)) => {
                self.plan(vec![(column, Part::Number { ns_per_unit, offset_ns: 0 })], Base::Elapsed, because)
            }
            None => Candidate::UnitOpen { column },
        }
    }

    /// The numeric column that is named a time, rises and stands first; else the first column that rises.
    fn best_elapsed_column(&self) -> Option<usize> {
        let numeric = |column: &usize| self.profiles[*column].mostly(self.profiles[*column].numbers.len());
        (0..self.profiles.len())
            .filter(numeric)
            .filter(|column| {
                let words = Folded::new(self.name(*column));
                words.is_day_fraction() || is_time(self.name(*column)) && !words.is_begin()
            })
            .min_by_key(|column| (!self.profiles[*column].counts_up(), *column))
            .or_else(|| {
                (0..self.profiles.len())
                    .filter(numeric)
                    .find(|column| !self.search.table.has_header && self.profiles[*column].rises())
            })
    }

    fn elapsed_unit(&self, column: usize) -> Option<(f64, String)> {
        if let Some(unit) = self.search.format.elapsed_unit.as_deref() {
            return ns_per(unit).map(|ns| (ns, format!("the plan says that times are elapsed, in {unit}")));
        }
        if let Some(unit) = self.search.unit {
            return ns_per(unit).map(|ns| (ns, format!("the plan says that times are in {unit}")));
        }
        let name = self.name(column);
        let units_row = self.search.table.units.get(column).cloned().filter(|unit| !unit.is_empty());
        if let Some(unit) = unit_text::split(name).1.or(units_row)
            && let Some(ns) = ns_per(&unit)
        {
            return Some((ns, format!("column '{name}' counts up in {unit}")));
        }
        let words = Folded::new(name);
        if words.is_day_fraction() {
            return Some((DAY_NS as f64, format!("column '{name}' holds fractions of a day")));
        }
        words
            .whole_word_unit()
            .and_then(|unit| Some((ns_per(unit)?, format!("column '{name}' is named after its unit, {unit}"))))
    }

    fn clock_only(&self) -> Candidate {
        match (0..self.profiles.len()).find(|column| self.profiles[*column].mostly(self.profiles[*column].clock)) {
            Some(column) => self.plan(
                vec![(column, Part::Clock)],
                Base::ClockOnly,
                format!("column '{}' holds clocks without a date", self.name(column)),
            ),
            None => Candidate::None,
        }
    }

    /// A first column that rises and nothing else that could be the time: its unit must be asked for.
    fn unnamed_elapsed(&self) -> Candidate {
        let column = 0;
        let Some(profile) = self.profiles.first() else { return Candidate::None };
        if profile.rises()
            && profile.distinct * 10 >= profile.filled * 8
            && (!self.search.table.has_header || self.name(column).is_empty())
        {
            return Candidate::UnitOpen { column };
        }
        Candidate::None
    }

    fn finish(&self, candidate: Candidate, choices: &mut Vec<Choice>, questions: &mut Vec<Question>) -> Found {
        match candidate {
            Candidate::Plan { plan, because } => {
                let value = describe(&plan);
                choices.push(Choice::new("time", value, because));
                let mut columns: Vec<usize> = plan.parts.iter().map(|(column, _)| *column).collect();
                if let Some((_, Part::Pattern { columns: all, .. })) = plan.parts.first() {
                    columns.clone_from(all);
                }
                let open_dates =
                    plan.parts.iter().find(|(_, part)| matches!(part, Part::Date(_))).map(|(column, _)| *column);
                Found { plan: Some(plan), columns, open_dates }
            }
            Candidate::UnitOpen { column } => {
                let name = self.name(column);
                questions.push(Question {
                    topic: Topic::Time,
                    text: format!("time: column '{name}' counts up, but in what unit?"),
                    answer: format!("[test.columns] time = {{ column = {}, unit = \"s\" }}   # or ms, min, h, d; or [test.format] time = \"elapsed\", elapsed_unit = \"s\"", column_key(self.search.table, column)),
                    blocking: true,
                });
                Found { plan: None, columns: vec![column], open_dates: None }
            }
            Candidate::DaysOpen { column } => {
                questions.push(Question {
                    topic: Topic::Time,
                    text: format!("time: column '{}' holds day numbers, but they are not of our days if counted as spreadsheets do", self.name(column)),
                    answer: "[test.format] time = \"spreadsheet days\"   # or time = \"elapsed\" with elapsed_unit = \"d\"".into(),
                    blocking: true,
                });
                Found { plan: None, columns: vec![column], open_dates: None }
            }
            Candidate::None => {
                questions.push(Question {
                    topic: Topic::Time,
                    text: "time: no column was found that holds dates, clocks or a count that rises".into(),
                    answer: "[test.columns] time = { column = \"…\" }   # with [test.format] time = \"%Y-%m-%d %H:%M:%S\" or \"elapsed\"".into(),
                    blocking: true,
                });
                Found { plan: None, columns: Vec::new(), open_dates: None }
            }
        }
    }
}

fn unit_is_time(table: &Table, column: usize) -> bool {
    let name = table.names.get(column).map_or("", String::as_str);
    unit_text::split(name).1.or_else(|| table.units.get(column).cloned()).is_some_and(|unit| ns_per(&unit).is_some())
}

fn column_key(table: &Table, column: usize) -> String {
    match table.names.get(column) {
        Some(name) if table.has_header && !name.is_empty() => format!("\"{}\"", name.replace('"', "\\\"")),
        _ => (column + 1).to_string(),
    }
}

fn describe(plan: &TimePlan) -> String {
    let base = match plan.base {
        Base::Utc => "UTC",
        Base::Offset(_) => "fixed offset",
        Base::Local => "local time",
        Base::Elapsed => "elapsed",
        Base::ClockOnly => "clock without date",
    };
    let order = plan.parts.iter().find_map(|(_, part)| match part {
        Part::Date(order) => Some(format!(", {}", order.name())),
        Part::Pattern { pattern, .. } => Some(format!(", {pattern}")),
        _ => None,
    });
    format!("{base}{}", order.unwrap_or_default())
}

/// Nanoseconds in a unit of time.
pub(crate) fn ns_per(unit: &str) -> Option<f64> {
    let unit = unit_text::parse(unit)?;
    (unit.dimension() == tightfit_quantity::Dimension::Time).then(|| unit.scale() * SECOND_NS)
}

/// Another column that counts seconds (from 1970, 1904 or 1900) tells which reading of an ambiguous date is right:
/// the difference of the two clocks must be less than a day.
pub(crate) fn order_by_counter(
    rows: &[Record<'_>],
    date_column: usize,
    width: usize,
    style: NumberStyle,
) -> Option<(super::cell::Order, usize)> {
    use super::cell::Order;
    let row = rows.iter().find(|row| moment(row.field(date_column)).is_some())?;
    let found = moment(row.field(date_column))?;
    let date = found.date?;
    (0..width).filter(|column| *column != date_column).find_map(|column| {
        let value = number::parse(row.field(column), style)?;
        let fits = |order: Order| {
            let Some(days) = date.days(order) else { return false };
            let seconds = days as f64 * 86_400.0 + found.clock_ns.unwrap_or(0) as f64 / SECOND_NS;
            OTHER_EPOCHS_S.iter().any(|epoch| (value - epoch - seconds).abs() < 15.0 * 3600.0)
        };
        let fitting: Vec<Order> = [Order::Dmy, Order::Mdy].into_iter().filter(|order| fits(*order)).collect();
        match fitting[..] {
            [order] => Some((order, column)),
            _ => None,
        }
    })
}
