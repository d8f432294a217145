//! Bad input ends with exit code 2 and words that say what, where and what to do; never with a panic.

mod case;
mod commands;
mod exports;
mod limits;
mod methods;
mod mutation;
mod plans;
mod times;
mod units;

use case::PLAN;

use crate::support::{Bench, Run};

/// An input error that names the file and says `words`.
fn assert_refused(run: &Run, words: &[&str]) {
    assert_eq!(run.code, 2, "{run:?}");
    for word in words {
        assert!(run.stderr.contains(word), "\"{word}\" is missing in: {}", run.stderr);
    }
}

#[test]
fn a_plan_with_a_mistake_shows_line_text_and_the_right_spelling() {
    let bench = Bench::new();
    bench.write("plan.toml", PLAN.replace("volume", "volum"));
    let run = bench.run(&["qualify", "plan.toml", "--out", "dossier"]);
    assert_refused(&run, &["plan.toml, line 5", "unknown key \"volum\"", "did you mean \"volume\"?"]);
    assert!(run.stdout.is_empty());
    assert_eq!(bench.names(), ["plan.toml"]);
}

#[test]
fn a_path_that_leaves_the_plans_folder_is_refused() {
    let bench = Bench::new();
    bench.write("logs/log.csv", "time,gauge pressure (Pa)\n2026-05-04T07:00:00Z,-1000\n");
    bench.write("plans/plan.toml", PLAN.replace("log.csv", "../logs/log.csv"));
    assert_refused(&bench.run(&["qualify", "plans/plan.toml"]), &["leaves the plan's folder", "--data-root"]);
    let allowed = bench.run(&["qualify", "plans/plan.toml", "--data-root", "logs"]);
    assert!(!allowed.stderr.contains("leaves the plan's folder"), "{allowed:?}");
}

#[test]
fn a_test_that_cannot_be_evaluated_leaves_the_others_reported() {
    let bench = Bench::with_demo();
    let plan =
        bench.read("tight.toml") + "\n[[test]]\nid = \"later\"\nmethod = \"regeneration\"\nfiles = [\"tight.csv\"]\n";
    bench.write("tight.toml", plan);
    let run = bench.run(&["qualify", "tight.toml", "--format", "json"]);
    assert_refused(&run, &["later", "nothing can be evaluated"]);
    assert_eq!(run.json()["verdicts"][0]["verdict"], "pass");
}

#[test]
fn a_record_beyond_the_rated_pressure_is_evaluated_and_not_valid() {
    let bench = Bench::with_demo();
    let plan = bench.read("tight.toml").replace("\"-1500 Pa\", \"1500 Pa\"", "\"-900 Pa\", \"900 Pa\"");
    bench.write("tight.toml", plan.replace("reference_pressure = \"-1000 Pa\"", "reference_pressure = \"-900 Pa\""));
    let result = bench.qualified("tight.toml", 4);
    assert_eq!(result["verdicts"][0]["verdict"], "not valid");
    assert!(result["tests"][0]["problems"].to_string().contains("beyond the rated pressure"));
    assert!(result["tests"][0]["results"]["hourly_leak_rate"]["value"].is_number());
}

#[test]
fn a_calibration_that_had_run_out_makes_the_test_not_valid() {
    let bench = Bench::with_demo();
    bench.write("tight.toml", bench.read("tight.toml").replace("due = 2027-03-02", "due = 2026-05-03"));
    let run = bench.run(&["qualify", "tight.toml", "--format", "json"]);
    assert_eq!(run.code, 4, "{run:?}");
    assert!(run.json()["tests"][0]["problems"].to_string().contains("ran out on 2026-05-03"));
}

#[test]
fn a_check_by_eye_that_is_not_ok_fails_the_whole() {
    let bench = Bench::with_demo();
    bench.write("tight.toml", bench.read("tight.toml").replacen("result = \"ok\"", "result = \"not ok\"", 1));
    let run = bench.run(&["qualify", "tight.toml", "--format", "json"]);
    assert_eq!(run.code, 1, "{run:?}");
    assert_eq!(run.json()["overall"], "fail");
}
