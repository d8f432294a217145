//! The rows of a wide table into columns of numbers, in parallel over line-aligned pieces.

use std::thread;

use memchr::{memchr, memchr_iter, memrchr2};

use crate::account::RowReason;
use crate::assign::{Assigned, fits};
use crate::cell::{self, Cell};
use crate::dialect;
use crate::number::NumberStyle;
use crate::recording::CellCount;
use crate::records::{Record, Records, Splitter, text_of};
use crate::time::{Base, DateMemory, Part, TimePlan};

/// Everything a row is read by.
#[derive(Debug, Clone)]
pub(crate) struct Job {
    pub(crate) splitter: Splitter,
    pub(crate) style: NumberStyle,
    pub(crate) time: Option<TimePlan>,
    /// Whether rows state their own offset; rows that differ in this from the others cannot be placed.
    pub(crate) offset_in_rows: bool,
    pub(crate) columns: Vec<Assigned>,
    /// Columns that prove a row to hold readings where no channel is known.
    pub(crate) probes: Vec<usize>,
    pub(crate) names: Vec<String>,
    pub(crate) header_fields: Vec<Vec<u8>>,
    pub(crate) units: Vec<String>,
    pub(crate) kind: Option<RowKind>,
}

/// A first column that says what kind of row it is, and the kind that holds the readings.
#[derive(Debug, Clone)]
pub(crate) struct RowKind {
    pub(crate) column: usize,
    pub(crate) data: Vec<u8>,
}

/// Rows read, by column.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows {
    /// Nanoseconds, one a row.
    pub(crate) time_ns: Vec<i64>,
    /// Line of each row.
    pub(crate) lines: Vec<u32>,
    /// Readings in SI (dew points in K), NaN for none; one vector a column.
    pub(crate) values: Vec<Vec<f64>>,
    /// Status codes, only where a column has a censored reading: 1 below, 2 above.
    pub(crate) status: Vec<Vec<u8>>,
    pub(crate) cells: Vec<CellCount>,
    pub(crate) aside: Vec<(RowReason, u32)>,
    /// Line ends passed.
    pub(crate) line_count: u64,
    /// What rows are read by from here on, where another header changed the columns on the way.
    pub(crate) remapped: Option<Box<Job>>,
}

impl Rows {
    fn new(columns: usize) -> Self {
        Self {
            values: vec![Vec::new(); columns],
            status: vec![Vec::new(); columns],
            cells: vec![CellCount::default(); columns],
            ..Self::default()
        }
    }

    pub(crate) fn with_columns(columns: usize) -> Self {
        Self::new(columns)
    }

    pub(crate) fn len(&self) -> usize {
        self.time_ns.len()
    }

    fn reserve(&mut self, rows: usize) {
        self.time_ns.reserve_exact(rows);
        self.lines.reserve_exact(rows);
        for values in &mut self.values {
            values.reserve_exact(rows);
        }
    }

    /// A row that holds a reading of one column only.
    pub(crate) fn push_one(&mut self, time_ns: i64, line: u32, column: usize, value: f64, status: u8) {
        let row = self.len();
        self.time_ns.push(time_ns);
        self.lines.push(line);
        for (i, values) in self.values.iter_mut().enumerate() {
            values.push(if i == column { value } else { f64::NAN });
        }
        for (i, statuses) in self.status.iter_mut().enumerate() {
            let code = if i == column { status } else { 0 };
            if code != 0 || !statuses.is_empty() {
                statuses.resize(row, 0);
                statuses.push(code);
            }
        }
    }

    /// Append the rows of the next piece; its lines count on.
    fn append(&mut self, mut next: Self) {
        let lines_before = self.line_count as u32;
        let rows_before = self.len();
        take_over(&mut self.time_ns, &mut next.time_ns);
        self.lines.extend(next.lines.iter().map(|line| line + lines_before));
        for (values, more) in self.values.iter_mut().zip(&mut next.values) {
            take_over(values, more);
        }
        let total = self.time_ns.len();
        for (status, more) in self.status.iter_mut().zip(&mut next.status) {
            if !status.is_empty() || !more.is_empty() {
                status.resize(rows_before, 0);
                status.append(more);
                status.resize(total, 0);
            }
        }
        for (cells, more) in self.cells.iter_mut().zip(next.cells) {
            cells.add(more);
        }
        self.aside.extend(next.aside.into_iter().map(|(reason, line)| (reason, line + lines_before)));
        self.line_count += next.line_count;
        if next.remapped.is_some() {
            self.remapped = next.remapped;
        }
    }
}

