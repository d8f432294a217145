//! Simulated working logs of weeks with a fault of known kind, size and onset.
//!
//! The box is integrated step by step with exact exponentials; nothing of it is shared with `diagnose`. Boxes, habits,
//! instruments and faults are drawn over wide ranges.

use std::f64::consts::TAU;

use super::Random;
use crate::diagnose::{Background, Cause, Known, Log, Trace};

/// Oxygen in air, ppm.
const AIR_OXYGEN_PPM: f64 = 209_476.0;
const PURE_NOISE: f64 = 1e-9;

/// What is simulated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorkingLog {
    /// The fault.
    pub cause: Cause,
    /// A second, smaller one.
    pub second: Option<Cause>,
    /// By what factor the fault changes its quantity, least and most.
    pub factor: [f64; 2],
    /// Which channels are there.
    pub channels: Channels,
    /// Days, least and most.
    pub days: [f64; 2],
}

/// Which channels a simulated log holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channels {
    /// All.
    Full,
    /// Each of them left out now and then.
    Some,
    /// Oxygen alone.
    OxygenOnly,
}

/// A simulated log and what is true of it.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedLog {
    /// The log.
    pub log: Log,
    /// What a plan would tell.
    pub background: Background,
    /// When the fault began, s; none without fault.
    pub onset_s: Option<f64>,
}

/// Water over oxygen that permeates, by material; drawn from the ranges of published permeabilities (from memory).
const PERMEATION_RATIOS: [f64; 4] = [3.5, 5.5, 16.0, 15.0];

/// A box with its habits.
struct Enclosure {
    volume_m3: f64,
    /// Purifier's turnover q/V, 1/h.
    turnover_per_h: f64,
    efficiency: [f64; 2],
    /// Ingress at the usual state, ppm/h: leak per Pa of under-pressure, steady, and by make-up at its mean.
    leak_per_pa: f64,
    leak_water_ratio: f64,
    permeation: [f64; 2],
    /// Water over oxygen of the gloves, as their material has it.
    permeation_ratio: f64,
    outgassing: [f64; 2],
    supply_ppm: [f64; 2],
    makeup_mean: f64,
    day_pa: f64,
    night_pa: f64,
    transfers_per_day: f64,
    dose_ppm: [f64; 2],
    dose_scatter: f64,
    off: Off,
    weekend: bool,
}

/// When the purifier is switched off.
#[derive(Clone, Copy, PartialEq)]
enum Off {
    Never,
    /// For so many h, every so many days.
    Tests(f64, f64),
    Nights,
}

/// How a fault grows.
#[derive(Clone, Copy)]
struct Fault {
    cause: Cause,
    factor: f64,
    onset_h: f64,
    /// Over how many h it grows; 0 at once.
    growing_h: f64,
    /// Time constant of its fading, h.
    fading_h: f64,
    /// Which species are struck.
    species: [bool; 2],
    sign: f64,
}

impl Fault {
    fn share(&self, time_h: f64) -> f64 {
        let since = time_h - self.onset_h;
        if since < 0.0 {
            return 0.0;
        }
        let grown = if self.growing_h > 0.0 { (since / self.growing_h).min(1.0) } else { 1.0 };
        grown * (-since / self.fading_h).exp()
    }
}

impl WorkingLog {
    /// Draws box, habits, instruments and fault, and simulates the log.
    #[must_use]
    pub fn simulate(&self, seed: u64) -> SimulatedLog {
        let mut random = Random::new(seed);
        let mut enclosure = draw_enclosure(&mut random, [Some(self.cause), self.second]);
        let days = random.uniform(self.days[0].ln(), self.days[1].ln()).exp().round().max(3.0);
        let end_h = 24.0 * days;
        let mut faults = Vec::new();
        for (cause, weaker) in [(Some(self.cause), false), (self.second, true)] {
            if let Some(cause) = cause.filter(|cause| cause.is_change()) {
                faults.push(self.draw_fault(&mut random, cause, end_h, weaker));
            }
        }
        if faults.iter().any(|fault| fault.cause == Cause::SupplyGas) {
            enclosure.makeup_mean = enclosure.makeup_mean.max(0.02 * enclosure.volume_m3);
        }
        let onset_s = faults.first().map(|fault| 3600.0 * fault.onset_h);
        let (log, background) = self.run(&mut random, &enclosure, &faults, end_h);
        SimulatedLog { log, background, onset_s }
    }

