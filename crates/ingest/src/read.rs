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
use crate::sample;
use crate::time::cell::{Order, moment};
use crate::time::find::{self, Found, Search};
use crate::time::order::{self, Dates, Verdict};
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
    let recording = read_as_written(name, bytes, options)?;
    Ok(match options.format.start {
        Some(start) => recording.begun_at(start),
        None => recording,
    })
}

fn read_as_written(name: &str, bytes: &[u8], options: &ReadOptions) -> Result<Recording, ReadError> {
    let mut findings = Findings::default();
    if bytes.is_empty() {
        return Err(ReadError::Empty { file: name.into() });
    }
    check_format(name, &options.format)?;
    match decode(name, bytes, options.format.encoding.as_deref(), &mut findings.choices)? {
        Content::Text(text) => {
            if let Some(sheet) = &options.format.sheet {
                findings.questions.push(Question {
                    topic: Topic::Layout,
                    text: format!("sheet: the plan says \"{sheet}\", but this is a text file, which has no sheets: all of it is read"),
                    answer: "[test.format.\"BOOK.xlsx\"] sheet = \"…\"   # for the workbook alone; or leave sheet out".into(),
                    blocking: false,
                });
            }
            Reading { name, options, findings, format: options.format.clone() }.read(text.as_bytes())
        }
        Content::Workbook(bytes) => {
            let sheet = workbook::read(
                name,
                &bytes,
                options.format.sheet.as_deref(),
                &mut findings.choices,
                &mut findings.questions,
            )?;
            // The sheet comes as tab-separated text with decimal points, whatever the plan says of text files.
            let format =
                Format { delimiter: Some('\t'), decimal: Some('.'), thousands: None, ..options.format.clone() };
            Reading { name, options, findings, format }.read(sheet.as_bytes())
        }
    }
}

pub(crate) fn check_format(name: &str, format: &Format) -> Result<(), ReadError> {
    let bad = |key, value: String, expected: &str| {
        Err(ReadError::Format { file: name.into(), key, value, expected: expected.into() })
    };
    if let Some(delimiter) =
        format.delimiter.filter(|delimiter| !delimiter.is_ascii() || delimiter.is_ascii_alphanumeric())
    {
        return bad(
            "delimiter",
            delimiter.to_string(),
            "one character such as \";\", \",\", \"\\t\", \"|\" or a blank",
        );
    }
    if let Some(decimal) = format.decimal.filter(|decimal| !matches!(decimal, '.' | ',')) {
        return bad("decimal", decimal.to_string(), "\".\" or \",\"");
    }
    if let Some(thousands) =
        format.thousands.filter(|mark| !matches!(mark, '.' | ',' | '\'' | ' ' | '\u{a0}' | '\u{202f}' | '’'))
    {
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

impl Findings {
    /// Puts the order of dates, known only when all were seen, in the place of that of the sample.
    fn tell_order(&mut self, order: Option<Order>) {
        for choice in self.choices.iter_mut().filter(|choice| choice.what == "time") {
            let base = choice.value.split(", ").next().unwrap_or_default();
            choice.value = order.map_or_else(|| base.to_owned(), |order| format!("{base}, {}", order.name()));
        }
    }
}

/// The form of a table, told from a sample.
struct Form<'t> {
    table: Table,
    /// Rows of the sample that hold readings.
    rows: Vec<Record<'t>>,
    splitter: Splitter,
    style: NumberStyle,
    found: Found,
    /// Where the first row starts: byte of the text, and line.
    body_start: usize,
    body_line: u64,
}

/// A table whose columns are tied to channels.
pub(crate) struct Wide {
    pub(crate) job: Job,
    pub(crate) base: Base,
    pub(crate) zone: Option<jiff::tz::TimeZone>,
    columns: Vec<Column>,
    /// Index in `columns` of each of the job's columns.
    positions: Vec<usize>,
    pub(crate) body_line: u64,
}

pub(crate) struct Reading<'a> {
    name: &'a str,
    options: &'a ReadOptions,
    findings: Findings,
    format: Format,
}

impl<'a> Reading<'a> {
    /// A reading of which only the head is at hand.
    pub(crate) fn new(name: &'a str, options: &'a ReadOptions, choices: Vec<Choice>) -> Self {
        Self { name, options, findings: Findings { choices, ..Findings::default() }, format: options.format.clone() }
    }

