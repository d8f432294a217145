//! How often a healthy display is taken for a sensor that stands still, and how often one that does is found.
//!
//! Simulated channels on a display of step one: a wander, a drift, a settling, a cycle, a fall to the floor of an
//! analyser, a pumping with the hold after it, and a rise that levels off, each with noise from a hundredth of a step
//! to three steps. `TIGHTFIT_STUCK_LOGS=20000 cargo test -p tightfit-ingest --test exports standing_still -- --nocapture`
//! does more of them; `TIGHTFIT_STUCK_SEED` takes others.

use std::sync::Arc;

use tightfit_ingest::{Channel, Place, Series, stuck_runs};

/// Share of the record from which a frozen sensor makes a test not valid.
const SUBSTANTIAL: f64 = 0.2;

/// SplitMix64 (G. L. Steele et al., OOPSLA 2014, from memory).
struct Random(u64);

impl Random {
    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly over the orders of magnitude.
    fn magnitude(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.between(-0.5, 0.5)).sum()
    }
}

const KINDS: [&str; 7] = ["wander", "drift", "settling", "cycle", "floor", "pumped", "levels off"];

/// A quantity in steps of its display, without noise.
fn quantity(kind: usize, random: &mut Random) -> Vec<f64> {
    let count = random.magnitude(120.0, 4000.0) as usize;
    let n = count as f64;
    let wander = |size: f64, random: &mut Random| {
        let memory = random.magnitude(0.02, 1.0) * n;
        let keep = (-1.0 / memory).exp();
        let mut at = size * random.normal();
        let mut next = move |random: &mut Random| {
            at = keep * at + size * (1.0 - keep * keep).sqrt() * random.normal();
            at
        };
        (0..count).map(|_| next(random)).collect::<Vec<f64>>()
    };
    let offset = random.between(0.0, 1.0);
    let size = random.magnitude(0.3, 300.0);
    let tau = random.magnitude(0.01, 1.0) * n;
    let begins = (random.between(0.0, 0.3) * n).floor();
    let shape = |i: f64, random_phase: f64| match kind {
        1 => size * i / n,
        2 => size * (-i / tau).exp(),
        3 => size * (i / tau + random_phase).sin(),
        4 => (size * (-(i - begins).max(0.0) / tau).exp() - 0.3 * size).max(0.0),
        5 if i < begins => 0.0,
        5 => -size * ((i - begins) / 20.0).min(1.0) + 0.1 * size * i / n,
        6 => size * (1.0 - (-i / tau).exp()),
        _ => 0.0,
    };
    let phase = random.between(0.0, std::f64::consts::TAU);
    let weather = if kind == 0 { size.min(30.0) } else { random.magnitude(0.01, 1.0) };
    let mut values = wander(weather, random);
    for (i, value) in values.iter_mut().enumerate() {
        *value += offset + shape(i as f64, phase);
        // An analyser at its floor shows nothing below it.
        if kind == 4 {
            *value = value.max(0.0);
        }
    }
    values
}

fn shown(quantity: &[f64], noise: f64, random: &mut Random) -> Series {
    let value: Vec<f64> = quantity.iter().map(|value| (value + noise * random.normal()).round()).collect();
    Series {
        channel: Channel::GasTemperature,
        column: "T".into(),
        unit: "K".into(),
        reference: tightfit_ingest::PressureReference::OfChannel,
        standard_reference: None,
        instrument: None,
        time_s: Arc::new((0..value.len()).map(|i| i as f64).collect()),
        value,
        status: Vec::new(),
    }
}

/// Whether a test with this record would be refused.
fn is_refused(series: &Series) -> bool {
    let length = series.time_s[series.len() - 1] - series.time_s[0];
    let long = |span: (f64, f64)| span.1 - span.0 >= SUBSTANTIAL * length;
    stuck_runs(series, None).iter().any(|stuck| stuck.place == Place::Highest || long(stuck.span_s))
}

fn logs() -> (usize, u64) {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    (number("TIGHTFIT_STUCK_LOGS").unwrap_or(300) as usize, number("TIGHTFIT_STUCK_SEED").unwrap_or(1))
}

#[test]
#[expect(clippy::print_stdout, reason = "what a study found is shown on demand")]
fn fewer_than_one_healthy_display_in_a_hundred_is_refused() {
    let (count, seed) = logs();
    let mut refused = [0_usize; KINDS.len()];
    for (kind, refused) in refused.iter_mut().enumerate() {
        let mut random = Random(seed.wrapping_mul(1000) + kind as u64);
        for _ in 0..count {
            let quantity = quantity(kind, &mut random);
            let noise = random.magnitude(0.01, 3.0);
            *refused += usize::from(is_refused(&shown(&quantity, noise, &mut random)));
        }
    }
    let all: usize = refused.iter().sum();
    println!("refused of {count} each: {:?}", KINDS.iter().zip(refused).collect::<Vec<_>>());
    assert!(100 * all < KINDS.len() * count, "{all} of {}: {refused:?}", KINDS.len() * count);
    assert!(refused.iter().all(|refused| 50 * refused <= count), "{refused:?}");
}

#[test]
#[expect(clippy::print_stdout, reason = "what a study found is shown on demand")]
fn most_sensors_that_stand_still_for_long_are_found() {
    let (count, seed) = logs();
    let mut random = Random(seed.wrapping_mul(1000) + 77);
    let (mut frozen, mut ended) = (0, 0);
    for _ in 0..count {
        // A display of any use: its noise or its wander moves it in most readings.
        let mut values = quantity(0, &mut random);
        let noise = random.magnitude(0.5, 5.0);
        let at = (random.between(0.3, 0.75) * values.len() as f64) as usize;
        let mut series = shown(&values, noise, &mut random);
        let still = series.value[at];
        series.value[at..].fill(still);
        frozen += usize::from(is_refused(&series));

        let rise = random.magnitude(20.0, 1000.0) / values.len() as f64;
        values.iter_mut().enumerate().for_each(|(i, value)| *value = rise * i as f64);
        let mut series = shown(&values, noise, &mut random);
        let top = (values[(random.between(0.3, 0.85) * values.len() as f64) as usize]).round();
        series.value.iter_mut().for_each(|value| *value = value.min(top));
        ended += usize::from(is_refused(&series));
    }
    println!("of {count} each: frozen {frozen}, at the end of the range {ended}");
    assert!(10 * frozen > 9 * count && 10 * ended > 9 * count, "{frozen} and {ended} of {count}");
}