    fn draw_fault(&self, random: &mut Random, cause: Cause, end_h: f64, weaker: bool) -> Fault {
        let [low, high] = if weaker { [1.3, 1.8] } else { self.factor };
        let chance = |random: &mut Random, share: f64| random.uniform(0.0, 1.0) < share;
        let sudden = match cause {
            Cause::Leak | Cause::SupplyGas | Cause::Transfers => 0.75,
            Cause::PurifierCapacity | Cause::AnalyserDrift => 0.2,
            _ => 0.5,
        };
        let onset_h = random.uniform(0.15, 0.75) * end_h;
        let growing_h = if chance(random, sudden) { 0.0 } else { random.uniform(0.3, 1.0) * (end_h - onset_h) };
        let fading = cause == Cause::Outgassing && growing_h == 0.0 && chance(random, 0.5);
        let species = match random.uniform(0.0, 1.0) {
            u if u < 0.5 => [true, true],
            u if u < 0.75 => [true, false],
            _ => [false, true],
        };
        Fault {
            cause,
            factor: random.uniform(low.ln(), high.ln()).exp(),
            onset_h,
            growing_h,
            fading_h: if fading { random.uniform(24.0, 0.5 * end_h.max(60.0)) } else { f64::INFINITY },
            species,
            sign: if chance(random, 0.8) { 1.0 } else { -1.0 },
        }
    }
}

fn draw_enclosure(random: &mut Random, causes: [Option<Cause>; 2]) -> Enclosure {
    let ln_uniform = |random: &mut Random, low: f64, high: f64| random.uniform(low.ln(), high.ln()).exp();
    let volume_m3 = ln_uniform(random, 0.3, 3.0);
    let turnover_per_h = ln_uniform(random, 10.0, 80.0);
    let efficiency = [random.uniform(0.6, 0.98), random.uniform(0.5, 0.95)];
    let floor = [ln_uniform(random, 0.1, 5.0), ln_uniform(random, 0.1, 8.0)];
    let total = [0, 1].map(|s| floor[s] * turnover_per_h * efficiency[s]);
    let (day_pa, night_pa) = match random.uniform(0.0, 1.0) {
        u if u < 0.3 => {
            let set = random.uniform(80.0, 400.0);
            (set, set)
        }
        u if u < 0.5 => {
            let set = -random.uniform(50.0, 400.0);
            (set, set)
        }
        u if u < 0.8 => (random.uniform(50.0, 300.0), -random.uniform(30.0, 300.0)),
        _ => (-random.uniform(20.0, 100.0), -random.uniform(150.0, 500.0)),
    };
    let is = |cause: Cause| causes.contains(&Some(cause));
    // A leak that nothing drives is no explanation that a log could show.
    let (day_pa, night_pa) = if is(Cause::Leak) && day_pa.min(night_pa) > 0.0 {
        (day_pa, -random.uniform(50.0, 250.0))
    } else {
        (day_pa, night_pa)
    };
    let drive = 0.4 * (-day_pa).max(0.0) + 0.6 * (-night_pa).max(0.0) + 2.0;
    let share = |random: &mut Random, own: bool| if own { random.uniform(0.3, 0.8) } else { random.uniform(0.05, 0.5) };
    let leak_share = share(random, is(Cause::Leak));
    let leak_water_ratio = random.uniform(0.006, 0.018) / 0.209_476;
    let leak_per_pa = leak_share * total[0] / drive;
    let rest = (total[1] - leak_per_pa * drive * leak_water_ratio).max(0.3 * total[1]);
    let steady = total[0] * (1.0 - leak_share);
    let ratio = PERMEATION_RATIOS[random.uniform(0.0, 3.999) as usize] * (0.3 * random.normal()).exp();
    // Gloves give what they give in their own ratio; the walls give the rest of the water.
    let permeating = if is(Cause::GlovePermeation) { random.uniform(0.4, 0.9) } else { random.uniform(0.1, 0.9) };
    let oxygen = (permeating * rest / ratio).min(steady);
    let permeation = [oxygen, oxygen * ratio];
    let outgassing = [(steady - oxygen) * 0.5, (rest - oxygen * ratio).max(0.1 * rest)];
    Enclosure {
        volume_m3,
        turnover_per_h,
        efficiency,
        leak_per_pa,
        leak_water_ratio,
        permeation_ratio: ratio,
        permeation: [permeation[0] + (steady - oxygen) * 0.3, permeation[1]],
        outgassing,
        supply_ppm: [ln_uniform(random, 0.1, 2.0), ln_uniform(random, 0.1, 3.0)],
        makeup_mean: ln_uniform(random, 0.01, 0.3) * volume_m3,
        day_pa,
        night_pa,
        transfers_per_day: random.uniform(2.0, 8.0),
        dose_ppm: [
            ln_uniform(random, 3.0, 80.0) * floor[0].max(0.3),
            ln_uniform(random, 2.0, 40.0) * floor[1].max(0.3),
        ],
        dose_scatter: random.uniform(0.2, 0.7),
        off: match random.uniform(0.0, 1.0) {
            u if u < 0.35 => Off::Never,
            u if u < 0.75 => Off::Tests(random.uniform(0.7, 3.0), random.uniform(0.8, 4.0)),
            _ => Off::Nights,
        },
        weekend: random.uniform(0.0, 1.0) < 0.7,
    }
}

