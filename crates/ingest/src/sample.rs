//! The parts of a text from which its form is told: the head, and a few lines from further down.

use crate::dialect;
use crate::header::Table;
use crate::records::{Record, Records, Splitter};

/// Bytes from which the form of a file is told, and records looked at.
const HEAD_BYTES: usize = 1 << 20;
const HEAD_RECORDS: usize = 3000;
pub(crate) const SPREAD_BYTES: usize = 1 << 14;

/// Enough of the text to see its form, also where a line is huge.
pub(crate) fn head_of(text: &[u8]) -> &[u8] {
    const FEWEST_LINES: usize = 50;
    let mut most = HEAD_BYTES;
    loop {
        let head = whole_lines(text, most);
        let lines = head.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).take(FEWEST_LINES).count();
        if head.len() == text.len() || lines == FEWEST_LINES {
            return head;
        }
        most = most.saturating_mul(4);
    }
}

/// The first bytes of a text, up to the end of a line.
pub(crate) fn whole_lines(text: &[u8], most: usize) -> &[u8] {
    if text.len() <= most {
        return text;
    }
    let end = text[..most].iter().rposition(|byte| matches!(byte, b'\n' | b'\r')).map_or(most, |at| at + 1);
    &text[..end]
}

/// A few lines from the middle and the end of a long file.
pub(crate) fn spread(text: &[u8], from: usize) -> Vec<&[u8]> {
    let rest = &text[from..];
    if rest.len() < 4 * SPREAD_BYTES {
        return Vec::new();
    }
    [rest.len() / 3, rest.len() * 2 / 3, rest.len() - SPREAD_BYTES]
        .into_iter()
        .filter_map(|at| {
            let piece = &rest[at..(at + SPREAD_BYTES).min(rest.len())];
            let start = piece.iter().position(|byte| matches!(byte, b'\n' | b'\r'))? + 1;
            let lines = &piece[start..];
            // The last line of the piece is cut; a line end may also be the last byte of it.
            Some(whole_lines(lines, lines.len().saturating_sub(1)))
        })
        .collect()
}

pub(crate) fn usual_fields(head: &[u8], splitter: Splitter) -> usize {
    let (records, _) = head_records(head, 1, splitter);
    let counts: Vec<usize> = records.iter().map(|record| record.fields.len()).filter(|count| *count > 1).collect();
    dialect::most_common(&counts).0.max(2)
}

pub(crate) fn head_records(head: &[u8], first_line: u64, splitter: Splitter) -> (Vec<Record<'_>>, Vec<usize>) {
    let mut records = Records::new(head, first_line, splitter);
    let (mut found, mut offsets) = (Vec::new(), Vec::new());
    let mut record = Record::default();
    loop {
        // Blank lines before a record belong to it: the body may start there, but lines would be counted twice.
        records.skip_blank_lines();
        let offset = records.offset();
        if found.len() == HEAD_RECORDS || !records.read(&mut record) {
            return (found, offsets);
        }
        offsets.push(offset);
        found.push(record.clone());
    }
}

/// Names with single blanks in a header whose columns stand two or more blanks apart.
pub(crate) fn mend_blank_header(table: &mut Table, text: &[u8], bare_cr: bool, lines_before: u64) {
    if !table.has_header || table.names.len() == table.width {
        return;
    }
    let ends = |byte: &u8| if bare_cr { matches!(byte, b'\r' | b'\n') } else { *byte == b'\n' };
    let Some(line) = text.split(ends).nth((table.header_line - lines_before).saturating_sub(1) as usize) else {
        return;
    };
    let line = String::from_utf8_lossy(line);
    let line = line.trim().trim_start_matches('#').trim().replace('\t', "  ");
    let names: Vec<String> =
        line.split("  ").map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned).collect();
    let two_for_the_time =
        names.len() + 1 == table.width && names.first().is_some_and(|name| crate::words::is_time(name));
    if names.len() == table.width {
        table.names = names;
    } else if two_for_the_time {
        table.names = std::iter::once(names[0].clone()).chain(names).collect();
    }
}
