//! Response time of an instrument.

use std::fmt;

use crate::quantity::{Quantity, QuantityError};
use crate::unit::Dimension;

/// First-order response of an instrument: `"t90 20 s"`, `"t63 120 s"`, `"tau 30 s"`.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// Time constant, s.
    pub tau_s: f64,
    /// The text as written.
    pub text: String,
}

/// A text that is not a response time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ResponseError {
    /// The word before the time is not `tau` or `tNN`.
    Form {
        /// The text as it was found.
        text: String,
    },
    /// The time is not a quantity of time.
    Time(QuantityError),
    /// The time is negative.
    Negative {
        /// The text as it was found.
        text: String,
    },
}

impl fmt::Display for ResponseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Form { text } => {
                write!(f, "\"{text}\" is not a response time; write \"t90 20 s\", \"t63 120 s\" or \"tau 30 s\"")
            }
            Self::Time(error) => error.fmt(f),
            Self::Negative { text } => write!(f, "response time \"{text}\" is negative"),
        }
    }
}

impl std::error::Error for ResponseError {}

impl Response {
    /// Reads `tau` or `tNN` (1 to 99) and a time.
    ///
    /// For a first-order response tNN = −τ ln(1 − NN/100); `t63` is τ itself.
    ///
    /// # Errors
    /// See [`ResponseError`].
    pub fn parse(text: &str) -> Result<Self, ResponseError> {
        let form = || ResponseError::Form { text: text.to_owned() };
        let (word, time) = text.trim().split_once([' ', '=']).ok_or_else(form)?;
        let taus = match word.to_ascii_lowercase().as_str() {
            "tau" | "τ" | "t63" => 1.0,
            other => {
                let percent: u8 = other.strip_prefix('t').and_then(|n| n.parse().ok()).ok_or_else(form)?;
                if !(1..=99).contains(&percent) {
                    return Err(form());
                }
                -(-f64::from(percent) / 100.0).ln_1p()
            }
        };
        let time = Quantity::parse(time).and_then(|t| t.si_of(Dimension::Time)).map_err(ResponseError::Time)?;
        if time < 0.0 {
            return Err(ResponseError::Negative { text: text.to_owned() });
        }
        Ok(Self { tau_s: time / taus, text: text.trim().to_owned() })
    }
}

impl std::str::FromStr for Response {
    type Err = ResponseError;

    fn from_str(text: &str) -> Result<Self, ResponseError> {
        Self::parse(text)
    }
}
