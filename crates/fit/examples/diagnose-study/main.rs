//! How often the diagnosis of simulated working logs is right, and what its probabilities are worth.
//!
//! `cargo run --release -p tightfit-fit --example diagnose-study -- --logs 20 [--seed 1] [--each] [--other] [--oxygen]`;
//! `--other` takes the logs from a second generator that is built otherwise, `--oxygen` leaves nothing but oxygen in all
//! logs.
#![allow(clippy::print_stdout, reason = "a study prints its table")]

mod other_box;

use std::time::Instant;

use other_box::OtherBox;
use tightfit_fit::diagnose::{Cause, Diagnosis, diagnose, twins};
use tightfit_fit::simulate::{Channels, WorkingLog};

struct Case {
    truth: Cause,
    second: Option<Cause>,
    channels: Channels,
    strong: bool,
    diagnosis: Diagnosis,
    onset_s: Option<f64>,
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let number = |flag: &str, otherwise: u64| {
        let at = arguments.iter().position(|argument| argument == flag);
        at.and_then(|at| arguments.get(at + 1)).and_then(|text| text.parse().ok()).unwrap_or(otherwise)
    };
    let (logs, seed, only) = (number("--logs", 6), number("--seed", 1), number("--only", 99));
    let each = arguments.iter().any(|argument| argument == "--each");
    let is_other = arguments.iter().any(|argument| argument == "--other");
    let only_oxygen = arguments.iter().any(|argument| argument == "--oxygen");
    let mut cases = Vec::new();
    let mut slowest = 0.0_f64;
    for (kind, cause) in Cause::ALL.into_iter().enumerate() {
        if cause == Cause::NoneOfThese || (only != 99 && only != kind as u64) {
            continue;
        }
        let times = if cause == Cause::NothingChanged { 3 } else { 1 };
        for index in 0..logs * times {
            let channels = match index % 4 {
                _ if only_oxygen => Channels::OxygenOnly,
                0 | 1 => Channels::Full,
                2 => Channels::Some,
                _ if index % 8 == 3 => Channels::OxygenOnly,
                _ => Channels::Some,
            };
            let strong = index % 5 != 4;
            let second = (index % 10 == 6 && cause.is_change()).then(|| Cause::ALL[(kind + 1 + index as usize) % 8]);
            let simulated = WorkingLog {
                cause,
                second: second.filter(|second| *second != cause),
                factor: if strong { [2.0, 8.0] } else { [1.3, 2.0] },
                channels,
                days: if arguments.iter().any(|argument| argument == "--two-months") {
                    [60.0, 60.0]
                } else {
                    [5.0, 60.0]
                },
            };
            let own_seed = seed * 1_000_000 + kind as u64 * 10_000 + index;
            let (log, background, onset_s) = if is_other {
                let made = OtherBox { cause, channels, factor: simulated.factor }.make(own_seed);
                (made.log, made.background, made.onset_s)
            } else {
                let made = simulated.simulate(own_seed);
                (made.log, made.background, made.onset_s)
            };
            let start = Instant::now();
            let Ok(diagnosis) = diagnose(&log, &background) else {
                println!("{own_seed}: {} cannot be diagnosed", cause.as_str());
                continue;
            };
            slowest = slowest.max(start.elapsed().as_secs_f64());
            if each {
                print_case(own_seed, &simulated, &diagnosis, onset_s, start.elapsed().as_secs_f64());
            }
            cases.push(Case {
                truth: cause,
                second: simulated.second.filter(|_| !is_other),
                channels,
                strong,
                diagnosis,
                onset_s,
            });
        }
    }
    summary(&cases);
    println!("slowest diagnosis {slowest:.2} s");
}

fn print_case(seed: u64, simulated: &WorkingLog, diagnosis: &Diagnosis, onset_s: Option<f64>, seconds: f64) {
    let top: Vec<String> = diagnosis.explanations[..3]
        .iter()
        .map(|own| format!("{} {:.2}", own.cause.as_str(), own.probability))
        .collect();
    let began = diagnosis.explanations[0].began_s.map(|range| range.map(|s| (s / 8640.0).round() / 10.0));
    let right = if diagnosis.explanations[0].cause == simulated.cause { " " } else { "x" };
    println!(
        "{right} {seed} {}{} {:?} f{:.1}: {} began {began:?} d, true {:.1?} d, {seconds:.2} s",
        simulated.cause.as_str(),
        simulated.second.map_or(String::new(), |second| format!("+{}", second.as_str())),
        simulated.channels,
        simulated.factor[0],
        top.join(", "),
        onset_s.map(|s| s / 86_400.0),
    );
    let all: Vec<String> = diagnosis
        .explanations
        .iter()
        .map(|own| format!("{}{} {:.5}", own.cause.as_str(), own.second.map_or("", |_| "+"), own.probability))
        .collect();
    println!("    all: {}", all.join(" "));
    let truth = diagnosis.explanations.iter().find(|own| own.cause == simulated.cause);
    if right == "x" {
        for own in std::iter::once(&diagnosis.explanations[0]).chain(truth) {
            println!("    {}", own.cause.as_str());
            for shown in &own.shown {
                println!(
                    "      {:?}: {:.3} -> {:.3}, expected {:.3}, gain {:.1}, behind {:.1}",
                    shown.kind, shown.found[0], shown.found[1], shown.expected, shown.gain, shown.behind
                );
            }
        }
    }
}

