//! A plan to be completed: what the exports hold as text, what they leave open as lines to fill in.

use std::fmt::Write as _;

use jiff::Timestamp;

use crate::channel::Channel;
use crate::question::{Question, Topic};
use crate::recording::{Recording, Series, TimeBase};

/// A commented plan for a first test from what was found in the exports. It is valid TOML once the lines that say
/// `fill in` are completed; what could be read needs no line, but is shown so that it can be corrected. `time_zone` is the
/// zone that local times were read in, where one was stated.
pub fn draft(recordings: &[Recording], time_zone: Option<&str>) -> String {
    let mut plan = String::new();
    // Writing to a string cannot fail.
    let _ = write_plan(&mut plan, recordings, time_zone);
    plan
}

fn write_plan(plan: &mut String, recordings: &[Recording], time_zone: Option<&str>) -> std::fmt::Result {
    let channels = channels(recordings);
    let found = method(recordings, &channels);
    let method = found.unwrap_or("pressure-change");
    write_head(plan, recordings, method)?;
    write_room(plan, recordings, time_zone)?;
    write_instruments(plan, &channels, recordings.len() > 1)?;
    write_test(plan, recordings, found, &alternatives(found, &channels))?;
    write_limit(plan, recordings, method, &channels)
}

/// The channels that columns were taken for or may be, whether or not a row of them could be used yet.
fn channels(recordings: &[Recording]) -> Vec<Channel> {
    let columns = recordings.iter().flat_map(|recording| &recording.columns);
    let asked = recordings.iter().flat_map(|recording| &recording.questions).filter_map(Question::channel);
    let mut channels: Vec<Channel> = columns.filter_map(|column| column.channel).chain(asked).collect();
    channels.sort();
    channels.dedup();
    channels
}

/// A log of oxygen or water that is longer is one of work, not of a night with the purifier off, s.
const LONGEST_RISE_S: f64 = 3.0 * 86_400.0;

/// A content that ends below this part of its highest has been taken down.
const TAKEN_DOWN: f64 = 1.0 / 3.0;
/// Contents from here on are purged with gas before a purifier may see them, mole fraction.
const NEEDS_PURGING: f64 = 0.01;

/// The method that the channels and the course of the contents speak for; `None` where they tell nothing.
fn method(recordings: &[Recording], channels: &[Channel]) -> Option<&'static str> {
    let has = |channel| channels.contains(&channel);
    let contents = has(Channel::Oxygen) || has(Channel::Water);
    let longest_s = recordings.iter().filter_map(|recording| recording.span_s.map(|(first, last)| last - first));
    if contents && longest_s.fold(0.0, f64::max) > LONGEST_RISE_S {
        Some("operating-log")
    } else if let Some(highest) = recordings.iter().find_map(taken_down_from) {
        Some(if highest > NEEDS_PURGING { "purge-down" } else { "clean-up" })
    } else if [Channel::VesselTemperature, Channel::VesselPressure, Channel::RegenerationFlow].into_iter().any(has) {
        Some("regeneration")
    } else if [Channel::MakeupFlow, Channel::MakeupTotal, Channel::ValveOpen].into_iter().any(has) {
        Some("make-up")
    } else if contents && (recordings.iter().any(rises) || !recordings.iter().any(loses_pressure)) {
        Some("ppm-rise")
    } else if has(Channel::GaugePressure) || has(Channel::AbsolutePressure) {
        Some("pressure-change")
    } else if has(Channel::AntechamberPressure) {
        Some(if recordings.iter().any(stays_evacuated) { "vacuum-hold" } else { "antechamber" })
    } else {
        contents.then_some("ppm-rise")
    }
}

/// The highest content of a log that ends much lower, in means of a fortieth of it; `None` where it does not.
fn taken_down_from(recording: &Recording) -> Option<f64> {
    let content = recording.series(Channel::Oxygen).or_else(|| recording.series(Channel::Water))?;
    let Course { means, noise } = Course::of(content)?;
    let highest = means.iter().copied().fold(0.0, f64::max);
    let last = means.last()?.max(0.0);
    (last < TAKEN_DOWN * highest && highest - last > 10.0 * noise).then_some(highest)
}

