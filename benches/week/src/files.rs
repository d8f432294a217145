//! The exports and plans that are read: a simulated hold with an analyser beside it.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use tightfit_fit::simulate::{Dose, Doses, Hold, Random, Room};

/// A plan with a pressure-change test.
pub(crate) const PLAN: &str = "plan.toml";
/// The same with an endurance test of both analysers from the same export.
pub(crate) const PLAN_OF_TWO: &str = "plan-of-two.toml";

/// A plan with a clean-up series over two weeks of doses.
pub(crate) const PLAN_OF_DOSES: &str = "plan-of-doses.toml";

const EXPORT: &str = "hold.csv";
const DOSES: &str = "doses.csv";
const HEADER: [&str; 6] = ["time", "dP (Pa)", "Gas temp (°C)", "Room pressure (hPa)", "O2 (ppm)", "H2O (ppm)"];
/// The longest that an export lasts; more rows stand closer.
const WEEK_S: f64 = 604_800.0;

const ENCLOSURE: &str = r#"tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = "0.92 m3"
rated_pressure = ["-1500 Pa", "1500 Pa"]
compliance = "0 L/Pa"
[room]
time_zone = "UTC"
[instruments.gauge]
resolution = "0.1 Pa"
uncertainty = "0.3 % of reading + 2 Pa"
[instruments.analyser]
resolution = "0.0001 ppm"
uncertainty = "0.05 ppm"
[[test]]
id = "tightness"
method = "pressure-change"
files = ["hold.csv"]
reference_pressure = "-500 Pa"
[test.columns]
gauge_pressure = { column = "dP (Pa)", unit = "Pa", instrument = "gauge" }
[[limit]]
set = "ISO 10648-2 class 1"
"#;

const ENDURANCE: &str = r#"[[test]]
id = "endurance"
method = "endurance"
files = ["hold.csv"]
target = "1.5 ppm"
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "analyser" }
water = { column = "H2O (ppm)", unit = "ppm", instrument = "analyser" }
[[limit]]
quantity = "oxygen_max"
max = "1.5 ppm"
"#;

const TWO_WEEKS_OF_DOSES: &str = r#"tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = "0.92 m3"
rated_pressure = ["-1500 Pa", "1500 Pa"]
[room]
time_zone = "UTC"
[instruments.analyser]
resolution = "0.001 ppm"
uncertainty = "0.05 ppm"
response = "t90 70 s"
[[test]]
id = "purifier"
method = "clean-up-series"
files = ["doses.csv"]
[test.columns]
oxygen = { column = "O2 (ppm)", unit = "ppm", instrument = "analyser" }
[[limit]]
quantity = "time_constant_last"
max = "20 min"
"#;

/// Writes two weeks at 1 Hz with 40 doses and their plan; returns the export.
pub(crate) fn write_doses(folder: &Path) -> PathBuf {
    std::fs::write(folder.join(PLAN_OF_DOSES), TWO_WEEKS_OF_DOSES).expect("a written plan");
    let path = folder.join(DOSES);
    let mut random = Random::new(3);
    let dose = |index: u32| Dose {
        at_s: (f64::from(index) + random.uniform(0.05, 0.75)) * 2.0 * WEEK_S / 40.0,
        amount_ppm: 0.05 * random.uniform(5f64.ln(), 500f64.ln()).exp(),
        lasting_s: random.uniform(0.0, 60.0),
    };
    let log = Doses {
        duration_s: 2.0 * WEEK_S - 1.0,
        cadence_s: 1.0,
        time_constant_s: [600.0, 0.2 / 14.0],
        lag_s: 30.0,
        noise: [0.05, 0.01],
        wander: [0.0, 3600.0],
        doses: (0..40).map(dose).collect(),
        ..Doses::one(600.0, 0.0, 6.0)
    };
    let (time_s, reading) = log.simulate(3);
    let mut file = BufWriter::new(File::create(&path).expect("a file"));
    writeln!(file, "time,O2 (ppm)").expect("a written line");
    for (t, value) in time_s.iter().zip(reading) {
        let (day, hour, minute, s) = parts(*t);
        let ppm = 1e6 * value;
        writeln!(file, "2026-05-{:02}T{hour:02}:{minute:02}:{s:02.0},{ppm:.3}", 4 + day).expect("a written line");
    }
    path
}

/// Writes the export and the plans; returns the export.
pub(crate) fn write_hold(folder: &Path, rows: usize) -> PathBuf {
    std::fs::write(folder.join(PLAN), ENCLOSURE).expect("a written plan");
    std::fs::write(folder.join(PLAN_OF_TWO), format!("{ENCLOSURE}{ENDURANCE}")).expect("a written plan");
    let path = folder.join(EXPORT);
    let mut file = BufWriter::new(File::create(&path).expect("a file"));
    writeln!(file, "{}", HEADER.join(",")).expect("a written line");
    for_each_row(rows, |t, [p, celsius, hpa, oxygen, water]| {
        let (day, hour, minute, s) = parts(t);
        // Whole seconds as loggers write them, fractions only where rows stand closer.
        let second = if rows as f64 <= WEEK_S { format!("{s:02.0}") } else { format!("{s:06.3}") };
        let date = format!("2026-05-{:02}T{hour:02}:{minute:02}:{second}", 4 + day);
        writeln!(file, "{date},{p:.1},{celsius:.2},{hpa:.3},{oxygen:.4},{water:.4}").expect("a written line");
    });
    path
}

/// The same readings with preamble, semicolons, decimal commas, local dates and CRLF.
pub(crate) fn write_awkward(folder: &Path, rows: usize) -> PathBuf {
    let path = folder.join("awkward.csv");
    let mut file = BufWriter::new(File::create(&path).expect("a file"));
    writeln!(file, "Logger 7\r\nExport\r\n\r\n{}\r", HEADER.join(";")).expect("a written line");
    for_each_row(rows, |t, values| {
        let (day, hour, minute, s) = parts(t);
        let numbers = values.map(|value| format!("{value:.3}").replace('.', ",")).join(";");
        writeln!(file, "{:02}.05.2026 {hour:02}:{minute:02}:{s:02.0};{numbers}\r", 4 + day).expect("a written line");
    });
    path
}

/// Day, hour, minute and second of a time in s.
fn parts(t: f64) -> (u32, u32, u32, f64) {
    let minutes = (t / 60.0).floor();
    let whole = minutes as u32;
    (whole / 1440, whole / 60 % 24, whole % 60, t - 60.0 * minutes)
}

/// Seconds, gauge pressure in Pa, °C, hPa, oxygen and water in ppm.
fn for_each_row(rows: usize, mut row: impl FnMut(f64, [f64; 5])) {
    let cadence_s = (WEEK_S / rows as f64).min(1.0);
    // 1e-5 1/h lets a week pass before the difference is gone.
    let mut hold = Hold::ordinary(Room::ORDINARY, cadence_s * (rows - 1) as f64, 1e-5);
    hold.cadence_s = cadence_s;
    let seen = hold.simulate(1);
    let mut random = Random::new(2);
    for index in 0..rows {
        let [oxygen, water] = [1.2 + 0.05 * random.normal(), 0.8 + 0.03 * random.normal()];
        let celsius = seen.thermometers_k[0][index] - 273.15;
        row(cadence_s * index as f64, [seen.gauge_pa[index], celsius, seen.room_pa[index] / 100.0, oxygen, water]);
    }
}
