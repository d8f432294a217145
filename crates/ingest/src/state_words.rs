//! Columns in which words stand for a state: `transfer`, `in`, `x` for a transfer, `ON` and `closed` for what is switched.

use crate::cell::{self, Cell};
use crate::fold::Folded;
use crate::number::NumberStyle;
use crate::recording::CellCount;
use crate::records::{Record, text_of};
use crate::words;

/// How the words of a column tell a state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum StateWords {
    /// The column is one of transfers: every word marks one, but for `no` and its kin and the word of rest.
    AnyWord {
        /// What stands in most rows, as the name of a state does.
        rest: Option<String>,
    },
    /// Events or remarks of all kinds: words that name a transfer mark one.
    NamingTransfer,
    /// What is on or off, open or closed, and says so.
    Switched,
}

const NO: [&str; 9] = ["no", "n", "nein", "non", "nee", "false", "off", "aus", "uit"];
/// Without accents, as all that follow.
const OFF: [&str; 24] = [
    "stop",
    "stopped",
    "idle",
    "standby",
    "regenerating",
    "inactive",
    "disabled",
    "bypass",
    "closed",
    "close",
    "shut",
    "zu",
    "geschlossen",
    "inaktiv",
    "gestoppt",
    "arret",
    "ferme",
    "fermee",
    "apagado",
    "cerrado",
    "cerrada",
    "dicht",
    "gesloten",
    "gestopt",
];
const ON: [&str; 26] = [
    "on",
    "yes",
    "y",
    "true",
    "open",
    "opened",
    "run",
    "running",
    "active",
    "enabled",
    "ein",
    "an",
    "auf",
    "offen",
    "geoffnet",
    "ja",
    "aktiv",
    "marche",
    "oui",
    "ouvert",
    "ouverte",
    "encendido",
    "abierto",
    "abierta",
    "si",
    "aan",
];
/// A remark that begins with one of them says what was not.
const DENIALS: [&str; 10] = ["no", "not", "without", "kein", "keine", "ohne", "pas", "sans", "geen", "sin"];
/// What people put into a list to tick a line off; elsewhere some of it stands for a missing reading.
const TICKS: [&str; 6] = ["x", "*", "+", "✓", "✔", "✗"];

impl StateWords {
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

    /// `Switched` where most of the words that stand in the rows are those of a switch.
    pub(crate) fn switched(rows: &[Record<'_>], column: usize, style: NumberStyle) -> Option<Self> {
        let words: Vec<String> = rows.iter().filter_map(|row| word(row.field(column), style)).collect();
        let known = words.iter().filter(|word| is_on(word).is_some()).count();
        (2 * known > words.len()).then_some(Self::Switched)
    }

    /// A cell as 1 or 0, NaN where it says nothing of the state.
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
        let state = match self {
            Self::AnyWord { rest } => Some(!NO.contains(&lower.as_str()) && rest.as_ref() != Some(&lower)),
            Self::NamingTransfer => names_transfer(&word).then_some(true),
            Self::Switched => is_on(&word),
        };
        let Some(state) = state else {
            count.text += 1;
            return f64::NAN;
        };
        count.measured += 1;
        f64::from(u8::from(state))
    }

    /// What a row means that says nothing: no mark where words mark, nothing of a switch.
    pub(crate) fn unsaid(&self) -> Option<f64> {
        (*self != Self::Switched).then_some(0.0)
    }

    /// What a column is about none of whose rows tells a state.
    pub(crate) fn found_none(&self) -> &'static str {
        match self {
            Self::AnyWord { .. } | Self::NamingTransfer => "no word in it marks a transfer",
            Self::Switched => "no word in it says on or off, open or closed",
        }
    }
}

fn names_transfer(remark: &str) -> bool {
    let folded = Folded::new(remark);
    let denies = folded.spaced.split(' ').find(|word| !word.is_empty()).is_some_and(|first| DENIALS.contains(&first));
    words::names_transfer(&folded) && !denies
}

/// What the word of a switch says; `None` for others.
fn is_on(word: &str) -> Option<bool> {
    let lower = Folded::new(&word.to_lowercase());
    let plain = lower.joined.as_str();
    if ON.contains(&plain) {
        return Some(true);
    }
    (NO.contains(&plain) || OFF.contains(&plain)).then_some(false)
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

    fn read(words: &StateWords, cells: &[&str]) -> Vec<Option<bool>> {
        let one = |cell: &&str| words.reading(cell.as_bytes(), NumberStyle::POINT, &mut CellCount::default());
        cells.iter().map(one).map(|value| (!value.is_nan()).then_some(value >= 0.5)).collect()
    }

    #[test]
    fn a_column_of_transfers_is_marked_by_any_word_but_no() {
        let words = StateWords::AnyWord { rest: Some("closed".into()) };
        let cells = ["transfer", "IN", "x", "1", "yes", "No", "Closed", "0", "", "-", "n/a"];
        let (yes, no) = (Some(true), Some(false));
        assert_eq!(read(&words, &cells), [yes, yes, yes, yes, yes, no, no, no, None, None, None]);
    }

    #[test]
    fn a_remark_marks_a_transfer_only_where_it_names_one() {
        let cells = ["Transfer of samples", "Einschleusung", "sensor calibrated", "in", "", "No transfer today"];
        assert_eq!(read(&StateWords::NamingTransfer, &cells), [Some(true), Some(true), None, None, None, None]);
    }

    #[test]
    fn a_switch_says_on_or_off_in_many_words() {
        let cells = ["ON", "Off", "open", "CLOSED", "geöffnet", "Aus", "fermé", "stand-by", "1", "0", "fault", ""];
        let (on, off) = (Some(true), Some(false));
        let says = [on, off, on, off, on, off, off, off, on, off, None, None];
        assert_eq!(read(&StateWords::Switched, &cells), says);
    }
}
