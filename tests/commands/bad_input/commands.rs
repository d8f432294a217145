//! Flags that do not fit, dossiers that stand in the way or are none.

use super::case::{Case, case, try_all};

fn cases() -> Vec<Case> {
    let run = |given, command: &[&'static str]| case(given).run(command);
    vec![
        run("a command that there is not", &["qualfy", "plan.toml"]).says(&["qualfy", "qualify"]),
        run("qualify without plan", &["qualify"]).says(&["<PLAN>", "Usage: tightfit qualify"]),
        run("a flag that there is not", &["qualify", "plan.toml", "--output", "dossier"]).says(&["--output", "--out"]),
        run("--replace without --out", &["qualify", "plan.toml", "--replace"]).says(&["--out <DIR>"]),
        run("a format that there is not", &["qualify", "plan.toml", "--format", "xml"]).says(&["xml", "text, json"]),
        run("a day that is none", &["qualify", "plan.toml", "--record", "--date", "yesterday"]).says(&[
            "yesterday",
            "--date",
            "write it as 2026-05-04",
        ]),
        run("a flag that swallows the next", &["leak", "--at", "--volume", "1 m3", "log.csv"])
            .says(&["a value is missing before --volume"]),
        run("leak without pressure", &["leak", "log.csv", "--max", "5e-4 1/h"])
            .says(&["--max says nothing without the pressure", "add: --at"]),
        run("leak with a volume without unit", &["leak", "log.csv", "--at", "-1000 Pa", "--volume", "0.92"])
            .says(&["--volume: \"0.92\" has no unit", "expected a volume (for example in m3, L)"]),
        run("leak of a gas nobody knows", &["leak", "log.csv", "--at", "-1000 Pa", "--gas", "argonn"])
            .says(&["--gas: \"argonn\"", "did you mean \"argon\"?"]),
        run("leak of a file that is not there", &["leak", "nowhere.csv", "--at", "-1000 Pa"])
            .says(&["nowhere.csv", "cannot be read"]),
        run("inspect of a file that is not there", &["inspect", "nowhere.csv"]).says(&[
            "nowhere.csv",
            "cannot be read",
            "check the name",
        ]),
        run("inspect in a zone nobody knows", &["inspect", "log.csv", "--time-zone", "Mars/Olympus"]).says(&[
            "Mars/Olympus",
            "no such zone",
            "Europe/Vienna",
        ]),
        run("draft of a file that is empty", &["draft", "log.csv"]).log("").says(&["log.csv", "the file is empty"]),
        run("a dossier where a file stands", &["qualify", "plan.toml", "--out", "log.csv"])
            .says(&["log.csv exists already", "--out"]),
        run("a dossier where a folder stands", &["qualify", "plan.toml", "--out", "old"])
            .file("old/minutes.txt", "")
            .says(&["old exists already", "--replace"]),
        run("a folder to be replaced that is no dossier", &["qualify", "plan.toml", "--out", "old", "--replace"])
            .file("old/minutes.txt", "")
            .says(&["old is not a dossier and is not replaced", "remove this one by hand"]),
        run("a dossier without a name", &["qualify", "plan.toml", "--out", "/"])
            .says(&["does not name a folder", "--out dossier"]),
        run("a dossier below a file", &["qualify", "plan.toml", "--out", "log.csv/dossier"])
            .says(&["cannot be written", "check the path given with --out"]),
        run("recheck of what is not there", &["recheck", "dossier"])
            .says(&["cannot be read", "name the dossier's folder"]),
        run("recheck of what is no record", &["recheck", "dossier"])
            .file("dossier/dossier.json", "{}")
            .says(&["is no dossier record", "fetch it again"]),
        run("recheck of a log", &["recheck", "log.csv"]).says(&["log.csv", "is no dossier record"]),
        run("history of a store that is not there", &["history", "show", "--store", "nowhere.sqlite"])
            .says(&["nowhere.sqlite"]),
        run("history in a file that is no store", &["history", "show", "--store", "log.csv"])
            .says(&["the file is not a store of results", "--store FILE"]),
        run("recording a dossier that is not there", &["history", "add", "dossier", "--store", "years.sqlite"])
            .says(&["the dossier cannot be read", "tightfit qualify --out"]),
        run("recording what is no dossier", &["history", "add", "dossier", "--store", "years.sqlite"])
            .file("dossier/dossier.json", "[]")
            .says(&["dossier/dossier.json, line 1: this is not the record of a dossier", "write the dossier again"]),
        run("a service nobody knows", &["history", "note", "K-12", "--what", "paint", "--store", "years.sqlite"])
            .says(&["paint", "gloves"]),
        run("recording a log without dates", &["qualify", "plan.toml", "--record", "--store", "years.sqlite"])
            .plan_with("reference_pressure", "format = { elapsed_unit = \"min\" }\nreference_pressure")
            .log(
                (0..120)
                    .map(|k| format!("{k},{:.1}\n", -1000.0 + 0.05 * f64::from(k) + 0.1 * f64::from(k * 7 % 5)))
                    .fold("time,gauge pressure (Pa)\n".to_owned(), |text, row| text + &row),
            )
            .says(&["the day of the test is not known", "--date 2026-05-04"]),
        run("completions for a shell nobody knows", &["completions", "abacus"]).says(&["abacus", "bash"]),
    ]
}

#[test]
fn a_command_that_cannot_be_followed_says_what_would_do() {
    try_all("Commands and dossiers", &cases());
}
