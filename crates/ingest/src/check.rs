//! Values that contradict their unit or their channel: asked, never believed.

use crate::channel::{Channel, Kind};
use crate::draft::quoted;
use crate::question::{Question, Topic};
use crate::recording::Series;

/// Compare the values of a series with what its channel can be.
pub(crate) fn plausibility(series: &Series) -> Option<Question> {
    let (low, median, high) = quantiles(&series.value)?;
    let doubt = match series.channel {
        Channel::GaugePressure => sits_at_the_weather(low, median, high).then_some((
            "a gauge pressure that sits where the weather's pressure is",
            "absolute_pressure",
            None,
        )),
        Channel::RoomPressure => (!(50e3..=115e3).contains(&median)).then_some((
            "no pressure of a room",
            "room_pressure",
            other_pressure_unit(median, series),
        )),
        Channel::AbsolutePressure => (!(40e3..=400e3).contains(&median)).then_some((
            "no absolute pressure of an enclosure",
            "absolute_pressure",
            other_pressure_unit(median, series),
        )),
        _ => match series.channel.kind() {
            Kind::Temperature => temperature_doubt(series.channel, median),
            Kind::MoleFraction => {
                (!(-0.01..=1.0).contains(&median)).then_some(("no fraction of a gas", series.channel.as_str(), None))
            }
            Kind::RelativeHumidity => {
                (!(-0.05..=1.2).contains(&median)).then_some(("no relative humidity", series.channel.as_str(), None))
            }
            _ => None,
        },
    };
    let (what, channel, unit) = doubt?;
    let unit = unit.unwrap_or_else(|| series.unit.clone());
    Some(Question {
        topic: Topic::Unit(series.channel),
        text: format!(
            "{}: column '{}' read as {} lies around {} {}: {what}; is the unit or the channel another?",
            series.channel,
            series.column,
            if series.unit.is_empty() { "plain numbers" } else { &series.unit },
            short(median),
            series.channel.si_unit()
        ),
        answer: format!("[test.columns] {channel} = {{ column = {}, unit = \"{unit}\" }}", quoted(&series.column)),
        blocking: true,
    })
}

fn quantiles(values: &[f64]) -> Option<(f64, f64, f64)> {
    // A few hundred values tell as much about a median as all of them.
    let step = values.len() / 1000 + 1;
    let mut sorted: Vec<f64> = values.iter().step_by(step).copied().collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    Some((sorted[last / 20], sorted[last / 2], sorted[last - last / 20]))
}

/// Within the weather's range and hardly moving.
fn sits_at_the_weather(low: f64, median: f64, high: f64) -> bool {
    (85e3..=110e3).contains(&median) && high - low < 0.06 * median
}

/// Of the units people mix up, one in which the value would be the weather's pressure.
fn other_pressure_unit(median_pa: f64, series: &Series) -> Option<String> {
    let written = crate::unit_text::parse(&series.unit).map(|unit| unit.from_si(median_pa))?;
    ["hPa", "kPa", "Pa", "inHg", "mmHg", "psi", "bar", "cmH2O"]
        .into_iter()
        .find(|unit| crate::unit_text::parse(unit).is_some_and(|unit| (85e3..=108e3).contains(&unit.to_si(written))))
        .map(str::to_owned)
}

fn temperature_doubt(channel: Channel, median_k: f64) -> Option<(&'static str, &'static str, Option<String>)> {
    let (range, what) = match channel {
        Channel::RoomTemperature => (243.15..=328.15, "no temperature of a room"),
        Channel::VesselTemperature => (193.15..=1273.15, "no temperature of a purifier vessel"),
        _ => (223.15..=393.15, "no temperature of an enclosure"),
    };
    (!range.contains(&median_k)).then(|| {
        let celsius = median_k - 273.15;
        let unit = if range.contains(&celsius) { Some("K".to_owned()) } else { None };
        (what, channel.as_str(), unit)
    })
}

fn short(value: f64) -> String {
    if value.abs() >= 1e-3 && value.abs() < 1e7 {
        format!("{value:.5}").trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        format!("{value:.4e}")
    }
}
