//! ppm rise with purification off: how much oxygen and water come in.
//!
//! The entry point is `evaluate(&Record, &Settings) -> Result<PpmRise, PpmRiseError>`. Ingress rates are signed and
//! stated at x = 0 in ppm/h; everything else is SI, mole fractions as pure numbers.

mod error;
mod note;
mod record;
mod result;
mod settings;
mod window;

pub use error::PpmRiseError;
pub use note::Note;
pub use record::{Analyser, MakeUp, PressureDifference, Quantity, ReadingStatus, Record, RoomAir, Supply, Trace};
pub use result::{Diagnostics, ModelWeight, Outgassing, PpmRise, RowUse, Series, Species, SpeciesFit};
pub use settings::{Settings, WindowChoice};
pub use window::{Window, WindowEnd, WindowStart};
