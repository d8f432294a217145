//! Simulated tests at constant pressure.

use super::{Random, Tally};
use crate::Samples;
use crate::make_up::{Feed, MakeUp, Record, Settings, evaluate};
use crate::ppm_rise::Quantity;
use crate::pressure_change::Instrument;

/// A valve holds a pressure between two set points while temperature and room pressure move; how that is logged.
#[derive(Debug, Clone, PartialEq)]
pub struct MakeUpRun {
    /// Name for tables.
    pub name: &'static str,
    /// Leak rate at 500 Pa, 1/h.
    pub hourly_leak_rate: f64,
    /// Length, h.
    pub hours: f64,
    /// 1 for make-up at over-pressure, −1 for extraction at under-pressure.
    pub side: f64,
    /// Time between readings, s; the valve is as it stands at a reading until the next one.
    pub cadence_s: f64,
    /// Amplitude of the gas temperature, K.
    pub swing_k: f64,
    /// Whether the running total of a meter is logged in place of the valve.
    pub metered: bool,
    /// Noise and step of the gauge, Pa.
    pub gauge_pa: [f64; 2],
}

const VOLUME_M3: f64 = 0.92;
const FLOW_M3_PER_S: f64 = 2.0 / 60_000.0;
/// Relative standard uncertainty of flow and of volume.
const STATED: f64 = 0.01;
const DIFFERENCE_PA: f64 = 500.0;

impl MakeUpRun {
    /// The cells of the study.
    pub fn all() -> Vec<Self> {
        let plain = Self {
            name: "valve, 6 h",
            hourly_leak_rate: 2.5e-3,
            hours: 6.0,
            side: 1.0,
            cadence_s: 1.0,
            swing_k: 0.2,
            metered: false,
            gauge_pa: [0.5, 0.0],
        };
        let with = |name, change: fn(&mut Self)| {
            let mut cell = Self { name, ..plain.clone() };
            change(&mut cell);
            cell
        };
        vec![
            plain.clone(),
            with("extraction, 6 h", |cell| cell.side = -1.0),
            with("valve, 2 h", |cell| cell.hours = 2.0),
            with("valve, 24 h", |cell| cell.hours = 24.0),
            with("total of a meter, every 10 s", |cell| (cell.metered, cell.cadence_s) = (true, 10.0)),
            with("temperature swings by 1 K", |cell| cell.swing_k = 1.0),
            with("gauge in steps of 10 Pa", |cell| cell.gauge_pa = [2.0, 10.0]),
            with("ten times the leak", |cell| cell.hourly_leak_rate = 2.5e-2),
            with("a tenth of the leak, 24 h", |cell| (cell.hourly_leak_rate, cell.hours) = (2.5e-4, 24.0)),
        ]
    }

    /// Evaluates `tests` runs: leak rate in 1/h.
    pub fn study(&self, tests: u64, first_seed: u64) -> [Tally; 1] {
        let mut tally = Tally::default();
        for seed in first_seed..first_seed + tests {
            if let Some(rate) = self.evaluated(seed).and_then(|found| found.hourly_leak_rate) {
                tally.add(&rate, self.hourly_leak_rate);
            }
        }
        [tally]
    }

    /// One record with errors drawn as stated, evaluated; `None` where that is refused.
    pub fn evaluated(&self, seed: u64) -> Option<MakeUp> {
        let mut random = Random::new(seed);
        let seen = self.simulate(&mut random);
        let stated_flow = FLOW_M3_PER_S * (1.0 + STATED * random.normal());
        let stated_volume = VOLUME_M3 * (1.0 + STATED * random.normal());
        let total: Vec<f64> = seen.total.iter().map(|total| total * stated_flow / FLOW_M3_PER_S).collect();
        let of = |value| Samples::new(&seen.time, value).ok();
        let record = Record {
            feed: if self.metered {
                Feed::Total(of(&total)?)
            } else {
                Feed::Valve { position: of(&seen.valve)?, flow_m3_per_s: stated_flow }
            },
            difference: Some(of(&seen.gauge)?),
            stated_difference_pa: None,
            room_pressure: Some(of(&seen.room)?),
            stated_room_pressure_pa: 101_325.0,
            gas_temperature: Some(of(&seen.kelvin)?),
            stated_temperature_k: 295.15,
        };
        let settings = Settings {
            volume_m3: Quantity::new(stated_volume, STATED * VOLUME_M3),
            compliance_m3_per_pa: Quantity::default(),
            reference_pressure_pa: Some(DIFFERENCE_PA * self.side),
            meter_reference: None,
            meter: Instrument { scale: STATED, ..Instrument::default() },
            gauge: Instrument { resolution: self.gauge_pa[1], ..Instrument::default() },
            band_pa: Some([390.0, 610.0]),
            window_s: None,
        };
        evaluate(&record, &settings).ok()
    }

    fn simulate(&self, random: &mut Random) -> Seen {
        let (period_s, phase) = (random.uniform(3000.0, 9000.0), random.uniform(0.0, 6.0));
        let slope_pa_per_s = random.uniform(-60.0, 60.0) / 3600.0;
        let (mut difference, mut open) = (DIFFERENCE_PA * self.side, false);
        let (mut wander, mut amount, mut total) = (0.0, f64::NAN, 0.0);
        let mut seen = Seen::default();
        for second in 0..(self.hours * 3600.0) as usize {
            let t = second as f64;
            let temperature = 295.0 + self.swing_k * (t / period_s + phase).sin();
            let outside = 1.01e5 + slope_pa_per_s * t;
            if amount.is_nan() {
                amount = (outside + difference) * VOLUME_M3 / temperature;
            }
            // Amounts are counted as pV/T; the gas is metered at the room's pressure.
            let leak = self.hourly_leak_rate / 3600.0 * VOLUME_M3 * outside * difference / DIFFERENCE_PA;
            let through = if open { self.side * FLOW_M3_PER_S * outside } else { 0.0 };
            amount += (through - leak) / temperature;
            total += if open { FLOW_M3_PER_S } else { 0.0 };
            difference = amount * temperature / VOLUME_M3 - outside;
            open = self.side * difference < if open { 600.0 } else { 400.0 };
            wander = random.ornstein_uhlenbeck(wander, 0.01, 1500.0, 1.0);
            if second % self.cadence_s as usize == 0 {
                let [noise, step] = self.gauge_pa;
                let shown = difference + noise * random.normal();
                seen.time.push(t);
                seen.valve.push(f64::from(u8::from(open)));
                seen.total.push(total);
                seen.gauge.push(if step > 0.0 { (shown / step).round() * step } else { shown });
                seen.room.push(outside);
                seen.kelvin.push(temperature + wander + 0.005 * random.normal());
            }
        }
        seen
    }
}

/// Readings: s, open or shut, m³, Pa, Pa, K.
#[derive(Default)]
struct Seen {
    time: Vec<f64>,
    valve: Vec<f64>,
    total: Vec<f64>,
    gauge: Vec<f64>,
    room: Vec<f64>,
    kelvin: Vec<f64>,
}
