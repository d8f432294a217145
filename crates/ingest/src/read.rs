//! From a file to a recording.

use std::fs;
use std::path::Path;

use crate::account::{Account, RowReason};
use crate::channel::Channel;
use crate::error::ReadError;
use crate::options::{ColumnRef, ReadOptions};
use crate::recording::{CellCount, Column, PressureReference, Recording, Series, TimeBase};

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
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text.lines();
    let header = lines.next().ok_or_else(|| ReadError::Empty { file: name.into() })?;
    let delimiter = if header.contains(';') { ';' } else { ',' };
    let names: Vec<String> = header.split(delimiter).map(|cell| cell.trim().trim_matches('"').to_owned()).collect();
    let mut series: Vec<(usize, Series)> = options
        .columns
        .iter()
        .filter(|request| request.channel != Channel::Time)
        .filter_map(|request| {
            let index = match request.columns.first()? {
                ColumnRef::Name(column) => names.iter().position(|found| found == column)?,
                ColumnRef::Position(position) => position.checked_sub(1)?,
            };
            Some((
                index,
                Series {
                    channel: request.channel,
                    column: names.get(index)?.clone(),
                    unit: request.unit.clone().unwrap_or_default(),
                    reference: PressureReference::OfChannel,
                    instrument: request.instrument.clone(),
                    time_s: Vec::new(),
                    value: Vec::new(),
                    status: Vec::new(),
                },
            ))
        })
        .collect();
    let mut account = Account::default();
    for (index, line) in lines.enumerate() {
        if line.trim().is_empty() {
            continue;
        }
        let cells: Vec<&str> = line.split(delimiter).map(str::trim).collect();
        let Some(time) = cells.first().and_then(|cell| cell.parse::<jiff::Timestamp>().ok()) else {
            account.set_aside(RowReason::TimeUnreadable, index as u64 + 2);
            continue;
        };
        account.use_rows(1);
        for (column, series) in &mut series {
            if let Some(value) = cells.get(*column).and_then(|cell| cell.parse().ok()) {
                series.time_s.push(time.as_second() as f64);
                series.value.push(value);
            }
        }
    }
    Ok(Recording {
        file: name.into(),
        choices: Vec::new(),
        columns: names
            .iter()
            .enumerate()
            .map(|(index, header)| Column {
                header: header.clone(),
                position: index + 1,
                channel: None,
                unit: None,
                because: String::new(),
                cells: CellCount::default(),
            })
            .collect(),
        series: series.into_iter().map(|(_, series)| series).collect(),
        time_base: TimeBase::Dated { zone: "UTC".into() },
        span_s: None,
        cadence_s: None,
        gaps_s: Vec::new(),
        phases: Vec::new(),
        notes: Vec::new(),
        account,
        questions: Vec::new(),
    })
}
