//! Pressure-change test in simulated rooms. Seeds are fixed, so every run sees the same tests.

use statrs::distribution::{Binomial, DiscreteCDF};
use tightfit_fit::Samples;
use tightfit_fit::pressure_change::{
    Compliance, InsidePressure, Settings, SuperimposedLeak, Volume, WindowChoice, evaluate, monte_carlo_check,
};
use tightfit_fit::simulate::{Hold, Outcome, Random, Room, VesselModel, Weather, evaluate_simulated, study};

/// Draws settling and wander anew for each test.
fn drawn(seed: u64, hold: &mut Hold, _: &mut Settings) {
    let mut random = Random::new(seed ^ 0x5eed);
    hold.settling_k = random.uniform(0.0, 0.6);
    hold.settling_s = random.uniform(300.0, 1200.0);
    if hold.thermometers[0].wander_k > 0.0 {
        hold.thermometers[0].wander_k = 0.01 * 10.0_f64.powf(random.uniform(0.0, 1.0));
        hold.thermometers[0].wander_memory_s = 600.0 * 12.0_f64.powf(random.uniform(0.0, 1.0));
    }
}

fn same(_: u64, _: &mut Hold, _: &mut Settings) {}

/// Fails when so few intervals hold the truth as happens once in a thousand at 95 % coverage.
fn covers(name: &str, outcome: &Outcome) {
    assert_eq!(outcome.failed, 0, "{name}: {outcome:?}");
    let outside = (outcome.below + outcome.above) as u64;
    let chance = 1.0 - Binomial::new(0.05, outcome.tests as u64).unwrap().cdf(outside.saturating_sub(1));
    assert!(outside == 0 || chance > 1e-3, "{name}: {outcome:?}");
}

#[test]
fn intervals_cover_the_truth_in_quiet_ordinary_and_rough_rooms() {
    let mut pooled = Outcome::default();
    for (name, room) in [("quiet", Room::QUIET), ("ordinary", Room::ORDINARY), ("rough", Room::ROUGH)] {
        for hours in [0.5, 1.0, 4.0] {
            for wander_k in [0.0, 0.03] {
                let mut hold = Hold::ordinary(room, hours * 3600.0, 5e-4);
                hold.thermometers[0].wander_k = wander_k;
                let outcome = study(&hold, &hold.settings(), 24, 1000, drawn);
                covers(&format!("{name} room, {hours} h, wander {wander_k} K"), &outcome);
                pooled.tests += outcome.tests;
                pooled.below += outcome.below;
                pooled.above += outcome.above;
            }
        }
    }
    covers("all", &pooled);
    assert!(pooled.coverage() < 0.995, "intervals that never miss are too wide: {pooled:?}");
}

/// A barometer logged in whole hectopascals beside a fine gauge hides more than the fit knows: without a budget line for it four
/// intervals in ten would miss. With it 85 to 87 % hold the truth, which is short of 95 and known (see the validation).
#[test]
fn what_the_steps_of_a_barometer_hide_is_in_the_interval() {
    let mut hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
    hold.barometer_resolution_pa = 100.0;
    let outcome = study(&hold, &hold.settings(), 40, 5000, drawn);
    assert!(outcome.failed == 0 && outcome.coverage() > 0.72, "{outcome:?}");
}

#[test]
fn an_hour_suffices_with_a_lagging_thermometer() {
    for (room, limit) in [(Room::ORDINARY, 0.04), (Room::ROUGH, 0.05)] {
        let hold = Hold::ordinary(room, 3600.0, 5e-4);
        let outcome = study(&hold, &hold.settings(), 40, 2000, drawn);
        assert!(outcome.rms < limit, "{outcome:?}");
        assert!(outcome.bias.abs() < outcome.stated / 3.0 + 2.0 * outcome.rms / 40.0_f64.sqrt(), "{outcome:?}");
    }
}

#[test]
fn a_wandering_thermometer_costs_little_more_than_if_its_noise_were_known() {
    let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    hold.thermometers[0].wander_k = 0.03;
    let outcome = study(&hold, &hold.settings(), 60, 3000, same);
    // 60 tests tell a standard deviation to 9 %: the bound of 1.15 is checked by the large study.
    assert!(outcome.rms < 1.35 * outcome.known_noise, "{outcome:?}");
    covers("wander of 30 mK and 30 min", &outcome);
}

