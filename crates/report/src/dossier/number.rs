//! Numbers, units and results as the page shows them.

use maud::{Markup, html};
use tightfit_quantity::{Quantity, Unit, display_number};

use crate::result::{ResultValue, ResultValueKind};

/// A unit as people print it: `Pa·m³/s` for `Pa.m3/s`.
pub(super) fn unit_text(unit: &str) -> String {
    match unit {
        "1" => String::new(),
        other => other.replace('.', "·").replace("m3", "m³").replace("m2", "m²"),
    }
}

/// A text of the plan or result with real minus signs before its numbers.
pub(super) fn typeset(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        let starts_number =
            letter == '-' && matches!(before, ' ' | '(') && letters.peek().is_some_and(char::is_ascii_digit);
        out.push(if starts_number { '−' } else { letter });
        before = letter;
    }
    out
}

/// A sentence of the program with its numbers set as the tables set theirs: `2.3 × 10⁻⁴` for `2.3e-4`.
pub(super) fn prose(text: &str) -> String {
    let words = text.split(' ').map(|word| {
        let number = word.trim_start_matches('(').trim_end_matches([',', '.', ';', ':', ')']);
        let (before, after) = word.split_once(number)?;
        let (mantissa, exponent) = number.split_once('e')?;
        let digits = |text: &str| text.bytes().any(|byte| byte.is_ascii_digit());
        let is_number = digits(mantissa) && mantissa.parse::<f64>().is_ok() && exponent.parse::<i32>().is_ok();
        is_number.then(|| format!("{before}{mantissa}\u{a0}×\u{a0}10{}{after}", superscript(exponent)))
    });
    let set: Vec<String> =
        words.zip(text.split(' ')).map(|(set, word)| set.unwrap_or_else(|| word.to_owned())).collect();
    typeset(&set.join(" "))
}

fn superscript(exponent: &str) -> String {
    exponent
        .chars()
        .filter_map(|digit| match digit {
            '-' => Some('⁻'),
            other => "⁰¹²³⁴⁵⁶⁷⁸⁹".chars().nth(other.to_digit(10)? as usize),
        })
        .collect()
}

/// A quantity as written in the plan, powers of ten set as such.
pub(super) fn quantity(quantity: &Quantity) -> Markup {
    let text = quantity.text();
    let (number, unit) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    html! { (number_markup(number)) " " (unit_text(unit.trim())) }
}

/// `5e-4` as 5 × 10⁻⁴, anything else as it stands.
pub(super) fn number_markup(number: &str) -> Markup {
    match number.split_once(['e', 'E']) {
        Some((mantissa, exponent)) if exponent.parse::<i32>().is_ok() => {
            let exponent = exponent.trim_start_matches('+');
            html! { (typeset(mantissa)) " × 10" sup { (typeset(exponent)) } }
        }
        _ => html! { (typeset(number)) },
    }
}

/// A plain number with `digits` significant digits.
pub(super) fn plain(value: f64, digits: usize) -> Markup {
    number_markup(&display_number(value, digits))
}

/// Several numbers of one result, written with one power of ten and one last digit.
pub(super) struct Together {
    exponent: i32,
    decimals: usize,
}

impl Together {
    /// `uncertainty` gets two significant digits, as JCGM 100:2008, 7.2.6 asks; the others follow it.
    pub(super) fn new(largest: f64, uncertainty: f64) -> Self {
        let size = |value: f64| if value.abs() > 0.0 { value.abs().log10().floor() as i32 } else { 0 };
        let top = size(largest.abs().max(uncertainty.abs()));
        // Two digits of the uncertainty, but at most six digits of the value.
        let last = if uncertainty > 0.0 { (size(uncertainty) - 1).max(top - 5) } else { top - 3 };
        let exponent = power_of_ten(top);
        Self { exponent, decimals: (exponent - last).max(0) as usize }
    }

    /// The same with a power of ten that others set.
    fn with_exponent(self, exponent: Option<i32>) -> Self {
        let Some(exponent) = exponent else { return self };
        let last = self.exponent - self.decimals as i32;
        Self { exponent, decimals: (exponent - last).clamp(0, 6) as usize }
    }

    pub(super) fn text(&self, value: f64) -> String {
        let decimals = self.decimals;
        let text = format!("{:.decimals$}", value / 10f64.powi(self.exponent));
        match text.strip_prefix('-') {
            Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => rest.to_owned(),
            _ => typeset(&text),
        }
    }

    fn power(&self) -> Markup {
        html! { @if self.exponent != 0 { " × 10" sup { (typeset(&self.exponent.to_string())) } } }
    }
}

/// The power of ten that a number of this size is written with; 0 for none.
fn power_of_ten(size: i32) -> i32 {
    if (-2..5).contains(&size) { 0 } else { size }
}

