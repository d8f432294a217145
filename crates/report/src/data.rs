//! The files of a test as channels on one time base.

mod parts;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt;
use std::io;
use std::path::{Component, Path, PathBuf};
use std::rc::Rc;

use jiff::Timestamp;
use tightfit_ingest::{
    Channel, ColumnRequest, PressureReference, Question, ReadError, ReadOptions, Recording, RowReason, Series,
    SetAside, Status, read_bytes,
};
use tightfit_quantity::{Dimension, StandardReference};

use crate::plan::{ClockOffset, Instrument, Moment, Plan, Test, Window, dimension_of, hexadecimal};

/// Channels of which one sensor counts; of temperatures all do.
const ONE_SENSOR: [Channel; 9] = [
    Channel::GaugePressure,
    Channel::AbsolutePressure,
    Channel::RoomPressure,
    Channel::AntechamberPressure,
    Channel::VesselPressure,
    Channel::Oxygen,
    Channel::Water,
    Channel::MakeupFlow,
    Channel::MakeupTotal,
];

/// Where plans and their files are looked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Folders {
    /// The plan's folder; files are relative to it.
    pub plan: PathBuf,
    /// A further folder in which files may lie.
    pub data_root: Option<PathBuf>,
    /// Copies of files, by their name in the plan, that stand in for the files themselves.
    pub copies: BTreeMap<String, PathBuf>,
    /// What was read from them.
    pub read: FilesRead,
}

/// Files read so far: tests of one file share its bytes, which are read and hashed once.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FilesRead(RefCell<BTreeMap<PathBuf, FileRead>>);

#[derive(Debug, Clone, PartialEq, Eq)]
struct FileRead {
    content: Rc<Vec<u8>>,
    sha256: String,
}

impl FilesRead {
    fn content(&self, path: &Path) -> io::Result<FileRead> {
        if let Some(known) = self.0.borrow().get(path) {
            return Ok(known.clone());
        }
        let content = std::fs::read(path)?;
        let sha256 = hexadecimal(&<sha2::Sha256 as sha2::Digest>::digest(&content));
        let read = FileRead { content: Rc::new(content), sha256 };
        self.0.borrow_mut().insert(path.to_owned(), read.clone());
        Ok(read)
    }
}

impl Folders {
    /// Whether a file of the plan is there.
    #[must_use]
    pub fn holds(&self, file: &str) -> bool {
        self.copies.get(file).map_or_else(|| self.plan.join(file).is_file(), |copy| copy.is_file())
    }
}

/// A raw file as it was read.
#[derive(Debug, Clone, PartialEq)]
pub struct RawFile {
    /// Name as the plan gives it.
    pub name: String,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256, hexadecimal.
    pub sha256: String,
    /// The content, for a dossier that carries its data.
    pub content: Rc<Vec<u8>>,
    /// What was read from it.
    pub recording: Recording,
}

/// The files of a test, read.
#[derive(Debug, Clone, PartialEq)]
pub struct TestData<'p> {
    plan: &'p Plan,
    test: &'p Test,
    /// The files in the order of the plan.
    pub files: Vec<RawFile>,
    /// Time that counts as zero, s since 1970 (0 for logs without dates).
    pub origin_s: f64,
    /// Whether times are dated.
    pub dated: bool,
}

/// One channel: its readings and its instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelData<'p> {
    /// Column it came from.
    pub column: String,
    /// File it came from.
    pub file: String,
    /// Times, s after the origin.
    pub time_s: Vec<f64>,
    /// Readings, SI, the zero found by a zero check taken off.
    pub value: Vec<f64>,
    /// What each reading is worth; empty where all are plain readings.
    pub status: Vec<Status>,
    /// For pressures: what they refer to.
    pub reference: PressureReference,
    /// Unit of the export, as found or as the plan says.
    pub unit: String,
    /// For flows and totals at reference conditions: the conditions.
    pub standard_reference: Option<StandardReference>,
    /// Its instrument, where the plan names one.
    pub instrument: Option<&'p Instrument>,
}

