//! The command line in one place.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

const CAUTION: &str = "\
Caution: inert gas displaces breathing air. Over- and under-pressure can burst
gloves and windows. Hot vessels burn, reducing gas can ignite, vacuum implodes.
Local codes, the maker's ratings and licensed practice come first. This program
is no licence for toxic or radioactive containment.";

const AFTER_HELP: &str = "\
Exit codes: 0 pass, 1 fail, 2 usage or input error, 3 undecided, 4 not valid.";

/// Is this inert-gas enclosure tight, does its purifier work, may it ship?
#[derive(Debug, Parser)]
#[command(name = "tightfit", version, max_term_width = 80, after_help = AFTER_HELP, after_long_help = format!("{AFTER_HELP}\n\n{CAUTION}"))]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Evaluate all tests of a plan, judge its limits, write the dossier
    Qualify(QualifyArgs),
    /// Say why oxygen or water rises in a working log, and what to measure next
    Diagnose(DiagnoseArgs),
    /// Show what an export holds: form, columns, units, time, rows set aside
    Inspect(InspectArgs),
    /// Write a first plan from what exports hold, to be completed
    Draft(DraftArgs),
    /// Plan a test: how long, at which pressure, with which instruments
    Design(DesignArgs),
    /// Recompute a dossier from its raw files and compare
    Recheck(RecheckArgs),
    /// Leak rate straight from the files of a pressure-change test
    Leak(LeakArgs),
    /// Convert units of leaks, pressures, flows and moisture, with what they depend on
    Convert(ConvertArgs),
    /// Results over the years: record, compare, follow, forecast
    #[command(subcommand)]
    History(HistoryCommand),
    /// Print shell completions
    #[command(after_help = "Example:\n  tightfit completions bash > tightfit.bash")]
    Completions(CompletionsArgs),
    /// Print the manual page (roff)
    #[command(after_help = "Example:\n  tightfit manual > tightfit.1")]
    Manual,
}

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Words and numbers for people.
    Text,
    /// JSON for programs.
    Json,
}

/// In which form a result is printed.
#[derive(Debug, Args)]
pub(crate) struct FormatArgs {
    /// How the result is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,
}

/// Where local times are at home.
#[derive(Debug, Args)]
pub(crate) struct ZoneArgs {
    /// Zone of local times, for example Europe/Vienna or +02:00
    #[arg(long, value_name = "ZONE", allow_hyphen_values = true, value_parser = time_zone)]
    pub(crate) time_zone: Option<String>,
}

const QUALIFY_HELP: &str = "\
Examples:
  tightfit qualify plan.toml
  tightfit qualify plan.toml --out dossier --with-data
  tightfit qualify plan.toml --out dossier --pdf
  tightfit qualify plan.toml --format json > result.json";

#[derive(Debug, Args)]
#[command(after_help = QUALIFY_HELP, after_long_help = format!("{QUALIFY_HELP}\n\n{AFTER_HELP}\n\n{CAUTION}"))]
pub(crate) struct QualifyArgs {
    /// The plan (TOML); its files are looked for beside it
    pub(crate) plan: PathBuf,
    #[command(flatten)]
    pub(crate) dossier: DossierArgs,
    /// Let files lie in this folder too
    #[arg(long, value_name = "DIR")]
    pub(crate) data_root: Option<PathBuf>,
    /// Record the results in the store, and show earlier ones beside them
    #[arg(long)]
    pub(crate) record: bool,
    /// The store of results; without it the user's own
    #[arg(long, value_name = "FILE", requires = "record")]
    pub(crate) store: Option<PathBuf>,
    /// Day of the test, where the logs do not tell it (YYYY-MM-DD)
    #[arg(long, value_parser = day, value_name = "DAY", requires = "record")]
    pub(crate) date: Option<jiff::civil::Date>,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
}

/// What is written of a qualification.
#[derive(Debug, Args)]
pub(crate) struct DossierArgs {
    /// Write the dossier into this folder; without it nothing is written
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Replace a dossier that already stands there
    #[arg(long, requires = "out")]
    pub(crate) replace: bool,
    /// Copy the raw files into the dossier
    #[arg(long, requires = "out")]
    pub(crate) with_data: bool,
    /// Set the dossier as PDF too, where this is built in
    #[arg(long, requires = "out")]
    pub(crate) pdf: bool,
}

