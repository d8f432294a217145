//! The tests of a plan: method, files, columns, window.

mod conversion;
mod keys;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use tightfit_ingest::{Channel, ColumnRef, Conversion, Format, Layout};
use tightfit_quantity::{Dimension, Quantity, Unit};
use toml::Spanned;
use toml::de::DeValue;

use crate::catalogue::Method;

use super::mistake::{Mistake, nearest};
use super::section::{Measured, Section, whole_number};

pub use keys::{MethodKeys, ReferenceStep, Required};

/// A test.
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// Its name.
    pub id: String,
    /// Its method.
    pub method: Method,
    /// Files, relative to the plan.
    pub files: Vec<String>,
    /// Columns that are named; the rest is recognised.
    pub columns: Vec<ColumnPlan>,
    /// The form of all files.
    pub format: Format,
    /// The form of one file, by its name in `files`.
    pub file_formats: BTreeMap<String, Format>,
    /// Window, where it is set by hand.
    pub window: Option<Window>,
    /// Pressure difference at which results are stated.
    pub reference_pressure: Option<Quantity>,
    /// Pressure difference during the run, where it is not logged.
    pub pressure: Option<Quantity>,
    /// Which attempt this is.
    pub attempt: Option<i64>,
    /// Why the earlier attempt was set aside.
    pub earlier: Option<String>,
    /// A known leak opened during the hold.
    pub superimposed_leak: Option<SuperimposedLeak>,
    /// What was inside the tested boundary.
    pub boundary: Option<String>,
    /// The runs of a series.
    pub runs: Vec<Run>,
    /// Keys of single methods.
    pub keys: MethodKeys,
}

/// One run of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Files, relative to the plan.
    pub files: Vec<String>,
    /// What was inside the boundary.
    pub boundary: Option<String>,
    /// Pressure difference during the run, where it is not logged.
    pub pressure: Option<Quantity>,
    /// Window, where it is set by hand.
    pub window: Option<Window>,
}

/// A column that the plan names.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnPlan {
    /// Which channel it feeds.
    pub channel: Channel,
    /// Which columns; several only for time.
    pub columns: Vec<ColumnRef>,
    /// Its unit.
    pub unit: Option<String>,
    /// Its instrument.
    pub instrument: Option<String>,
    /// The file it stands in, where several are read.
    pub file: Option<String>,
    /// For a gauge with a voltage output: what its signal means.
    pub conversion: Option<Arc<Conversion>>,
}

/// A window set by hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Its start; the first row where absent.
    pub from: Option<Moment>,
    /// Its end; the last row where absent.
    pub to: Option<Moment>,
}

/// A point in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moment {
    /// On the calendar.
    At(Timestamp),
    /// After the first row, s.
    AfterStart(f64),
}

/// A known leak opened during the hold.
#[derive(Debug, Clone, PartialEq)]
pub struct SuperimposedLeak {
    /// Its flow.
    pub flow: Measured,
    /// When it was opened.
    pub from: Moment,
    /// When it was closed.
    pub to: Moment,
}

impl Test {
    /// Name of a run, the first being 1: what was inside its boundary, with its number where an earlier one has the same.
    #[must_use]
    pub fn run_name(&self, number: usize) -> String {
        let boundary = |run: &Run| run.boundary.clone();
        let Some(own) = self.runs.get(number.saturating_sub(1)).and_then(boundary) else {
            return format!("run {number}");
        };
        let is_taken = self.runs.iter().take(number.saturating_sub(1)).any(|run| run.boundary.as_ref() == Some(&own));
        if is_taken { format!("{own} (run {number})") } else { own }
    }

    pub(super) fn read(section: &Section<'_>) -> Self {
        let method = method(section);
        let test = Self {
            id: section.required_text("id", "id = \"tightness\""),
            method,
            files: section.texts("files"),
            columns: section.section("columns").map(|columns| read_columns(&columns)).unwrap_or_default(),
            format: Format::default(),
            file_formats: BTreeMap::new(),
            window: section.section("window").map(|window| read_window(&window)),
            reference_pressure: section.quantity("reference_pressure", Dimension::Pressure),
            pressure: section.quantity("pressure", Dimension::Pressure),
            attempt: section.whole_number("attempt"),
            earlier: section.text("earlier"),
            superimposed_leak: section.section("superimposed_leak").and_then(|leak| read_leak(&leak)),
            boundary: section.text("boundary"),
            runs: section.sections("run").iter().map(read_run).collect(),
            keys: MethodKeys::read(section),
        };
        let (format, file_formats) = section.section("format").map(|format| read_formats(&format)).unwrap_or_default();
        if method.has_runs() && !section.has("run") {
            section.missing("run", "[[test.run]] with files = [\"alone.csv\"] and boundary = \"enclosure alone\"");
        }
        // Of an unknown method nobody can say which keys it has.
        if method != Method::Unknown {
            section.finish();
        }
        let test = Self { format, file_formats, ..test };
        test.check_files(section);
        test
    }

