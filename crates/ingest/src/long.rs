//! The long layout: one row a reading, with the name of the quantity beside the value.

use jiff::tz::TimeZone;

use crate::account::RowReason;
use crate::assemble::{Assembled, assemble};
use crate::assign::Assigned;
use crate::body::{Rows, reading};
use crate::channel::Channel;
use crate::dialect::{Look, look};
use crate::header::Table;
use crate::number::NumberStyle;
use crate::options::{ColumnRef, ColumnRequest, Format, Layout};
use crate::question::{Question, Topic};
use crate::records::{Record, Records, Splitter, text_of};
use crate::time::{Base, DateMemory, TimePlan};
use crate::unit_text;
use crate::words;

/// Which column plays which part.
#[derive(Debug, Clone)]
pub(crate) struct Roles {
    pub(crate) name: usize,
    pub(crate) value: usize,
    pub(crate) unit: Option<usize>,
    pub(crate) because: String,
}

/// A name that occurs, with its unit and some of its values.
#[derive(Debug, Clone)]
pub(crate) struct Named {
    pub(crate) name: String,
    unit: String,
    examples: Vec<String>,
}

/// All names of the file.
pub(crate) struct Inventory {
    pub(crate) names: Vec<Named>,
}

const MOST_NAMES: usize = 200;

/// Whether the rows are single readings, and which column is what.
pub(crate) fn detect(
    table: &Table,
    rows: &[Record<'_>],
    time_columns: &[usize],
    format: &Format,
    requests: &[ColumnRequest],
    style: NumberStyle,
) -> Option<Roles> {
    if format.layout == Some(Layout::Wide) || rows.len() < 2 {
        return None;
    }
    let width = table.names.len().max(table.width);
    let free: Vec<usize> = (0..width).filter(|column| !time_columns.contains(column)).collect();
    let header = |column: usize| table.names.get(column).map(|name| name.to_lowercase()).unwrap_or_default();
    let said = format.layout == Some(Layout::Long);
    let headed_as_value = |column: &usize| VALUE_WORDS.contains(&header(*column).trim());
    let beside = Beside {
        unit: free.iter().copied().find(|column| is_unit_column(rows, *column)),
        value_is_headed: free.iter().filter(|column| is_numeric(rows, **column, style)).all(headed_as_value),
        requests,
        said,
    };
    let name = free
        .iter()
        .copied()
        .filter(|column| is_name_column(rows, *column, &header(*column), &beside))
        .max_by_key(|column| is_name_word(&header(*column)))?;
    let numeric: Vec<usize> =
        free.iter().copied().filter(|column| *column != name && is_numeric(rows, *column, style)).collect();
    let value = numeric.iter().copied().find(|column| is_value_word(&header(*column))).or(match numeric[..] {
        [only] => Some(only),
        _ if said => numeric.first().copied(),
        _ => None,
    })?;
    let unit = free.iter().copied().find(|column| *column != name && *column != value && is_unit_column(rows, *column));
    let because = if said {
        "the plan says so".to_owned()
    } else {
        format!("column '{}' names the quantity of each row, column '{}' holds its value", header(name), header(value))
    };
    Some(Roles { name, value, unit, because })
}

fn is_name_word(header: &str) -> bool {
    [
        "name",
        "parameter",
        "channel",
        "quantity",
        "signal",
        "variable",
        "tag",
        "sensor",
        "kanal",
        "grösse",
        "größe",
        "messgrösse",
        "messgröße",
        "grandeur",
        "magnitud",
        "grootheid",
        "canal",
        "kanaal",
        "kind",
        "measurand",
    ]
    .iter()
    .any(|word| header.contains(word))
}

const VALUE_WORDS: [&str; 8] = ["value", "wert", "valeur", "valor", "waarde", "reading", "messwert", "mesure"];

fn is_value_word(header: &str) -> bool {
    VALUE_WORDS.iter().chain(&["lectura"]).any(|word| header.contains(word))
}

/// What stands beside a column that may hold names.
struct Beside<'a> {
    /// The column of units.
    unit: Option<usize>,
    /// Whether nothing but "value" stands above every column of numbers.
    value_is_headed: bool,
    requests: &'a [ColumnRequest],
    /// Whether the plan says that the layout is long.
    said: bool,
}

