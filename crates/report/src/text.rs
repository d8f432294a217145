//! Results and findings as text for a terminal of 80 columns.

mod design;
mod diagnosis;
mod inspection;
mod layout;
mod qualification;

pub use design::design;
pub use diagnosis::diagnosis;
pub use inspection::{inspection, rows_set_aside};
pub(crate) use layout::paragraph;
pub use layout::{Paint, message};
pub use qualification::qualification;
pub(crate) use qualification::{percent, value_text};
