//! Numbers as people read them.

/// Writes a number with `digits` significant digits: plain between 10⁻³ and 10⁶,
/// with a power of ten outside. Trailing zeros stay, since they carry precision.
///
/// ```
/// use tightfit_quantity::display_number;
/// assert_eq!(display_number(0.000_482_13, 3), "4.82e-4");
/// assert_eq!(display_number(-998.76, 4), "-998.8");
/// assert_eq!(display_number(0.0, 3), "0");
/// ```
#[must_use]
pub fn display_number(value: f64, digits: usize) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return if value.is_nan() {
            "not a number"
        } else if value > 0.0 {
            "∞"
        } else {
            "-∞"
        }
        .to_owned();
    }
    // Formatting rounds first, so that 999.96 at three digits becomes 1000, not 1e3.
    let scientific = format!("{value:.*e}", digits.saturating_sub(1));
    let exponent: i32 = scientific.rsplit('e').next().and_then(|e| e.parse().ok()).unwrap_or(0);
    if (-3..6).contains(&exponent) {
        let decimals = (digits as i32 - 1 - exponent).max(0) as usize;
        format!("{value:.decimals$}")
    } else {
        scientific
    }
}

/// Splits `"-1.5e3 mbar"` into its number and the trimmed rest.
///
/// `None` where no number stands at the start. The typographic minus counts as a minus.
pub(crate) fn split_number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let (sign, text) = match text.strip_prefix('\u{2212}') {
        Some(rest) => (-1.0, rest),
        None => (1.0, text),
    };
    let length = number_length(text.as_bytes())?;
    let value: f64 = text[..length].parse().ok()?;
    Some((sign * value, text[length..].trim()))
}

fn number_length(bytes: &[u8]) -> Option<usize> {
    let digits = |from: usize| bytes[from..].iter().take_while(|b| b.is_ascii_digit()).count();
    let mut at = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(at);
    at += whole;
    let mut fraction = 0;
    if bytes.get(at) == Some(&b'.') {
        fraction = digits(at + 1);
        at += 1 + fraction;
    }
    if whole + fraction == 0 {
        return None;
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
        let exponent = digits(at + 1 + sign);
        if exponent > 0 {
            at += 1 + sign + exponent;
        }
    }
    Some(at)
}
