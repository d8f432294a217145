//! A plan to be completed: what the exports hold as text, what they leave open as lines to fill in.

use std::fmt::Write as _;

use jiff::Timestamp;

use crate::channel::Channel;
use crate::question::{Question, Topic};
use crate::recording::{Recording, TimeBase};

/// A commented plan for a first test from what was found in the exports. It is valid TOML once the lines that say
/// `fill in` are completed; what could be read needs no line, but is shown so that it can be corrected.
pub fn draft(recordings: &[Recording]) -> String {
    let mut plan = String::new();
    // Writing to a string cannot fail.
    let _ = write_plan(&mut plan, recordings);
    plan
}

fn write_plan(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    write_head(plan, recordings)?;
    write_instruments(plan, recordings)?;
    write_test(plan, recordings)?;
    write_limit(plan, recordings)
}

fn write_head(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    writeln!(
        plan,
        "# A plan drafted from {}. Complete the lines that say 'fill in', then qualify it.",
        names(recordings)
    )?;
    writeln!(plan, "tightfit = 1\n")?;
    writeln!(plan, "[enclosure]")?;
    writeln!(plan, "id = \"K-12\"                                  # fill in: the name on its plate")?;
    writeln!(
        plan,
        "# volume = {{ value = \"0.92 m3\", uncertainty = \"2 %\" }}   # fill in: gas volume, gloves included"
    )?;
    writeln!(plan, "gas = \"argon\"                                # fill in: or nitrogen, helium, air")?;
    writeln!(
        plan,
        "# rated_pressure = [\"-1500 Pa\", \"1500 Pa\"]   # fill in: the maker's rating; never test beyond it"
    )?;
    writeln!(
        plan,
        "# compliance = \"0 L/Pa\"                    # fill in: so, where rigid covers closed the glove ports"
    )?;
    writeln!(
        plan,
        "# stiffness_check = {{ injected = \"1.00 L\", rise = \"51 Pa\" }}   # or so, from room air pushed in\n"
    )?;
    writeln!(plan, "[room]                                       # used where no channel is logged")?;
    for (channel, line) in [
        (Channel::RoomPressure, "pressure = \"1013 hPa\""),
        (Channel::RoomTemperature, "temperature = \"22 °C\""),
        (Channel::RoomRelativeHumidity, "relative_humidity = \"42 %\""),
    ] {
        let logged = recordings.iter().find(|recording| recording.series(channel).is_some());
        match logged {
            Some(recording) => writeln!(plan, "# {channel} is logged in {}", recording.file)?,
            None => writeln!(plan, "# {line}   # fill in")?,
        }
    }
    let zone_open =
        recordings.iter().any(|recording| recording.questions.iter().any(|question| question.topic == Topic::TimeZone));
    let zone = if zone_open {
        "time_zone = \"UTC\"                            # fill in: the exports are in local time of this zone, e.g. \"Europe/Vienna\""
    } else {
        "# time_zone = \"Europe/Vienna\"                # not needed: no export is in local time"
    };
    writeln!(plan, "{zone}\n")
}

fn names(recordings: &[Recording]) -> String {
    recordings.iter().map(|recording| recording.file.as_str()).collect::<Vec<_>>().join(", ")
}

fn write_instruments(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    let mut channels: Vec<Channel> =
        recordings.iter().flat_map(|recording| recording.series.iter().map(|series| series.channel)).collect();
    channels.sort();
    channels.dedup();
    for channel in channels.iter().filter_map(|channel| instrument(*channel)) {
        let (name, resolution, uncertainty) = channel;
        writeln!(plan, "[instruments.{name}]")?;
        writeln!(
            plan,
            "# resolution = \"{resolution}\"                    # fill in: last digit of the display or export"
        )?;
        writeln!(plan, "# uncertainty = \"{uncertainty}\"   # fill in: from the certificate")?;
        writeln!(plan, "# serial = \"…\"")?;
        writeln!(plan, "# calibrated = 2026-01-31")?;
        writeln!(plan, "# due = 2027-01-31\n")?;
    }
    Ok(())
}

