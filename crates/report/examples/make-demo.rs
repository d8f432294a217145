//! Makes the exports of the demo in `data-samples/k-12`: an argon enclosure in a university coatings laboratory, a
//! tight and a leaky hold, four runs with the purifier off, two weeks of work in which oxygen rises, the upkeep of
//! purifier and analyser, a clean-up, and the antechamber. All data are
//! invented; the physics is that of `tightfit_fit::simulate`.
//!
//! `cargo run -p tightfit-report --example make-demo`
//!
//! The tight hold comes as a plain comma export. The leaky one comes from two loggers in awkward forms: semicolons,
//! decimal commas, day-first local times, a preamble, a repeated header and missing readings in the one; month-first
//! times with AM and PM in the other.

use std::error::Error;
use std::fmt::Write as _;
use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use tightfit_fit::simulate::{
    Disturbance, Doses, EnduranceRun, GaugeModel, Hold, Random, RegenerationCell, Rise, Room, SimulatedHold,
    ThermometerModel, Vessel, VesselStep,
};

/// Zone of the laboratory's loggers.
const ZONE: &str = "Europe/Vienna";

/// Pressures of the runs with the purifier off, one a night.
const SERIES_PA: [f64; 4] = [250.0, -100.0, -250.0, -500.0];
/// Leak of the enclosure with its gloves in place, 1/h at −500 Pa and 1013 hPa.
const SERIES_LEAK_PER_H: f64 = 6.5e-5;
/// Oxygen and water of room air at 42 %, 22 °C and 1013 hPa, ppm.
const ROOM_AIR_PPM: [f64; 2] = [207_080.0, 11_010.0];
/// Through worn gloves: oxygen and water, ppm/h.
const SERIES_PERMEATION_PPM_PER_H: [f64; 2] = [7.5, 55.0];

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-samples/k-12");
    let files = [
        ("tight.csv", tight_export()?),
        ("leaky-enclosure.csv", leaky_enclosure_export()?),
        ("leaky-barometer.csv", leaky_barometer_export()?),
        ("rising.csv", rising_export()?),
        ("upkeep-two-days.csv", endurance_export()?),
        ("upkeep-check.csv", check_export()?),
        ("upkeep-regeneration.csv", regeneration_export()?),
        ("clean-up.csv", clean_up_export()?),
        ("antechamber-hold.csv", antechamber_hold_export()?),
        ("antechamber-cycles.csv", antechamber_cycles_export()?),
    ];
    for (name, text) in files {
        write(&folder.join(name), &text)?;
    }
    for (day, pressure_pa) in (11..).zip(SERIES_PA) {
        write(&folder.join(format!("series-{day}-may.csv")), &series_export(day, pressure_pa)?)?;
    }
    Ok(())
}

#[expect(clippy::disallowed_methods, reason = "demo data are made again, whole, by running this once more")]
fn write(path: &Path, text: &str) -> std::io::Result<()> {
    // Loggers of this make write Latin-1; every character used here has a code below 256.
    let latin1: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect();
    std::fs::write(path, if path.ends_with("leaky-enclosure.csv") { latin1 } else { text.as_bytes().to_vec() })
}

/// A hold at −1000 Pa with a leak stated in 1/h at −1000 Pa.
fn hold(hourly_leak_rate: f64, duration_s: f64) -> Hold {
    let mut hold = Hold::ordinary(Room::ORDINARY, duration_s, hourly_leak_rate);
    hold.difference_pa = -1000.0;
    hold.conductance_per_volume_per_s /= 2.0;
    hold.with_pumping = true;
    hold.gauge_zero_pa = 0.6;
    hold.gauge_scale = 0.001;
    hold.thermometers = vec![ThermometerModel {
        lag_s: 110.0,
        offset_k: 0.15,
        noise_k: 0.003,
        resolution_k: 0.01,
        wander_k: 0.004,
        wander_memory_s: 1500.0,
    }];
    hold
}

fn tight_hold() -> SimulatedHold {
    hold(1.3e-4, 4.0 * 3600.0).simulate(12)
}

fn leaky_hold() -> SimulatedHold {
    let mut hold = hold(1.6e-3, 2.0 * 3600.0);
    hold.disturbances.push(Disturbance::GlovePull { relative: 6e-4, from_s: 4200.0, to_s: 4240.0 });
    hold.simulate(7)
}

