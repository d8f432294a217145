//! The results of years as a table, one row a result.

#[cfg(feature = "parquet")]
use tightfit_ingest::table::{PlainColumn, plain_parquet};

use super::follow::{Followed, HistoryReport, ResultLine};
use crate::markup::harmless;

/// One row.
struct Row<'a> {
    enclosure: &'a str,
    followed: &'a Followed,
    result: &'a ResultLine,
}

/// All results as CSV with a header, comma separated, UTF-8.
#[must_use]
pub fn history_csv(reports: &[HistoryReport]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail, and every record has the header's length.
    let _ = writer.write_record(TEXTS.iter().map(|(name, _)| *name).chain(NUMBERS.iter().map(|(name, _)| *name)));
    for row in rows(reports) {
        let texts = TEXTS.iter().map(|(_, text)| harmless(text(&row)));
        let numbers = NUMBERS.iter().map(|(_, number)| number(&row).map_or(String::new(), |n| n.to_string()));
        let _ = writer.write_record(texts.chain(numbers));
    }
    String::from_utf8_lossy(&writer.into_inner().unwrap_or_default()).into_owned()
}

/// The same as a Parquet file; empty where the frame library refuses, which it does for no such table.
#[cfg(feature = "parquet")]
pub(super) fn history_parquet(reports: &[HistoryReport]) -> Vec<u8> {
    let rows: Vec<Row<'_>> = rows(reports).collect();
    let texts = TEXTS.iter().map(|(name, text)| {
        let cells = rows.iter().map(|row| Some(text(row)).filter(|text| !text.is_empty()));
        (*name, PlainColumn::Text(cells.collect()))
    });
    let numbers = NUMBERS.iter().map(|(name, number)| (*name, PlainColumn::Number(rows.iter().map(number).collect())));
    plain_parquet(&texts.chain(numbers).collect::<Vec<_>>()).unwrap_or_default()
}

type Text = fn(&Row<'_>) -> String;
type Number = fn(&Row<'_>) -> Option<f64>;

const TEXTS: [(&str, Text); 9] = [
    ("enclosure", |row| row.enclosure.to_owned()),
    ("day", |row| row.result.day.clone()),
    ("test", |row| row.followed.test.clone()),
    ("run", |row| row.followed.run.clone()),
    ("quantity", |row| row.followed.quantity.clone()),
    ("at", |row| row.followed.at.clone()),
    ("unit", |row| row.followed.unit.clone()),
    ("kind", |row| row.result.kind.clone()),
    ("valid", |row| if row.result.valid { "yes" } else { "no" }.to_owned()),
];

const NUMBERS: [(&str, Number); 5] = [
    ("entry", |row| Some(row.result.entry as f64)),
    ("value", |row| row.result.value),
    ("standard_uncertainty", |row| row.result.standard_uncertainty),
    ("interval95_low", |row| row.result.interval95[0]),
    ("interval95_high", |row| row.result.interval95[1]),
];

fn rows(reports: &[HistoryReport]) -> impl Iterator<Item = Row<'_>> {
    reports.iter().flat_map(|report| {
        report.quantities.iter().flat_map(|followed| {
            followed.results.iter().map(|result| Row { enclosure: &report.enclosure, followed, result })
        })
    })
}
