//! The page: complete, self-contained, harmless.

use std::fmt::Write as _;
use std::fs;

use tightfit_report::dossier::{self, WriteOptions};

use crate::bench::{Bench, HEADERS, PLAN, export, page, put, qualified, visible};

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
fn a_long_record_with_many_rows_gives_a_small_page() {
    let bench = Bench::new(PLAN, HEADERS);
    fs::remove_file(bench.folder.path().join("hold.csv")).unwrap();
    put(&bench.folder.path().join("hold.csv"), &export(HEADERS, 86_400.0));
    let page = dossier::render_html(&bench.qualified());
    assert!(page.len() < 500_000, "{} bytes", page.len());
}

#[test]
fn every_attempt_hand_set_window_and_exclusion_stands_numbered_in_one_place() {
    let plan = PLAN.replace("[test.columns]", "window = { from = \"2026-05-04T07:02:00Z\" }\n[test.columns]");
    assert_ne!(plan, PLAN);
    let page = page(&plan);
    let list = page.split("<table class=\"by-hand\">").nth(1).unwrap().split("</table>").next().unwrap();
    let rows: Vec<String> = list.split("<tr>").skip(2).map(visible).collect();
    assert_eq!(rows.len(), 4, "{rows:?}");
    for (number, (row, words)) in rows
        .iter()
        .zip([
            "attempt 1 set aside: a port was left open",
            "attempt 2",
            "from 4 May 2026, 09:02:00 to the last row",
            "set aside: outside the window",
        ])
        .enumerate()
    {
        assert!(row.contains(&(number + 1).to_string()) && row.contains(words), "{row} without {words}");
        assert!(row.contains("by hand"), "{row}");
    }
}