/// Whether a content ends much higher than it began.
fn rises(recording: &Recording) -> bool {
    let course = recording.series(Channel::Oxygen).or_else(|| recording.series(Channel::Water)).and_then(Course::of);
    course.is_some_and(|course| {
        let [first, last] = course.ends();
        last > 1.5 * first && last - first > 10.0 * course.noise
    })
}

/// Whether a pressure difference was trapped: it ends nearer to the room's pressure than it began. One that is held stays.
fn loses_pressure(recording: &Recording) -> bool {
    let Some(course) = recording.series(Channel::GaugePressure).and_then(Course::of) else {
        return recording.series(Channel::AbsolutePressure).is_some();
    };
    let [first, last] = course.ends();
    last.abs() < 0.9 * first.abs() && first.abs() - last.abs() > 10.0 * course.noise
}

/// Whether a vessel was pumped once at the most and then stayed evacuated for half of the record.
fn stays_evacuated(recording: &Recording) -> bool {
    /// No room has so little pressure, Pa.
    const VACUUM_PA: f64 = 50e3;
    let Some(pressure) = recording.series(Channel::AntechamberPressure) else { return false };
    let fold = |start, pick: fn(f64, f64) -> f64| pressure.value.iter().copied().fold(start, pick);
    let (lowest, highest) = (fold(f64::INFINITY, f64::min), fold(f64::NEG_INFINITY, f64::max));
    if lowest >= 0.0 && highest < VACUUM_PA {
        return true;
    }
    let level = |share: f64| lowest + share * (highest - lowest);
    let (mut is_up, mut falls) = (true, 0);
    for value in &pressure.value {
        if is_up && *value < level(0.3) {
            falls += 1;
        }
        is_up = *value > level(0.7) || is_up && *value >= level(0.3);
    }
    let low = pressure.value.iter().filter(|value| **value < level(0.3)).count();
    falls == 1 && 2 * low > pressure.len()
}

/// A series in means of a fortieth of it, and how far readings in turn lie apart.
struct Course {
    means: Vec<f64>,
    noise: f64,
}

impl Course {
    /// `None` where there are fewer readings than means.
    fn of(series: &Series) -> Option<Self> {
        let stretch = series.value.len() / 40;
        if stretch == 0 {
            return None;
        }
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        Some(Self {
            means: series.value.chunks_exact(stretch).map(mean).collect(),
            noise: mean(&series.value.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect::<Vec<_>>()),
        })
    }

    fn ends(&self) -> [f64; 2] {
        [self.means[0], self.means[self.means.len() - 1]]
    }
}

/// Other methods that the same kind of log may be for.
fn alternatives(method: Option<&str>, channels: &[Channel]) -> String {
    const OF_CONTENTS: [&str; 6] =
        ["ppm-rise", "clean-up", "clean-up-series", "purge-down", "endurance", "operating-log"];
    let contents = channels.contains(&Channel::Oxygen) || channels.contains(&Channel::Water);
    let others: Vec<&str> = match method {
        None => {
            [&["vacuum-hold", "antechamber", "make-up", "regeneration", "analyser-check"], &OF_CONTENTS[..]].concat()
        }
        Some("antechamber" | "regeneration") => vec!["vacuum-hold"],
        Some("vacuum-hold") => vec!["antechamber"],
        Some("make-up") => vec!["pressure-change", "vacuum-hold"],
        Some("pressure-change") if !contents => vec!["vacuum-hold", "make-up"],
        Some(method) => {
            ["pressure-change"].iter().chain(&OF_CONTENTS).copied().filter(|other| *other != method).collect()
        }
    };
    others.join(", ")
}

fn write_head(plan: &mut String, recordings: &[Recording], method: &str) -> std::fmt::Result {
    let names: Vec<&str> = recordings.iter().map(|recording| recording.file.as_str()).collect();
    writeln!(plan, "# A plan drafted from {}.", one_line(&names.join(", ")))?;
    writeln!(plan, "# Keep it beside its files. Complete what says 'fill in' (take the leading # away), then")?;
    let command = if method == "operating-log" { "diagnose" } else { "qualify" };
    writeln!(plan, "#   tightfit {command} PLAN")?;
    writeln!(plan, "tightfit = 1\n")?;
    writeln!(plan, "[enclosure]")?;
    writeln!(plan, "id = \"unnamed\"                # fill in: the name on its plate")?;
    writeln!(plan, "gas = \"argon\"                 # fill in: or nitrogen, helium, air")?;
    for (key, remark) in [
        ("volume = { value = \"0.92 m3\", uncertainty = \"2 %\" }", "fill in: gas volume, gloves included"),
        ("rated_pressure = [\"-1500 Pa\", \"1500 Pa\"]", "fill in: the maker's rating; never test beyond it"),
        ("compliance = \"0 L/Pa\"", "fill in: so, where rigid covers closed the glove ports;"),
        ("stiffness_check = { injected = \"1.00 L\", rise = \"51 Pa\" }", "or so, from room air pushed in"),
    ] {
        writeln!(plan, "# {key}   # {remark}")?;
    }
    writeln!(plan)
}

