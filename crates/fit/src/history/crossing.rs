//! When a trend crosses a limit.

/// On which side of the limit the trouble lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Values above the limit do not conform.
    Above,
    /// Values below the limit do not conform.
    Below,
}

/// Forecast of the day on which the trend crosses a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crossing {
    /// It lies beyond already, with this probability (at least 97.5 %).
    Beyond {
        /// The probability.
        probability: f64,
    },
    /// It crosses within the horizon: days of the 95 % interval; an end beyond the horizon is `None`.
    Between {
        /// Day before which it has crossed with 2.5 %; `None` where that probability is already exceeded today.
        from: Option<f64>,
        /// Day before which it has crossed with 50 %.
        median: Option<f64>,
        /// Day before which it has crossed with 97.5 %.
        to: Option<f64>,
    },
    /// The probability to have crossed stays below 2.5 % up to the horizon.
    NotWithin,
}

/// Finds the crossing from `beyond(day)`, the probability to lie beyond the limit on that day, from `today` to
/// `today + horizon`.
///
/// A trend that rises and one that falls are both possible as long as the slope is not known, so the probability to
/// have crossed is the largest probability to lie beyond up to that day.
pub(super) fn crossing(beyond: impl Fn(f64) -> f64, today: f64, horizon: f64) -> Crossing {
    const STEPS: usize = 600;
    let now = beyond(today);
    if now >= 0.975 {
        return Crossing::Beyond { probability: now };
    }
    let day = |k: usize| today + horizon * k as f64 / STEPS as f64;
    let crossed: Vec<f64> = (0..=STEPS)
        .scan(0.0_f64, |largest, k| {
            *largest = largest.max(beyond(day(k)));
            Some(*largest)
        })
        .collect();
    let first = |probability: f64| crossed.iter().position(|p| *p >= probability);
    if first(0.025).is_none() {
        return Crossing::NotWithin;
    }
    let at = |probability: f64| first(probability).map(day);
    Crossing::Between { from: at(0.025).filter(|day| *day > today), median: at(0.5), to: at(0.975) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(at: f64) -> impl Fn(f64) -> f64 {
        move |day| (0.5 + (day - at) / 200.0).clamp(0.0, 1.0)
    }

    #[test]
    fn the_interval_holds_the_days_of_its_probabilities() {
        // The forecast looks at 600 days in ten years.
        const STEP_DAYS: f64 = 3650.0 / 600.0;
        let Crossing::Between { from, median, to } = crossing(step(500.0), 0.0, 3650.0) else { panic!() };
        assert!((from.unwrap() - 405.0).abs() < STEP_DAYS);
        assert!((median.unwrap() - 500.0).abs() < STEP_DAYS);
        assert!((to.unwrap() - 595.0).abs() < STEP_DAYS);
    }

    #[test]
    fn what_lies_beyond_or_far_away_is_said_so() {
        assert!(matches!(crossing(step(-500.0), 0.0, 3650.0), Crossing::Beyond { .. }));
        assert_eq!(crossing(step(9000.0), 0.0, 3650.0), Crossing::NotWithin);
        // The chance is there today already, certainty is not within the horizon.
        let open = crossing(|_| 0.1, 0.0, 3650.0);
        assert_eq!(open, Crossing::Between { from: None, median: None, to: None });
    }
}