fn is_right(case: &Case) -> bool {
    case.diagnosis.explanations[0].cause == case.truth
}

fn share(name: &str, cases: &[&Case]) {
    let right = cases.iter().filter(|case| is_right(case)).count();
    println!("| {name} | {} | {:.0} % |", cases.len(), 100.0 * right as f64 / cases.len().max(1) as f64);
}

fn summary(cases: &[Case]) {
    println!("| logs | number | right cause first |\n|---|---|---|");
    let of = |pass: &dyn Fn(&Case) -> bool| cases.iter().filter(|case| pass(case)).collect::<Vec<_>>();
    share("all", &of(&|_| true));
    share(
        "full channels, factor two or more",
        &of(&|c| c.channels == Channels::Full && c.strong && c.truth.is_change()),
    );
    share("full channels, weaker", &of(&|c| c.channels == Channels::Full && !c.strong && c.truth.is_change()));
    share(
        "some channels, factor two or more",
        &of(&|c| c.channels == Channels::Some && c.strong && c.truth.is_change()),
    );
    share("oxygen only", &of(&|c| c.channels == Channels::OxygenOnly && c.truth.is_change()));
    share("two causes", &of(&|c| c.second.is_some()));
    for cause in Cause::ALL {
        share(cause.as_str(), &of(&|c| c.truth == cause));
        share(
            &format!("{}, full and strong", cause.as_str()),
            &of(&|c| c.truth == cause && c.channels == Channels::Full && c.strong),
        );
    }
    reliability(cases);
    decided("all", &of(&|_| true));
    decided("oxygen only", &of(&|c| c.channels == Channels::OxygenOnly));
    let covered: Vec<bool> = cases
        .iter()
        .filter(|case| is_right(case))
        .filter_map(|case| {
            let [from, to] = case.diagnosis.explanations[0].began_s?;
            let onset = case.onset_s?;
            Some((from..=to).contains(&onset))
        })
        .collect();
    let inside = covered.iter().filter(|inside| **inside).count();
    println!("onset inside its interval: {inside} of {}", covered.len());
}

/// Whether the leader is at least even and twice as probable as the next, and no twin of an explanation that the missing
/// channels would be needed for, as the program asks before it picks one.
fn is_decided(case: &Case) -> bool {
    let [first, second] = [0, 1].map(|i| &case.diagnosis.explanations[i]);
    first.probability >= 0.5
        && first.probability >= 2.0 * second.probability
        && twins(first.cause, case.diagnosis.resolution).is_empty()
}

fn decided(name: &str, cases: &[&Case]) {
    let decided: Vec<_> = cases.iter().filter(|case| is_decided(case)).collect();
    let right = decided.iter().filter(|case| is_right(case)).count();
    let named =
        |case: &&&Case| case.diagnosis.explanations.iter().any(|own| own.cause == case.truth && own.probability > 0.1);
    let open: Vec<_> = cases.iter().filter(|case| !is_decided(case)).collect();
    let among = open.iter().filter(|case| named(case)).count();
    println!(
        "{name}: decided {} of {}, right {right}; left open {}, the truth among those above 10 % in {among}",
        decided.len(),
        cases.len(),
        open.len()
    );
}

/// Of what was called so probable, how much was so; and the Brier score of the leading explanation.
fn reliability(cases: &[Case]) {
    const EDGES: [f64; 8] = [0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97, 1.001];
    println!("| called | explanations | mean probability | right |\n|---|---|---|---|");
    let all = cases.iter().flat_map(|case| case.diagnosis.explanations.iter().map(move |own| (case, own)));
    let pairs: Vec<(f64, bool)> = all.map(|(case, own)| (own.probability, own.cause == case.truth)).collect();
    for edge in EDGES.windows(2) {
        let own: Vec<&(f64, bool)> = pairs.iter().filter(|(p, _)| (edge[0]..edge[1]).contains(p)).collect();
        if own.is_empty() {
            continue;
        }
        let n = own.len() as f64;
        let mean = own.iter().map(|(p, _)| p).sum::<f64>() / n;
        let right = own.iter().filter(|(_, right)| *right).count() as f64 / n;
        println!(
            "| {:.0} to {:.0} % | {n} | {:.0} % | {:.0} % |",
            100.0 * edge[0],
            100.0 * edge[1].min(1.0),
            100.0 * mean,
            100.0 * right
        );
    }
    let brier =
        pairs.iter().map(|(p, right)| (p - f64::from(u8::from(*right))).powi(2)).sum::<f64>() / cases.len() as f64;
    println!("Brier score (sum over causes) {brier:.3}");
}