fn write_room(plan: &mut String, recordings: &[Recording], time_zone: Option<&str>) -> std::fmt::Result {
    writeln!(plan, "[room]                         # used where no channel is logged")?;
    for (channel, line) in [
        (Channel::RoomPressure, "pressure = \"1013 hPa\""),
        (Channel::RoomTemperature, "temperature = \"22 °C\""),
        (Channel::RoomRelativeHumidity, "relative_humidity = \"42 %\""),
    ] {
        let logs = |recording: &&Recording| recording.columns.iter().any(|column| column.channel == Some(channel));
        match recordings.iter().find(logs) {
            Some(recording) => writeln!(plan, "# {channel} is logged in {}", one_line(&recording.file))?,
            None => writeln!(plan, "# {line}   # fill in")?,
        }
    }
    let asks = |topic: &Topic| {
        recordings.iter().any(|recording| recording.questions.iter().any(|question| question.topic == *topic))
    };
    // The stated zone counts for exports in local time alone.
    let stated = time_zone.filter(|name| {
        let is_so = |recording: &Recording| matches!(&recording.time_base, TimeBase::Dated { zone } if zone == name);
        recordings.iter().any(is_so) || asks(&Topic::Time)
    });
    match stated {
        Some(zone) => writeln!(plan, "time_zone = {}   # as stated; the exports are in local time\n", quoted(zone)),
        None if asks(&Topic::TimeZone) => {
            writeln!(plan, "# The exports are in local time, read as UTC until their zone is stated.")?;
            writeln!(plan, "time_zone = \"UTC\"              # fill in: for example \"Europe/Vienna\"\n")
        }
        None if asks(&Topic::Time) => {
            writeln!(plan, "# time_zone = \"Europe/Vienna\"  # fill in, where the exports are in local time\n")
        }
        None => writeln!(plan, "# time_zone is not needed: no export is in local time\n"),
    }
}

fn write_instruments(plan: &mut String, channels: &[Channel], several_files: bool) -> std::fmt::Result {
    let mut written: Vec<&str> = Vec::new();
    for instrument in channels.iter().filter_map(|channel| instrument(*channel)) {
        let Instrument { name, resolution, uncertainty, response } = instrument;
        // Two channels may be read from one instrument.
        if written.contains(&name) {
            continue;
        }
        written.push(name);
        writeln!(plan, "[instruments.{name}]")?;
        writeln!(plan, "# resolution = \"{resolution}\"        # fill in: last digit of the display or export")?;
        writeln!(plan, "# uncertainty = \"{uncertainty}\"   # fill in: from the certificate")?;
        if !response.is_empty() {
            writeln!(plan, "# response = \"{response}\"        # fill in: how fast it follows, from its papers")?;
        }
        if name.ends_with("analyser") {
            writeln!(plan, "# range = [\"0 ppm\", \"1000 ppm\"]   # fill in: readings at its end count as bounds")?;
            writeln!(plan, "# reporting_limit = \"0.1 ppm\"   # fill in: readings below it count as bounds")?;
        }
        if several_files {
            writeln!(
                plan,
                "# clock_offset = \"20 s\"   # fill in: its clock runs ahead by so much; or \"unknown within 10 min\""
            )?;
        }
        writeln!(plan, "# serial = \"…\"")?;
        writeln!(plan, "# calibrated = 2026-01-31")?;
        writeln!(plan, "# due = 2027-01-31\n")?;
    }
    Ok(())
}

/// Name, and figures to start from.
struct Instrument {
    name: &'static str,
    resolution: &'static str,
    uncertainty: &'static str,
    /// Empty where nobody needs to state it.
    response: &'static str,
}

