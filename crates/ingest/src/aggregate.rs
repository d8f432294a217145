//! Exports larger than memory: read in pieces, readings gathered into bins whose statistics lose nothing that a
//! straight line or a mean needs.
//!
//! A bin keeps number, means, sums of squares and the mixed sum about the means (updated as B. P. Welford,
//! Technometrics 4 (1962) 419, from memory), so that means, variances and ordinary least-squares lines over whole bins
//! are those of the readings themselves.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use memchr::{memrchr, memrchr2};
use tightfit_quantity::{DewPhase, StandardReference, moisture};

use crate::account::{Account, RowReason};
use crate::assemble::{Assembled, clean, seconds};
use crate::assign::Assigned;
use crate::body::{self, Rows};
use crate::bytes::{Content, decode};
use crate::channel::Channel;
use crate::error::ReadError;
use crate::options::ReadOptions;
use crate::range::shown_end_of_range;
use crate::read::{Reading, Wide, check_format, read};
use crate::recording::{CellCount, PressureReference, Recording, Series, Status};

use crate::sample::{self, SPREAD_BYTES};
use crate::state_words::StateWords;
use crate::time::Base;

/// An export gathered into bins.
#[derive(Debug, Clone, PartialEq)]
pub struct Aggregate {
    /// Everything about the file but its readings: `series` is empty, the account is that of every row.
    pub recording: Recording,
    /// Width of a bin, s; bins start at whole multiples of it.
    pub width_s: f64,
    /// The channels.
    pub series: Vec<BinnedSeries>,
}

/// One channel in bins.
#[derive(Debug, Clone, PartialEq)]
pub struct BinnedSeries {
    /// Which quantity.
    pub channel: Channel,
    /// Header text of its column.
    pub column: String,
    /// Unit of the export.
    pub unit: String,
    /// For pressures: what they are measured against.
    pub reference: PressureReference,
    /// For flows at reference conditions: the conditions.
    pub standard_reference: Option<StandardReference>,
    /// Instrument of the plan.
    pub instrument: Option<String>,
    /// Bins with at least one reading, in time order.
    pub bins: Vec<Bin>,
}

/// Readings of one channel within one bin. Sums are over the measured readings; censored ones are only counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// Number of measured readings.
    pub count: u64,
    /// Mean time of the measured readings, s.
    pub time_s: f64,
    /// Mean of the measured readings, SI.
    pub mean: f64,
    /// Sum of squared deviations of the readings from their mean.
    pub sum_squares: f64,
    /// Sum of squared deviations of the times from their mean, s².
    pub sum_squares_time: f64,
    /// Sum of products of the two deviations.
    pub sum_products: f64,
    /// Lowest measured reading.
    pub min: f64,
    /// Highest measured reading.
    pub max: f64,
    /// Readings below the reporting limit.
    pub below_limit: u64,
    /// Readings above the range.
    pub above_range: u64,
}

impl Bin {
    const EMPTY: Self = Self {
        count: 0,
        time_s: 0.0,
        mean: 0.0,
        sum_squares: 0.0,
        sum_squares_time: 0.0,
        sum_products: 0.0,
        min: f64::INFINITY,
        max: f64::NEG_INFINITY,
        below_limit: 0,
        above_range: 0,
    };

    fn add(&mut self, time_s: f64, value: f64, status: Status) {
        match status {
            Status::BelowLimit => self.below_limit += 1,
            Status::AboveRange => self.above_range += 1,
            Status::Measured => {
                self.count += 1;
                let n = self.count as f64;
                let (from_time, from_mean) = (time_s - self.time_s, value - self.mean);
                self.time_s += from_time / n;
                self.mean += from_mean / n;
                self.sum_squares += from_mean * (value - self.mean);
                self.sum_squares_time += from_time * (time_s - self.time_s);
                self.sum_products += from_time * (value - self.mean);
                self.min = self.min.min(value);
                self.max = self.max.max(value);
            }
        }
    }
}