    /// The columns of a wide table, told from `parts` (its head first); `None` for the long layout.
    pub(crate) fn prepare(&mut self, parts: &[&[u8]]) -> Result<Option<Wide>, ReadError> {
        let form = self.form(parts[0], parts)?;
        if long::detect(&form.table, &form.rows, &form.found.columns, &self.format, &self.options.columns, form.style)
            .is_some()
        {
            return Ok(None);
        }
        self.wide(form).map(Some)
    }

    fn read(mut self, text: &[u8]) -> Result<Recording, ReadError> {
        let head = sample::head_of(text);
        let mut parts = vec![head];
        parts.extend(sample::spread(text, head.len()));
        let form = self.form(text, &parts)?;
        let body = &text[form.body_start..];
        if let Some(names) =
            long::detect(&form.table, &form.rows, &form.found.columns, &self.format, &self.options.columns, form.style)
        {
            return self.read_long(form, &names, body);
        }
        if self.format.layout == Some(Layout::Long) {
            self.findings.questions.push(long::not_found_question());
        }
        let wide = self.wide(form)?;
        let rows = body::read(body, wide.body_line, &wide.job);
        let assembled = assemble(rows, &wide.job.columns, wide.base, wide.zone.as_ref(), self.options.pressure_pa);
        Ok(self.finish(wide, assembled))
    }