fn tight_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-05-04T07:20:00Z".parse()?;
    let hold = tight_hold();
    let mut text = String::from("time,gauge pressure (Pa),gas temperature (°C),room pressure (hPa)\n");
    for (index, time_s) in hold.time_s.iter().enumerate() {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        let celsius = hold.thermometers_k[0][index] - 273.15;
        writeln!(text, "{time},{:.1},{celsius:.2},{:.3}", hold.gauge_pa[index], hold.room_pa[index] / 100.0)?;
    }
    Ok(text)
}

fn leaky_enclosure_export() -> Result<String, Box<dyn Error>> {
    const HEADER: &str = "Datum;Uhrzeit;Differenzdruck [Pa];Gastemperatur [°C];Bemerkung\r\n";
    let start: Timestamp = "2026-05-05T11:40:00Z".parse()?;
    let zone = TimeZone::get(ZONE)?;
    let hold = leaky_hold();
    let mut text = String::from("Messprotokoll Beschichtungslabor\r\nKasten K-12;Argon\r\n\r\n");
    text.push_str(HEADER);
    for (index, time_s) in hold.time_s.iter().enumerate() {
        // The logger starts a new page with its header every 500 rows.
        if index > 0 && index % 500 == 0 {
            text.push_str(HEADER);
        }
        let local = zone.to_datetime(Timestamp::from_second(start.as_second() + *time_s as i64)?);
        let (date, clock) = (local.strftime("%d.%m.%Y"), local.strftime("%H:%M:%S"));
        let temperature = match index % 97 {
            41 => "---".to_owned(),
            _ => comma(hold.thermometers_k[0][index] - 273.15, 2),
        };
        write!(text, "{date};{clock};{};{temperature};\r\n", comma(hold.gauge_pa[index], 1))?;
    }
    text.push_str("Ende der Messung\r\n");
    Ok(text)
}

fn leaky_barometer_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-05-05T11:40:00Z".parse()?;
    let zone = TimeZone::get(ZONE)?;
    let hold = leaky_hold();
    let mut text = String::from("Date/Time,Barometer (mbar)\n");
    for (index, time_s) in hold.time_s.iter().enumerate().step_by(6) {
        let local = zone.to_datetime(Timestamp::from_second(start.as_second() + *time_s as i64)?);
        writeln!(text, "{},{:.2}", local.strftime("%m/%d/%Y %I:%M:%S %p"), hold.room_pa[index] / 100.0)?;
    }
    Ok(text)
}

/// Two weeks of work at a row every ten minutes. Above the room's pressure by day, below it by night; the purifier rests
/// an hour before each dawn. In the ninth night a leak opens to three times what leaked before.
fn rising_export() -> Result<String, Box<dyn Error>> {
    const STEP_H: f64 = 1.0 / 6.0;
    const OPENED_H: f64 = 8.0 * 24.0 + 2.5;
    /// Purifier's rate for oxygen and water, 1/h: 60 m³/h through 0.92 m³ at 85 % and 78 %.
    const RATE: [f64; 2] = [55.4, 50.9];
    let start: Timestamp = "2026-09-06T22:00:00Z".parse()?;
    let mut random = Random::new(21);
    let mut text = String::from(
        "time,O2 (ppm),H2O (ppm),box pressure (Pa),circulation (m3/h),purifier on,make-up (m3/h),transfer,gas temperature (°C)\n",
    );
    let mut content = [0.11, 0.35];
    for row in 0..14 * 144 {
        let time_h = f64::from(row) * STEP_H;
        let (day, clock) = ((time_h / 24.0) as u32, time_h % 24.0);
        let working = day % 7 < 5 && (8.0..17.5).contains(&clock);
        let pressure = if working { 90.0 } else { -70.0 } + 8.0 * random.normal();
        let celsius = 22.0 + 0.8 * (std::f64::consts::TAU * (clock - 9.0) / 24.0).sin() + 0.05 * random.normal();
        let resting = (4.0..5.0).contains(&clock);
        let transfer = working && !resting && random.uniform(0.0, 1.0) < 0.07;
        let leaking = 0.05 * ((-pressure).max(0.0) + 1.0) * if time_h >= OPENED_H { 3.0 } else { 1.0 };
        let warm = 1.0 + 0.05 * (celsius - 22.0);
        let ingress = [leaking + 2.4 * warm, 0.055 * leaking + 17.0 * warm];
        for (index, content) in content.iter_mut().enumerate() {
            *content += if transfer { [14.0, 5.0][index] * (0.4 * random.normal()).exp() } else { 0.0 };
            if resting {
                *content += ingress[index] * STEP_H;
            } else {
                let floor = ingress[index] / RATE[index];
                *content = floor + (*content - floor) * (-RATE[index] * STEP_H * 0.3).exp();
            }
        }
        let shown = content.map(|value| (value + 0.006 * random.normal()).max(0.0));
        let time = Timestamp::from_second(start.as_second() + (3600.0 * time_h).round() as i64)?;
        let flow = if resting { 0.0 } else { 60.0 + 0.4 * random.normal() };
        let makeup = if working { 0.06 } else { 0.01 } * (1.0 + 0.2 * random.normal()).max(0.1);
        let (on, transfer) = (u8::from(!resting), u8::from(transfer));
        writeln!(
            text,
            "{time},{:.2},{:.2},{pressure:.0},{flow:.1},{on},{makeup:.3},{transfer},{celsius:.1}",
            shown[0], shown[1]
        )?;
    }
    Ok(text)
}

