//! Any text as a plan: no panic, no hang, and every mistake has its line and its words.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tightfit_report::plan::{Plan, PlanError};

fuzz_target!(|text: &str| {
    match Plan::parse("fuzz.toml", text) {
        Ok(plan) => {
            assert!(plan.tests.iter().all(|test| !test.id.is_empty()));
            // What is enough to qualify is enough to plan by.
            let _ = Plan::parse_for_design("fuzz.toml", text);
        }
        Err(error) => check(&error, text),
    }
});

fn check(error: &PlanError, text: &str) {
    assert!(!error.mistakes.is_empty());
    let lines = text.split('\n').count();
    for mistake in &error.mistakes {
        assert!((1..=lines).contains(&mistake.line), "line {} of {lines}", mistake.line);
        assert!(mistake.column >= 1);
        assert!(!mistake.mistake.to_string().is_empty());
    }
    assert!(error.to_string().contains("fuzz.toml"));
}