    /// The form of the table, told from `parts` of the text (its head first); `text` is looked through only where
    /// dates leave their order open.
    fn form<'t>(&mut self, text: &'t [u8], parts: &[&'t [u8]]) -> Result<Form<'t>, ReadError> {
        let (head, lines_before, separator) = skip_separator_line(parts[0]);
        let head_start = parts[0].len() - head.len();
        let mut parts = parts.to_vec();
        parts[0] = head;
        let bare_cr = records::has_bare_cr(head);
        let delimiter = self.delimiter(&parts, bare_cr, separator);
        let mut splitter = Splitter { delimiter, bare_cr, usual_fields: 2 };
        splitter.usual_fields = sample::usual_fields(head, splitter);

        let (records, offsets) = sample::head_records(head, lines_before + 1, splitter);
        let Some(mut table) = header::find(&records, self.format.header, &mut self.findings.choices) else {
            return Err(self.no_table(&records));
        };
        if splitter.delimiter == Delimiter::Blanks {
            sample::mend_blank_header(&mut table, head, bare_cr, lines_before);
        }
        let body_start = head_start + offsets.get(table.first_row).copied().unwrap_or(head.len());
        let body_line = records.get(table.first_row).map_or(1, |record| record.line);
        let mut rows: Vec<Record<'_>> = records[table.first_row.min(records.len())..].to_vec();
        for part in &parts[1..] {
            rows.extend(sample::head_records(part, 1, splitter).0);
        }
        let style =
            dialect::choose_numbers(&rows, &self.format, &mut self.findings.choices, &mut self.findings.questions);
        rows.retain(|row| row.fields.iter().any(|field| look(field).is_value()));
        self.ask_about_extra_fields(&table, &rows, splitter);
        let found = self.find_time(&table, &rows, style, &text[body_start..], splitter);
        Ok(Form { table, rows, splitter, style, found, body_start, body_line })
    }

    fn delimiter(&mut self, sample: &[&[u8]], bare_cr: bool, separator: Option<u8>) -> Delimiter {
        let (delimiter, because) = if let Some(delimiter) = self.format.delimiter {
            (
                if delimiter == ' ' { Delimiter::Blanks } else { Delimiter::Char(delimiter as u8) },
                "the plan says so".to_owned(),
            )
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
            self.findings.choices.push(Choice::new(
                "line ends",
                "carriage return alone",
                "carriage returns stand without a line feed",
            ));
        }
        delimiter
    }

    /// Text, but no table: a header alone is told apart from prose.
    fn no_table(&self, sample: &[Record<'_>]) -> ReadError {
        let is_header = |record: &&Record<'_>| {
            record.fields.len() >= 2 && record.fields.iter().filter(|field| look(field) == Look::Text).count() >= 2
        };
        match sample.last().filter(is_header) {
            Some(record)
                if sample.len() <= 60
                    && record.fields.iter().any(|field| crate::words::is_time(&records::text_of(field))) =>
            {
                ReadError::NoRows { file: self.name.into(), header_line: record.line }
            }
            _ => ReadError::NoTable { file: self.name.into() },
        }
    }

    /// Twice the fields less one under the header's names: a decimal comma that is also the separator.
    fn ask_about_extra_fields(&mut self, table: &Table, rows: &[Record<'_>], splitter: Splitter) {
        let names = table.names.iter().rposition(|name| !name.is_empty()).map_or(0, |last| last + 1);
        let widths: Vec<usize> = rows
            .iter()
            .map(|row| row.fields.iter().rposition(|field| !field.is_empty()).map_or(0, |last| last + 1))
            .collect();
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

    fn find_time(
        &mut self,
        table: &Table,
        rows: &[Record<'_>],
        style: NumberStyle,
        body: &[u8],
        splitter: Splitter,
    ) -> Found {
        let request = self.options.columns.iter().find(|request| request.channel == Channel::Time);
        let wanted = request.map(|request| self.time_columns(request, table)).unwrap_or_default();
        let search = Search {
            table,
            rows,
            style,
            format: &self.format,
            wanted: &wanted,
            unit: request.and_then(|request| request.unit.as_deref()),
        };
        let mut found = find::find(&search, &mut self.findings.choices, &mut self.findings.questions);
        if let (Some(plan), Some(column)) = (&mut found.plan, found.open_dates) {
            let time = [&[column][..], &found.columns].concat();
            let order = self.order_of_dates(body, splitter, &time, rows, table, style);
            self.findings.tell_order(order);
            match order {
                Some(order) => set_order(plan, order),
                None => found.plan = None,
            }
        }
        let numbers_open =
            self.findings.questions.iter().any(|question| question.topic == Topic::Numbers && question.blocking);
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
    fn order_of_dates(
        &mut self,
        body: &[u8],
        splitter: Splitter,
        time: &[usize],
        rows: &[Record<'_>],
        table: &Table,
        style: NumberStyle,
    ) -> Option<Order> {
        let column = time[0];
        let mut dates = Dates::new();
        let mut records = Records::new(body, 1, splitter);
        let mut record = Record::default();
        let mut settled = false;
        while !settled && records.read(&mut record) {
            if let Some(found) = moment(record.field(column))
                && let Some(date) = found.date
            {
                dates.add(date);
                settled = date.orders().list().len() == 1 && date.separator != b'/';
            }
        }
        match dates.verdict() {
            Verdict::Decided(order, because) => {
                self.findings.choices.push(Choice::new("date order", order.name(), because));
                Some(order)
            }
            Verdict::Open(orders) => {
                if let Some((order, counter)) =
                    find::order_by_counter(rows, column, table.names.len().max(table.width), style)
                {
                    let name = table.names.get(counter).cloned().unwrap_or_default();
                    self.findings.choices.push(Choice::new(
                        "date order",
                        order.name(),
                        format!("column '{name}' counts seconds and agrees with no other order"),
                    ));
                    return Some(order);
                }
                self.findings.questions.push(order::question(&orders, rows, time));
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

    /// The columns of a wide table tied to channels, ready for its rows.
    fn wide(&mut self, form: Form<'_>) -> Result<Wide, ReadError> {
        let Form { table, rows, splitter, style, found, body_line, .. } = form;
        let Assignment { assigned, columns } = assign(
            self.name,
            &table,
            &rows,
            style,
            &found.columns,
            &self.options.columns,
            &mut self.findings.questions,
        )?;
        let probes = (0..table.names.len().max(table.width)).filter(|column| !found.columns.contains(column)).collect();
        let numbers_open =
            self.findings.questions.iter().any(|question| question.topic == Topic::Numbers && question.blocking);
        let job = Job {
            splitter,
            style,
            offset_in_rows: offset_in_rows(found.plan.as_ref(), &rows),
            kind: row_kind(&table, &rows),
            time: found.plan,
            columns: if numbers_open { Vec::new() } else { assigned },
            probes,
            names: table.names,
            header_fields: table.header_fields,
            units: table.units,
        };
        let base = body::base(&job);
        let zone = self.zone(base)?;
        Ok(Wide {
            positions: job.columns.iter().map(|column| column.column).collect(),
            job,
            base,
            zone,
            columns,
            body_line,
        })
    }

    fn read_long(mut self, form: Form<'_>, names: &long::Roles, body: &[u8]) -> Result<Recording, ReadError> {
        self.findings.choices.push(Choice::new("layout", "long", names.because.clone()));
        let inventory = long::inventory(body, form.body_line, form.splitter, names);
        let (long_table, examples) = long::as_table(&inventory);
        let rows: Vec<Record<'_>> = examples
            .iter()
            .map(|fields| Record { fields: fields.iter().map(String::as_bytes).collect(), ..Record::default() })
            .collect();
        let Assignment { assigned, mut columns } = assign(
            self.name,
            &long_table,
            &rows,
            form.style,
            &[],
            &self.options.columns,
            &mut self.findings.questions,
        )?;
        let base = form.found.plan.as_ref().map_or(Base::Elapsed, |plan| plan.base);
        let zone = self.zone(base)?;
        let job = long::Job {
            splitter: form.splitter,
            style: form.style,
            time: form.found.plan,
            names: inventory.names,
            roles: names,
            columns: &assigned,
            header_fields: &form.table.header_fields,
        };
        let assembled = long::read(body, form.body_line, &job, base, zone.as_ref(), self.options.pressure_pa);
        for column in &mut columns {
            column.position = 0;
        }
        let positions = assigned.iter().map(|column| column.column).collect();
        let job = Job {
            splitter: form.splitter,
            style: form.style,
            time: job.time,
            offset_in_rows: false,
            columns: assigned,
            probes: Vec::new(),
            names: Vec::new(),
            header_fields: Vec::new(),
            units: Vec::new(),
            kind: None,
        };
        Ok(self.finish(Wide { job, base, zone, columns, positions, body_line: form.body_line }, assembled))
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

    pub(crate) fn finish(mut self, wide: Wide, assembled: Assembled) -> Recording {
        let Wide { mut columns, positions, base, job, .. } = wide;
        for (cells, position) in assembled.cells.iter().zip(positions) {
            if let Some(column) = columns.get_mut(position) {
                column.cells = *cells;
            }
        }
        for (column, words) in job.columns.iter().filter_map(|column| Some((column, column.words.as_ref()?))) {
            if let Some(column) = columns.get_mut(column.column).filter(|column| column.cells.measured == 0) {
                (column.channel, column.unit) = (None, None);
                column.because = words.found_none().into();
            }
        }
        self.findings.questions.extend(assembled.series.iter().filter_map(check::plausibility));
        self.findings.notes.extend(assembled.notes);
        self.findings.notes.extend(assembled.clock_changes.iter().cloned());
        let time_base = match base {
            Base::Utc => TimeBase::Dated { zone: "UTC".into() },
            Base::Offset(seconds) => TimeBase::Dated {
                zone: format!("UTC{:+03}:{:02} by the header", seconds / 3600, seconds.abs() / 60 % 60),
            },
            Base::Local => {
                TimeBase::Dated { zone: self.options.time_zone.clone().unwrap_or_else(|| "not known".into()) }
            }
            Base::Elapsed | Base::ClockOnly => TimeBase::Elapsed,
        };
        if job.time.is_none() {
            self.findings.notes.push("no row can be used before the question about time is answered".into());
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
            backward_steps: assembled.backward_steps,
            stuck: assembled.stuck,
            notes: self.findings.notes,
            clock_changes: assembled.clock_changes,
            account: assembled.account,
            questions: self.findings.questions,
        }
    }
}

/// A `sep=;` line is no part of the table: what follows it, the lines passed, and the separator it names.
fn skip_separator_line(text: &[u8]) -> (&[u8], u64, Option<u8>) {
    let text = text.strip_prefix("\u{feff}".as_bytes()).unwrap_or(text);
    match dialect::separator_line(text) {
        Some((separator, end)) => {
            let rest = &text[end..];
            let rest =
                rest.strip_prefix(b"\r\n").or(rest.strip_prefix(b"\n")).or(rest.strip_prefix(b"\r")).unwrap_or(rest);
            (rest, 1, Some(separator))
        }
        None => (text, 0, None),
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
    let column = table.names.iter().position(|name| {
        matches!(name.to_lowercase().as_str(), "type" | "row type" | "record type" | "rowtype" | "typ" | "satzart")
    })?;
    if column > 1 {
        return None;
    }
    let mut kinds: Vec<&[u8]> = rows
        .iter()
        .map(|row| row.field(column))
        .filter(|field| (1..=2).contains(&field.len()) && field.iter().all(u8::is_ascii_digit))
        .collect();
    let total = kinds.len();
    kinds.sort_unstable();
    let largest = kinds.chunk_by(|a, b| a == b).max_by_key(|run| run.len())?;
    (largest.len() * 10 >= total * 6).then(|| RowKind { column, data: largest[0].to_vec() })
}