/// Moves a column to the end of another; no reading is in memory twice for longer than a column takes.
fn take_over<T>(column: &mut Vec<T>, more: &mut Vec<T>) {
    if column.is_empty() {
        std::mem::swap(column, more);
    } else {
        column.reserve_exact(more.len());
        column.append(more);
    }
    *more = Vec::new();
}

impl CellCount {
    pub(crate) fn add(&mut self, other: Self) {
        self.measured += other.measured;
        self.below_limit += other.below_limit;
        self.above_range += other.above_range;
        self.missing += other.missing;
        self.filler += other.filler;
        self.text += other.text;
        self.outside_table += other.outside_table;
    }
}

/// Read all rows of `body`, whose first line is `first_line` (1 = first of the file).
pub(crate) fn read(body: &[u8], first_line: u64, job: &Job) -> Rows {
    let (body, is_cut) = without_cut_row(body, job.splitter);
    let pieces = pieces(body, job);
    let mut parts: Vec<Rows> = if pieces.len() == 1 {
        vec![read_piece(pieces[0], job)]
    } else {
        thread::scope(|scope| {
            let handles: Vec<_> = pieces.iter().map(|piece| scope.spawn(|| read_piece(piece, job))).collect();
            handles
                .into_iter()
                .map(|handle| handle.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
                .collect()
        })
    };
    if parts.len() > 1 && parts.iter().any(|part| part.remapped.is_some()) {
        parts = vec![read_piece(body, job)];
    }
    let mut rows = Rows::new(job.columns.len());
    rows.line_count = first_line - 1;
    for part in parts {
        rows.append(part);
    }
    if is_cut {
        rows.aside.push((RowReason::CutShort, rows.line_count as u32 + 1));
    }
    rows
}

/// The body without its last row where that ends in mid-row: no line end, and fewer fields than the others have. Its last
/// number may have lost digits, and would be taken for a reading.
fn without_cut_row(body: &[u8], splitter: Splitter) -> (&[u8], bool) {
    let Some(end) = memrchr2(b'\n', b'\r', body).map(|at| at + 1).filter(|end| *end < body.len()) else {
        return (body, false);
    };
    let mut last = Record::default();
    let is_row = Records::new(&body[end..], 1, splitter).read(&mut last)
        && last.fields.len() > 1
        && last.fields.iter().any(|field| dialect::look(field).is_value());
    if is_row && last.fields.len() < splitter.usual_fields { (&body[..end], true) } else { (body, false) }
}

/// Pieces for the threads; one piece where a quoted field may run over a line end.
fn pieces<'a>(body: &'a [u8], job: &Job) -> Vec<&'a [u8]> {
    const LEAST: usize = 1 << 18;
    let threads = thread::available_parallelism().map_or(1, std::num::NonZero::get).min(body.len() / LEAST + 1);
    if threads == 1 || job.splitter.bare_cr || !quotes_pair_up(body) {
        return vec![body];
    }
    let mut pieces = Vec::with_capacity(threads);
    let mut start = 0;
    for i in 1..=threads {
        let aim = body.len() * i / threads;
        let end =
            if i == threads { body.len() } else { memchr(b'\n', &body[aim..]).map_or(body.len(), |at| aim + at + 1) };
        if end > start {
            pieces.push(&body[start..end]);
            start = end;
        }
    }
    pieces
}

/// Every line holds an even number of quotes, so no quoted field runs over its end.
fn quotes_pair_up(body: &[u8]) -> bool {
    if memchr(b'"', body).is_none() {
        return true;
    }
    body.split(|byte| *byte == b'\n').all(|line| memchr_iter(b'"', line).count().is_multiple_of(2))
}

fn read_piece(piece: &[u8], job: &Job) -> Rows {
    let mut reader = Reader {
        job: job.clone(),
        rows: Rows::new(job.columns.len()),
        memory: DateMemory::default(),
        after_header: false,
        remapped: false,
    };
    let mut records = Records::new(piece, 1, job.splitter);
    let mut record = Record::default();
    reader.rows.reserve(rows_expected(piece));
    while records.read(&mut record) {
        reader.read(&record);
    }
    reader.rows.line_count = records.next_line() - 1;
    reader.rows.remapped = reader.remapped.then(|| Box::new(reader.job));
    reader.rows
}

/// Rows that a piece will give, from the length of its first lines: memory grown in doubling steps would cost twice.
fn rows_expected(piece: &[u8]) -> usize {
    const LOOKED_AT: usize = 1 << 14;
    let sample = &piece[..piece.len().min(LOOKED_AT)];
    let lines = memchr_iter(b'\n', sample).count();
    sample.len().checked_div(lines).map_or(0, |line| piece.len() / line.max(1) + 64)
}

