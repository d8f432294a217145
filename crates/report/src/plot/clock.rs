//! Times as people read them: on the clock of the plan's time zone, or since the start of the record.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};

use super::ticks;

/// How seconds on a record's time axis are written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Clock {
    /// Time that counts as zero, s since 1970; `None` for logs without dates.
    origin_s: Option<f64>,
    zone: TimeZone,
    zone_name: String,
}

/// Steps that read well on a clock, s.
const ROUND_S: [f64; 18] = [
    1.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0, 21_600.0, 43_200.0,
    86_400.0, 172_800.0, 604_800.0,
];

/// A labelled moment on the time axis.
pub(crate) type Tick = (f64, String);

impl Clock {
    /// `zone` is the plan's time zone, a name or an offset such as `+01:00`; without it times are UTC.
    pub(crate) fn new(origin_s: Option<f64>, zone: Option<&str>) -> Self {
        let known = zone.and_then(|name| Some((time_zone(name)?, name.to_owned())));
        let (zone, zone_name) = known.unwrap_or_else(|| (TimeZone::UTC, "UTC".to_owned()));
        Self { origin_s, zone, zone_name }
    }

    /// `4 May 2026, 11:02:30`, or `1.25 h` after the start.
    pub(crate) fn moment(&self, time_s: f64) -> String {
        match self.civil(time_s) {
            Some(civil) => civil.strftime("%-d %B %Y, %H:%M:%S").to_string() + &self.pass(civil, time_s),
            None => format!("{} after the start", since_start(time_s)),
        }
    }

    /// `11:02:30` with the day only where `day_of` lies on another, or `1.25 h`.
    pub(crate) fn moment_beside(&self, time_s: f64, day_of: f64) -> String {
        match (self.civil(time_s), self.civil(day_of)) {
            (Some(civil), Some(other)) if civil.date() == other.date() => {
                civil.strftime("%H:%M:%S").to_string() + &self.pass(civil, time_s)
            }
            _ => self.moment(time_s),
        }
    }

    /// A stretch of time with the word between its ends, and the clock that they are read on.
    pub(crate) fn span(&self, [from_s, to_s]: [f64; 2], word: &str) -> String {
        let zone = self.zone_name().map_or(String::new(), |zone| format!(" ({zone})"));
        format!("{} {word} {}{zone}", self.moment(from_s), self.moment_beside(to_s, from_s))
    }

    /// A sentence of a result, whose times are written for scripts (`2026-05-04T09:00:00Z`), with its times as people
    /// read them. Times inside quotes or names stay: they may be cells of a file.
    pub(crate) fn retold(&self, text: &str) -> String {
        let since_1970 = Self { origin_s: Some(0.0), ..self.clone() };
        let words: Vec<&str> = text.split(' ').collect();
        let mut told = Vec::with_capacity(words.len());
        let mut rest = words.as_slice();
        while let [word, further @ ..] = rest {
            rest = further;
            let Some((from_s, after)) = written_time(word) else {
                told.push((*word).to_owned());
                continue;
            };
            let end = match further {
                [between @ ("to" | "and"), last, behind @ ..] if after.is_empty() => {
                    written_time(last).map(|(to_s, after)| (to_s, *between, after, behind))
                }
                _ => None,
            };
            told.push(match end {
                Some((to_s, between, after, behind)) => {
                    rest = behind;
                    since_1970.span([from_s, to_s], between) + after
                }
                None => format!("{} ({}){after}", since_1970.moment(from_s), self.zone_name),
            });
        }
        told.join(" ")
    }

    /// `4 May 2026`; `None` for logs without dates.
    pub(crate) fn day(&self, time_s: f64) -> Option<String> {
        Some(self.civil(time_s)?.strftime("%-d %B %Y").to_string())
    }

    /// The clock that the times are read on.
    pub(crate) fn zone_name(&self) -> Option<&str> {
        self.origin_s.map(|_| self.zone_name.as_str())
    }