/// Analyser of one species.
struct Analyser {
    noise: f64,
    relative: f64,
    resolution: f64,
    zero: f64,
    lag_h: f64,
    lowest: f64,
}

impl WorkingLog {
    #[expect(clippy::too_many_lines, reason = "one loop over time with everything that happens in it")]
    fn run(&self, random: &mut Random, enclosure: &Enclosure, faults: &[Fault], end_h: f64) -> (Log, Background) {
        let steps_s = [10.0, 20.0, 30.0, 60.0, 60.0, 60.0, 120.0, 300.0, 600.0];
        let mut step_s = steps_s[random.uniform(0.0, 8.999) as usize];
        if step_s < 60.0 && end_h > 24.0 * 15.0 {
            step_s = 60.0;
        }
        let step_h = step_s / 3600.0;
        let parts = (step_s / 60.0_f64).ceil().max(1.0) as usize;
        let part_h = step_h / parts as f64;
        let floor = [0, 1].map(|s| {
            let steady = enclosure.permeation[s] + enclosure.outgassing[s];
            steady / (enclosure.turnover_per_h * enclosure.efficiency[s])
        });
        let analysers = [0, 1].map(|s| Analyser {
            noise: random.uniform(0.005, 0.08) * floor[s],
            relative: random.uniform(0.0, 0.01),
            resolution: if random.uniform(0.0, 1.0) < 0.5 { 0.01 } else { 0.001 },
            zero: 0.15 * floor[s] * random.normal(),
            lag_h: random.uniform(5.0, 60.0) / 3600.0,
            lowest: if random.uniform(0.0, 1.0) < 0.5 { 0.0 } else { -1.0 },
        });
        let kelvin = [random.uniform(0.3, 2.0), random.uniform(0.0, 1.0), random.uniform(0.0, TAU)];
        let activation = [random.uniform(0.03, 0.07), random.uniform(0.03, 0.08)];
        let flow_wander = random.uniform(0.003, 0.02);
        let content_wander = random.uniform(0.01, 0.06);
        let stickiness = random.uniform(0.0, 0.08);
        let wall_h = random.uniform(2.0, 6.0);
        let gap = (random.uniform(0.0, 1.0) < 0.3)
            .then(|| random.uniform(0.0, 0.9) * end_h)
            .map(|from| [from, from + random.uniform(3.0, 40.0)]);
        let tests_at = random.uniform(6.0, 20.0);
        let regeneration = (random.uniform(0.0, 1.0) < 0.15).then(|| random.uniform(0.1, 0.9) * end_h);
        let mut log = Recorder::default();
        let (mut slow_t, mut humidity, mut flow_noise, mut wander) = (0.0, 0.0, 0.0, [0.0; 2]);
        let mut zero_wander = [0.0; 2];
        let mut x = floor;
        let mut seen = floor;
        let mut wall = 0.0;
        let mut transfer_until = -1.0;
        let mut pressure_noise = 0.0;
        let rows = (end_h / step_h) as usize;
        for row in 0..rows {
            let time_h = row as f64 * step_h;
            let day = (time_h / 24.0) as usize;
            let clock = time_h - 24.0 * day as f64;
            let working = (8.0..18.0).contains(&clock) && !(enclosure.weekend && day % 7 >= 5);
            slow_t = random.ornstein_uhlenbeck(slow_t, kelvin[1], 100.0, step_h);
            humidity = random.ornstein_uhlenbeck(humidity, 0.2, 60.0, step_h);
            flow_noise = random.ornstein_uhlenbeck(flow_noise, flow_wander, 20.0, step_h);
            pressure_noise = random.ornstein_uhlenbeck(pressure_noise, if working { 25.0 } else { 6.0 }, 0.05, step_h);
            for s in [0, 1] {
                wander[s] = random.ornstein_uhlenbeck(wander[s], content_wander, 30.0, step_h);
                zero_wander[s] = random.ornstein_uhlenbeck(zero_wander[s], 0.03 * floor[s], 100.0, step_h);
            }
            let temperature = kelvin[0] * (TAU * clock / 24.0 + kelvin[2]).sin() + slow_t;
            let pressure = if working { enclosure.day_pa } else { enclosure.night_pa } + pressure_noise;
            let off_test = match enclosure.off {
                Off::Never => false,
                Off::Nights => !working && !(6.0..20.0).contains(&clock),
                Off::Tests(hours, every) => {
                    let since = time_h - tests_at - 24.0 * every * ((time_h - tests_at) / (24.0 * every)).floor();
                    time_h > tests_at && since < hours
                }
            };
            let regenerating = regeneration.is_some_and(|at| (at..at + 14.0).contains(&time_h));
            let on = !off_test && !regenerating;
            let grown = |cause: Cause| {
                let own = faults.iter().filter(move |fault| fault.cause == cause);
                own.map(|fault| (fault.share(time_h), *fault)).fold(None, |_, found| Some(found))
            };
            let times = |cause: Cause| grown(cause).map_or(1.0, |(share, fault)| 1.0 + (fault.factor - 1.0) * share);
            let struck = |cause: Cause, s: usize| grown(cause).filter(|(_, fault)| fault.species[s]);
            let turnover = enclosure.turnover_per_h * (1.0 + flow_noise)
                / grown(Cause::CirculationFlow).map_or(1.0, |(share, fault)| fault.factor.powf(share));
            let drive = (-pressure).max(0.0) + 2.0;
            let leaking = enclosure.leak_per_pa * times(Cause::Leak);
            let out = 0.3 * leaking / AIR_OXYGEN_PPM * pressure.max(0.0) * enclosure.volume_m3;
            let makeup = (enclosure.makeup_mean * if working { 1.6 } else { 0.6 } + out)
                * (1.0 + 0.2 * random.normal()).max(0.1);
            let humid = humidity.exp();
            let mut ingress = [0.0; 2];
            let mut rate = [0.0; 2];
            for s in [0, 1] {
                let air = if s == 0 { 1.0 } else { enclosure.leak_water_ratio * humid };
                let warm = (activation[s] * temperature).exp();
                let mut own = leaking * drive * air;
                own +=
                    enclosure.permeation[s] * times(Cause::GlovePermeation) * warm * if s == 1 { humid } else { 1.0 };
                let gives = enclosure.outgassing[s] * warm;
                own += gives;
                if let Some((share, fault)) = grown(Cause::Outgassing) {
                    let more = (fault.factor - 1.0) * share * (enclosure.outgassing[1] + enclosure.permeation[1]);
                    let more = if fault.sign > 0.0 { more * warm } else { more };
                    own += if s == 1 { more } else { 0.01 * more };
                }
                own *= 1.0 + wander[s];
                let mut supplied = enclosure.supply_ppm[s];
                if let Some((share, fault)) = struck(Cause::SupplyGas, s) {
                    let usual = enclosure.permeation[s] + enclosure.outgassing[s];
                    supplied += (fault.factor - 1.0) * share * usual / (enclosure.makeup_mean / enclosure.volume_m3);
                }
                own += makeup / enclosure.volume_m3 * supplied;
                ingress[s] = own;
                let fading = struck(Cause::PurifierCapacity, s).map_or(1.0, |(share, fault)| fault.factor.powf(share));
                rate[s] = turnover * enclosure.efficiency[s] / fading * if on { 1.0 } else { 0.0 }
                    + makeup / enclosure.volume_m3;
            }
            let per_day = enclosure.transfers_per_day
                * grown(Cause::Transfers).filter(|(_, fault)| fault.species[0]).map_or(1.0, |(s, f)| f.factor.powf(s));
            let larger =
                grown(Cause::Transfers).filter(|(_, fault)| !fault.species[0]).map_or(1.0, |(s, f)| f.factor.powf(s));
            let mut dosed = false;
            if working && time_h > transfer_until && on && random.uniform(0.0, 1.0) < per_day / 10.0 * step_h {
                dosed = true;
                transfer_until = time_h + 0.1;
                let common = enclosure.dose_scatter * random.normal();
                for s in [0, 1] {
                    let dose = larger * enclosure.dose_ppm[s] * (common + 0.3 * random.normal()).exp();
                    x[s] += dose * if s == 1 { 1.0 - stickiness } else { 1.0 };
                    if s == 1 {
                        wall += stickiness * dose;
                    }
                }
            }
            for _ in 0..parts {
                let desorbed = wall * (1.0 - (-part_h / wall_h).exp());
                wall -= desorbed;
                for s in [0, 1] {
                    let source = ingress[s] + if s == 1 { desorbed / part_h } else { 0.0 };
                    if rate[s] * part_h > PURE_NOISE {
                        let limit = source / rate[s];
                        x[s] = limit + (x[s] - limit) * (-rate[s] * part_h).exp();
                    } else {
                        x[s] += source * part_h;
                    }
                    seen[s] += (x[s] - seen[s]) * (1.0 - (-part_h / analysers[s].lag_h).exp());
                }
            }
            if gap.is_some_and(|[from, to]| (from..to).contains(&time_h)) {
                continue;
            }
            let mut shown = [0.0; 2];
            for s in [0, 1] {
                let analyser = &analysers[s];
                let drifted = grown(Cause::AnalyserDrift)
                    .filter(|(_, fault)| fault.species[s] && (s == 0 || !fault.species[0]))
                    .map_or(0.0, |(share, fault)| fault.sign * (fault.factor - 1.0) * share * floor[s]);
                let noise = (analyser.noise + analyser.relative * seen[s]) * random.normal();
                let reading = seen[s] + analyser.zero + zero_wander[s] + drifted + noise;
                shown[s] = ((reading / analyser.resolution).round() * analyser.resolution).max(analyser.lowest);
            }
            log.time_s.push(3600.0 * time_h);
            log.oxygen.push(shown[0]);
            log.water.push(shown[1]);
            log.pressure.push(pressure.round());
            log.flow.push(if on { turnover * enclosure.volume_m3 * (1.0 + 0.01 * random.normal()) } else { 0.0 });
            log.on.push(f64::from(u8::from(on)));
            log.makeup.push(makeup);
            log.transfer.push(f64::from(u8::from(dosed || time_h < transfer_until)));
            log.temperature.push(295.0 + temperature);
            log.room_water.push(12_000.0 * humid);
        }
        let background = Background {
            volume_m3: Some(enclosure.volume_m3),
            purifier_flow_m3_per_h: Some(enclosure.turnover_per_h * enclosure.volume_m3),
            room_water_ppm: Some(12_000.0),
            // What handbooks say is a factor of 1.6 off.
            permeation_ratio: Some((enclosure.permeation_ratio * (0.45 * random.normal()).exp(), 0.6)),
            supply_ppm: [0, 1].map(|s| {
                let value = enclosure.supply_ppm[s];
                Some(Known { value, standard_uncertainty: 0.5 * value })
            }),
            ..Background::default()
        };
        self.choose(random, log, background)
    }

