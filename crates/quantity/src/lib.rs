//! Units, quantities as people write them, and the gas and moisture data that
//! tightness tests need, each figure with its source.
//!
//! Everything inside the workspace is SI: pascal, kelvin, metre, second, mole.
//! This crate is the one door between those numbers and text such as
//! `"-1000 Pa"`, `"0.05 vol%/h"` or `"0.5 % of reading (limits) + 2 Pa"`.
//!
//! ```
//! use tightfit_quantity::{Dimension, Quantity};
//!
//! let pressure: Quantity = "4 inH2O".parse()?;
//! assert!((pressure.si_of(Dimension::Pressure)? - 996.355_64).abs() < 1e-9);
//!
//! let limit: Quantity = "0.05 vol%/h".parse()?;
//! assert!((limit.si_of(Dimension::PerTime)? * 3600.0 - 5e-4).abs() < 1e-18);
//! # Ok::<(), tightfit_quantity::QuantityError>(())
//! ```

pub mod constant;
pub mod gas;
pub mod moisture;
mod number;
pub mod permeability;
mod quantity;
mod response;
mod uncertainty;
mod unit;

pub use gas::Gas;
pub use number::display_number;
pub use quantity::{Quantity, QuantityError};
pub use response::{Response, ResponseError};
pub use uncertainty::{Uncertainty, UncertaintyError, UncertaintyTerm};
pub use unit::{DewPhase, Dimension, PressureReference, StandardReference, Unit, UnitError};
