//! Which character separates fields and how numbers are written, told from a sample of the file.

use memchr::memmem;

use crate::cell::{self, Cell};
use crate::number::{self, Marks, NumberStyle};
use crate::options::Format;
use crate::question::{Question, Topic};
use crate::recording::Choice;
use crate::records::{Delimiter, Record, Records, Splitter};
use crate::time::cell::moment;

/// What kind of thing a cell looks like, whatever the number style turns out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    Blank,
    Missing,
    Number,
    Censored,
    Moment,
    Text,
}

impl Look {
    pub(crate) fn is_value(self) -> bool {
        matches!(self, Self::Number | Self::Censored | Self::Moment)
    }
}

/// Look at a cell.
pub(crate) fn look(cell: &[u8]) -> Look {
    if cell.is_empty() {
        return Look::Blank;
    }
    if moment(cell).is_some() {
        return Look::Moment;
    }
    if is_number(cell) {
        return Look::Number;
    }
    match cell::read(cell, NumberStyle::POINT) {
        Cell::Number(_) => Look::Number,
        Cell::Missing => Look::Missing,
        Cell::Below(_) | Cell::Above(_) => Look::Censored,
        Cell::Text(_) => match cell::read(cell, NumberStyle::COMMA) {
            Cell::Number(_) => Look::Number,
            Cell::Below(Some(_)) | Cell::Above(Some(_)) => Look::Censored,
            _ if cell::number_with_unit(cell, NumberStyle::POINT).is_some()
                || cell::number_with_unit(cell, NumberStyle::COMMA).is_some() =>
            {
                Look::Number
            }
            _ => Look::Text,
        },
    }
}

fn is_number(cell: &[u8]) -> bool {
    number::parse(cell, NumberStyle::POINT).is_some()
        || number::parse(cell, NumberStyle::COMMA).is_some()
        || matches!(number::marks(cell), Marks::Many { .. } | Marks::Both { .. })
}

/// `sep=;` in the first line, as spreadsheets write it: the character and the length of the line.
pub(crate) fn separator_line(text: &[u8]) -> Option<(u8, usize)> {
    let end = memchr::memchr2(b'\n', b'\r', text).unwrap_or(text.len());
    let line = crate::records::trim(text[..end].trim_ascii());
    let line = line.strip_prefix(b"\"").and_then(|l| l.strip_suffix(b"\"")).unwrap_or(line);
    let [b's' | b'S', b'e' | b'E', b'p' | b'P', b'=', separator] = line else {
        // A tab after the sign is trimmed with the blanks.
        let is_tab = line.eq_ignore_ascii_case(b"sep=") && memmem::find(&text[..end], b"=\t").is_some();
        return is_tab.then_some((b'\t', end));
    };
    Some((*separator, end))
}

/// Choose the delimiter by which the sample falls into the most orderly rows of readable cells.
pub(crate) fn choose_delimiter(sample: &[&[u8]], bare_cr: bool) -> (Delimiter, String) {
    const CANDIDATES: [(Delimiter, &str); 5] = [
        (Delimiter::Char(b'\t'), "a tab"),
        (Delimiter::Char(b';'), "';'"),
        (Delimiter::Char(b'|'), "'|'"),
        (Delimiter::Char(b','), "','"),
        (Delimiter::Blanks, "runs of blanks"),
    ];
    let mut best = (Delimiter::Char(b','), 0.0, "','", 1);
    for (delimiter, name) in CANDIDATES {
        let (score, fields) = orderliness(sample, Splitter { delimiter, bare_cr, usual_fields: 2 });
        if score > best.1 * 1.02 + 1e-9 {
            best = (delimiter, score, name, fields);
        }
    }
    let because = if best.1 > 0.0 {
        format!("{} cuts most rows into {} fields that read as times and numbers", best.2, best.3)
    } else {
        "no character cuts the rows into readable fields".to_owned()
    };
    (best.0, because)
}

/// Mean share of readable cells in a row, times the share of rows with the usual number of fields. A handful of
/// rows is enough: a long preamble must not outvote a short log.
fn orderliness(sample: &[&[u8]], splitter: Splitter) -> (f64, usize) {
    let mut counts: Vec<usize> = Vec::new();
    let mut shares: Vec<f64> = Vec::new();
    for part in sample {
        let mut records = Records::new(part, 1, splitter);
        let mut record = Record::default();
        while records.read(&mut record) {
            let fields = record.fields.len();
            if fields < 2 {
                continue;
            }
            let share = readable_share(&record.fields, splitter.delimiter);
            if share > 0.0 {
                counts.push(fields);
                shares.push(share);
            }
        }
    }
    let (usual, rows) = most_common(&counts);
    if rows == 0 {
        return (0.0, 1);
    }
    let regular = rows as f64 / counts.len() as f64;
    let readable: f64 = shares.iter().sum();
    (readable / (shares.len() as f64 + 4.0) * (0.4 + 0.6 * regular), usual)
}

