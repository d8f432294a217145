//! Why nothing at all could be read.

use std::error::Error;
use std::fmt;
use std::io;

/// A file from which no recording can be made. Anything less is a finding or a question in the recording.
#[derive(Debug)]
#[non_exhaustive]
pub enum ReadError {
    /// The file cannot be opened or read.
    Io {
        /// File as named by the caller.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// No bytes, or nothing but blanks.
    Empty {
        /// File as named by the caller.
        file: String,
    },
    /// Not text, not a workbook, not gzip.
    Binary {
        /// File as named by the caller.
        file: String,
        /// Place of the first byte that gave it away, 0 = first.
        offset: usize,
    },
    /// An encoding name nobody knows.
    UnknownEncoding {
        /// File as named by the caller.
        file: String,
        /// The name.
        name: String,
    },
    /// A compressed file that cannot be unpacked to its end.
    Gzip {
        /// File as named by the caller.
        file: String,
        /// What the decoder said.
        source: io::Error,
    },
    /// A workbook that cannot be opened.
    Workbook {
        /// File as named by the caller.
        file: String,
        /// What the reader said.
        message: String,
    },
    /// A sheet the workbook does not have.
    UnknownSheet {
        /// File as named by the caller.
        file: String,
        /// The name asked for.
        name: String,
        /// The names there are.
        sheets: Vec<String>,
    },
    /// Text without a table: no line looks like a header or a row of numbers.
    NoTable {
        /// File as named by the caller.
        file: String,
    },
    /// A header and not one row after it.
    NoRows {
        /// File as named by the caller.
        file: String,
        /// Line of the header.
        header_line: u64,
    },
    /// A unit that cannot be read, or that does not fit the channel.
    Unit {
        /// File as named by the caller.
        file: String,
        /// The column.
        column: String,
        /// The unit text.
        unit: String,
        /// What is wrong with it.
        message: String,
    },
    /// An option of the plan's format that cannot be followed.
    Format {
        /// File as named by the caller.
        file: String,
        /// Key of `[test.format]`.
        key: &'static str,
        /// The value given.
        value: String,
        /// What would do.
        expected: String,
    },
}

impl ReadError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Io { .. } => "check the name and that the file may be read".into(),
            Self::Empty { .. } => "export the log again; the logger wrote nothing".into(),
            Self::Binary { .. } => "export as text (CSV) or as an .xlsx workbook".into(),
            Self::UnknownEncoding { .. } => "use utf-8, utf-16le, utf-16be, windows-1252 or another IANA name".into(),
            Self::Gzip { .. } => "copy the file again; it is cut short or damaged".into(),
            Self::Workbook { .. } => "save it again as .xlsx, or export the sheet as CSV".into(),
            Self::UnknownSheet { sheets, .. } => format!("sheets are: {}", sheets.join(", ")),
            Self::NoTable { .. } => "state delimiter and header under [test.format]".into(),
            Self::NoRows { .. } => "export the log again with its readings".into(),
            Self::Unit { .. } => "state the unit of the column in the plan: unit = \"…\"".into(),
            Self::Format { expected, .. } => expected.clone(),
        }
    }
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io { file, source } => write!(f, "{file}: cannot be read: {source}"),
            Self::Empty { file } => write!(f, "{file}: the file is empty"),
            Self::Binary { file, offset } => write!(f, "{file}: not a text export (byte {offset} is not text)"),
            Self::UnknownEncoding { file, name } => write!(f, "{file}: unknown encoding '{name}'"),
            Self::Gzip { file, source } => write!(f, "{file}: the compressed file ends badly: {source}"),
            Self::Workbook { file, message } => write!(f, "{file}: the workbook cannot be opened: {message}"),
            Self::UnknownSheet { file, name, .. } => write!(f, "{file}: no sheet '{name}'"),
            Self::NoTable { file } => write!(f, "{file}: no log found: no row holds a time and a reading"),
            Self::NoRows { file, header_line } => write!(f, "{file}, line {header_line}: a header and no row after it"),
            Self::Unit { file, column, unit, message } => {
                write!(f, "{file}, column '{column}': unit '{unit}': {message}")
            }
            Self::Format { file, key, value, .. } => write!(f, "{file}: format {key} = '{value}' cannot be used"),
        }
    }
}

impl Error for ReadError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        match self {
            Self::Io { source, .. } | Self::Gzip { source, .. } => Some(source),
            _ => None,
        }
    }
}
