//! A second generator of working logs, built otherwise than `tightfit_fit::simulate::WorkingLog`: a bed whose efficiency
//! follows from transfer units and flow, leaks with an exponent, walls that give off water over hours, days and weeks,
//! pressure that a two-point control lets drift with the weather, people in one or two shifts, analysers that wander
//! within minutes and over weeks and show no more than 0.1 ppm, rows every 10 s to 15 min with jitter and gaps.

use std::f64::consts::TAU;

use tightfit_fit::diagnose::{Background, Cause, Known, Log, Trace};
use tightfit_fit::simulate::{Channels, Random};

/// What is simulated.
pub(crate) struct OtherBox {
    pub(crate) cause: Cause,
    pub(crate) channels: Channels,
    /// By what factor the fault changes its quantity, least and most.
    pub(crate) factor: [f64; 2],
}

/// A log and when its fault began, s.
pub(crate) struct Made {
    pub(crate) log: Log,
    pub(crate) background: Background,
    pub(crate) onset_s: Option<f64>,
}

const AIR_OXYGEN_PPM: f64 = 209_476.0;

struct Draw {
    volume_m3: f64,
    flow_m3_per_h: f64,
    /// Transfer units of the bed for oxygen and water.
    units: [f64; 2],
    /// Inflow at 100 Pa below the room, m³/h, and the power of the pressure.
    leak_m3_per_h: f64,
    exponent: f64,
    gloves: [f64; 2],
    supply_ppm: [f64; 2],
    makeup_m3_per_h: f64,
    /// Water on the walls, ppm, with time constants in h, and what comes off for good, ppm/h.
    walls: [[f64; 2]; 3],
    seepage: [f64; 2],
    set_pa: [f64; 2],
    band_pa: f64,
    shifts: [f64; 2],
    transfers_per_day: f64,
    dose_ppm: [f64; 2],
    swing_k: f64,
    off: Option<[f64; 2]>,
}

#[derive(Clone, Copy)]
struct Fault {
    cause: Cause,
    factor: f64,
    onset_h: f64,
    shape: Shape,
    species: [bool; 2],
    sign: f64,
}

#[derive(Clone, Copy)]
enum Shape {
    Sudden,
    Levelling(f64),
    Swelling(f64),
}

impl Fault {
    /// How far it has come, 0 to 1.
    fn share(&self, time_h: f64) -> f64 {
        let since = time_h - self.onset_h;
        match self.shape {
            _ if since < 0.0 => 0.0,
            Shape::Sudden => 1.0,
            Shape::Levelling(h) => 1.0 - (-since / h).exp(),
            Shape::Swelling(h) => (since / h).min(1.0).powf(1.5),
        }
    }

    fn times(&self, time_h: f64) -> f64 {
        1.0 + (self.factor - 1.0) * self.share(time_h)
    }
}

impl OtherBox {
    pub(crate) fn make(&self, seed: u64) -> Made {
        let mut random = Random::new(seed);
        let days = log_uniform(&mut random, 4.0, 45.0);
        let end_h = 24.0 * days;
        let own = draw(&mut random, self.cause);
        let fault = self.cause.is_change().then(|| self.fault(&mut random, end_h));
        let (log, background) = run(&mut random, &own, fault, end_h, self.channels);
        Made { log, background, onset_s: fault.map(|fault| 3600.0 * fault.onset_h) }
    }

    fn fault(&self, random: &mut Random, end_h: f64) -> Fault {
        let onset_h = random.uniform(0.2, 0.7) * end_h;
        let rest_h = end_h - onset_h;
        let slow = match self.cause {
            Cause::PurifierCapacity | Cause::AnalyserDrift => 0.7,
            Cause::Transfers | Cause::SupplyGas => 0.0,
            _ => 0.3,
        };
        let shape = match random.uniform(0.0, 1.0) {
            u if u > slow => Shape::Sudden,
            u if u > 0.5 * slow => Shape::Levelling(random.uniform(0.05, 0.3) * rest_h),
            _ => Shape::Swelling(random.uniform(0.4, 1.0) * rest_h),
        };
        let species = match random.uniform(0.0, 3.0) as usize {
            0 => [true, false],
            1 => [false, true],
            _ => [true, true],
        };
        let factor = log_uniform(random, self.factor[0], self.factor[1]);
        let sign = if random.uniform(0.0, 1.0) < 0.75 { 1.0 } else { -1.0 };
        Fault { cause: self.cause, factor, onset_h, shape, species, sign }
    }
}

fn log_uniform(random: &mut Random, low: f64, high: f64) -> f64 {
    random.uniform(low.ln(), high.ln()).exp()
}