const HISTORY_HELP: &str = "\
Examples:
  tightfit history add dossier
  tightfit history note K-12 --what gloves --date 2026-06-01 \"left glove\"
  tightfit history show
  tightfit history trend K-12 --out k-12-years
  tightfit history export --out table

Results are only ever added; a wrong one is corrected by a new entry that names
it: tightfit history add DOSSIER --corrects 17";

#[derive(Debug, Subcommand)]
#[command(after_help = HISTORY_HELP)]
pub(crate) enum HistoryCommand {
    /// Record the results of a dossier
    Add(HistoryAddArgs),
    /// Record a service: gloves, seals, purifier, regeneration
    Note(HistoryNoteArgs),
    /// What was measured when, and the last results against those before
    Show(HistoryShowArgs),
    /// Trend, steps at services, and when a limit will be reached
    Trend(HistoryTrendArgs),
    /// All results as a table: CSV on the output, or CSV and Parquet in a folder
    Export(HistoryExportArgs),
}

/// Where pages, figures and tables go.
#[derive(Debug, Args)]
pub(crate) struct FolderArgs {
    /// Write pages, figures and tables into this folder; without it nothing is written
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Replace what was written there before
    #[arg(long, requires = "out")]
    pub(crate) replace: bool,
}

/// Where results are kept.
#[derive(Debug, Args)]
pub(crate) struct StoreArgs {
    /// The store of results; without it the user's own
    #[arg(long, value_name = "FILE")]
    pub(crate) store: Option<PathBuf>,
}

/// Where an entry goes, and which one it takes the place of.
#[derive(Debug, Args)]
pub(crate) struct EntryArgs {
    /// Number of the entry that this one takes the place of
    #[arg(long, value_name = "NUMBER")]
    pub(crate) corrects: Option<i64>,
    #[command(flatten)]
    pub(crate) store: StoreArgs,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tightfit history add dossier\n  tightfit history add dossier --date 2026-05-04 --corrects 17"
)]
pub(crate) struct HistoryAddArgs {
    /// The folder of a dossier, or its dossier.json
    pub(crate) dossier: PathBuf,
    /// Day of the test, where the logs do not tell it (YYYY-MM-DD)
    #[arg(long, value_parser = day, value_name = "DAY")]
    pub(crate) date: Option<jiff::civil::Date>,
    #[command(flatten)]
    pub(crate) entry: EntryArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Example:\n  tightfit history note K-12 --what gloves --date 2026-06-01 \"left glove\"")]
pub(crate) struct HistoryNoteArgs {
    /// Name of the enclosure
    pub(crate) enclosure: String,
    /// In words what was done
    #[arg(default_value = "")]
    pub(crate) note: String,
    /// What was served
    #[arg(long, value_name = "WHAT", value_parser = tightfit_report::history::SERVICES)]
    pub(crate) what: String,
    /// Day of the service (YYYY-MM-DD); today without it
    #[arg(long, value_parser = day, value_name = "DAY")]
    pub(crate) date: Option<jiff::civil::Date>,
    #[command(flatten)]
    pub(crate) entry: EntryArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  tightfit history show\n  tightfit history show K-12 --format json")]
pub(crate) struct HistoryShowArgs {
    /// Name of an enclosure; without it all of them, those first that need attention
    pub(crate) enclosure: Option<String>,
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
    #[command(flatten)]
    pub(crate) store: StoreArgs,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tightfit history trend K-12\n  tightfit history trend K-12 --quantity hourly_leak_rate --out k-12-years"
)]
pub(crate) struct HistoryTrendArgs {
    /// Name of the enclosure
    pub(crate) enclosure: String,
    /// Only this quantity, for example hourly_leak_rate; without it all that a limit judges
    #[arg(long, value_name = "NAME")]
    pub(crate) quantity: Option<String>,
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Day from which forecasts count (YYYY-MM-DD); today without it
    #[arg(long, value_parser = day, value_name = "DAY")]
    pub(crate) today: Option<jiff::civil::Date>,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
    #[command(flatten)]
    pub(crate) store: StoreArgs,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  tightfit history export > all.csv\n  tightfit history export K-12 --out table")]
pub(crate) struct HistoryExportArgs {
    /// Only this enclosure
    pub(crate) enclosure: Option<String>,
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) store: StoreArgs,
}

