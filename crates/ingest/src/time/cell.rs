//! Dates, clocks and offsets in a cell, whatever their order and signs.

const NS: i64 = 1_000_000_000;
pub(crate) const DAY_NS: i64 = 86_400 * NS;

/// The order of day, month and year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Order {
    Ymd,
    Dmy,
    Mdy,
}

impl Order {
    pub(crate) const ALL: [Self; 3] = [Self::Ymd, Self::Dmy, Self::Mdy];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Ymd => "year-month-day",
            Self::Dmy => "day first",
            Self::Mdy => "month first",
        }
    }
}

/// A set of orders still possible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Orders(u8);

impl Orders {
    pub(crate) const ALL: Self = Self(0b111);

    pub(crate) fn only(order: Order) -> Self {
        Self(1 << order as u8)
    }

    pub(crate) fn contains(self, order: Order) -> bool {
        self.0 & (1 << order as u8) != 0
    }

    pub(crate) fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    pub(crate) fn is_empty(self) -> bool {
        self.0 == 0
    }

    pub(crate) fn list(self) -> Vec<Order> {
        Order::ALL.into_iter().filter(|order| self.contains(*order)).collect()
    }
}

/// A date before the order of its parts is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct RawDate {
    parts: [u32; 3],
    digits: [u8; 3],
    /// Which part is a month written as a word.
    month_word: Option<u8>,
    pub(crate) separator: u8,
}

impl RawDate {
    /// Days since 1970-01-01 in the given order; `None` where the parts do not make a date.
    pub(crate) fn days(&self, order: Order) -> Option<i64> {
        let [a, b, c] = [0, 1, 2];
        let (year, month, day) = match (self.month_word, order) {
            (Some(0), _) | (None, Order::Mdy) => (c, a, b),
            (Some(1) | None, Order::Ymd) => (a, b, c),
            (Some(_), _) | (None, Order::Dmy) => (c, b, a),
        };
        let full_year = match self.digits[year] {
            1 | 2 if self.parts[year] < 70 => 2000 + self.parts[year],
            1 | 2 => 1900 + self.parts[year],
            4 => self.parts[year],
            _ => return None,
        };
        if self.digits[month] > 2 || self.digits[day] > 2 {
            return None;
        }
        days_from_civil(full_year, self.parts[month], self.parts[day])
    }

    /// The orders in which the parts make a date.
    pub(crate) fn orders(&self) -> Orders {
        let mut possible = Orders(0);
        for order in Order::ALL {
            if self.days(order).is_some() {
                possible.0 |= 1 << order as u8;
            }
        }
        // A year of four digits at the front says it all; a month in words leaves day and year, and a year of
        // two digits in front is unheard of beside a word.
        if self.digits[0] == 4 {
            possible = possible.and(Orders::only(Order::Ymd));
        } else if self.month_word.is_some() {
            possible = possible.and(Orders::only(Order::Dmy));
        } else if self.digits[2] == 4 && self.separator == b'.' {
            // Points are written day first everywhere.
            possible = possible.and(Orders::only(Order::Dmy));
        }
        possible
    }
}