    /// Title of the time axis for the span.
    pub(crate) fn axis_title(&self, [from_s, to_s]: [f64; 2]) -> String {
        let Some(first) = self.day(from_s) else {
            return format!("time after the start ({})", elapsed_unit(to_s - from_s).0);
        };
        match self.day(to_s) {
            Some(last) if last != first => format!("{}, {first} to {last}", self.zone_name),
            _ => format!("{}, {first}", self.zone_name),
        }
    }

    /// Ticks at round clock times, about `wanted` of them.
    pub(crate) fn ticks(&self, span: [f64; 2], wanted: usize) -> Vec<Tick> {
        let length = span[1] - span[0];
        let Some(offset) = self.offset_s(span[0]) else {
            let (_, seconds) = elapsed_unit(length);
            let axis = ticks::linear([span[0] / seconds, span[1] / seconds], wanted);
            return axis.values.iter().map(|value| (value * seconds, axis.label(*value))).collect();
        };
        let step = ROUND_S.into_iter().find(|step| length / step <= wanted as f64);
        let step = step.unwrap_or_else(|| (length / wanted as f64 / 604_800.0).ceil() * 604_800.0);
        let first = ((span[0] + offset) / step).ceil() * step - offset;
        let count = ((span[1] - first) / step).floor().max(0.0) as usize;
        (0..=count).map(|index| first + index as f64 * step).filter_map(|time| self.tick(time, step)).collect()
    }

    fn tick(&self, time_s: f64, step_s: f64) -> Option<Tick> {
        let civil = self.civil(time_s)?;
        let midnight = civil.hour() == 0 && civil.minute() == 0 && civil.second() == 0;
        let format = if midnight || step_s >= 86_400.0 {
            "%-d %b"
        } else if step_s < 60.0 {
            "%H:%M:%S"
        } else {
            "%H:%M"
        };
        Some((time_s, civil.strftime(format).to_string()))
    }

    /// ` +02:00` in the hour that comes twice in autumn, where the clock alone does not tell the moment.
    fn pass(&self, civil: DateTime, time_s: f64) -> String {
        match (self.zone.to_ambiguous_timestamp(civil).offset(), self.timestamp(time_s)) {
            (AmbiguousOffset::Fold { .. }, Some(timestamp)) => {
                let offset_min = self.zone.to_offset(timestamp).seconds() / 60;
                let sign = if offset_min < 0 { '-' } else { '+' };
                format!(" {sign}{:02}:{:02}", offset_min.abs() / 60, offset_min.abs() % 60)
            }
            _ => String::new(),
        }
    }

    /// Seconds to add to a time so that whole days begin at local midnight.
    fn offset_s(&self, time_s: f64) -> Option<f64> {
        let origin_s = self.origin_s?;
        let offset = self.zone.to_offset(self.timestamp(time_s)?);
        Some(origin_s.rem_euclid(604_800.0) + f64::from(offset.seconds()))
    }

    fn civil(&self, time_s: f64) -> Option<DateTime> {
        Some(self.zone.to_datetime(self.timestamp(time_s)?))
    }

    fn timestamp(&self, time_s: f64) -> Option<Timestamp> {
        Timestamp::from_millisecond(((self.origin_s? + time_s) * 1e3).round() as i64).ok()
    }
}

fn time_zone(name: &str) -> Option<TimeZone> {
    TimeZone::get(name).ok().or_else(|| {
        let offset = jiff::fmt::strtime::parse("%:z", name).ok()?.offset()?;
        Some(TimeZone::fixed(offset))
    })
}

/// A word that is a time as results write it: s since 1970, and the punctuation behind it.
fn written_time(word: &str) -> Option<(f64, &str)> {
    let end = word.find('Z')? + 1;
    let (time, after) = word.split_at(end);
    let is_punctuation = after.chars().all(|c| matches!(c, ',' | ';' | ':' | '.' | '?'));
    let timestamp: Timestamp = time.parse().ok().filter(|_| is_punctuation)?;
    Some((timestamp.as_millisecond() as f64 * 1e-3, after))
}

