//! Decisions by guarded acceptance where the truth is known. The large study is the example `decision-study`.

use statrs::distribution::{Binomial, DiscreteCDF};
use tightfit_fit::simulate::{DecisionStudy, Decisions, Hold, Random, Room, evaluate_simulated};

const RISK: f64 = 0.05;

/// Holds whose limit is a leak of 5·10⁻⁴ 1/h; the truth is a multiple of it.
fn holds(room: Room, hours: f64, wander_k: f64, seeds: std::ops::Range<u64>) -> DecisionStudy {
    DecisionStudy::run(|truth_over_limit| {
        let mut decisions = Decisions::default();
        for seed in seeds.clone() {
            let mut random = Random::new(seed ^ 0xdec1);
            let mut hold = Hold::ordinary(room, 3600.0 * hours, 5e-4 * truth_over_limit);
            hold.settling_k = random.uniform(0.0, 0.6);
            hold.settling_s = random.uniform(300.0, 1200.0);
            hold.thermometers[0].wander_k = wander_k;
            hold.thermometers[0].wander_memory_s = 600.0 * 12.0_f64.powf(random.uniform(0.0, 1.0));
            let simulated = hold.simulate(seed);
            let settings = hold.settings();
            let truth = simulated.truth.hourly_leak_rate(settings.reference_pressure_pa);
            let found = evaluate_simulated(&simulated, &hold, &settings).unwrap();
            decisions.decide(&found.hourly_leak_rate, truth / truth_over_limit, RISK);
        }
        decisions
    })
}

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
            let study = holds(room, hours, wander_k, 0..25);
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
    let study = holds(Room::ORDINARY, 1.0, 0.005, 100..180);
    let (half, twice) = (&study.at_half_the_limit, &study.at_twice_the_limit);
    at_most("not passed at half the limit", half.tests() - half.pass, half, 0.05);
    at_most("not failed at twice the limit", twice.tests() - twice.fail, twice, 0.05);
}

#[test]
fn where_the_thermometer_wanders_further_the_verdict_is_undecided_rather_than_wrong() {
    let study = holds(Room::ORDINARY, 1.0, 0.03, 200..260);
    assert_eq!((study.at_half_the_limit.fail, study.at_twice_the_limit.pass), (0, 0), "{study:?}");
    assert!(study.at_half_the_limit.undecided > 0, "{study:?}");
}