#[test]
fn a_reference_vessel_makes_a_wandering_thermometer_five_times_better() {
    let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    hold.thermometers[0].wander_k = 0.03;
    let without = study(&hold, &hold.settings(), 30, 4000, same);
    hold.vessel =
        Some(VesselModel { lag_s: 180.0, noise_pa: 0.3, resolution_pa: 1.0, loss_per_s: 0.0, corner_k_per_h: 0.0 });
    let with = study(&hold, &hold.settings(), 30, 4000, same);
    assert!(with.rms < without.rms / 5.0, "{without:?} {with:?}");
    covers("reference vessel", &with);
}

#[test]
fn a_vessel_in_a_warm_corner_is_not_believed() {
    let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    hold.thermometers[0].wander_k = 0.03;
    hold.vessel =
        Some(VesselModel { lag_s: 180.0, noise_pa: 0.3, resolution_pa: 1.0, loss_per_s: 0.0, corner_k_per_h: 0.5 });
    let outcome = study(&hold, &hold.settings(), 30, 5000, same);
    covers("warm corner", &outcome);
}

#[test]
fn an_unknown_compliance_is_found_or_makes_the_interval_wide() {
    let hold = Hold::ordinary(Room::ORDINARY, 7200.0, 5e-4);
    let volume = Some(Volume { value_m3: 1.0, standard_uncertainty_m3: 0.01 });
    let unknown = Settings { volume, compliance: Compliance::Unknown, ..hold.settings() };
    let vary = |seed: u64, hold: &mut Hold, settings: &mut Settings| {
        drawn(seed, hold, settings);
        hold.compliance_per_pa = Random::new(seed).uniform(0.0, 2e-5);
    };
    covers("unknown compliance", &study(&hold, &unknown, 30, 6000, vary));
    let checked = Compliance::Given { value_m3_per_pa: 1e-5, standard_uncertainty_m3_per_pa: 4e-7 };
    let given = Settings { volume, compliance: checked, ..hold.settings() };
    let vary = |seed: u64, hold: &mut Hold, settings: &mut Settings| {
        drawn(seed, hold, settings);
        hold.compliance_per_pa = 1e-5 + 4e-7 * Random::new(seed).normal();
    };
    covers("stiffness check", &study(&hold, &given, 30, 6000, vary));
}

#[test]
fn a_rigid_evaluation_of_soft_gloves_would_miss_most_of_the_leak() {
    // Why the compliance is not taken as zero by default.
    let mut hold = Hold::ordinary(Room::QUIET, 7200.0, 5e-4);
    hold.compliance_per_pa = 1e-5;
    let rigid = study(&hold, &hold.settings(), 10, 7000, same);
    assert!(rigid.bias < -0.2, "{rigid:?}");
}

#[test]
fn a_superimposed_leak_is_found_within_its_uncertainty() {
    let (mut inside, mut squares) = (0, 0.0);
    let tests = 30;
    for seed in 0..tests {
        let mut hold = Hold::ordinary(Room::ORDINARY, 3.0 * 3600.0, 5e-4);
        let times = Random::new(seed).uniform(1.0, 5.0);
        // A leak at the limit lets in G·500 Pa of throughput; the known one so many times that.
        let per_s = times * hold.conductance_per_volume_per_s * 500.0 / 101_325.0;
        hold.superimposed = Some((per_s, 3600.0, 7200.0));
        let flow = per_s * (1.0 + 0.02 * Random::new(seed + 99).normal());
        let leak = SuperimposedLeak {
            flow_m3_per_s: flow,
            standard_uncertainty_m3_per_s: 0.02 * flow,
            from_s: 3600.0,
            to_s: 7200.0,
        };
        let settings = Settings {
            volume: Some(Volume { value_m3: 1.0, standard_uncertainty_m3: 0.005 }),
            superimposed_leak: Some(leak),
            ..hold.settings()
        };
        let result = evaluate_simulated(&hold.simulate(seed + 8000), &hold, &settings).unwrap();
        let ratio = result.superimposed_leak_ratio.unwrap();
        inside += usize::from((ratio.interval95[0]..=ratio.interval95[1]).contains(&1.0));
        squares += (ratio.value - 1.0_f64).powi(2);
    }
    assert!(inside >= 25, "{inside} of {tests}");
    assert!((squares / tests as f64).sqrt() < 0.06);
}

