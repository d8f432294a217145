//! Rises in closed chambers: same physics as an enclosure without purification, evaluated by the same estimators.

use tightfit_cross_check::CrossCheck;
use tightfit_fit::Samples;
use tightfit_fit::ppm_rise::{
    Analyser, MakeUp, PpmRise, PressureDifference, Quantity, Record, RoomAir, Settings, Supply, Trace, WindowChoice,
    evaluate, hourly_leak_rate,
};
use tightfit_fit::simulate::Random;

use crate::closed_chambers::{CARBON_DIOXIDE, Means, RESPIRATION, RESPIRATION_SLOPES, SOIL};

/// Surroundings so rich that they do not bend the rise: the published fits are straight lines.
const NO_BEND: f64 = 1e9;

const RESPIROMETRY: &str = "R package FishResp, table AMR.slope (cran/FishResp, commit e39846bd)";
const CHAMBERS: &str = "R package fluxible, data co2_conc (Plant-Functional-Trait-Course/fluxible, commit c5ad17f1)";

/// Evaluates readings (parts in a million) until `to_s` as oxygen in a room with the given content.
fn rise(time_s: &[f64], reading_ppm: &[f64], room_ppm: f64, to_s: f64) -> PpmRise {
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
    evaluate(&record, &Settings { volume_m3: None, window: WindowChoice::Set { from_s: time_s[0], to_s } }).unwrap()
}

fn rise_of(means: &Means, room_ppm: f64, to_s: f64) -> PpmRise {
    rise(&means.time_s(), means.values, room_ppm, to_s)
}

/// Interval of the ingress per second.
fn interval_per_s(result: &PpmRise) -> [f64; 2] {
    result.oxygen_ingress.as_ref().unwrap().interval95.map(|end| end / 3600.0)
}

fn straight_line_per_s(result: &PpmRise) -> f64 {
    result.oxygen.as_ref().unwrap().diagnostics.straight_line_ppm_per_h / 3600.0
}

fn published_slope(name: &str) -> (f64, f64) {
    let (_, slope, error) = RESPIRATION_SLOPES.iter().find(|(known, ..)| *known == name).unwrap();
    (*slope, *error)
}

/// The readings wander (lines through the halves of a phase differ by several published errors): the published errors take
/// them for independent, ours do not.
#[test]
fn the_interval_of_a_measured_decline_holds_the_published_slope_and_the_straight_line_equals_it() {
    let mut check = CrossCheck::against("Measured declines of oxygen", RESPIROMETRY);
    for phase in &RESPIRATION {
        let (slope, error) = published_slope(phase.name);
        let result = rise_of(phase, NO_BEND, 300.0);
        let line = straight_line_per_s(&result);
        check.parts("straight line, mg/(L s)", line, slope, 0.1, (error, "the published standard error"));
        let [low, high] = interval_per_s(&result);
        check.covered("slope in our interval, mg/(L s)", [low, high], slope);
        assert!(high - low > 4.0 * error && high - low < 0.35 * slope.abs(), "{}: {low} to {high}", phase.name);
    }
}

/// Readings rebuilt from each slope and error with independent noise, as the published fit supposes. Where a draw happens to
/// start with a bend the interval spans the models, so the errors are compared by their median.
#[test]
fn a_straight_decline_with_independent_noise_keeps_each_published_slope_and_error() {
    let mut check = CrossCheck::against("Declines rebuilt from slope and error", RESPIROMETRY);
    let (mut ratios, mut covered) = (Vec::new(), 0);
    for (seed, (_, slope, error)) in (7..).zip(RESPIRATION_SLOPES) {
        let time_s: Vec<f64> = (0..300).map(f64::from).collect();
        // The scatter of a reading that the published error stands for: u(b)² = s²·12/(n(n² − 1)).
        let scatter = error * (300.0_f64 * (300.0 * 300.0 - 1.0) / 12.0).sqrt();
        let mut random = Random::new(seed);
        let readings: Vec<f64> = time_s.iter().map(|t| 9.0 + slope * t + scatter * random.normal()).collect();
        let result = rise(&time_s, &readings, NO_BEND, 299.0);
        let [low, high] = interval_per_s(&result);
        covered += usize::from(low < slope && slope < high);
        let line = straight_line_per_s(&result);
        check.parts("straight line, mg/(L s)", line, slope, 4.0, (error, "the published standard error"));
        ratios.push((high - low) / 2.0 / 1.96 / error);
    }
    ratios.sort_by(f64::total_cmp);
    assert!(covered >= 10, "{covered} of 12");
    check.between("half interval over 1.96 published errors, median", ratios[6], 1.0, [0.9, 1.7]);
}