struct Reader {
    job: Job,
    rows: Rows,
    memory: DateMemory,
    after_header: bool,
    remapped: bool,
}

impl Reader {
    fn read(&mut self, record: &Record<'_>) {
        match self.time_of(record) {
            Ok(time_ns) => self.keep(record, time_ns),
            Err(reason) => {
                let reason = self.why(record, reason);
                self.after_header = matches!(reason, RowReason::RepeatedHeader | RowReason::RepeatedUnits);
                self.rows.aside.push((reason, record.line as u32));
            }
        }
    }

    fn time_of(&mut self, record: &Record<'_>) -> Result<i64, RowReason> {
        if record.unclosed {
            return Err(RowReason::UnclosedQuote);
        }
        let Some(time) = &self.job.time else { return Err(RowReason::TimeOpen) };
        let (time_ns, has_offset) = time.row(|column| record.field(column), &mut self.memory)?;
        if has_offset != self.job.offset_in_rows {
            return Err(RowReason::TimeUnreadable);
        }
        if let Some(kind) = &self.job.kind
            && record.field(kind.column) != kind.data
        {
            return Err(RowReason::OtherKind(text_of(record.field(kind.column))));
        }
        Ok(time_ns)
    }

    fn keep(&mut self, record: &Record<'_>, time_ns: i64) {
        let row = self.rows.time_ns.len();
        let (mut has_reading, outside_before) = (false, self.outside_table());
        for (i, column) in self.job.columns.iter().enumerate() {
            let (value, status) = reading(record.field(column.column), column, self.job.style, &mut self.rows.cells[i]);
            has_reading |= !value.is_nan();
            self.rows.values[i].push(value);
            let statuses = &mut self.rows.status[i];
            if status != 0 || !statuses.is_empty() {
                statuses.resize(row, 0);
                statuses.push(status);
            }
        }
        if !has_reading && self.job.columns.iter().all(|column| column.words.is_some()) {
            has_reading = self.job.probes.iter().any(|probe| is_reading(record.field(*probe), self.job.style));
        }
        if has_reading {
            self.rows.time_ns.push(time_ns);
            self.rows.lines.push(record.line as u32);
            return;
        }
        for values in &mut self.rows.values {
            values.pop();
        }
        for statuses in &mut self.rows.status {
            statuses.truncate(row);
        }
        let outside = self.outside_table() > outside_before;
        let reason = if outside { RowReason::OutsideConversion } else { RowReason::NoReading };
        self.rows.aside.push((reason, record.line as u32));
    }

    fn outside_table(&self) -> u64 {
        self.rows.cells.iter().map(|cells| cells.outside_table).sum()
    }

    /// Why a row without a readable time was set aside; a header in mid-file may change the columns.
    fn why(&mut self, record: &Record<'_>, reason: RowReason) -> RowReason {
        if matches!(reason, RowReason::UnclosedQuote | RowReason::OtherKind(_)) {
            return reason;
        }
        if record.is_blank() {
            return RowReason::Empty;
        }
        if self.is_header(record) {
            return RowReason::RepeatedHeader;
        }
        if self.take_new_header(record) {
            return RowReason::RepeatedHeader;
        }
        if self.after_header && self.is_units(record) {
            return RowReason::RepeatedUnits;
        }
        let values = record.fields.iter().filter(|field| is_reading(field, self.job.style)).count();
        let filled = record.fields.iter().filter(|field| !field.is_empty()).count();
        let is_short = record.fields.len() * 2 < self.job.splitter.usual_fields;
        if filled < 2 && self.job.names.len() > 1 || values == 0 || is_short {
            return RowReason::NotData;
        }
        reason
    }

    fn is_header(&self, record: &Record<'_>) -> bool {
        // A separator at the end of a line makes one more field, with nothing in it.
        let (own, found) = (&self.job.header_fields, &record.fields);
        let common = own.len().min(found.len());
        !own.is_empty()
            && own.len().abs_diff(found.len()) <= 1
            && own.iter().zip(found).all(|(a, b)| a.as_slice() == *b)
            && own[common..].iter().all(Vec::is_empty)
            && found[common..].iter().all(|field| field.is_empty())
    }

    fn is_units(&self, record: &Record<'_>) -> bool {
        let units = &self.job.units;
        !units.is_empty() && units.iter().zip(&record.fields).all(|(unit, field)| *unit == text_of(field))
    }

