//! One logged channel on its own time base, checked once at the door.

use std::fmt;

/// Readings of one channel: times in seconds from an origin common to all channels of a record, values in SI.
///
/// The type carries the proof that both slices have the same length (at least one), that time increases strictly
/// and that every number is finite; nothing behind it checks again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Samples<'a> {
    time_s: &'a [f64],
    value: &'a [f64],
}

impl<'a> Samples<'a> {
    /// Checks and wraps two slices.
    ///
    /// # Errors
    /// When the slices differ in length or are empty, time does not increase strictly, or a number is not finite.
    pub fn new(time_s: &'a [f64], value: &'a [f64]) -> Result<Self, SamplesError> {
        if time_s.len() != value.len() {
            return Err(SamplesError::LengthsDiffer { times: time_s.len(), values: value.len() });
        }
        if time_s.is_empty() {
            return Err(SamplesError::Empty);
        }
        for (index, (&time, &reading)) in time_s.iter().zip(value).enumerate() {
            if !time.is_finite() || !reading.is_finite() {
                return Err(SamplesError::NotFinite { index });
            }
            if index > 0 && time <= time_s[index - 1] {
                return Err(SamplesError::TimeNotIncreasing { index, before_s: time_s[index - 1], here_s: time });
            }
        }
        Ok(Self { time_s, value })
    }

    /// Times in seconds, strictly increasing.
    pub fn time_s(&self) -> &'a [f64] {
        self.time_s
    }

    /// Readings, one for each time.
    pub fn value(&self) -> &'a [f64] {
        self.value
    }

    /// Number of readings, at least one.
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Always false; present because a length is.
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// Time of the first reading in seconds.
    pub fn first_time_s(&self) -> f64 {
        self.time_s[0]
    }

    /// Time of the last reading in seconds.
    pub fn last_time_s(&self) -> f64 {
        self.time_s[self.time_s.len() - 1]
    }

    /// The readings whose time lies in `[from_s, to_s]`; `None` when there are none.
    pub fn between(&self, from_s: f64, to_s: f64) -> Option<Samples<'a>> {
        let start = self.time_s.partition_point(|&t| t < from_s);
        let end = self.time_s.partition_point(|&t| t <= to_s);
        (start < end).then(|| Samples { time_s: &self.time_s[start..end], value: &self.value[start..end] })
    }

    /// Median time step in seconds (0 for a single reading): the cadence, whatever gaps there are. Of a long channel
    /// some thousand steps, evenly spread, are looked at.
    pub fn cadence_s(&self) -> f64 {
        const STEPS: usize = 2000;
        let stride = (self.time_s.len() / STEPS).max(1);
        let mut steps: Vec<f64> = self.time_s.windows(2).step_by(stride).map(|pair| pair[1] - pair[0]).collect();
        if steps.is_empty() {
            return 0.0;
        }
        let middle = steps.len() / 2;
        *steps.select_nth_unstable_by(middle, f64::total_cmp).1
    }

    /// Arithmetic mean of the readings.
    pub fn mean(&self) -> f64 {
        self.value.iter().sum::<f64>() / self.value.len() as f64
    }
}

/// Why two slices are not a channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SamplesError {
    /// Times and values have different lengths.
    LengthsDiffer {
        /// Number of times.
        times: usize,
        /// Number of values.
        values: usize,
    },
    /// No reading at all.
    Empty,
    /// A time or a value is NaN or infinite.
    NotFinite {
        /// Index of the first such reading, from 0.
        index: usize,
    },
    /// A time is not later than the one before it.
    TimeNotIncreasing {
        /// Index of the offending reading, from 0.
        index: usize,
        /// Time of the reading before it in seconds.
        before_s: f64,
        /// Its own time in seconds.
        here_s: f64,
    },
}

impl fmt::Display for SamplesError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LengthsDiffer { times, values } => write!(f, "{times} times but {values} values"),
            Self::Empty => write!(f, "no readings"),
            Self::NotFinite { index } => write!(f, "reading {index} is not a finite number"),
            Self::TimeNotIncreasing { index, before_s, here_s } => {
                write!(f, "time does not increase at reading {index}: {here_s} s after {before_s} s")
            }
        }
    }
}

impl std::error::Error for SamplesError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_channel_with_unequal_lengths_is_refused() {
        assert_eq!(Samples::new(&[0.0, 1.0], &[1.0]), Err(SamplesError::LengthsDiffer { times: 2, values: 1 }));
    }

    #[test]
    fn time_that_stands_still_is_refused() {
        assert!(matches!(
            Samples::new(&[0.0, 0.0], &[1.0, 2.0]),
            Err(SamplesError::TimeNotIncreasing { index: 1, .. })
        ));
    }

    #[test]
    fn a_value_that_is_not_a_number_is_refused() {
        assert_eq!(Samples::new(&[0.0, 1.0], &[1.0, f64::NAN]), Err(SamplesError::NotFinite { index: 1 }));
    }

    #[test]
    fn a_part_in_time_is_closed_at_both_ends() {
        let samples = Samples::new(&[0.0, 1.0, 2.0, 3.0], &[5.0, 6.0, 7.0, 8.0]).unwrap();
        assert_eq!(samples.between(1.0, 2.0).unwrap().value(), &[6.0, 7.0]);
        assert!(samples.between(3.5, 9.0).is_none());
    }
}
