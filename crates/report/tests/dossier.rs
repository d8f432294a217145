//! The dossier as who gets it sees it: complete, self-contained, harmless, and whole or not there.

#![allow(clippy::unwrap_used, reason = "a test that cannot set up its files has failed")]

use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use sha2::{Digest, Sha256};
use tightfit_fit::simulate::{Hold, Room};
use tightfit_report::dossier::{self, DossierRecord, WriteOptions};
use tightfit_report::write::WriteError;
use tightfit_report::{Qualified, folders, qualify, read_plan};

const PLAN: &str = r#"
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
const START_S: i64 = 1_777_878_000;

fn export(headers: [&str; 4], duration_s: f64) -> String {
    let hold = Hold::ordinary(Room::ORDINARY, duration_s, 4e-4).simulate(7);
    let mut text = format!("{}\n", headers.join(","));
    for (index, time) in hold.time_s.iter().enumerate() {
        let stamp = jiff::Timestamp::from_second(START_S + *time as i64).unwrap();
        let [gauge, room, kelvin] = [hold.gauge_pa[index], hold.room_pa[index], hold.thermometers_k[0][index]];
        writeln!(text, "{stamp},{gauge:.1},{:.2},{:.3}", kelvin - 273.15, room / 100.0).unwrap();
    }
    text
}

const HEADERS: [&str; 4] = ["time", "dP (Pa)", "T (°C)", "baro (hPa)"];

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new(plan: &str, headers: [&str; 4]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        put(&folder.path().join("plan.toml"), plan);
        put(&folder.path().join("hold.csv"), &export(headers, 3600.0));
        Self { folder }
    }

    fn qualified(&self) -> Qualified {
        qualified(&self.folder.path().join("plan.toml"))
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("dossier")
    }
}

fn put(path: &Path, text: &str) {
    fs::File::create_new(path).unwrap().write_all(text.as_bytes()).unwrap();
}

fn qualified(plan: &Path) -> Qualified {
    qualify(read_plan(plan).unwrap(), &folders(plan, None), |_| {})
}

fn page(plan: &str) -> String {
    dossier::render_html(&Bench::new(plan, HEADERS).qualified())
}

