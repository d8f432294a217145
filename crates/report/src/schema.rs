//! JSON Schemas of what the program prints, generated from the types.

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};

use crate::design::{DESIGN_SCHEMA, Design};
use crate::diagnose::{DIAGNOSIS_SCHEMA, DiagnosisResult};
use crate::history::{HISTORY_SCHEMA, HistoryReport};
use crate::inspect::{INSPECT_SCHEMA, Inspection};
use crate::result::{Qualification, RESULT_SCHEMA};

/// JSON Schema (draft 2020-12) of `tightfit.result/1`. A `dossier.json` meets it as well.
#[must_use]
pub fn result_schema() -> String {
    text::<Qualification>(RESULT_SCHEMA)
}

/// JSON Schema (draft 2020-12) of `tightfit.inspect/1`.
#[must_use]
pub fn inspect_schema() -> String {
    text::<Inspection>(INSPECT_SCHEMA)
}

/// JSON Schema (draft 2020-12) of `tightfit.diagnosis/1`.
#[must_use]
pub fn diagnosis_schema() -> String {
    text::<DiagnosisResult>(DIAGNOSIS_SCHEMA)
}

/// JSON Schema (draft 2020-12) of `tightfit.design/1`.
#[must_use]
pub fn design_schema() -> String {
    text::<Design>(DESIGN_SCHEMA)
}

/// JSON Schema (draft 2020-12) of `tightfit.history/1`.
#[must_use]
pub fn history_schema() -> String {
    text::<HistoryReport>(HISTORY_SCHEMA)
}

fn text<T: JsonSchema>(title: &str) -> String {
    let mut schema: Schema =
        SchemaSettings::draft2020_12().for_serialize().into_generator().into_root_schema_for::<T>();
    schema.insert("title".to_owned(), title.into());
    let text = serde_json::to_string_pretty(&schema).expect("a schema has only text keys and plain values");
    text + "\n"
}