/// Straight lines through bent rises, opened chambers included: published to show how wrong a line can be. Means of five
/// readings, the last incomplete one left out, move a line by less than its error.
#[test]
fn the_straight_line_through_a_bent_rise_is_the_published_one() {
    let mut check = CrossCheck::against("Straight lines through bent rises", CHAMBERS);
    for run in &CARBON_DIOXIDE {
        let line = straight_line_per_s(&rise_of(&run.means, NO_BEND, 210.0));
        check.parts("straight line, ppm/s", line, run.line, 0.65, (run.line_error, "its standard error"));
    }
}

/// An approach to c with time constant τ is an ingress of c/τ at x = 0 in surroundings of content c.
#[test]
fn an_approach_to_the_content_of_the_surroundings_has_the_published_time_constant() {
    let mut check = CrossCheck::against("Approach to the surroundings", CHAMBERS);
    for run in &CARBON_DIOXIDE {
        let [tau_s, error_s] = run.time_constant_s;
        let result = rise_of(&run.means, run.end_ppm, 150.0);
        let [low, high] = interval_per_s(&result);
        let expected = run.end_ppm / tau_s;
        check.covered("rate at zero content in our interval, ppm/s", [low, high], expected);
        let found_s = run.end_ppm * 3600.0 / result.oxygen_ingress.unwrap().value;
        check.parts("time constant, s", found_s, tau_s, 0.5, (error_s, "its robust standard error"));
    }
}

/// Near the content of the surroundings a rise is bent by them; what bends it must not pass for outgassing.
#[test]
fn a_rise_to_nearly_the_content_of_the_surroundings_gives_its_initial_rate_not_its_mean_slope() {
    let mut check = CrossCheck::against("Rises simulated from published approaches", CHAMBERS);
    for (seed, run) in (1..).zip(&CARBON_DIOXIDE) {
        let (tau_s, c) = (run.time_constant_s[0], run.end_ppm);
        let start = run.means.values[0];
        let time_s: Vec<f64> = (0..=150).map(f64::from).collect();
        let mut random = Random::new(seed);
        let readings: Vec<f64> =
            time_s.iter().map(|t| c - (c - start) * f64::exp(-t / tau_s) + 0.01 * random.normal()).collect();
        let result = rise(&time_s, &readings, c, 150.0);
        let found = result.oxygen_ingress.as_ref().unwrap().value / 3600.0;
        check.relative("rate at zero content, ppm/s", found, c / tau_s, 0.01);
        assert!(straight_line_per_s(&result) < 0.5 * found);
    }
}

/// Vignette of the package: flux 2.62 µmol/(m² s) with standard deviation 0.013 at 98 789.8 Pa and 277.832 K, volume
/// 0.219 m³ (rounded), area 0.36 m²; dry slope of the full record 0.1007462 ppm/s.
#[test]
fn a_flux_from_soil_follows_from_the_rise_by_the_gas_law() {
    let per_ppm_per_s = 98_789.8 * 0.219 / (8.314462618 * 277.832) / 0.36;
    let result = rise_of(&SOIL, NO_BEND, 181.0);
    let flux = straight_line_per_s(&result) * per_ppm_per_s;
    let source = "Vignette of the R package RespChamberProc (bgctw/RespChamberProc, commit b511b74a)";
    let mut check = CrossCheck::against("Flux from soil", source);
    check.absolute("flux, µmol/(m² s)", flux, 2.62, 0.013);
    let [low, high] = interval_per_s(&result).map(|end| end * per_ppm_per_s);
    check.covered("flux in our interval, µmol/(m² s)", [low, high], 2.62);
    assert!(high - low < 0.15, "{low} to {high}");
}

/// The oxygen method as ISO 10648-2:1994 has it (from memory): 20 % oxygen in air; class 1 is 5e-4 of the volume an
/// hour, so 100 ppm of oxygen an hour.
#[test]
fn a_hundred_ppm_of_oxygen_an_hour_are_the_limit_of_class_1() {
    let mut check =
        CrossCheck::against("Oxygen method", "ISO 10648-2:1994 (from memory): class 1, 20 % of oxygen in air");
    check.absolute("hourly leak rate of 100 ppm/h, 1/h", hourly_leak_rate(1e-6, 101e-6, 3600.0), 5e-4, 1e-15);
}