fn draw(random: &mut Random, cause: Cause) -> Draw {
    let volume_m3 = log_uniform(random, 0.15, 8.0);
    let turnover = log_uniform(random, 6.0, 60.0);
    let units = [random.uniform(1.0, 5.0), random.uniform(1.0, 4.0)];
    let rate = units.map(|units| turnover * (1.0 - (-units).exp()));
    let floor = [log_uniform(random, 0.3, 8.0), log_uniform(random, 0.3, 10.0)];
    let set_pa = match random.uniform(0.0, 4.0) as usize {
        0 if cause != Cause::Leak => [random.uniform(100.0, 500.0); 2],
        1 => [-random.uniform(80.0, 400.0); 2],
        2 => [random.uniform(60.0, 250.0), -random.uniform(60.0, 250.0)],
        _ => [-random.uniform(30.0, 120.0), -random.uniform(200.0, 450.0)],
    };
    let exponent = random.uniform(0.6, 1.0);
    let drive = set_pa.map(|pa| ((-pa).max(0.0) / 100.0).powf(exponent)).iter().sum::<f64>() / 2.0;
    let through_leaks = if cause == Cause::Leak { random.uniform(0.3, 0.8) } else { random.uniform(0.02, 0.4) };
    let ingress = [0, 1].map(|s| floor[s] * rate[s]);
    let leak_m3_per_h = through_leaks * ingress[0] * volume_m3 / AIR_OXYGEN_PPM / drive.max(0.3);
    let by_gloves = if cause == Cause::GlovePermeation { random.uniform(0.5, 0.9) } else { random.uniform(0.1, 0.7) };
    let ratio = log_uniform(random, 2.5, 25.0);
    let oxygen = ((1.0 - through_leaks) * by_gloves * ingress[0]).min(by_gloves * ingress[1] / ratio);
    let gloves = [oxygen, oxygen * ratio];
    let makeup_m3_per_h = log_uniform(random, 0.005, 0.15) * volume_m3;
    // Sound boxes are those that could be mistaken: warm days, cold nights and busy people.
    let sound = cause == Cause::NothingChanged;
    let wet = random.uniform(0.0, 3.0) * floor[1];
    Draw {
        volume_m3,
        flow_m3_per_h: turnover * volume_m3,
        units,
        leak_m3_per_h,
        exponent,
        gloves,
        supply_ppm: [log_uniform(random, 0.2, 3.0), log_uniform(random, 0.2, 5.0)],
        makeup_m3_per_h,
        walls: [[0.0, 3.0], [wet * 10.0, 25.0], [wet * 30.0, 250.0]],
        seepage: [
            ((1.0 - through_leaks) * ingress[0] - oxygen).max(0.05 * ingress[0]),
            (ingress[1] - gloves[1]).max(0.1 * ingress[1]),
        ],
        set_pa,
        band_pa: random.uniform(5.0, 60.0),
        shifts: if random.uniform(0.0, 1.0) < 0.3 { [6.0, 22.0] } else { [7.5, 16.5] },
        transfers_per_day: if sound { log_uniform(random, 6.0, 30.0) } else { log_uniform(random, 1.5, 20.0) },
        dose_ppm: [log_uniform(random, 2.0, 40.0) * floor[0], log_uniform(random, 2.0, 40.0) * floor[1]],
        swing_k: if sound { random.uniform(2.0, 6.0) } else { random.uniform(0.2, 4.0) },
        off: (random.uniform(0.0, 1.0) < 0.6).then(|| [random.uniform(1.0, 3.0), random.uniform(1.0, 7.0)]),
    }
}

/// Columns in the order of the channels.
#[derive(Default)]
struct Table {
    time_s: Vec<f64>,
    columns: [Vec<f64>; 9],
}

