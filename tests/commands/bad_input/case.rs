//! A case of bad input: what is on the bench, the command, and what the program must say.

use std::fmt::Write as _;
use std::sync::Mutex;

use crate::support::{Bench, Run, workspace};

/// A plan without mistakes, into which cases put one.
pub(super) const PLAN: &str = r#"tightfit = 1
[enclosure]
id = "K-12"
gas = "argon"
volume = "0.92 m3"
rated_pressure = ["-1500 Pa", "1500 Pa"]
compliance = "0 L/Pa"
[room]
pressure = "1013 hPa"
[instruments.gauge]
uncertainty = "1 Pa"
due = 2030-01-01
[[test]]
id = "tightness"
method = "pressure-change"
files = ["log.csv"]
reference_pressure = "-1000 Pa"
[[limit]]
quantity = "hourly_leak_rate"
max = "5e-4 1/h"
"#;

/// The document in which users look messages up.
const DOCUMENT: &str = "notebooks-free-docs/messages.md";
/// Whoever changes a message sets this and runs the test again.
const REWRITE: &str = "TIGHTFIT_WRITE_MESSAGES";
/// Longest part of what the program said that the document shows.
const LINES_SHOWN: usize = 16;

/// Two hours at about -1000 Pa, a reading a minute.
pub(super) fn hold() -> String {
    (0..120).fold("time,gauge pressure (Pa)\n".to_owned(), |mut text, minute: u32| {
        let pressure = -1000.0 + 0.05 * f64::from(minute) + 0.1 * f64::from(minute * 7 % 5);
        let _ = writeln!(text, "2026-05-04T{:02}:{:02}:00Z,{pressure:.1}", 7 + minute / 60, minute % 60);
        text
    })
}

/// What goes in, and what must come out.
pub(super) struct Case {
    given: &'static str,
    files: Vec<(&'static str, Vec<u8>)>,
    command: Vec<&'static str>,
    code: i32,
    words: Vec<&'static str>,
}

/// A case that starts from a plan and a log without mistakes; `given` says in words what is bad about it.
pub(super) fn case(given: &'static str) -> Case {
    Case {
        given,
        files: vec![("plan.toml", PLAN.into()), ("log.csv", hold().into())],
        command: vec!["qualify", "plan.toml"],
        code: 2,
        words: Vec::new(),
    }
}

impl Case {
    /// Another log.
    pub(super) fn log(self, content: impl Into<Vec<u8>>) -> Self {
        self.file("log.csv", content)
    }

    /// Another plan.
    pub(super) fn plan(self, text: impl Into<Vec<u8>>) -> Self {
        self.file("plan.toml", text)
    }

    /// The plan with one text in the place of another.
    pub(super) fn plan_with(self, from: &str, to: &str) -> Self {
        let plan = self.text_of("plan.toml");
        assert!(plan.contains(from), "{}: the plan holds no {from}", self.given);
        self.plan(plan.replacen(from, to, 1))
    }

    /// The plan with more at its end.
    pub(super) fn plan_and(self, more: &str) -> Self {
        let plan = self.text_of("plan.toml");
        self.plan(plan + more)
    }

    /// A test of another method in the place of the pressure change, without the limit.
    pub(super) fn method(self, keys: &str) -> Self {
        let (head, _) = PLAN.split_once("[[test]]").unwrap();
        self.plan(format!("{head}[[test]]\nid = \"test\"\nfiles = [\"log.csv\"]\n{keys}\n"))
    }

    /// A file more, or another content of one.
    pub(super) fn file(mut self, name: &'static str, content: impl Into<Vec<u8>>) -> Self {
        self.files.retain(|(known, _)| *known != name);
        self.files.push((name, content.into()));
        self
    }

    /// A file less.
    pub(super) fn without(mut self, name: &str) -> Self {
        self.files.retain(|(known, _)| *known != name);
        self
    }

