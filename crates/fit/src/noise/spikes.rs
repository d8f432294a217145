//! Single readings that stand out.

/// Marks single readings that stand out: beyond both neighbours on the same side, far from the median of five readings
/// (Hampel's filter), and far against the differences that are usual in the channel.
pub(crate) fn without_spikes(values: &[f64], step: f64) -> Vec<bool> {
    let mut keep = vec![true; values.len()];
    if values.len() < 9 {
        return keep;
    }
    let limit = (8.0 * usual_difference(values)).max(4.0 * step);
    for i in 2..values.len() - 2 {
        let (before, after) = (values[i] - values[i - 1], values[i] - values[i + 1]);
        // The first test is cheap and nearly always decides.
        if (before + after).abs() <= 2.0 * limit || before.abs().min(after.abs()) <= limit {
            continue;
        }
        let mut near = [0.0; 5];
        near.copy_from_slice(&values[i - 2..=i + 2]);
        near.sort_by(f64::total_cmp);
        let median = near[2];
        let mut away = near.map(|v| (v - median).abs());
        away.sort_by(f64::total_cmp);
        // On a steep slope neighbours differ much; a spike stands out of these differences as well.
        keep[i] = (values[i] - median).abs() <= limit.max(8.0 * away[2]);
    }
    keep
}

/// Median of the differences between neighbours that differ, over some thousand of them.
fn usual_difference(values: &[f64]) -> f64 {
    let stride = (values.len() / 4000).max(1);
    let mut differences: Vec<f64> = values
        .windows(2)
        .step_by(stride)
        .map(|pair| (pair[1] - pair[0]).abs())
        .filter(|difference| *difference > 0.0)
        .collect();
    if differences.is_empty() {
        return 0.0;
    }
    let middle = differences.len() / 2;
    *differences.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Readings before and after a reading that tell what differences are usual near it.
const NEAR: usize = 25;

/// Single readings that stand out of a channel whose noise may grow with the reading: those of [`without_spikes`] whose
/// distance from the middle of their neighbours is many times the differences that are usual around them, and not that of a
/// slope. Indices in order.
pub(crate) fn spikes(values: &[f64], step: f64) -> Vec<usize> {
    let stands_alone = |i: &usize| {
        let around = [&values[i.saturating_sub(NEAR)..*i], &values[i + 1..(i + 1 + NEAR).min(values.len())]];
        let mut differences: Vec<f64> =
            around.iter().flat_map(|part| part.windows(2)).map(|pair| (pair[1] - pair[0]).abs()).collect();
        let middle = differences.len() / 2;
        let usual = *differences.select_nth_unstable_by(middle, f64::total_cmp).1;
        let (before, after) = (values[i - 1], values[i + 1]);
        let limit = (8.0 * usual).max(4.0 * step).max(2.0 * (after - before).abs());
        (values[*i] - 0.5 * (before + after)).abs() > limit
    };
    let keep = without_spikes(values, step);
    (0..values.len()).filter(|i| !keep[*i]).filter(stands_alone).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::Random;

    #[test]
    fn a_lone_reading_is_found_on_a_decay_and_neither_peak_nor_noise_is() {
        let mut random = Random::new(7);
        let decay = |i: usize| if i < 50 { 0.5 } else { 0.5 + 60.0 * (-((i - 50) as f64) / 40.0).exp() };
        let mut values: Vec<f64> =
            (0..2000).map(|i| decay(i) + (0.01 * decay(i)).hypot(0.05) * random.normal()).collect();
        assert_eq!(spikes(&values, 0.0), Vec::<usize>::new());
        values[400] += 5.0;
        values[70] -= 25.0;
        assert_eq!(spikes(&values, 0.0), [70, 400]);
    }

    #[test]
    fn a_display_that_stands_still_flickers_by_no_more_than_its_steps() {
        let mut values: Vec<f64> = (0..200).map(|i| if i % 7 == 0 { 0.7 } else { 0.6 }).collect();
        assert_eq!(spikes(&values, 0.1), Vec::<usize>::new());
        values[150] = 1.9;
        assert_eq!(spikes(&values, 0.1), [150]);
    }
}
