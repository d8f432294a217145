//! Sheets of workbooks as tab-separated text, row for row, so that one reader serves all.

use std::fmt::Write as _;
use std::io::Cursor;

use calamine::{Data, ExcelDateTime, Range, Reader, open_workbook_auto_from_rs};

use crate::error::ReadError;
use crate::question::{Question, Topic};
use crate::recording::Choice;

/// The sheet the plan names, or the fullest one.
pub(crate) fn read(
    file: &str,
    bytes: &[u8],
    wanted: Option<&str>,
    choices: &mut Vec<Choice>,
    questions: &mut Vec<Question>,
) -> Result<String, ReadError> {
    let broken = |message: String| ReadError::Workbook { file: file.into(), message };
    let mut book = open_workbook_auto_from_rs(Cursor::new(bytes)).map_err(|error| broken(error.to_string()))?;
    let names = book.sheet_names();
    if let Some(name) = wanted {
        if !names.iter().any(|found| found == name) {
            return Err(ReadError::UnknownSheet { file: file.into(), name: name.into(), sheets: names });
        }
        choices.push(Choice::new("sheet", name, "the plan says so"));
        let range = book.worksheet_range(name).map_err(|error| broken(error.to_string()))?;
        return to_text(file, &range);
    }
    let mut sheets: Vec<(usize, String, Range<Data>)> = Vec::new();
    for name in names {
        if let Ok(range) = book.worksheet_range(&name)
            && range.used_cells().next().is_some()
        {
            sheets.push((range.used_cells().count(), name, range));
        }
    }
    sheets.sort_by_key(|(cells, ..)| std::cmp::Reverse(*cells));
    let Some((_, name, range)) = sheets.first() else { return Err(ReadError::Empty { file: file.into() }) };
    let because = if sheets.len() == 1 { "the only sheet with anything in it" } else { "the fullest sheet" };
    choices.push(Choice::new("sheet", name.clone(), because));
    if sheets.len() > 1 {
        let others: Vec<&str> = sheets.iter().skip(1).map(|(_, name, _)| name.as_str()).collect();
        questions.push(Question {
            topic: Topic::Layout,
            text: format!("sheets: '{name}' is read; there are also {}", others.join(", ")),
            answer: format!("[test.format] sheet = \"{name}\""),
            blocking: false,
        });
    }
    to_text(file, range)
}

fn to_text(file: &str, range: &Range<Data>) -> Result<String, ReadError> {
    let Some((first_row, first_column)) = range.start() else { return Err(ReadError::Empty { file: file.into() }) };
    // Rows and columns before the used range keep line numbers and positions those of the sheet.
    let mut text = "\n".repeat(first_row as usize);
    for row in range.rows() {
        for _ in 0..first_column {
            text.push('\t');
        }
        for (i, cell) in row.iter().enumerate() {
            if i > 0 {
                text.push('\t');
            }
            push_cell(&mut text, cell);
        }
        text.push('\n');
    }
    if text.trim().is_empty() { Err(ReadError::Empty { file: file.into() }) } else { Ok(text) }
}

/// Dates as ISO text; durations and clocks without a date as h:mm:ss.
fn push_moment(text: &mut String, moment: &ExcelDateTime) -> std::fmt::Result {
    const DAY_MS: f64 = 86_400_000.0;
    if moment.is_duration() || moment.as_f64() < 1.0 {
        let total_ms = (moment.as_f64() * DAY_MS).round().max(0.0) as u64;
        let (seconds, ms) = (total_ms / 1000, total_ms % 1000);
        return write!(text, "{}:{:02}:{:02}.{ms:03}", seconds / 3600, seconds / 60 % 60, seconds % 60);
    }
    let (year, month, day, hour, minute, second, ms) = moment.to_ymd_hms_milli();
    write!(text, "{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}.{ms:03}")
}

fn push_cell(text: &mut String, cell: &Data) {
    // Writing to a string cannot fail.
    let _ = match cell {
        Data::Empty => Ok(()),
        Data::Int(value) => write!(text, "{value}"),
        Data::Float(value) => write!(text, "{value}"),
        Data::Bool(value) => write!(text, "{}", u8::from(*value)),
        Data::DateTime(moment) => push_moment(text, moment),
        Data::Error(error) => write!(text, "{error}"),
        other => {
            let plain = other.to_string().replace(['\t', '\n', '\r', '"'], " ");
            text.push_str(plain.trim());
            Ok(())
        }
    };
}
