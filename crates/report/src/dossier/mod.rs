//! The dossier that goes with the enclosure: one self-contained page, its plots, and a machine-readable record.

mod by_hand;
mod first_page;
pub(crate) mod html;
mod number;
mod record;
mod table;
mod test_page;
mod traceability;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::Qualified;
use crate::method::Drawing;
use crate::plot::{Clock, Figure};
use crate::write::{Existing, NewFile, WriteError, write_folder};

pub(crate) use html::STYLE;
pub use record::{DataFile, DossierRecord, RECORD_FILE, WrittenFile};
pub use table::{CSV_FILE, results_csv};
#[cfg(feature = "parquet")]
pub use table::{PARQUET_FILE, results_parquet};

/// The page of a dossier.
pub const PAGE_FILE: &str = "dossier.html";

/// How a dossier is written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WriteOptions {
    /// Replace a dossier that stands there already.
    pub replace: bool,
    /// Copy plan and raw files in, under `data/`.
    pub with_data: bool,
    /// Files made of the page by others, such as its PDF: they are written and hashed with the rest.
    pub further: Vec<NewFile>,
}

/// The dossier as one self-contained HTML page: no script, no network, prints on A4 and Letter.
#[must_use]
pub fn render_html(qualified: &Qualified) -> String {
    html::render(qualified, &draw(qualified))
}

/// Writes `dossier.html`, `results.csv`, `results.parquet`, the plots as SVG, what `options` add, and last
/// `dossier.json`, which holds the hashes of all others. Returns the files written.
///
/// # Errors
/// See [`WriteError`]; then nothing at `out` has changed.
pub fn write(qualified: &Qualified, out: &Path, options: &WriteOptions) -> Result<Vec<PathBuf>, WriteError> {
    let drawn = draw(qualified);
    let page = html::render(qualified, &drawn);
    let mut files = vec![NewFile { path: PAGE_FILE.into(), content: page.into_bytes() }];
    files.push(NewFile { path: CSV_FILE.into(), content: results_csv(&qualified.result).into_bytes() });
    #[cfg(feature = "parquet")]
    files.push(NewFile { path: PARQUET_FILE.into(), content: results_parquet(&qualified.result) });
    files.extend(plots(qualified, &drawn));
    files.extend(options.further.iter().cloned());
    let data = if options.with_data { data_files(qualified) } else { Vec::new() };
    let names = data.iter().map(|(name, file)| DataFile { name: name.clone(), path: slashed(&file.path) }).collect();
    files.extend(data.into_iter().map(|(_, file)| file));
    let record = DossierRecord::new(qualified, &files, names).to_json();
    files.push(NewFile { path: RECORD_FILE.into(), content: record.into_bytes() });
    let known = if options.replace { record::files_of(out) } else { Vec::new() };
    write_folder(out, &files, if options.replace { Existing::Replace(&known) } else { Existing::Refuse })
}

/// The figures of one drawing, with the clock that their times are read on.
struct Drawn {
    clock: Clock,
    /// Each with its SVG.
    figures: Vec<(Figure, String)>,
}

/// The figures of every test, one entry a drawing. A week of seconds takes its time, so they are drawn once.
fn draw(qualified: &Qualified) -> Vec<Vec<Drawn>> {
    let zone = qualified.plan.room.time_zone.as_deref();
    let draw_one = |test: usize, number: usize, drawing: &Drawing| {
        let clock = Clock::new(drawing.origin_s, zone);
        let anchor = format!("t{}d{}", test + 1, number + 1);
        let figures = drawing.evaluation.figures(&clock).into_iter();
        let figures = figures.map(|figure| (figure.svg(&clock, &anchor), figure)).map(|(svg, figure)| (figure, svg));
        Drawn { figures: figures.collect(), clock }
    };
    let outcomes = qualified.outcomes.iter().enumerate();
    outcomes
        .map(|(test, outcome)| {
            let drawings = outcome.as_ref().map(|outcome| outcome.drawings.as_slice()).unwrap_or_default();
            drawings.iter().enumerate().map(|(number, drawing)| draw_one(test, number, drawing)).collect()
        })
        .collect()
}