#[test]
fn absolute_and_gauge_readings_of_one_hold_give_the_same_leak() {
    let hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    let simulated = hold.simulate(11);
    let record = simulated.record(&hold).unwrap();
    let absolute: Vec<f64> = simulated.gauge_pa.iter().zip(&simulated.room_pa).map(|(g, r)| g + r).collect();
    let mut other = record.clone();
    other.inside = InsidePressure::Absolute(Samples::new(&simulated.time_s, &absolute).unwrap());
    let gauge = evaluate(&record, &hold.settings()).unwrap().hourly_leak_rate.value;
    let found = evaluate(&other, &hold.settings()).unwrap().hourly_leak_rate.value;
    assert!((found / gauge - 1.0).abs() < 2e-3, "{gauge} {found}");
}

#[test]
fn monte_carlo_agrees_with_the_propagation_of_the_budget() {
    let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
    hold.gauge_scale = 0.02;
    let simulated = hold.simulate(17);
    let record = simulated.record(&hold).unwrap();
    let estimate = evaluate(&record, &hold.settings()).unwrap().hourly_leak_rate;
    let drawn = monte_carlo_check(&record, &hold.settings(), 1000, 1).unwrap();
    assert!((drawn.standard_deviation / estimate.standard_uncertainty - 1.0).abs() < 0.15, "{drawn:?} {estimate:?}");
    assert!((drawn.mean - estimate.value).abs() < 0.2 * estimate.standard_uncertainty);
}

#[test]
fn over_pressure_and_under_pressure_both_give_positive_leaks() {
    for difference_pa in [-500.0, 500.0] {
        let mut hold = Hold::ordinary(Room::ORDINARY, 7200.0, 5e-4);
        hold.difference_pa = difference_pa;
        let simulated = hold.simulate(5);
        let result = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap();
        let truth = simulated.truth.hourly_leak_rate(difference_pa);
        assert!(
            (result.hourly_leak_rate.value / truth - 1.0).abs() < 0.1,
            "{difference_pa}: {:?}",
            result.hourly_leak_rate
        );
    }
}

#[test]
fn a_shift_of_the_time_axis_changes_nothing() {
    let hold = Hold::ordinary(Room::QUIET, 3600.0, 5e-4);
    let mut simulated = hold.simulate(21);
    let before = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap().hourly_leak_rate;
    simulated.time_s.iter_mut().for_each(|t| *t += 1.0e6);
    let after = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap().hourly_leak_rate;
    assert!((after.value / before.value - 1.0).abs() < 1e-6);
    assert!((after.standard_uncertainty / before.standard_uncertainty - 1.0).abs() < 1e-4);
}

#[test]
fn uneven_sampling_and_gaps_are_no_obstacle() {
    let mut inside = 0;
    let tests = 30;
    for seed in 0..tests {
        let hold = Hold::ordinary(Room::ORDINARY, 2.0 * 3600.0, 5e-4);
        let mut simulated = hold.simulate(seed + 9000);
        let mut random = Random::new(seed);
        // A third of the readings are missing at random, and ten minutes in one piece.
        let keep: Vec<bool> =
            simulated.time_s.iter().map(|t| random.uniform(0.0, 1.0) > 0.33 && !(3000.0..3600.0).contains(t)).collect();
        for series in [&mut simulated.time_s, &mut simulated.gauge_pa, &mut simulated.room_pa] {
            retain(series, &keep);
        }
        retain(&mut simulated.thermometers_k[0], &keep);
        let result = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap();
        let [low, high] = result.hourly_leak_rate.interval95;
        inside += usize::from((low..=high).contains(&simulated.truth.hourly_leak_rate(-500.0)));
        assert!((result.hourly_leak_rate.value / 5e-4 - 1.0).abs() < 0.25, "seed {seed}");
    }
    assert!(inside >= 25, "{inside} of {tests}");
}

fn retain(series: &mut Vec<f64>, keep: &[bool]) {
    let mut index = 0;
    series.retain(|_| {
        index += 1;
        keep[index - 1]
    });
}

