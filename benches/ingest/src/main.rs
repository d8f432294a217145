//! Reading an export against a bare CSV read of the same file by the frame library, in one run.
//!
//! `cargo run --release` prints for each file the wall time (best of several) and the peak memory of both, each
//! measured in a process of its own. 604 800 rows (a week of seconds) by 6 columns; the awkward dialect is compared
//! with the bare read of the plain one.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use polars::prelude::{CsvParseOptions, CsvReadOptions, SerReader};
use tightfit_ingest::{ReadOptions, read};

const ROWS: u32 = 604_800;
const REPEATS: usize = 7;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["bare", path] => measure(|| bare_read(Path::new(path))),
        ["ours", path] => measure(|| full_ingest(Path::new(path))),
        ["aggregate", path] => measure(|| aggregate(Path::new(path))),
        ["generate", path, rows] => write_plain(Path::new(path), rows.parse().expect("a number of rows")),
        _ => compare(),
    }
}

fn compare() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let plain = folder.path().join("plain.csv");
    let awkward = folder.path().join("awkward.csv");
    write_plain(&plain, ROWS);
    write_awkward(&awkward);
    let (bare_s, bare_mb) = in_own_process("bare", &plain);
    println!("bare read, plain dialect:      {bare_s:.3} s, {bare_mb:.0} MB at most");
    for (name, path) in [("full ingest, plain dialect:  ", &plain), ("full ingest, awkward dialect:", &awkward)] {
        let (seconds, mb) = in_own_process("ours", path);
        println!(
            "{name}  {seconds:.3} s, {mb:.0} MB at most: {:.2} times the time, {:.2} times the memory",
            seconds / bare_s,
            mb / bare_mb
        );
    }
}

/// Best wall time and peak memory of a process that does one thing several times.
fn in_own_process(what: &str, path: &PathBuf) -> (f64, f64) {
    let program = std::env::current_exe().expect("the path of this program");
    let output =
        Command::new(program).arg(what).arg(path).env("POLARS_MAX_THREADS", "2").output().expect("this program starts");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let numbers: Vec<f64> = text.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    assert_eq!(numbers.len(), 2, "{text}{}", String::from_utf8_lossy(&output.stderr));
    (numbers[0], numbers[1])
}

fn measure(mut work: impl FnMut() -> usize) {
    let mut best = f64::INFINITY;
    for _ in 0..REPEATS {
        let start = Instant::now();
        let rows = work();
        best = best.min(start.elapsed().as_secs_f64());
        assert!(rows > 0);
    }
    println!("{best} {}", peak_mb());
}

/// Peak resident memory as the system counts it; zero where it does not.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kb| kb.parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}

fn bare_read(path: &Path) -> usize {
    let options = CsvReadOptions::default().with_parse_options(CsvParseOptions::default().with_try_parse_dates(true));
    let frame =
        options.try_into_reader_with_file_path(Some(path.to_path_buf())).expect("a reader").finish().expect("a frame");
    let dates = frame.column("time").expect("a time column").dtype().clone();
    assert!(dates.is_temporal(), "{dates}");
    frame.height()
}

fn full_ingest(path: &Path) -> usize {
    let recording =
        read(path, &ReadOptions { time_zone: Some("UTC".into()), ..ReadOptions::default() }).expect("a recording");
    assert_eq!(recording.series.len(), 5);
    assert!(recording.questions.is_empty(), "{:?}", recording.questions);
    recording.account.rows_used() as usize
}

fn aggregate(path: &Path) -> usize {
    full_ingest(path)
}

/// The readings of one second: gauge pressure, temperature, room pressure, oxygen, water.
fn readings(second: u32) -> [f64; 5] {
    let t = f64::from(second);
    let noise = f64::from(second.wrapping_mul(2_654_435_761) >> 16) / 65_536.0 - 0.5;
    [
        -1000.0 + 2e-4 * t + noise,
        21.5 + (t / 8000.0).sin() + 0.01 * noise,
        1013.25 + 3.0 * (t / 90_000.0).sin() + 0.05 * noise,
        1.2 + 2e-5 * t + 0.05 * noise,
        0.8 + 1e-5 * t + 0.03 * noise,
    ]
}

const HEADER: [&str; 6] = ["time", "dP (Pa)", "Gas temp (°C)", "Room pressure (hPa)", "O2 (ppm)", "H2O (ppm)"];

fn write_plain(path: &Path, rows: u32) {
    let mut file = BufWriter::new(File::create(path).expect("a file"));
    writeln!(file, "{}", HEADER.join(",")).expect("a written line");
    for second in 0..rows {
        let [p, t, b, o, w] = readings(second);
        let (day, hour, minute, s) = (second / 86_400, second / 3600 % 24, second / 60 % 60, second % 60);
        let date = if rows > 2_000_000 {
            format!("20{:02}-{:02}-{:02}", 26 + day / 336, 1 + day / 28 % 12, 1 + day % 28)
        } else {
            format!("2026-05-{:02}", 4 + day)
        };
        writeln!(file, "{date}T{hour:02}:{minute:02}:{s:02},{p:.2},{t:.3},{b:.3},{o:.4},{w:.4}")
            .expect("a written line");
    }
}

fn write_awkward(path: &Path) {
    let mut file = BufWriter::new(File::create(path).expect("a file"));
    writeln!(file, "Logger 7\r\nExport\r\n\r\n{}\r", HEADER.join(";")).expect("a written line");
    for second in 0..ROWS {
        let numbers = readings(second).map(|value| format!("{value:.3}").replace('.', ",")).join(";");
        let (day, hour, minute, s) = (second / 86_400, second / 3600 % 24, second / 60 % 60, second % 60);
        writeln!(file, "{:02}.05.2026 {hour:02}:{minute:02}:{s:02};{numbers}\r", 4 + day).expect("a written line");
    }
}
