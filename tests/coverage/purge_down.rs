//! Purge from air over five decades, with steady and with changing flow, readings above the range as bounds. The large
//! study is `cargo run --release -p tightfit-fit --example records-study -- --only purge-down`.

use tightfit_fit::simulate::{PurgeRun, Tally};

#[test]
fn intervals_of_a_purge_cover_the_truth() {
    let mut pooled: [Tally; 4] = Default::default();
    for (index, run) in PurgeRun::all().iter().enumerate() {
        let tallies = run.study(6, 1000 * index as u64);
        assert_eq!(tallies[0].tests, 6, "{}", run.name);
        // Meter and volume give 2.8 % together; the value itself is not off.
        assert!(tallies[1].bias().abs() < 0.05 * run.mixing, "{}: {}", run.name, tallies[1].bias());
        // The stated delay is known to a tenth, which a time to a limit shows whole.
        assert!(tallies[3].tests == 0 || tallies[3].half_width() > 1.9 * 0.1 * run.lag_s, "{}", run.name);
        for (sum, tally) in pooled.iter_mut().zip(&tallies) {
            sum.pool(tally);
        }
    }
    for (name, tally) in ["time constant", "mixing factor", "floor", "time to limit"].iter().zip(&pooled) {
        super::covers(name, tally);
        assert_eq!(tally.bounds_missed, 0, "{name}");
    }
}
