//! What is known before the readings are looked at.

use super::Quantity;
use crate::WindowChoice;

/// Settings of an evaluation.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// Volume of the enclosure in m³; needed only where make-up flow was logged.
    pub volume_m3: Option<Quantity>,
    /// The part of the record that is evaluated.
    pub window: WindowChoice,
}
