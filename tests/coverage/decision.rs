//! Decisions by guarded acceptance where the truth is known. The large study is the example `decision-study`.

use statrs::distribution::{Binomial, DiscreteCDF};
use tightfit_fit::simulate::{DecisionStudy, Decisions, Room};

const RISK: f64 = 0.05;

/// Fails when so many come by a chance of once in a thousand at the share.
fn at_most(name: &str, count: usize, of: &Decisions, share: f64) {
    let chance = 1.0 - Binomial::new(share, of.tests() as u64).unwrap().cdf((count as u64).saturating_sub(1));
    assert!(count == 0 || chance > 1e-3, "{name}: {count} of {of:?}");
}

#[test]
fn a_truth_exactly_at_the_limit_passes_no_more_often_than_the_stated_risk() {
    let mut all = DecisionStudy::default();
    for room in [Room::QUIET, Room::ORDINARY, Room::ROUGH] {
        for (hours, wander_k) in [(0.5, 0.03), (1.0, 0.0), (1.0, 0.01), (4.0, 0.03)] {
            let study = DecisionStudy::of_holds(room, hours, wander_k, RISK, 0..25);
            at_most("false pass", study.at_the_limit.pass, &study.at_the_limit, RISK);
            all.merge(&study);
        }
    }
    at_most("false pass, all", all.at_the_limit.pass, &all.at_the_limit, RISK);
    at_most("false fail, all", all.at_the_limit.fail, &all.at_the_limit, RISK);
}

#[test]
fn an_hour_decides_at_half_and_twice_the_limit_where_the_thermometer_follows_within_ten_millikelvins() {
    // Within 10 mK: twice the standard deviation.
    let study = DecisionStudy::of_holds(Room::ORDINARY, 1.0, 0.005, RISK, 100..180);
    let (half, twice) = (&study.at_half_the_limit, &study.at_twice_the_limit);
    at_most("not passed at half the limit", half.tests() - half.pass, half, 0.05);
    at_most("not failed at twice the limit", twice.tests() - twice.fail, twice, 0.05);
}

#[test]
fn where_the_thermometer_wanders_further_the_verdict_is_undecided_rather_than_wrong() {
    let study = DecisionStudy::of_holds(Room::ORDINARY, 1.0, 0.03, RISK, 200..260);
    assert_eq!((study.at_half_the_limit.fail, study.at_twice_the_limit.pass), (0, 0), "{study:?}");
    assert!(study.at_half_the_limit.undecided > 0, "{study:?}");
}