/// Read an export of any size into bins of `width_s` seconds.
///
/// Memory is bounded by the number of bins, not by the file, for text whose encoding holds ASCII as it stands, in the
/// wide layout, with dates or elapsed times. Other exports are read whole and gathered afterwards. Dew points become
/// mole fractions at the stated pressure.
///
/// # Errors
/// As [`read`].
pub fn aggregate(path: &Path, options: &ReadOptions, width_s: f64) -> Result<Aggregate, ReadError> {
    match Stream::open(path, options)? {
        Some(stream) => stream.run(width_s),
        None => Ok(aggregate_recording(&read(path, options)?, width_s)),
    }
}

/// Gather the readings of a recording into bins of `width_s` seconds.
pub fn aggregate_recording(recording: &Recording, width_s: f64) -> Aggregate {
    let series = recording.series.iter().map(|series| bin_series(series, width_s)).collect();
    Aggregate { recording: Recording { series: Vec::new(), ..recording.clone() }, width_s, series }
}

fn bin_series(series: &Series, width_s: f64) -> BinnedSeries {
    let mut bins = Bins::default();
    for (i, (time, value)) in series.time_s.iter().zip(&series.value).enumerate() {
        bins.add(*time, *value, series.status_at(i), width_s);
    }
    BinnedSeries {
        channel: series.channel,
        column: series.column.clone(),
        unit: series.unit.clone(),
        reference: series.reference,
        standard_reference: series.standard_reference,
        instrument: series.instrument.clone(),
        bins: bins.all.into_values().collect(),
    }
}

#[derive(Default)]
struct Bins {
    all: BTreeMap<i64, Bin>,
}

impl Bins {
    fn add(&mut self, time_s: f64, value: f64, status: Status, width_s: f64) {
        let key = (time_s / width_s).floor() as i64;
        self.all.entry(key).or_insert(Bin::EMPTY).add(time_s, value, status);
    }
}

/// A file read piece by piece.
struct Stream<'a> {
    file: File,
    name: String,
    options: &'a ReadOptions,
    head: Vec<u8>,
    parts: Vec<Vec<u8>>,
}

const HEAD_BYTES: u64 = 1 << 22;
const PIECE_BYTES: usize = 1 << 25;

impl<'a> Stream<'a> {
    /// `None` where the file must be read whole.
    fn open(path: &Path, options: &'a ReadOptions) -> Result<Option<Self>, ReadError> {
        let fail = |source| ReadError::Io { file: path.display().to_string(), source };
        let name =
            path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
        let mut file = File::open(path).map_err(fail)?;
        let length = file.metadata().map_err(fail)?.len();
        if length <= HEAD_BYTES {
            return Ok(None);
        }
        let mut head = Vec::new();
        file.by_ref().take(HEAD_BYTES).read_to_end(&mut head).map_err(fail)?;
        let mut parts = Vec::new();
        for at in [length / 3, length * 2 / 3, length - SPREAD_BYTES as u64] {
            file.seek(SeekFrom::Start(at)).map_err(fail)?;
            let mut part = Vec::new();
            file.by_ref().take(SPREAD_BYTES as u64).read_to_end(&mut part).map_err(fail)?;
            parts.push(part);
        }
        Ok(Some(Self { file, name, options, head, parts }))
    }

    fn run(mut self, width_s: f64) -> Result<Aggregate, ReadError> {
        check_format(&self.name, &self.options.format)?;
        let mut choices = Vec::new();
        let head = sample::whole_lines(&self.head, self.head.len() - 1);
        let Content::Text(text) = decode(&self.name, head, self.options.format.encoding.as_deref(), &mut choices)?
        else {
            return self.whole(width_s);
        };
        // Offsets and ASCII must be those of the file itself.
        if text.len() != head.len()
            && (text.is_ascii() || choices.iter().any(|choice| choice.value.starts_with("UTF-16")))
        {
            return self.whole(width_s);
        }
        let (name, options) = (self.name.clone(), self.options);
        let mut reading = Reading::new(&name, options, choices);
        let lines: Vec<&[u8]> = self.parts.iter().filter_map(|part| inner_lines(part)).collect();
        let mut parts = vec![text.as_bytes()];
        parts.extend(lines);
        let Some(wide) = reading.prepare(&parts)? else { return self.whole(width_s) };
        if wide.base == Base::ClockOnly || wide.job.time.is_none() {
            return self.whole(width_s);
        }
        let start = offset_of_line(head, wide.body_line, wide.job.splitter.bare_cr);
        let mut gathering = Gathering::new(&wide, width_s, options.pressure_pa);
        self.pieces(start as u64, &wide, &mut gathering)?;
        let (assembled, series) = gathering.finish(&wide);
        Ok(Aggregate { recording: reading.finish(wide, assembled), width_s, series })
    }

