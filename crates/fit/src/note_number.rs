//! Numbers in notes.

/// A number as a display shows it, to four digits: steps that were converted carry the rounding of the conversion.
pub(crate) fn as_shown(value: f64) -> f64 {
    let Some(digits) = (value != 0.0 && value.is_finite()).then(|| 3 - value.abs().log10().floor() as i32) else {
        return value;
    };
    if digits >= 0 {
        let scale = 10.0_f64.powi(digits);
        (value * scale).round() / scale
    } else {
        let scale = 10.0_f64.powi(-digits);
        (value / scale).round() * scale
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn steps_are_written_without_the_rounding_of_their_conversion() {
        let written = |value: f64| super::as_shown(value).to_string();
        assert_eq!(written(1e-7 * 1e6), "0.1");
        assert_eq!(written(0.049_999_999_999_999_996), "0.05");
        assert_eq!(written(33.863_8), "33.86");
        assert_eq!(written(0.0), "0");
    }
}
