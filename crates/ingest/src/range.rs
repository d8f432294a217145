//! The end of a range as a display shows it.

/// Readings in turn at the largest value from which it is a value that the readings cannot pass.
const STANDS: usize = 10;
/// The display's step is a small part of a range; a largest value further below its end is no matter of rounding.
const NEAR: f64 = 0.1;

/// The value from which readings are at the upper end `top` of a range.
///
/// A range may be stated finer than the display shows it (3.74 where readings go in steps of 0.1 and stop at 3.7). So
/// where the readings stand at their largest value, less than a step of the display below the end, it is this value.
pub fn shown_end_of_range(values: &[f64], top: f64) -> f64 {
    let highest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if highest >= top || !highest.is_finite() || top - highest > NEAR * top.abs() {
        return top;
    }
    let next = values.iter().copied().filter(|value| *value < highest).fold(f64::NEG_INFINITY, f64::max);
    let stands = values.chunk_by(|a, b| a.to_bits() == b.to_bits()).any(|run| run.len() >= STANDS && run[0] >= highest);
    if stands && top - highest < highest - next { highest } else { top }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_finer_than_the_display_ends_where_the_readings_stop() {
        let mut values: Vec<f64> = (0..37).map(|i| f64::from(i) * 0.1).collect();
        assert!(shown_end_of_range(&values, 3.74) > 3.73);
        values.extend([3.7; 12]);
        assert!(shown_end_of_range(&values, 3.74) < 3.71);
        // A step and more below the end it is no matter of rounding, and at the end nothing has to be told.
        assert!(shown_end_of_range(&values, 3.9) > 3.89);
        assert!(shown_end_of_range(&values, 3.7) > 3.69);
    }
}