/// Unit for a span and its seconds.
fn elapsed_unit(length_s: f64) -> (&'static str, f64) {
    match length_s {
        s if s < 600.0 => ("s", 1.0),
        s if s < 7200.0 => ("min", 60.0),
        _ => ("h", 3600.0),
    }
}

fn since_start(time_s: f64) -> String {
    let (unit, seconds) = elapsed_unit(time_s.abs());
    let text = format!("{:.2}", time_s / seconds);
    format!("{} {unit}", text.trim_end_matches('0').trim_end_matches('.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-05-04T07:00:00Z.
    const MORNING_S: f64 = 1_777_878_000.0;

    #[test]
    fn local_times_follow_the_zone_of_the_plan() {
        let clock = Clock::new(Some(MORNING_S), Some("Europe/Vienna"));
        assert_eq!(clock.moment(0.0), "4 May 2026, 09:00:00");
        assert_eq!(clock.moment_beside(90.0, 0.0), "09:01:30");
        assert_eq!(Clock::new(Some(MORNING_S), Some("-03:00")).moment(0.0), "4 May 2026, 04:00:00");
        assert_eq!(Clock::new(Some(MORNING_S), None).moment(0.0), "4 May 2026, 07:00:00");
    }

    #[test]
    fn sentences_for_scripts_are_retold_on_the_local_clock_and_cells_of_files_are_not() {
        let clock = Clock::new(None, Some("Europe/Vienna"));
        let window = "2026-05-04T07:00:00Z to 2026-05-04T08:30:00.500Z, the whole record";
        assert_eq!(clock.retold(window), "4 May 2026, 09:00:00 to 10:30:00 (Europe/Vienna), the whole record");
        assert_eq!(
            clock.retold("from 2026-05-04T22:30:00Z on; \"2026-05-04T22:30:00Z\", log-2026-05-04T22:30:00Z.csv, 600 s"),
            "from 5 May 2026, 00:30:00 (Europe/Vienna) on; \"2026-05-04T22:30:00Z\", log-2026-05-04T22:30:00Z.csv, 600 s"
        );
        assert_eq!(Clock::new(None, None).retold("2026-05-04T07:00:00Z: a gap"), "4 May 2026, 07:00:00 (UTC): a gap");
    }

    #[test]
    fn in_the_hour_that_comes_twice_times_carry_their_offset() {
        let clock = Clock::new(None, Some("Europe/Vienna"));
        assert_eq!(
            clock.retold("2026-10-24T23:00:00Z to 2026-10-25T01:59:30Z"),
            "25 October 2026, 01:00:00 to 02:59:30 +01:00 (Europe/Vienna)"
        );
    }

    #[test]
    fn ticks_stand_at_round_local_times_and_midnight_carries_the_day() {
        let clock = Clock::new(Some(MORNING_S), Some("Europe/Vienna"));
        let labels: Vec<String> = clock.ticks([100.0, 7300.0], 6).into_iter().map(|tick| tick.1).collect();
        assert_eq!(labels, ["09:30", "10:00", "10:30", "11:00"]);
        let day: Vec<String> = clock.ticks([0.0, 86_400.0], 6).into_iter().map(|tick| tick.1).collect();
        assert_eq!(day, ["12:00", "18:00", "5 May", "06:00"]);
    }

    #[test]
    fn undated_logs_count_from_their_start() {
        let clock = Clock::new(None, Some("Europe/Vienna"));
        assert_eq!(clock.moment(5400.0), "90 min after the start");
        assert_eq!(clock.day(0.0), None);
        let ticks = clock.ticks([0.0, 14_400.0], 5);
        assert_eq!(ticks[1], (3600.0, "1".to_owned()));
        assert_eq!(clock.axis_title([0.0, 14_400.0]), "time after the start (h)");
    }
}
