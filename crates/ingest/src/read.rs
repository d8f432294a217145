//! From a file to a recording.

use std::fs;
use std::path::Path;

use crate::assemble::{Assembled, assemble};
use crate::assign::{Assignment, assign, find_columns};
use crate::body::{self, Job, RowKind};
use crate::bytes::{Content, decode};
use crate::channel::Channel;
use crate::check;
use crate::dialect::{self, Look, look};
use crate::error::ReadError;
use crate::header::{self, Table};
use crate::long;
use crate::number::NumberStyle;
use crate::options::{ColumnRequest, Format, Layout, ReadOptions};
use crate::question::{Question, Topic};
use crate::recording::{Choice, Column, Recording, TimeBase};
use crate::records::{self, Delimiter, Record, Records, Splitter};
use crate::time::cell::{Order, moment};
use crate::time::find::{self, Found, Search};
use crate::time::order::{Dates, Verdict};
use crate::time::{Base, Part, TimePlan, zone};
use crate::workbook;

/// Read an export.
///
/// # Errors
/// Where nothing can be read at all; see [`ReadError`].
pub fn read(path: &Path, options: &ReadOptions) -> Result<Recording, ReadError> {
    let name = path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
    let bytes = fs::read(path).map_err(|source| ReadError::Io { file: path.display().to_string(), source })?;
    read_bytes(&name, &bytes, options)
}

/// Read an export that is in memory; `name` is shown to people.
///
/// # Errors
/// Where nothing can be read at all; see [`ReadError`].
pub fn read_bytes(name: &str, bytes: &[u8], options: &ReadOptions) -> Result<Recording, ReadError> {
    let mut findings = Findings::default();
    if bytes.is_empty() {
        return Err(ReadError::Empty { file: name.into() });
    }
    check_format(name, &options.format)?;
    match decode(name, bytes, options.format.encoding.as_deref(), &mut findings.choices)? {
        Content::Text(text) => Reading { name, options, findings, format: options.format.clone() }.read(text.as_bytes()),
        Content::Workbook(bytes) => {
            let sheet = workbook::read(name, &bytes, options.format.sheet.as_deref(), &mut findings.choices, &mut findings.questions)?;
            // The sheet comes as tab-separated text with decimal points, whatever the plan says of text files.
            let format = Format { delimiter: Some('\t'), decimal: Some('.'), thousands: None, ..options.format.clone() };
            Reading { name, options, findings, format }.read(sheet.as_bytes())
        }
    }
}

fn check_format(name: &str, format: &Format) -> Result<(), ReadError> {
    let bad = |key, value: String, expected: &str| Err(ReadError::Format { file: name.into(), key, value, expected: expected.into() });
    if let Some(delimiter) = format.delimiter.filter(|delimiter| !delimiter.is_ascii() || delimiter.is_ascii_alphanumeric()) {
        return bad("delimiter", delimiter.to_string(), "one character such as \";\", \",\", \"\\t\", \"|\" or a blank");
    }
    if let Some(decimal) = format.decimal.filter(|decimal| !matches!(decimal, '.' | ',')) {
        return bad("decimal", decimal.to_string(), "\".\" or \",\"");
    }
    if let Some(thousands) = format.thousands.filter(|mark| !matches!(mark, '.' | ',' | '\'' | ' ' | '\u{a0}' | '\u{202f}' | '’')) {
        return bad("thousands", thousands.to_string(), "\".\", \",\", \"'\" or a blank");
    }
    if let Some(unit) = format.elapsed_unit.as_deref().filter(|unit| find::ns_per(unit).is_none()) {
        return bad("elapsed_unit", unit.to_owned(), "ns, us, ms, s, min, h or d");
    }
    Ok(())
}

/// What is found on the way.
#[derive(Default)]
struct Findings {
    choices: Vec<Choice>,
    questions: Vec<Question>,
    notes: Vec<String>,
}

struct Reading<'a> {
    name: &'a str,
    options: &'a ReadOptions,
    findings: Findings,
    format: Format,
}

