//! The one place that writes files: a folder appears whole, or not at all.
//!
//! Everything is written into a temporary folder beside the target and forced to the disk; then the folder takes its
//! name in one step. An existing dossier is exchanged for the new one, where the system can, in one step as well, so
//! that at every moment the old or the new one stands whole.

use std::fmt;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

/// A file to be written: its path inside the folder, and its content.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewFile {
    /// Path inside the folder; only plain names, no `..`.
    pub path: PathBuf,
    /// Content.
    pub content: Vec<u8>,
}

/// What happens where the folder exists already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing<'a> {
    /// It is refused, unless it is empty.
    Refuse,
    /// It is replaced, if it holds none but these files.
    Replace(&'a [PathBuf]),
}

/// Why nothing was written. What stood there before stands there still.
#[derive(Debug)]
pub enum WriteError {
    /// Something stands at that place.
    Exists {
        /// The place.
        path: PathBuf,
    },
    /// The folder to be replaced is not a dossier.
    NotADossier {
        /// The folder.
        path: PathBuf,
    },
    /// The folder to be replaced holds a file that is not part of the old dossier.
    ForeignFile {
        /// The folder.
        path: PathBuf,
        /// The file.
        file: PathBuf,
    },
    /// The path names no folder that could be made.
    NoName {
        /// The path.
        path: PathBuf,
    },
    /// The system refused.
    Io {
        /// What was being written.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl WriteError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Exists { .. } => "choose another folder with --out, or replace a dossier with --replace",
            Self::NotADossier { .. } => "choose another folder with --out, or remove this one by hand",
            Self::ForeignFile { .. } => "move the file elsewhere, then write the dossier again",
            Self::NoName { .. } => "name a new folder, for example --out dossier",
            Self::Io { source, .. } => match source.kind() {
                io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                    "free some space, or write to another disk with --out"
                }
                io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                    "write to a folder of your own with --out"
                }
                _ => "check the path given with --out",
            },
        }
    }
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Exists { path } => write!(f, "{} exists already", path.display()),
            Self::NotADossier { path } => write!(f, "{} is not a dossier and is not replaced", path.display()),
            Self::ForeignFile { path, file } => {
                let (path, file) = (path.display(), file.display());
                write!(f, "{path} holds {file}, which is not part of the dossier and would be lost")
            }
            Self::NoName { path } => write!(f, "\"{}\" does not name a folder", path.display()),
            Self::Io { path, source } => {
                let what = match source.kind() {
                    io::ErrorKind::StorageFull => "the disk is full".to_owned(),
                    io::ErrorKind::QuotaExceeded => "the disk quota is used up".to_owned(),
                    io::ErrorKind::PermissionDenied => "there is no permission".to_owned(),
                    io::ErrorKind::ReadOnlyFilesystem => "the disk is read-only".to_owned(),
                    _ => source.to_string(),
                };
                write!(f, "{} cannot be written: {what}", path.display())
            }
        }
    }
}

impl std::error::Error for WriteError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io { source, .. } => Some(source),
            _ => None,
        }
    }
}

/// Writes `files`, in this order, as the whole content of the folder `out`, and returns where they stand.
///
/// # Errors
/// See [`WriteError`]; then nothing has changed at `out`, and no temporary folder is left behind.
pub fn write_folder(out: &Path, files: &[NewFile], existing: Existing<'_>) -> Result<Vec<PathBuf>, WriteError> {
    // A link to a folder keeps its place: the folder behind it is written.
    let target = fs::canonicalize(out).unwrap_or_else(|_| out.to_owned());
    let (Some(name), Some(parent)) = (target.file_name(), target.parent()) else {
        return Err(WriteError::NoName { path: out.to_owned() });
    };
    let parent = if parent.as_os_str().is_empty() { Path::new(".") } else { parent };
    let standing = look(&target, existing)?;
    fs::create_dir_all(parent).map_err(|source| WriteError::Io { path: parent.to_owned(), source })?;
    let prefix = format!(".{}.new-", name.to_string_lossy());
    remove_abandoned(parent, &prefix);
    let temporary = Temporary::create(parent.join(format!("{prefix}{}", std::process::id())))?;
    for file in files {
        temporary.write(file)?;
    }
    temporary.finish(&target, standing).map_err(|source| WriteError::Io { path: out.to_owned(), source })?;
    Ok(files.iter().map(|file| out.join(&file.path)).collect())
}

