//! Rises in closed chambers: same physics as an enclosure without purification. The figures are published fits; the
//! readings are rebuilt from them, since the data sets themselves are not part of the project.

use tightfit_fit::Samples;
use tightfit_fit::ppm_rise::{
    Analyser, MakeUp, PpmRise, PressureDifference, Quantity, Record, RoomAir, Settings, Supply, Trace, WindowChoice,
    evaluate, hourly_leak_rate,
};
use tightfit_fit::simulate::Random;

/// Evaluates readings (parts in a million) as oxygen in a room with the given content.
fn rise(time_s: &[f64], reading_ppm: &[f64], room_ppm: f64) -> PpmRise {
    let reading: Vec<f64> = reading_ppm.iter().map(|x| x * 1e-6).collect();
    let room = Quantity::new(room_ppm * 1e-6, 0.0);
    let record = Record {
        oxygen: Some(Trace {
            samples: Samples::new(time_s, &reading).unwrap(),
            status: &[],
            analyser: Analyser::default(),
        }),
        water: None,
        pressure_difference: PressureDifference::Unknown,
        room_pressure_pa: 101_325.0,
        room_air: RoomAir { oxygen: room, water: room },
        make_up: MakeUp::None,
        supply: Supply::default(),
    };
    let window = WindowChoice::Set { from_s: time_s[0], to_s: time_s[time_s.len() - 1] };
    evaluate(&record, &Settings { volume_m3: None, window }).unwrap()
}

/// Readings of a line or curve with white noise.
fn readings(time_s: &[f64], curve: impl Fn(f64) -> f64, noise: f64, seed: u64) -> Vec<f64> {
    let mut random = Random::new(seed);
    time_s.iter().map(|t| curve(*t) + noise * random.normal()).collect()
}

/// Carbon dioxide in a closed chamber, data set co2_conc of the R package fluxible (repository
/// Plant-Functional-Trait-Course/fluxible, commit c5ad17f1), seconds 0 to 150 of runs 1 and 2, least-squares fit of
/// c + a·e^(−t/τ): τ in s, c and a in ppm. The approach to c is an ingress at x = 0 of c/τ limited by surroundings at c.
#[test]
fn an_exponential_approach_gives_its_initial_rate_not_its_mean_slope() {
    for (tau_s, c, a) in [(189.9024, 586.0404, -139.1987), (377.9510, 590.6493, -155.9238)] {
        let time_s: Vec<f64> = (0..=150).map(f64::from).collect();
        let result = rise(&time_s, &readings(&time_s, |t| c + a * f64::exp(-t / tau_s), 0.01, 1), c);
        let ingress = result.oxygen_ingress.unwrap();
        let expected = 3600.0 * c / tau_s;
        assert!((ingress.value / expected - 1.0).abs() < 0.01, "{} {expected}", ingress.value);
        let line = result.oxygen.unwrap().diagnostics.straight_line_ppm_per_h;
        assert!(line < 0.5 * expected, "{line} {expected}");
    }
}

/// Oxygen in sealed respiration chambers, table AMR.slope of the R package FishResp (repository cran/FishResp, commit
/// e39846bd): slope in mg/L per s and its standard error, ordinary least squares on 300 readings of 1 s.
#[test]
fn a_straight_decline_keeps_its_published_slope_and_error() {
    for (slope, error) in [(-0.001917901, 8.373631e-6), (-0.002336422, 1.087168e-5), (-0.002721659, 8.041966e-6)] {
        let time_s: Vec<f64> = (0..300).map(f64::from).collect();
        // The scatter of a reading that the published error stands for: u(b)² = s²·12/(n(n² − 1)).
        let scatter = error * (300.0_f64 * (300.0 * 300.0 - 1.0) / 12.0).sqrt();
        let result = rise(&time_s, &readings(&time_s, |t| 9.0 + slope * t, scatter, 7), 1e9);
        let ingress = result.oxygen_ingress.unwrap();
        let (found, stated) = (ingress.value / 3600.0, ingress.expanded_uncertainty() / 1.96 / 3600.0);
        assert!((found - slope).abs() < 4.0 * error, "{found} {slope}");
        assert!((0.8..3.0).contains(&(stated / error)), "{stated} {error}");
    }
}

/// Soil respiration chamber, vignette of the R package RespChamberProc (repository bgctw/RespChamberProc, commit
/// b511b74a): flux 2.62 µmol/(m² s) with standard deviation 0.013, run 5, 165 readings of 1 s at 98 789.8 Pa and
/// 277.832 K, volume 0.219 m³ (rounded), area 0.36 m²; dry slope 0.1007462 ppm/s, autocorrelation-robust error 5.1e-4.
#[test]
fn a_chamber_flux_follows_from_the_rise_by_the_gas_law() {
    let time_s: Vec<f64> = (16..181).map(f64::from).collect();
    let scatter = 2.919e-4 * (165.0_f64 * (165.0 * 165.0 - 1.0) / 12.0).sqrt();
    let result = rise(&time_s, &readings(&time_s, |t| 400.0 + 0.1007462 * t, scatter, 3), 1e9);
    let ingress = result.oxygen_ingress.unwrap();
    let per_ppm_per_h = 98_789.8 * 0.219 / (8.314462618 * 277.832) / 0.36 / 3600.0;
    let flux = ingress.value * per_ppm_per_h;
    let uncertainty = ingress.expanded_uncertainty() / 1.96 * per_ppm_per_h;
    assert!((flux - 2.62).abs() < 3.0 * 0.013, "{flux}");
    assert!((0.004..0.03).contains(&uncertainty), "{uncertainty}");
}

/// The oxygen method as ISO 10648-2:1994 has it (from memory): 20 % oxygen in air; class 1 is 5e-4 of the volume an
/// hour, so 100 ppm of oxygen an hour.
#[test]
fn a_hundred_ppm_of_oxygen_an_hour_are_the_limit_of_class_1() {
    assert!((hourly_leak_rate(1e-6, 101e-6, 3600.0) - 5e-4).abs() < 1e-15);
}
