//! Plans and logs of the demo with bytes lost, doubled, swapped and replaced: every one ends in order.

use crate::support::{Bench, workspace};

/// Mutated inputs; each is one run of the program.
const MUTATIONS: u32 = 300;

/// A fixed sequence of numbers that looks random.
struct Sequence(u64);

impl Sequence {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % end.max(1)
    }
}

/// Texts that are likely to hurt where they should not be.
const HURTFUL: [&str; 16] =
    ["\"", "\n", "[", "]]", "=", ",", "-", "0", "1e308", "NaN", "\u{0}", "é", "2026-02-30", " Pa", "%", ";;"];

fn mutated(text: &str, sequence: &mut Sequence) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..=sequence.below(3) {
        let at = sequence.below(bytes.len());
        let end = (at + 1 + sequence.below(12)).min(bytes.len());
        match sequence.below(6) {
            0 => drop(bytes.drain(at..end)),
            1 => drop(bytes.splice(at..at, HURTFUL[sequence.below(HURTFUL.len())].bytes())),
            2 => drop(bytes.splice(at..end, HURTFUL[sequence.below(HURTFUL.len())].bytes())),
            3 => {
                let part = bytes[at..end].to_vec();
                drop(bytes.splice(at..at, part));
            }
            4 => bytes[at] = u8::try_from(sequence.below(256)).unwrap(),
            _ => bytes = whole_lines(&bytes, sequence),
        }
        if bytes.is_empty() {
            break;
        }
    }
    bytes
}

/// One line lost, doubled, or moved to another place.
fn whole_lines(bytes: &[u8], sequence: &mut Sequence) -> Vec<u8> {
    let mut lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
    let (from, to) = (sequence.below(lines.len()), sequence.below(lines.len()));
    match sequence.below(3) {
        0 => drop(lines.remove(from)),
        1 => lines.insert(to, lines[from]),
        _ => lines.swap(from, to),
    }
    lines.concat()
}

#[test]
fn whatever_is_done_to_plan_and_log_the_program_ends_in_order() {
    let demo = workspace().join("data-samples/k-12");
    let read = |name: &str| std::fs::read_to_string(demo.join(name)).unwrap();
    let plan = read("tight.toml");
    // Every fourth reading is enough to be evaluated and quicker to be read.
    let log: String = read("tight.csv")
        .split_inclusive('\n')
        .enumerate()
        .filter(|(k, _)| *k == 0 || k % 4 == 1)
        .map(|(_, line)| line)
        .collect();
    let mut faults = Vec::new();
    for seed in 0..MUTATIONS {
        let mut sequence = Sequence(u64::from(seed));
        sequence.below(2);
        let bench = Bench::new();
        let of_plan = seed % 3 != 0;
        bench.write("tight.toml", if of_plan { mutated(&plan, &mut sequence) } else { plan.clone().into() });
        bench.write("tight.csv", if of_plan { log.clone().into() } else { mutated(&log, &mut sequence) });
        let run = bench.run(&["qualify", "tight.toml"]);
        let refused_in_words = run.code != 2 || run.stderr.starts_with("error: ");
        if !(0..=4).contains(&run.code) || run.stderr.contains("panicked") || !refused_in_words {
            faults.push(format!("seed {seed}: {run:?}"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