const DIAGNOSE_HELP: &str = "\
Examples:
  tightfit diagnose plan.toml
  tightfit diagnose plan.toml --out diagnosis
  tightfit diagnose plan.toml --format json > diagnosis.json

The plan needs a test with method = \"operating-log\". Its other tests count too:
rises, leak rates and clean-ups. So do the results that the store holds of the
enclosure (see tightfit history): the user's own store where there is one, or
that of --store.

Exit codes: 0 an explanation stands out, or nothing changed; 2 usage or input
error; 3 the leading explanations cannot be told apart; 4 not valid.";

#[derive(Debug, Args)]
#[command(after_help = DIAGNOSE_HELP, after_long_help = format!("{DIAGNOSE_HELP}\n\n{CAUTION}"))]
pub(crate) struct DiagnoseArgs {
    /// The plan (TOML); its files are looked for beside it
    pub(crate) plan: PathBuf,
    /// The working log to look at, where the plan has several
    #[arg(long, value_name = "ID")]
    pub(crate) test: Option<String>,
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// The store of earlier results; without it the user's own, where there is one
    #[arg(long, value_name = "FILE")]
    pub(crate) store: Option<PathBuf>,
    /// Let files lie in this folder too
    #[arg(long, value_name = "DIR")]
    pub(crate) data_root: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
}

const INSPECT_HELP: &str = "\
Examples:
  tightfit inspect log.csv
  tightfit inspect *.csv --rows
  tightfit inspect log.csv --time-zone Europe/Vienna --format json";

#[derive(Debug, Args)]
#[command(after_help = INSPECT_HELP)]
pub(crate) struct InspectArgs {
    /// Exports to look into
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// List the lines that were set aside
    #[arg(long)]
    pub(crate) rows: bool,
    #[command(flatten)]
    pub(crate) zone: ZoneArgs,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
}

const DRAFT_HELP: &str = "\
Example:
  tightfit draft hold.csv barometer.csv > plan.toml

Keep the plan beside its files, fill in what is marked, then run
  tightfit qualify plan.toml";

#[derive(Debug, Args)]
#[command(after_help = DRAFT_HELP)]
pub(crate) struct DraftArgs {
    /// Exports of one test
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) zone: ZoneArgs,
}

const DESIGN_HELP: &str = "\
Examples:
  tightfit design plan.toml
  tightfit design plan.toml --out design
  tightfit design plan.toml --format json > design.json

The plan is that of the test, without files. [design] may say what to expect:
  room = \"ordinary\"              still, ordinary or rough
  thermometer_wander = \"0.03 K\"  how far it strays from the mean gas
  expected_share = \"50 %\"        leak of a tight enclosure, of the limit
  longest = \"8 h\"                longest test worth planning

Exit codes: 0 a test decides, 2 usage or input error, 3 none decides.";

#[derive(Debug, Args)]
#[command(after_help = DESIGN_HELP, after_long_help = format!("{DESIGN_HELP}\n\n{CAUTION}"))]
pub(crate) struct DesignArgs {
    /// The plan (TOML); its tests need no files
    pub(crate) plan: PathBuf,
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
}

const RECHECK_HELP: &str = "\
Examples:
  tightfit recheck dossier
  tightfit recheck dossier/dossier.json --data-root logs

Exit codes: 0 the same, 1 something differs (named), 2 cannot be read.
Files compare by hash, numbers to 1e-7. The hashes have no key: they find
accidents and careless edits, not forgery.";

#[derive(Debug, Args)]
#[command(after_help = RECHECK_HELP)]
pub(crate) struct RecheckArgs {
    /// The dossier's folder, or its dossier.json
    pub(crate) dossier: PathBuf,
    /// Folder of the raw files, where they were not copied in and do not lie beside the dossier
    #[arg(long, value_name = "DIR")]
    pub(crate) data_root: Option<PathBuf>,
}

const LEAK_HELP: &str = "\
Examples:
  tightfit leak --volume \"0.92 m3\" --at \"-1000 Pa\" hold.csv
  tightfit leak --at \"-1000 Pa\" --max \"5e-4 1/h\" gauge.csv barometer.csv
  tightfit leak --at \"500 Pa\" --from \"10 min\" --to \"3 h\" hold.csv