/// Text between tags, each tag and run of spaces taken for one space.
fn visible(page: &str) -> String {
    let mut text = String::new();
    for piece in page.split('<') {
        let words = piece.split_once('>').map_or(piece, |(_, words)| words);
        text.push(' ');
        text.push_str(words);
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_page_holds_every_part_that_a_dossier_must_have() {
    let page = visible(&page(PLAN));
    let parts = [
        "Enclosure K-12",
        "Tested on 4 May 2026",
        "ports closed with rigid covers",
        "0.92 m³ (± 4.0 %, k = 2)",
        "−1500 Pa to 1500 Pa",
        "Tightness, revision 2",
        "bench 1",
        "customer",
        "at most 0.25 vol%/h",
        "contract 7",
        "rule: guarded acceptance, risk 5 %",
        "What to do next",
        "Gloves: no cracks",
        "left one new",
        "left glove put back",
        "gauge (serial G-7)",
        "comes off: port to be closed",
        "Inert gas displaces it",
        "burst gloves and windows",
        "Local codes",
        "toxic or radioactive",
        "number 2",
        "a port was left open",
        "Figure 1.",
        "Figure 4.",
        "our estimate",
        "Hourly leak rate, two-point",
        "Hourly leak rate, mass point",
        "Uncertainty budget",
        "What became of the rows",
        "tightfit qualify plan.toml",
        "dP (Pa)",
        "SHA-256",
        "reference_pressure = &quot;-500 Pa&quot;",
        env!("CARGO_PKG_VERSION"),
    ];
    let missing: Vec<_> = parts.into_iter().filter(|part| !page.contains(part)).collect();
    assert!(missing.is_empty(), "{missing:?} not in {page}");
}

#[test]
fn a_verdict_is_a_word_and_a_symbol_and_the_result_stands_in_the_unit_of_the_limit() {
    let page = page(PLAN);
    assert!(page.contains("<span class=\"symbol\" aria-hidden=\"true\">✓</span> <span>pass</span>"), "{page}");
    assert!(visible(&page).contains("vol%/h at −500 Pa, flow of air"), "{}", visible(&page));
}

#[test]
fn the_page_asks_for_nothing_from_anywhere_and_runs_nothing() {
    let page = page(PLAN);
    for trouble in ["<script", "src=", "href=", "<link", "@import", "url(", "javascript:", "onload"] {
        assert!(!page.contains(trouble), "{trouble}");
    }
    assert_eq!(page.matches("http").count(), page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count());
    assert!(page.starts_with("<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\">"));
}

#[test]
fn markup_in_names_stays_text_in_page_and_plots() {
    let evil = "<script>alert('x')</script>&amp;\"";
    let quoted = evil.replace('\'', "\\u0027").replace('"', "\\\"");
    let plan = PLAN
        .replace("id = \"K-12\"", &format!("id = \"{quoted}\""))
        .replace("id = \"tightness\"", &format!("id = \"{quoted}\\u0007\""))
        .replace("T (°C)", "T<b>& (°C)")
        .replace("Gloves: no cracks", &quoted)
        .replace("left glove put back", &quoted)
        .replace("contract 7", &quoted)
        .replace("G-7", &quoted);
    let bench = Bench::new(&plan, ["time", "dP (Pa)", "T<b>& (°C)", "baro (hPa)"]);
    let qualified = bench.qualified();
    assert_eq!(qualified.errors().count(), 0, "{:?}", qualified.errors().collect::<Vec<_>>());
    let page = dossier::render_html(&qualified);
    assert!(!page.contains("<script") && !page.contains("<b>") && !page.contains('\u{7}'));
    assert!(page.contains("T&lt;b&gt;&amp;"));
    let written = dossier::write(&qualified, &bench.out(), &WriteOptions::default()).unwrap();
    let plots: Vec<_> = written.iter().filter(|path| path.extension().is_some_and(|e| e == "svg")).collect();
    assert_eq!(plots.len(), 4);
    for plot in plots {
        assert!(plot.starts_with(bench.out().join("plots")), "{}", plot.display());
        let text = fs::read_to_string(plot).unwrap();
        roxmltree::Document::parse(&text).unwrap();
    }
}

#[test]
fn every_plot_is_well_formed_and_says_what_it_shows() {
    let page = page(PLAN);
    let plots: Vec<&str> = page
        .match_indices("<svg xmlns")
        .map(|(at, _)| {
            let end = page[at..].find("</svg>").unwrap();
            &page[at..at + end + "</svg>".len()]
        })
        .collect();
    assert_eq!(plots.len(), 4);
    for plot in plots {
        let document = roxmltree::Document::parse(plot).unwrap();
        let root = document.root_element();
        assert_eq!(root.attribute("role"), Some("img"));
        let named: Vec<&str> = root.attribute("aria-labelledby").unwrap().split(' ').collect();
        let words = |tag| {
            let node = root.children().find(|node| node.has_tag_name(tag)).unwrap();
            assert!(named.contains(&node.attribute("id").unwrap()));
            node.text().unwrap().len()
        };
        let svg = |tag| ("http://www.w3.org/2000/svg", tag);
        assert!(words(svg("title")) > 10 && words(svg("desc")) > 40);
        let [_, _, width, height] =
            root.attribute("viewBox").unwrap().split(' ').map(|n| n.parse::<f64>().unwrap()).collect::<Vec<_>>()[..]
        else {
            panic!("viewBox")
        };
        // What lies outside the view box would be cut.
        for node in root.descendants().filter(|node| node.has_attribute("points")) {
            for point in node.attribute("points").unwrap().split_whitespace() {
                let (x, y) = point.split_once(',').unwrap();
                let [x, y] = [x, y].map(|n| n.parse::<f64>().unwrap());
                assert!((0.0..=width).contains(&x) && (0.0..=height).contains(&y), "{point}");
            }
        }
    }
}

#[test]
fn logs_without_dates_are_drawn_from_their_start() {
    let folder = tempfile::tempdir().unwrap();
    let mut csv = String::from("elapsed (s),dP (Pa)\n");
    for k in 0..400 {
        writeln!(csv, "{},{:.2}", k * 10, -500.0 + 0.02 * f64::from(k) + 0.1 * f64::from(k % 3)).unwrap();
    }
    put(&folder.path().join("hold.csv"), &csv);
    put(
        &folder.path().join("plan.toml"),
        "tightfit = 1\n[enclosure]\nid = \"K-12\"\ngas = \"argon\"\ncompliance = \"0 L/Pa\"\n[room]\npressure = \"1013 hPa\"\n\
         [[test]]\nid = \"a\"\nmethod = \"pressure-change\"\nfiles = [\"hold.csv\"]\nformat = { time = \"elapsed\" }\n\
         [test.columns]\ntime = { column = \"elapsed (s)\", unit = \"s\" }\n",
    );
    let qualified = qualified(&folder.path().join("plan.toml"));
    assert_eq!(qualified.errors().count(), 0, "{:?}", qualified.errors().collect::<Vec<_>>());
    let page = visible(&dossier::render_html(&qualified));
    assert!(page.contains("after the start"), "{page}");
    assert!(page.contains("Date of test: not in the logs"), "{page}");
    assert!(page.contains("The plan states no limits"), "{page}");
}

#[test]
fn a_test_without_result_stands_there_with_its_reason_beside_the_others() {
    let plan = PLAN.replace(
        "[[limit]]",
        "[[test]]\nid = \"second\"\nmethod = \"pressure-change\"\nfiles = [\"lost.csv\"]\nreference_pressure = \"-1000 Pa\"\n[[limit]]",
    );
    let page = visible(&page(&plan));
    for part in ["Test 2 of 2", "This test gave no result", "lost.csv", "input error", "Figure 4.", "our estimate"] {
        assert!(page.contains(part), "{part} not in {page}");
    }
}

#[test]
fn the_record_holds_the_result_the_plan_and_the_hash_of_every_other_file() {
    let bench = Bench::new(PLAN, HEADERS);
    let qualified = bench.qualified();
    let options = WriteOptions { with_data: true, ..WriteOptions::default() };
    let written = dossier::write(&qualified, &bench.out(), &options).unwrap();
    assert_eq!(written.last().unwrap(), &bench.out().join("dossier.json"), "the record comes last");
    let text = fs::read_to_string(bench.out().join("dossier.json")).unwrap();
    let (record, unchanged) = DossierRecord::from_json(&text).unwrap();
    assert!(unchanged);
    assert_eq!(record.result, qualified.result);
    assert_eq!(record.plan_text, PLAN);
    assert_eq!(record.written.len() + 1, written.len());
    assert!(is_whole(&bench.out()));
    assert_eq!(
        fs::read(bench.out().join("data/hold.csv")).unwrap(),
        fs::read(bench.folder.path().join("hold.csv")).unwrap()
    );
    // The copied plan gives the same result from the copied data.
    let again = self::qualified(&bench.out().join("data/plan.toml"));
    assert_eq!(again.result, qualified.result);
}

#[test]
fn any_changed_byte_of_the_record_is_noticed() {
    let bench = Bench::new(PLAN, HEADERS);
    dossier::write(&bench.qualified(), &bench.out(), &WriteOptions::default()).unwrap();
    let text = fs::read(bench.out().join("dossier.json")).unwrap();
    for at in (0..text.len()).step_by(37) {
        let mut changed = text.clone();
        changed[at] ^= 1;
        let accepted =
            String::from_utf8(changed).is_ok_and(|t| DossierRecord::from_json(&t).is_ok_and(|(_, same)| same));
        assert!(!accepted, "a change of byte {at} went unnoticed");
    }
}

#[test]
fn an_existing_dossier_is_refused_unless_it_is_to_be_replaced() {
    let bench = Bench::new(PLAN, HEADERS);
    let qualified = bench.qualified();
    let [keep, replace] = [false, true].map(|replace| WriteOptions { replace, ..WriteOptions::default() });
    dossier::write(&qualified, &bench.out(), &keep).unwrap();
    let error = dossier::write(&qualified, &bench.out(), &keep).unwrap_err();
    assert!(matches!(error, WriteError::Exists { .. }), "{error}");
    assert!(error.hint().contains("--replace"));
    dossier::write(&qualified, &bench.out(), &WriteOptions { replace: true, with_data: true }).unwrap();
    assert!(bench.out().join("data/hold.csv").exists());
    dossier::write(&qualified, &bench.out(), &replace).unwrap();
    assert!(!bench.out().join("data").exists(), "nothing of the replaced dossier is left");
    assert!(is_whole(&bench.out()));
}

#[test]
fn a_folder_that_is_no_dossier_is_never_replaced() {
    let bench = Bench::new(PLAN, HEADERS);
    fs::create_dir(bench.out()).unwrap();
    put(&bench.out().join("thesis.txt"), "ten years of work");
    let options = WriteOptions { replace: true, ..WriteOptions::default() };
    let error = dossier::write(&bench.qualified(), &bench.out(), &options).unwrap_err();
    assert!(matches!(error, WriteError::NotADossier { .. }), "{error}");
    assert_eq!(fs::read_to_string(bench.out().join("thesis.txt")).unwrap(), "ten years of work");
}

#[test]
fn a_long_record_with_many_rows_gives_a_small_page() {
    let bench = Bench::new(PLAN, HEADERS);
    fs::remove_file(bench.folder.path().join("hold.csv")).unwrap();
    put(&bench.folder.path().join("hold.csv"), &export(HEADERS, 86_400.0));
    let page = dossier::render_html(&bench.qualified());
    assert!(page.len() < 500_000, "{} bytes", page.len());
}

/// Set in the process that writes one dossier over the other until it is killed.
const WRITER: &str = "TIGHTFIT_TEST_WRITES_INTO";

#[test]
fn killed_at_any_moment_the_old_or_the_new_dossier_stands_whole() {
    if let Ok(folder) = std::env::var(WRITER) {
        write_forever(Path::new(&folder));
    }
    let bench = Bench::new(PLAN, HEADERS);
    dossier::write(&bench.qualified(), &bench.out(), &WriteOptions::default()).unwrap();
    for round in 0..12 {
        let mut writer = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "killed_at_any_moment_the_old_or_the_new_dossier_stands_whole", "--nocapture"])
            .env(WRITER, bench.folder.path())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let output = BufReader::new(writer.stdout.take().unwrap());
        assert!(output.lines().map_while(Result::ok).any(|line| line.contains("writing now")));
        std::thread::sleep(Duration::from_millis(5 + 23 * round));
        writer.kill().unwrap();
        writer.wait().unwrap();
        assert!(is_whole(&bench.out()), "round {round}");
    }
    dossier::write(&bench.qualified(), &bench.out(), &WriteOptions { replace: true, with_data: false }).unwrap();
    let mut left: Vec<_> = fs::read_dir(bench.folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, ["dossier", "hold.csv", "plan.toml"], "what the killed left is cleared away");
}

fn write_forever(folder: &Path) -> ! {
    let qualified = qualified(&folder.join("plan.toml"));
    std::io::stdout().write_all(b"\nwriting now\n").unwrap();
    for with_data in [true, false].into_iter().cycle() {
        dossier::write(&qualified, &folder.join("dossier"), &WriteOptions { replace: true, with_data }).unwrap();
    }
    unreachable!("the loop has no end")
}

/// Whether the folder holds exactly the files of its record, each with its hash.
fn is_whole(dossier: &Path) -> bool {
    let text = fs::read_to_string(dossier.join("dossier.json")).unwrap();
    let (record, unchanged) = DossierRecord::from_json(&text).unwrap();
    let hashes_hold = record.written.iter().all(|file| {
        let hash = Sha256::digest(fs::read(dossier.join(&file.path)).unwrap());
        hash.iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}")) == file.sha256
    });
    unchanged && hashes_hold && count_files(dossier) == record.written.len() + 1
}

fn count_files(folder: &Path) -> usize {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    entries.map(|path| if path.is_dir() { count_files(&path) } else { 1 }).sum()
}
