//! Every command line in the README and the documents is run, so that they stay true.
#![allow(clippy::unwrap_used, reason = "a test that cannot read its documents should stop")]

use std::fs;
use std::path::{Path, PathBuf};

#[path = "../support/mod.rs"]
#[allow(dead_code, reason = "the bench serves the other test binary")]
mod support;

use support::{run_in, workspace};

/// A command line of a document.
struct Line {
    /// Whether it is the first of its document.
    first: bool,
    place: String,
    arguments: Vec<String>,
    code: i32,
}

#[test]
fn every_command_line_of_the_documents_ends_as_it_says() {
    let workspace = workspace();
    let bench = copy_of_samples(&workspace);
    // In the order of a reader: within each document one line may use what an earlier one wrote.
    let lines: Vec<Line> = documents(&workspace).iter().flat_map(|path| command_lines(&workspace, path)).collect();
    assert!(lines.len() >= 4, "only {} command lines were found", lines.len());
    for line in lines {
        if line.first {
            for folder in ["dossier", "years", "table"] {
                let _ = fs::remove_dir_all(bench.path().join(folder));
            }
        }
        let arguments: Vec<&str> = line.arguments.iter().map(String::as_str).collect();
        let run = run_in(bench.path(), &arguments);
        assert_eq!(run.code, line.code, "{}: {:?}\n{run:?}", line.place, line.arguments);
    }
}

/// Every command of the program.
const COMMANDS: [&str; 11] = [
    "qualify",
    "diagnose",
    "inspect",
    "draft",
    "design",
    "recheck",
    "leak",
    "convert",
    "history",
    "completions",
    "manual",
];

#[test]
fn the_help_of_every_command_has_an_example_and_fits_a_terminal() {
    let folder = workspace();
    let overview = run_in(&folder, &["--help"]).stdout;
    for name in COMMANDS {
        assert!(overview.contains(&format!("\n  {name} ")), "{name} is missing in:\n{overview}");
        let run = run_in(&folder, &[name, "--help"]);
        assert_eq!(run.code, 0, "{run:?}");
        let example = format!("\n  tightfit {name}");
        assert!(
            run.stdout.contains("Example") && run.stdout.contains(&example),
            "{name} has no example:\n{}",
            run.stdout
        );
        assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "{name} is too wide:\n{}", run.stdout);
    }
    let listed = overview.lines().skip_while(|line| *line != "Commands:").skip(1).take_while(|line| !line.is_empty());
    let told: Vec<&str> = listed
        // Names stand two blanks in; what is further in goes on with words.
        .filter_map(|line| line.strip_prefix("  ").filter(|line| !line.starts_with(' ')))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(told.iter().all(|name| COMMANDS.contains(name)), "{told:?}");
}

#[test]
fn every_link_between_documents_leads_somewhere() {
    let workspace = workspace();
    for path in documents(&workspace) {
        let text = fs::read_to_string(&path).unwrap();
        for target in text.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            let file = target.split('#').next().unwrap();
            if file.is_empty() || file.contains("://") {
                continue;
            }
            let place = path.parent().unwrap().join(file);
            assert!(place.exists(), "{}: the link to {target} leads nowhere", path.display());
        }
    }
}

/// Each test writes and holds its own section, so that what only shows as a whole is looked at here.
#[test]
fn every_section_of_the_cross_checks_is_of_one_test() {
    let workspace = workspace();
    let page = fs::read_to_string(workspace.join("notebooks-free-docs/cross-checks.md")).unwrap();
    let mut written: Vec<String> =
        page.lines().filter_map(|line| line.strip_prefix("## ")).map(str::to_owned).collect();
    let mut tests = Vec::new();
    for path in
        files(&[workspace.join("tests/exports"), workspace.join("tests/published"), workspace.join("crates")], "rs")
    {
        let text = fs::read_to_string(path).unwrap();
        let openings = text.split("CrossCheck::against(").skip(1);
        tests.extend(openings.filter_map(|rest| rest.split('"').nth(1)).map(str::to_owned));
    }
    written.sort();
    tests.sort();
    assert_eq!(written, tests);
}

