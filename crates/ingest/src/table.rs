//! Recordings as polars frames and Parquet files. The only file that knows polars.
//!
//! A saved recording is one long table (a row a reading: the number of its series, time, value, status) and beside it
//! a short one that tells channel, unit, reference and instrument of each series, so that any Parquet reader can make
//! sense of both.

use std::error::Error;
use std::fmt;
use std::fs::{self, File};
use std::io;
use std::path::Path;
use std::sync::Arc;

use polars::prelude::{
    Column as PolarsColumn, DataFrame, IntoColumn, NamedFrom, ParquetReader, ParquetWriter, PolarsError, SerReader,
    Series as PolarsSeries,
};
use tightfit_quantity::StandardReference;

use crate::channel::Channel;
use crate::join::Joined;
use crate::recording::{PressureReference, Recording, Series, Status};

/// Why a table could not be made, written or read.
#[derive(Debug)]
#[non_exhaustive]
pub enum TableError {
    /// The file cannot be opened, written or renamed.
    Io(io::Error),
    /// The frame library refused.
    Polars(PolarsError),
    /// A Parquet file that holds no recording of this kind.
    NotARecording {
        /// What is missing or wrong.
        what: String,
    },
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(source) => write!(f, "the file cannot be used: {source}"),
            Self::Polars(source) => write!(f, "the table cannot be used: {source}"),
            Self::NotARecording { what } => write!(f, "not a saved recording: {what}"),
        }
    }
}

impl Error for TableError {}

impl From<io::Error> for TableError {
    fn from(source: io::Error) -> Self {
        Self::Io(source)
    }
}

impl From<PolarsError> for TableError {
    fn from(source: PolarsError) -> Self {
        Self::Polars(source)
    }
}

/// A joined table as a frame: `time_s` and, for each channel, its value in SI (null for none) and its status.
///
/// # Errors
/// Where the frame library refuses, that is for a channel that occurs twice.
pub fn joined_frame(joined: &Joined) -> Result<DataFrame, TableError> {
    let height = joined.time_s.len();
    let mut columns = vec![named("time_s", joined.time_s.as_slice())];
    for column in &joined.columns {
        columns.push(named(column.channel.as_str(), column.value.as_slice()));
        let status: Vec<&str> = column.status.iter().map(|status| status.as_str()).collect();
        columns.push(named(&format!("{}_status", column.channel), status.as_slice()));
    }
    Ok(DataFrame::new(height, columns)?)
}

impl Recording {
    /// All readings as a frame, a row a reading: `series` (index), `channel`, `time_s`, `value`, `status`.
    ///
    /// # Errors
    /// Where the frame library refuses.
    pub fn frame(&self) -> Result<DataFrame, TableError> {
        let height: usize = self.series.iter().map(Series::len).sum();
        let mut index: Vec<u32> = Vec::with_capacity(height);
        let mut time_s: Vec<f64> = Vec::with_capacity(height);
        let mut value: Vec<f64> = Vec::with_capacity(height);
        let mut status: Vec<u32> = Vec::with_capacity(height);
        for (i, series) in self.series.iter().enumerate() {
            index.extend(std::iter::repeat_n(i as u32, series.len()));
            time_s.extend_from_slice(&series.time_s);
            value.extend_from_slice(&series.value);
            status.extend((0..series.len()).map(|row| series.status_at(row) as u32));
        }
        let columns = vec![
            named("series", index.as_slice()),
            named("time_s", time_s.as_slice()),
            named("value", value.as_slice()),
            named("status", status.as_slice()),
        ];
        Ok(DataFrame::new(height, columns)?)
    }
}

/// A column of a plain table; `None` is an empty cell.
#[derive(Debug, Clone, PartialEq)]
pub enum PlainColumn {
    /// Of text.
    Text(Vec<Option<String>>),
    /// Of numbers.
    Number(Vec<Option<f64>>),
}

/// A plain table as the bytes of a Parquet file: columns by name, all of one length.
///
/// # Errors
/// Where the frame library refuses: lengths that differ, a name that comes twice.
pub fn plain_parquet(columns: &[(&str, PlainColumn)]) -> Result<Vec<u8>, TableError> {
    let height = columns.first().map_or(0, |(_, column)| match column {
        PlainColumn::Text(cells) => cells.len(),
        PlainColumn::Number(cells) => cells.len(),
    });
    let columns = columns.iter().map(|(name, column)| match column {
        PlainColumn::Text(cells) => {
            let cells: Vec<Option<&str>> = cells.iter().map(Option::as_deref).collect();
            named(name, cells.as_slice())
        }
        PlainColumn::Number(cells) => named(name, cells.as_slice()),
    });
    let mut frame = DataFrame::new(height, columns.collect())?;
    let mut bytes = Vec::new();
    ParquetWriter::new(&mut bytes).finish(&mut frame)?;
    Ok(bytes)
}