/// The power of ten for numbers that are to be compared: that of the first, which the others stand beside.
pub(super) fn common_exponent(mut values: impl Iterator<Item = f64>) -> Option<i32> {
    let first = values.find(|value| value.is_finite() && *value != 0.0)?;
    Some(power_of_ten(first.abs().log10().floor() as i32))
}

/// A result in a unit of the reader's choice.
pub(super) struct Shown {
    pub(super) unit: String,
    value: Option<f64>,
    interval: [Option<f64>; 2],
    upper95: Option<f64>,
    kind: ResultValueKind,
    has_interval: bool,
    exponent: Option<i32>,
}

impl Shown {
    /// The result in its own unit.
    pub(super) fn own(result: &ResultValue) -> Self {
        Self {
            unit: unit_text(&result.unit),
            value: result.value,
            interval: result.interval95,
            upper95: result.upper95,
            kind: result.kind,
            // A method that knows no uncertainty hands back an interval without width.
            has_interval: result.standard_uncertainty.is_some_and(|u| u > 0.0),
            exponent: None,
        }
    }

    /// The result in the unit of a limit on it, where that measures the same.
    pub(super) fn in_unit_of(result: &ResultValue, limit: &Quantity) -> Self {
        let own = Self::own(result);
        match Unit::parse(&result.unit) {
            Ok(unit) if unit.dimension() == limit.unit().dimension() && !unit.has_offset() => {
                let convert = |value: f64| limit.unit().from_si(unit.to_si(value));
                Self {
                    unit: unit_text(limit.unit().symbol()),
                    value: own.value.map(convert),
                    interval: own.interval.map(|end| end.map(convert)),
                    upper95: own.upper95.map(convert),
                    ..own
                }
            }
            _ => own,
        }
    }

    /// The result written with a given power of ten, to be compared with its neighbours.
    pub(super) fn with_exponent(self, exponent: Option<i32>) -> Self {
        Self { exponent, ..self }
    }

    /// `(2.14 ± 0.31) × 10⁻⁴ 1/h`; with unequal arms `+0.4 −0.2`; bounds in words.
    pub(super) fn with_uncertainty(&self) -> Markup {
        match (self.kind, self.value, self.interval) {
            (ResultValueKind::Estimate, Some(value), [Some(low), Some(high)]) if self.has_interval => {
                let together = Together::new(value, (value - low).abs().min((high - value).abs()));
                let arms = [value - low, high - value];
                let lopsided = (arms[0] - arms[1]).abs() > 0.2 * (arms[0] + arms[1]);
                let bracket = together.exponent != 0 || lopsided;
                html! {
                    span.number {
                        @if bracket { "(" }
                        @if lopsided {
                            (together.text(value)) " +" (together.text(arms[1])) " −" (together.text(arms[0]))
                        } @else {
                            (together.text(value)) " ± " (together.text(0.5 * (high - low)))
                        }
                        @if bracket { ")" }
                        (together.power())
                    }
                    " " (self.unit)
                }
            }
            (ResultValueKind::UpperBound, _, [_, Some(high)]) => html! { "at most " (self.single(high)) },
            (ResultValueKind::LowerBound, _, [Some(low), _]) => html! { "at least " (self.single(low)) },
            (ResultValueKind::NotDetermined, ..) | (_, None, _) => html! { "not determined" },
            (_, Some(value), _) => self.single(value),
        }
    }

    /// The value alone, with the digits that its interval allows.
    pub(super) fn value(&self) -> Markup {
        match (self.value, self.interval) {
            (Some(value), [Some(low), Some(high)]) if self.has_interval => {
                let together = Together::new(value, 0.5 * (high - low)).with_exponent(self.exponent);
                html! { span.number { (together.text(value)) (together.power()) } " " (self.unit) }
            }
            (Some(value), _) => self.single(value),
            (None, _) => html! { "not determined" },
        }
    }

    /// `1.8 to 2.5 × 10⁻⁴`.
    pub(super) fn interval(&self) -> Markup {
        match self.interval {
            [Some(low), Some(high)] if self.has_interval => {
                let together =
                    Together::new(low.abs().max(high.abs()), 0.5 * (high - low)).with_exponent(self.exponent);
                let bracket = together.exponent != 0;
                html! {
                    span.number {
                        @if bracket { "(" }
                        (together.text(low)) " to " (together.text(high))
                        @if bracket { ")" }
                        (together.power())
                    }
                    " " (self.unit)
                }
            }
            [None, Some(high)] => html! { "up to " (self.single(high)) },
            [Some(low), None] => html! { "from " (self.single(low)) },
            [Some(_), Some(_)] => html! { "the method gives none" },
            [None, None] => html! { "open" },
        }
    }

