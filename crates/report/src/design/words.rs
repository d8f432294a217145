//! Durations, pressures, shares and the sentence.

use tightfit_quantity::display_number;

use super::bench::Planned;
use super::result::Expected;

/// `2 h 10 min`, `45 min`, `10 s`, `3 d 4 h`.
pub(crate) fn duration(seconds: f64) -> String {
    if seconds < 120.0 {
        return format!("{seconds} s");
    }
    let minutes = (seconds / 60.0).round() as u64;
    let parts = [(minutes / 1440, "d"), (minutes / 60 % 24, "h"), (minutes % 60, "min")];
    let named = parts.into_iter().filter(|(count, _)| *count > 0).map(|(count, unit)| format!("{count} {unit}"));
    named.take(2).collect::<Vec<_>>().join(" ")
}

pub(crate) fn pressure(pascal: f64) -> String {
    format!("{pascal:.0} Pa")
}

/// `half the limit`, `30 % of the limit`.
fn share(share: f64) -> String {
    if (share - 0.5).abs() < 1e-9 {
        "half the limit".to_owned()
    } else {
        format!("{} % of the limit", (100.0 * share).round())
    }
}

/// `twice the limit`, `3.3 times the limit`.
fn times(share: f64) -> String {
    if (share - 0.5).abs() < 1e-9 {
        "twice the limit".to_owned()
    } else {
        format!("{} times the limit", display_number(1.0 / share, 2))
    }
}

/// Number of tests in a hundred.
fn in_hundred(probability: f64) -> String {
    match (100.0 * probability).round() {
        100.0.. => "practically all".to_owned(),
        count => format!("{count:.0} of 100"),
    }
}

/// The design in one sentence.
pub(super) fn sentence(planned: &Planned<'_>, difference_pa: f64, duration_s: f64, expected: &Expected) -> String {
    let tight_share = planned.demand.tight_share;
    format!(
        "Run {} at {}: a tight enclosure of {} then passes in {} tests; at the limit {} pass, and of {} {} fail.",
        duration(duration_s),
        pressure(difference_pa),
        share(tight_share),
        in_hundred(expected.passes_when_tight),
        in_hundred(expected.passes_at_the_limit),
        times(tight_share),
        in_hundred(expected.fails_when_leaky),
    )
}

/// The same where nothing decides.
pub(super) fn no_design(planned: &Planned<'_>, difference_pa: f64, longest: Option<&Expected>) -> String {
    let limit_s = duration(planned.demand.longest_s);
    let Some(expected) = longest else {
        return format!("No record of up to {limit_s} could be evaluated: read more often, or allow a longer test.");
    };
    let largest = expected.budget.first().map_or("the readings", |line| line.source.as_str());
    let held_back = if difference_pa.abs() < planned.set_up.reference_pressure_pa.abs() {
        " Farther from the room's pressure, room and weather might carry it beyond the rated pressure meanwhile: hold it \
         for less long, or with the room steadier."
    } else {
        ""
    };
    format!(
        "No test of up to {limit_s} decides with these risks: after that time at {} a tight enclosure of {} passes in {} \
         tests only. The largest contribution to the uncertainty is {largest}.{held_back}",
        pressure(difference_pa),
        share(planned.demand.tight_share),
        in_hundred(expected.passes_when_tight),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_as_people_say_them() {
        for (seconds, words) in
            [(10.0, "10 s"), (2700.0, "45 min"), (7800.0, "2 h 10 min"), (86_400.0, "1 d"), (270_000.0, "3 d 3 h")]
        {
            assert_eq!(duration(seconds), words);
        }
    }
}
