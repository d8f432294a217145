//! What the file alone cannot decide. A question is data: a reading goes on where it can, and whoever needs the
//! answer turns the question into an error.

use serde::{Deserialize, Serialize};

use crate::channel::Channel;

/// A question the export poses, with the plan text that answers it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// What it is about.
    pub topic: Topic,
    /// The question, place first.
    pub text: String,
    /// Plan text that answers it, ready to paste (may offer several lines to choose from).
    pub answer: String,
    /// Whether the readings concerned were left out (`true`) or read with the stated assumption (`false`).
    pub blocking: bool,
}

/// What a question is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Topic {
    /// The time base: nothing can be computed before it is answered.
    Time,
    /// The zone of local times.
    TimeZone,
    /// Decimal and thousands marks.
    Numbers,
    /// Which column is a channel.
    Channel(Channel),
    /// The unit of a channel.
    Unit(Channel),
    /// Which sheet, block or layout is meant.
    Layout,
}

impl Question {
    /// Whether the question must be answered before `channel` can be used.
    pub fn concerns(&self, channel: Channel) -> bool {
        match self.topic {
            Topic::Time | Topic::TimeZone | Topic::Numbers | Topic::Layout => true,
            Topic::Channel(asked) | Topic::Unit(asked) => asked == channel,
        }
    }
}
