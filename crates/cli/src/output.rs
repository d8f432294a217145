//! Where words go: results to standard output, all else to standard error.

use std::io::{self, IsTerminal, Write};

use tightfit_report::text::Paint;

/// Writes a result. A closed pipe comes back as an error, which `main` takes quietly.
pub(crate) fn result(text: &str) -> io::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()
}

/// Says what is wrong and what to do. Nothing is left to do where standard error itself is closed.
pub(crate) fn error(message: &str, hint: Option<&str>) {
    let mut err = io::stderr().lock();
    let hint = hint.map(|hint| format!("    {hint}\n")).unwrap_or_default();
    let text = format!("error: {message}\n{hint}");
    // A file keeps one line a message, to be searched; a terminal would cut words in two.
    let text = if err.is_terminal() { tightfit_report::text::message(&text) } else { text };
    let _ = err.write_all(text.as_bytes());
}

/// Says something beside the result.
pub(crate) fn remark(message: &str) {
    let _ = writeln!(io::stderr().lock(), "{message}");
}

/// Colour on a terminal, none in a file or where `NO_COLOR` is set.
pub(crate) fn paint() -> Paint {
    let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    if wanted && io::stdout().is_terminal() {
        Paint { good: "\x1b[1;32m", bad: "\x1b[1;31m", open: "\x1b[1;33m", end: "\x1b[0m" }
    } else {
        Paint::default()
    }
}

/// Writes a result as JSON.
pub(crate) fn json(value: &impl serde::Serialize) -> io::Result<()> {
    result(&json_text(value))
}

/// A result as JSON; our own results have only text keys and plain values, for which this cannot fail.
pub(crate) fn json_text(value: &impl serde::Serialize) -> String {
    serde_json::to_string_pretty(value)
        .map_or_else(|error| format!("{{ \"error\": \"{error}\" }}\n"), |text| text + "\n")
}