/// Bytes from which the form of a file is told, and records looked at.
const HEAD_BYTES: usize = 1 << 20;
const HEAD_RECORDS: usize = 3000;
const SPREAD_BYTES: usize = 1 << 14;

impl Reading<'_> {
    fn read(mut self, text: &[u8]) -> Result<Recording, ReadError> {
        let (text, lines_before, separator) = self.skip_separator_line(text);
        let bare_cr = records::has_bare_cr(text);
        let head = head_of(text);
        let mut sample_parts = vec![head];
        sample_parts.extend(spread(text, head.len()));
        let delimiter = self.delimiter(&sample_parts, bare_cr, separator);
        let mut splitter = Splitter { delimiter, bare_cr, usual_fields: 2 };
        splitter.usual_fields = usual_fields(head, splitter);

        let (sample, offsets) = head_records(head, lines_before + 1, splitter);
        let table = header::find(&sample, self.format.header, &mut self.findings.choices);
        let Some(mut table) = table else { return self.without_table(&sample) };
        if splitter.delimiter == Delimiter::Blanks {
            mend_blank_header(&mut table, text, bare_cr, lines_before);
        }
        let body_start = offsets.get(table.first_row).copied().unwrap_or(text.len());
        let body_line = sample.get(table.first_row).map_or(1, |record| record.line);
        let mut rows: Vec<Record<'_>> = sample[table.first_row.min(sample.len())..].to_vec();
        for part in &sample_parts[1..] {
            rows.extend(head_records(part, 1, splitter).0);
        }
        let style = dialect::choose_numbers(&rows, &self.format, &mut self.findings.choices, &mut self.findings.questions);
        let rows: Vec<Record<'_>> = rows.into_iter().filter(|row| row.fields.iter().any(|field| look(field).is_value())).collect();
        self.ask_about_extra_fields(&table, &rows, splitter);

        let body = &text[body_start..];
        let found = self.find_time(&table, &rows, style, body, splitter);
        if let Some(names) = long::detect(&table, &rows, &found.columns, &self.format, &self.options.columns, style) {
            return self.read_long(&table, &names, body, body_line, splitter, style, found);
        }
        if self.format.layout == Some(Layout::Long) {
            self.findings.questions.push(long::not_found_question());
        }
        self.read_wide(&table, &rows, body, body_line, splitter, style, found)
    }

    fn skip_separator_line<'t>(&mut self, text: &'t [u8]) -> (&'t [u8], u64, Option<u8>) {
        let text = text.strip_prefix("\u{feff}".as_bytes()).unwrap_or(text);
        match dialect::separator_line(text) {
            Some((separator, end)) => {
                let rest = &text[end..];
                let rest = rest.strip_prefix(b"\r\n").or(rest.strip_prefix(b"\n")).or(rest.strip_prefix(b"\r")).unwrap_or(rest);
                (rest, 1, Some(separator))
            }
            None => (text, 0, None),
        }
    }

    fn delimiter(&mut self, sample: &[&[u8]], bare_cr: bool, separator: Option<u8>) -> Delimiter {
        let (delimiter, because) = if let Some(delimiter) = self.format.delimiter {
            (if delimiter == ' ' { Delimiter::Blanks } else { Delimiter::Char(delimiter as u8) }, "the plan says so".to_owned())
        } else if let Some(separator) = separator {
            (Delimiter::Char(separator), "the first line says so (sep=)".to_owned())
        } else {
            dialect::choose_delimiter(sample, bare_cr)
        };
        let value = match delimiter {
            Delimiter::Char(b'\t') => "tab".to_owned(),
            Delimiter::Char(character) => format!("'{}'", char::from(character)),
            Delimiter::Blanks => "runs of blanks".to_owned(),
        };
        self.findings.choices.push(Choice::new("delimiter", value, because));
        if bare_cr {
            self.findings.choices.push(Choice::new("line ends", "carriage return alone", "carriage returns stand without a line feed"));
        }
        delimiter
    }

    /// Text, but no table: a header alone is told apart from prose.
    fn without_table(self, sample: &[Record<'_>]) -> Result<Recording, ReadError> {
        let is_header = |record: &&Record<'_>| record.fields.len() >= 2 && record.fields.iter().filter(|field| look(field) == Look::Text).count() >= 2;
        Err(match sample.last().filter(is_header) {
            Some(record) if sample.len() <= 60 && record.fields.iter().any(|field| crate::words::is_time(&records::text_of(field))) => {
                ReadError::NoRows { file: self.name.into(), header_line: record.line }
            }
            _ => ReadError::NoTable { file: self.name.into() },
        })
    }

    /// Twice the fields less one under the header's names: a decimal comma that is also the separator.
    fn ask_about_extra_fields(&mut self, table: &Table, rows: &[Record<'_>], splitter: Splitter) {
        let names = table.names.iter().rposition(|name| !name.is_empty()).map_or(0, |last| last + 1);
        let widths: Vec<usize> = rows.iter().map(|row| row.fields.iter().rposition(|field| !field.is_empty()).map_or(0, |last| last + 1)).collect();
        let (usual, _) = dialect::most_common(&widths);
        if splitter.delimiter == Delimiter::Char(b',') && table.has_header && names >= 2 && usual == 2 * names - 1 {
            self.findings.questions.push(Question {
                topic: Topic::Numbers,
                text: format!("numbers: {names} names stand above rows of {usual} fields: the comma seems to be decimal mark and separator at once"),
                answer: "export again with another separator or with decimal points; no reading can be told from its decimals".into(),
                blocking: true,
            });
        }
    }

    fn find_time(&mut self, table: &Table, rows: &[Record<'_>], style: NumberStyle, body: &[u8], splitter: Splitter) -> Found {
        let request = self.options.columns.iter().find(|request| request.channel == Channel::Time);
        let wanted = request.map(|request| self.time_columns(request, table)).unwrap_or_default();
        let search = Search { table, rows, style, format: &self.format, wanted: &wanted, unit: request.and_then(|request| request.unit.as_deref()) };
        let mut found = find::find(&search, &mut self.findings.choices, &mut self.findings.questions);
        if let (Some(plan), Some(column)) = (&mut found.plan, found.open_dates) {
            match self.order_of_dates(body, splitter, column, rows, table, style) {
                Some(order) => set_order(plan, order),
                None => found.plan = None,
            }
        }
        let numbers_open = self.findings.questions.iter().any(|question| question.topic == Topic::Numbers && question.blocking);
        let is_number = |plan: &TimePlan| plan.parts.iter().any(|(_, part)| matches!(part, Part::Number { .. }));
        if numbers_open && found.plan.as_ref().is_none_or(is_number) {
            // First things first: a time in numbers cannot be asked about before the numbers are.
            self.findings.questions.retain(|question| question.topic != Topic::Time);
            found.plan = None;
        }
        found
    }

    fn time_columns(&mut self, request: &ColumnRequest, table: &Table) -> Vec<usize> {
        let mut columns = Vec::new();
        for wanted in &request.columns {
            match find_columns(wanted, table, table.names.len().max(table.width)).first() {
                Some(column) => columns.push(*column),
                None => self.findings.questions.push(Question {
                    topic: Topic::Time,
                    text: format!("time: there is no column {wanted:?}; the columns are {}", table.names.join(" | ")),
                    answer: "[test.columns] time = { column = \"…\" }".into(),
                    blocking: true,
                }),
            }
        }
        columns
    }

    /// Look at every date of the column; ask where none decides.
    fn order_of_dates(&mut self, body: &[u8], splitter: Splitter, column: usize, rows: &[Record<'_>], table: &Table, style: NumberStyle) -> Option<Order> {
        let mut dates = Dates::new();
        let mut records = Records::new(body, 1, splitter);
        let mut record = Record::default();
        let mut settled = false;
        while !settled && records.read(&mut record) {
            if let Some(found) = moment(record.field(column))
                && let Some(date) = found.date
            {
                dates.add(date, found.half_day);
                settled = date.orders().list().len() == 1 && date.separator != b'/';
            }
        }
        match dates.verdict() {
            Verdict::Decided(order, because) => {
                self.findings.choices.push(Choice::new("date order", order.name(), because));
                Some(order)
            }
            Verdict::Open(orders) => {
                if let Some((order, counter)) = find::order_by_counter(rows, column, table.names.len().max(table.width), style) {
                    let name = table.names.get(counter).cloned().unwrap_or_default();
                    self.findings.choices.push(Choice::new("date order", order.name(), format!("column '{name}' counts seconds and agrees with no other order")));
                    return Some(order);
                }
                self.findings.questions.push(order_question(&orders, rows, column));
                None
            }
            Verdict::Contradiction => {
                self.findings.questions.push(Question {
                    topic: Topic::Time,
                    text: "time: some dates can only be read day first, others only month first".into(),
                    answer: "[test.format] time = \"%d/%m/%Y %H:%M:%S\"   # or \"%m/%d/%Y %H:%M:%S\"; rows that do not fit are set aside".into(),
                    blocking: true,
                });
                None
            }
        }
    }

    fn read_wide(mut self, table: &Table, rows: &[Record<'_>], body: &[u8], body_line: u64, splitter: Splitter, style: NumberStyle, found: Found) -> Result<Recording, ReadError> {
        let Assignment { assigned, columns } = assign(self.name, table, rows, style, &found.columns, &self.options.columns, &mut self.findings.questions)?;
        let probes = (0..table.names.len().max(table.width)).filter(|column| !found.columns.contains(column)).collect();
        let numbers_open = self.findings.questions.iter().any(|question| question.topic == Topic::Numbers && question.blocking);
        let job = Job {
            splitter,
            style,
            offset_in_rows: offset_in_rows(found.plan.as_ref(), rows),
            time: found.plan,
            columns: if numbers_open { Vec::new() } else { assigned },
            probes,
            names: table.names.clone(),
            header_fields: table.header_fields.clone(),
            units: table.units.clone(),
            kind: row_kind(table, rows),
        };
        let read = body::read(body, body_line, &job);
        let base = body::base(&job);
        let zone = self.zone(base)?;
        let dated = job.time.is_some();
        let assembled = assemble(read, &job.columns, base, zone.as_ref(), self.options.pressure_pa);
        Ok(self.finish(table, assembled, columns, &job.columns.iter().map(|column| column.column).collect::<Vec<_>>(), base, dated))
    }

    #[expect(clippy::too_many_arguments, reason = "the form of the table, handed on once")]
    fn read_long(mut self, table: &Table, names: &long::Roles, body: &[u8], body_line: u64, splitter: Splitter, style: NumberStyle, found: Found) -> Result<Recording, ReadError> {
        self.findings.choices.push(Choice::new("layout", "long", names.because.clone()));
        let inventory = long::inventory(body, body_line, splitter, names);
        let (long_table, examples) = long::as_table(&inventory);
        let rows: Vec<Record<'_>> = examples.iter().map(|fields| Record { fields: fields.iter().map(|field| field.as_bytes()).collect(), ..Record::default() }).collect();
        let Assignment { assigned, columns } = assign(self.name, &long_table, &rows, style, &[], &self.options.columns, &mut self.findings.questions)?;
        let base = found.plan.as_ref().map_or(Base::Elapsed, |plan| plan.base);
        let zone = self.zone(base)?;
        let dated = found.plan.is_some();
        let job = long::Job { splitter, style, time: found.plan, names: inventory.names, roles: names, columns: &assigned, header_fields: &table.header_fields };
        let assembled = long::read(body, body_line, job, base, zone.as_ref(), self.options.pressure_pa);
        let positions: Vec<usize> = assigned.iter().map(|column| column.column).collect();
        let mut columns = columns;
        for column in &mut columns {
            column.position = 0;
        }
        Ok(self.finish(table, assembled, columns, &positions, base, dated))
    }

    fn zone(&mut self, base: Base) -> Result<Option<jiff::tz::TimeZone>, ReadError> {
        if base != Base::Local {
            return Ok(None);
        }
        let Some(name) = self.options.time_zone.as_deref() else {
            self.findings.questions.push(Question {
                topic: Topic::TimeZone,
                text: "time: local times without an offset: of which zone? Until it is stated they are read as UTC".into(),
                answer: "[room] time_zone = \"Europe/Vienna\"   # the zone of the room, or \"UTC\", or a fixed offset such as \"+01:00\" where the logger does not follow summer time".into(),
                blocking: false,
            });
            return Ok(None);
        };
        zone::parse(name).map(Some).ok_or_else(|| ReadError::Format {
            file: self.name.into(),
            key: "time_zone",
            value: name.into(),
            expected: "a zone such as \"Europe/Vienna\", \"UTC\" or \"+01:00\"".into(),
        })
    }

    fn finish(mut self, table: &Table, assembled: Assembled, mut columns: Vec<Column>, positions: &[usize], base: Base, timed: bool) -> Recording {
        for (cells, position) in assembled.cells.iter().zip(positions) {
            if let Some(column) = columns.get_mut(*position) {
                column.cells = *cells;
            }
        }
        self.findings.questions.extend(assembled.series.iter().filter_map(check::plausibility));
        self.findings.notes.extend(assembled.notes);
        let time_base = match base {
            Base::Utc => TimeBase::Dated { zone: "UTC".into() },
            Base::Offset(seconds) => TimeBase::Dated { zone: format!("UTC{:+03}:{:02} by the header", seconds / 3600, seconds.abs() / 60 % 60) },
            Base::Local => TimeBase::Dated { zone: self.options.time_zone.clone().unwrap_or_else(|| "not known".into()) },
            Base::Elapsed | Base::ClockOnly => TimeBase::Elapsed,
        };
        if !timed {
            self.findings.notes.push("no row can be used before the question about time is answered".into());
        }
        if table.has_header && assembled.account.rows_read() == 0 {
            self.findings.notes.push(format!("line {}: a header and no row after it", table.header_line));
        }
        Recording {
            file: self.name.into(),
            choices: self.findings.choices,
            columns,
            series: assembled.series,
            time_base,
            span_s: assembled.span_s,
            cadence_s: assembled.cadence_s,
            gaps_s: assembled.gaps_s,
            phases: assembled.phases,
            stuck: assembled.stuck,
            notes: self.findings.notes,
            account: assembled.account,
            questions: self.findings.questions,
        }
    }
}

fn order_question(orders: &[Order], rows: &[Record<'_>], column: usize) -> Question {
    let example = rows.iter().map(|row| row.field(column)).find(|cell| moment(cell).is_some()).map(records::text_of).unwrap_or_default();
    let names: Vec<&str> = orders.iter().map(|order| order.name()).collect();
    let separator = if example.contains('-') { "-" } else { "/" };
    let year = if example.split(|c: char| !c.is_ascii_digit()).any(|part| part.len() == 4) { "%Y" } else { "%y" };
    let clock = match (example.to_uppercase().contains('M'), example.matches(':').count()) {
        (true, _) => " %I:%M:%S %p",
        (false, 0) => "",
        (false, 1) => " %H:%M",
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

fn set_order(plan: &mut TimePlan, order: Order) {
    for (_, part) in &mut plan.parts {
        if let Part::Date(found) = part {
            *found = order;
        }
    }
}

/// Most rows state their own offset.
fn offset_in_rows(plan: Option<&TimePlan>, rows: &[Record<'_>]) -> bool {
    let Some(plan) = plan else { return false };
    let (mut with, mut without) = (0, 0);
    let mut memory = crate::time::DateMemory::default();
    for row in rows {
        match plan.row(|column| row.field(column), &mut memory) {
            Ok((_, true)) => with += 1,
            Ok((_, false)) => without += 1,
            Err(_) => {}
        }
    }
    with > without
}

/// A first column called "type" that holds a few small numbers: only the most common kind are readings.
fn row_kind(table: &Table, rows: &[Record<'_>]) -> Option<RowKind> {
    let column = table.names.iter().position(|name| matches!(name.to_lowercase().as_str(), "type" | "row type" | "record type" | "rowtype" | "typ" | "satzart"))?;
    if column > 1 {
        return None;
    }
    let mut kinds: Vec<&[u8]> = rows.iter().map(|row| row.field(column)).filter(|field| (1..=2).contains(&field.len()) && field.iter().all(u8::is_ascii_digit)).collect();
    let total = kinds.len();
    kinds.sort_unstable();
    let largest = kinds.chunk_by(|a, b| a == b).max_by_key(|run| run.len())?;
    (largest.len() * 10 >= total * 6).then(|| RowKind { column, data: largest[0].to_vec() })
}

/// Enough of the text to see its form, also where a line is huge.
fn head_of(text: &[u8]) -> &[u8] {
    const FEWEST_LINES: usize = 50;
    let mut most = HEAD_BYTES;
    loop {
        let head = whole_lines(text, most);
        let lines = head.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).take(FEWEST_LINES).count();
        if head.len() == text.len() || lines == FEWEST_LINES {
            return head;
        }
        most = most.saturating_mul(4);
    }
}

/// The first bytes of a text, up to the end of a line.
fn whole_lines(text: &[u8], most: usize) -> &[u8] {
    if text.len() <= most {
        return text;
    }
    let end = text[..most].iter().rposition(|byte| matches!(byte, b'\n' | b'\r')).map_or(most, |at| at + 1);
    &text[..end]
}

/// A few lines from the middle and the end of a long file.
fn spread(text: &[u8], from: usize) -> Vec<&[u8]> {
    let rest = &text[from..];
    if rest.len() < 4 * SPREAD_BYTES {
        return Vec::new();
    }
    [rest.len() / 3, rest.len() * 2 / 3, rest.len() - SPREAD_BYTES]
        .into_iter()
        .filter_map(|at| {
            let piece = &rest[at..(at + SPREAD_BYTES).min(rest.len())];
            let start = piece.iter().position(|byte| matches!(byte, b'\n' | b'\r'))? + 1;
            Some(whole_lines(&piece[start..], SPREAD_BYTES - start - 1))
        })
        .collect()
}

fn usual_fields(head: &[u8], splitter: Splitter) -> usize {
    let (records, _) = head_records(head, 1, splitter);
    let counts: Vec<usize> = records.iter().map(|record| record.fields.len()).filter(|count| *count > 1).collect();
    dialect::most_common(&counts).0.max(2)
}

fn head_records(head: &[u8], first_line: u64, splitter: Splitter) -> (Vec<Record<'_>>, Vec<usize>) {
    let mut records = Records::new(head, first_line, splitter);
    let (mut found, mut offsets) = (Vec::new(), Vec::new());
    let mut record = Record::default();
    loop {
        // Blank lines before a record belong to it: the body may start there, but lines would be counted twice.
        records.skip_blank_lines();
        let offset = records.offset();
        if found.len() == HEAD_RECORDS || !records.read(&mut record) {
            return (found, offsets);
        }
        offsets.push(offset);
        found.push(record.clone());
    }
}

/// Names with single blanks in a header whose columns stand two or more blanks apart.
fn mend_blank_header(table: &mut Table, text: &[u8], bare_cr: bool, lines_before: u64) {
    if !table.has_header || table.names.len() == table.width {
        return;
    }
    let ends = |byte: &u8| if bare_cr { matches!(byte, b'\r' | b'\n') } else { *byte == b'\n' };
    let Some(line) = text.split(ends).nth((table.header_line - lines_before).saturating_sub(1) as usize) else { return };
    let line = String::from_utf8_lossy(line);
    let line = line.trim().trim_start_matches('#').trim().replace('\t', "  ");
    let names: Vec<String> = line.split("  ").map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned).collect();
    let two_for_the_time = names.len() + 1 == table.width && names.first().is_some_and(|name| crate::words::is_time(name));
    if names.len() == table.width {
        table.names = names;
    } else if two_for_the_time {
        table.names = std::iter::once(names[0].clone()).chain(names).collect();
    }
}
