//! Coverage of the constant-pressure test: a valve holds a pressure between two set points while temperature and room
//! pressure move. The large study is `cargo run --release -p tightfit-fit --example records-study -- --only make-up`.

use tightfit_fit::Kind;
use tightfit_fit::make_up::Note;
use tightfit_fit::simulate::{MakeUpRun, Tally};

#[test]
fn intervals_of_the_leak_rate_hold_the_truth() {
    let mut pooled = Tally::default();
    for (index, run) in MakeUpRun::all().iter().filter(|run| run.hours < 24.0).enumerate() {
        let [tally] = run.study(6, 1000 * index as u64);
        assert_eq!(tally.tests + tally.bounds, 6, "{}", run.name);
        assert_eq!(tally.bounds_missed, 0, "{}", run.name);
        assert!(tally.bias().abs() < 0.2 * run.hourly_leak_rate, "{}: {}", run.name, tally.bias());
        pooled.pool(&tally);
    }
    super::covers("leak rate", &pooled);
}

#[test]
fn gas_that_is_taken_out_is_said_to_be() {
    for run in MakeUpRun::all().iter().filter(|run| run.hours < 24.0) {
        let found = run.evaluated(3).unwrap();
        assert_eq!(found.notes.contains(&Note::Extraction), run.side < 0.0, "{}", run.name);
    }
}

#[test]
fn a_leak_below_resolution_is_an_upper_bound() {
    let run = MakeUpRun { hourly_leak_rate: 1e-6, hours: 2.0, ..MakeUpRun::all().remove(0) };
    for seed in 0..5 {
        let rate = run.evaluated(seed).unwrap().hourly_leak_rate.unwrap();
        assert_eq!(rate.kind, Kind::UpperBound, "{rate:?}");
        assert!(rate.interval95[1] > 1e-6);
    }
}
