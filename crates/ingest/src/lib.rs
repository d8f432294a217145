//! Logger and analyser exports to recordings in SI units, every row accounted for.
//!
//! [`read`] takes a file and what a plan says about it and gives a [`Recording`]: the channels in SI on the time
//! base of the file, the choices made about the file's form with their reasons, the row account, and the questions
//! the file alone cannot answer. Only where nothing at all can be read there is a [`ReadError`].
//!
//! ```
//! use tightfit_ingest::{Channel, ReadOptions, read_bytes};
//!
//! let export = "time;dP (mbar);O2 (ppm)\n\
//!               2026-05-04T09:00:00Z;-10,0;0,42\n\
//!               2026-05-04T09:00:10Z;-9,9;0,43\n\
//!               2026-05-04T09:00:20Z;;\n";
//! let recording = read_bytes("export.csv", export.as_bytes(), &ReadOptions::default())?;
//! let pressure = recording.series(Channel::GaugePressure).expect("a pressure was recognised");
//! assert_eq!(pressure.value, [-1000.0, -990.0]); // Pa
//! let account = &recording.account;
//! assert_eq!((account.rows_read(), account.rows_used(), account.rows_set_aside()), (3, 2, 1));
//! # Ok::<(), tightfit_ingest::ReadError>(())
//! ```

mod account;
mod aggregate;
mod assemble;
mod assign;
mod body;
mod bytes;
mod cell;
mod channel;
mod check;
mod conversion;
mod dialect;
mod draft;
mod error;
mod fold;
mod header;
mod join;
mod long;
mod number;
mod options;
mod question;
mod range;
mod read;
mod recording;
mod records;
mod sample;
mod state_words;
mod stuck;
mod switches;
#[cfg(feature = "table")]
pub mod table;
mod time;
mod unit_text;
mod words;
mod workbook;

pub use account::{Account, RowReason, SetAside};
pub use aggregate::{Aggregate, Bin, BinnedSeries, aggregate, aggregate_recording};
pub use channel::{Channel, Kind};
pub use conversion::{Conversion, ConversionError, Interpolation};
pub use draft::{draft, quoted};
pub use error::ReadError;
pub use join::{JoinOptions, Joined, JoinedColumn, join, join_at};
pub use options::{ColumnRef, ColumnRequest, Format, Layout, ReadOptions};
pub use question::{Question, Topic};
pub use range::shown_end_of_range;
pub use read::{read, read_bytes};
pub use recording::{
    CellCount, Choice, Column, Phase, Place, PressureReference, Recording, Series, Status, Stuck, TimeBase,
};
pub use stuck::stuck_runs;
