//! A bench with one simulated hold and its plan.

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use tightfit_fit::simulate::{Hold, Room};
use tightfit_report::{Qualified, dossier, folders, qualify, read_plan};

pub(crate) const PLAN: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
volume = { value = "0.92 m3", uncertainty = "2 %" }
gas = "argon"
rated_pressure = ["-1500 Pa", "1500 Pa"]
compliance = "0 L/Pa"
configuration = "ports closed with rigid covers"
changed_after_test = ["left glove put back"]
[qualification]
procedure = "Tightness, revision 2"
tester = "bench 1"
witness = "customer"
[room]
time_zone = "Europe/Vienna"
[instruments.gauge]
resolution = "0.1 Pa"
uncertainty = "0.2 % of reading (limits) + 1 Pa"
serial = "G-7"
calibrated = 2026-03-02
due = 2027-03-02
stays_on = false
[[test]]
id = "tightness"
method = "pressure-change"
files = ["hold.csv"]
reference_pressure = "-500 Pa"
attempt = 2
earlier = "a port was left open"
[test.columns]
gauge_pressure = { column = "dP (Pa)", unit = "Pa", instrument = "gauge" }
gas_temperature = { column = "T (°C)", unit = "°C" }
room_pressure = { column = "baro (hPa)", unit = "hPa" }
[[limit]]
quantity = "hourly_leak_rate"
max = "0.25 vol%/h"
source = "contract 7"
[[check]]
item = "Gloves: no cracks"
result = "ok"
note = "left one new"
"#;

/// 2026-05-04T07:00:00Z.
pub(crate) const START_S: i64 = 1_777_878_000;

pub(crate) fn export(headers: [&str; 4], duration_s: f64) -> String {
    let hold = Hold::ordinary(Room::ORDINARY, duration_s, 4e-4).simulate(7);
    let mut text = format!("{}\n", headers.join(","));
    for (index, time) in hold.time_s.iter().enumerate() {
        let stamp = jiff::Timestamp::from_second(START_S + *time as i64).unwrap();
        let [gauge, room, kelvin] = [hold.gauge_pa[index], hold.room_pa[index], hold.thermometers_k[0][index]];
        writeln!(text, "{stamp},{gauge:.1},{:.2},{:.3}", kelvin - 273.15, room / 100.0).unwrap();
    }
    text
}

pub(crate) const HEADERS: [&str; 4] = ["time", "dP (Pa)", "T (°C)", "baro (hPa)"];

pub(crate) struct Bench {
    pub(crate) folder: tempfile::TempDir,
}

impl Bench {
    pub(crate) fn new(plan: &str, headers: [&str; 4]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        put(&folder.path().join("plan.toml"), plan);
        put(&folder.path().join("hold.csv"), &export(headers, 3600.0));
        Self { folder }
    }

    pub(crate) fn qualified(&self) -> Qualified {
        qualified(&self.folder.path().join("plan.toml"))
    }

    pub(crate) fn out(&self) -> PathBuf {
        self.folder.path().join("dossier")
    }
}

pub(crate) fn put(path: &Path, text: &str) {
    fs::File::create_new(path).unwrap().write_all(text.as_bytes()).unwrap();
}

pub(crate) fn qualified(plan: &Path) -> Qualified {
    qualify(read_plan(plan).unwrap(), &folders(plan, None), |_| {})
}

pub(crate) fn page(plan: &str) -> String {
    dossier::render_html(&Bench::new(plan, HEADERS).qualified())
}

/// Text between tags, each tag and run of spaces taken for one space.
pub(crate) fn visible(page: &str) -> String {
    let mut text = String::new();
    for piece in page.split('<') {
        let words = piece.split_once('>').map_or(piece, |(_, words)| words);
        text.push(' ');
        text.push_str(words);
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