Columns and units are recognised from the headers; what is not needs a plan.
Instrument errors are not in the interval here: state them in a plan.";

#[derive(Debug, Args)]
#[command(after_help = LEAK_HELP, after_long_help = format!("{LEAK_HELP}\n\n{AFTER_HELP}\n\n{CAUTION}"))]
pub(crate) struct LeakArgs {
    /// Exports of one hold; several are joined in time
    #[arg(required = true)]
    pub(crate) files: Vec<String>,
    /// Volume of the enclosure, for example "0.92 m3"
    #[arg(long)]
    pub(crate) volume: Option<String>,
    /// Pressure difference at which the leak rate is stated, for example "-1000 Pa"
    #[arg(long, value_name = "PRESSURE", allow_hyphen_values = true, value_parser = not_a_flag)]
    pub(crate) at: Option<String>,
    /// Fill gas: argon, nitrogen, helium or air
    #[arg(long)]
    pub(crate) gas: Option<String>,
    /// Largest hourly leak rate, for example "5e-4 1/h": gives a verdict
    #[arg(long, value_name = "RATE")]
    pub(crate) max: Option<String>,
    /// How far gloves and walls give way; "0 L/Pa" with ports closed rigidly
    #[arg(long)]
    pub(crate) compliance: Option<String>,
    /// Pressure of the room where none is logged, for example "1013 hPa"
    #[arg(long, value_name = "PRESSURE")]
    pub(crate) room_pressure: Option<String>,
    #[command(flatten)]
    pub(crate) zone: ZoneArgs,
    /// Start of the window: a time, or a duration after the first row
    #[arg(long, value_name = "MOMENT")]
    pub(crate) from: Option<String>,
    /// End of the window
    #[arg(long, value_name = "MOMENT")]
    pub(crate) to: Option<String>,
    #[command(flatten)]
    pub(crate) format: FormatArgs,
}

const CONVERT_HELP: &str = "\
Examples:
  tightfit convert \"4 inH2O\" Pa
  tightfit convert \"0.05 vol%/h\" \"mbar L/s\" --volume \"0.92 m3\" --pressure \"1013 hPa\"
  tightfit convert \"1 sccm\" \"Pa m3/s\" --temperature \"22 °C\"
  tightfit convert \"-45 °C frost point\" ppm --pressure \"1013 hPa\"

A conversion that depends on volume, pressure or temperature asks for it.";

#[derive(Debug, Args)]
#[command(after_help = CONVERT_HELP)]
pub(crate) struct ConvertArgs {
    /// Value with its unit
    #[arg(allow_hyphen_values = true, value_parser = not_a_flag)]
    pub(crate) value: String,
    /// Unit to convert to
    pub(crate) unit: String,
    /// Volume of the enclosure
    #[arg(long)]
    pub(crate) volume: Option<String>,
    /// Absolute pressure of the gas, or of the room for gauge and vacuum readings
    #[arg(long)]
    pub(crate) pressure: Option<String>,
    /// Temperature of the gas
    #[arg(long, allow_hyphen_values = true, value_parser = not_a_flag)]
    pub(crate) temperature: Option<String>,
    /// Temperature that sccm, NL and their kin refer to (0 °C unless stated)
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true, value_parser = not_a_flag)]
    pub(crate) reference_temperature: Option<String>,
}

#[derive(Debug, Args)]
pub(crate) struct CompletionsArgs {
    /// Shell
    pub(crate) shell: clap_complete::Shell,
}

/// A value that may start with a minus must not swallow the flag that follows.
fn not_a_flag(value: &str) -> Result<String, String> {
    if value.starts_with("--") {
        return Err(format!("a value is missing before {value}"));
    }
    Ok(value.to_owned())
}

/// A zone that can be looked up: an unknown one would leave local times as if no zone had been named.
fn time_zone(value: &str) -> Result<String, String> {
    let value = not_a_flag(value)?;
    if tightfit_report::plan::is_time_zone(&value) {
        return Ok(value);
    }
    Err("no such zone; write a name such as Europe/Vienna or an offset such as +02:00".to_owned())
}

fn day(value: &str) -> Result<jiff::civil::Date, String> {
    value.parse().map_err(|_| "no day of the calendar; write it as 2026-05-04".to_owned())
}
