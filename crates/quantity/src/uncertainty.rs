//! Uncertainty as instruments and certificates state it.

use std::fmt;

use crate::number::split_number;
use crate::quantity::QuantityError;
use crate::unit::{Dimension, Unit};

/// A sum of independent uncertainty terms: `"0.5 % of reading (limits) + 2 Pa"`.
///
/// Each term counts as a standard uncertainty (k = 1) unless it says `(k=2)`,
/// `(limits)` (a rectangular distribution between the limits, JCGM 100:2008, 4.3.7)
/// or `(95 %)` (a normal distribution, JCGM 100:2008, 4.3.4).
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertainty {
    terms: Vec<UncertaintyTerm>,
    text: String,
}

/// One term, as a standard uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub enum UncertaintyTerm {
    /// Relative to the value or reading; 0.01 is one per cent.
    Relative(f64),
    /// Absolute, in SI units of the stated dimension.
    Absolute {
        /// Standard uncertainty in SI units (a difference: no offset of °C).
        si: f64,
        /// What its unit measures.
        dimension: Dimension,
    },
}

/// A text that is not an uncertainty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum UncertaintyError {
    /// A term without number or with an unknown unit.
    Term {
        /// The term as it was found.
        term: String,
        /// What is wrong with it.
        cause: QuantityError,
    },
    /// A remark in parentheses that is not known.
    Remark {
        /// The remark as it was found.
        remark: String,
    },
    /// A negative term.
    Negative {
        /// The term as it was found.
        term: String,
    },
    /// The term measures something else than the value it belongs to.
    WrongDimension {
        /// The whole text.
        text: String,
        /// What the term measures.
        found: Dimension,
        /// What the value is.
        expected: Dimension,
    },
}

impl fmt::Display for UncertaintyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Term { term, cause } => write!(f, "uncertainty \"{term}\": {cause}"),
            Self::Remark { remark } => {
                write!(
                    f,
                    "unknown remark \"({remark})\" in an uncertainty; known are (k=1), (k=2), (limits) and (95 %)"
                )
            }
            Self::Negative { term } => write!(f, "uncertainty \"{term}\" is negative"),
            Self::WrongDimension { text, found, expected } => write!(
                f,
                "uncertainty \"{text}\" is a {}, but belongs to a {} (write it in {} or in %)",
                found.name(),
                expected.name(),
                expected.example()
            ),
        }
    }
}

impl std::error::Error for UncertaintyError {}

impl Uncertainty {
    /// No uncertainty.
    #[must_use]
    pub fn zero() -> Self {
        Self { terms: Vec::new(), text: "0".to_owned() }
    }

    /// Reads a sum of independent terms, each an amount or a share of the reading, with what it stands for behind it:
    /// nothing for a standard uncertainty, else `(k=2)`, `(95 %)` or `(limits)`.
    ///
    /// ```
    /// use tightfit_quantity::{Dimension, Uncertainty};
    ///
    /// let gauge = Uncertainty::parse("0.5 % of reading (limits) + 2 Pa (k=2)")?;
    /// // At 1000 Pa: 5 Pa/√3 and 1 Pa.
    /// assert!((gauge.standard(1000.0, Dimension::Pressure)? - (25.0_f64 / 3.0 + 1.0).sqrt()).abs() < 1e-12);
    /// # Ok::<(), tightfit_quantity::UncertaintyError>(())
    /// ```
    ///
    /// # Errors
    /// See [`UncertaintyError`].
    pub fn parse(text: &str) -> Result<Self, UncertaintyError> {
        let terms = split_terms(text).map(parse_term).collect::<Result<_, _>>()?;
        Ok(Self { terms, text: text.trim().to_owned() })
    }

    /// The terms as standard uncertainties.
    #[must_use]
    pub fn terms(&self) -> &[UncertaintyTerm] {
        &self.terms
    }

    /// The text as written.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The part relative to the reading as a standard uncertainty, 1.
    #[must_use]
    pub fn relative(&self) -> f64 {
        self.terms.iter().fold(0.0, |sum: f64, term| match term {
            UncertaintyTerm::Relative(part) => sum.hypot(*part),
            UncertaintyTerm::Absolute { .. } => sum,
        })
    }

