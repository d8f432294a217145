//! Sensors that stood still in the window, or came to the end of their range.

use tightfit_ingest::{Channel, Kind, Place, Series, Status, Stuck, stuck_runs};
use tightfit_quantity::display_number;

use crate::catalogue::Method;
use crate::data::{ChannelData, RawFile, TestData};
use crate::plan::{Instrument, dimension_of};

use super::Findings;

const CHECK: &str = "stuck sensor";

/// Share of the window from which a sensor that stood still spoils what is estimated from it.
const SUBSTANTIAL: f64 = 0.2;
/// The same for a gauge at the largest value of its record, which may also be a pressure held there before the test.
const SUBSTANTIAL_AT_TOP: f64 = 0.05;
/// A range that ends further above a value than this share of it is not what holds the value there.
const NEAR_RANGE: f64 = 0.02;

/// Runs of one value in the window (s on the data's time axis), each with what it means for the test.
pub(super) fn check(data: &TestData<'_>, window_s: [f64; 2], findings: &mut Findings) {
    let relied_on = relied_on(data);
    for file in &data.files {
        let kinds = [Kind::Pressure, Kind::Temperature, Kind::MoleFraction, Kind::RelativeHumidity];
        for series in file.recording.series.iter().filter(|series| kinds.contains(&series.channel.kind())) {
            let within_s = window_s.map(|time| time + data.origin_s);
            for stuck in stuck_runs(series, Some(within_s)) {
                let share = (stuck.span_s.1 - stuck.span_s.0) / (within_s[1] - within_s[0]);
                let found = Found { data, file, series, stuck, share };
                found.say(relied_on.contains(&series.channel), findings);
            }
        }
    }
}

/// Readings at the end of a range that nobody stated count as above it. What is at least so much is known, no more.
pub(crate) fn bound_at_end_of_range(data: &TestData<'_>, channel: Channel, readings: &mut ChannelData<'_>) {
    for file in &data.files {
        for series in file.recording.series.iter().filter(|series| series.channel == channel) {
            let instrument = instrument(data, series);
            for stuck in stuck_runs(series, None).iter().filter(|stuck| is_end_of_range(stuck, instrument)) {
                readings.status.resize(readings.time_s.len(), Status::Measured);
                let [from_s, to_s] = [stuck.span_s.0, stuck.span_s.1].map(|time| time - data.origin_s);
                for (time, status) in readings.time_s.iter().zip(&mut readings.status) {
                    if (from_s..=to_s).contains(time) {
                        *status = Status::AboveRange;
                    }
                }
            }
        }
    }
}

/// Channels without which the test's results would not be what they are, and which must therefore have moved.
fn relied_on(data: &TestData<'_>) -> Vec<Channel> {
    let logged = |channel: &Channel| {
        let series = data.files.iter().flat_map(|file| &file.recording.series);
        series.into_iter().any(|series| series.channel == *channel && !series.is_empty())
    };
    match data.test().method {
        Method::PressureChange | Method::PressureChangeSeries => {
            let inside = [Channel::GaugePressure, Channel::AbsolutePressure].into_iter().find(logged);
            let beside = [
                Channel::RoomPressure,
                Channel::GasTemperature,
                Channel::WallTemperature,
                Channel::ReferenceVesselPressure,
            ];
            inside.into_iter().chain(beside).collect()
        }
        Method::PpmRise | Method::PpmRiseSeries | Method::Endurance => vec![Channel::Oxygen, Channel::Water],
        Method::VacuumHold => {
            let order = super::super::vacuum_hold::vessel_channels(data.test());
            order.into_iter().find(logged).into_iter().collect()
        }
        _ => Vec::new(),
    }
}

fn instrument<'p>(data: &TestData<'p>, series: &Series) -> Option<&'p Instrument> {
    series.instrument.as_deref().and_then(|name| data.plan().instruments.get(name))
}

/// Whether a value may be the upper end of a range: the largest of the record, and no range is stated that ends higher.
fn is_end_of_range(stuck: &Stuck, instrument: Option<&Instrument>) -> bool {
    let range = instrument.and_then(|instrument| instrument.range.as_ref());
    let top = range.zip(dimension_of(stuck.channel)).and_then(|((_, high), dimension)| high.si_of(dimension).ok());
    stuck.place == Place::Highest && top.is_none_or(|top| top <= stuck.value + NEAR_RANGE * stuck.value.abs())
}

/// A run of one value in a file of the test.
struct Found<'a> {
    data: &'a TestData<'a>,
    file: &'a RawFile,
    series: &'a Series,
    stuck: Stuck,
    /// Its share of the window.
    share: f64,
}