fn instrument(channel: Channel) -> Option<Instrument> {
    let (name, resolution, uncertainty, response) = match channel {
        Channel::GaugePressure => ("gauge", "1 Pa", "0.5 % of reading (limits) + 2 Pa", ""),
        Channel::RoomPressure => ("barometer", "10 Pa", "30 Pa (k=2)", ""),
        Channel::GasTemperature => ("thermometer", "0.1 K", "0.2 K (k=2)", ""),
        Channel::Oxygen => ("oxygen_analyser", "0.1 ppm", "4 % of reading", "t90 20 s"),
        Channel::Water => ("water_analyser", "0.1 ppm", "5 % of reading", "t90 120 s"),
        Channel::AntechamberPressure => ("antechamber_gauge", "10 Pa", "100 Pa", ""),
        Channel::MakeupFlow | Channel::MakeupTotal => ("makeup_meter", "0.01 L/min", "2 % of reading", ""),
        Channel::VesselTemperature => ("vessel_thermometer", "0.1 K", "2 K (k=2)", ""),
        Channel::VesselPressure => ("vessel_gauge", "10 Pa", "100 Pa", ""),
        Channel::RegenerationFlow => ("regeneration_meter", "0.01 L/min", "3 % of reading", ""),
        _ => return None,
    };
    Some(Instrument { name, resolution, uncertainty, response })
}

fn write_test(
    plan: &mut String,
    recordings: &[Recording],
    found: Option<&str>,
    alternatives: &str,
) -> std::fmt::Result {
    let method = found.unwrap_or("pressure-change");
    writeln!(plan, "[[test]]")?;
    writeln!(plan, "id = \"first\"")?;
    let why = if found.is_some() { "by the channels found" } else { "fill in: the channels do not tell" };
    writeln!(plan, "method = \"{method}\"   # {why}")?;
    writeln!(plan, "# or {alternatives}")?;
    let files: Vec<String> = recordings.iter().map(|recording| quoted(&recording.file)).collect();
    writeln!(plan, "files = [{}]", files.join(", "))?;
    for line in needed_lines(method, recordings) {
        writeln!(plan, "# {line}")?;
    }
    write_window(plan, recordings)?;
    write_columns(plan, recordings)?;
    write_formats(plan, recordings)?;
    writeln!(plan)
}

/// The columns as recognised, a line for each channel, and below a line what its questions would make of it.
fn write_columns(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    writeln!(plan, "\n[test.columns]                 # as recognised; correct what is wrong")?;
    let mut keys: Vec<(String, Vec<String>)> = Vec::new();
    let mut add = |key: &str, table: String| match keys.iter_mut().find(|(own, _)| own == key) {
        Some((_, tables)) => tables.push(table),
        None => keys.push((key.to_owned(), vec![table])),
    };
    for recording in recordings {
        let file = beside_others(recordings, recording);
        for column in &recording.columns {
            let Some(channel) = column.channel.filter(|channel| *channel != Channel::Time) else { continue };
            let unit = column.unit.as_deref().filter(|unit| !unit.is_empty());
            let unit = unit.map(|unit| format!(", unit = {}", quoted(unit))).unwrap_or_default();
            let place = if column.header.is_empty() { column.position.to_string() } else { quoted(&column.header) };
            add(channel.as_str(), format!("{{ column = {place}{unit}{}{file} }}", of_instrument(channel)));
        }
    }
    for (key, tables) in &keys {
        writeln!(plan, "{key} = {}", one_or_several(tables))?;
    }
    for recording in recordings {
        let file = beside_others(recordings, recording);
        for question in recording.questions.iter().filter(|question| question.topic != Topic::TimeZone) {
            let lines = question.plan_lines();
            let Some(("[test.columns]", answer)) = lines.split_first().map(|(section, rest)| (section.as_str(), rest))
            else {
                continue;
            };
            writeln!(plan, "# question, {}: {}", one_line(&recording.file), one_line(&question.text))?;
            for line in answer {
                let Some((key, table)) = line.split_once(" = ").filter(|_| !line.starts_with('#')) else {
                    writeln!(plan, "{}", one_line(line))?;
                    continue;
                };
                let instrument = Channel::parse(key).map(of_instrument).unwrap_or_default();
                let table = format!("{}{instrument}{file} }}", table.trim_end_matches('}').trim_end());
                let known = keys.iter_mut().find(|(own, _)| own == key);
                let instead = if known.is_some() { "   # instead of the line above" } else { "" };
                let tables = if let Some((_, tables)) = known {
                    tables.push(table);
                    one_or_several(tables)
                } else {
                    keys.push((key.to_owned(), vec![table.clone()]));
                    table
                };
                writeln!(plan, "# {key} = {}{instead}", one_line(&tables))?;
            }
        }
    }
    Ok(())
}

