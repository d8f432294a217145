//! What a cell says: a reading, a censored reading, nothing, or text.

use crate::number::{self, NumberStyle};
use crate::records::trim;

/// What stands in a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell<'a> {
    /// A plain number.
    Number(f64),
    /// Below a limit: the limit, where it is written.
    Below(Option<f64>),
    /// Above a range: its end, where it is written.
    Above(Option<f64>),
    /// Nothing: blank, dashes, `NaN`, `#N/A`.
    Missing,
    /// Anything else.
    Text(&'a [u8]),
}

const MISSING: &[&str] = &[
    "na",
    "n/a",
    "#n/a",
    "#na",
    "n.a.",
    "n.a",
    "nan",
    "-nan",
    "#nan",
    "null",
    "none",
    "nil",
    "inf",
    "-inf",
    "+inf",
    "infinity",
    "-infinity",
    "1.#inf",
    "1.#qnan",
    "-1.#ind",
    "#value!",
    "#div/0!",
    "#ref!",
    "#num!",
    "#name?",
    "#null!",
    "missing",
    "blank",
    "?",
    "??",
    "???",
    ".",
    "..",
    "...",
    "*",
    "**",
    "***",
    "****",
    "*****",
    "_",
    "/",
    "//",
    "x",
];
const BELOW: &[&str] = &[
    "low",
    "lo",
    "under",
    "underrange",
    "under range",
    "underflow",
    "-ol",
    "-over",
    "<lod",
    "<loq",
    "<dl",
    "<mdl",
    "bdl",
    "lod",
    "n.d.",
    "nd",
    "below",
    "<",
    "<<",
    "<min",
    "-ofl",
    "ufl",
    "unter",
];
const ABOVE: &[&str] = &[
    "high",
    "hi",
    "over",
    "overrange",
    "over range",
    "overload",
    "overflow",
    "ol",
    "+ol",
    "o.l",
    "o.l.",
    "0l",
    "0.l",
    "+over",
    "ofl",
    "above",
    "sat",
    "saturated",
    ">",
    ">>",
    ">max",
    "ueber",
    "über",
];

/// Read a cell.
pub(crate) fn read(cell: &[u8], style: NumberStyle) -> Cell<'_> {
    if let Some(value) = number::parse(cell, style) {
        return Cell::Number(value);
    }
    if cell.is_empty() {
        return Cell::Missing;
    }
    read_words(cell, style)
}

fn read_words(cell: &[u8], style: NumberStyle) -> Cell<'_> {
    let cell = strip_quotes(cell);
    if is_dashes(cell) {
        return Cell::Missing;
    }
    if let Some(limit) = after_sign(cell, b'<', "≤").and_then(|rest| limit_number(rest, style)) {
        return Cell::Below(Some(limit));
    }
    if let Some(limit) = after_sign(cell, b'>', "≥").and_then(|rest| limit_number(rest, style)) {
        return Cell::Above(Some(limit));
    }
    if cell.len() <= 16 {
        let word = String::from_utf8_lossy(cell).to_lowercase();
        let is_in = |words: &[&str]| words.contains(&word.as_str());
        if is_in(MISSING) {
            return Cell::Missing;
        }
        if is_in(BELOW) {
            return Cell::Below(None);
        }
        if is_in(ABOVE) {
            return Cell::Above(None);
        }
    }
    number::parse(cell, style).map_or(Cell::Text(cell), Cell::Number)
}

/// A number followed by its unit, as some loggers write each cell: `12.5 ppm`.
pub(crate) fn number_with_unit(cell: &[u8], style: NumberStyle) -> Option<(f64, &str)> {
    let end = cell.iter().rposition(u8::is_ascii_digit)?;
    // The unit may itself hold digits (`m3/h`): cut at the last blank before a letter or sign, else behind the number.
    let at = (1..cell.len()).find(|i| {
        *i <= end + 1 && !matches!(cell[*i], b'0'..=b'9' | b'.' | b',' | b'+' | b'-' | b'\'') && !is_exponent(cell, *i)
    })?;
    let value = number::parse(trim(&cell[..at]), style)?;
    let unit = std::str::from_utf8(trim(&cell[at..])).ok()?;
    (!unit.is_empty() && unit.len() <= 16).then_some((value, unit))
}

fn is_exponent(cell: &[u8], at: usize) -> bool {
    matches!(cell[at], b'e' | b'E')
        && cell.get(at + 1).is_some_and(|next| next.is_ascii_digit() || matches!(next, b'+' | b'-'))
}

fn limit_number(text: &[u8], style: NumberStyle) -> Option<f64> {
    number::parse(text, style).or_else(|| number_with_unit(text, style).map(|(value, _)| value))
}

fn after_sign<'a>(cell: &'a [u8], sign: u8, other: &str) -> Option<&'a [u8]> {
    let rest = cell.strip_prefix(&[sign]).or_else(|| cell.strip_prefix(other.as_bytes()))?;
    Some(trim(rest.strip_prefix(b"=").unwrap_or(rest)))
}

fn strip_quotes(cell: &[u8]) -> &[u8] {
    match cell {
        [b'\'', inner @ .., b'\''] | [b'"', inner @ .., b'"'] | [b'\'', inner @ ..] => trim(inner),
        _ => cell,
    }
}

fn is_dashes(cell: &[u8]) -> bool {
    let mut rest = cell;
    loop {
        rest = match rest {
            [] => return true,
            [b'-' | b'_' | b' ', rest @ ..] | [0xe2, 0x80, 0x92..=0x95, rest @ ..] | [0xe2, 0x88, 0x92, rest @ ..] => {
                rest
            }
            _ => return false,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(text: &str) -> Cell<'_> {
        read(text.as_bytes(), NumberStyle::POINT)
    }

    #[test]
    fn censored_readings_keep_their_limit() {
        assert_eq!(point("<0.1"), Cell::Below(Some(0.1)));
        assert_eq!(point("< 0.1"), Cell::Below(Some(0.1)));
        assert_eq!(point("< 0.1 ppm"), Cell::Below(Some(0.1)));
        assert_eq!(point(">1000"), Cell::Above(Some(1000.0)));
        assert_eq!(point("≤0.5"), Cell::Below(Some(0.5)));
        assert_eq!(point("LOW"), Cell::Below(None));
        assert_eq!(point("OL"), Cell::Above(None));
        assert_eq!(read(b"<0,1", NumberStyle::COMMA), Cell::Below(Some(0.1)));
    }

    #[test]
    fn missing_readings_have_many_spellings() {
        for text in ["", "-", "---", "—", "NaN", "nan", "#N/A", "NA", "null", "1.#INF", "*****"] {
            assert_eq!(point(text), Cell::Missing, "{text}");
        }
        assert_eq!(point("OFF"), Cell::Text(b"OFF"));
    }

    #[test]
    fn a_unit_may_stand_in_the_cell() {
        assert_eq!(number_with_unit(b"12.5 ppm", NumberStyle::POINT), Some((12.5, "ppm")));
        assert_eq!(number_with_unit("21.5°C".as_bytes(), NumberStyle::POINT), Some((21.5, "°C")));
        assert_eq!(number_with_unit(b"60 m3/h", NumberStyle::POINT), Some((60.0, "m3/h")));
        assert_eq!(number_with_unit(b"1.5e-3 bar", NumberStyle::POINT), Some((1.5e-3, "bar")));
        assert_eq!(number_with_unit(b"12.5", NumberStyle::POINT), None);
    }
}
