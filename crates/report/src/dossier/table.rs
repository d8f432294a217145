//! The results as a CSV table, one row a result, for those who collect them.

use crate::result::{Qualification, ResultValue, Results};

/// File name of the table.
pub const TABLE_FILE: &str = "results.csv";

const HEADER: [&str; 12] = [
    "enclosure",
    "test",
    "run",
    "quantity",
    "value",
    "unit",
    "standard_uncertainty",
    "interval95_low",
    "interval95_high",
    "kind",
    "at",
    "verdict",
];

/// All results as CSV with a header, comma separated, UTF-8.
///
/// Names come from plans, so that a spreadsheet might take one for a formula: such a text gets an apostrophe in front.
#[must_use]
pub fn results_csv(result: &Qualification) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail, and every record has the header's length.
    let _ = writer.write_record(HEADER);
    for test in &result.tests {
        for row in rows(result, &test.id, "", &test.results) {
            let _ = writer.write_record(row);
        }
        for run in &test.runs {
            for row in rows(result, &test.id, &run.boundary, &run.results) {
                let _ = writer.write_record(row);
            }
        }
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

fn rows<'a>(
    result: &'a Qualification,
    test: &'a str,
    run: &'a str,
    results: &'a Results,
) -> impl Iterator<Item = [String; 12]> + 'a {
    results.0.iter().map(move |(name, value)| {
        let ResultValue { unit, standard_uncertainty, interval95: [low, high], .. } = value;
        [
            harmless(&result.enclosure),
            harmless(test),
            harmless(run),
            harmless(name),
            number(value.value),
            unit.clone(),
            number(*standard_uncertainty),
            number(*low),
            number(*high),
            kind(value),
            value.at.clone().unwrap_or_default(),
            verdicts(result, test, run, name),
        ]
    })
}

fn verdicts(result: &Qualification, test: &str, run: &str, quantity: &str) -> String {
    let own = result.verdicts.iter().filter(|verdict| {
        verdict.test == test && verdict.quantity == quantity && verdict.run.as_deref().unwrap_or_default() == run
    });
    own.map(|verdict| verdict.verdict.words()).collect::<Vec<_>>().join("; ")
}

fn number(value: Option<f64>) -> String {
    value.map_or(String::new(), |value| value.to_string())
}

fn kind(value: &ResultValue) -> String {
    serde_json::to_value(value.kind).ok().and_then(|kind| kind.as_str().map(str::to_owned)).unwrap_or_default()
}

fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
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
