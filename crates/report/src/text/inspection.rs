//! What an export holds, as text.

use crate::inspect::InspectedFile;
use crate::plot::Clock;

use super::layout::paragraph;

/// Indent of what stands beside a label.
const INDENT: usize = 12;

/// What an export holds, in words; times on the clock of `time_zone`, else in UTC.
#[must_use]
pub fn inspection(file: &InspectedFile, time_zone: Option<&str>) -> String {
    let mut out = String::new();
    paragraph(&mut out, "File", INDENT, &file.file);
    for choice in &file.choices {
        paragraph(&mut out, "  form", INDENT, choice);
    }
    write_time(&mut out, file, &Clock::new(None, time_zone));
    write_rows(&mut out, file);
    for column in &file.columns {
        let quantity = column.quantity.as_deref().unwrap_or("not used");
        let unit = column.unit.as_ref().filter(|unit| !unit.is_empty() && column.quantity.is_some());
        let unit = unit.map_or(String::new(), |unit| format!(" in {unit}"));
        let text = format!("\"{}\": {quantity}{unit} ({})", column.column, column.because);
        paragraph(&mut out, "  column", INDENT, &text);
    }
    for note in &file.notes {
        paragraph(&mut out, "  note", INDENT, note);
    }
    for question in &file.recording.questions {
        paragraph(&mut out, "  QUESTION", INDENT, &question.text);
        // The answer is to be pasted, so it keeps its lines.
        for line in question.plan_lines() {
            out.push_str(&format!("{:INDENT$}{line}\n", ""));
        }
    }
    out
}

/// The rows that were set aside, with their line numbers.
#[must_use]
pub fn rows_set_aside(file: &InspectedFile) -> String {
    let mut out = String::new();
    for line in file.recording.account.by_reason() {
        let numbers = line.lines.iter().map(u64::to_string).collect::<Vec<_>>().join(" ");
        let more = line.count.saturating_sub(line.lines.len() as u64);
        let tail = if more > 0 { format!(" and {more} more") } else { String::new() };
        paragraph(&mut out, "  set aside", INDENT, &format!("{}: lines {numbers}{tail}", line.reason));
    }
    out
}

fn write_time(out: &mut String, file: &InspectedFile, clock: &Clock) {
    let (Some(first), Some(last)) = (&file.first_time, &file.last_time) else {
        paragraph(out, "  time", INDENT, "no time could be read");
        return;
    };
    let cadence =
        file.cadence_s.map_or(String::new(), |step| format!(", a row every {} s", (step * 1e3).round() / 1e3));
    let gaps = match file.recording.gaps_s.len() {
        0 => String::new(),
        1 => ", one gap".to_owned(),
        gaps => format!(", {gaps} gaps"),
    };
    let span = clock.retold(&format!("{first} to {last}"));
    paragraph(out, "  time", INDENT, &format!("{span}{cadence}{gaps}"));
}

fn write_rows(out: &mut String, file: &InspectedFile) {
    let mut text = format!("{} read, {} used, {} set aside", file.rows_read, file.rows_used, file.rows_set_aside);
    for (index, line) in file.set_aside.iter().enumerate() {
        text.push_str(if index == 0 { ": " } else { "; " });
        text.push_str(&format!("{} {}", line.count, line.reason));
    }
    paragraph(out, "  rows", INDENT, &text);
}
