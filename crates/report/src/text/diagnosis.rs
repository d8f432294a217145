//! A diagnosis as text.

use crate::diagnose::{Diagnosed, ExplanationResult, Speaks, words_of};
use crate::plot::Clock;

use super::layout::{Paint, paragraph};

/// Indent of what stands beside a label.
const INDENT: usize = 12;
/// Explanations less probable than this are listed without their evidence.
const WORTH_EVIDENCE: f64 = 0.05;

/// The diagnosis in words, times on the clock of the plan's time zone.
#[must_use]
pub fn diagnosis(diagnosed: &Diagnosed, paint: Paint) -> String {
    let (result, clock) = (&diagnosed.result, &diagnosed.clock);
    let mut out = String::new();
    paragraph(&mut out, "Enclosure", INDENT, &result.enclosure);
    if let Some([from, to]) = &result.window {
        paragraph(&mut out, "Log", INDENT, &format!("{}, {}", result.test, clock.retold(&format!("{from} to {to}"))));
    }
    let rows = format!("{} read, {} used, {} set aside", result.rows_read, result.rows_used, result.rows_set_aside);
    let reasons: Vec<String> = result.set_aside.iter().map(|line| format!("{} {}", line.count, line.reason)).collect();
    let colon = if reasons.is_empty() { "" } else { ": " };
    paragraph(&mut out, "  rows", INDENT, &format!("{rows}{colon}{}", reasons.join("; ")));
    for problem in &result.problems {
        paragraph(&mut out, "  problem", INDENT, &clock.retold(problem));
    }
    out.push('\n');
    for own in &result.explanations {
        explanation(&mut out, own, clock);
    }
    out.push('\n');
    paragraph(&mut out, "Next", INDENT, &result.next_measurement.text);
    for note in &result.notes {
        paragraph(&mut out, "  note", INDENT, &clock.retold(note));
    }
    for caution in &result.cautions {
        paragraph(&mut out, "Caution", INDENT, caution);
    }
    out.push('\n');
    let (colour, label) = match (result.valid, result.decided) {
        (false, _) => (paint.bad, "Not valid"),
        (true, true) => (paint.good, "Result"),
        (true, false) => (paint.open, "Undecided"),
    };
    let mut end = String::new();
    paragraph(&mut end, label, INDENT, &clock.retold(&result.conclusion));
    out.push_str(&end.replacen(label, &format!("{colour}{label}{}", paint.end), 1));
    out
}

fn explanation(out: &mut String, own: &ExplanationResult, clock: &Clock) {
    let percent = format!("{:>7.1} %", 100.0 * own.probability);
    paragraph(out, &percent, INDENT, words_of(&own.cause));
    if own.probability < WORTH_EVIDENCE {
        return;
    }
    paragraph(out, "", INDENT, &own.size);
    if let Some([from, to]) = &own.began {
        paragraph(out, "", INDENT, &clock.retold(&format!("began between {from} and {to}")));
    }
    for piece in &own.evidence {
        let label = match piece.speaks {
            Speaks::For => "      for",
            Speaks::Against => "  against",
        };
        paragraph(out, label, INDENT, &piece.text);
    }
}
