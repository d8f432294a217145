//! What a plan may say about an export. Everything absent is recognised from the file, or asked for.

use std::sync::Arc;

use jiff::Timestamp;
use tightfit_quantity::StandardReference;

use crate::channel::Channel;
use crate::conversion::Conversion;

/// Instructions for reading one export.
#[derive(Debug, Clone, Default)]
pub struct ReadOptions {
    /// Overrides of the dialect, as in a plan's `[test.format]`.
    pub format: Format,
    /// Columns the reader was told about; the rest is recognised.
    pub columns: Vec<ColumnRequest>,
    /// IANA name or fixed offset (`Europe/Vienna`, `+02:00`) for exports in local time.
    pub time_zone: Option<String>,
    /// Pressure at which dew and frost points become mole fractions where none is logged, Pa absolute.
    pub pressure_pa: Option<f64>,
}

/// Overrides of a dialect, as in `[test.format]`; `None` is recognised.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Format {
    /// Whether the file has a header line.
    pub header: Option<bool>,
    /// Thousands mark of numbers.
    pub thousands: Option<char>,
    /// Sheet of a workbook, by name.
    pub sheet: Option<String>,
    /// Unit of plain elapsed numbers: `ns`, `us`, `ms`, `s`, `min`, `h`, `d`.
    pub elapsed_unit: Option<String>,
    /// Field separator; a blank means runs of blanks.
    pub delimiter: Option<char>,
    /// Decimal mark of numbers.
    pub decimal: Option<char>,
    /// Character encoding, by its usual name (`utf-8`, `utf-16le`, `windows-1252`).
    pub encoding: Option<String>,
    /// `strftime` pattern, or `elapsed`, `epoch s`, `epoch ms`, `spreadsheet days`.
    pub time: Option<String>,
    /// Moment of the first row, for an export whose times count from there; others have their own.
    pub start: Option<Timestamp>,
    /// Wide or long.
    pub layout: Option<Layout>,
}

/// How readings are laid out in rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Layout {
    /// One column a quantity.
    Wide,
    /// One row a reading: time, name, value and, maybe, unit.
    Long,
}

/// A column (or, in the long layout, a name) that a plan ties to a channel.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnRequest {
    /// The channel it feeds; [`Channel::Time`] for the time columns.
    pub channel: Channel,
    /// Where it stands. Several only for time (date and clock apart).
    pub columns: Vec<ColumnRef>,
    /// Unit as the plan writes it; `None` takes the unit of the header.
    pub unit: Option<String>,
    /// Name of the instrument in the plan, kept with the series.
    pub instrument: Option<String>,
    /// Readings below are censored, SI.
    pub reporting_limit: Option<f64>,
    /// Range of the instrument (lowest, highest), SI; readings at or beyond the top are above range.
    pub range: Option<(f64, f64)>,
    /// What the volumes of a flow meter refer to; wins over the reference of `sccm`, `NL` and their kin.
    pub standard_reference: Option<StandardReference>,
    /// For a gauge with a voltage output: what its signal means.
    pub conversion: Option<Arc<Conversion>>,
}

/// Where a column stands.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum ColumnRef {
    /// Exact header text, or in the long layout the name of the quantity.
    Name(String),
    /// Position in the record, 1 = first.
    Position(usize),
}

impl ColumnRequest {
    /// A request with nothing but the column's name.
    pub fn by_name(channel: Channel, name: impl Into<String>) -> Self {
        Self::new(channel, vec![ColumnRef::Name(name.into())])
    }

    /// A request with nothing but the column's position (1 = first).
    pub fn by_position(channel: Channel, position: usize) -> Self {
        Self::new(channel, vec![ColumnRef::Position(position)])
    }

    /// A request for the given columns, everything else left to the file.
    pub fn new(channel: Channel, columns: Vec<ColumnRef>) -> Self {
        Self {
            channel,
            columns,
            unit: None,
            instrument: None,
            reporting_limit: None,
            range: None,
            standard_reference: None,
            conversion: None,
        }
    }

    /// The same with a unit.
    #[must_use]
    pub fn with_unit(mut self, unit: impl Into<String>) -> Self {
        self.unit = Some(unit.into());
        self
    }
}
