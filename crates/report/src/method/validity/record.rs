//! Checks of the records: clocks, gaps, one value throughout.

use tightfit_ingest::Recording;

use crate::advice::duration_text;
use crate::data::{ChannelData, TestData};

use super::{Findings, standing};

/// Clock and gaps of all files of a test, as far as they touch the window (s on the data's time axis), and sensors that
/// stood still in it.
pub(crate) fn recordings(data: &TestData<'_>, window_s: [f64; 2], findings: &mut Findings) {
    if data.files.len() > 1 && !data.dated {
        let names: Vec<&str> = data.files.iter().map(|file| file.name.as_str()).collect();
        findings.say(
            "clock",
            format!(
                "{}: times without dates count from the first row of each file, as if all had begun at one moment; state \
                 clock_offset for the instruments of a file that began at another",
                names.join(", ")
            ),
        );
    }
    for file in &data.files {
        let window = window_s.map(|time| time + data.origin_s);
        clock(&file.name, &file.recording, findings);
        gaps(&file.name, &file.recording, window, findings);
    }
    standing::check(data, window_s, findings);
}

fn clock(file: &str, recording: &Recording, findings: &mut Findings) {
    const CHECK: &str = "clock";
    let restarts = recording.phases.len();
    let back = recording.backward_steps;
    if back > 0 {
        findings.say(CHECK, format!("{file}: the clock steps back {}; the rows were put in time order", times(back)));
    }
    if restarts > 0 {
        let finding = format!(
            "{file}: the clock starts again {}; the pause before is not known, each part is placed one step behind the last",
            times(restarts)
        );
        findings.say(CHECK, finding);
    }
    if back == 0 && restarts == 0 {
        findings.pass(CHECK, format!("{file}: the clock runs forward throughout"));
    }
}

fn times(count: usize) -> String {
    if count == 1 { "once".to_owned() } else { format!("{count} times") }
}

fn gaps(file: &str, recording: &Recording, window: [f64; 2], findings: &mut Findings) {
    const CHECK: &str = "gaps";
    let inside: Vec<f64> =
        recording.gaps_s.iter().map(|gap| overlap(*gap, window)).filter(|length| *length > 0.0).collect();
    let longest = inside.iter().copied().fold(0.0, f64::max);
    match inside.len() {
        0 => findings.pass(CHECK, format!("{file}: no gap in the window")),
        1 => findings.list(CHECK, format!("{file}: one gap of {} in the window", duration_text(longest))),
        count => findings
            .say(CHECK, format!("{file}: {count} gaps in the window, the longest of {}", duration_text(longest))),
    }
}

fn overlap(span: (f64, f64), window: [f64; 2]) -> f64 {
    span.1.min(window[1]) - span.0.max(window[0])
}

/// A restart of the clock inside the window of a method that needs its duration.
pub(crate) fn restarts(data: &TestData<'_>, [from_s, to_s]: [f64; 2], findings: &mut Findings) {
    for file in &data.files {
        let restarts = file.recording.phases.iter().map(|phase| phase.time_s - data.origin_s);
        if restarts.into_iter().any(|time| time > from_s && time <= to_s) {
            findings.refuse(
                "duration",
                format!(
                    "the clock of {} starts again inside the window, so how long the test took is not known; set the window within one part",
                    file.name
                ),
            );
        }
    }
}

/// Whether a channel shows one value throughout the window, which a sensor at work does not.
pub(crate) fn all_alike(channel: &ChannelData<'_>, [from_s, to_s]: [f64; 2]) -> bool {
    const FEWEST: usize = 10;
    let inside = channel.time_s.iter().zip(&channel.value).filter(|(time, _)| (from_s..=to_s).contains(*time));
    let values: Vec<f64> = inside.map(|(_, value)| *value).collect();
    values.len() >= FEWEST && values.iter().all(|value| value.to_bits() == values[0].to_bits())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_lies_in_the_window_counts() {
        assert!(overlap((0.0, 10.0), [5.0, 20.0]) > 4.9);
        assert!(overlap((0.0, 4.0), [5.0, 20.0]) < 0.0);
        assert_eq!((times(1), times(3)), ("once".to_owned(), "3 times".to_owned()));
    }
}