fn is_name_column(rows: &[Record<'_>], column: usize, header: &str, beside: &Beside<'_>) -> bool {
    let said = beside.said;
    let unit_of = |row: &Record<'_>| beside.unit.filter(|unit| *unit != column).map(|unit| text_of(row.field(unit)));
    let mut names: Vec<(String, Option<String>)> = rows
        .iter()
        .filter(|row| look(row.field(column)) == Look::Text)
        .map(|row| (text_of(row.field(column)), unit_of(row)))
        .collect();
    if names.len() * 10 < rows.len() * 8 {
        return false;
    }
    let count = names.len();
    names.sort();
    names.dedup_by(|a, b| a.0 == b.0);
    if names.len() > MOST_NAMES || names.len() * 2 > count {
        return said && names.len() <= MOST_NAMES && is_name_word(header);
    }
    let wanted = |name: &String| {
        let columns = beside.requests.iter().flat_map(|request| &request.columns);
        columns.into_iter().any(|column| *column == ColumnRef::Name(name.clone()))
    };
    let with_unit = |name: &str, unit: &Option<String>| {
        unit.as_ref().is_some_and(|unit| !unit.is_empty() && is_quantity(&format!("{name} ({unit})")))
    };
    let known = names.iter().filter(|(name, unit)| wanted(name) || is_quantity(name) || with_unit(name, unit)).count();
    let units = names.iter().filter(|(name, _)| unit_text::is_unit_alone(name)).count();
    let of_quantities = units * 2 < names.len();
    (said && units < names.len())
        || of_quantities
            && (known >= 2 || is_name_word(header) && (known >= 1 || beside.value_is_headed && beside.unit.is_some()))
}

fn is_quantity(name: &str) -> bool {
    Channel::parse(name).is_some() || {
        let (name, unit) = unit_text::split(name);
        words::guess(&name, unit.and_then(|unit| unit_text::parse(&unit)).as_ref()).is_some()
    }
}

fn is_numeric(rows: &[Record<'_>], column: usize, style: NumberStyle) -> bool {
    let filled = rows.iter().filter(|row| !row.field(column).is_empty()).count();
    let numbers = rows
        .iter()
        .filter(|row| {
            crate::number::parse(row.field(column), style).is_some() || look(row.field(column)) == Look::Censored
        })
        .count();
    filled > 0 && numbers * 10 >= filled * 7
}

fn is_unit_column(rows: &[Record<'_>], column: usize) -> bool {
    let filled: Vec<String> =
        rows.iter().map(|row| text_of(row.field(column))).filter(|text| !text.is_empty()).collect();
    !filled.is_empty()
        && filled.iter().filter(|text| unit_text::is_unit_alone(text) || *text == "1").count() * 10 >= filled.len() * 7
}

/// All names in the body, each with its first unit and some values.
pub(crate) fn inventory(body: &[u8], first_line: u64, splitter: Splitter, roles: &Roles) -> Inventory {
    const EXAMPLES: usize = 300;
    let mut names: Vec<Named> = Vec::new();
    let mut records = Records::new(body, first_line, splitter);
    let mut record = Record::default();
    while records.read(&mut record) {
        let name = record.field(roles.name);
        let value = record.field(roles.value);
        if name.is_empty() || value.is_empty() || look(value) == Look::Text {
            continue;
        }
        let at = match names.iter().position(|known| known.name.as_bytes() == name) {
            Some(at) => at,
            None if names.len() < MOST_NAMES => {
                let unit = roles.unit.map(|unit| text_of(record.field(unit))).unwrap_or_default();
                names.push(Named { name: text_of(name), unit, examples: Vec::new() });
                names.len() - 1
            }
            None => continue,
        };
        if names[at].examples.len() < EXAMPLES {
            names[at].examples.push(text_of(value));
        }
    }
    Inventory { names }
}

/// The names as a table, so that they are assigned to channels as columns are.
pub(crate) fn as_table(inventory: &Inventory) -> (Table, Vec<Vec<String>>) {
    let names: Vec<String> = inventory.names.iter().map(|named| named.name.clone()).collect();
    let table = Table {
        width: names.len(),
        units: inventory.names.iter().map(|named| named.unit.clone()).collect(),
        names,
        above: Vec::new(),
        has_header: true,
        header_line: 0,
        header_fields: Vec::new(),
        first_row: 0,
    };
    let most = inventory.names.iter().map(|named| named.examples.len()).max().unwrap_or(0);
    let rows = (0..most)
        .map(|i| inventory.names.iter().map(|named| named.examples.get(i).cloned().unwrap_or_default()).collect())
        .collect();
    (table, rows)
}

/// What the rows are read by.
pub(crate) struct Job<'a> {
    pub(crate) splitter: Splitter,
    pub(crate) style: NumberStyle,
    pub(crate) time: Option<TimePlan>,
    pub(crate) names: Vec<Named>,
    pub(crate) roles: &'a Roles,
    pub(crate) columns: &'a [Assigned],
    pub(crate) header_fields: &'a [Vec<u8>],
}

/// Read all rows; each is a reading of one channel.
pub(crate) fn read(
    body: &[u8],
    first_line: u64,
    job: &Job<'_>,
    base: Base,
    zone: Option<&TimeZone>,
    pressure_pa: Option<f64>,
) -> Assembled {
    let mut rows = Rows::with_columns(job.columns.len());
    let mut memory = DateMemory::default();
    let mut records = Records::new(body, first_line, job.splitter);
    let mut record = Record::default();
    while records.read(&mut record) {
        if let Err(reason) = read_one(&record, job, &mut memory, &mut rows) {
            rows.aside.push((reason, record.line as u32));
        }
    }
    assemble(rows, job.columns, base, zone, pressure_pa)
}

fn read_one(record: &Record<'_>, job: &Job<'_>, memory: &mut DateMemory, rows: &mut Rows) -> Result<(), RowReason> {
    if record.unclosed {
        return Err(RowReason::UnclosedQuote);
    }
    if record.is_blank() {
        return Err(RowReason::Empty);
    }
    if !job.header_fields.is_empty() && job.header_fields.iter().zip(&record.fields).all(|(a, b)| a.as_slice() == *b) {
        return Err(RowReason::RepeatedHeader);
    }
    let name = record.field(job.roles.name);
    let Some(time) = &job.time else { return Err(RowReason::TimeOpen) };
    let (time_ns, _) = time
        .row(|column| record.field(column), memory)
        .map_err(|reason| if record.fields.len() < 2 { RowReason::NotData } else { reason })?;
    let known = job.names.iter().position(|known| known.name.as_bytes() == name);
    let column = known.and_then(|known| job.columns.iter().position(|column| column.column == known));
    let Some(column) = column else { return Err(RowReason::OtherQuantity(text_of(name))) };
    let outside_before = rows.cells[column].outside_table;
    let (value, status) =
        reading(record.field(job.roles.value), &job.columns[column], job.style, &mut rows.cells[column]);
    if value.is_nan() {
        let outside = rows.cells[column].outside_table > outside_before;
        return Err(if outside { RowReason::OutsideConversion } else { RowReason::NoReading });
    }
    rows.push_one(time_ns, record.line as u32, column, value, status);
    Ok(())
}

pub(crate) fn not_found_question() -> Question {
    Question {
        topic: Topic::Layout,
        text: "layout: the plan says long, but no column of names beside a column of values was found".into(),
        answer: "[test.format] layout = \"wide\"".into(),
        blocking: true,
    }
}