impl Found<'_> {
    fn say(&self, is_relied_on: bool, findings: &mut Findings) {
        let is_analyser = self.series.channel.kind() == Kind::MoleFraction;
        let ends = is_end_of_range(&self.stuck, instrument(self.data, self.series)) && self.has_range_to_end();
        let is_bounded = self.data.test().method == Method::Endurance;
        if ends && is_relied_on && is_bounded {
            let told = format!("{}, the largest of the record: it counts as at least that", self.run());
            findings.say(CHECK, format!("{told}; {}", self.stated_range()));
        } else if ends && is_relied_on && (is_analyser || self.share >= SUBSTANTIAL_AT_TOP) {
            findings.refuse(CHECK, format!("{}, {}", self.run(), self.end_of_range()));
        } else if is_analyser && self.stuck.place == Place::Lowest {
            let floor = "the lowest of the record, as an analyser shows below what it can report";
            findings.say(CHECK, format!("{}, {floor}; the readings were used as they stand", self.run()));
        } else if is_relied_on && self.share >= SUBSTANTIAL {
            let what = "while it moves in most readings elsewhere: the sensor stood still, and what changed meanwhile is \
                        not known; set the window to a part in which it moved, or repeat the test";
            findings.refuse(CHECK, format!("{} ({} of the window), {what}", self.run(), self.percent()));
        } else {
            let told = format!("{} ({} of the window), while it moves elsewhere", self.run(), self.percent());
            let done = if is_relied_on {
                "the readings were used as they stand; if the sensor stood still, set the window beside it"
            } else {
                "no result is judged by it"
            };
            findings.say(CHECK, format!("{told}: {done}"));
        }
    }

    /// A thermometer or a barometer is hardly ever at the end of its range.
    fn has_range_to_end(&self) -> bool {
        let channel = self.series.channel;
        let is_analyser = channel.kind() == Kind::MoleFraction;
        is_analyser || channel.kind() == Kind::Pressure && channel != Channel::RoomPressure
    }

    fn run(&self) -> String {
        let Stuck { span_s, count, .. } = self.stuck;
        let [from, to] = [span_s.0, span_s.1].map(|time| self.data.time_text(time - self.data.origin_s));
        let (file, channel) = (&self.file.name, self.series.channel);
        format!("{file}: {channel} stands at {} in {count} readings in turn from {from} to {to}", self.value())
    }

    fn end_of_range(&self) -> String {
        let from = self.data.time_text(self.stuck.span_s.0 - self.data.origin_s);
        let what = "the largest value of the record, while it moved before: that is the end of the instrument's range, \
                    beyond which the truth may lie anywhere";
        if self.series.channel.kind() == Kind::MoleFraction {
            format!("{what}; {}, or end the window before {from}", self.stated_range())
        } else {
            format!("{what}; set the window to a part without it, or take a gauge of a larger range")
        }
    }

    fn stated_range(&self) -> String {
        let value = self.value();
        let zero = value.rsplit_once(' ').map_or_else(|| "0".to_owned(), |(_, unit)| format!("0 {unit}"));
        let name = self.series.instrument.as_deref().unwrap_or("NAME");
        format!(
            "state range = [\"{zero}\", \"{value}\"] in [instruments.{name}], so that such readings count as bounds"
        )
    }

    fn value(&self) -> String {
        let value = self.stuck.value;
        match self.series.channel.kind() {
            Kind::MoleFraction => format!("{} ppm", shortest(1e6 * value)),
            Kind::Pressure => format!("{} Pa", shortest(value)),
            Kind::Temperature => format!("{} °C", shortest(value - 273.15)),
            _ => shortest(value),
        }
    }

    fn percent(&self) -> String {
        format!("{} %", display_number(100.0 * self.share.min(1.0), 2))
    }
}

/// A number as displays show it: as many digits as it needs, seven at most.
fn shortest(value: f64) -> String {
    const DIGITS: i32 = 7;
    let digits = (1..DIGITS).find(|digits| {
        let written: f64 = display_number(value, *digits as usize).parse().unwrap_or(f64::NAN);
        (written - value).abs() <= 1e-9 * value.abs()
    });
    display_number(value, digits.unwrap_or(DIGITS) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_written_as_displays_show_them() {
        assert_eq!(shortest(1e6 * 1.63e-6), "1.63");
        assert_eq!(shortest(200.0), "200");
        assert_eq!(shortest(294.31 - 273.15), "21.16");
        assert_eq!(shortest(-0.1), "-0.1");
    }
}
