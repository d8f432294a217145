//! Analyser checks with gas, noise and response as stated. The large study is
//! `cargo run --release -p tightfit-fit --example records-study -- --only analyser-check`.

use tightfit_fit::simulate::{AnalyserCheckRun, Tally};

#[test]
fn intervals_of_zero_span_and_response_cover_the_truth() {
    let mut pooled: [Tally; 3] = Default::default();
    for (index, run) in AnalyserCheckRun::all().iter().enumerate() {
        for (sum, tally) in pooled.iter_mut().zip(&run.study(8, 9000 + 100 * index as u64)) {
            assert_eq!(tally.tests + tally.bounds, 8, "{}", run.name);
            sum.pool(tally);
        }
    }
    for (name, tally) in ["zero error", "span error", "t90"].iter().zip(&pooled) {
        super::covers(name, tally);
    }
}

#[test]
fn readings_slower_than_the_response_give_a_bound() {
    let all = AnalyserCheckRun::all();
    let slow = all.iter().find(|run| run.name == "readings slower than the response").unwrap();
    let response = &slow.study(10, 50)[2];
    assert!(response.bounds >= 9 && response.bounds_missed <= 1, "{response:?}");
}
