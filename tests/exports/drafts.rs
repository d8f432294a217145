//! Plans drafted from exports.

use tightfit_ingest::draft;

use super::support::{PLAIN, read};

#[test]
fn a_draft_is_a_plan_that_names_what_was_found() {
    let recording = read(PLAIN);
    let text = draft(&[recording]);
    let plan: toml::Table = text.parse().unwrap();
    let test = &plan["test"][0];
    assert_eq!(test["method"].as_str(), Some("pressure-change"));
    assert_eq!(test["files"][0].as_str(), Some("export.csv"));
    assert_eq!(test["columns"]["gauge_pressure"]["column"].as_str(), Some("dP (Pa)"));
    assert_eq!(test["columns"]["gauge_pressure"]["unit"].as_str(), Some("Pa"));
    assert!(text.contains("# window = { from = \"2026-05-04T09:00:00Z\", to = \"2026-05-04T09:04:00Z\" }"));
}

#[test]
fn open_questions_stand_in_the_draft_with_their_answers() {
    let text = draft(&[read("Time (s),Oxygen\n1,2\n2,3\n3,4\n")]);
    assert!(text.contains("# question, export.csv: oxygen: column 'Oxygen': no unit is written"));
    assert!(text.parse::<toml::Table>().is_ok());
    let local = draft(&[read(&PLAIN.replace('Z', ""))]);
    assert!(local.contains("time_zone = \"UTC\""));
}