    /// The part that does not depend on the reading as a standard uncertainty, SI.
    ///
    /// # Errors
    /// [`UncertaintyError::WrongDimension`] if a term measures something else than `expected`.
    pub fn absolute(&self, expected: Dimension) -> Result<f64, UncertaintyError> {
        self.terms.iter().try_fold(0.0, |sum: f64, term| match term {
            UncertaintyTerm::Relative(_) => Ok(sum),
            UncertaintyTerm::Absolute { si, dimension } if *dimension == expected => Ok(sum.hypot(*si)),
            UncertaintyTerm::Absolute { dimension, .. } => {
                Err(UncertaintyError::WrongDimension { text: self.text.clone(), found: *dimension, expected })
            }
        })
    }

    /// The standard uncertainty of a value, both in SI units.
    ///
    /// # Errors
    /// [`UncertaintyError::WrongDimension`].
    pub fn standard(&self, value_si: f64, dimension: Dimension) -> Result<f64, UncertaintyError> {
        Ok(self.absolute(dimension)?.hypot(self.relative() * value_si))
    }
}

impl std::str::FromStr for Uncertainty {
    type Err = UncertaintyError;

    fn from_str(text: &str) -> Result<Self, UncertaintyError> {
        Self::parse(text)
    }
}

/// Splits at the `+` between terms, not at the one of `1e+3`.
fn split_terms(text: &str) -> impl Iterator<Item = &str> {
    let mut from = 0;
    let bytes = text.as_bytes();
    let mut cuts = Vec::new();
    for (at, byte) in bytes.iter().enumerate() {
        let inside_exponent = at >= 2 && matches!(bytes[at - 1], b'e' | b'E') && bytes[at - 2].is_ascii_digit();
        if *byte == b'+' && at > 0 && !inside_exponent {
            cuts.push(&text[from..at]);
            from = at + 1;
        }
    }
    cuts.push(&text[from..]);
    cuts.into_iter().map(str::trim)
}

fn parse_term(term: &str) -> Result<UncertaintyTerm, UncertaintyError> {
    let error = |cause| UncertaintyError::Term { term: term.to_owned(), cause };
    let bare = term.strip_prefix('±').unwrap_or(term).trim();
    let (body, divisor) = match bare.rsplit_once('(') {
        Some((body, remark)) => match divisor(remark) {
            Some(divisor) => (body.trim(), divisor),
            // "2 ppm(v)" and "2 inH2O(60 °F)" carry parentheses of their own.
            None if Unit::parse(split_number(bare).map_or("", |(_, unit)| unit)).is_ok() => (bare, 1.0),
            None => {
                return Err(UncertaintyError::Remark { remark: remark.trim_end_matches(')').to_owned() });
            }
        },
        None => (bare, 1.0),
    };
    let (value, unit) = split_number(body).ok_or_else(|| error(QuantityError::NoNumber { text: body.to_owned() }))?;
    if value < 0.0 {
        return Err(UncertaintyError::Negative { term: term.to_owned() });
    }
    let unit = ["of reading", "of value", "rdg"].iter().find_map(|tail| unit.strip_suffix(tail)).unwrap_or(unit).trim();
    let standard = value / divisor;
    if unit == "points" || unit == "point" {
        return Ok(UncertaintyTerm::Absolute { si: standard * 1e-2, dimension: Dimension::Ratio });
    }
    let unit = if unit.is_empty() { Unit::one() } else { Unit::parse(unit).map_err(|e| error(e.into()))? };
    Ok(match unit.symbol() {
        "%" => UncertaintyTerm::Relative(standard * 1e-2),
        _ => UncertaintyTerm::Absolute { si: unit.difference_to_si(standard), dimension: unit.dimension() },
    })
}

/// The divisor that turns the stated figure into a standard uncertainty.
fn divisor(remark: &str) -> Option<f64> {
    let remark: String = remark.strip_suffix(')')?.chars().filter(|c| !c.is_whitespace()).collect();
    match remark.to_ascii_lowercase().as_str() {
        "limits" | "rectangular" => Some(3f64.sqrt()),
        "standard" => Some(1.0),
        "95%" => Some(1.959_963_984_540_054),
        other => other.strip_prefix("k=")?.parse().ok().filter(|k: &f64| *k > 0.0),
    }
}