/// Days since 1970-01-01 of a proleptic Gregorian date between 1900 and 2200.
pub(crate) fn days_from_civil(year: u32, month: u32, day: u32) -> Option<i64> {
    const BEFORE: [u32; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    const LENGTH: [u32; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    if !(1900..=2200).contains(&year) || !(1..=12).contains(&month) || day == 0 {
        return None;
    }
    let index = month as usize - 1;
    let length = LENGTH[index] + u32::from(leap && month == 2);
    if day > length {
        return None;
    }
    let before = u32::from(leap && month > 2) + BEFORE[index] + day - 1;
    let years = i64::from(year - 1);
    let leap_days = years / 4 - years / 100 + years / 400;
    Some(years * 365 + leap_days - 719_162 + i64::from(before))
}

/// A clock, a date, or both, with the offset where one is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Moment {
    pub(crate) date: Option<RawDate>,
    /// Nanoseconds since midnight; may exceed a day for elapsed clocks.
    pub(crate) clock_ns: Option<i64>,
    /// East of Greenwich, seconds.
    pub(crate) offset_s: Option<i32>,
    /// Written with AM or PM.
    pub(crate) half_day: bool,
}

/// Read a cell that holds a date, a clock or both, and nothing else.
pub(crate) fn moment(cell: &[u8]) -> Option<Moment> {
    // Cheap refusal first: a date or clock has digits and a separator, or is eight or more digits.
    if cell.len() < 4 || cell.len() > 48 || !cell.iter().any(u8::is_ascii_digit) {
        return None;
    }
    let mut rest = skip_weekday(cell);
    let mut found = Moment::default();
    if let Some((date, behind)) = date_prefix(rest) {
        found.date = Some(date);
        rest = behind;
        if rest.is_empty() {
            return Some(found);
        }
        // Fourteen digits in a row need no joint.
        if date.separator != 0 || !rest[0].is_ascii_digit() {
            rest = skip_joint(rest)?;
        }
    }
    if rest.is_empty() {
        return found.date.is_some().then_some(found);
    }
    let (clock, half_day, behind) =
        if found.date.is_some() { clock_prefix(rest, true)? } else { clock_prefix(rest, false)? };
    found.clock_ns = Some(clock);
    found.half_day = half_day;
    rest = trim_start(behind);
    if !rest.is_empty() {
        let (offset, behind) = offset_prefix(rest)?;
        found.offset_s = Some(offset);
        rest = trim_start(behind);
        if let [b'A' | b'P' | b'a' | b'p', b'M' | b'm'] = rest {
            let (clock, ..) = apply_half_day(clock, rest[0].eq_ignore_ascii_case(&b'P'))?;
            found.clock_ns = Some(clock);
            found.half_day = true;
            rest = &[];
        }
    }
    rest.is_empty().then_some(found)
}

fn trim_start(mut text: &[u8]) -> &[u8] {
    while let [b' ' | b'\t', rest @ ..] = text {
        text = rest;
    }
    text
}

/// `Mon 4 May`, `Mo., 04.05.`: a word in front that is no month.
fn skip_weekday(cell: &[u8]) -> &[u8] {
    let letters = cell.iter().take_while(|b| b.is_ascii_alphabetic() || **b >= 0x80).count();
    if (2..=10).contains(&letters) && letters < cell.len() && month_word(&cell[..letters]).is_none() {
        let rest = &cell[letters..];
        let rest = rest.strip_prefix(b".").unwrap_or(rest);
        let rest = rest.strip_prefix(b",").unwrap_or(rest);
        if rest.len() < cell.len() - letters || rest.first() == Some(&b' ') {
            return trim_start(rest);
        }
    }
    cell
}

/// What joins date and clock: blanks, `T`, `_`, `/`, `-`, a comma, `at`.
fn skip_joint(text: &[u8]) -> Option<&[u8]> {
    let blank = trim_start(text);
    let rest = match blank {
        [b'T' | b't' | b'_' | b'/' | b'-' | b',' | b';' | b':', rest @ ..] | [b'a', b't', b' ', rest @ ..] => {
            trim_start(rest)
        }
        _ if blank.len() < text.len() => blank,
        _ => return None,
    };
    Some(rest)
}

fn digits(text: &[u8], most: usize) -> Option<(u32, u8, &[u8])> {
    let count = text.iter().take(most).take_while(|b| b.is_ascii_digit()).count();
    if count == 0 {
        return None;
    }
    let value = text[..count].iter().fold(0u32, |sum, digit| sum * 10 + u32::from(digit - b'0'));
    Some((value, count as u8, &text[count..]))
}

pub(crate) fn date_prefix(text: &[u8]) -> Option<(RawDate, &[u8])> {
    compact_date(text).or_else(|| separated_date(text))
}

/// `20260504`, alone or before a clock.
fn compact_date(text: &[u8]) -> Option<(RawDate, &[u8])> {
    let (value, count, rest) = digits(text, 9)?;
    // Fourteen digits in a row are date and clock.
    let (value, rest) = match count {
        8 => (value, rest),
        9 if text.len() >= 12 && text[..12].iter().all(u8::is_ascii_digit) => (value / 10, &text[8..]),
        _ => return None,
    };
    let raw = RawDate {
        parts: [value / 10_000, value / 100 % 100, value % 100],
        digits: [4, 2, 2],
        month_word: None,
        separator: 0,
    };
    raw.days(Order::Ymd)?;
    Some((raw, rest))
}

fn separated_date(text: &[u8]) -> Option<(RawDate, &[u8])> {
    let (first, first_digits, first_is_word, rest) = date_part(text)?;
    let (separator, rest) = date_separator(rest)?;
    let (second, second_digits, second_is_word, rest) = date_part(rest)?;
    let (other, rest) = date_separator(rest)?;
    let (third, third_digits, rest) = digits(rest, 5)?;
    let month_word = match (first_is_word, second_is_word) {
        (false, false) => None,
        (true, false) => Some(0),
        (false, true) => Some(1),
        (true, true) => return None,
    };
    if third_digits > 4 || (month_word.is_none() && separator != other) {
        return None;
    }
    let raw = RawDate {
        parts: [first, second, third],
        digits: [first_digits, second_digits, third_digits],
        month_word,
        separator,
    };
    (!raw.orders().is_empty()).then_some((raw, rest))
}

fn date_part(text: &[u8]) -> Option<(u32, u8, bool, &[u8])> {
    if let Some((value, count, rest)) = digits(text, 5) {
        return (count <= 4).then_some((value, count, false, rest));
    }
    let letters = text.iter().take_while(|b| b.is_ascii_alphabetic() || **b >= 0x80).count();
    let month = month_word(&text[..letters])?;
    let rest = &text[letters..];
    Some((month, 2, true, rest.strip_prefix(b".").unwrap_or(rest)))
}

fn date_separator(text: &[u8]) -> Option<(u8, &[u8])> {
    match text {
        [b'.', b' ', rest @ ..] => Some((b'.', rest)),
        [b',', b' ', rest @ ..] => Some((b' ', rest)),
        [separator @ (b'-' | b'/' | b'.' | b' ' | b','), rest @ ..] => Some((*separator, rest)),
        _ => None,
    }
}

/// Month names of English, German, French, Spanish and Dutch by their first letters.
fn month_word(word: &[u8]) -> Option<u32> {
    const NAMES: [(&str, u32); 32] = [
        ("jan", 1),
        ("jän", 1),
        ("ene", 1),
        ("feb", 2),
        ("fév", 2),
        ("fev", 2),
        ("mar", 3),
        ("mär", 3),
        ("mrz", 3),
        ("maa", 3),
        ("mrt", 3),
        ("apr", 4),
        ("avr", 4),
        ("abr", 4),
        ("may", 5),
        ("mai", 5),
        ("mei", 5),
        ("juin", 6),
        ("jun", 6),
        ("juil", 7),
        ("jul", 7),
        ("aug", 8),
        ("aoû", 8),
        ("aou", 8),
        ("ago", 8),
        ("sep", 9),
        ("oct", 10),
        ("okt", 10),
        ("nov", 11),
        ("dec", 12),
        ("dez", 12),
        ("déc", 12),
    ];
    if word.len() < 3 || word.len() > 12 {
        return None;
    }
    let lower = String::from_utf8_lossy(word).to_lowercase();
    if lower.starts_with("dic") {
        return Some(12);
    }
    NAMES.iter().find(|(name, _)| lower.starts_with(name)).map(|(_, month)| *month)
}

/// A clock at the front of a text: nanoseconds, whether AM or PM was written, and what follows. `dated` also takes
/// four or six digits without colons.
pub(crate) fn clock_prefix(text: &[u8], dated: bool) -> Option<(i64, bool, &[u8])> {
    let (hour, count, rest) = digits(text, 7)?;
    if count >= 4 {
        if dated && rest.first() != Some(&b':') && (count == 4 || count == 6) {
            return compact_clock(hour, count, rest);
        }
        if dated || count > 6 {
            return None;
        }
    }
    let rest = rest.strip_prefix(b":").or_else(|| rest.strip_prefix(b"h"))?;
    let (minute, minute_digits, rest) = digits(rest, 3)?;
    if minute > 59 || minute_digits != 2 {
        return None;
    }
    let (second, rest) = match rest.strip_prefix(b":") {
        Some(behind) => {
            let (second, second_digits, behind) = digits(behind, 3)?;
            if second > 60 || second_digits > 2 {
                return None;
            }
            (second, behind)
        }
        None => (0, rest),
    };
    let (fraction, rest) = fraction_prefix(rest);
    let clock = (i64::from(hour) * 3600 + i64::from(minute) * 60 + i64::from(second)) * NS + fraction;
    with_half_day(clock, rest)
}

fn compact_clock(value: u32, count: u8, rest: &[u8]) -> Option<(i64, bool, &[u8])> {
    let hhmmss = if count == 4 { value * 100 } else { value };
    let (hour, minute, second) = (hhmmss / 10_000, hhmmss / 100 % 100, hhmmss % 100);
    let (fraction, rest) = fraction_prefix(rest);
    (hour <= 24 && minute < 60 && second <= 60)
        .then(|| ((i64::from(hour) * 3600 + i64::from(minute) * 60 + i64::from(second)) * NS + fraction, false, rest))
}

/// `.5`, `,123`, `:000`: the fraction of a second.
fn fraction_prefix(text: &[u8]) -> (i64, &[u8]) {
    let [b'.' | b',' | b':', rest @ ..] = text else { return (0, text) };
    let count = rest.iter().take_while(|b| b.is_ascii_digit()).count();
    if count == 0 {
        return (0, text);
    }
    let mut fraction = 0;
    let mut scale = NS;
    for digit in rest[..count].iter().take(9) {
        scale /= 10;
        fraction += i64::from(digit - b'0') * scale;
    }
    (fraction, &rest[count..])
}

fn with_half_day(clock: i64, rest: &[u8]) -> Option<(i64, bool, &[u8])> {
    let blank = trim_start(rest);
    let (letter, behind) = match blank {
        [letter @ (b'A' | b'a' | b'P' | b'p'), b'M' | b'm', behind @ ..]
        | [letter @ (b'A' | b'a' | b'P' | b'p'), b'.', b'M' | b'm', b'.', behind @ ..]
        | [letter @ (b'A' | b'a' | b'P' | b'p'), b'.', b' ', b'M' | b'm', b'.', behind @ ..] => (*letter, behind),
        _ => return Some((clock, false, rest)),
    };
    let (clock, half_day) = apply_half_day(clock, letter.eq_ignore_ascii_case(&b'P'))?;
    Some((clock, half_day, behind))
}

fn apply_half_day(clock: i64, afternoon: bool) -> Option<(i64, bool)> {
    const HOUR: i64 = 3600 * NS;
    let hour = clock / HOUR;
    if hour > 12 {
        // `13:05 PM` happens; the word adds nothing.
        return afternoon.then_some((clock, true));
    }
    let base = clock - hour * HOUR + hour % 12 * HOUR;
    Some((base + if afternoon { 12 * HOUR } else { 0 }, true))
}

/// `Z`, `UTC`, `+02:00`, `GMT-7`, `CEST`.
fn offset_prefix(text: &[u8]) -> Option<(i32, &[u8])> {
    const WORDS: [(&str, i32); 11] = [
        ("UTC", 0),
        ("GMT", 0),
        ("CEST", 7200),
        ("CET", 3600),
        ("MESZ", 7200),
        ("MEZ", 3600),
        ("WEST", 3600),
        ("WET", 0),
        ("EEST", 10_800),
        ("EET", 7200),
        ("Z", 0),
    ];
    let text = text.strip_prefix(b"(").unwrap_or(text);
    for (word, offset) in WORDS {
        if let Some(rest) = strip_word(text, word) {
            if offset == 0 && matches!(rest.first(), Some(b'+' | b'-')) {
                return offset_prefix(rest);
            }
            return Some((offset, rest.strip_prefix(b")").unwrap_or(rest)));
        }
    }
    let (sign, rest) = match text {
        [b'+', rest @ ..] => (1, rest),
        [b'-', rest @ ..] => (-1, rest),
        _ => return None,
    };
    let (first, count, rest) = digits(rest, 4)?;
    let (hours, minutes, rest) = match (count, rest) {
        (1 | 2, [b':', rest @ ..]) => {
            let (minutes, _, rest) = digits(rest, 2)?;
            (first, minutes, rest)
        }
        (1 | 2, _) => (first, 0, rest),
        (4, _) => (first / 100, first % 100, rest),
        _ => return None,
    };
    (hours <= 14 && minutes < 60)
        .then(|| (sign * (hours * 3600 + minutes * 60) as i32, rest.strip_prefix(b")").unwrap_or(rest)))
}

fn strip_word<'a>(text: &'a [u8], word: &str) -> Option<&'a [u8]> {
    let (front, rest) = text.split_at_checked(word.len())?;
    (front.eq_ignore_ascii_case(word.as_bytes()) && !rest.first().is_some_and(u8::is_ascii_alphabetic)).then_some(rest)
}