impl ChannelData<'_> {
    /// Leaves out what is marked as outside the instrument's range, which is no number; how many readings that were.
    pub(crate) fn keep_measured(&mut self) -> usize {
        let before = self.time_s.len();
        if self.status.iter().all(|status| *status == Status::Measured) {
            return 0;
        }
        let status = std::mem::take(&mut self.status);
        let measured = |index: usize| status.get(index).is_none_or(|status| *status == Status::Measured);
        let keep: Vec<usize> = (0..before).filter(|index| measured(*index)).collect();
        self.time_s = keep.iter().map(|index| self.time_s[*index]).collect();
        self.value = keep.iter().map(|index| self.value[*index]).collect();
        before - keep.len()
    }
}

/// Why the files of a test cannot be used.
#[derive(Debug)]
pub enum DataError {
    /// A path that leaves the plan's folder.
    OutsideFolder {
        /// The path as the plan gives it.
        file: String,
    },
    /// A file cannot be read.
    Read(ReadError),
    /// A file poses a question that must be answered first.
    Question {
        /// The file.
        file: String,
        /// The question.
        question: Box<Question>,
    },
    /// Every row was set aside.
    NoRowUsed {
        /// The file.
        file: String,
        /// Its rows.
        rows: u64,
        /// Why they were set aside.
        reasons: String,
    },
    /// The window of the test and its files have no time in common.
    WindowOutside {
        /// Ends of the window, as results write times.
        window: [String; 2],
        /// First and last row.
        record: [String; 2],
    },
    /// Dated logs and logs without dates in one test.
    MixedTimeBases {
        /// A dated file.
        dated: String,
        /// A file without dates.
        elapsed: String,
    },
    /// A channel that the method needs was not found.
    MissingChannel {
        /// What is missing, in words.
        needed: String,
        /// The columns that were seen.
        columns: Vec<String>,
        /// What the plan can say.
        hint: String,
    },
    /// The files hold no common time.
    Nothing {
        /// The channel without readings.
        channel: Channel,
    },
}

impl DataError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> String {
        match self {
            Self::OutsideFolder { .. } => {
                "put the file beside the plan, or allow another folder with --data-root DIR".to_owned()
            }
            Self::Read(ReadError::Io { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => {
                "check the name; a plan's files are looked for beside the plan, or in the folder of --data-root DIR"
                    .to_owned()
            }
            Self::Read(error) => error.hint(),
            Self::Question { question, .. } => format!("answer it in the plan: {}", question.answer),
            Self::NoRowUsed { file, .. } => {
                format!("correct [test.format] or [test.columns]; tightfit inspect {file} --rows lists the lines")
            }
            Self::WindowOutside { .. } => crate::method::CORRECT_WINDOW.to_owned(),
            Self::MixedTimeBases { .. } => {
                "state when the first row of the file without dates was logged: [test.format.\"FILE\"] start = \
                 \"2026-05-12T09:00:00Z\""
                    .to_owned()
            }
            Self::MissingChannel { hint, .. } => hint.clone(),
            Self::Nothing { .. } => "check the column and the unit in [test.columns]".to_owned(),
        }
    }
}

impl fmt::Display for DataError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutsideFolder { file } => write!(f, "{file}: the path leaves the plan's folder"),
            Self::Read(error) => error.fmt(f),
            Self::Question { file, question } => write!(f, "{file}: {}", question.text),
            Self::NoRowUsed { file, rows, reasons } => {
                write!(f, "{file}: none of its {rows} rows can be used: {reasons}")
            }
            Self::WindowOutside { window, record } => {
                let [[from, to], [first, last]] = [window, record];
                write!(f, "the window from {from} to {to} lies outside the record, which runs from {first} to {last}")
            }
            Self::MixedTimeBases { dated, elapsed } => {
                write!(f, "{dated} has dates and {elapsed} has none, so they cannot be put on one time base")
            }
            Self::MissingChannel { needed, columns, .. } => {
                write!(f, "no column holds the {needed}; columns are: {}", columns.join(" | "))
            }
            Self::Nothing { channel } => write!(f, "the column for {channel} holds no usable reading"),
        }
    }
}

impl std::error::Error for DataError {}

impl From<ReadError> for DataError {
    fn from(error: ReadError) -> Self {
        Self::Read(error)
    }
}

