//! Two weeks with 40 doses: found, none invented, the trend's sign right.

use tightfit_fit::Samples;
use tightfit_fit::clean_up::Lag;
use tightfit_fit::clean_up_series::{CleanUpSeries, Settings, evaluate};
use tightfit_fit::ppm_rise::{Analyser, Quantity, Trace};
use tightfit_fit::simulate::{Dose, Doses, Random, Tally};

const DOSES: usize = 40;

/// Doses of 5 to 500 times the noise at odd moments; `trend` is the relative change of the time constant a day.
fn log(trend: f64, seed: u64) -> Doses {
    let mut random = Random::new(seed);
    let duration_s = 14.0 * 86_400.0;
    let slot_s = duration_s / DOSES as f64;
    let dose = |index: usize| Dose {
        at_s: (index as f64 + random.uniform(0.05, 0.75)) * slot_s,
        amount_ppm: 0.05 * random.uniform(5f64.ln(), 500f64.ln()).exp(),
        lasting_s: random.uniform(0.0, 60.0),
    };
    Doses {
        duration_s,
        cadence_s: 20.0,
        time_constant_s: [600.0, trend],
        lag_s: 30.0,
        noise: [0.05, 0.01],
        wander: [0.0, 3600.0],
        doses: (0..DOSES).map(dose).collect(),
        ..Doses::one(600.0, 0.0, 6.0)
    }
}

fn evaluated(log: &Doses, seed: u64) -> CleanUpSeries {
    let (time, reading) = log.simulate(seed);
    let samples = Samples::new(&time, &reading).unwrap();
    let trace = Trace { samples, status: &[], analyser: Analyser::default() };
    let settings = Settings { lag: Lag::Stated(Quantity::new(30.0, 3.0)), ..Settings::default() };
    evaluate(&trace, &settings).unwrap()
}

#[test]
fn doses_are_found_none_is_invented_and_the_trend_has_its_sign() {
    let mut trends = Tally::default();
    for (seed, trend) in (1..).zip([0.2 / 14.0, -0.2 / 14.0, 0.2 / 14.0]) {
        let log = log(trend, seed);
        let found = evaluated(&log, seed);
        let near = |given: &Dose, onset_s: f64| (given.at_s - 120.0..given.at_s + 600.0).contains(&onset_s);
        let missed = log.doses.iter().filter(|given| !found.doses.iter().any(|dose| near(given, dose.onset_s))).count();
        let invented =
            found.doses.iter().filter(|dose| !log.doses.iter().any(|given| near(given, dose.onset_s))).count();
        assert_eq!(missed, 0, "seed {seed}");
        assert!(invented <= 1, "seed {seed}: {invented} invented");
        let slope = found.time_constant_trend.unwrap();
        assert!(slope.value * trend > 0.0, "seed {seed}: {} of {trend}", slope.value);
        trends.add(&slope, trend);
    }
    super::covers("trend", &trends);
}

#[test]
fn readings_that_stand_out_alone_on_a_coarse_display_are_no_doses() {
    for seed in 1..=5 {
        let quiet = Doses { noise: [0.03, 0.01], doses: Vec::new(), resolution_ppm: 0.1, ..log(0.0, seed) };
        let (time, mut reading) = quiet.simulate(seed);
        let mut random = Random::new(seed);
        for _ in 0..20 {
            reading[random.uniform(1.0, time.len() as f64 - 1.0) as usize] += 5e-6;
        }
        let analyser = Analyser { resolution: 1e-7, ..Analyser::default() };
        let trace = Trace { samples: Samples::new(&time, &reading).unwrap(), status: &[], analyser };
        assert_eq!(evaluate(&trace, &Settings::default()).unwrap().doses, [], "seed {seed}");
    }
}

/// Where the readings lie as far apart as the time constant is long, a decay bends from reading to reading; that is no noise.
#[test]
fn doses_are_found_in_a_slow_log() {
    for (seed, time_constant_s) in [(1, 450.0), (2, 350.0), (3, 250.0)] {
        let dose = |index: u32| Dose { at_s: 9000.0 * f64::from(index + 1) + 40.0, amount_ppm: 30.0, lasting_s: 0.0 };
        let log = Doses {
            duration_s: 3.0 * 86_400.0,
            cadence_s: 300.0,
            time_constant_s: [time_constant_s, 0.0],
            doses: (0..27).map(dose).collect(),
            ..Doses::one(time_constant_s, 0.0, 6.0)
        };
        let (time, reading) = log.simulate(seed);
        let trace =
            Trace { samples: Samples::new(&time, &reading).unwrap(), status: &[], analyser: Analyser::default() };
        let lag = Lag::Stated(Quantity::new(0.0, 0.0));
        let found = evaluate(&trace, &Settings { lag, ..Settings::default() }).unwrap();
        assert_eq!(found.doses.len(), 27, "{time_constant_s} s");
    }
}
