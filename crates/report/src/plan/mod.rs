//! The plan: what is tested, with what, how, and against which limits.

mod design;
mod enclosure;
mod instrument;
mod limit;
mod mistake;
mod section;
mod test;

use std::collections::BTreeMap;

use sha2::{Digest, Sha256};
use tightfit_ingest::{Channel, Kind};
use tightfit_quantity::{Dimension, Quantity};
use toml::de::DeTable;

use crate::catalogue::{Method, RESULTS};

pub use design::{DesignPlan, RoomClass};
pub use enclosure::{Compliance, Enclosure, Glove, Purifier, Room, Supply, is_time_zone};
pub use instrument::{ClockOffset, Instrument, MadeFor, ZeroCheck};
pub use limit::{Bound, Check, CheckResult, Limit};
pub(crate) use mistake::nearest;
pub use mistake::{Located, Mistake, PlanError};
pub use section::Measured;
pub use test::{ColumnPlan, MethodKeys, Moment, ReferenceStep, Required, Run, SuperimposedLeak, Test, Window};
pub use tightfit_fit::decision::Rule;

use section::{Notebook, Section};

/// Format version of plans.
const VERSION: i64 = 1;

/// Mistakes of syntax that are told at once.
const SYNTAX_TOLD: usize = 5;

/// A plan that was read without mistakes.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// File name as the user gave it.
    pub file: String,
    /// The whole text, as it goes into the dossier.
    pub text: String,
    /// SHA-256 of the text, hexadecimal.
    pub sha256: String,
    /// The enclosure.
    pub enclosure: Enclosure,
    /// Procedure, tester and witness.
    pub qualification: Qualified,
    /// The room.
    pub room: Room,
    /// Impurity of the supplied gas.
    pub supply: Supply,
    /// Instruments by name.
    pub instruments: BTreeMap<String, Instrument>,
    /// Tests in the order of the plan.
    pub tests: Vec<Test>,
    /// What is expected of tests that are still to be made; only planning reads it.
    pub design: DesignPlan,
    /// Limits.
    pub limits: Vec<Limit>,
    /// Checks by eye.
    pub checks: Vec<Check>,
}

/// Who tested by which procedure.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Qualified {
    /// Procedure, with revision.
    pub procedure: Option<String>,
    /// Who tested.
    pub tester: Option<String>,
    /// Who witnessed.
    pub witness: Option<String>,
}

/// What a plan is read for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Purpose {
    Qualify,
    Design,
}

impl Plan {
    /// The limits on a quantity that hold for a test.
    pub(crate) fn limits_of<'a>(&'a self, test: &'a Test, quantity: &'a str) -> impl Iterator<Item = &'a Limit> {
        let holds =
            move |limit: &&Limit| limit.quantity == quantity && limit.test.as_deref().is_none_or(|id| id == test.id);
        self.limits.iter().filter(holds)
    }

    /// Reads a plan. `file` is only used in messages.
    ///
    /// # Errors
    /// [`PlanError`] with every mistake that was found, not only the first.
    pub fn parse(file: &str, text: &str) -> Result<Self, PlanError> {
        Self::parse_for(Purpose::Qualify, file, text)
    }

    /// Reads a plan whose tests are still to be made, so that they may be without files.
    ///
    /// # Errors
    /// Those of [`Plan::parse`].
    pub fn parse_for_design(file: &str, text: &str) -> Result<Self, PlanError> {
        Self::parse_for(Purpose::Design, file, text)
    }

    fn parse_for(purpose: Purpose, file: &str, text: &str) -> Result<Self, PlanError> {
        let notebook = Notebook::new(text);
        let (root, syntax) = DeTable::parse_recoverable(text);
        // A log given as a plan has a mistake in every line.
        for error in syntax.iter().take(SYNTAX_TOLD) {
            let message = error.message().lines().next().unwrap_or_default().to_owned();
            notebook.note(error.span().map_or(0, |span| span.start), Mistake::Syntax { message });
        }
        // With broken syntax the rest would be a chain of follow-up mistakes.
        let plan = syntax.is_empty().then(|| {
            let root = Section::new(root.get_ref(), "the plan", 0, &notebook);
            let plan = read(file, text, &root);
            if purpose == Purpose::Qualify {
                check_files(&plan, &root);
            }
            plan
        });
        let mistakes = notebook.into_located();
        match plan {
            Some(plan) if mistakes.is_empty() => Ok(plan),
            _ => Err(PlanError { file: file.to_owned(), mistakes }),
        }
    }
}

fn read(file: &str, text: &str, root: &Section<'_>) -> Plan {
    version(root);
    let enclosure = root.section("enclosure").map(|section| Enclosure::read(&section));
    if enclosure.is_none() && !root.has("enclosure") {
        root.missing("enclosure", "[enclosure] with id and gas");
    }
    let tests: Vec<Test> = root.sections("test").iter().map(Test::read).collect();
    if tests.is_empty() && !root.has("test") {
        root.missing("test", "[[test]] with id, method and files");
    }
    let ids: Vec<String> = tests.iter().map(|test| test.id.clone()).collect();
    let quantities: Vec<_> = RESULTS.iter().map(|kind| (kind.name, kind.dimension)).collect();
    let plan = Plan {
        file: file.to_owned(),
        text: text.to_owned(),
        sha256: hexadecimal(&Sha256::digest(text.as_bytes())),
        enclosure: enclosure.unwrap_or_else(nameless),
        qualification: root.section("qualification").map(|section| qualification(&section)).unwrap_or_default(),
        room: root.section("room").map(|section| Room::read(&section)).unwrap_or_default(),
        supply: root.section("supply").map(|section| Supply::read(&section)).unwrap_or_default(),
        instruments: root.section("instruments").map(|section| instruments(&section)).unwrap_or_default(),
        design: root.section("design").map(|section| DesignPlan::read(&section)).unwrap_or_default(),
        limits: root.sections("limit").iter().filter_map(|limit| Limit::read(limit, &quantities, &ids)).collect(),
        checks: root.sections("check").iter().map(Check::read).collect(),
        tests,
    };
    root.finish();
    cross_check(&plan, root);
    let required: Vec<Limit> = plan.tests.iter().flat_map(|test| Limit::required_by(test, &plan.limits)).collect();
    Plan { limits: plan.limits.into_iter().chain(required).collect(), ..plan }
}

