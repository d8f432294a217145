//! Columns in which words mark a transfer: `transfer`, `in`, `out`, `x`.

use crate::cell::{self, Cell};
use crate::fold::Folded;
use crate::number::NumberStyle;
use crate::recording::CellCount;
use crate::records::{Record, text_of};
use crate::words;

/// How the words of a column mark transfers. Rows without a word are then rows without a mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Marks {
    /// The column is one of transfers: every word marks one, but for `no` and its kin and the word of rest.
    AnyWord {
        /// What stands in most rows, as the name of a state does.
        rest: Option<String>,
    },
    /// Events or remarks of all kinds: words that name a transfer mark one.
    NamingTransfer,
}

const NO: [&str; 9] = ["no", "n", "nein", "non", "nee", "false", "off", "aus", "uit"];
/// What people put into a list to tick a line off; elsewhere some of it stands for a missing reading.
const TICKS: [&str; 6] = ["x", "*", "+", "✓", "✔", "✗"];

impl Marks {
    /// How a column of transfers is read whose rows hold no numbers; `None` where its words stand in most rows and none
    /// is the usual one, so that nobody can say what they mark.
    pub(crate) fn any_word(rows: &[Record<'_>], column: usize, style: NumberStyle) -> Option<Self> {
        let mut words: Vec<String> =
            rows.iter().filter_map(|row| word(row.field(column), style)).map(|word| word.to_lowercase()).collect();
        let is_most = |count: usize| 2 * count > rows.len();
        let are_most = is_most(words.len());
        words.sort_unstable();
        let usual = words.chunk_by(|a, b| a == b).max_by_key(|run| run.len());
        let rest = usual.filter(|run| is_most(run.len())).map(|run| run[0].clone());
        (!are_most || rest.is_some()).then_some(Self::AnyWord { rest })
    }

    /// A cell as 1 for a mark, 0 for none, NaN where it says nothing of it.
    pub(crate) fn reading(&self, cell: &[u8], style: NumberStyle, count: &mut CellCount) -> f64 {
        if let Cell::Number(value) = cell::read(cell, style) {
            count.measured += 1;
            return value;
        }
        let Some(word) = word(cell, style) else {
            count.missing += 1;
            return f64::NAN;
        };
        let lower = word.to_lowercase();
        let marked = match self {
            Self::AnyWord { rest } => Some(!NO.contains(&lower.as_str()) && rest.as_ref() != Some(&lower)),
            Self::NamingTransfer => words::names_transfer(&Folded::new(&word)).then_some(true),
        };
        let Some(marked) = marked else {
            count.text += 1;
            return f64::NAN;
        };
        count.measured += 1;
        f64::from(u8::from(marked))
    }

    /// Puts "no mark" where a column with marks holds nothing.
    pub(crate) fn fill(values: &mut [f64]) {
        values.iter_mut().filter(|value| value.is_nan()).for_each(|value| *value = 0.0);
    }
}

/// The text of a cell; none where it is blank or stands for a missing reading.
fn word(cell: &[u8], style: NumberStyle) -> Option<String> {
    let text = text_of(cell);
    let is_tick = TICKS.contains(&text.to_lowercase().as_str());
    (is_tick || !matches!(cell::read(cell, style), Cell::Missing)).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(marks: &Marks, cells: &[&str]) -> Vec<Option<bool>> {
        let one = |cell: &&str| marks.reading(cell.as_bytes(), NumberStyle::POINT, &mut CellCount::default());
        cells.iter().map(one).map(|value| (!value.is_nan()).then_some(value >= 0.5)).collect()
    }

    #[test]
    fn a_column_of_transfers_is_marked_by_any_word_but_no() {
        let marks = Marks::AnyWord { rest: Some("closed".into()) };
        let cells = ["transfer", "IN", "x", "1", "yes", "No", "Closed", "0", "", "-", "n/a"];
        let (yes, no) = (Some(true), Some(false));
        assert_eq!(read(&marks, &cells), [yes, yes, yes, yes, yes, no, no, no, None, None, None]);
    }

    #[test]
    fn a_remark_marks_a_transfer_only_where_it_names_one() {
        let cells = ["Transfer of samples", "Einschleusung", "sensor calibrated", "in", ""];
        assert_eq!(read(&Marks::NamingTransfer, &cells), [Some(true), Some(true), None, None, None]);
    }
}
