//! Where the table starts: preamble, header, units row, first row of data.

use crate::dialect::{Look, look, most_common};
use crate::recording::Choice;
use crate::records::{Record, text_of};
use crate::unit_text;

/// The form of the table, found in the first records.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    /// Names of the columns; generated where there is no header.
    pub(crate) names: Vec<String>,
    /// Words above the header, where there is a second header row.
    pub(crate) above: Vec<String>,
    /// Units row, where there is one.
    pub(crate) units: Vec<String>,
    /// Whether the names come from the file.
    pub(crate) has_header: bool,
    /// Line of the header.
    pub(crate) header_line: u64,
    /// The header's fields as they stand, to know it again.
    pub(crate) header_fields: Vec<Vec<u8>>,
    /// Index (in the sample) of the first record behind header and units row.
    pub(crate) first_row: usize,
    /// Fields of a usual row.
    pub(crate) width: usize,
}

/// What a row looks like: enough to tell rows of one table from another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Signature {
    /// First field that is a date or clock.
    moment: Option<usize>,
    /// First field is text.
    starts_with_text: bool,
}

/// Find the table in the first records of the file; `None` where no two rows look like data.
pub(crate) fn find(sample: &[Record<'_>], has_header: Option<bool>, choices: &mut Vec<Choice>) -> Option<Table> {
    let looks: Vec<Vec<Look>> =
        sample.iter().map(|record| record.fields.iter().map(|field| look(field)).collect()).collect();
    let (start, end) = main_block(&looks)?;
    let block: Vec<usize> =
        (start..end).filter(|i| signature(&looks[*i]).is_some()).map(|i| sample[i].fields.len()).collect();
    let width = most_common(&block).0;
    let filled: Vec<usize> = (start..end)
        .filter(|i| signature(&looks[*i]).is_some())
        .map(|i| looks[i].iter().filter(|look| **look != Look::Blank).count())
        .collect();
    let shape = Shape {
        width,
        filled: most_common(&filled).0,
        moment: signature(&looks[start]).and_then(|found| found.moment),
    };
    let header = match has_header {
        Some(false) => None,
        _ => find_header(sample, &looks, start, shape),
    };
    let (header, start) = match header {
        Some(at) => first_block(sample, &looks, at, start),
        None => (None, start),
    };
    let numeric_header = header.is_none() && has_header != Some(false) && is_numeric_header(&looks, start, end);
    let header = match header {
        None if numeric_header => Some(start),
        None if has_header == Some(true) => Some(start.saturating_sub(1)),
        found => found,
    };
    Some(match header {
        Some(at) => with_header(sample, &looks, at, start.max(at + 1), width, choices),
        None => without_header(start, width, has_header, choices),
    })
}

/// The longest run of rows that look alike and hold readings, a few other rows between allowed; any number of those that hold
/// the time at the same place and a word in place of the reading, as while a sensor is out of order.
fn main_block(looks: &[Vec<Look>]) -> Option<(usize, usize)> {
    const MOST_BETWEEN: usize = 6;
    let signatures: Vec<Option<Signature>> = looks.iter().map(|row| signature(row)).collect();
    let mut best: Option<(usize, usize, usize)> = None;
    let mut kinds: Vec<Signature> = signatures.iter().flatten().copied().collect();
    kinds.sort_unstable();
    kinds.dedup();
    for kind in kinds {
        let mut run: Option<(usize, usize, usize)> = None;
        let is_moment = |row: &[Look]| kind.moment.is_some_and(|at| row.get(at) == Some(&Look::Moment));
        let mut timed = 0;
        let timed_before: Vec<usize> = std::iter::once(0)
            .chain(looks.iter().map(|row| {
                timed += usize::from(is_moment(row) && signature(row).is_none());
                timed
            }))
            .collect();
        let between = |last: usize, i: usize| i - last - (timed_before[i] - timed_before[last + 1]);
        for (i, _) in signatures.iter().enumerate().filter(|(_, found)| **found == Some(kind)) {
            run = match run {
                Some((start, last, count)) if between(last, i) <= MOST_BETWEEN => Some((start, i, count + 1)),
                _ => Some((i, i, 1)),
            };
            if let Some((start, last, count)) = run
                && best.is_none_or(|(.., most)| count > most)
            {
                best = Some((start, last, count));
            }
        }
    }
    // The longest run of one kind may start after rows of another (a first row with a missing time).
    best.map(|(start, last, _)| (start, last + 1))
}

fn signature(row: &[Look]) -> Option<Signature> {
    let filled = row.iter().filter(|look| **look != Look::Blank).count();
    let values = row.iter().filter(|look| look.is_value()).count();
    let missing = row.iter().filter(|look| **look == Look::Missing).count();
    if values == 0 || row.len() < 2 || (values + missing) * 3 < filled || (filled > 1 && values + missing < 2) {
        return None;
    }
    Some(Signature {
        moment: row.iter().position(|look| *look == Look::Moment),
        starts_with_text: row.first() == Some(&Look::Text),
    })
}

/// The header among the records just above the data: the one with the most different words.
fn find_header(sample: &[Record<'_>], looks: &[Vec<Look>], start: usize, shape: Shape) -> Option<usize> {
    const FARTHEST: usize = 8;
    // A table above (calibration values, say) has its own header: nothing behind its rows is ours.
    let first = (start.saturating_sub(FARTHEST)..start)
        .rfind(|i| signature(&looks[*i]).is_some())
        .map_or(start.saturating_sub(FARTHEST), |i| i + 1);
    (first..start)
        .filter(|i| looks_like_header(&sample[*i], &looks[*i], shape))
        .max_by_key(|i| (header_worth(&sample[*i], shape), *i))
}

/// Where a file holds several blocks of the same kind, the first header that shares its names with the one found.
fn first_block(sample: &[Record<'_>], looks: &[Vec<Look>], header: usize, start: usize) -> (Option<usize>, usize) {
    let names: Vec<&[u8]> = sample[header].fields.iter().copied().filter(|field| !field.is_empty()).collect();
    let shares = |record: &Record<'_>| {
        let shared = record.fields.iter().filter(|field| names.contains(field)).count();
        shared >= 3 && shared * 2 >= names.len()
    };
    let Some(earlier) = sample[..header].iter().position(shares) else { return (Some(header), start) };
    let kind = signature(&looks[start]);
    let first = (earlier + 1..start).find(|i| signature(&looks[*i]) == kind).unwrap_or(start);
    (Some(earlier), first)
}

/// What the rows of the block look like.
#[derive(Debug, Clone, Copy)]
struct Shape {
    /// Fields of a usual row, and how many of them are not blank.
    width: usize,
    filled: usize,
    /// Where the first date or clock stands.
    moment: Option<usize>,
}

fn looks_like_header(record: &Record<'_>, looks: &[Look], shape: Shape) -> bool {
    let width = shape.width;
    let filled = looks.iter().filter(|look| **look != Look::Blank).count();
    let words = looks.iter().filter(|look| matches!(look, Look::Text | Look::Missing)).count();
    let least = if width <= 3 { width.min(2) } else { 2.max(shape.filled / 4) };
    let is_comment_column = record.fields.len() + 1 >= width.min(3);
    filled >= least.min(width) && words * 2 > filled && is_comment_column
}

fn header_worth(record: &Record<'_>, shape: Shape) -> usize {
    let mut words: Vec<String> = record
        .fields
        .iter()
        .map(|field| text_of(field).to_lowercase())
        .filter(|text| text.chars().any(char::is_alphanumeric))
        .collect();
    let units = words.iter().filter(|word| unit_text::is_unit_alone(word)).count();
    words.sort();
    words.dedup();
    // The width of the table counts, so that a long preamble line does not win over the header; so does a name
    // above the time, which a second header row does not have.
    let misfit = record.fields.len().abs_diff(shape.width);
    let names_time = shape.moment.is_some_and(|column| !record.field(column).is_empty());
    (2 * words.len() + 4 + if names_time { 2 * words.len() } else { 0 }).saturating_sub(units + misfit.min(3))
}

/// A first row whose time cell is blank while all others have one: numbers as names (wavelengths, positions).
fn is_numeric_header(looks: &[Vec<Look>], start: usize, end: usize) -> bool {
    let first = &looks[start];
    first.len() >= 2
        && first[0] == Look::Blank
        && first[1..].iter().all(|look| *look == Look::Number)
        && looks[start + 1..end].iter().all(|row| row.first().is_some_and(|look| look.is_value()))
}

fn with_header(
    sample: &[Record<'_>],
    looks: &[Vec<Look>],
    at: usize,
    start: usize,
    width: usize,
    choices: &mut Vec<Choice>,
) -> Table {
    let record = &sample[at];
    let mut names: Vec<String> = record.fields.iter().map(|field| text_of(field)).collect();
    strip_comment_sign(&mut names, sample, start);
    let units_at = (at + 1..start).find(|i| is_units_row(&sample[*i]));
    let mut units: Vec<String> =
        units_at.map(|i| sample[i].fields.iter().map(|field| text_of(field)).collect()).unwrap_or_default();
    let above = at
        .checked_sub(1)
        .filter(|i| {
            looks[*i].iter().filter(|look| **look == Look::Text).count() >= 2 && sample[*i].fields.len() + 2 >= width
        })
        .map(|i| sample[i].fields.iter().map(|field| text_of(field)).collect())
        .unwrap_or_default();
    // Everything between the header and the first row that has several words belongs to the header.
    let first_row = (at + 1..start).rfind(|i| is_header_company(&sample[*i], width)).map_or(at + 1, |i| i + 1);
    choices.push(Choice::new(
        "header",
        format!("line {}", record.line),
        header_reason(units_at.map(|i| sample[i].line)),
    ));
    let shift = is_one_name_short(&names, sample, looks, start, width);
    if shift {
        names.insert(0, "row name".into());
        if !units.is_empty() {
            units.insert(0, String::new());
        }
        choices.push(Choice::new(
            "header shift",
            "one column",
            "the header is one name short and its time stands one column to the right in the rows",
        ));
    }
    Table {
        names,
        above,
        units,
        has_header: true,
        header_line: record.line,
        header_fields: record.fields.iter().map(|field| field.to_vec()).collect(),
        first_row,
        width,
    }
}

fn header_reason(units_line: Option<u64>) -> String {
    match units_line {
        Some(line) => format!("the last line of different words before the readings; units stand in line {line}"),
        None => "the last line of different words before the readings".into(),
    }
}

/// `# Time,dP`: a comment sign before the first name that the rows do not have.
fn strip_comment_sign(names: &mut [String], sample: &[Record<'_>], start: usize) {
    let rows_have_it = sample.get(start).is_some_and(|row| row.field(0).starts_with(b"#"));
    if let Some(first) = names.first_mut()
        && !rows_have_it
        && let Some(rest) = first.strip_prefix('#')
        && !rest.trim().is_empty()
        && rest.starts_with(char::is_whitespace)
    {
        *first = rest.trim().to_owned();
    }
}

fn is_units_row(record: &Record<'_>) -> bool {
    let texts = record.fields.iter().map(|field| text_of(field));
    let filled: Vec<String> =
        texts.filter(|text| text.chars().any(char::is_alphanumeric) || text.contains('%')).collect();
    let units = filled.iter().filter(|text| unit_text::is_unit_alone(text)).count();
    // Few cells that all are units say it as well as many of which some are.
    units >= 1 && (units == filled.len() || units * 3 >= filled.len() && filled.len() * 4 >= record.fields.len())
}

/// A row under the header that is part of it: units or aggregation words in most columns, no values.
fn is_header_company(record: &Record<'_>, width: usize) -> bool {
    let looks: Vec<Look> = record.fields.iter().map(|field| look(field)).collect();
    let filled = looks.iter().filter(|look| **look != Look::Blank).count();
    !looks.iter().any(|look| look.is_value())
        && record.fields.len() + 1 >= width
        && (filled * 2 >= width || is_units_row(record))
}

/// Rows have one field more than the header has names, and it is the front one that has none.
fn is_one_name_short(names: &[String], sample: &[Record<'_>], looks: &[Vec<Look>], start: usize, width: usize) -> bool {
    if names.len() + 1 != width {
        return false;
    }
    let Some(row) = looks.get(start) else { return false };
    if row.last().is_none_or(|look| matches!(look, Look::Blank | Look::Text)) {
        return false;
    }
    let names_time = names.first().is_some_and(|name| crate::words::is_time(name));
    match row.iter().position(|look| *look == Look::Moment) {
        Some(0) => false,
        Some(_) => names_time,
        None => names_time && sample.get(start).is_some_and(|row| row.field(0).iter().all(u8::is_ascii_digit)),
    }
}

fn without_header(start: usize, width: usize, has_header: Option<bool>, choices: &mut Vec<Choice>) -> Table {
    let because = if has_header == Some(false) { "the plan says so" } else { "the first line already holds readings" };
    choices.push(Choice::new("header", "none", because));
    let first_row = if has_header == Some(false) { 0 } else { start };
    Table {
        names: (1..=width).map(|position| format!("column {position}")).collect(),
        above: Vec::new(),
        units: Vec::new(),
        has_header: false,
        header_line: 0,
        header_fields: Vec::new(),
        first_row,
        width,
    }
}
