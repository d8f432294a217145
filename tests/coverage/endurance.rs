//! Endurance runs with instrument errors drawn as stated. The large study is
//! `cargo run --release -p tightfit-fit --example records-study -- --only endurance`.

use tightfit_fit::simulate::{EnduranceRun, Tally};

const TESTS: u64 = 3;

#[test]
fn intervals_of_largest_content_and_share_cover_the_truth() {
    let mut pooled: [Tally; 2] = Default::default();
    for (index, run) in EnduranceRun::all().iter().enumerate() {
        for (sum, tally) in pooled.iter_mut().zip(&run.study(TESTS, 7000 + 100 * index as u64)) {
            assert_eq!(tally.tests, TESTS as usize, "{}", run.name);
            sum.pool(tally);
        }
    }
    super::covers("largest content", &pooled[0]);
    super::covers("share of time", &pooled[1]);
}

#[test]
fn the_largest_content_is_not_the_largest_reading() {
    let all = EnduranceRun::all();
    let noise_alone = all.iter().find(|run| run.name == "noise alone").unwrap();
    let seen = noise_alone.simulate(5);
    let found = noise_alone.evaluated(&seen).unwrap();
    let reading_ppm = 1e6 * seen.reading.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    assert!(reading_ppm > seen.max_ppm + 0.5, "{reading_ppm}");
    assert!((found.kept.max.value - seen.max_ppm).abs() < 0.05, "{:?}", found.kept.max);
}
