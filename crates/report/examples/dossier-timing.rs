//! How long a dossier takes to write after the fitting, beside the bare writing of the same bytes to the same disk and
//! the evaluation itself, all measured in this run. Writes one table to standard output.
//!
//! `cargo run -p tightfit-report --example dossier-timing`
#![allow(clippy::print_stdout, reason = "the table is what the program is for")]

use std::error::Error;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::time::{Duration, Instant};

use tightfit_fit::simulate::{Hold, Room};
use tightfit_report::dossier::{self, PAGE_FILE, WriteOptions};
use tightfit_report::write::{Existing, NewFile, write_folder};
use tightfit_report::{folders, qualify, read_plan};

const HOUR_S: f64 = 3600.0;

fn main() -> Result<(), Box<dyn Error>> {
    println!("| qualification | reading and fitting | dossier | bare writing of the same | ratio | page | files |");
    println!("|---|---|---|---|---|---|---|");
    measure("four tests of 8 h at 1 Hz", &[8.0 * HOUR_S; 4])?;
    measure("one test of a week at 1 Hz", &[168.0 * HOUR_S])
}

fn measure(name: &str, durations_s: &[f64]) -> Result<(), Box<dyn Error>> {
    let folder = tempfile::tempdir()?;
    let mut plan = PLAN.to_owned();
    for (index, duration_s) in durations_s.iter().enumerate() {
        put(&folder.path().join(format!("hold-{index}.csv")), log(*duration_s, index as u64).as_bytes())?;
        write!(plan, "{}", TEST.replace("NUMBER", &index.to_string()))?;
    }
    let plan_file = folder.path().join("plan.toml");
    put(&plan_file, plan.as_bytes())?;

    let start = Instant::now();
    let qualified = qualify(read_plan(&plan_file)?, &folders(&plan_file, None), |_| {});
    let fitting = start.elapsed();
    let out = folder.path().join("dossier");
    let options = WriteOptions { replace: true, ..WriteOptions::default() };
    let mut written = dossier::write(&qualified, &out, &options)?;
    let writing = fastest(|| Ok(dossier::write(&qualified, &out, &options).map(drop)?))?;

    written.sort();
    let files: Vec<NewFile> = written
        .iter()
        .map(|path| Ok(NewFile { path: path.strip_prefix(&out)?.to_owned(), content: std::fs::read(path)? }))
        .collect::<Result<_, Box<dyn Error>>>()?;
    let names: Vec<_> = files.iter().map(|file| file.path.clone()).collect();
    let bare = folder.path().join("bare");
    write_folder(&bare, &files, Existing::Refuse)?;
    let bare = fastest(|| Ok(write_folder(&bare, &files, Existing::Replace(&names)).map(drop)?))?;
    println!(
        "| {name} | {:.2} s | {:.3} s | {:.3} s | {:.1} | {:.2} MB | {} |",
        fitting.as_secs_f64(),
        writing.as_secs_f64(),
        bare.as_secs_f64(),
        writing.as_secs_f64() / bare.as_secs_f64(),
        std::fs::metadata(out.join(PAGE_FILE))?.len() as f64 / 1e6,
        files.len(),
    );
    Ok(())
}

/// Shortest of five runs: what the machine can do when nothing else disturbs it.
fn fastest(mut run: impl FnMut() -> Result<(), Box<dyn Error>>) -> Result<Duration, Box<dyn Error>> {
    let mut shortest = Duration::MAX;
    for _ in 0..5 {
        let start = Instant::now();
        run()?;
        shortest = shortest.min(start.elapsed());
    }
    Ok(shortest)
}

fn log(duration_s: f64, seed: u64) -> String {
    let hold = Hold { cadence_s: 1.0, ..Hold::ordinary(Room::ORDINARY, duration_s, 2e-6) }.simulate(seed);
    let mut text = String::from("elapsed (s),dP (Pa),T (°C),baro (hPa)\n");
    for (index, time) in hold.time_s.iter().enumerate() {
        let [gauge, room, kelvin] = [hold.gauge_pa[index], hold.room_pa[index], hold.thermometers_k[0][index]];
        let _ = writeln!(text, "{time:.0},{gauge:.1},{:.2},{:.3}", kelvin - 273.15, room / 100.0);
    }
    text
}

fn put(path: &Path, content: &[u8]) -> std::io::Result<()> {
    std::fs::File::create_new(path)?.write_all(content)
}

const PLAN: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
volume = { value = "0.92 m3", uncertainty = "2 %" }
gas = "argon"
rated_pressure = ["-1500 Pa", "1500 Pa"]
compliance = "0 L/Pa"
[instruments.gauge]
resolution = "0.1 Pa"
uncertainty = "0.2 % of reading (limits) + 1 Pa"
[[limit]]
quantity = "hourly_leak_rate"
max = "5e-4 1/h"
source = "ISO 10648-2:1994, class 1"
"#;

const TEST: &str = r#"
[[test]]
id = "hold-NUMBER"
method = "pressure-change"
files = ["hold-NUMBER.csv"]
reference_pressure = "-500 Pa"
[test.columns]
gauge_pressure = { column = "dP (Pa)", unit = "Pa", instrument = "gauge" }
gas_temperature = { column = "T (°C)", unit = "°C" }
room_pressure = { column = "baro (hPa)", unit = "hPa" }
"#;