    /// The published one-sided limit, where the method has one.
    pub(super) fn upper_limit(&self) -> Option<Markup> {
        self.upper95.map(|limit| self.single(limit))
    }

    fn single(&self, value: f64) -> Markup {
        html! {
            span.number {
                @match self.exponent {
                    Some(exponent) if exponent != 0 => {
                        (typeset(&display_number(value / 10f64.powi(exponent), 3)))
                        " × 10" sup { (typeset(&exponent.to_string())) }
                    }
                    _ => { (plain(value, 3)) }
                }
            }
            " " (self.unit)
        }
    }
}

/// A limit as results write it, `max 5e-4 1/h`, as words and number; the quantity too, where it reads as one.
pub(super) fn limit(text: &str) -> (Markup, Option<Quantity>) {
    let (word, rest) = text.split_once(' ').unwrap_or(("", text));
    let words = if word == "min" { "at least" } else { "at most" };
    match Quantity::parse(rest) {
        Ok(bound) => (html! { (words) " " (quantity(&bound)) }, Some(bound)),
        Err(_) => (html! { (text) }, None),
    }
}

/// A name of others, with places to break it where it runs on without a space.
pub(super) fn name(text: &str) -> Markup {
    const RUN: usize = 16;
    let mut pieces = vec![String::new()];
    let mut run = 0;
    for letter in text.chars() {
        run = if letter.is_whitespace() { 0 } else { run + 1 };
        if run > RUN {
            pieces.push(String::new());
            run = 1;
        }
        if let Some(piece) = pieces.last_mut() {
            piece.push(letter);
        }
    }
    html! { @for (index, piece) in pieces.iter().enumerate() { @if index > 0 { wbr; } (piece) } }
}

/// The text with its first letter large.
pub(super) fn capitalized(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A probability in per cent, never rounded to certainty.
pub(super) fn probability(probability: f64) -> String {
    match 100.0 * probability {
        p if p > 99.95 => "over 99.9 %".to_owned(),
        p if p < 0.05 => "under 0.1 %".to_owned(),
        p => format!("{p:.1} %"),
    }
}

/// A count with thin spaces between thousands.
pub(super) fn count(value: u64) -> String {
    let digits = value.to_string();
    let mut out = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) && digits.len() > 4 {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn result(value: f64, interval: [f64; 2]) -> ResultValue {
        ResultValue {
            value: Some(value),
            unit: "1/h".to_owned(),
            standard_uncertainty: Some(0.25 * (interval[1] - interval[0])),
            interval95: interval.map(Some),
            kind: ResultValueKind::Estimate,
            at: None,
            upper95: None,
            degrees_of_freedom: None,
            budget: Vec::new(),
        }
    }

    #[test]
    fn value_and_uncertainty_share_power_and_last_digit() {
        let shown = Shown::own(&result(2.1436e-4, [1.8336e-4, 2.4536e-4])).with_uncertainty().into_string();
        assert_eq!(shown, "<span class=\"number\">(2.14 ± 0.31) × 10<sup>−4</sup></span> 1/h");
    }

    #[test]
    fn unequal_arms_are_shown_apart() {
        let shown = Shown::own(&result(2.0, [1.5, 4.0])).with_uncertainty().into_string();
        assert_eq!(shown, "<span class=\"number\">(2.00 +2.00 −0.50)</span> 1/h");
    }

    #[test]
    fn results_are_shown_in_the_unit_of_their_limit() {
        let limit = Quantity::parse("0.05 vol%/h").unwrap();
        let shown = Shown::in_unit_of(&result(2.1436e-4, [1.8336e-4, 2.4536e-4]), &limit);
        assert_eq!(shown.with_uncertainty().into_string(), "<span class=\"number\">0.0214 ± 0.0031</span> vol%/h");
    }

    #[test]
    fn probabilities_are_never_rounded_to_certainty() {
        assert_eq!(probability(1.0), "over 99.9 %");
        assert_eq!(probability(0.0), "under 0.1 %");
        assert_eq!(probability(0.9734), "97.3 %");
    }

    #[test]
    fn minus_signs_are_set_only_before_numbers() {
        assert_eq!(typeset("-1000 Pa"), "−1000 Pa");
        assert_eq!(typeset("two-point K-12"), "two-point K-12");
        assert_eq!(
            prose("it gives 2.3e-4 1/h (-1e5), see 12e"),
            "it gives 2.3\u{a0}×\u{a0}10⁻⁴ 1/h (−1\u{a0}×\u{a0}10⁵), see 12e"
        );
        assert_eq!(count(1_234_567), "1\u{202f}234\u{202f}567");
    }
}
