//! Round numbers on an axis.

/// Ticks of an axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ticks {
    /// Where they stand.
    pub(crate) values: Vec<f64>,
    labels: Labels,
}

/// How the labels of an axis are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Labels {
    /// With so many decimals.
    Decimals(usize),
    /// The axis counts decades: 2 reads as 100.
    Decades,
}

/// Ticks of an axis that counts decades: at powers of ten, with 2 and 5 times these where there are few.
pub(crate) fn decades([low, high]: [f64; 2]) -> Ticks {
    let (first, last) = (low.floor() as i32, high.ceil() as i32);
    let span = high - low;
    let between: &[f64] = if span < 2.5 { &[1.0, 2.0, 5.0] } else { &[1.0] };
    let step = (span / 6.0).ceil().max(1.0) as usize;
    let powers = (first..=last).step_by(step);
    let all = powers.flat_map(|power| between.iter().map(move |factor| f64::from(power) + factor.log10()));
    Ticks { values: all.filter(|value| (low..=high).contains(value)).take(50).collect(), labels: Labels::Decades }
}

/// Ticks at 1, 2 or 5 times a power of ten, about `wanted` of them.
pub(crate) fn linear([low, high]: [f64; 2], wanted: usize) -> Ticks {
    let rough = (high - low) / wanted.max(1) as f64;
    if !(rough.is_finite() && rough > 0.0) {
        return Ticks { values: vec![low], labels: Labels::Decimals(0) };
    }
    let exponent = rough.log10().floor() as i32;
    let power = 10f64.powi(exponent);
    let (factor, exponent) = match rough / power {
        f if f < 1.5 => (1.0, exponent),
        f if f < 3.0 => (2.0, exponent),
        f if f < 7.0 => (5.0, exponent),
        _ => (1.0, exponent + 1),
    };
    let step = factor * 10f64.powi(exponent);
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    // A span that is tiny against its values could otherwise ask for any number of ticks.
    let values = (first..=last).take(50).map(|index| index as f64 * step).collect();
    Ticks { values, labels: Labels::Decimals((-exponent).max(0) as usize) }
}

impl Ticks {
    /// A value with the decimals of this axis and a real minus sign.
    pub(crate) fn label(&self, value: f64) -> String {
        let decimals = match self.labels {
            Labels::Decimals(decimals) => decimals,
            Labels::Decades => return power(value),
        };
        let text = format!("{value:.decimals$}");
        match text.strip_prefix('-') {
            Some(rest) if rest.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0') => format!("−{rest}"),
            Some(rest) => rest.to_owned(),
            None => text,
        }
    }
}

/// `10^value` as people write it: 0.05, 20, 10⁵.
fn power(value: f64) -> String {
    const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let exponent = (value + 1e-9).floor() as i32;
    if (-3..5).contains(&exponent) {
        let decimals = (-exponent).max(0) as usize;
        return format!("{:.decimals$}", 10f64.powf(value));
    }
    let sign = if exponent < 0 { "⁻" } else { "" };
    let digits: String = exponent.abs().to_string().bytes().map(|digit| RAISED[usize::from(digit - b'0')]).collect();
    match (10f64.powf(value - f64::from(exponent))).round() as i32 {
        1 => format!("10{sign}{digits}"),
        factor => format!("{factor}·10{sign}{digits}"),
    }
}

/// The range of values with a little room on both sides, wide enough to be drawn.
pub(crate) fn padded(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    let fold = values.fold(None, |range: Option<[f64; 2]>, value| match range {
        _ if !value.is_finite() => range,
        None => Some([value, value]),
        Some([low, high]) => Some([low.min(value), high.max(value)]),
    });
    let [low, high] = fold?;
    // Constant readings get a band that still shows their last digits.
    let least = (low.abs().max(high.abs()) * 1e-6).max(1e-9);
    let pad = if high - low > least { 0.06 * (high - low) } else { (low.abs() * 0.01).max(0.5) };
    Some([low - pad, high + pad])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside_the_range() {
        let ticks = linear([-512.0, -478.0], 4);
        assert_eq!(ticks.values, [-510.0, -500.0, -490.0, -480.0]);
        assert_eq!(ticks.label(-510.0), "−510");
        let fine = linear([21.43, 21.52], 5);
        assert_eq!(fine.label(fine.values[0]), "21.44");
    }

    #[test]
    fn decades_are_labelled_as_numbers() {
        let ticks = decades([-1.2, 5.3]);
        let labels: Vec<String> = ticks.values.iter().map(|value| ticks.label(*value)).collect();
        assert_eq!(labels, ["1", "100", "10000"].map(str::to_owned));
        let few = decades([0.0, 1.05]);
        let labels: Vec<String> = few.values.iter().map(|value| few.label(*value)).collect();
        assert_eq!(labels, ["1", "2", "5", "10"].map(str::to_owned));
        assert_eq!([power(5.0), power(-5.0), power(-1.0)], ["10⁵", "10⁻⁵", "0.1"].map(str::to_owned));
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(linear([-1.0, 1.0], 4).label(-0.0), "0.0");
    }

    #[test]
    fn constant_and_missing_values_still_give_a_range_or_none() {
        let [low, high] = padded([5.0, 5.0].into_iter()).unwrap();
        assert!(low < 5.0 && high > 5.0);
        assert_eq!(padded([f64::NAN].into_iter()), None);
        assert_eq!(linear([3.0, 3.0], 5).values, [3.0]);
    }
}
