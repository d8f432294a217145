//! The results as a table, one row a result, for those who collect them: as CSV and as Parquet.

#[cfg(feature = "parquet")]
use tightfit_ingest::table::{PlainColumn, plain_parquet};

use crate::markup::harmless;
use crate::result::{Qualification, ResultValue};

/// File name of the table as CSV.
pub const CSV_FILE: &str = "results.csv";
/// File name of the table as Parquet.
#[cfg(feature = "parquet")]
pub const PARQUET_FILE: &str = "results.parquet";

/// The columns in order; those of numbers are marked.
const HEADER: [(&str, bool); 12] = [
    ("enclosure", false),
    ("test", false),
    ("run", false),
    ("quantity", false),
    ("value", true),
    ("unit", false),
    ("standard_uncertainty", true),
    ("interval95_low", true),
    ("interval95_high", true),
    ("kind", false),
    ("at", false),
    ("verdict", false),
];

/// One result.
struct Row<'a> {
    enclosure: &'a str,
    test: &'a str,
    run: &'a str,
    quantity: &'a str,
    value: &'a ResultValue,
    verdict: String,
}

enum Cell {
    /// A name that may come from a plan.
    Name(String),
    Text(String),
    Number(Option<f64>),
}

/// All results as CSV with a header, comma separated, UTF-8.
///
/// Names come from plans, so that a spreadsheet might take one for a formula: such a text gets an apostrophe in front.
#[must_use]
pub fn results_csv(result: &Qualification) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail, and every record has the header's length.
    let _ = writer.write_record(HEADER.map(|(name, _)| name));
    for row in rows(result) {
        let _ = writer.write_record(row.cells().map(|cell| match cell {
            Cell::Name(name) => harmless(name),
            Cell::Text(text) => text,
            Cell::Number(number) => number.map_or(String::new(), |number| number.to_string()),
        }));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

/// The same table as a Parquet file; empty texts are empty cells.
#[cfg(feature = "parquet")]
#[expect(clippy::missing_panics_doc, reason = "it cannot panic, as the text of the expectation proves")]
#[must_use]
pub fn results_parquet(result: &Qualification) -> Vec<u8> {
    let rows: Vec<[Cell; 12]> = rows(result).iter().map(Row::cells).collect();
    let columns: Vec<(&str, PlainColumn)> = HEADER
        .iter()
        .enumerate()
        .map(|(place, (name, of_numbers))| {
            let cells = rows.iter().map(|row| &row[place]);
            let column = if *of_numbers {
                PlainColumn::Number(cells.map(Cell::number).collect())
            } else {
                PlainColumn::Text(cells.map(Cell::text).collect())
            };
            (*name, column)
        })
        .collect();
    plain_parquet(&columns).expect("all columns have one length, their names differ, and memory takes every byte")
}

fn rows(result: &Qualification) -> Vec<Row<'_>> {
    let mut rows = Vec::new();
    for test in &result.tests {
        let whole = std::iter::once(("", &test.results));
        for (run, results) in whole.chain(test.runs.iter().map(|run| (run.boundary.as_str(), &run.results))) {
            rows.extend(results.0.iter().map(|(quantity, value)| Row {
                enclosure: &result.enclosure,
                test: &test.id,
                run,
                quantity,
                value,
                verdict: verdicts(result, &test.id, run, quantity),
            }));
        }
    }
    rows
}

impl Row<'_> {
    fn cells(&self) -> [Cell; 12] {
        let name = |name: &str| Cell::Name(name.to_owned());
        let text = |text: &str| Cell::Text(text.to_owned());
        let ResultValue { unit, standard_uncertainty, interval95: [low, high], .. } = self.value;
        [
            name(self.enclosure),
            name(self.test),
            name(self.run),
            name(self.quantity),
            Cell::Number(self.value.value),
            text(unit),
            Cell::Number(*standard_uncertainty),
            Cell::Number(*low),
            Cell::Number(*high),
            Cell::Text(kind(self.value)),
            text(self.value.at.as_deref().unwrap_or_default()),
            text(&self.verdict),
        ]
    }
}

#[cfg(feature = "parquet")]
impl Cell {
    fn number(&self) -> Option<f64> {
        match self {
            Self::Number(number) => *number,
            Self::Name(_) | Self::Text(_) => None,
        }
    }

    fn text(&self) -> Option<String> {
        match self {
            Self::Name(text) | Self::Text(text) => Some(text.clone()).filter(|text| !text.is_empty()),
            Self::Number(_) => None,
        }
    }
}

fn verdicts(result: &Qualification, test: &str, run: &str, quantity: &str) -> String {
    let own = result.verdicts.iter().filter(|verdict| {
        verdict.test == test && verdict.quantity == quantity && verdict.run.as_deref().unwrap_or_default() == run
    });
    own.map(|verdict| verdict.verdict.words()).collect::<Vec<_>>().join("; ")
}

fn kind(value: &ResultValue) -> String {
    serde_json::to_value(value.kind).ok().and_then(|kind| kind.as_str().map(str::to_owned)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::result::{Overall, ResultValueKind, TestResult};

    #[test]
    fn a_name_that_looks_like_a_formula_is_made_harmless_and_numbers_stay_numbers() {
        let value = ResultValue {
            value: Some(-1.5e-4),
            unit: "1/h".into(),
            standard_uncertainty: Some(1e-5),
            interval95: [None, Some(0.0)],
            kind: ResultValueKind::UpperBound,
            at: Some("-1000 Pa".into()),
            upper95: None,
            degrees_of_freedom: None,
            budget: Vec::new(),
        };
        let mut test = TestResult::empty("hold, first", "pressure-change");
        test.results.0.push(("hourly_leak_rate".into(), value));
        let result = Qualification {
            schema: String::new(),
            program: String::new(),
            plan_sha256: String::new(),
            enclosure: "=1+1".into(),
            tests: vec![test],
            verdicts: Vec::new(),
            checks: Vec::new(),
            overall: Overall::NoLimits,
        };
        let table = results_csv(&result);
        let row = table.lines().nth(1).unwrap();
        let expected = "'=1+1,\"hold, first\",,hourly_leak_rate,-0.00015,1/h,0.00001,,0,upper_bound,-1000 Pa,";
        assert_eq!(row, expected);
    }
}