fn plots(qualified: &Qualified, drawn: &[Vec<Drawn>]) -> Vec<NewFile> {
    let mut names = Names::default();
    let mut files = Vec::new();
    for (test, drawn) in qualified.plan.tests.iter().zip(drawn) {
        for (figure, svg) in drawn.iter().flat_map(|drawn| &drawn.figures) {
            let path = names.unused(Path::new("plots"), &format!("{}-{}.svg", test.id, figure.name));
            files.push(NewFile { path, content: svg.clone().into_bytes() });
        }
    }
    files
}

/// The plan and the raw files, each with its name in the plan.
fn data_files(qualified: &Qualified) -> Vec<(String, NewFile)> {
    let mut names = Names::default();
    let plan_name = plan_file_name(&qualified.plan.file);
    let plan = NewFile {
        path: names.unused(Path::new("data"), &plan_name),
        content: qualified.plan.text.clone().into_bytes(),
    };
    let mut files = vec![(plan_name, plan)];
    let raw = qualified.outcomes.iter().flatten().flat_map(|outcome| &outcome.raw);
    for (name, content) in raw {
        if files.iter().skip(1).any(|(known, _)| known == name) {
            continue;
        }
        let mut folder = PathBuf::from("data");
        let (parents, last) = name.rsplit_once('/').unwrap_or(("", name));
        folder.extend(parents.split('/').filter(|part| !matches!(*part, "" | ".")).map(safe_name));
        files.push((name.clone(), NewFile { path: names.unused(&folder, last), content: content.to_vec() }));
    }
    files
}

/// The plan's own name, without the folders that it lay in.
fn plan_file_name(file: &str) -> String {
    let name = Path::new(file).file_name().and_then(|name| name.to_str()).unwrap_or("plan.toml");
    name.to_owned()
}

fn slashed(path: &Path) -> String {
    path.components().map(|component| component.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// File names given so far; file systems that ignore case are common.
#[derive(Default)]
struct Names(BTreeSet<String>);

impl Names {
    /// The name in the folder, made safe, with a number where it is taken.
    fn unused(&mut self, folder: &Path, name: &str) -> PathBuf {
        let safe = safe_name(name);
        let (stem, extension) = safe.rsplit_once('.').map_or((safe.as_str(), ""), |(stem, ext)| (stem, ext));
        let dot = if extension.is_empty() { "" } else { "." };
        let numbered = (2..).map(|number| folder.join(format!("{stem}-{number}{dot}{extension}")));
        let mut candidates = std::iter::once(folder.join(&safe)).chain(numbered);
        candidates.find(|path| self.0.insert(slashed(path).to_lowercase())).unwrap_or_else(|| folder.join(safe))
    }
}

/// A file name that every common file system takes and that leads nowhere else.
fn safe_name(name: &str) -> String {
    const LONGEST: usize = 100;
    let plain: String = name
        .chars()
        .map(|c| if c.is_control() || r#"<>:"/\|?*"#.contains(c) { '_' } else { c })
        .take(LONGEST)
        .collect();
    let plain = plain.trim_matches([' ', '.']);
    let stem = plain.split('.').next().unwrap_or_default().to_uppercase();
    let reserved = matches!(stem.as_str(), "CON" | "PRN" | "AUX" | "NUL")
        || (stem.len() == 4
            && (stem.starts_with("COM") || stem.starts_with("LPT"))
            && stem.ends_with(|c: char| c.is_ascii_digit()));
    match plain {
        "" => "_".to_owned(),
        _ if reserved => format!("_{plain}"),
        _ => plain.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_lead_nowhere_and_never_collide() {
        assert_eq!(safe_name("../../etc/passwd"), "_.._etc_passwd");
        assert_eq!(safe_name(".."), "_");
        assert_eq!(safe_name("con.csv"), "_con.csv");
        assert_eq!(safe_name("hold 1 (Tür).csv"), "hold 1 (Tür).csv");
        let mut names = Names::default();
        assert_eq!(names.unused(Path::new("data"), "a.csv"), Path::new("data/a.csv"));
        assert_eq!(names.unused(Path::new("data"), "A.csv"), Path::new("data/A-2.csv"));
    }
}
