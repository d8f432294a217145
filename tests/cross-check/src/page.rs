//! The page that lists all checks, a section each.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, Write};
use std::path::{Component, Path, PathBuf};

/// From the top of the repository.
const PAGE: &str = "notebooks-free-docs/cross-checks.md";
/// Whoever changes a check sets this and runs its test again.
const REWRITE: &str = "TIGHTFIT_WRITE_CROSS_CHECKS";

/// Holds a section of the page against what `section` makes of it, or writes it anew.
///
/// # Panics
///
/// Where the page is out of date or cannot be read.
pub(crate) fn hold(heading: &str, section: impl FnOnce(&str) -> String) {
    let path = workspace().join(PAGE);
    let rewrite = std::env::var_os(REWRITE).is_some();
    let mut file = OpenOptions::new().read(true).write(rewrite).open(&path).expect("the page stands in the repository");
    // Tests run at the same time, in one process or several; the lock ends with the file.
    if rewrite { file.lock() } else { file.lock_shared() }.expect("the page can be locked");
    let mut text = String::new();
    file.read_to_string(&mut text).expect("the page is text");
    let [start, end] = place(&text, heading);
    let current = section(&text[start..end]);
    if text[start..end] == current {
        return;
    }
    assert!(
        rewrite,
        "{PAGE}, \"{heading}\", is out of date: run this test with {REWRITE}=1\n--- it says\n{}\n--- now\n{current}",
        &text[start..end]
    );
    text.replace_range(start..end, &current);
    overwrite(&mut file, &text);
}

/// Where the text under a heading starts and ends.
fn place(text: &str, heading: &str) -> [usize; 2] {
    let head = format!("\n## {heading}\n");
    let found =
        text.find(&head).unwrap_or_else(|| panic!("{PAGE} has no line \"## {heading}\": write it where it belongs"));
    let start = found + head.len();
    [start, text[start..].find("\n## ").map_or(text.len(), |length| start + length)]
}

fn overwrite(file: &mut File, text: &str) {
    file.set_len(0)
        .and_then(|()| file.rewind())
        .and_then(|()| file.write_all(text.as_bytes()))
        .expect("the page can be written");
}

/// A path of the compiler, which goes by way of a crate, from the top of the repository.
pub(crate) fn from_the_top(path: &str) -> String {
    let mut parts: Vec<&str> = Vec::new();
    for component in Path::new(path).components() {
        match component {
            Component::ParentDir => drop(parts.pop()),
            Component::Normal(part) => parts.extend(part.to_str()),
            _ => {}
        }
    }
    parts.join("/")
}

/// The top of the repository.
fn workspace() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_section_ends_where_the_next_begins() {
        let text = "# Page\n\n## One\n\nfirst\n\n## Two\n\nsecond\n";
        let [start, end] = place(text, "One");
        assert_eq!(&text[start..end], "\nfirst\n");
        let [start, end] = place(text, "Two");
        assert_eq!(&text[start..end], "\nsecond\n");
    }

    #[test]
    fn paths_are_told_from_the_top() {
        assert_eq!(from_the_top("crates/fit/../../tests/published/gum.rs"), "tests/published/gum.rs");
    }
}