/// Two days with the purifier on, a row every five minutes; the analyser shows 0.08 ppm too much.
fn endurance_export() -> Result<String, Box<dyn Error>> {
    const ZERO_PPM: f64 = 0.08;
    let start: Timestamp = "2026-10-05T06:00:00Z".parse()?;
    let mut cells = EnduranceRun::all();
    let mut run = cells.swap_remove(0);
    (run.length_s, run.cadence_s, run.level_ppm) = (172_800.0, 300.0, 0.3);
    (run.transfers, run.stated, run.clean_up_s) = ([4.0, 2.5], [0.0, 0.0], 1500.0);
    let seen = run.simulate(31);
    let mut text = String::from("time,O2 (ppm)\n");
    for (time_s, reading) in seen.time_s.iter().zip(&seen.reading) {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        writeln!(text, "{time},{:.2}", 1e6 * reading + ZERO_PPM)?;
    }
    Ok(text)
}

/// Zero gas, 20 ppm, zero gas, each for 15 min, to the same analyser.
fn check_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-10-07T07:00:00Z".parse()?;
    let mut random = Random::new(32);
    let mut text = String::from("time,O2 (ppm)\n");
    let mut shown = 0.0;
    for row in 0..540 {
        let content = if (180..360).contains(&row) { 20.0 } else { 0.0 };
        shown = content + (shown - content) * (-5.0_f64 / 9.0).exp();
        let time = Timestamp::from_second(start.as_second() + 5 * row)?;
        writeln!(text, "{time},{:.2}", 1.01 * shown + 0.08 + 0.01 * random.normal())?;
    }
    Ok(text)
}

/// 60 ppm of oxygen given at once, brought down with a time constant of 65 s, read every 2 s by an analyser with t90 20 s.
fn clean_up_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-05-06T09:10:00Z".parse()?;
    let mut run = Doses::one(65.0, 0.0, 12.0);
    (run.cadence_s, run.lag_s, run.floor_ppm) = (2.0, 20.0 / 10.0_f64.ln(), 0.15);
    (run.noise, run.resolution_ppm) = ([0.02, 0.005], 0.01);
    let (time_s, reading) = run.simulate(41);
    let mut text = String::from("time,O2 (ppm)\n");
    for (time_s, fraction) in time_s.iter().zip(&reading) {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        writeln!(text, "{time},{:.2}", 1e6 * fraction)?;
    }
    Ok(text)
}

/// The antechamber of 38 L with its leak.
fn antechamber() -> Vessel {
    Vessel { power_law: 2e-3, room_pa: 97_300.0, drift_k_per_h: 0.1, ..Vessel::antechamber(1.5e-3) }
}

/// The antechamber pumped for a quarter of an hour and held for two hours; its gauge puts out 1 V a decade from 1 Pa at 1 V.
fn antechamber_hold_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-05-06T11:30:00Z".parse()?;
    let gauge = GaugeModel {
        cadence_s: 20.0,
        noise: [0.02, 0.002],
        zero_pa: 0.0,
        scale: 0.0,
        resolution_pa: 0.0,
        from_room: false,
    };
    let steps = [
        VesselStep::Pump { for_s: 900.0, tau_s: 40.0, ultimate_pa: 5.0 },
        VesselStep::Hold { for_s: 7200.0 },
        VesselStep::Fill { to_pa: 97_000.0, rate_pa_per_s: 2500.0 },
    ];
    let seen = antechamber().simulate(&steps, &gauge, 42);
    let mut text = String::from("time,vacuum gauge (V)\n");
    for (time_s, pa) in seen.time_s.iter().zip(&seen.reading_pa) {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        writeln!(text, "{time},{:.4}", 1.0 + pa.max(1e-3).log10())?;
    }
    Ok(text)
}