impl<'p> TestData<'p> {
    /// Reads `files` of a test.
    ///
    /// # Errors
    /// [`DataError`] for the first file that cannot be used.
    pub fn read(plan: &'p Plan, test: &'p Test, files: &[String], folders: &Folders) -> Result<Self, DataError> {
        let files = files.iter().map(|file| read_file(plan, test, file, folders)).collect::<Result<Vec<_>, _>>()?;
        if let Some(error) = no_row_used(&files) {
            return Err(error);
        }
        let dated = files.iter().find(|file| file.recording.is_dated());
        let elapsed = files.iter().find(|file| !file.recording.is_dated());
        if let (Some(dated), Some(elapsed)) = (dated, elapsed) {
            return Err(DataError::MixedTimeBases { dated: dated.name.clone(), elapsed: elapsed.name.clone() });
        }
        let starts = files.iter().filter_map(|file| file.recording.span_s).map(|(first, _)| first);
        let origin_s = if dated.is_some() { starts.fold(f64::INFINITY, f64::min) } else { 0.0 };
        let data = Self {
            plan,
            test,
            dated: dated.is_some(),
            origin_s: if origin_s.is_finite() { origin_s } else { 0.0 },
            files,
        };
        match test.window.and_then(|window| data.outside_record(window)) {
            Some(error) => Err(error),
            None => Ok(data),
        }
    }

    /// The error where a window of the plan and the files have no time in common.
    fn outside_record(&self, window: Window) -> Option<DataError> {
        let spans = self.files.iter().filter_map(|file| file.recording.span_s);
        let (first, last) = spans.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
        let record_s = [first, last].map(|at| at - self.origin_s);
        let ends = [window.from.map(|at| self.moment_s(at)), window.to.map(|at| self.moment_s(at))];
        let window_s = [ends[0].unwrap_or(record_s[0]), ends[1].unwrap_or(record_s[1])];
        let is_outside = window_s[0] > record_s[1] || window_s[1] < record_s[0];
        let text = |span_s: [f64; 2]| span_s.map(|at| self.time_text(at));
        is_outside.then(|| DataError::WindowOutside { window: text(window_s), record: text(record_s) })
    }