/// How files are written, as far as they leave it open: sections of their own below the columns.
fn write_formats(plan: &mut String, recordings: &[Recording]) -> std::fmt::Result {
    for recording in recordings {
        let mut section = match recordings {
            [_] => Some("[test.format]".to_owned()),
            _ => Some(format!("[test.format.{}]", quoted(&recording.file))),
        };
        for question in recording.questions.iter().filter(|question| question.topic != Topic::TimeZone) {
            let lines = question.plan_lines();
            if lines.first().is_some_and(|section| section == "[test.columns]") {
                continue;
            }
            writeln!(plan, "# question, {}: {}", one_line(&recording.file), one_line(&question.text))?;
            for line in lines {
                let line = match section.take_if(|_| line == "[test.format]") {
                    Some(section) => section,
                    None if line == "[test.format]" => continue,
                    None => line,
                };
                let mark = if line.starts_with('#') { "" } else { "# " };
                writeln!(plan, "{mark}{}", one_line(&line))?;
            }
        }
    }
    Ok(())
}

/// The key that names the file of a column, where there are several.
fn beside_others(recordings: &[Recording], own: &Recording) -> String {
    if recordings.len() > 1 { format!(", file = {}", quoted(&own.file)) } else { String::new() }
}

fn of_instrument(channel: Channel) -> String {
    instrument(channel).map(|known| format!(", instrument = \"{}\"", known.name)).unwrap_or_default()
}

fn one_or_several(tables: &[String]) -> String {
    match tables {
        [one] => one.clone(),
        _ => format!("[{}]", tables.join(", ")),
    }
}

/// What a method needs to be told beside its columns.
fn needed_lines(method: &str, recordings: &[Recording]) -> Vec<&'static str> {
    let reference = "reference_pressure = \"-1000 Pa\"   # fill in: where the leak rate is stated, against the room";
    match method {
        "pressure-change" => vec![reference],
        "make-up" => {
            let by_valve = channels(recordings).contains(&Channel::ValveOpen);
            let valve = by_valve.then_some("valve_flow = \"2 L/min\"   # fill in: flow through the open valve");
            valve.into_iter().chain([reference]).collect()
        }
        "regeneration" => {
            vec!["plateau = \"…\"   # fill in: temperature that counts as hot, by the maker's instructions"]
        }
        "clean-up" | "purge-down" => vec!["target = \"1 ppm\"   # fill in: where the time to a limit is wanted"],
        _ => Vec::new(),
    }
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

fn write_limit(plan: &mut String, recordings: &[Recording], method: &str, channels: &[Channel]) -> std::fmt::Result {
    let of_species = |oxygen, water| if channels.contains(&Channel::Oxygen) { oxygen } else { water };
    let (quantity, max) = match method {
        "antechamber" => ("residual_oxygen", "20 ppm"),
        "vacuum-hold" => ("leak_throughput", "1e-4 Pa m3/s"),
        "regeneration" => ("heating_time", "…"),
        "ppm-rise" => (of_species("oxygen_ingress", "water_ingress"), "15 ppm/h"),
        "clean-up" => ("time_constant", "20 min"),
        "purge-down" => ("time_constant", "1 h"),
        // A diagnosis finds causes and judges no limit.
        "operating-log" => return Ok(()),
        _ => ("hourly_leak_rate", "5e-4 1/h"),
    };
    if recordings.is_empty() {
        return Ok(());
    }
    writeln!(plan, "# [[limit]]                    # fill in: the customer's limit, with its source")?;
    writeln!(plan, "# quantity = \"{quantity}\"")?;
    let bound = if method == "regeneration" { "min" } else { "max" };
    writeln!(plan, "# {bound} = \"{max}\"")?;
    writeln!(plan, "# rule = \"guarded-acceptance\"")?;
    writeln!(plan, "# risk = \"5 %\"")?;
    writeln!(plan, "# source = \"…\"")
}

/// A basic TOML string.
#[must_use]
pub fn quoted(text: &str) -> String {
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
