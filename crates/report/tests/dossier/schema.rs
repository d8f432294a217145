//! The committed JSON Schemas are those of the types.

use std::path::Path;

use tightfit_report::schema::{design_schema, diagnosis_schema, history_schema, inspect_schema, result_schema};

#[test]
fn the_published_schemas_are_current() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../notebooks-free-docs/formats");
    for (file, schema) in [
        ("tightfit.result-1.schema.json", result_schema()),
        ("tightfit.inspect-1.schema.json", inspect_schema()),
        ("tightfit.design-1.schema.json", design_schema()),
        ("tightfit.diagnosis-1.schema.json", diagnosis_schema()),
        ("tightfit.history-1.schema.json", history_schema()),
    ] {
        let committed = std::fs::read_to_string(folder.join(file)).unwrap();
        assert!(committed == schema, "{file}: run cargo run -p tightfit-report --example write-schemas");
    }
}