    /// The first sensor of a channel; `None` where no file holds one.
    ///
    /// # Errors
    /// A question about this channel that the plan must answer first, or a named column without readings.
    pub fn channel(&self, channel: Channel) -> Result<Option<ChannelData<'p>>, DataError> {
        Ok(self.channels(channel)?.into_iter().next())
    }

    /// Every sensor of a channel, in the order of the files; exports that follow one another are one record.
    ///
    /// # Errors
    /// A question about this channel that the plan must answer first, or a named column without readings.
    pub fn channels(&self, channel: Channel) -> Result<Vec<ChannelData<'p>>, DataError> {
        let mut found = Vec::new();
        for file in &self.files {
            if let Some(question) = file.recording.questions_for(channel).next() {
                let question = Box::new(question.clone());
                return Err(DataError::Question { file: file.name.clone(), question });
            }
            for series in file.recording.series.iter().filter(|series| series.channel == channel) {
                if series.is_empty() {
                    return Err(DataError::Nothing { channel });
                }
                found.push(self.channel_data(file, series));
            }
        }
        Ok(parts::join(found))
    }

    /// What the files leave open and was read with an assumption all the same, in words.
    #[must_use]
    pub fn assumptions(&self) -> Vec<String> {
        let open = |file: &'_ RawFile| {
            let name = file.name.clone();
            let questions = file.recording.questions.iter().filter(|question| !question.blocking);
            questions.map(move |question| format!("{name}: {}", question.text)).collect::<Vec<_>>()
        };
        self.files.iter().flat_map(open).chain(self.sensors_beside()).collect()
    }

    /// Sensors that ran beside another one of the same channel and are not used, in words.
    fn sensors_beside(&self) -> Vec<String> {
        let mut words = Vec::new();
        for channel in ONE_SENSOR {
            let series = self.files.iter().flat_map(|file| &file.recording.series);
            if series.filter(|series| series.channel == channel).count() < 2 {
                continue;
            }
            let Ok(sensors) = self.channels(channel) else { continue };
            let name = |sensor: &ChannelData<'_>| format!("'{}' of {}", sensor.column, sensor.file);
            if let [first, beside @ ..] = sensors.as_slice()
                && !beside.is_empty()
            {
                let beside: Vec<String> = beside.iter().map(name).collect();
                words.push(format!(
                    "{channel} was logged more than once at a time: {} counts, {} does not",
                    name(first),
                    beside.join(", ")
                ));
            }
        }
        words
    }

    /// What the change of clocks in spring or autumn did to rows, in words.
    #[must_use]
    pub fn clock_changes(&self) -> Vec<String> {
        let words = |file: &'_ RawFile| {
            let name = file.name.clone();
            file.recording.clock_changes.iter().map(move |words| format!("{name}: {words}")).collect::<Vec<_>>()
        };
        self.files.iter().flat_map(words).collect()
    }

    /// The columns of all files, for messages.
    #[must_use]
    pub fn columns(&self) -> Vec<String> {
        let words = |column: &tightfit_ingest::Column| {
            let empty = if column.without_number { " (is there, but holds no number)" } else { "" };
            format!("{}{empty}", column.header)
        };
        self.files.iter().flat_map(|file| &file.recording.columns).map(words).collect()
    }

    /// A moment of the plan in seconds after the origin.
    #[must_use]
    pub fn moment_s(&self, moment: Moment) -> f64 {
        match moment {
            Moment::At(timestamp) => timestamp.as_millisecond() as f64 * 1e-3 - self.origin_s,
            Moment::AfterStart(seconds) => self.first_row_s() + seconds,
        }
    }

    /// A window of the plan in seconds after the origin, open ends at those of the channel.
    #[must_use]
    pub fn window_s(&self, channel: &ChannelData<'_>, window: Window) -> [f64; 2] {
        let end = |time: Option<&f64>| time.copied().unwrap_or(0.0);
        [
            window.from.map_or(end(channel.time_s.first()), |moment| self.moment_s(moment)),
            window.to.map_or(end(channel.time_s.last()), |moment| self.moment_s(moment)),
        ]
    }

    /// A time as results write it: a UTC timestamp, or seconds after the first row.
    #[must_use]
    pub fn time_text(&self, time_s: f64) -> String {
        if self.dated {
            timestamp_text(self.origin_s + time_s)
        } else {
            format!("{} s", round_ms(time_s - self.first_row_s()))
        }
    }

    /// The calendar day of a time in the plan's zone, where logs are dated.
    #[must_use]
    pub fn day(&self, time_s: f64) -> Option<jiff::civil::Date> {
        let timestamp = Timestamp::from_second((self.origin_s + time_s).floor() as i64).ok()?;
        self.dated.then(|| day_in(timestamp, self.plan.room.time_zone.as_deref()))
    }

    /// The first row of the first file, s after the origin.
    fn first_row_s(&self) -> f64 {
        self.files.first().and_then(|file| file.recording.span_s).map_or(0.0, |(first, _)| first - self.origin_s)
    }

    fn channel_data(&self, file: &RawFile, series: &Series) -> ChannelData<'p> {
        let instrument = series.instrument.as_deref().and_then(|name| self.plan.instruments.get(name));
        let ahead_s = match instrument.map(|instrument| instrument.clock) {
            Some(ClockOffset::Known(seconds)) => seconds,
            _ => 0.0,
        };
        let zero = instrument
            .zip(dimension_of(series.channel))
            .and_then(|(instrument, dimension)| instrument.zero_check_si(dimension))
            .map_or(0.0, |(zero, _)| zero);
        ChannelData {
            column: series.column.clone(),
            file: file.name.clone(),
            time_s: series.time_s.iter().map(|time| time - self.origin_s - ahead_s).collect(),
            value: series.value.iter().map(|value| value - zero).collect(),
            status: series.status.clone(),
            reference: series.reference,
            unit: series.unit.clone(),
            standard_reference: series.standard_reference,
            instrument,
        }
    }

    /// The plan that the files belong to.
    #[must_use]
    pub fn plan(&self) -> &'p Plan {
        self.plan
    }

    /// The test that the files belong to.
    #[must_use]
    pub fn test(&self) -> &'p Test {
        self.test
    }
}

/// Files of which no row can be used because of its time, without a question that would tell so.
fn no_row_used(files: &[RawFile]) -> Option<DataError> {
    let of_time = |aside: &SetAside| {
        matches!(aside.reason, RowReason::TimeMissing | RowReason::TimeUnreadable | RowReason::TimeSkipped)
    };
    let lost = |file: &RawFile| {
        let account = &file.recording.account;
        let asked = file.recording.questions.iter().any(|question| question.blocking);
        account.rows_used() == 0 && !asked && account.by_reason().iter().any(of_time)
    };
    let first = files.iter().find(|file| lost(file))?;
    let account = &first.recording.account;
    let reasons: Vec<_> = account.by_reason().iter().map(|aside| format!("{} {}", aside.count, aside.reason)).collect();
    Some(DataError::NoRowUsed { file: first.name.clone(), rows: account.rows_read(), reasons: reasons.join(", ") })
}