fn named<T, Phantom: ?Sized>(name: &str, values: T) -> PolarsColumn
where
    PolarsSeries: NamedFrom<T, Phantom>,
{
    PolarsSeries::new(name.into(), values).into_column()
}

/// Save a recording: `path` for the readings, and a second file beside it (`.channels.parquet`) for unit, instrument and
/// reference of each series and, as JSON in its last column, what is no series: columns, account, questions. Each file
/// is written whole or not at all.
///
/// # Errors
/// Where a file cannot be written.
pub fn save(recording: &Recording, path: &Path) -> Result<(), TableError> {
    write_whole(path, &mut recording.frame()?)?;
    write_whole(&channels_path(path), &mut channels_frame(recording)?)
}

/// Load what [`save`] wrote, bit for bit.
///
/// # Errors
/// Where a file cannot be read or is no saved recording.
pub fn load(path: &Path) -> Result<Recording, TableError> {
    let channels = ParquetReader::new(File::open(channels_path(path))?).finish()?;
    let readings = ParquetReader::new(File::open(path)?).finish()?;
    let mut series = empty_series(&channels)?;
    fill(&mut series, &readings)?;
    share_equal_times(&mut series);
    let rest =
        channels.column("recording")?.str()?.get(0).ok_or_else(|| wrong("the recording's findings are missing"))?;
    let mut recording: Recording = serde_json::from_str(rest).map_err(|error| wrong(error.to_string()))?;
    recording.series = series;
    Ok(recording)
}

fn channels_path(path: &Path) -> std::path::PathBuf {
    path.with_extension("channels.parquet")
}

#[expect(clippy::disallowed_methods, reason = "written under another name and renamed when whole")]
fn write_whole(path: &Path, frame: &mut DataFrame) -> Result<(), TableError> {
    let partial = path.with_extension("parquet.partial");
    let written = File::create(&partial)
        .map_err(TableError::from)
        .and_then(|file| ParquetWriter::new(file).finish(frame).map_err(TableError::from));
    if let Err(error) = written {
        // The half-written file is of no use; that it cannot be removed would not be news either.
        let _ = fs::remove_file(&partial);
        return Err(error);
    }
    Ok(fs::rename(&partial, path)?)
}

fn channels_frame(recording: &Recording) -> Result<DataFrame, TableError> {
    let text = |of: &dyn Fn(&Series) -> String| recording.series.iter().map(of).collect::<Vec<String>>();
    let number = |of: &dyn Fn(&Series) -> Option<f64>| recording.series.iter().map(of).collect::<Vec<Option<f64>>>();
    // A recording without a channel still has its findings: one row, with a blank channel.
    let findings = serde_json::to_string(recording).map_err(|error| wrong(error.to_string()))?;
    if recording.series.is_empty() {
        return Ok(DataFrame::new(1, vec![named("recording", [findings].as_slice())])?);
    }
    let findings: Vec<Option<String>> =
        (0..recording.series.len()).map(|row| (row == 0).then(|| findings.clone())).collect();
    let instrument: Vec<Option<String>> = recording.series.iter().map(|series| series.instrument.clone()).collect();
    let all_measured: Vec<bool> = recording.series.iter().map(|series| series.status.is_empty()).collect();
    let columns = vec![
        named("channel", text(&|series| series.channel.as_str().to_owned()).as_slice()),
        named("column", text(&|series| series.column.clone()).as_slice()),
        named("unit", text(&|series| series.unit.clone()).as_slice()),
        named("pressure_reference", text(&|series| reference_name(series.reference).to_owned()).as_slice()),
        named(
            "reference_temperature_k",
            number(&|series| series.standard_reference.map(|reference| reference.temperature_k)).as_slice(),
        ),
        named(
            "reference_pressure_pa",
            number(&|series| series.standard_reference.map(|reference| reference.pressure_pa)).as_slice(),
        ),
        named("instrument", instrument.as_slice()),
        named("all_measured", all_measured.as_slice()),
        named("recording", findings.as_slice()),
    ];
    Ok(DataFrame::new(recording.series.len(), columns)?)
}

fn reference_name(reference: PressureReference) -> &'static str {
    match reference {
        PressureReference::OfChannel => "of channel",
        PressureReference::Gauge => "gauge",
        PressureReference::Absolute => "absolute",
    }
}