    /// Another command.
    pub(super) fn run(mut self, command: &[&'static str]) -> Self {
        self.command = command.to_vec();
        self
    }

    /// Another exit code than that of an input error.
    pub(super) fn ends(mut self, code: i32) -> Self {
        self.code = code;
        self
    }

    /// Words that must come out, wherever lines are broken.
    pub(super) fn says(mut self, words: &[&'static str]) -> Self {
        self.words = words.to_vec();
        self
    }

    fn text_of(&self, name: &str) -> String {
        let (_, content) = self.files.iter().find(|(known, _)| *known == name).unwrap();
        String::from_utf8(content.clone()).unwrap()
    }

    fn tried(&self) -> Run {
        let bench = Bench::new();
        for (name, content) in &self.files {
            bench.write(name, content);
        }
        let run = bench.run(&self.command);
        // Of a folder that is another one each time only the names in it are told.
        let folder = format!("{}/", std::fs::canonicalize(bench.path("")).unwrap().display());
        Run { stderr: run.stderr.replace(&folder, ""), ..run }
    }

    /// What is not as it should be.
    fn faults(&self, run: &Run) -> Vec<String> {
        let mut faults = Vec::new();
        if run.code != self.code {
            faults.push(format!("exit code {} instead of {}", run.code, self.code));
        }
        if run.stderr.contains("panicked") {
            faults.push("a panic".to_owned());
        }
        let all = run.stdout.clone() + "\n" + &run.stderr;
        let said = all.split_whitespace().collect::<Vec<_>>().join(" ");
        faults.extend(self.words.iter().filter(|word| !said.contains(*word)).map(|word| format!("not said: {word}")));
        // What Rust prints of a value for its programmer is nothing for a reader.
        for debug in ["Some(", "None,", "Err(", "Os {", "unwrap", "thread 'main'"] {
            if said.contains(debug) {
                faults.push(format!("talks like a programmer: {debug}"));
            }
        }
        if self.words.is_empty() {
            faults.push("the case expects no words".to_owned());
        }
        faults
    }

    /// As the document shows it.
    fn written(&self, run: &Run) -> String {
        let quoted = self
            .command
            .iter()
            .map(|word| if word.contains(' ') || word.is_empty() { format!("\"{word}\"") } else { (*word).to_owned() });
        let command = quoted.collect::<Vec<_>>().join(" ");
        let source = if run.stderr.trim().is_empty() { said_of(&run.stdout, &self.words) } else { run.stderr.clone() };
        let mut lines: Vec<&str> = source.lines().map(str::trim_end).collect();
        if lines.len() > LINES_SHOWN {
            lines.truncate(LINES_SHOWN);
            lines.push("…");
        }
        format!(
            "\n**{}** (`tightfit {command}`, exit code {})\n\n```text\n{}\n```\n",
            self.given,
            self.code,
            lines.join("\n").trim_end()
        )
    }
}

/// The paragraphs of a result that hold one of `words`: a paragraph goes on as long as lines start with many blanks.
fn said_of(text: &str, words: &[&str]) -> String {
    let mut paragraphs: Vec<String> = Vec::new();
    for line in text.lines() {
        match paragraphs.last_mut() {
            Some(last) if line.starts_with("     ") => *last += &format!("\n{line}"),
            _ => paragraphs.push(line.to_owned()),
        }
    }
    let joined = |paragraph: &String| paragraph.split_whitespace().collect::<Vec<_>>().join(" ");
    paragraphs.retain(|paragraph| words.iter().any(|word| joined(paragraph).contains(word)));
    paragraphs.join("\n")
}

/// Tries all cases of a theme, reports all that went wrong, and holds the theme's part of the document against them.
pub(super) fn try_all(theme: &str, cases: &[Case]) {
    let mut faults = String::new();
    let mut section = String::new();
    for case in cases {
        let run = case.tried();
        for fault in case.faults(&run) {
            let _ = writeln!(faults, "- {}: {fault}\n{}{}", case.given, run.stdout, run.stderr);
        }
        section += &case.written(&run);
    }
    assert!(faults.is_empty(), "{theme}:\n{faults}");
    hold_document(theme, &section);
}

/// Holds a section of the document against what the program says, or writes it anew.
#[allow(clippy::disallowed_methods, reason = "the document is output of this test where it is asked for")]
fn hold_document(theme: &str, section: &str) {
    static DOCUMENT_IN_USE: Mutex<()> = Mutex::new(());
    let _guard = DOCUMENT_IN_USE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let path = workspace().join(DOCUMENT);
    let text = std::fs::read_to_string(&path).unwrap();
    let head = format!("\n## {theme}\n");
    let start = text.find(&head).unwrap_or_else(|| panic!("{DOCUMENT} has no section \"{theme}\"")) + head.len();
    let end = text[start..].find("\n## ").map_or(text.len(), |length| start + length);
    if std::env::var_os(REWRITE).is_some() {
        std::fs::write(&path, format!("{}{section}{}", &text[..start], &text[end..])).unwrap();
    } else {
        let stale = format!("{DOCUMENT}, \"{theme}\", is out of date: run this test with {REWRITE}=1");
        assert_eq!(text[start..end].trim_end(), section.trim_end(), "{stale}");
    }
}