fn version(root: &Section<'_>) {
    if !root.has("tightfit") {
        root.missing("tightfit", "tightfit = 1");
    }
    if let Some(found) = root.whole_number("tightfit")
        && found != VERSION
    {
        root.note("tightfit", Mistake::Version { found });
    }
}

fn qualification(section: &Section<'_>) -> Qualified {
    let qualified = Qualified {
        procedure: section.text("procedure"),
        tester: section.text("tester"),
        witness: section.text("witness"),
    };
    section.finish();
    qualified
}

fn instruments(section: &Section<'_>) -> BTreeMap<String, Instrument> {
    let mut instruments = BTreeMap::new();
    for (name, value) in section.named() {
        match section.table_of(name, value) {
            Some(inner) => {
                instruments.insert(name.to_owned(), Instrument::read(name, &inner));
            }
            None => section.wrong_type(name, value, "a section, for example [instruments.gauge]"),
        }
    }
    instruments
}

/// What only shows when the sections are held against each other.
fn cross_check(plan: &Plan, root: &Section<'_>) {
    for (index, section) in root.sections("test").iter().enumerate() {
        let Some(test) = plan.tests.get(index) else { continue };
        if plan.tests[..index].iter().any(|earlier| earlier.id == test.id) {
            section.note("id", Mistake::Twice { kind: "test", name: test.id.clone() });
        }
        check_rated(plan, test, section);
        check_reference(plan, test, section);
        check_instruments(plan, test, section, root);
    }
}

fn check_rated(plan: &Plan, test: &Test, section: &Section<'_>) {
    let Some((low, high)) = &plan.enclosure.rated_pressure else { return };
    let own = [("reference_pressure", &test.reference_pressure), ("pressure", &test.pressure)];
    let runs = test.runs.iter().map(|run| ("run", &run.pressure));
    for (key, pressure) in own.into_iter().chain(runs) {
        let Some(pressure) = pressure else { continue };
        if pressure.si() < low.si() || pressure.si() > high.si() {
            let (pressure, rated) = (pressure.text().to_owned(), format!("{low} to {high}"));
            section.note(key, Mistake::BeyondRated { key: key.to_owned(), pressure, rated });
        }
    }
}

/// What was logged must be there to be evaluated.
fn check_files(plan: &Plan, root: &Section<'_>) {
    for (test, section) in plan.tests.iter().zip(root.sections("test")) {
        if !test.method.has_runs() && test.files.is_empty() {
            section.missing("files", "files = [\"tightness.csv\"]; a test still to be made is for tightfit design");
        }
    }
}

/// A limit on a leak rate means nothing without the pressure difference at which it holds.
fn check_reference(plan: &Plan, test: &Test, section: &Section<'_>) {
    let by_pressure = matches!(test.method, Method::PressureChange | Method::PressureChangeSeries);
    let limited = plan.limits.iter().any(|limit| {
        matches!(limit.quantity.as_str(), "hourly_leak_rate" | "leak_throughput")
            && limit.test.as_deref().is_none_or(|id| id == test.id)
    });
    if by_pressure && limited && !section.has("reference_pressure") {
        section.missing("reference_pressure", "reference_pressure = \"-1000 Pa\", at which the limit holds");
    }
}

fn check_instruments(plan: &Plan, test: &Test, section: &Section<'_>, root: &Section<'_>) {
    for column in &test.columns {
        let Some(name) = &column.instrument else { continue };
        let Some(instrument) = plan.instruments.get(name) else {
            let nearest = mistake::nearest(name, plan.instruments.keys().map(String::as_str));
            section.note("columns", Mistake::NotDefined { kind: "instrument", name: name.clone(), nearest });
            continue;
        };
        if let Some(dimension) = dimension_of(column.channel) {
            for mistake in instrument.check_dimension(dimension) {
                root.note("instruments", mistake);
            }
        }
    }
}

/// The dimension in which an instrument of this channel states its errors.
pub(crate) fn dimension_of(channel: Channel) -> Option<Dimension> {
    match channel.kind() {
        Kind::Pressure => Some(Dimension::Pressure),
        Kind::Temperature => Some(Dimension::Temperature),
        Kind::MoleFraction | Kind::RelativeHumidity => Some(Dimension::Ratio),
        Kind::Volume => Some(Dimension::Volume),
        // Flows may be stated at reference conditions; the method that uses them decides.
        Kind::VolumeFlow | Kind::Time | Kind::State => None,
    }
}

/// Stands in while the mistakes of a plan without an enclosure are collected.
fn nameless() -> Enclosure {
    Enclosure {
        id: String::new(),
        volume: None,
        gas: tightfit_quantity::Gas::Argon,
        rated_pressure: None::<(Quantity, Quantity)>,
        compliance: Compliance::NotStated,
        configuration: None,
        changed_after_test: Vec::new(),
        gloves: Vec::new(),
        antechamber_volume: None,
        purifiers: Vec::new(),
    }
}

pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
