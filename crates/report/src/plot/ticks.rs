//! Round numbers on an axis.

/// Ticks of a linear axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ticks {
    /// Where they stand.
    pub(crate) values: Vec<f64>,
    /// Decimals that their labels need.
    decimals: usize,
}

/// Ticks at 1, 2 or 5 times a power of ten, about `wanted` of them.
pub(crate) fn linear([low, high]: [f64; 2], wanted: usize) -> Ticks {
    let rough = (high - low) / wanted.max(1) as f64;
    if !(rough.is_finite() && rough > 0.0) {
        return Ticks { values: vec![low], decimals: 0 };
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
    Ticks { values, decimals: (-exponent).max(0) as usize }
}

impl Ticks {
    /// A value with the decimals of this axis and a real minus sign.
    pub(crate) fn label(&self, value: f64) -> String {
        let decimals = self.decimals;
        let text = format!("{value:.decimals$}");
        match text.strip_prefix('-') {
            Some(rest) if rest.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0') => format!("−{rest}"),
            Some(rest) => rest.to_owned(),
            None => text,
        }
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