    fn whole(mut self, width_s: f64) -> Result<Aggregate, ReadError> {
        let fail = |source| ReadError::Io { file: self.name.clone(), source };
        self.file.seek(SeekFrom::Start(0)).map_err(fail)?;
        let mut bytes = Vec::new();
        self.file.read_to_end(&mut bytes).map_err(fail)?;
        Ok(aggregate_recording(&crate::read::read_bytes(&self.name, &bytes, self.options)?, width_s))
    }

    /// Read piece after piece, each cut at a line end, and hand its rows on.
    fn pieces(&mut self, start: u64, wide: &Wide, gathering: &mut Gathering) -> Result<(), ReadError> {
        let fail = |source| ReadError::Io { file: self.name.clone(), source };
        self.file.seek(SeekFrom::Start(start)).map_err(fail)?;
        let mut job = wide.job.clone();
        let mut line = wide.body_line;
        let mut buffer: Vec<u8> = Vec::with_capacity(PIECE_BYTES + (1 << 16));
        loop {
            let read = self.file.by_ref().take(PIECE_BYTES as u64).read_to_end(&mut buffer).map_err(fail)?;
            let is_last = read == 0;
            let end = if is_last { Some(buffer.len()) } else { last_line_end(&buffer, job.splitter.bare_cr) };
            // A line longer than a piece: read on until it ends.
            let Some(end) = end else { continue };
            let mut rows = body::read(&buffer[..end], line, &job);
            line = rows.line_count + 1;
            if let Some(remapped) = rows.remapped.take() {
                job = *remapped;
            }
            gathering.take(rows, &job.columns, wide);
            buffer.drain(..end);
            if is_last {
                return Ok(());
            }
        }
    }
}

/// Whole lines of a part from the middle of a file.
fn inner_lines(part: &[u8]) -> Option<&[u8]> {
    let start = part.iter().position(|byte| matches!(byte, b'\n' | b'\r'))? + 1;
    let end = part.iter().rposition(|byte| matches!(byte, b'\n' | b'\r'))? + 1;
    part.get(start..end)
}

fn last_line_end(buffer: &[u8], bare_cr: bool) -> Option<usize> {
    let last = if bare_cr { memrchr2(b'\n', b'\r', buffer)? } else { memrchr(b'\n', buffer)? };
    // A carriage return at the very end may be half of a line end.
    if buffer[last] == b'\r' && last + 1 == buffer.len() {
        memrchr2(b'\n', b'\r', &buffer[..last]).map(|at| at + 1)
    } else {
        Some(last + 1)
    }
}

/// Byte offset of a physical line, 1 = first.
fn offset_of_line(text: &[u8], line: u64, bare_cr: bool) -> usize {
    let mut offset = 0;
    for _ in 1..line {
        let rest = &text[offset..];
        let end = rest.iter().position(|byte| *byte == b'\n' || bare_cr && *byte == b'\r').unwrap_or(rest.len());
        let length = if rest.get(end..end + 2) == Some(b"\r\n") { 2 } else { 1 };
        offset = (offset + end + length).min(text.len());
    }
    offset
}

/// What is gathered over all pieces.
struct Gathering {
    bins: Vec<Bins>,
    cells: Vec<CellCount>,
    account: Account,
    notes: Vec<String>,
    width_s: f64,
    pressure_pa: f64,
    origin_ns: Option<i64>,
    span: Option<(i64, i64)>,
    /// Time, values and statuses of the last row, to know its duplicate.
    before: Option<(i64, Vec<u64>)>,
}

impl Gathering {
    fn new(wide: &Wide, width_s: f64, pressure_pa: Option<f64>) -> Self {
        const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;
        Self {
            bins: wide.job.columns.iter().map(|_| Bins::default()).collect(),
            cells: vec![CellCount::default(); wide.job.columns.len()],
            account: Account::default(),
            notes: Vec::new(),
            width_s,
            pressure_pa: pressure_pa.unwrap_or(STANDARD_ATMOSPHERE_PA),
            origin_ns: None,
            span: None,
            before: None,
        }
    }