/// Three cycles down to about 10 hPa, a row every 3 s.
fn antechamber_cycles_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-05-06T14:30:00Z".parse()?;
    let gauge = GaugeModel {
        cadence_s: 3.0,
        noise: [3.0, 0.0],
        zero_pa: 15.0,
        scale: 0.002,
        resolution_pa: 0.0,
        from_room: false,
    };
    let mut steps = vec![VesselStep::Hold { for_s: 60.0 }];
    for _ in 0..3 {
        steps.extend([
            VesselStep::Pump { for_s: 210.0, tau_s: 40.0, ultimate_pa: 600.0 },
            VesselStep::Hold { for_s: 90.0 },
            VesselStep::Fill { to_pa: 97_000.0, rate_pa_per_s: 2500.0 },
            VesselStep::Hold { for_s: 45.0 },
        ]);
    }
    let seen = antechamber().simulate(&steps, &gauge, 43);
    let mut text = String::from("time,antechamber (hPa abs)\n");
    for (time_s, pa) in seen.time_s.iter().zip(&seen.reading_pa) {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        writeln!(text, "{time},{:.2}", pa / 100.0)?;
    }
    Ok(text)
}

/// A regeneration over fifteen hours, a row every two minutes.
fn regeneration_export() -> Result<String, Box<dyn Error>> {
    let start: Timestamp = "2026-10-07T14:00:00Z".parse()?;
    let mut run = RegenerationCell::all().swap_remove(0).run;
    run.cadence_s = 120.0;
    let seen = run.simulate(473.15, 10e3, 33);
    let mut text = String::from("time,vessel temperature (°C),regeneration flow (L/min),vessel pressure (kPa abs)\n");
    for (index, time_s) in seen.time_s.iter().enumerate() {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        let (celsius, kpa) = (seen.temperature_k[index] - 273.15, seen.pressure_pa[index] / 1000.0);
        writeln!(text, "{time},{celsius:.1},{:.2},{kpa:.2}", seen.flow_m3_per_s[index] * 60_000.0)?;
    }
    Ok(text)
}

fn comma(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$}").replace('.', ",")
}

/// A night with the purifier off: oxygen and water rise; the walls give off water.
fn series_export(day: u32, pressure_pa: f64) -> Result<String, Box<dyn Error>> {
    let start: Timestamp = format!("2026-05-{day}T17:30:00Z").parse()?;
    let leak_per_h = SERIES_LEAK_PER_H * (-pressure_pa / 500.0).max(0.0);
    let rise = |species: usize, start_ppm: f64, outgassed: &[[f64; 2]], noise_ppm: f64| {
        let ingress = leak_per_h * ROOM_AIR_PPM[species] + SERIES_PERMEATION_PPM_PER_H[species];
        let rise = Rise {
            cadence_s: 120.0,
            start_ppm,
            room_air_ppm: ROOM_AIR_PPM[species],
            exponentials: outgassed.to_vec(),
            response_tau_s: 15.0,
            noise: [noise_ppm, 0.002],
            ..Rise::plain(10.0, ingress)
        };
        rise.simulate(u64::from(10 * day) + species as u64)
    };
    let oxygen = rise(0, 0.4, &[], 0.08);
    let water = rise(1, 1.6, &[[28.0, 1.5]], 0.15);
    let mut random = Random::new(u64::from(day));
    let mut text = String::from("time,O2 (ppm),H2O (ppm),box pressure (Pa)\n");
    for (index, time_s) in oxygen.time_s.iter().enumerate() {
        let time = Timestamp::from_second(start.as_second() + *time_s as i64)?;
        let [oxygen, water] = [&oxygen, &water].map(|rise| 1e6 * rise.reading[index]);
        let oxygen = if oxygen < 1.0 { "<1.0".to_owned() } else { format!("{oxygen:.1}") };
        writeln!(text, "{time},{oxygen},{water:.1},{:.0}", pressure_pa + 2.0 * random.normal())?;
    }
    Ok(text)
}
