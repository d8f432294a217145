//! Medians and spreads that a few odd readings do not move.

/// Median; reorders the slice. NaN where it is empty.
pub(super) fn median_in_place(values: &mut [f64]) -> f64 {
    quantile_in_place(values, 0.5)
}

/// The order statistic nearest to a quantile; reorders the slice. NaN where it is empty.
pub(super) fn quantile_in_place(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let rank = ((values.len() - 1) as f64 * share).round() as usize;
    *values.select_nth_unstable_by(rank, f64::total_cmp).1
}

/// Standard deviation of normal noise with this median absolute value.
pub(super) fn deviation_from_absolute(values: &mut [f64]) -> f64 {
    const NORMAL: f64 = 1.482_602_218_505_602;
    for value in values.iter_mut() {
        *value = value.abs();
    }
    NORMAL * median_in_place(values)
}

/// Mean without the lowest and highest tenth, and its number of readings. Reorders the slice.
pub(super) fn trimmed_mean(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    values.sort_unstable_by(f64::total_cmp);
    let cut = values.len() / 10;
    let kept = &values[cut..values.len() - cut];
    kept.iter().sum::<f64>() / kept.len() as f64
}