fn readable_share(fields: &[&[u8]], delimiter: Delimiter) -> f64 {
    let (mut score, mut filled) = (0.0, 0.0);
    let mut before = Look::Blank;
    for field in fields.iter().filter(|field| !field.is_empty()) {
        let here = look(field);
        // Blanks cut a moment into its date and its clock, which makes the row no more readable.
        let same_moment = delimiter == Delimiter::Blanks && before == Look::Moment && here == Look::Moment;
        before = here;
        if same_moment {
            continue;
        }
        filled += 1.0;
        score += readability(field, here, delimiter);
    }
    if filled == 0.0 { 0.0 } else { f64::max(score / filled, 0.0) }
}

fn readability(field: &[u8], look: Look, delimiter: Delimiter) -> f64 {
    let has = |marks: &[u8]| field.iter().any(|b| marks.contains(b) && Delimiter::Char(*b) != delimiter);
    // What no number or moment holds, or commas about a clock: a row that the delimiter left whole.
    let has_clock = field.contains(&b':');
    let is_left_whole = has(b";\t|") && field.iter().any(u8::is_ascii_digit)
        || has_clock && has(b",") && memchr::memchr_iter(b',', field).count() > 1;
    match look {
        _ if is_left_whole => -0.5,
        Look::Number if field.contains(&b' ') && !field.iter().any(u8::is_ascii_alphabetic) => 0.0,
        Look::Number | Look::Moment | Look::Censored => 1.0,
        Look::Missing => 0.5,
        Look::Text if has(b",") && field.iter().any(u8::is_ascii_digit) => -0.5,
        Look::Text | Look::Blank => 0.0,
    }
}

/// The most common value and how often it occurs; the larger of equals.
pub(crate) fn most_common(values: &[usize]) -> (usize, usize) {
    let mut sorted = values.to_vec();
    sorted.sort_unstable();
    sorted
        .chunk_by(|a, b| a == b)
        .map(|run| (run[0], run.len()))
        .max_by_key(|(value, count)| (*count, *value))
        .unwrap_or((0, 0))
}

/// How often each use of the two marks was seen.
#[derive(Default)]
struct MarkCount {
    /// One mark that may be a thousands mark: point, comma.
    grouped: [usize; 2],
    /// One mark that can only be a decimal mark.
    free: [usize; 2],
    /// The same mark several times.
    many: [usize; 2],
    /// Several thousands marks of this kind and the other as decimal.
    both: [usize; 2],
    example_many: Option<String>,
    example_free: Option<String>,
}