#[allow(clippy::too_many_lines, reason = "one loop over time with everything that happens in it")]
fn run(random: &mut Random, own: &Draw, fault: Option<Fault>, end_h: f64, channels: Channels) -> (Log, Background) {
    const STEP_H: f64 = 1.0 / 60.0;
    let mut every_h: f64 = [10.0, 60.0, 60.0, 120.0, 300.0, 900.0][random.uniform(0.0, 5.999) as usize] / 3600.0;
    if end_h > 360.0 {
        every_h = every_h.max(STEP_H);
    }
    let is = |cause: Cause| fault.filter(|fault| fault.cause == cause);
    let resolution = [0.1, 0.1, 0.01, 0.001][random.uniform(0.0, 3.999) as usize];
    let lag_h = random.uniform(5.0, 120.0) / 3600.0;
    let floor = [0, 1].map(|s| {
        let rate = own.flow_m3_per_h / own.volume_m3 * (1.0 - (-own.units[s]).exp());
        (own.gloves[s] + own.seepage[s]) / rate
    });
    let noise =
        [0, 1].map(|s| [random.uniform(0.002, 0.05), random.uniform(0.002, 0.03)].map(|share| share * floor[s]));
    let zero = [0, 1].map(|s| 0.1 * floor[s] * random.normal());
    let (mut fast, mut slow, mut seep) = ([0.0; 2], [0.0; 2], [0.0; 2]);
    let (mut weather_k, mut ln_humid, mut pressure_off, mut fan) = (0.0, 0.0, 0.0, 0.0);
    let gaps: Vec<[f64; 2]> = (0..random.uniform(0.0, 4.0) as usize)
        .map(|_| {
            let from = random.uniform(0.0, end_h);
            [from, from + log_uniform(random, 0.3, 30.0)]
        })
        .collect();
    let mut walls = own.walls.map(|[amount, _]| amount);
    let mut x = floor;
    let mut seen = floor;
    let mut table = Table::default();
    let (mut next_h, mut door_until_h, mut step) = (0.0, -1.0, 0.0);
    while step * STEP_H < end_h {
        let time_h = step * STEP_H;
        step += 1.0;
        let day = (time_h / 24.0) as usize;
        let clock = time_h % 24.0;
        let staffed = (own.shifts[0]..own.shifts[1]).contains(&clock) && day % 7 < 5;
        weather_k = random.ornstein_uhlenbeck(weather_k, 0.8, 60.0, STEP_H);
        ln_humid = random.ornstein_uhlenbeck(ln_humid, 0.25, 80.0, STEP_H);
        pressure_off = random.ornstein_uhlenbeck(pressure_off, own.band_pa, 1.5, STEP_H);
        fan = random.ornstein_uhlenbeck(fan, 0.01, 60.0, STEP_H);
        let kelvin = own.swing_k * (TAU * (clock - 9.0) / 24.0).sin() + weather_k;
        let pressure = own.set_pa[usize::from(!staffed)] + pressure_off;
        let on = own.off.is_none_or(|[hours, days]| {
            let since = (time_h - 21.0).rem_euclid(24.0 * days);
            time_h < 21.0 || since > hours
        });
        let flow = own.flow_m3_per_h * (1.0 + fan) / is(Cause::CirculationFlow).map_or(1.0, |f| f.times(time_h));
        let leak = own.leak_m3_per_h * is(Cause::Leak).map_or(1.0, |f| f.times(time_h));
        let through = |pa: f64| (pa.max(0.0) / 100.0).powf(own.exponent);
        let inflow = leak * (through(-pressure) + 0.02);
        // A valve that opens some times a minute.
        let valve = (0..4).filter(|_| random.uniform(0.0, 1.0) < 0.5).count() as f64 / 2.0;
        let makeup = (own.makeup_m3_per_h * if staffed { 1.5 } else { 0.7 } + 0.8 * leak * through(pressure)) * valve;
        let more = |cause: Cause, larger: bool| {
            is(cause).filter(|fault| fault.species[0] == larger).map_or(1.0, |fault| fault.times(time_h))
        };
        let chance = own.transfers_per_day * more(Cause::Transfers, false) / (own.shifts[1] - own.shifts[0]) * STEP_H;
        if staffed && on && time_h > door_until_h && random.uniform(0.0, 1.0) < chance {
            door_until_h = time_h + random.uniform(0.05, 0.2);
            let size = more(Cause::Transfers, true) * (0.4 * random.normal()).exp();
            x[0] += size * own.dose_ppm[0] * (0.2 * random.normal()).exp();
            let wet = size * own.dose_ppm[1] * (0.2 * random.normal()).exp();
            x[1] += 0.95 * wet;
            walls[0] += 0.05 * wet;
        }
        let mut given = 0.0;
        for (wall, [_, tau_h]) in walls.iter_mut().zip(own.walls) {
            let off = *wall * (1.0 - (-STEP_H / tau_h).exp()) * (0.04 * kelvin).exp();
            *wall -= off;
            given += off / STEP_H;
        }
        for s in [0, 1] {
            seep[s] = random.ornstein_uhlenbeck(seep[s], 0.04, 15.0, STEP_H);
            let air = if s == 0 { AIR_OXYGEN_PPM } else { 11_000.0 * ln_humid.exp() };
            let struck = |cause: Cause| is(cause).filter(|fault| fault.species[s]);
            let usual = own.gloves[s] + own.seepage[s];
            let mut ingress = inflow / own.volume_m3 * air;
            ingress += own.gloves[s]
                * is(Cause::GlovePermeation).map_or(1.0, |f| f.times(time_h))
                * (0.05 * kelvin + if s == 1 { ln_humid } else { 0.0 }).exp();
            ingress += own.seepage[s] * (0.06 * kelvin).exp() * (1.0 + seep[s]) + if s == 1 { given } else { 0.0 };
            let goods =
                is(Cause::Outgassing).map_or(0.0, |f| (f.times(time_h) - 1.0) * (own.gloves[1] + own.seepage[1]));
            ingress += goods * if s == 1 { 1.0 } else { 0.005 };
            let impure = struck(Cause::SupplyGas).map_or(0.0, |f| f.times(time_h) - 1.0) * usual * own.volume_m3;
            ingress += makeup / own.volume_m3 * (own.supply_ppm[s] + impure / own.makeup_m3_per_h);
            let units = own.units[s] * own.flow_m3_per_h / flow;
            let taken = (1.0 - (-units).exp()) / struck(Cause::PurifierCapacity).map_or(1.0, |f| f.times(time_h));
            let rate = if on { flow / own.volume_m3 * taken } else { 0.0 } + 1e-6;
            let limit = ingress / rate;
            x[s] = limit + (x[s] - limit) * (-rate * STEP_H).exp();
            seen[s] += (x[s] - seen[s]) * (1.0 - (-STEP_H / lag_h).exp());
            fast[s] = random.ornstein_uhlenbeck(fast[s], noise[s][0], 0.1, STEP_H);
            slow[s] = random.ornstein_uhlenbeck(slow[s], noise[s][1], 150.0, STEP_H);
        }
        while next_h <= time_h {
            let at_h = next_h;
            next_h += every_h * random.uniform(0.97, 1.03);
            if gaps.iter().any(|[from, to]| (*from..*to).contains(&at_h)) {
                continue;
            }
            table.time_s.push(3600.0 * at_h);
            let shown = [0, 1].map(|s| {
                let moved = is(Cause::AnalyserDrift)
                    .filter(|fault| fault.species[s] && (s == 0 || !fault.species[0]))
                    .map_or(0.0, |fault| {
                        // Downwards no further than to zero, below which nothing is shown.
                        let times = fault.times(time_h);
                        (if fault.sign > 0.0 { times } else { times.recip() } - 1.0) * floor[s]
                    });
                let reading = seen[s] + zero[s] + fast[s] + slow[s] + moved + 0.3 * noise[s][0] * random.normal();
                ((reading / resolution).round() * resolution).max(0.0)
            });
            let row = [
                shown[0],
                shown[1],
                pressure.round(),
                if on { flow * (1.0 + 0.02 * random.normal()) } else { 0.0 },
                f64::from(u8::from(on)),
                makeup,
                f64::from(u8::from(time_h < door_until_h)),
                294.0 + kelvin,
                11_000.0 * ln_humid.exp(),
            ];
            for (column, value) in table.columns.iter_mut().zip(row) {
                column.push(value);
            }
        }
    }
    let background = Background {
        volume_m3: Some(own.volume_m3),
        purifier_flow_m3_per_h: Some(own.flow_m3_per_h),
        supply_ppm: own.supply_ppm.map(|value| Some(Known { value, standard_uncertainty: 0.5 * value })),
        ..Background::default()
    };
    chosen(random, table, background, channels)
}

/// Leaves channels out.
fn chosen(random: &mut Random, table: Table, background: Background, channels: Channels) -> (Log, Background) {
    const KEPT: [f64; 9] = [1.0, 0.9, 0.6, 0.5, 0.7, 0.4, 0.5, 0.5, 0.4];
    let mut kept = KEPT.map(|chance| match channels {
        Channels::Full => true,
        Channels::Some => random.uniform(0.0, 1.0) < chance,
        Channels::OxygenOnly => false,
    });
    kept[0] = true;
    let time_s = table.time_s;
    let mut columns = table.columns.into_iter().zip(kept);
    let mut next = || {
        let (value, kept) = columns.next()?;
        kept.then(|| Trace { time_s: time_s.clone(), value, below_limit: Vec::new() })
    };
    let log = Log {
        oxygen_ppm: next(),
        water_ppm: next(),
        gauge_pressure_pa: next(),
        circulation_flow: next(),
        purifier_on: next(),
        makeup_flow_m3_per_h: next(),
        transfer: next(),
        temperature_k: next(),
        room_water_ppm: next(),
    };
    let known = channels == Channels::Full || random.uniform(0.0, 1.0) < 0.5;
    (log, if known { background } else { Background::default() })
}