    /// Leaves channels out.
    fn choose(&self, random: &mut Random, log: Recorder, background: Background) -> (Log, Background) {
        let mut kept = |chance: f64| match self.channels {
            Channels::Full => true,
            Channels::Some => random.uniform(0.0, 1.0) < chance,
            Channels::OxygenOnly => false,
        };
        let keep = [kept(0.85), kept(0.7), kept(0.6), kept(0.8), kept(0.5), kept(0.6), kept(0.5), kept(0.5), kept(0.5)];
        let time_s = log.time_s;
        let trace = |keep: bool, value: Vec<f64>| {
            keep.then(|| Trace { time_s: time_s.clone(), value, below_limit: Vec::new() })
        };
        let log = Log {
            oxygen_ppm: trace(true, log.oxygen),
            water_ppm: trace(keep[0], log.water),
            gauge_pressure_pa: trace(keep[1], log.pressure),
            circulation_flow: trace(keep[2], log.flow),
            purifier_on: trace(keep[3], log.on),
            makeup_flow_m3_per_h: trace(keep[4], log.makeup),
            transfer: trace(keep[5], log.transfer),
            temperature_k: trace(keep[6], log.temperature),
            room_water_ppm: trace(keep[7], log.room_water),
        };
        (log, if keep[8] { background } else { Background::default() })
    }
}

/// The columns of a log.
#[derive(Default)]
struct Recorder {
    time_s: Vec<f64>,
    oxygen: Vec<f64>,
    water: Vec<f64>,
    pressure: Vec<f64>,
    flow: Vec<f64>,
    on: Vec<f64>,
    makeup: Vec<f64>,
    transfer: Vec<f64>,
    temperature: Vec<f64>,
    room_water: Vec<f64>,
}
