//! Planning against the closed form of the textbook.
//!
//! Source: standard error of the slope of a straight line through n equidistant points over T with white noise σ,
//! σ·√(12/n)/T for large n (N. R. Draper, H. Smith, Applied Regression Analysis, chapter 1; from memory), and the law of
//! propagation for the part that does not fall with time (JCGM 100:2008, 5.1.2).

use tightfit_cross_check::CrossCheck;
use tightfit_fit::decision::Rule;
use tightfit_fit::design::{Demand, Limited, PlannedThermometer, SetUp, Trial, forecast};
use tightfit_fit::pressure_change::{Compliance, Instrument};
use tightfit_fit::simulate::{Room, Weather};

/// Scatter of a thermometer without steps in K, as the design draws it, and of the temperature that the pressures tell:
/// 0.1 Pa each of gauge and barometer at 1 bar.
const THERMOMETER_K: f64 = 0.001;
const PRESSURES_K: f64 = 295.0 * 0.1 * std::f64::consts::SQRT_2 / 1e5;
const RATE: f64 = 2.5e-5;
/// A small difference, since pumping disturbs the temperature in proportion to it.
const DIFFERENCE_PA: f64 = -100.0;
const CADENCE_S: f64 = 10.0;

fn still_room(gauge: Instrument) -> SetUp {
    SetUp {
        room: Room::STILL,
        weather: Weather::STILL,
        cadence_s: CADENCE_S,
        gauge,
        barometer: Some(Instrument::default()),
        thermometers: vec![PlannedThermometer {
            instrument: Instrument::default(),
            lag_s: Some(10.0),
            wander_k: 0.0,
            wander_memory_s: 1800.0,
        }],
        vessel: None,
        compliance: Compliance::Rigid,
        volume: None,
        reference_pressure_pa: DIFFERENCE_PA,
        threads: 1,
    }
}

fn demand() -> Demand {
    Demand {
        limited: Limited::HourlyLeakRate,
        limit: 2.0 * RATE,
        rule: Rule::GuardedAcceptance { risk: 0.05 },
        producers_risk: 0.05,
        tight_share: 0.5,
        longest_s: 86_400.0,
    }
}

/// Standard error of the hourly leak rate by the textbook: a leak of rate r warms the gas, as the pressure tells it, by
/// r·T̄ in an hour, whatever the pressure difference that it is stated at.
fn textbook(duration_s: f64) -> f64 {
    let sigma_k = THERMOMETER_K.hypot(PRESSURES_K);
    let readings = duration_s / CADENCE_S;
    3600.0 * sigma_k * (12.0 / readings).sqrt() / (duration_s * 295.0)
}

fn trial(hours: f64) -> Trial {
    Trial { difference_pa: DIFFERENCE_PA, duration_s: 3600.0 * hours, records: 48 }
}

#[test]
fn white_noise_alone_scatters_the_estimate_as_the_slope_of_a_straight_line() {
    let source = "N. R. Draper, H. Smith, Applied Regression Analysis, chapter 1 (from memory): σ·√(12/n)/T";
    let mut check = CrossCheck::against("Planning, slope of a straight line", source);
    for hours in [2.0, 4.0] {
        let expected = forecast(&still_room(Instrument::default()), &demand(), trial(hours)).unwrap();
        let ratio = expected.error / textbook(3600.0 * hours);
        // Lag and start are free besides the line, and 48 records tell a standard deviation to 10 %.
        check.between("scatter over that of the textbook, 2 h and 4 h", ratio, 1.0, [0.85, 1.7]);
    }
}

#[test]
fn a_gauge_of_five_per_cent_is_the_floor_that_six_hours_do_not_get_below() {
    let gauge = Instrument { scale: 0.05, ..Instrument::default() };
    let expected = forecast(&still_room(gauge), &demand(), trial(6.0)).unwrap();
    let combined = textbook(6.0 * 3600.0).hypot(0.05 * RATE);
    let ratio = expected.standard_uncertainty / combined;
    // The evaluation does not know that this thermometer does not wander: that is the rest.
    let mut check = CrossCheck::against("Planning, floor of the gauge", "JCGM 100:2008, 5.1.2: law of propagation");
    check.between("stated uncertainty over the combined one", ratio, 1.0, [0.95, 1.5]);
}