/// Name, resolution and uncertainty to start from.
fn instrument(channel: Channel) -> Option<(&'static str, &'static str, &'static str)> {
    match channel {
        Channel::GaugePressure => Some(("gauge", "1 Pa", "0.5 % of reading (limits) + 2 Pa")),
        Channel::RoomPressure => Some(("barometer", "10 Pa", "30 Pa (k=2)")),
        Channel::GasTemperature => Some(("thermometer", "0.1 K", "0.2 K (k=2)")),
        Channel::Oxygen => Some(("oxygen_analyser", "0.1 ppm", "4 % of reading")),
        Channel::Water => Some(("water_analyser", "0.1 ppm", "5 % of reading")),
        _ => None,
    }
}

fn write_test(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    let has = |channel| recordings.iter().any(|recording: &Recording| recording.series(channel).is_some());
    let method = if has(Channel::GaugePressure) || has(Channel::AbsolutePressure) {
        "pressure-change"
    } else if has(Channel::AntechamberPressure) {
        "antechamber"
    } else if has(Channel::Oxygen) || has(Channel::Water) {
        "ppm-rise"
    } else {
        "pressure-change"
    };
    writeln!(plan, "[[test]]")?;
    writeln!(plan, "id = \"first\"")?;
    writeln!(plan, "method = \"{method}\"                   # by the channels found; see the list of methods")?;
    let files: Vec<String> = recordings.iter().map(|recording| quoted(&recording.file)).collect();
    writeln!(plan, "files = [{}]", files.join(", "))?;
    if method == "pressure-change" {
        writeln!(
            plan,
            "# reference_pressure = \"-1000 Pa\"            # fill in: the difference of pressure the result is stated at"
        )?;
    }
    write_window(plan, recordings)?;
    writeln!(plan, "\n[test.columns]                               # as recognised; correct what is wrong")?;
    for recording in recordings {
        let file = if recordings.len() > 1 { format!(", file = {}", quoted(&recording.file)) } else { String::new() };
        for column in
            recording.columns.iter().filter(|column| column.channel.is_some_and(|channel| channel != Channel::Time))
        {
            let Some(channel) = column.channel else { continue };
            let unit = column
                .unit
                .as_deref()
                .filter(|unit| !unit.is_empty())
                .map(|unit| format!(", unit = {}", quoted(unit)))
                .unwrap_or_default();
            let place = if column.header.is_empty() { column.position.to_string() } else { quoted(&column.header) };
            let instrument =
                instrument(channel).map(|(name, ..)| format!(", instrument = \"{name}\"")).unwrap_or_default();
            writeln!(plan, "{channel} = {{ column = {place}{unit}{instrument}{file} }}")?;
        }
        for question in recording.questions.iter().filter(|question| question.topic != Topic::TimeZone) {
            write_question(plan, &recording.file, question)?;
        }
    }
    writeln!(plan)
}

/// The question as a comment, its answer as a line to uncomment.
fn write_question(plan: &mut String, file: &str, question: &Question) -> std::fmt::Result {
    writeln!(plan, "# question, {}: {}", one_line(file), one_line(&question.text))?;
    writeln!(plan, "#   {}", one_line(&question.answer))
}

fn write_window(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    let Some(recording) = recordings.iter().find(|recording| recording.span_s.is_some()) else { return Ok(()) };
    let Some((first, last)) = recording.span_s else { return Ok(()) };
    match recording.time_base {
        TimeBase::Dated { .. } => {
            let text = |seconds: f64| {
                Timestamp::from_second(seconds.floor() as i64).map(|time| time.to_string()).unwrap_or_default()
            };
            writeln!(
                plan,
                "# window = {{ from = \"{}\", to = \"{}\" }}   # the whole log; without it the window is found",
                text(first),
                text(last)
            )
        }
        TimeBase::Elapsed => writeln!(
            plan,
            "# window = {{ from = \"0 s\", to = \"{} s\" }}   # the whole log; without it the window is found",
            (last - first).round()
        ),
    }
}

fn write_limit(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    if recordings.is_empty() {
        return Ok(());
    }
    writeln!(plan, "# [[limit]]                                  # fill in: the customer's limit, with its source")?;
    writeln!(plan, "# quantity = \"hourly_leak_rate\"")?;
    writeln!(plan, "# max = \"5e-4 1/h\"")?;
    writeln!(plan, "# rule = \"guarded-acceptance\"")?;
    writeln!(plan, "# risk = \"5 %\"")?;
    writeln!(plan, "# source = \"…\"")
}

/// A basic TOML string.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
