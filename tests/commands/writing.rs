//! Where a dossier cannot be written: what stood there stands there still, and the message says what to do.
#![cfg(target_os = "linux")]
#![allow(clippy::print_stdout, reason = "a test that was skipped says so")]

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

use crate::support::Bench;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tightfit");

/// A bench with a dossier of the tight demo.
fn bench() -> Bench {
    let bench = Bench::with_demo();
    let run = bench.run(&["qualify", "tight.toml", "--out", "dossier", "--with-data"]);
    assert_eq!(run.code, 0, "{run:?}");
    bench
}

fn shell(folder: &Path, script: &str) -> Output {
    Command::new("sh").args(["-c", script]).current_dir(folder).output().unwrap()
}

fn assert_old_dossier_stands(bench: &Bench) {
    let run = bench.run(&["recheck", "dossier"]);
    assert_eq!(run.code, 0, "{run:?}");
    let left: Vec<String> = bench.names().into_iter().filter(|name| name.contains("dossier")).collect();
    assert_eq!(left, ["dossier"], "nothing half-written is left");
}

#[test]
fn a_file_that_may_grow_no_further_leaves_the_old_dossier() {
    let bench = bench();
    // The page has more than 64 blocks of 512 or 1024 bytes; a write beyond them fails as on a full disk.
    let script =
        format!("trap '' XFSZ; ulimit -f 64; exec '{PROGRAM}' qualify tight.toml --out dossier --replace --with-data");
    let output = shell(bench.path("").as_path(), &script);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("cannot be written"), "{said}");
    assert_old_dossier_stands(&bench);
}

#[test]
fn a_full_disk_is_named_and_leaves_the_old_dossier() {
    let bench = bench();
    std::fs::create_dir(bench.path("small")).unwrap();
    // A file system of 400 KiB inside a name space of its own: room for one dossier, not for two.
    let script = format!(
        "unshare --user --map-root-user --mount sh -c '\
         mount -t tmpfs -o size=400k tmpfs small || exit 77; \
         \"{PROGRAM}\" qualify tight.toml --out small/d >/dev/null 2>&1 || exit 78; \
         dd if=/dev/zero of=small/filler bs=1k count=330 2>/dev/null; \
         \"{PROGRAM}\" qualify leaky.toml --out small/d --replace >/dev/null; code=$?; \
         rm -f small/filler; \"{PROGRAM}\" recheck small/d --data-root . >&2 || exit 79; exit $code'"
    );
    let output = shell(bench.path("").as_path(), &script);
    let said = String::from_utf8_lossy(&output.stderr);
    match output.status.code() {
        Some(2) => assert!(said.contains("the disk is full") && said.contains("free some space"), "{said}"),
        Some(78 | 79) => panic!("{:?}: {said}", output.status),
        // No right to mount anything here: the limit on file sizes is checked all the same.
        _ => println!("skipped, no small disk can be made here: {said}"),
    }
}

#[test]
fn a_folder_without_permission_is_named_and_nothing_is_written() {
    let bench = bench();
    std::fs::create_dir(bench.path("closed")).unwrap();
    std::fs::set_permissions(bench.path("closed"), std::fs::Permissions::from_mode(0o555)).unwrap();
    let run = bench.run(&["qualify", "tight.toml", "--out", "closed/dossier"]);
    if run.code == 0 {
        // Root may write everywhere.
        println!("skipped, permissions do not bind this user");
        return;
    }
    assert_eq!(run.code, 2, "{run:?}");
    assert!(
        run.stderr.contains("there is no permission") && run.stderr.contains("folder of your own"),
        "{}",
        run.stderr
    );
    assert_old_dossier_stands(&bench);
}

#[test]
fn a_file_in_the_place_of_the_folder_is_refused_and_kept() {
    let bench = Bench::with_demo();
    bench.write("dossier", "minutes of a meeting");
    let run = bench.run(&["qualify", "tight.toml", "--out", "dossier", "--replace"]);
    assert_eq!(run.code, 2, "{run:?}");
    assert!(run.stderr.contains("exists already"), "{}", run.stderr);
    assert_eq!(bench.read("dossier"), "minutes of a meeting");
}
