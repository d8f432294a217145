//! A week of seconds: reading an export and the whole `qualify`, beside a bare CSV read of the same file by the frame
//! library and a script that does the conventional job.
//!
//! `cargo run --release` prints wall time, processor time (best of several, each a process of its own) and peak memory.
//! `cargo run --release -- doses` does the same for two weeks at 1 Hz with 40 doses, `cargo run --release -- growth
//! [MOST]` for 10⁴ rows and more, up to MOST (10⁷).

mod files;
mod work;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Instant;

use work::Work;

/// Rows of a week at 1 Hz.
const WEEK: usize = 604_800;
const REPEATS: usize = 5;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["do", work, path] => {
            let rows = Work::named(work).expect("a known work").run(Path::new(path));
            assert!(rows > 0);
            println!("{} {}", work::peak_mb(), work::processor_s());
        }
        ["doses"] => doses(),
        ["growth"] => growth(10_000_000),
        ["growth", most] => growth(most.parse().expect("a number of rows")),
        [] => week(),
        _ => panic!("the only arguments are: doses, or growth [MOST]"),
    }
}

/// What one kind of work costs.
#[derive(Clone, Copy)]
struct Cost {
    /// Wall time.
    seconds: f64,
    /// Processor time of all threads, which other work on the machine does not lengthen by much.
    processor_s: f64,
    mb: f64,
}

fn week() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let hold = files::write_hold(folder.path(), WEEK);
    let awkward = files::write_awkward(folder.path(), WEEK);
    println!("| | wall time | processor time | against the bare read | peak memory | against the bare read |");
    println!("|---|---|---|---|---|---|");
    let bare = cost(Work::BareRead, &hold);
    line(work::BARE_READ, bare, bare);
    line("ingest alone", cost(Work::Ingest, &hold), bare);
    line("ingest alone, awkward dialect", cost(Work::Ingest, &awkward), bare);
    line("qualify, pressure change", cost(Work::Qualify, &folder.path().join(files::PLAN)), bare);
    let both = cost(Work::Qualify, &folder.path().join(files::PLAN_OF_TWO));
    line("qualify, pressure change and endurance", both, bare);
    match script(&hold) {
        Ok(script) => {
            line("script with pandas, scipy and lmfit", script, bare);
            let [wall, processor] = [script.seconds / both.seconds, script.processor_s / both.processor_s];
            println!(
                "\nThe script takes {wall:.1} times as long as qualify with both tests, and {processor:.1} times the \
                 processor time."
            );
        }
        Err(reason) => println!("\nThe script was skipped: {reason}"),
    }
}

fn doses() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let export = files::write_doses(folder.path());
    println!("| | wall time | processor time | against the bare read | peak memory | against the bare read |");
    println!("|---|---|---|---|---|---|");
    let bare = cost(Work::BareRead, &export);
    line(work::BARE_READ, bare, bare);
    line("qualify, clean-up series", cost(Work::Qualify, &folder.path().join(files::PLAN_OF_DOSES)), bare);
}

fn growth(most: usize) {
    println!("| rows | work | wall time | processor time | a row | peak memory |\n|---|---|---|---|---|---|");
    let sizes = (4..).map(|power| 10usize.pow(power)).take_while(|rows| *rows <= most);
    for rows in sizes {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let hold = files::write_hold(folder.path(), rows);
        let plan = folder.path().join(files::PLAN);
        let bare = cost(Work::BareRead, &hold);
        let works = [("bare read", bare), ("ingest", cost(Work::Ingest, &hold)), ("in bins", cost(Work::Bins, &hold))];
        let qualify = ("qualify", cost(Work::Qualify, &plan));
        for (name, Cost { seconds, processor_s, mb }) in works.into_iter().chain([qualify]) {
            let a_row = 1e9 * processor_s / rows as f64;
            println!("| {rows} | {name} | {seconds:.3} s | {processor_s:.3} s | {a_row:.0} ns | {mb:.0} MB |");
        }
    }
}

fn line(name: &str, Cost { seconds, processor_s, mb }: Cost, bare: Cost) {
    let [time, memory] = [processor_s / bare.processor_s, mb / bare.mb];
    println!("| {name} | {seconds:.3} s | {processor_s:.3} s | {time:.2} | {mb:.0} MB | {memory:.2} |");
}

/// The cheapest of several processes that do one thing each.
fn cost(work: Work, path: &Path) -> Cost {
    let program = std::env::current_exe().expect("the path of this program");
    let run = || {
        let mut command = Command::new(&program);
        command.args(["do", work.name()]).arg(path).env("POLARS_MAX_THREADS", "2");
        timed(command).expect("this program starts and ends well")
    };
    cheapest(run)
}

/// The script on the same file, or why it cannot run. `PYTHON` names another interpreter.
fn script(file: &Path) -> Result<Cost, String> {
    let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("conventional.py");
    let python = std::env::var_os("PYTHON").unwrap_or_else(|| "python3".into());
    let command = || {
        let mut command = Command::new(&python);
        command.arg(&script).arg(file);
        command
    };
    timed(command())?;
    Ok(cheapest(|| timed(command()).expect("it ran before")))
}

fn cheapest(mut run: impl FnMut() -> Cost) -> Cost {
    let first = run();
    (1..REPEATS).map(|_| run()).fold(first, |best, cost| Cost {
        seconds: best.seconds.min(cost.seconds),
        processor_s: best.processor_s.min(cost.processor_s),
        mb: best.mb.min(cost.mb),
    })
}

/// Runs a process that prints its peak memory in MB and its processor time in s last.
fn timed(mut command: Command) -> Result<Cost, String> {
    let start = Instant::now();
    let Output { status, stdout, stderr } = command.output().map_err(|error| error.to_string())?;
    let seconds = start.elapsed().as_secs_f64();
    let text = String::from_utf8_lossy(&stdout);
    let numbers: Vec<f64> = text.lines().last().unwrap_or_default().split(' ').filter_map(|n| n.parse().ok()).collect();
    match numbers[..] {
        [mb, processor_s] if status.success() => Ok(Cost { seconds, processor_s, mb }),
        _ => Err(String::from_utf8_lossy(&stderr).lines().last().unwrap_or("it printed no peak memory").to_owned()),
    }
}