    /// Every file of the test and of its runs.
    pub fn all_files(&self) -> impl Iterator<Item = &str> {
        self.files.iter().chain(self.runs.iter().flat_map(|run| &run.files)).map(String::as_str)
    }

    fn check_files(&self, section: &Section<'_>) {
        let known: Vec<&str> = self.all_files().collect();
        let named = self.columns.iter().filter_map(|column| column.file.as_deref());
        for name in named.chain(self.file_formats.keys().map(String::as_str)) {
            if !known.contains(&name) {
                let nearest = nearest(name, known.iter().copied());
                section.note("files", Mistake::NotDefined { kind: "file", name: name.to_owned(), nearest });
            }
        }
    }
}

fn method(section: &Section<'_>) -> Method {
    if !section.has("method") {
        section.missing("method", "method = \"pressure-change\"");
        return Method::PressureChange;
    }
    section.word("method", &Method::names()).and_then(|name| Method::parse(&name)).unwrap_or(Method::Unknown)
}

fn read_run(section: &Section<'_>) -> Run {
    let run = Run {
        files: section.texts("files"),
        boundary: section.text("boundary"),
        pressure: section.quantity("pressure", Dimension::Pressure),
        window: section.section("window").map(|window| read_window(&window)),
    };
    if !section.has("files") {
        section.missing("files", "files = [\"alone.csv\"]");
    }
    section.finish();
    run
}

fn read_columns(section: &Section<'_>) -> Vec<ColumnPlan> {
    let mut columns = Vec::new();
    for (name, value) in section.named() {
        let Some(channel) = Channel::parse(name) else {
            let names = Channel::ALL.map(Channel::as_str);
            let mistake = Mistake::UnknownKey {
                key: name.to_owned(),
                section: section.name().to_owned(),
                nearest: nearest(name, names),
            };
            section.note(name, mistake);
            continue;
        };
        match value.get_ref() {
            // Several sensors of one kind: gas_temperature = [{ … }, { … }].
            DeValue::Array(items) => {
                columns.extend(items.iter().filter_map(|item| read_column(section, channel, item)));
            }
            _ => columns.extend(read_column(section, channel, value)),
        }
    }
    columns
}

/// Keys of one column.
const KEYS: [&str; 7] = ["column", "columns", "unit", "instrument", "file", "conversion", "interpolation"];

fn read_column(section: &Section<'_>, channel: Channel, value: &Spanned<DeValue<'_>>) -> Option<ColumnPlan> {
    let name = channel.as_str();
    if let Some(column) = column_ref(value) {
        let columns = vec![column];
        return Some(ColumnPlan { channel, columns, unit: None, instrument: None, file: None, conversion: None });
    }
    let Some(table) = value.get_ref().as_table() else {
        section.wrong_type(name, value, "a column, for example { column = \"dP (Pa)\", unit = \"Pa\" }");
        return None;
    };
    // The table borrows from the same text, so its mistakes are noted through the parent.
    let get = |key: &str| table.iter().find(|(k, _)| k.get_ref().as_ref() == key).map(|(_, v)| v);
    let text = |key: &str| {
        let value = get(key)?;
        let text = value.get_ref().as_str().map(str::to_owned);
        if text.is_none() {
            section.wrong_type(key, value, "text in quotes");
        }
        text
    };
    for (key, _) in table {
        let key = key.get_ref().as_ref();
        if !KEYS.contains(&key) {
            let section_name = format!("{name} of {}", section.name());
            section.note(
                name,
                Mistake::UnknownKey { key: key.to_owned(), section: section_name, nearest: nearest(key, KEYS) },
            );
        }
    }
    let unit = text("unit");
    if let Some(Err(error)) = unit.as_deref().map(Unit::parse)
        && !matches!(channel, Channel::Time)
    {
        section.note(name, Mistake::Unit { key: format!("{name}.unit"), error });
    }
    let columns = match (get("column"), get("columns")) {
        (Some(one), _) => column_ref(one).into_iter().collect(),
        (None, Some(several)) => several.get_ref().as_array().into_iter().flatten().filter_map(column_ref).collect(),
        (None, None) => Vec::new(),
    };
    if columns.is_empty() && get("column").or(get("columns")).is_some() {
        section.wrong_type(name, value, "a header text or a position (1 = first) as column");
    }
    let conversion = conversion::read(section, channel, get("conversion"), text("interpolation").as_deref());
    Some(ColumnPlan { channel, columns, unit, instrument: text("instrument"), file: text("file"), conversion })
}

