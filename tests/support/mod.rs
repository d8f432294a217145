//! Running the program as a person does.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

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
}

/// What the program said and how it ended.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Run {
    /// What was printed, held against the published schema of its kind.
    pub(crate) fn json(&self) -> serde_json::Value {
        let value: serde_json::Value =
            serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("no JSON: {error}\n{self:?}"));
        assert_meets_its_schema(&value);
        value
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

/// Asserts that the value meets the committed schema that it names, by a validator that is not ours.
pub(crate) fn assert_meets_its_schema(value: &serde_json::Value) {
    let name = value["schema"].as_str().unwrap_or_else(|| panic!("no schema named in {value}"));
    let file = format!("notebooks-free-docs/formats/{}.schema.json", name.replace('/', "-"));
    let schema = serde_json::from_str(&fs::read_to_string(workspace().join(&file)).unwrap()).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let errors: Vec<String> =
        validator.iter_errors(value).map(|error| format!("{}: {error}", error.instance_path())).collect();
    assert!(errors.is_empty(), "against {file}: {errors:#?}");
}

/// The top of the repository.
pub(crate) fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}
