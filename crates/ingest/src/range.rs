//! The end of a range as a display shows it.

/// Readings in turn at the largest value from which it is a value that the readings cannot pass.
const STANDS: usize = 10;
/// The display's step is a small part of a range; a largest value further below its end is no matter of rounding.
const NEAR: f64 = 0.1;
/// Differences that count as a step of the display, to leave aside what computing in SI units makes of equal ones.
const ROUNDING: f64 = 1e-9;

/// The value from which readings are at the upper end of a range.
///
/// A range may be stated finer than the display shows it (3.74 where readings go in steps of 0.1 and stop at 3.7). So
/// where the readings stand at their largest value, less than a step of the display below the end, it is this value. The
/// step is the smallest difference between readings in turn; where all are equal there is none.
pub fn shown_end_of_range(values: &[f64], (bottom, top): (f64, f64)) -> f64 {
    let highest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if highest >= top || !highest.is_finite() || top - highest > NEAR * (top - bottom) {
        return top;
    }
    let differences = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let step = differences.filter(|step| *step > ROUNDING * (top - bottom)).fold(f64::INFINITY, f64::min);
    let stands = values.chunk_by(|a, b| a.to_bits() == b.to_bits()).any(|run| run.len() >= STANDS && run[0] >= highest);
    if stands && step.is_finite() && top - highest < step { highest } else { top }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_finer_than_the_display_ends_where_the_readings_stop() {
        let mut values: Vec<f64> = (0..37).map(|i| f64::from(i) * 0.1).collect();
        assert!(shown_end_of_range(&values, (0.0, 3.74)) > 3.73);
        values.extend([3.7; 12]);
        assert!(shown_end_of_range(&values, (0.0, 3.74)) < 3.71);
        // A step and more below the end it is no matter of rounding, and at the end nothing has to be told.
        assert!(shown_end_of_range(&values, (0.0, 3.9)) > 3.89);
        assert!(shown_end_of_range(&values, (0.0, 3.7)) > 3.69);
    }

    #[test]
    fn a_quantity_that_stands_below_the_end_of_a_range_is_not_at_it() {
        // 22.0 °C all the time on a thermometer from 0 °C to 50 °C.
        assert!(shown_end_of_range(&[295.15; 600], (273.15, 323.15)) > 323.0);
        assert!(shown_end_of_range(&[101_300.0; 600], (80_000.0, 106_000.0)) > 105_999.0);
        // A spike from a value that stands is no step of the display.
        let mut values = vec![101_300.0; 600];
        values.extend([98_000.0, 101_290.0, 101_300.0]);
        assert!(shown_end_of_range(&values, (80_000.0, 101_400.0)) > 101_399.0);
    }
}