/// Studies, benches and fuzzers take minutes to days, so that of their command lines only what they name is looked up.
#[test]
fn every_target_that_a_cargo_command_names_exists_and_every_study_is_told() {
    let workspace = workspace();
    let fuzz_targets = workspace.join("fuzz/fuzz_targets");
    let mut told = Vec::new();
    for document in documents(&workspace) {
        let text = fs::read_to_string(&document).unwrap();
        for command in text.split("cargo ").skip(1).filter_map(|rest| rest.split(['`', '\n']).next()) {
            let words: Vec<&str> = command.split_whitespace().take_while(|word| *word != "--").collect();
            for pair in words.windows(2) {
                let place = match pair[0] {
                    "--example" => format!("examples/{}", pair[1]),
                    "--bench" => format!("benches/{}", pair[1]),
                    "-p" if pair[1] == "tightfit" => continue,
                    "-p" => {
                        let package = workspace.join("crates").join(pair[1].trim_start_matches("tightfit-"));
                        assert!(package.is_dir(), "{}: no package {}", document.display(), pair[1]);
                        continue;
                    }
                    "fuzz" => {
                        let is_target = |word: &&str| fuzz_targets.join(format!("{word}.rs")).is_file();
                        assert!(words.iter().any(is_target), "{}: {command} names no target", document.display());
                        continue;
                    }
                    _ => continue,
                };
                let crates = ["fit", "history", "report", "ingest", "quantity"];
                // A target is a file, or a folder with its main file.
                let files = [format!("{place}.rs"), format!("{place}/main.rs")];
                let exists = crates
                    .iter()
                    .any(|name| files.iter().any(|file| workspace.join("crates").join(name).join(file).is_file()));
                assert!(exists, "{}: {command} names {place}, which is not there", document.display());
                told.push(place);
            }
        }
    }
    let folders = ["crates/fit/examples", "crates/history/examples", "crates/report/examples"];
    for file in files(&folders.map(|folder| workspace.join(folder)), "rs") {
        let folder = file.parent().unwrap();
        let own = if folder.ends_with("examples") { file.file_stem() } else { folder.file_name() };
        let place = format!("examples/{}", own.unwrap().to_str().unwrap());
        assert!(told.contains(&place), "no document tells how to run {place}");
    }
}

/// A block whose first line names a file shows lines that stand there, so that examples of where to add something stay true.
#[test]
fn every_line_quoted_from_a_file_stands_in_it() {
    let workspace = workspace();
    let mut quoted = 0;
    for document in documents(&workspace) {
        let text = fs::read_to_string(&document).unwrap();
        let mut lines = text.lines().map(str::trim);
        while let Some(line) = lines.next() {
            let Some(file) = line.strip_prefix("```text ") else { continue };
            let code = fs::read_to_string(workspace.join(file)).unwrap();
            let code: Vec<&str> = code.lines().map(str::trim).collect();
            for line in lines.by_ref().take_while(|line| *line != "```") {
                assert!(code.contains(&line), "{}: {file} has no line {line}", document.display());
                quoted += 1;
            }
        }
    }
    assert!(quoted >= 6, "only {quoted} lines are quoted");
}

fn documents(workspace: &Path) -> Vec<PathBuf> {
    let mut found = files(&[workspace.join("notebooks-free-docs")], "md");
    found.extend([workspace.join("README.md"), workspace.join("DEVELOPERS.md")]);
    found.sort();
    found
}

/// All files below some folders whose names end so.
fn files(folders: &[PathBuf], ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = folders.to_vec();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == ending) {
                found.push(path);
            }
        }
    }
    found
}

/// Lines of `sh` blocks that start with the program, directly or through cargo. A remark `# exit code 1` says how it ends.
fn command_lines(workspace: &Path, path: &Path) -> Vec<Line> {
    let text = fs::read_to_string(path).unwrap();
    let mut inside = false;
    let mut lines = Vec::new();
    for (number, line) in text.lines().enumerate() {
        if line.starts_with("```") {
            inside = line == "```sh";
            continue;
        }
        let command = line.strip_prefix("cargo run -- ").or_else(|| line.strip_prefix("tightfit "));
        let (true, Some(command)) = (inside, command) else { continue };
        let (command, remark) = command.split_once(" # ").unwrap_or((command, ""));
        let code =
            remark.strip_prefix("exit code ").and_then(|rest| rest.get(..1)).map_or(0, |code| code.parse().unwrap());
        let place = format!("{}, line {}", path.strip_prefix(workspace).unwrap().display(), number + 1);
        lines.push(Line { first: lines.is_empty(), place, arguments: words(command), code });
    }
    lines
}

/// Splits as a shell does, as far as documents need: blanks, double quotes, output sent elsewhere.
fn words(command: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in command.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => words.last_mut().unwrap().push(c),
        }
    }
    words.retain(|word| !word.is_empty());
    let end = words.iter().position(|word| word == ">" || word == "|").unwrap_or(words.len());
    words.truncate(end);
    words
}

fn copy_of_samples(workspace: &Path) -> tempfile::TempDir {
    let bench = tempfile::tempdir().unwrap();
    let target = bench.path().join("data-samples/k-12");
    fs::create_dir_all(&target).unwrap();
    for entry in fs::read_dir(workspace.join("data-samples/k-12")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, target.join(path.file_name().unwrap())).unwrap();
    }
    bench
}