fn read_file(plan: &Plan, test: &Test, file: &str, folders: &Folders) -> Result<RawFile, DataError> {
    let path = resolve(file, folders)?;
    let read = folders.read.content(&path);
    let FileRead { content, sha256 } = read.map_err(|source| ReadError::Io { file: file.to_owned(), source })?;
    let recording = read_bytes(file, &content, &options(plan, test, file))?;
    Ok(RawFile { name: file.to_owned(), bytes: content.len() as u64, sha256, content, recording })
}

/// The file's path, if it stays within the folders that are allowed, links followed.
fn resolve(file: &str, folders: &Folders) -> Result<PathBuf, DataError> {
    let outside = || DataError::OutsideFolder { file: file.to_owned() };
    let read_error = |source| ReadError::Io { file: file.to_owned(), source };
    if let Some(copy) = folders.copies.get(file) {
        return Ok(copy.clone());
    }
    let relative = Path::new(file);
    let joined = folders.plan.join(relative);
    let steps_out = relative.is_absolute() || relative.components().any(|part| part == Component::ParentDir);
    // A path that steps out by its spelling is refused before the disk is asked whether it exists.
    if steps_out && folders.data_root.is_none() {
        return Err(outside());
    }
    let path = joined.canonicalize().map_err(read_error)?;
    let allowed = std::iter::once(&folders.plan).chain(&folders.data_root);
    let inside = allowed.filter_map(|folder| folder.canonicalize().ok()).any(|folder| path.starts_with(folder));
    if inside { Ok(path) } else { Err(outside()) }
}

fn options(plan: &Plan, test: &Test, file: &str) -> ReadOptions {
    let columns = test.columns.iter().filter(|column| column.file.as_deref().is_none_or(|name| name == file));
    ReadOptions {
        format: test.file_formats.get(file).unwrap_or(&test.format).clone(),
        columns: columns.map(|column| request(plan, column)).collect(),
        time_zone: plan.room.time_zone.clone(),
        pressure_pa: plan.room.pressure.as_ref().map(|pressure| pressure.si),
    }
}

fn request(plan: &Plan, column: &crate::plan::ColumnPlan) -> ColumnRequest {
    let instrument = column.instrument.as_ref().and_then(|name| plan.instruments.get(name));
    let si = |quantity: &tightfit_quantity::Quantity| match dimension_of(column.channel) {
        Some(Dimension::Ratio) | None => quantity.si_of(Dimension::Ratio).ok(),
        Some(dimension) => quantity.si_of(dimension).ok(),
    };
    ColumnRequest {
        unit: column.unit.clone(),
        instrument: column.instrument.clone(),
        reporting_limit: instrument.and_then(|i| i.reporting_limit.as_ref()).and_then(si),
        range: instrument.and_then(|i| i.range.as_ref()).and_then(|(low, high)| si(low).zip(si(high))),
        standard_reference: instrument.and_then(|instrument| instrument.reference),
        conversion: column.conversion.clone(),
        ..ColumnRequest::new(column.channel, column.columns.clone())
    }
}

/// The calendar day of a moment in a zone, or in UTC where none is stated or known.
pub(crate) fn day_in(timestamp: Timestamp, zone: Option<&str>) -> jiff::civil::Date {
    let zone = zone.and_then(|name| jiff::tz::TimeZone::get(name).ok()).unwrap_or(jiff::tz::TimeZone::UTC);
    zone.to_datetime(timestamp).date()
}

/// `2026-05-04T09:00:00Z`, with milliseconds only where there are any.
#[must_use]
pub fn timestamp_text(unix_s: f64) -> String {
    let millisecond = (unix_s * 1e3).round() as i64;
    Timestamp::from_millisecond(millisecond).map_or_else(|_| format!("{unix_s} s"), |timestamp| timestamp.to_string())
}

fn round_ms(seconds: f64) -> f64 {
    (seconds * 1e3).round() / 1e3
}
