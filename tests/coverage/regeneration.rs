//! Regeneration records with instrument errors drawn as stated. The large study is
//! `cargo run --release -p tightfit-fit --example records-study -- --only regeneration`.

use tightfit_fit::simulate::{RegenerationCell, Tally};

#[test]
fn intervals_of_a_regeneration_cover_the_truth() {
    let mut pooled: [Tally; 4] = Default::default();
    for (index, cell) in RegenerationCell::all().iter().enumerate() {
        let tallies = cell.study(12, 5000 * index as u64);
        for (sum, tally) in pooled.iter_mut().zip(&tallies) {
            assert_eq!(tally.tests, 12, "{}", cell.name);
            sum.pool(tally);
        }
    }
    for (name, tally) in ["heating", "purge", "evacuation", "hydrogen"].iter().zip(&pooled) {
        super::covers(name, tally);
    }
}

#[test]
fn ramps_do_not_teach_the_level_of_a_plateau_to_follow_its_noise() {
    let cells = RegenerationCell::all();
    let coarse = cells.iter().find(|cell| cell.run.cadence_s >= 300.0).unwrap();
    let [heating, ..] = coarse.study(100, 90_001);
    // Readings five minutes apart: 75 s too short where the level of the whole record was taken.
    assert!(heating.bias().abs() < 56.0, "{}", heating.bias());
}
