//! Writes the JSON Schemas into the documents: `cargo run -p tightfit-report --example write-schemas`.

#![allow(clippy::disallowed_methods, reason = "documents of the repository, kept by its history")]

use std::path::Path;

use tightfit_report::schema::{design_schema, diagnosis_schema, history_schema, inspect_schema, result_schema};

fn main() -> std::io::Result<()> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../notebooks-free-docs/formats");
    std::fs::write(folder.join("tightfit.result-1.schema.json"), result_schema())?;
    std::fs::write(folder.join("tightfit.design-1.schema.json"), design_schema())?;
    std::fs::write(folder.join("tightfit.history-1.schema.json"), history_schema())?;
    std::fs::write(folder.join("tightfit.diagnosis-1.schema.json"), diagnosis_schema())?;
    std::fs::write(folder.join("tightfit.inspect-1.schema.json"), inspect_schema())
}