    /// Another block of the file may have other columns: follow the names.
    fn take_new_header(&mut self, record: &Record<'_>) -> bool {
        if self.job.header_fields.is_empty() {
            return false;
        }
        let names: Vec<String> = record.fields.iter().map(|field| text_of(field)).collect();
        let shared = names.iter().filter(|name| !name.is_empty() && self.job.names.contains(name)).count();
        if shared < 2 || shared * 2 < self.job.names.len().min(names.len()) {
            return false;
        }
        let moved =
            |column: usize| -> Option<usize> { names.iter().position(|name| Some(name) == self.job.names.get(column)) };
        // By its own name: a column that one block lacks may stand in the next again.
        let place = |column: &Assigned| names.iter().position(|name| *name == column.header);
        let new_columns: Vec<usize> = self
            .job
            .columns
            .iter()
            .map(|column| place(column).or_else(|| moved(column.column)).unwrap_or(usize::MAX))
            .collect();
        let new_probes: Vec<usize> = self.job.probes.iter().filter_map(|probe| moved(*probe)).collect();
        if let Some(time) = &self.job.time {
            let new_parts: Option<Vec<(usize, Part)>> =
                time.parts.iter().map(|(column, part)| Some((moved(*column)?, part.clone()))).collect();
            let Some(parts) = new_parts else { return false };
            self.job.time = Some(TimePlan { parts, ..time.clone() });
        }
        for (column, new) in self.job.columns.iter_mut().zip(new_columns) {
            column.column = new;
        }
        self.job.probes = new_probes;
        self.job.names = names;
        self.job.header_fields = record.fields.iter().map(|field| field.to_vec()).collect();
        self.remapped = true;
        true
    }
}

fn is_reading(cell: &[u8], style: NumberStyle) -> bool {
    matches!(cell::read(cell, style), Cell::Number(_) | Cell::Below(_) | Cell::Above(_))
        || cell::number_with_unit(cell, style).is_some()
}

/// A cell as SI value and status code; NaN for no reading.
pub(crate) fn reading(cell: &[u8], column: &Assigned, style: NumberStyle, count: &mut CellCount) -> (f64, u8) {
    const NONE: (f64, u8) = (f64::NAN, 0);
    if let Some(words) = &column.words {
        return (words.reading(cell, style, count), 0);
    }
    let (below, above) = if column.negate { (2, 1) } else { (1, 2) };
    let found = match cell::read(cell, style) {
        Cell::Number(value) => Some((column.to_si(value), 0)),
        Cell::Missing => {
            count.missing += 1;
            return NONE;
        }
        Cell::Below(limit) => {
            let written = limit.map(|limit| column.to_si(limit));
            let stated = column.reporting_limit.or(column.range.map(|range| range.0));
            let limit = written.or(stated.and_then(|limit| column.limit_as_read(limit)));
            limit.map(|limit| (limit, below))
        }
        Cell::Above(limit) => {
            let written = limit.map(|limit| column.to_si(limit));
            let stated = column.range.and_then(|range| column.limit_as_read(range.1));
            if written.or(stated).is_none() && column.end_is_found_later() {
                count.above_range += 1;
                return (f64::INFINITY, above);
            }
            written.or(stated).map(|limit| (limit, above))
        }
        Cell::Text(text) => with_unit(text, column, style).map(|value| (value, 0)),
    };
    if column.conversion.is_some() && found.is_some_and(|(value, _)| value.is_nan()) {
        count.outside_table += 1;
        return NONE;
    }
    match found.filter(|(value, _)| column.is_possible(*value)) {
        None => {
            count.text += 1;
            NONE
        }
        Some((value, status)) => {
            match status {
                0 => count.measured += 1,
                1 => count.below_limit += 1,
                _ => count.above_range += 1,
            }
            (value, status)
        }
    }
}

/// A cell that writes its unit: read if the unit is the column's, or another of the same kind.
fn with_unit(cell: &[u8], column: &Assigned, style: NumberStyle) -> Option<f64> {
    let (value, unit) = cell::number_with_unit(cell, style)?;
    let unit = crate::unit_text::parse(unit)?;
    // A dew point may be written as plain degrees.
    let same_scale = |at: f64| (unit.to_si(at) - column.unit.to_si(at)).abs() <= 1e-9 * unit.to_si(at).abs();
    if same_scale(0.0) && same_scale(1.0) && fits(column.channel, unit.dimension()) {
        return Some(column.to_si(value));
    }
    (unit.dimension() == column.unit.dimension())
        .then(|| column.si_of(unit.to_si(value)))
        .map(|si| if column.negate { -si } else { si })
}

/// The base of a job's times.
pub(crate) fn base(job: &Job) -> Base {
    job.time.as_ref().map_or(Base::Elapsed, |time| time.base)
}
