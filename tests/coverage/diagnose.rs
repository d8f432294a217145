//! Diagnoses of simulated working logs. The large study is `cargo run --release -p tightfit-fit --example diagnose-study`.

use tightfit_fit::diagnose::{Background, Cause, DiagnoseError, Kind, Known, Log, Tested, Trace, diagnose, undecided};
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

#[test]
fn a_leak_test_after_the_log_moves_the_probability_of_a_leak() {
    let simulated =
        WorkingLog { cause: Cause::Leak, second: None, factor: [1.6, 1.8], channels: Channels::Full, days: [6.0, 6.0] }
            .simulate(13);
    // Oxygen and pressure alone leave it open what came in more.
    let log = Log {
        oxygen_ppm: simulated.log.oxygen_ppm.clone(),
        gauge_pressure_pa: simulated.log.gauge_pressure_pa.clone(),
        ..Log::default()
    };
    let leak = |leakage: f64| {
        let known = Known { value: leakage, standard_uncertainty: 0.05 * leakage };
        let tested = Tested { time_s: 1e7, kind: Kind::Leakage, known, under_pressure_pa: None };
        let background = Background { tested: vec![tested], ..simulated.background.clone() };
        let diagnosis = diagnose(&log, &background).unwrap();
        diagnosis.explanations.iter().find(|own| own.cause == Cause::Leak).unwrap().probability
    };
    let (tight, leaky) = (leak(0.01), leak(1.0));
    // A share of the probability is never ruled out, so that a tight test does not bring a leak to nothing.
    assert!(tight < 0.2 && leaky > 0.5, "{tight} against {leaky}");
}