/// The offset named in a header or plan: `GMT-07:00`, `UTC`, `+02:00`.
pub(crate) fn offset_in(text: &str) -> Option<i32> {
    let upper = text.to_uppercase();
    let at = ["GMT", "UTC"].iter().find_map(|word| upper.find(word))?;
    let rest = text.get(at..)?.as_bytes();
    let compact: Vec<u8> = rest.iter().copied().filter(|b| *b != b' ').collect();
    offset_prefix(&compact).map(|(offset, _)| offset)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(text: &str, order: Order) -> Option<f64> {
        let moment = moment(text.as_bytes())?;
        let days = moment.date.map_or(Some(0), |date| date.days(order))?;
        Some(
            days as f64 * 86_400.0 + moment.clock_ns.unwrap_or(0) as f64 / 1e9
                - f64::from(moment.offset_s.unwrap_or(0)),
        )
    }

    #[test]
    fn iso_times_are_read_with_and_without_offset() {
        let noon = Some(1_777_896_000.0);
        for text in [
            "2026-05-04T12:00:00Z",
            "2026-05-04 12:00:00",
            "2026-05-04T14:00:00+02:00",
            "2026-05-04 14:00:00 +0200",
            "20260504T120000Z",
            "20260504120000",
            "2026/05/04 12:00",
            "2026-05-04T12:00:00.000",
        ] {
            assert_eq!(seconds(text, Order::Ymd), noon, "{text}");
        }
    }

    #[test]
    fn day_first_and_month_first_are_read_as_told() {
        let noon = Some(1_777_896_000.0);
        for text in [
            "04.05.2026 12:00:00",
            "4/5/2026 12:00",
            "04-05-26 12:00:00 PM",
            "04/05/2026/12:00:00",
            "4 May 2026 12:00",
            "04-Mai-2026 12:00:00",
            "04.05.2026, 12:00:00",
            "4. Mai 2026 12:00",
        ] {
            assert_eq!(seconds(text, Order::Dmy), noon, "{text}");
        }
        for text in [
            "05/04/2026 12:00:00 PM",
            "5/4/26 12:00",
            "May 4, 2026 12:00 p.m.",
            "May 4 2026 at 12:00:00",
            "05/04/2026 12:00:00:000",
        ] {
            assert_eq!(seconds(text, Order::Mdy), noon, "{text}");
        }
        assert_eq!(seconds("08/18/10 02:00:00  PM", Order::Mdy), seconds("2010-08-18T14:00:00", Order::Ymd));
        assert_eq!(seconds("5/4/2026 12:30:00 AM", Order::Mdy), seconds("2026-05-04T00:30:00", Order::Ymd));
    }

    #[test]
    fn clocks_alone_may_run_over_a_day() {
        assert_eq!(seconds("00:10", Order::Ymd), Some(600.0));
        assert_eq!(seconds("100:00:01.5", Order::Ymd), Some(360_001.5));
        assert_eq!(seconds("10:57:01:000", Order::Ymd), Some(39_421.0));
    }

    #[test]
    fn numbers_and_words_are_no_times() {
        for text in
            ["12.5", "7.315", "151.203.000", "1234", "-12.5", "Flush", "1.2.3.4", "25:61", "2026", "1e5", "20261345"]
        {
            assert_eq!(moment(text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn impossible_parts_rule_orders_out() {
        let orders = |text: &str| moment(text.as_bytes()).and_then(|m| m.date).map(|d| d.orders().list());
        assert_eq!(orders("25/09/2020 10:00"), Some(vec![Order::Dmy]));
        assert_eq!(orders("08/18/10 10:00"), Some(vec![Order::Mdy]));
        assert_eq!(orders("03/04/2026 10:00"), Some(vec![Order::Dmy, Order::Mdy]));
        assert_eq!(orders("03.04.2026 10:00"), Some(vec![Order::Dmy]));
        assert_eq!(orders("18-08-10 10:00"), Some(vec![Order::Ymd, Order::Dmy]));
    }
}
