//! A sign of life for long work, on a terminal only.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// A spinner with the name of what is being worked on.
pub(crate) fn spinner() -> ProgressBar {
    let bar = ProgressBar::new_spinner();
    if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
        bar.set_style(style);
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}
