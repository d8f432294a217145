//! Purge from air over five decades, with steady and with changing flow, readings above the range as bounds.

use tightfit_fit::Samples;
use tightfit_fit::ppm_rise::{Analyser, Quantity, ReadingStatus, Trace};
use tightfit_fit::purge_down::{Flow, Settings, evaluate};
use tightfit_fit::simulate::{Random, Tally};

const TESTS: u64 = 30;
const VOLUME_M3: f64 = 0.92;
const MIXING: f64 = 0.8;
const FLOOR: f64 = 2e-6;
/// The analyser goes to 0.1 %.
const TOP: f64 = 1e-3;

/// Flow at a moment, m³/s: steady, or opened half way and then wide.
fn flow(changes: bool, time_s: f64) -> f64 {
    let wide = 30e-3 / 60.0;
    if changes && time_s < 3600.0 { 0.5 * wide } else { wide }
}

fn study(changes: bool) -> [Tally; 2] {
    let [mut mixing, mut floor] = [Tally::default(), Tally::default()];
    for seed in 0..TESTS {
        let mut random = Random::new(700 + seed);
        let time: Vec<f64> = (0..1500).map(|k| 20.0 * f64::from(k)).collect();
        let meter = 1.0 + 0.02 * random.normal();
        let mut exchanged = 0.0;
        let mut reading = Vec::new();
        for t in &time {
            let truth = FLOOR + (0.209 - FLOOR) * (-MIXING * exchanged).exp();
            reading.push((truth + (0.1e-6_f64).hypot(0.01 * truth) * random.normal()).min(TOP));
            exchanged += 20.0 * flow(changes, *t) / VOLUME_M3;
        }
        let status: Vec<ReadingStatus> = reading
            .iter()
            .map(|value| if *value >= TOP { ReadingStatus::AboveRange } else { ReadingStatus::Measured })
            .collect();
        let shown: Vec<f64> = time.iter().map(|t| flow(changes, *t) * meter).collect();
        let samples = Samples::new(&time, &shown).unwrap();
        let logged = Flow::Logged { samples, relative_uncertainty: 0.02 };
        let steady = Flow::Constant(Quantity::new(shown[0], 0.02 * shown[0]));
        let settings = Settings {
            flow: if changes { logged } else { steady },
            volume_m3: Some(Quantity::new(VOLUME_M3 * (1.0 + 0.02 * random.normal()), 0.02 * VOLUME_M3)),
            supply: None,
            target: None,
            delay_s: 0.0,
            window_s: None,
        };
        let trace =
            Trace { samples: Samples::new(&time, &reading).unwrap(), status: &status, analyser: Analyser::default() };
        let found = evaluate(&trace, &settings).unwrap();
        mixing.add(&found.mixing_factor.unwrap(), MIXING);
        floor.add(&found.floor, 1e6 * FLOOR);
    }
    [mixing, floor]
}

#[test]
fn mixing_factor_and_floor_are_covered_with_steady_and_with_changing_flow() {
    for changes in [false, true] {
        let [mixing, floor] = study(changes);
        super::covers("mixing factor", &mixing);
        super::covers("floor", &floor);
        // Meter and volume give 2.8 % together; the value itself is not off.
        assert!(mixing.bias().abs() < 0.02, "{changes}: {}", mixing.bias());
    }
}