/// Choose decimal and thousands mark from the cells of the data rows.
pub(crate) fn choose_numbers(
    rows: &[Record<'_>],
    format: &Format,
    choices: &mut Vec<Choice>,
    questions: &mut Vec<Question>,
) -> NumberStyle {
    let count = count_marks(rows);
    let (style, because) = match (format.decimal, format.thousands) {
        (Some(decimal), thousands) => (
            NumberStyle { decimal: decimal as u8, thousands: thousands.map(|mark| mark as u8) },
            "the plan says so".to_owned(),
        ),
        (None, Some(thousands)) => with_thousands(thousands as u8, &count),
        (None, None) => from_marks(&count, questions),
    };
    let value = match style.thousands {
        Some(thousands) => format!("'{}', thousands '{}'", char::from(style.decimal), char::from(thousands)),
        None => format!("'{}'", char::from(style.decimal)),
    };
    choices.push(Choice::new("decimal mark", value, because));
    style
}

fn count_marks(rows: &[Record<'_>]) -> MarkCount {
    let index = |mark| usize::from(mark == b',');
    let mut count = MarkCount::default();
    for field in rows.iter().flat_map(|row| &row.fields) {
        match number::marks(field) {
            Marks::None => {}
            Marks::One { mark, groups: true } => count.grouped[index(mark)] += 1,
            Marks::One { mark, groups: false } => {
                count.free[index(mark)] += 1;
                count.example_free.get_or_insert_with(|| String::from_utf8_lossy(field).into_owned());
            }
            Marks::Many { mark } => {
                count.many[index(mark)] += 1;
                count.example_many.get_or_insert_with(|| String::from_utf8_lossy(field).into_owned());
            }
            Marks::Both { thousands, .. } => count.both[index(thousands)] += 1,
        }
    }
    count
}

/// The plan states the thousands mark only. Where the same mark must also be the decimal mark (`0.250` is no group)
/// and the other never occurs, the last mark of a number is the decimal mark.
fn with_thousands(thousands: u8, count: &MarkCount) -> (NumberStyle, String) {
    let own = usize::from(thousands == b',');
    let other = if thousands == b',' { b'.' } else { b',' };
    let other_seen = count.grouped[1 - own] + count.free[1 - own] + count.both[own] > 0;
    if !other_seen && count.free[own] > 0 {
        let example = count.example_free.clone().unwrap_or_default();
        let because = format!(
            "the plan says that '{0}' marks thousands, and '{example}' shows that it marks decimals too: the last '{0}' of a number is its decimal mark",
            char::from(thousands)
        );
        return (NumberStyle { decimal: thousands, thousands: Some(thousands) }, because);
    }
    (
        NumberStyle { decimal: other, thousands: Some(thousands) },
        format!("the plan says that '{}' marks thousands", char::from(thousands)),
    )
}

fn from_marks(count: &MarkCount, questions: &mut Vec<Question>) -> (NumberStyle, String) {
    let [points, commas] = [0, 1].map(|i| count.grouped[i] + count.free[i]);
    for (i, decimal, thousands) in [(0, b',', b'.'), (1, b'.', b',')] {
        if count.both[i] > 0 && count.both[1 - i] == 0 && count.free[i] == 0 {
            return (
                NumberStyle { decimal, thousands: Some(thousands) },
                "some numbers hold both marks, the decimal mark last".into(),
            );
        }
    }
    for (i, mark, other) in [(0, b'.', b','), (1, b',', b'.')] {
        if count.many[i] == 0 {
            continue;
        }
        if count.grouped[i] + count.free[i] == 0 {
            return (
                NumberStyle { decimal: other, thousands: Some(mark) },
                format!("'{}' stands several times in one number, so it marks thousands", char::from(mark)),
            );
        }
        if count.free[i] == 0 && [points, commas][1 - i] > 0 {
            return (
                NumberStyle { decimal: other, thousands: Some(mark) },
                format!("'{}' marks groups of three, '{}' stands once", char::from(mark), char::from(other)),
            );
        }
        questions.push(double_mark_question(mark, count));
        return (NumberStyle { decimal: mark, thousands: None }, "open: see the question about numbers".into());
    }
    match (points, commas) {
        (_, 0) => (NumberStyle::POINT, "numbers hold points and no commas".into()),
        (0, _) => (NumberStyle::COMMA, "numbers hold commas and no points".into()),
        _ if count.free[1] == 0 && count.free[0] > 0 => (
            NumberStyle { decimal: b'.', thousands: Some(b',') },
            "commas stand before groups of three only, points before decimals".into(),
        ),
        _ if count.free[0] == 0 && count.free[1] > 0 => (
            NumberStyle { decimal: b',', thousands: Some(b'.') },
            "points stand before groups of three only, commas before decimals".into(),
        ),
        _ => {
            questions.push(mixed_question());
            let style = if points >= commas { NumberStyle::POINT } else { NumberStyle::COMMA };
            (style, "most numbers are written so; see the question about numbers".into())
        }
    }
}

fn double_mark_question(mark: u8, count: &MarkCount) -> Question {
    let mark = char::from(mark);
    let many = count.example_many.clone().unwrap_or_default();
    let beside = count.example_free.as_ref().map(|example| format!(" beside '{example}'")).unwrap_or_default();
    Question {
        topic: Topic::Numbers,
        text: format!("numbers: '{many}'{beside}: does '{mark}' mark thousands, decimals, or both?"),
        answer: format!(
            "[test.format] thousands = \"{mark}\"   # and decimal = \"{mark}\" where the last mark of a number is its decimal mark; with another decimal mark every '{mark}' is dropped"
        ),
        blocking: true,
    }
}

fn mixed_question() -> Question {
    Question {
        topic: Topic::Numbers,
        text: "numbers: some are written with a decimal point, some with a decimal comma: which mark is meant?".into(),
        answer: "[test.format] decimal = \",\"   # or decimal = \".\"; numbers of the other kind are set aside".into(),
        blocking: true,
    }
}