fn wrong(what: impl Into<String>) -> TableError {
    TableError::NotARecording { what: what.into() }
}

fn empty_series(channels: &DataFrame) -> Result<Vec<Series>, TableError> {
    let text = |name: &str, row: usize| -> Result<Option<String>, TableError> {
        Ok(channels.column(name)?.str()?.get(row).map(str::to_owned))
    };
    let number =
        |name: &str, row: usize| -> Result<Option<f64>, TableError> { Ok(channels.column(name)?.f64()?.get(row)) };
    if channels.column("channel").is_err() {
        return Ok(Vec::new());
    }
    (0..channels.height())
        .map(|row| {
            let name = text("channel", row)?.unwrap_or_default();
            let all_measured = channels.column("all_measured")?.bool()?.get(row).unwrap_or(true);
            let standard = number("reference_temperature_k", row)?.zip(number("reference_pressure_pa", row)?);
            Ok(Series {
                channel: Channel::parse(&name).ok_or_else(|| wrong(format!("unknown channel '{name}'")))?,
                column: text("column", row)?.unwrap_or_default(),
                unit: text("unit", row)?.unwrap_or_default(),
                reference: match text("pressure_reference", row)?.as_deref() {
                    Some("gauge") => PressureReference::Gauge,
                    Some("absolute") => PressureReference::Absolute,
                    _ => PressureReference::OfChannel,
                },
                standard_reference: standard
                    .map(|(temperature_k, pressure_pa)| StandardReference { temperature_k, pressure_pa }),
                instrument: text("instrument", row)?,
                time_s: Arc::default(),
                value: Vec::new(),
                // One entry marks that statuses are to be filled in; it is taken out again there.
                status: if all_measured { Vec::new() } else { vec![Status::Measured] },
            })
        })
        .collect()
}

fn fill(series: &mut [Series], readings: &DataFrame) -> Result<(), TableError> {
    let index = readings.column("series")?.u32()?;
    let time = readings.column("time_s")?.f64()?;
    let value = readings.column("value")?.f64()?;
    let status = readings.column("status")?.u32()?;
    let mut times: Vec<Vec<f64>> = vec![Vec::new(); series.len()];
    let has_status: Vec<bool> = series.iter().map(|series| !series.status.is_empty()).collect();
    for one in series.iter_mut() {
        one.status.clear();
    }
    for (((index, time), value), status) in index.iter().zip(time.iter()).zip(value.iter()).zip(status.iter()) {
        let (Some(index), Some(time), Some(value), Some(status)) = (index, time, value, status) else {
            return Err(wrong("a reading is incomplete"));
        };
        let at = index as usize;
        let one =
            series.get_mut(at).ok_or_else(|| wrong(format!("a reading of series {at}, which is not described")))?;
        times[at].push(time);
        one.value.push(value);
        if has_status[at] {
            one.status.push(match status {
                0 => Status::Measured,
                1 => Status::BelowLimit,
                2 => Status::AboveRange,
                other => return Err(wrong(format!("unknown status {other}"))),
            });
        }
    }
    for (one, times) in series.iter_mut().zip(times) {
        one.time_s = Arc::new(times);
    }
    Ok(())
}

/// Channels of the same rows share one time base, as they did when read.
fn share_equal_times(series: &mut [Series]) {
    for i in 1..series.len() {
        let (before, rest) = series.split_at_mut(i);
        if let Some(same) = before.iter().find(|other| other.time_s == rest[0].time_s) {
            rest[0].time_s = Arc::clone(&same.time_s);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_table_comes_back_from_its_parquet_bytes() {
        let names = PlainColumn::Text(vec![Some("=1+1".to_owned()), None]);
        let values = PlainColumn::Number(vec![None, Some(-1.5e-4)]);
        let bytes = plain_parquet(&[("name", names), ("value", values)]).unwrap();
        let frame = ParquetReader::new(io::Cursor::new(bytes)).finish().unwrap();
        let name = frame.column("name").unwrap().str().unwrap();
        assert_eq!((name.get(0), name.get(1)), (Some("=1+1"), None));
        let value = frame.column("value").unwrap().f64().unwrap();
        assert_eq!((value.get(0), value.get(1)), (None, Some(-1.5e-4)));
    }

    #[test]
    fn columns_of_unequal_length_are_refused() {
        let columns = [("a", PlainColumn::Number(vec![None])), ("b", PlainColumn::Number(vec![]))];
        assert!(matches!(plain_parquet(&columns), Err(TableError::Polars(_))));
    }
}