    fn take(&mut self, mut rows: Rows, columns: &[Assigned], wide: &Wide) {
        let mut out = Assembled { account: std::mem::take(&mut self.account), ..Assembled::default() };
        // Restarts of an elapsed clock are told over the whole file or not at all.
        let base = if wide.base == Base::Elapsed { Base::Utc } else { wide.base };
        let keep = clean(&mut rows, columns, base, wide.zone.as_ref(), &mut out);
        self.account = out.account;
        self.notes.extend(out.notes);
        if wide.base == Base::Elapsed && self.origin_ns.is_none() {
            self.origin_ns = rows.time_ns.first().copied();
        }
        let tops: Vec<Option<f64>> =
            columns.iter().zip(&rows.values).map(|(column, values)| shown_top(column, values)).collect();
        for row in (0..rows.len()).filter(|row| keep[*row]) {
            self.take_row(&rows, row, columns, &tops);
        }
        for (cells, more) in self.cells.iter_mut().zip(&rows.cells) {
            cells.add(*more);
        }
    }

    fn take_row(&mut self, rows: &Rows, row: usize, columns: &[Assigned], tops: &[Option<f64>]) {
        let time_ns = rows.time_ns[row].saturating_sub(self.origin_ns.unwrap_or(0));
        let bits: Vec<u64> = rows.values.iter().map(|values| values[row].to_bits()).collect();
        if self.before.as_ref().is_some_and(|(time, values)| *time == time_ns && *values == bits) {
            self.account.set_aside(RowReason::Duplicate, u64::from(rows.lines[row]));
            return;
        }
        self.before = Some((time_ns, bits));
        self.account.use_rows(1);
        let (first, last) = self.span.unwrap_or((time_ns, time_ns));
        self.span = Some((first.min(time_ns), last.max(time_ns)));
        let time_s = seconds(time_ns);
        for (i, column) in columns.iter().enumerate() {
            let value = match rows.values[i][row] {
                value if !value.is_nan() => value,
                _ => match column.words.as_ref().and_then(StateWords::unsaid) {
                    Some(value) => value,
                    None => continue,
                },
            };
            let (value, status) = self.judged(value, rows.status[i].get(row).copied().unwrap_or(0), column, tops[i]);
            self.bins[i].add(time_s, value, status, self.width_s);
        }
    }

    fn judged(&self, value: f64, code: u8, column: &Assigned, top: Option<f64>) -> (f64, Status) {
        let value = if column.is_dew_point() {
            moisture::mole_fraction(value, column.unit.dew_phase().unwrap_or(DewPhase::Ice), self.pressure_pa)
        } else {
            value
        };
        let status = match code {
            1 => Status::BelowLimit,
            2 => Status::AboveRange,
            _ if column.reporting_limit.is_some_and(|limit| value < limit) => Status::BelowLimit,
            _ if top.is_some_and(|top| value >= top) => Status::AboveRange,
            _ => Status::Measured,
        };
        (value, status)
    }

    fn finish(self, wide: &Wide) -> (Assembled, Vec<BinnedSeries>) {
        let mut notes = self.notes;
        notes.sort();
        notes.dedup();
        let columns = wide.job.columns.iter().zip(self.bins).zip(&self.cells);
        let said = columns.filter(|((column, _), cells)| column.words.is_none() || cells.measured > 0);
        let series = said.map(|((column, bins), _)| BinnedSeries {
            channel: column.channel,
            column: column.header.clone(),
            unit: column.unit_text.clone(),
            reference: column.reference,
            standard_reference: column.standard_reference,
            instrument: column.instrument.clone(),
            bins: bins.all.into_values().collect(),
        });
        let series = series.collect();
        let span_s = self.span.map(|(first, last)| (seconds(first), seconds(last)));
        (Assembled { account: self.account, cells: self.cells, span_s, notes, ..Assembled::default() }, series)
    }
}

/// The end of a column's range as the readings of a piece show it. Dew points are judged as the fractions they become.
fn shown_top(column: &Assigned, values: &[f64]) -> Option<f64> {
    let range = column.range?;
    Some(if column.is_dew_point() { range.1 } else { shown_end_of_range(values, range) })
}
