//! A number with its unit.

use std::fmt;

use crate::number::{display_number, split_number};
use crate::unit::{Dimension, Unit, UnitError};

/// A number with its unit, as people write it: `"0.92 m3"`, `"-1000 Pa"`, `"22 °C"`.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    value: f64,
    unit: Unit,
    text: String,
}

/// A text that is not the quantity that was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QuantityError {
    /// No number at the start.
    NoNumber {
        /// The text as it was found.
        text: String,
    },
    /// A number with more behind it that belongs to no unit: a second point, a comma.
    BadNumber {
        /// The text as it was found.
        text: String,
    },
    /// The unit is not known.
    Unit(UnitError),
    /// The unit measures something else.
    WrongDimension {
        /// The text as it was found.
        text: String,
        /// What the unit measures.
        found: Dimension,
        /// What was asked for.
        expected: Dimension,
    },
    /// A temperature that there is not.
    BelowAbsoluteZero {
        /// The text as it was found.
        text: String,
    },
    /// The number is too large to be represented.
    NotFinite {
        /// The text as it was found.
        text: String,
    },
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoNumber { text } if text.trim().is_empty() => write!(f, "a quantity is missing"),
            Self::NoNumber { text } => write!(f, "\"{text}\" does not start with a number"),
            Self::BadNumber { text } => {
                write!(f, "\"{text}\" is no number that can be read; write it with one decimal point, no comma")
            }
            Self::Unit(error) => error.fmt(f),
            Self::BelowAbsoluteZero { text } => write!(f, "\"{text}\" is below absolute zero (-273.15 °C)"),
            // A bare number is most often a forgotten unit.
            Self::WrongDimension { text, found: Dimension::Ratio, expected } if text.parse::<f64>().is_ok() => {
                write!(
                    f,
                    "\"{text}\" has no unit, expected a {} (for example in {})",
                    expected.name(),
                    expected.example()
                )
            }
            Self::WrongDimension { text, found, expected } => write!(
                f,
                "\"{text}\" is {}{}, expected a {} (for example in {})",
                if *found == Dimension::Other { "" } else { "a " },
                found.name(),
                expected.name(),
                expected.example()
            ),
            Self::NotFinite { text } => write!(f, "\"{text}\" is not a finite number"),
        }
    }
}

impl std::error::Error for QuantityError {}

impl From<UnitError> for QuantityError {
    fn from(error: UnitError) -> Self {
        Self::Unit(error)
    }
}

impl Quantity {
    /// A quantity of `value` in `unit`.
    #[must_use]
    pub fn new(value: f64, unit: Unit) -> Self {
        let text = format!("{value} {unit}").trim_end().to_owned();
        Self { value, unit, text }
    }

    /// Reads a number and its unit.
    ///
    /// # Errors
    /// No number, an unknown unit, or a number that is not finite. A decimal comma is not
    /// accepted here: in a plan `1,013` could be one or a thousand.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        let (value, unit) = split_number(text).ok_or_else(|| QuantityError::NoNumber { text: text.to_owned() })?;
        if unit.starts_with(['.', ',']) {
            return Err(QuantityError::BadNumber { text: text.to_owned() });
        }
        if !value.is_finite() {
            return Err(QuantityError::NotFinite { text: text.to_owned() });
        }
        let unit = if unit.is_empty() { Unit::one() } else { Unit::parse(unit)? };
        Ok(Self { value, unit, text: text.trim().to_owned() })
    }

    /// The number as written.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// The unit as written.
    #[must_use]
    pub fn unit(&self) -> &Unit {
        &self.unit
    }

    /// The text as written.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The value in SI units.
    #[must_use]
    pub fn si(&self) -> f64 {
        self.unit.to_si(self.value)
    }

    /// The value in SI units if it has the dimension that is needed.
    ///
    /// # Errors
    /// [`QuantityError::WrongDimension`]; [`QuantityError::BelowAbsoluteZero`] of a temperature.
    pub fn si_of(&self, expected: Dimension) -> Result<f64, QuantityError> {
        self.check(expected)?;
        if expected == Dimension::Temperature && self.si() < 0.0 {
            return Err(QuantityError::BelowAbsoluteZero { text: self.text.clone() });
        }
        Ok(self.si())
    }

    /// A difference (resolution, offset, uncertainty) in SI units: `"0.1 °C"` is 0.1 K.
    ///
    /// # Errors
    /// [`QuantityError::WrongDimension`].
    pub fn si_difference_of(&self, expected: Dimension) -> Result<f64, QuantityError> {
        self.check(expected).map(|()| self.unit.difference_to_si(self.value))
    }

    fn check(&self, expected: Dimension) -> Result<(), QuantityError> {
        let found = self.unit.dimension();
        if found == expected {
            return Ok(());
        }
        Err(QuantityError::WrongDimension { text: self.text.clone(), found, expected })
    }

    /// An SI value written in the unit of this quantity, with `digits` significant digits.
    #[must_use]
    pub fn display_si_like(&self, si: f64, digits: usize) -> String {
        let number = display_number(self.unit.from_si(si), digits);
        format!("{number} {}", self.unit).trim_end().to_owned()
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl std::str::FromStr for Quantity {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, QuantityError> {
        Self::parse(text)
    }
}