#[test]
fn a_window_set_by_hand_is_used_as_it_is() {
    let hold = Hold::ordinary(Room::QUIET, 7200.0, 5e-4);
    let settings = Settings { window: WindowChoice::Set { from_s: 600.0, to_s: 4800.0 }, ..hold.settings() };
    let result = evaluate_simulated(&hold.simulate(3), &hold, &settings).unwrap();
    assert_eq!(result.rows.used + result.rows.disturbed, 421);
    assert_eq!(result.rows.read, result.rows.used + result.rows.outside_window + result.rows.disturbed);
}

#[test]
fn steps_of_a_display_that_nobody_stated_are_no_disturbances() {
    let tests = 12;
    let mut outside = 0;
    for seed in 0..tests {
        let mut hold = Hold::ordinary(Room::ORDINARY, 4.0 * 3600.0, 5e-4);
        hold.gauge_resolution_pa = 10.0;
        hold.thermometers[0].resolution_k = 0.1;
        let simulated = hold.simulate(seed + 4000);
        let mut record = simulated.record(&hold).unwrap();
        record.thermometers[0].instrument.resolution = 0.0;
        let mut settings = hold.settings();
        settings.gauge.resolution = 0.0;
        let result = evaluate(&record, &settings).unwrap();
        assert!(result.window.to_s - result.window.from_s > 3.8 * 3600.0, "seed {seed}: {:?}", result.window);
        let [low, high] = result.hourly_leak_rate.interval95;
        outside += usize::from(!(low..=high).contains(&simulated.truth.hourly_leak_rate(-500.0)));
    }
    // At 95 % coverage more than 3 of 12 are outside in 2 of a thousand studies.
    assert!(outside <= 3, "{outside} of {tests}");
}

#[test]
fn a_hold_ends_at_the_venting_however_little_pressure_was_left() {
    for seed in 0..4 {
        let mut hold = Hold::ordinary(Room::QUIET, 4.0 * 3600.0, 1e-3);
        hold.weather = Weather::STILL;
        let mut simulated = hold.simulate(seed + 5000);
        let last_s = simulated.time_s[simulated.time_s.len() - 1];
        let left_pa = simulated.gauge_pa[simulated.gauge_pa.len() - 1];
        assert!((-240.0..-100.0).contains(&left_pa), "{left_pa}");
        let vented = simulated.time_s.iter().zip(&mut simulated.gauge_pa).filter(|(t, _)| **t > last_s - 600.0);
        vented.for_each(|(_, shown)| *shown -= left_pa);
        let result = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap();
        assert!((last_s - 780.0..last_s - 590.0).contains(&result.window.to_s), "seed {seed}: {:?}", result.window);
        let truth = simulated.truth.hourly_leak_rate(-500.0);
        assert!((result.hourly_leak_rate.value / truth - 1.0).abs() < 0.1, "{}", result.hourly_leak_rate.value);
    }
}

#[test]
fn a_reference_pressure_far_from_the_test_lets_the_law_of_the_leak_count() {
    let hold = Hold::ordinary(Room::QUIET, 4.0 * 3600.0, 2e-4);
    let simulated = hold.simulate(11);
    let at = |reference_pressure_pa: f64| {
        let settings = Settings { reference_pressure_pa, ..hold.settings() };
        let found = evaluate_simulated(&simulated, &hold, &settings).unwrap();
        let rate = found.hourly_leak_rate;
        let law = rate.budget.iter().find(|line| line.source.contains("leak law"));
        (found.mean_difference_pa, law.map_or(0.0, |line| line.standard_uncertainty / rate.value), rate)
    };
    let (mean_pa, none, _) = at(-450.0);
    assert!(none < 1e-12, "{none} at {mean_pa} Pa");
    // By hand: a leak that goes with the root exceeds the proportional one by the root of how far the pressures lie apart.
    let (mean_pa, law, rate) = at(-200.0);
    let by_root = (mean_pa / -200.0).sqrt();
    assert!((law / ((by_root - 1.0) / 3.0_f64.sqrt()) - 1.0).abs() < 0.02, "{law} at {mean_pa} Pa");
    let [low, high] = rate.interval95;
    assert!((low..high).contains(&(by_root * rate.value)), "{by_root} in {low} to {high}");
}
