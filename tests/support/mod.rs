//! Running the program as a person does.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicUsize, Ordering};

/// A folder of its own with files, removed at the end.
pub(crate) struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// A bench with a copy of the K-12 demo.
    pub(crate) fn with_demo() -> Self {
        let bench = Self::new();
        let demo = workspace().join("data-samples/k-12");
        for entry in fs::read_dir(demo).unwrap() {
            let path = entry.unwrap().path();
            fs::copy(&path, bench.path(path.file_name().unwrap().to_str().unwrap())).unwrap();
        }
        bench
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    #[allow(clippy::disallowed_methods, reason = "input of a test")]
    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::create_dir_all(self.path(name).parent().unwrap()).unwrap();
        fs::write(self.path(name), content).unwrap();
    }

    pub(crate) fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    /// Names in the folder, sorted.
    pub(crate) fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<_> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// Runs the program here.
    pub(crate) fn run(&self, arguments: &[&str]) -> Run {
        run_in(self.folder.path(), arguments)
    }

    /// The result of a plan that must end with `code`.
    pub(crate) fn qualified(&self, plan: &str, code: i32) -> serde_json::Value {
        let run = self.run(&["qualify", plan, "--format", "json"]);
        assert_eq!(run.code, code, "{run:?}");
        run.json()
    }
}

/// What the program said and how it ended.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Run {
    pub(crate) fn json(&self) -> serde_json::Value {
        keep_json(&self.stdout);
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("no JSON: {error}\n{self:?}"))
    }
}

pub(crate) fn run_in(folder: &Path, arguments: &[&str]) -> Run {
    let output: Output =
        Command::new(env!("CARGO_BIN_EXE_tightfit")).args(arguments).current_dir(folder).output().unwrap();
    Run {
        code: output.status.code().expect("the program was not killed"),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Keeps a JSON text in the folder that `TIGHTFIT_KEEP_JSON` names, where `.ci/schema-check` holds it against the published
/// schema. A validator written in Rust would have the frame library built twice, for its features.
#[allow(clippy::disallowed_methods, reason = "output of a test for another one")]
pub(crate) fn keep_json(text: &str) {
    static COUNT: AtomicUsize = AtomicUsize::new(0);
    if let Some(folder) = std::env::var_os("TIGHTFIT_KEEP_JSON") {
        fs::create_dir_all(&folder).unwrap();
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        fs::write(Path::new(&folder).join(format!("{}-{number}.json", std::process::id())), text).unwrap();
    }
}

/// The top of the repository.
pub(crate) fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}

/// A fixed jitter within ±0.5 that stands for noise: the linear congruence of Numerical Recipes, its upper half.
pub(crate) fn jitter(state: &mut u32) -> f64 {
    *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    f64::from(*state >> 16) / 65_536.0 - 0.5
}

/// Twelve of them: about normal, with a variance of one.
pub(crate) fn normal(state: &mut u32) -> f64 {
    (0..12).map(|_| jitter(state)).sum()
}
