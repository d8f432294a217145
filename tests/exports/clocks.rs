//! Clocks of two loggers compared by their signals.

use std::sync::Arc;

use tightfit_ingest::Channel::{GaugePressure, RoomPressure};
use tightfit_ingest::{Channel, ClockOffset, PressureReference, Series, WhyNot, clock_offset};

/// Numbers between -0.5 and 0.5, the same on every machine.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / f64::from(1u32 << 31) - 0.5
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum()
    }
}

fn series(channel: Channel, time_s: Vec<f64>, value: Vec<f64>) -> Series {
    Series {
        channel,
        column: String::new(),
        unit: "Pa".into(),
        reference: PressureReference::OfChannel,
        standard_reference: None,
        instrument: None,
        time_s: Arc::new(time_s),
        value,
        status: Vec::new(),
    }
}

/// Weather of some hours: a slow swing and a gust front.
fn weather(t: f64, phase: f64) -> f64 {
    101_300.0 + 60.0 * (t / 3000.0 + phase).sin() + 25.0 * (t / 700.0 + 2.0 * phase).sin()
}

/// A gauge whose clock is `late` seconds behind, and a barometer once a minute.
fn bench(seed: u64, late: f64, swing: f64) -> (Series, Series) {
    let mut noise = Noise(seed);
    let phase = 3.0 * noise.next();
    let barometer_times: Vec<f64> = (0..240).map(|i| 60.0 * f64::from(i)).collect();
    let barometer = barometer_times
        .iter()
        .map(|t| 101_300.0 + swing * (weather(*t, phase) - 101_300.0) + 2.0 * noise.normal())
        .collect();
    let gauge_times: Vec<f64> = (60..1360).map(|i| 10.0 * f64::from(i)).collect();
    let gauge = gauge_times
        .iter()
        .map(|t| -1000.0 + 2e-3 * t - swing * (weather(t + late, phase) - 101_300.0) + 4.0 * noise.normal())
        .collect();
    (series(GaugePressure, gauge_times, gauge), series(RoomPressure, barometer_times, barometer))
}

#[test]
fn a_late_clock_is_found_with_its_uncertainty() {
    let mut covered = 0;
    let mut mean_error = 0.0;
    for seed in 0..60 {
        let (gauge, barometer) = bench(seed, 137.0, 1.0);
        let ClockOffset::Estimated { offset_s, standard_uncertainty_s } = clock_offset(&gauge, &barometer, 600.0)
        else {
            panic!("seed {seed} is not determined")
        };
        assert!(standard_uncertainty_s > 0.05 && standard_uncertainty_s < 20.0, "{standard_uncertainty_s}");
        covered += i32::from((offset_s - 137.0).abs() < 1.96 * standard_uncertainty_s);
        mean_error += (offset_s - 137.0) / 60.0;
    }
    // 95 % of 60 is 57; fewer than 51 would come by chance once in 300 times.
    assert!(covered >= 51, "{covered} of 60 intervals hold the truth");
    assert!(mean_error.abs() < 2.0, "{mean_error}");
}

#[test]
fn calm_weather_tells_nothing() {
    let (gauge, barometer) = bench(5, 137.0, 0.0);
    assert_eq!(clock_offset(&gauge, &barometer, 600.0), ClockOffset::NotDeterminable(WhyNot::NoCommonSignal));
}

#[test]
fn a_shift_outside_the_bounds_is_not_claimed() {
    let (gauge, barometer) = bench(5, 500.0, 1.0);
    let found = clock_offset(&gauge, &barometer, 200.0);
    assert!(matches!(found, ClockOffset::NotDeterminable(_)), "{found:?}");
}

#[test]
fn a_handful_of_readings_tells_nothing() {
    let (mut gauge, barometer) = bench(5, 137.0, 1.0);
    gauge.time_s = Arc::new(gauge.time_s[..10].to_vec());
    gauge.value.truncate(10);
    assert_eq!(clock_offset(&gauge, &barometer, 600.0), ClockOffset::NotDeterminable(WhyNot::TooFewReadings));
}
