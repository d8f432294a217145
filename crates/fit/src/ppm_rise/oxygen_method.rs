//! The oxygen method of ISO 10648-2: hourly leak rate from the rise of oxygen in an enclosure filled with another gas.

use super::{ReadingStatus, Trace, Window};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate};

/// Oxygen in air, a mole fraction, as the formula of ISO 10648-2:1994 has it (from memory; air has 0.209).
pub const OXYGEN_OF_THE_STANDARD: f64 = 0.20;

/// Hourly leak rate in 1/h from two oxygen contents (mole fractions) and the time between them in s:
/// T_f = 3600·(x₂ − x₁)/(0.20·t), positive for a rise.
pub fn hourly_leak_rate(first: f64, last: f64, duration_s: f64) -> f64 {
    3600.0 * (last - first) / (OXYGEN_OF_THE_STANDARD * duration_s)
}

/// The method applied to the first and the last reading of a window; `sd_of` is the standard deviation of a reading at
/// a content. `None` where the last reading is censored or there are not two readings.
pub(super) fn evaluate(trace: &Trace<'_>, window: &Window, sd_of: &dyn Fn(f64) -> f64) -> Option<Estimate> {
    let time = trace.samples.time_s();
    let first = time.partition_point(|&t| t < window.from_s);
    let last = time.partition_point(|&t| t <= window.to_s).checked_sub(1)?;
    if last <= first || trace.status_of(last) != ReadingStatus::Measured {
        return None;
    }
    let duration_s = time[last] - time[first];
    let end = trace.samples.value()[last];
    let (start, start_sd) = match trace.status_of(first) {
        ReadingStatus::Measured => (trace.samples.value()[first], sd_of(trace.samples.value()[first])),
        ReadingStatus::AboveRange => return None,
        ReadingStatus::BelowLimit => {
            // Anything from nothing to the limit.
            let limit = trace.analyser.reporting_limit.unwrap_or(trace.samples.value()[first]);
            (0.5 * limit, limit / 12.0_f64.sqrt())
        }
    };
    let value = hourly_leak_rate(start, end, duration_s);
    let per_content = hourly_leak_rate(0.0, 1.0, duration_s);
    let rounding = trace.analyser.resolution / 6.0_f64.sqrt();
    let budget = vec![
        BudgetLine::new("noise of the first and the last reading", per_content * start_sd.hypot(sd_of(end))),
        BudgetLine::new("resolution of the analyser", per_content * rounding),
        BudgetLine::new("scale of the analyser", value * trace.analyser.scale),
        BudgetLine::new("drift of the analyser", per_content * trace.analyser.drift_per_s * duration_s),
    ];
    let total = budget.iter().map(|line| line.standard_uncertainty.powi(2)).sum::<f64>().sqrt();
    let budget = budget.into_iter().filter(|line| line.standard_uncertainty > 0.0).collect();
    Some(Estimate::from_distribution(Distribution::normal(value, total), budget))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_hundred_ppm_in_an_hour_are_a_thousandth_of_the_volume() {
        assert!((hourly_leak_rate(0.0, 200e-6, 3600.0) - 1e-3).abs() < 1e-15);
        assert!(hourly_leak_rate(5e-6, 1e-6, 60.0) < 0.0);
    }
}
