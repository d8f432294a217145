//! The published JSON Schemas: what the program prints meets them, and they are strict enough to notice a change.

use std::panic::catch_unwind;

use crate::support::{Bench, assert_meets_its_schema};

#[test]
fn results_inspections_and_records_meet_their_published_schemas() {
    let bench = Bench::with_demo();
    for plan in ["tight.toml", "leaky.toml"] {
        bench.run(&["qualify", plan, "--format", "json"]).json();
    }
    bench.run(&["inspect", "tight.csv", "leaky-enclosure.csv", "--format", "json"]).json();
    bench.run(&["qualify", "tight.toml", "--out", "dossier"]);
    assert_meets_its_schema(&serde_json::from_str(&bench.read("dossier/dossier.json")).unwrap());
}

#[test]
fn a_result_of_another_form_does_not_meet_the_schema() {
    let sound = Bench::with_demo().run(&["qualify", "tight.toml", "--format", "json"]).json();
    let changes: [(&str, serde_json::Value); 6] = [
        ("/overall", "perhaps".into()),
        ("/tests/0/rows_used", "many".into()),
        ("/tests/0/results/hourly_leak_rate/interval95", serde_json::json!([1.0])),
        ("/tests/0/results/hourly_leak_rate/kind", "guess".into()),
        ("/tests/0/validity/0/consequence", serde_json::Value::Null),
        ("/verdicts/0/verdict", "PASS".into()),
    ];
    for (place, value) in changes {
        let mut changed = sound.clone();
        *changed.pointer_mut(place).unwrap() = value;
        assert!(catch_unwind(|| assert_meets_its_schema(&changed)).is_err(), "a change at {place} meets the schema");
    }
    let mut without = sound.clone();
    without.as_object_mut().unwrap().remove("verdicts");
    assert!(catch_unwind(|| assert_meets_its_schema(&without)).is_err());
}
