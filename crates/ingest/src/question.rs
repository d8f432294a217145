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
    /// Plan text that answers it in one line: section, key and remarks, as a sentence can hold them.
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

/// Longest line of an answer as it stands in a plan, where it can be broken.
const WIDTH: usize = 66;

impl Question {
    /// The answer as it stands in a plan: the section on a line of its own, the key below it, then what else to know, as
    /// comments.
    pub fn plan_lines(&self) -> Vec<String> {
        let mut parts = self.answer.split("   # ");
        let answer = parts.next().unwrap_or_default();
        let section = answer.find("] ").filter(|_| answer.starts_with('['));
        let mut lines = match section {
            Some(end) => vec![answer[..=end].to_owned(), answer[end + 2..].to_owned()],
            None => vec![answer.to_owned()],
        };
        for remark in parts {
            let mut line = "#".to_owned();
            for word in remark.split_whitespace() {
                if line.chars().count() + 1 + word.chars().count() > WIDTH {
                    lines.push(std::mem::replace(&mut line, "#".to_owned()));
                }
                line = format!("{line} {word}");
            }
            lines.push(line);
        }
        lines
    }

    /// The channel that the question is about, where it is about one.
    pub fn channel(&self) -> Option<Channel> {
        match self.topic {
            Topic::Channel(channel) | Topic::Unit(channel) => Some(channel),
            Topic::Time | Topic::TimeZone | Topic::Numbers | Topic::Layout => None,
        }
    }

    /// Whether the question must be answered before `channel` can be used.
    pub fn concerns(&self, channel: Channel) -> bool {
        match self.topic {
            Topic::Time | Topic::TimeZone | Topic::Numbers | Topic::Layout => true,
            Topic::Channel(asked) | Topic::Unit(asked) => asked == channel,
        }
    }
}