/// What stands at the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    Nothing,
    EmptyFolder,
    OldDossier,
}

fn look(target: &Path, existing: Existing<'_>) -> Result<Standing, WriteError> {
    let io_error = |source| WriteError::Io { path: target.to_owned(), source };
    match fs::symlink_metadata(target) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Standing::Nothing),
        Err(source) => return Err(io_error(source)),
        Ok(metadata) if !metadata.is_dir() => return Err(WriteError::Exists { path: target.to_owned() }),
        Ok(_) => {}
    }
    let found = files_below(target).map_err(io_error)?;
    match existing {
        _ if found.is_empty() => Ok(Standing::EmptyFolder),
        Existing::Refuse => Err(WriteError::Exists { path: target.to_owned() }),
        Existing::Replace([]) => Err(WriteError::NotADossier { path: target.to_owned() }),
        Existing::Replace(known) => match found.into_iter().find(|file| !known.contains(file)) {
            Some(file) => Err(WriteError::ForeignFile { path: target.to_owned(), file }),
            None => Ok(Standing::OldDossier),
        },
    }
}

/// All that is not a folder below `folder`, as paths inside it; an empty folder below it counts as well.
fn files_below(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    let mut open = vec![PathBuf::new()];
    while let Some(inner) = open.pop() {
        for entry in fs::read_dir(folder.join(&inner))? {
            let entry = entry?;
            let path = inner.join(entry.file_name());
            if entry.file_type()?.is_dir() {
                open.push(path);
            } else {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

/// Removes what a killed process left. A folder that is still written to is locked by its process; where folders cannot
/// be opened for that, nothing is removed.
fn remove_abandoned(parent: &Path, prefix: &str) {
    for entry in fs::read_dir(parent).into_iter().flatten().flatten() {
        let is_ours = entry.file_name().to_string_lossy().starts_with(prefix);
        if is_ours && File::open(entry.path()).is_ok_and(|folder| folder.try_lock().is_ok()) {
            // Should this fail, the folder is in nobody's way.
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

/// A folder that is removed again unless it took its final name.
struct Temporary {
    path: PathBuf,
    /// Tells other processes that it is not abandoned.
    _lock: Option<File>,
}

impl Temporary {
    fn create(path: PathBuf) -> Result<Self, WriteError> {
        fs::create_dir(&path).map_err(|source| WriteError::Io { path: path.clone(), source })?;
        let lock = File::open(&path).ok().filter(|folder| folder.try_lock().is_ok());
        Ok(Self { path, _lock: lock })
    }

    fn write(&self, file: &NewFile) -> Result<(), WriteError> {
        let path = self.path.join(&file.path);
        let io_error = |source| WriteError::Io { path: file.path.clone(), source };
        if !file.path.components().all(|component| matches!(component, Component::Normal(_))) {
            return Err(WriteError::NoName { path: file.path.clone() });
        }
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(io_error)?;
        }
        let mut handle = File::create_new(&path).map_err(io_error)?;
        handle.write_all(&file.content).and_then(|()| handle.sync_all()).map_err(io_error)
    }

    fn finish(self, target: &Path, standing: Standing) -> io::Result<()> {
        sync_folders(&self.path)?;
        match standing {
            Standing::Nothing => fs::rename(&self.path, target)?,
            Standing::EmptyFolder => {
                fs::remove_dir(target)?;
                fs::rename(&self.path, target)?;
            }
            // What was exchanged for the new dossier is the old one, and goes with this guard.
            Standing::OldDossier => exchange(&self.path, target)?,
        }
        sync_folder(target.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new(".")))
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        // After a rename nothing stands here; after an error a failure to clean up must not hide that error.
        let _ = fs::remove_dir_all(&self.path);
    }
}

/// Swaps two folders in one step.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn exchange(new: &Path, old: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, new, CWD, old, RenameFlags::EXCHANGE) {
        // Some network and FAT file systems cannot.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => {
            exchange_in_steps(new, old)
        }
        result => result.map_err(io::Error::from),
    }
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn exchange(new: &Path, old: &Path) -> io::Result<()> {
    exchange_in_steps(new, old)
}

/// Swaps two folders where the system knows no such step. A kill between the renames leaves the old dossier whole under
/// the name with `.old`.
fn exchange_in_steps(new: &Path, old: &Path) -> io::Result<()> {
    let aside = new.with_extension("old");
    fs::rename(old, &aside)?;
    if let Err(error) = fs::rename(new, old) {
        fs::rename(&aside, old)?;
        return Err(error);
    }
    fs::rename(&aside, new)
}

fn sync_folders(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            sync_folders(&entry.path())?;
        }
    }
    sync_folder(folder)
}

/// Forces a folder's names to the disk; only Unix can open a folder for that.
fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, content: &str) -> NewFile {
        NewFile { path: PathBuf::from(path), content: content.as_bytes().to_vec() }
    }

    fn put(path: &Path, text: &str) {
        File::create_new(path).unwrap().write_all(text.as_bytes()).unwrap();
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_folder_appears_with_all_its_files_and_nothing_beside_it() {
        let place = tempfile::tempdir().unwrap();
        let out = place.path().join("deep/dossier");
        let written = write_folder(&out, &[file("a.txt", "a"), file("b/c.txt", "c")], Existing::Refuse).unwrap();
        assert_eq!(written, [out.join("a.txt"), out.join("b/c.txt")]);
        assert_eq!(fs::read_to_string(out.join("b/c.txt")).unwrap(), "c");
        assert_eq!(names(&place.path().join("deep")), ["dossier"]);
    }

    #[test]
    fn a_failure_midway_leaves_the_old_folder_and_no_temporary_one() {
        let place = tempfile::tempdir().unwrap();
        let out = place.path().join("dossier");
        write_folder(&out, &[file("a", "old")], Existing::Refuse).unwrap();
        // The second file cannot be written, since its folder is a file.
        let error = write_folder(&out, &[file("a", "new"), file("a/b", "x")], Existing::Replace(&["a".into()]));
        assert!(matches!(error, Err(WriteError::Io { .. })), "{error:?}");
        assert_eq!(fs::read_to_string(out.join("a")).unwrap(), "old");
        assert_eq!(names(place.path()), ["dossier"]);
    }

    #[test]
    fn replacing_never_takes_files_of_others_with_it() {
        let place = tempfile::tempdir().unwrap();
        let out = place.path().join("dossier");
        write_folder(&out, &[file("a", "old")], Existing::Refuse).unwrap();
        put(&out.join("signed scan.pdf"), "precious");
        let error = write_folder(&out, &[file("a", "new")], Existing::Replace(&["a".into()]));
        assert!(matches!(error, Err(WriteError::ForeignFile { .. })), "{error:?}");
        let error = write_folder(&out, &[file("a", "new")], Existing::Replace(&[]));
        assert!(matches!(error, Err(WriteError::NotADossier { .. })), "{error:?}");
        assert_eq!(fs::read_to_string(out.join("signed scan.pdf")).unwrap(), "precious");
    }

    #[test]
    fn swapping_in_steps_gives_the_same_as_in_one() {
        let place = tempfile::tempdir().unwrap();
        let [old, new] = ["old", "new"].map(|name| place.path().join(name));
        for folder in [&old, &new] {
            fs::create_dir(folder).unwrap();
            put(&folder.join("name"), folder.file_name().unwrap().to_str().unwrap());
        }
        exchange_in_steps(&new, &old).unwrap();
        assert_eq!(fs::read_to_string(old.join("name")).unwrap(), "new");
        assert_eq!(fs::read_to_string(new.join("name")).unwrap(), "old");
    }

    #[test]
    #[cfg(unix)]
    fn what_a_killed_process_left_is_removed_and_what_another_writes_is_not() {
        let place = tempfile::tempdir().unwrap();
        let [abandoned, busy] = ["1", "2"].map(|number| place.path().join(format!(".dossier.new-{number}")));
        fs::create_dir(&abandoned).unwrap();
        fs::create_dir(&busy).unwrap();
        let lock = File::open(&busy).unwrap();
        lock.try_lock().unwrap();
        write_folder(&place.path().join("dossier"), &[file("a", "a")], Existing::Refuse).unwrap();
        assert_eq!(names(place.path()), [".dossier.new-2", "dossier"]);
    }

    #[test]
    fn paths_that_leave_the_folder_are_refused() {
        let place = tempfile::tempdir().unwrap();
        let error = write_folder(&place.path().join("d"), &[file("../evil", "x")], Existing::Refuse);
        assert!(matches!(error, Err(WriteError::NoName { .. })), "{error:?}");
        assert!(names(place.path()).is_empty());
    }
}
