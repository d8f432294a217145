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
        let starts_number = letter == '-' && before == ' ' && letters.peek().is_some_and(char::is_ascii_digit);
        out.push(if starts_number { '−' } else { letter });
        before = letter;
    }
    out
}

/// A quantity as written in the plan, powers of ten set as such.
pub(super) fn quantity(quantity: &Quantity) -> Markup {
    let text = quantity.text();
    match text.split_once(char::is_whitespace) {
        Some((number, unit)) => html! { (number_markup(number)) " " (unit_text(unit.trim())) },
        None => html! { (typeset(text)) },
    }
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
        let exponent = if (-3..5).contains(&top) { 0 } else { top };
        Self { exponent, decimals: (exponent - last).max(0) as usize }
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

/// A result in a unit of the reader's choice.
pub(super) struct Shown {
    pub(super) unit: String,
    value: Option<f64>,
    interval: [Option<f64>; 2],
    upper95: Option<f64>,
    kind: ResultValueKind,
    has_interval: bool,
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
                            (together.text(value)) " ± " (Together { ..together }.text(0.5 * (high - low)))
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
                let together = Together::new(value, 0.5 * (high - low));
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
                let together = Together::new(low.abs().max(high.abs()), 0.5 * (high - low));
                html! { span.number { (together.text(low)) " to " (together.text(high)) (together.power()) } " " (self.unit) }
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
        html! { span.number { (plain(value, 3)) } " " (self.unit) }
    }
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
        assert_eq!(count(1_234_567), "1\u{202f}234\u{202f}567");
    }
}