fn column_ref(value: &Spanned<DeValue<'_>>) -> Option<ColumnRef> {
    if let Some(text) = value.get_ref().as_str() {
        return Some(ColumnRef::Name(text.to_owned()));
    }
    whole_number(value).and_then(|number| usize::try_from(number).ok()).filter(|n| *n > 0).map(ColumnRef::Position)
}

fn read_formats(section: &Section<'_>) -> (Format, BTreeMap<String, Format>) {
    let format = read_format(section);
    let mut of_files = BTreeMap::new();
    for (name, value) in section.named() {
        if let Some(inner) = section.table_of(name, value) {
            of_files.insert(name.to_owned(), read_format(&inner));
            inner.finish();
        }
    }
    section.finish_except(|_, value| matches!(value, DeValue::Table(_)));
    (format, of_files)
}

fn read_format(section: &Section<'_>) -> Format {
    Format {
        header: section.boolean("header"),
        thousands: section.character("thousands"),
        sheet: section.text("sheet"),
        elapsed_unit: section.word("elapsed_unit", &["ns", "us", "ms", "s", "min", "h", "d"]),
        delimiter: section.character("delimiter"),
        decimal: section.character("decimal"),
        encoding: section.text("encoding"),
        time: section.text("time"),
        start: start(section),
        layout: section.word("layout", &["wide", "long"]).map(|word| match word.as_str() {
            "long" => Layout::Long,
            _ => Layout::Wide,
        }),
    }
}

fn read_window(section: &Section<'_>) -> Window {
    let window = Window { from: moment(section, "from"), to: moment(section, "to") };
    section.finish();
    let backwards = match (window.from, window.to) {
        (Some(Moment::At(from)), Some(Moment::At(to))) => from >= to,
        (Some(Moment::AfterStart(from)), Some(Moment::AfterStart(to))) => from >= to,
        _ => false,
    };
    if backwards {
        let found = "not after \"from\"".to_owned();
        section.note("to", Mistake::Impossible { key: "to".to_owned(), found, expected: "an end after the start" });
    }
    window
}

/// The moment of the first row of an export that has no dates.
fn start(section: &Section<'_>) -> Option<Timestamp> {
    let text = section.text("start")?;
    let start = text.parse::<Timestamp>().ok();
    if start.is_none() {
        let expected = "a moment such as 2026-05-12T09:00:00Z or 2026-05-12T11:00:00+02:00";
        section.note("start", Mistake::Impossible { key: "start".to_owned(), found: text, expected });
    }
    start
}

fn moment(section: &Section<'_>, key: &'static str) -> Option<Moment> {
    let text = section.text(key)?;
    if let Ok(timestamp) = text.parse::<Timestamp>() {
        return Some(Moment::At(timestamp));
    }
    if let Ok(seconds) = Quantity::parse(&text).and_then(|quantity| quantity.si_of(Dimension::Time)) {
        return Some(Moment::AfterStart(seconds));
    }
    section.note(key, Mistake::Time { key: key.to_owned(), found: text });
    None
}

fn read_leak(section: &Section<'_>) -> Option<SuperimposedLeak> {
    if !section.has("flow") {
        section.missing("flow", "flow = { value = \"2.0 mL/min\", uncertainty = \"2 %\" }");
    }
    let flow = section.measured("flow", Dimension::VolumeFlow);
    let (from, to) = (moment(section, "from"), moment(section, "to"));
    for key in ["from", "to"] {
        if !section.has(key) {
            section.missing(key, "from = \"2 h\" and to = \"3 h\"");
        }
    }
    section.finish();
    Some(SuperimposedLeak { flow: flow?, from: from?, to: to? })
}
