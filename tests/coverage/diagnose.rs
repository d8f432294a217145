//! Diagnoses of simulated working logs. The large study is `cargo run --release -p tightfit-fit --example diagnose-study`.

use tightfit_fit::diagnose::{Background, Cause, DiagnoseError, Log, Trace, diagnose, undecided};
use tightfit_fit::simulate::{Channels, WorkingLog};

fn first(cause: Cause, seed: u64) -> (Cause, f64, Option<bool>) {
    let simulated = WorkingLog { cause, second: None, factor: [3.0, 6.0], channels: Channels::Full, days: [7.0, 12.0] }
        .simulate(seed);
    let diagnosis = diagnose(&simulated.log, &simulated.background).unwrap();
    let sum: f64 = diagnosis.explanations.iter().map(|own| own.probability).sum();
    assert!((sum - 1.0).abs() < 1e-9, "probabilities sum to {sum}");
    let leader = &diagnosis.explanations[0];
    let inside = leader.began_s.zip(simulated.onset_s).map(|([from, to], onset)| (from..=to).contains(&onset));
    (leader.cause, leader.probability, inside)
}

#[test]
fn clear_faults_in_full_logs_are_named_by_their_cause() {
    let causes = Cause::ALL.into_iter().filter(|cause| *cause != Cause::NoneOfThese);
    let found: Vec<(Cause, Cause)> = causes.map(|cause| (cause, first(cause, 11).0)).collect();
    let wrong: Vec<_> = found.iter().filter(|(truth, named)| truth != named).collect();
    // At nine of ten right, more than three of nine wrong happens once in a hundred.
    assert!(wrong.len() <= 3, "{wrong:?}");
}

#[test]
fn a_log_without_content_or_of_an_hour_is_refused() {
    assert_eq!(diagnose(&Log::default(), &Background::default()), Err(DiagnoseError::NothingLogged));
    let hour =
        Trace { time_s: (0..60).map(|i| f64::from(i) * 60.0).collect(), value: vec![1.0; 60], below_limit: Vec::new() };
    let log = Log { oxygen_ppm: Some(hour), ..Log::default() };
    assert!(matches!(diagnose(&log, &Background::default()), Err(DiagnoseError::TooShort { .. })));
}

#[test]
fn constant_readings_give_no_nonsense() {
    let flat = Trace {
        time_s: (0..2000).map(|i| f64::from(i) * 300.0).collect(),
        value: vec![0.3; 2000],
        below_limit: Vec::new(),
    };
    let log = Log { oxygen_ppm: Some(flat), ..Log::default() };
    let diagnosis = diagnose(&log, &Background::default()).unwrap();
    assert_eq!(diagnosis.explanations[0].cause, Cause::NothingChanged);
    assert!(diagnosis.explanations.iter().all(|own| own.probability.is_finite()));
    assert_eq!(undecided().len(), 10);
}
