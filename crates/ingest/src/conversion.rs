//! A table from signal to quantity: what a gauge with a voltage output means, as its papers state it.

use std::fmt;

use tightfit_quantity::Unit;

/// How values between two pairs of a table are found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Interpolation {
    /// On the straight line between the pairs.
    Linear,
    /// On the straight line between the pairs, the quantity taken as its logarithm.
    Logarithmic,
}

/// A table from a signal (V) to a quantity (SI), both rising or falling throughout.
#[derive(Debug, Clone, PartialEq)]
pub struct Conversion {
    /// Signals, V, rising.
    signal: Vec<f64>,
    /// The quantity at each, or its logarithm.
    value: Vec<f64>,
    interpolation: Interpolation,
    unit: Unit,
    unit_text: String,
}

/// Why pairs make no table.
#[derive(Debug, Clone, PartialEq)]
pub enum ConversionError {
    /// Fewer than two pairs.
    TooFewPairs,
    /// A number that is not finite.
    NotFinite,
    /// Two pairs have the same signal.
    SameSignal {
        /// The signal, V.
        volts: f64,
    },
    /// The quantity turns: two signals mean the same.
    Turns {
        /// Signal at which it turns, V.
        volts: f64,
    },
    /// Logarithms need quantities above zero.
    NotPositive {
        /// The signal, V.
        volts: f64,
    },
}

impl fmt::Display for ConversionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewPairs => f.write_str("a table needs at least two pairs"),
            Self::NotFinite => f.write_str("a pair holds a number that is not finite"),
            Self::SameSignal { volts } => write!(f, "two pairs stand at {volts} V"),
            Self::Turns { volts } => {
                write!(f, "at {volts} V the values turn: they must rise throughout or fall throughout")
            }
            Self::NotPositive { volts } => write!(f, "logarithmic needs values above zero, found none at {volts} V"),
        }
    }
}

impl std::error::Error for ConversionError {}

impl Conversion {
    /// A table of pairs (signal in V, quantity in SI), in any order; `unit` is what the quantities were written in.
    ///
    /// # Errors
    /// [`ConversionError`] where the pairs do not tell a value for every signal between the first and the last.
    pub fn new(
        mut pairs: Vec<[f64; 2]>,
        interpolation: Interpolation,
        unit: Unit,
        unit_text: String,
    ) -> Result<Self, ConversionError> {
        if pairs.len() < 2 {
            return Err(ConversionError::TooFewPairs);
        }
        if pairs.iter().flatten().any(|number| !number.is_finite()) {
            return Err(ConversionError::NotFinite);
        }
        pairs.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let steps = || pairs.windows(2).map(|pair| [pair[1][0] - pair[0][0], pair[1][1] - pair[0][1], pair[1][0]]);
        if let Some([_, _, volts]) = steps().find(|[step, ..]| *step <= 0.0) {
            return Err(ConversionError::SameSignal { volts });
        }
        let rises = pairs[1][1] > pairs[0][1];
        if let Some([_, _, volts]) = steps().find(|[_, step, _]| if rises { *step <= 0.0 } else { *step >= 0.0 }) {
            return Err(ConversionError::Turns { volts });
        }
        if interpolation == Interpolation::Logarithmic
            && let Some(pair) = pairs.iter().find(|pair| pair[1] <= 0.0)
        {
            return Err(ConversionError::NotPositive { volts: pair[0] });
        }
        let value = pairs.iter().map(|[_, value]| match interpolation {
            Interpolation::Linear => *value,
            Interpolation::Logarithmic => value.ln(),
        });
        let value = value.collect();
        Ok(Self { signal: pairs.iter().map(|pair| pair[0]).collect(), value, interpolation, unit, unit_text })
    }

    /// The quantity (SI) at a signal (V); `None` outside the table, which nothing vouches for.
    #[must_use]
    pub fn at(&self, volts: f64) -> Option<f64> {
        let last = self.signal.len() - 1;
        if !(self.signal[0]..=self.signal[last]).contains(&volts) {
            return None;
        }
        let upper = self.signal.partition_point(|signal| *signal < volts).clamp(1, last);
        let [low, high] = [upper - 1, upper];
        let share = (volts - self.signal[low]) / (self.signal[high] - self.signal[low]);
        let value = self.value[low] + share * (self.value[high] - self.value[low]);
        Some(match self.interpolation {
            Interpolation::Linear => value,
            Interpolation::Logarithmic => value.exp(),
        })
    }

    /// The unit that the quantities were written in.
    #[must_use]
    pub fn unit(&self) -> &Unit {
        &self.unit
    }

    /// That unit as written.
    #[must_use]
    pub fn unit_text(&self) -> &str {
        &self.unit_text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(pairs: &[[f64; 2]], interpolation: Interpolation) -> Result<Conversion, ConversionError> {
        Conversion::new(pairs.to_vec(), interpolation, Unit::one(), "Pa".into())
    }

    #[test]
    fn pairs_come_out_as_they_went_in_and_between_them_lies_a_line() {
        let pairs = [[9.0, 1e5], [1.0, 0.1], [5.0, 100.0]];
        for interpolation in [Interpolation::Linear, Interpolation::Logarithmic] {
            let table = table(&pairs, interpolation).unwrap();
            for [volts, pascal] in pairs {
                assert!((table.at(volts).unwrap() / pascal - 1.0).abs() < 1e-12);
            }
        }
        let at_3 = |interpolation| table(&pairs, interpolation).unwrap().at(3.0).unwrap();
        assert!((at_3(Interpolation::Linear) - 50.05).abs() < 1e-9);
        assert!((at_3(Interpolation::Logarithmic) - 10.0_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn outside_the_table_there_is_no_value() {
        let table = table(&[[1.0, 10.0], [2.0, 20.0]], Interpolation::Linear).unwrap();
        assert_eq!([0.999, 2.001, f64::NAN].map(|volts| table.at(volts)), [None; 3]);
    }

    #[test]
    fn pairs_that_make_no_table_are_refused() {
        let refused = |pairs: &[[f64; 2]], how| table(pairs, how).unwrap_err();
        assert_eq!(refused(&[[1.0, 1.0]], Interpolation::Linear), ConversionError::TooFewPairs);
        let turns = refused(&[[1.0, 1.0], [2.0, 3.0], [3.0, 2.0]], Interpolation::Linear);
        assert_eq!(turns, ConversionError::Turns { volts: 3.0 });
        let same = refused(&[[1.0, 1.0], [1.0, 3.0]], Interpolation::Linear);
        assert_eq!(same, ConversionError::SameSignal { volts: 1.0 });
        let zero = refused(&[[1.0, 0.0], [2.0, 3.0]], Interpolation::Logarithmic);
        assert_eq!(zero, ConversionError::NotPositive { volts: 1.0 });
    }
}
