//! Makes the exports of the demo in `data-samples/k-12`: an argon enclosure in a university coatings laboratory, a
//! tight and a leaky hold. All data are invented; the physics is that of `tightfit_fit::simulate`.
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
use tightfit_fit::simulate::{Disturbance, Hold, Room, SimulatedHold, ThermometerModel};

/// Zone of the laboratory's loggers.
const ZONE: &str = "Europe/Vienna";

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data-samples/k-12");
    let files = [
        ("tight.csv", tight_export()?),
        ("leaky-enclosure.csv", leaky_enclosure_export()?),
        ("leaky-barometer.csv", leaky_barometer_export()?),
    ];
    for (name, text) in files {
        write(&folder.join(name), &text)?;
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

fn comma(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$}").replace('.', ",")
}
