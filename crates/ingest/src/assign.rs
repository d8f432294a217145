//! Which column is which channel: by plan, by words and unit, or by a question.

use std::sync::Arc;

use tightfit_quantity::{Dimension, PressureReference as UnitReference, StandardReference, Unit, moisture};

use crate::cell;
use crate::channel::{Channel, Kind};
use crate::conversion::Conversion;
use crate::draft::quoted;
use crate::error::ReadError;
use crate::header::Table;
use crate::number::{self, NumberStyle};
use crate::options::{ColumnRef, ColumnRequest};
use crate::question::{Question, Topic};
use crate::recording::{Column, PressureReference};
use crate::records::Record;
use crate::state_words::StateWords;
use crate::unit_text;
use crate::words::{self, Guess};

/// A column that becomes a series.
#[derive(Debug, Clone)]
pub(crate) struct Assigned {
    pub(crate) column: usize,
    pub(crate) channel: Channel,
    pub(crate) header: String,
    pub(crate) unit: Unit,
    pub(crate) unit_text: String,
    /// Gauge readings marked positive below the room.
    pub(crate) negate: bool,
    pub(crate) reference: PressureReference,
    pub(crate) standard_reference: Option<StandardReference>,
    pub(crate) instrument: Option<String>,
    pub(crate) reporting_limit: Option<f64>,
    pub(crate) range: Option<(f64, f64)>,
    /// What the signal means, where the column holds one: `unit` is then that of the signal.
    pub(crate) conversion: Option<Arc<Conversion>>,
    /// How its words tell a state, where the column holds words and no numbers.
    pub(crate) words: Option<StateWords>,
}

impl Assigned {
    /// A reading in SI; dew and frost points in K.
    pub(crate) fn to_si(&self, value: f64) -> f64 {
        let si = self.si_of(self.unit.to_si(value));
        if self.negate { -si } else { si }
    }

    /// The quantity behind a signal in SI; NaN outside the table of the conversion.
    pub(crate) fn si_of(&self, signal: f64) -> f64 {
        match &self.conversion {
            Some(conversion) => conversion.at(signal).unwrap_or(f64::NAN),
            None => signal,
        }
    }

    /// A limit of the instrument on the scale readings are kept on until they are placed: K for dew and frost points.
    pub(crate) fn limit_as_read(&self, limit: f64) -> Option<f64> {
        const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;
        if self.is_dew_point() { moisture::frost_point_k(limit, STANDARD_ATMOSPHERE_PA) } else { Some(limit) }
    }

    /// Whether a reading can be one at all: finite, and a dew or frost point at which water has a known pressure.
    pub(crate) fn is_possible(&self, si: f64) -> bool {
        si.is_finite() && (!self.is_dew_point() || (123.15..=373.15).contains(&si))
    }

    /// Whether a reading above a range of which the end is not stated waits for the largest number of the column.
    pub(crate) fn end_is_found_later(&self) -> bool {
        !self.negate && !self.is_dew_point() && self.conversion.is_none() && self.channel.kind() != Kind::State
    }

    pub(crate) fn is_dew_point(&self) -> bool {
        self.channel == Channel::Water && matches!(self.unit.dimension(), Dimension::Temperature | Dimension::DewPoint)
    }
}

/// The outcome: columns that become series, and the map shown to people.
pub(crate) struct Assignment {
    pub(crate) assigned: Vec<Assigned>,
    pub(crate) columns: Vec<Column>,
}

/// What is known about a column before it is assigned.
struct Candidate {
    index: usize,
    header: String,
    name: String,
    unit: Option<Unit>,
    unit_text: Option<String>,
    guess: Option<Guess>,
    /// Median and bounds (without the outermost twentieths) of the sample, as written.
    median: Option<f64>,
    bounds: Option<(f64, f64)>,
    highest: Option<f64>,
    /// Whole numbers only.
    whole: bool,
    /// Rows were looked at, and none holds a reading.
    empty: bool,
    /// The channel whose state its words may tell, where no number stands in it, and how.
    state_words: Option<(Channel, StateWords)>,
    /// How its words mark transfers if the plan says that they do.
    any_word: Option<StateWords>,
}

/// Assign the columns of a wide table, or the names of a long one (`table.names` then holds the names).
pub(crate) fn assign(
    file: &str,
    table: &Table,
    rows: &[Record<'_>],
    style: NumberStyle,
    time_columns: &[usize],
    requests: &[ColumnRequest],
    questions: &mut Vec<Question>,
) -> Result<Assignment, ReadError> {
    let width = table.names.len().max(table.width);
    let candidates: Vec<Candidate> = (0..width).map(|index| candidate(table, rows, style, index)).collect();
    let mut assigner = Assigner {
        file,
        columns: candidates.iter().map(|candidate| plain_column(candidate, time_columns)).collect(),
        candidates,
        assigned: Vec::new(),
        questions,
    };
    for request in requests.iter().filter(|request| request.channel != Channel::Time) {
        assigner.by_request(request, table)?;
    }
    assigner.by_words(time_columns, requests);
    Ok(Assignment { assigned: assigner.assigned, columns: assigner.columns })
}

fn candidate(table: &Table, rows: &[Record<'_>], style: NumberStyle, index: usize) -> Candidate {
    let header = table.names.get(index).cloned().unwrap_or_default();
    let (mut name, mut unit_text) = unit_text::split(&header);
    if unit_text.is_none() && unit_text::is_unit_alone(&header) && !words::is_quantity_letter(&header) {
        unit_text = Some(header.trim_matches(['(', ')', '[', ']']).to_owned());
        name.clear();
    }
    if let Some(in_row) = table.units.get(index).filter(|unit| !unit.is_empty()) {
        unit_text = Some(in_row.trim_matches(['(', ')', '[', ']']).to_owned());
    }
    let from_cells = unit_text.is_none().then(|| unit_in_cells(rows, style, index)).flatten();
    let unit_text = unit_text.or(from_cells);
    let unit = unit_text.as_deref().and_then(unit_text::parse);
    let mut guess = words::guess(&name, unit.as_ref());
    if !matches!(guess, Some(Guess::Channel(_)))
        && words::needs_words_above(&name)
        && let Some(above) = table.above.get(index).filter(|above| !above.is_empty())
    {
        guess = words::guess(&format!("{above} {name}"), unit.as_ref()).or(guess);
    }
    let mut values: Vec<f64> = rows.iter().filter_map(|row| number::parse(row.field(index), style)).collect();
    values.sort_unstable_by(f64::total_cmp);
    let empty = values.is_empty() && !rows.is_empty() && !has_readings(rows, style, index);
    let any_word = empty.then(|| StateWords::any_word(rows, index, style)).flatten();
    let state_words = match guess {
        Some(Guess::Channel(Channel::Transfer)) => any_word.clone().map(|words| (Channel::Transfer, words)),
        Some(Guess::Channel(Channel::Event)) => Some((Channel::Event, StateWords::NamingTransfer)),
        Some(Guess::Channel(channel @ (Channel::ValveOpen | Channel::PurifierOn))) => {
            StateWords::switched(rows, index, style).map(|words| (channel, words))
        }
        None if words::is_remark(&name) => Some((Channel::Event, StateWords::NamingTransfer)),
        _ => None,
    };
    Candidate {
        index,
        header,
        name,
        unit,
        unit_text,
        guess: guess.filter(|_| !empty),
        empty,
        state_words: state_words.filter(|_| empty),
        any_word,
        median: values.get(values.len() / 2).copied(),
        bounds: values.first().map(|_| (values[values.len() / 20], values[values.len() - 1 - values.len() / 20])),
        highest: values.last().copied(),
        whole: values.iter().all(|value| value.fract() == 0.0),
    }
}

fn has_readings(rows: &[Record<'_>], style: NumberStyle, index: usize) -> bool {
    rows.iter().any(|row| {
        !matches!(cell::read(row.field(index), style), cell::Cell::Text(_) | cell::Cell::Missing)
            || cell::number_with_unit(row.field(index), style).is_some()
    })
}

fn unit_in_cells(rows: &[Record<'_>], style: NumberStyle, index: usize) -> Option<String> {
    let units: Vec<Option<&str>> = rows
        .iter()
        .map(|row| row.field(index))
        .filter(|cell| !cell.is_empty())
        .take(50)
        .map(|cell| {
            cell::number_with_unit(cell, style).map(|(_, unit)| unit).filter(|unit| unit_text::parse(unit).is_some())
        })
        .collect();
    let stated = units.iter().flatten().count();
    units.iter().flatten().next().filter(|_| stated * 2 > units.len()).map(|unit| (*unit).to_owned())
}

fn plain_column(candidate: &Candidate, time_columns: &[usize]) -> Column {
    let is_time = time_columns.contains(&candidate.index);
    Column {
        header: candidate.header.clone(),
        without_number: candidate.empty && !is_time,
        position: candidate.index + 1,
        channel: is_time.then_some(Channel::Time),
        unit: candidate.unit_text.clone(),
        because: match (is_time, candidate.empty) {
            (true, _) => "holds the time".into(),
            (false, true) => "holds no number".into(),
            (false, false) => "no quantity word or unit we look for".into(),
        },
        cells: crate::recording::CellCount::default(),
    }
}

struct Assigner<'a> {
    file: &'a str,
    candidates: Vec<Candidate>,
    columns: Vec<Column>,
    assigned: Vec<Assigned>,
    questions: &'a mut Vec<Question>,
}

impl Assigner<'_> {
    fn by_request(&mut self, request: &ColumnRequest, table: &Table) -> Result<(), ReadError> {
        let Some(wanted) = request.columns.first() else { return Ok(()) };
        let found = find_columns(wanted, table, self.candidates.len());
        let index = match found[..] {
            [index] => index,
            [] => {
                self.ask_missing(request.channel, wanted);
                return Ok(());
            }
            _ => {
                self.ask_twice(request.channel, &found, "the plan's column name");
                return Ok(());
            }
        };
        let Some(unit_text) = self.unit_of_request(request, index) else {
            self.ask_unit(request.channel, index);
            return Ok(());
        };
        let unit = match unit_text::parse(&unit_text) {
            Some(unit) => unit,
            None if unit_text.is_empty() => Unit::one(),
            None => {
                return Err(self.unit_error(
                    index,
                    &unit_text,
                    Unit::parse(&unit_text).err().map_or_else(|| "not a unit".into(), |error| error.to_string()),
                ));
            }
        };
        if request.conversion.is_some() {
            if unit.dimension() != Dimension::Voltage {
                let message =
                    format!("it is a {}, and the conversion table starts from a voltage", unit.dimension().name());
                return Err(self.unit_error(index, &unit_text, message));
            }
        } else if !fits(request.channel, unit.dimension()) {
            let message = format!(
                "it is a {}, and {} needs {}",
                unit.dimension().name(),
                request.channel,
                needed(request.channel)
            );
            return Err(self.unit_error(index, &unit_text, message));
        }
        self.take(index, request.channel, unit, unit_text, "the plan says so".into(), Some(request));
        Ok(())
    }

    fn unit_of_request(&self, request: &ColumnRequest, index: usize) -> Option<String> {
        request
            .unit
            .clone()
            .or_else(|| {
                self.candidates[index]
                    .unit_text
                    .clone()
                    .filter(|text| unit_text::parse(text).is_some_and(|unit| fits(request.channel, unit.dimension())))
            })
            .or_else(|| request.conversion.as_ref().map(|_| "V".to_owned()))
            .or_else(|| (request.channel.kind() == Kind::State).then(String::new))
    }

    fn unit_error(&self, index: usize, unit: &str, message: String) -> ReadError {
        ReadError::Unit {
            file: self.file.into(),
            column: self.candidates[index].header.clone(),
            unit: unit.into(),
            message,
        }
    }

    fn ask_missing(&mut self, channel: Channel, wanted: &ColumnRef) {
        let wanted = match wanted {
            ColumnRef::Name(name) => format!("'{name}'"),
            ColumnRef::Position(position) => format!("number {position}"),
        };
        let columns: Vec<String> = self.candidates.iter().map(|candidate| format!("'{}'", candidate.header)).collect();
        self.questions.push(Question {
            topic: Topic::Channel(channel),
            text: format!("{channel}: there is no column {wanted}; the columns are {}", columns.join(", ")),
            answer: format!("[test.columns] {channel} = {{ column = \"…\" }}   # the exact header text, or its position as a whole number"),
            blocking: true,
        });
    }

    fn ask_twice(&mut self, channel: Channel, found: &[usize], what: &str) {
        let list: Vec<String> =
            found.iter().map(|index| format!("'{}' (column {})", self.candidates[*index].header, index + 1)).collect();
        self.questions.push(Question {
            topic: Topic::Channel(channel),
            text: format!("{channel}: {what} fits {} columns: {}: which one is meant?", found.len(), list.join(", ")),
            answer: format!(
                "[test.columns] {channel} = {{ column = {} }}   # a whole number is a position, 1 = first",
                found[0] + 1
            ),
            blocking: true,
        });
    }

    fn ask_unit(&mut self, channel: Channel, index: usize) {
        let candidate = &self.candidates[index];
        let seems = candidate.median.map(|median| format!("; its values lie around {median}")).unwrap_or_default();
        let stated = match &candidate.unit_text {
            Some(text) => format!("'{text}' is no unit of a {channel}"),
            None => match in_brackets(&candidate.header) {
                Some(text) => format!("the unit '{text}' is not known"),
                None => "no unit is written".to_owned(),
            },
        };
        self.questions.push(Question {
            topic: Topic::Unit(channel),
            text: format!("{channel}: column '{}': {stated}{seems}: what unit?", candidate.header),
            answer: format!(
                "[test.columns] {channel} = {{ column = {}, unit = \"{}\" }}",
                key(candidate),
                example(channel)
            ),
            blocking: true,
        });
        self.columns[index].because = format!("looks like {channel}, but its unit is not known");
    }

    fn take(
        &mut self,
        index: usize,
        channel: Channel,
        unit: Unit,
        unit_text: String,
        because: String,
        request: Option<&ColumnRequest>,
    ) {
        let conversion = request.and_then(|request| request.conversion.clone());
        let quantity_unit = conversion.as_ref().map_or(&unit, |conversion| conversion.unit());
        let (reference, negate) = match self.reference(channel, quantity_unit, index) {
            Ok(found) => found,
            Err(question) => {
                self.questions.push(question);
                return;
            }
        };
        let says_below = quantity_unit.pressure_reference().is_none();
        let standard = matches!(unit.dimension(), Dimension::StandardVolume | Dimension::StandardVolumeFlow)
            .then(StandardReference::default);
        let column = &mut self.columns[index];
        column.channel = Some(channel);
        column.unit = Some(unit_text.clone());
        let unit_text = conversion.as_ref().map_or(unit_text, |conversion| conversion.unit_text().to_owned());
        column.because = because;
        if negate && says_below {
            column
                .because
                .push_str("; its numbers count below the room's pressure: unit = \"Pa gauge\" where they do not");
        }
        self.assigned.push(Assigned {
            column: index,
            channel,
            header: self.candidates[index].header.clone(),
            unit,
            unit_text,
            negate,
            reference,
            standard_reference: request.and_then(|request| request.standard_reference).or(standard),
            instrument: request.and_then(|request| request.instrument.clone()),
            reporting_limit: request.and_then(|request| request.reporting_limit),
            range: request.and_then(|request| request.range),
            conversion,
            words: self.state_words(index, channel),
        });
    }

    /// How the words of a column tell the state of a channel, where it holds no numbers.
    fn state_words(&self, index: usize, channel: Channel) -> Option<StateWords> {
        let candidate = &self.candidates[index];
        match channel {
            Channel::Transfer => candidate.any_word.clone(),
            Channel::Event => candidate.empty.then_some(StateWords::NamingTransfer),
            Channel::ValveOpen | Channel::PurifierOn => candidate.empty.then_some(StateWords::Switched),
            _ => None,
        }
    }

    /// Takes the first column whose words may tell the channel's state. Nobody is asked about others: remarks are many.
    fn take_words(&mut self, channel: Channel, time_columns: &[usize]) {
        let is_taken = |index: usize| self.assigned.iter().any(|taken| taken.column == index);
        let found = self.candidates.iter().find_map(|candidate| {
            let (_, words) = candidate.state_words.as_ref().filter(|(of, _)| *of == channel)?;
            let is_free = !time_columns.contains(&candidate.index) && !is_taken(candidate.index);
            is_free.then_some((candidate.index, words))
        });
        let Some((index, words)) = found else { return };
        let because = match words {
            StateWords::AnyWord { rest: Some(rest) } => format!("its words other than '{rest}' mark transfers"),
            StateWords::AnyWord { rest: None } => "its words mark transfers".to_owned(),
            StateWords::NamingTransfer => "its words that name a transfer mark one".to_owned(),
            StateWords::Switched => "its words say on or off, open or closed".to_owned(),
        };
        self.take(index, channel, Unit::one(), String::new(), because, None);
    }

    /// What a pressure is counted from, and whether its sign turns.
    fn reference(&self, channel: Channel, unit: &Unit, index: usize) -> Result<(PressureReference, bool), Question> {
        let contradiction = |says: &str| Question {
            topic: Topic::Unit(channel),
            text: format!(
                "{channel}: column '{}' has the unit '{}', which is {says}: is it this channel?",
                self.candidates[index].header,
                unit.symbol()
            ),
            answer: format!(
                "[test.columns] {} = {{ column = {}, unit = \"{}\" }}   # or the unit without the word",
                if says == "absolute" { "absolute_pressure" } else { "gauge_pressure" },
                key(&self.candidates[index]),
                unit.symbol()
            ),
            blocking: true,
        };
        let Some(stated) = unit.pressure_reference() else {
            let below = channel == Channel::GaugePressure && self.is_marked_below(index);
            return Ok((PressureReference::OfChannel, below));
        };
        match (channel, stated) {
            (Channel::GaugePressure, UnitReference::Gauge)
            | (Channel::AbsolutePressure | Channel::RoomPressure, UnitReference::Absolute) => {
                Ok((PressureReference::OfChannel, false))
            }
            (Channel::GaugePressure, UnitReference::Vacuum) => Ok((PressureReference::OfChannel, true)),
            (Channel::GaugePressure, UnitReference::Absolute) => Err(contradiction("absolute")),
            (Channel::AbsolutePressure | Channel::RoomPressure, _) => Err(contradiction("counted from the room")),
            (_, UnitReference::Gauge) => Ok((PressureReference::Gauge, false)),
            (_, UnitReference::Vacuum) => Ok((PressureReference::Gauge, true)),
            (_, UnitReference::Absolute) => Ok((PressureReference::Absolute, false)),
        }
    }

    /// Whether a gauge pressure counts below the room's as positive: its words say so, and it has no negative numbers.
    fn is_marked_below(&self, index: usize) -> bool {
        let candidate = &self.candidates[index];
        words::counts_below_the_room(&candidate.header) && candidate.bounds.is_some_and(|(low, _)| low > 0.0)
    }

    fn by_words(&mut self, time_columns: &[usize], requests: &[ColumnRequest]) {
        let free = |assigner: &Self, index: usize| {
            !time_columns.contains(&index) && !assigner.assigned.iter().any(|taken| taken.column == index)
        };
        let channels: Vec<(usize, Channel, String)> = (0..self.candidates.len())
            .filter(|index| free(self, *index))
            .filter_map(|index| {
                let (channel, because) = self.channel_of(index)?;
                Some((index, channel, because))
            })
            .collect();
        self.mention_open_pressures(&channels, requests);
        for channel in Channel::ALL {
            if requests.iter().any(|request| request.channel == channel)
                || self.assigned.iter().any(|taken| taken.channel == channel)
            {
                continue;
            }
            let fitting: Vec<&(usize, Channel, String)> =
                channels.iter().filter(|(_, found, _)| *found == channel).collect();
            match fitting[..] {
                [] => self.take_words(channel, time_columns),
                [(index, _, because)] => self.take_recognised(*index, channel, because.clone()),
                _ => {
                    let indices: Vec<usize> = fitting.iter().map(|(index, ..)| *index).collect();
                    for index in &indices {
                        self.columns[*index].because =
                            format!("one of {} columns that may be {channel}", indices.len());
                    }
                    self.ask_twice(channel, &indices, "what was recognised");
                }
            }
        }
    }

    /// Pressures of which neither words nor values say what they are: no channel, but worth a question.
    fn mention_open_pressures(&mut self, channels: &[(usize, Channel, String)], requests: &[ColumnRequest]) {
        let taken: Vec<usize> =
            self.assigned.iter().map(|taken| taken.column).chain(channels.iter().map(|(index, ..)| *index)).collect();
        for candidate in self
            .candidates
            .iter()
            .filter(|candidate| candidate.guess == Some(Guess::Pressure) && !taken.contains(&candidate.index))
        {
            if !requests.is_empty() {
                continue;
            }
            let seems = candidate.median.map(|median| format!(", around {median}")).unwrap_or_default();
            self.columns[candidate.index].because = "a pressure, and neither words nor values say which".into();
            self.questions.push(Question {
                topic: Topic::Channel(Channel::GaugePressure),
                text: format!("pressure: column '{}'{seems} in {}: which pressure is it, and is that its unit?", candidate.header, candidate.unit_text.as_deref().unwrap_or("no stated unit")),
                answer: format!("[test.columns] gauge_pressure = {{ column = {}, unit = \"{}\" }}   # or absolute_pressure, room_pressure, antechamber_pressure, vessel_pressure", key(candidate), candidate.unit_text.as_deref().unwrap_or("Pa")),
                blocking: false,
            });
        }
    }

    fn take_recognised(&mut self, index: usize, channel: Channel, because: String) {
        let candidate = &self.candidates[index];
        let state = channel.kind() == Kind::State;
        match candidate.unit.clone() {
            Some(unit) if fits(channel, unit.dimension()) => {
                let text = candidate.unit_text.clone().unwrap_or_default();
                self.take(index, channel, unit, text, because, None);
            }
            None if state => self.take(index, channel, Unit::one(), String::new(), because, None),
            None if channel == Channel::RoomRelativeHumidity
                && candidate.highest.is_some_and(|highest| highest > 1.5) =>
            {
                if let Some(unit) = unit_text::parse("%") {
                    self.take(
                        index,
                        channel,
                        unit,
                        "%".into(),
                        format!("{because}; no unit, but relative humidity above 1.5 is in %"),
                        None,
                    );
                }
            }
            _ => self.ask_unit(channel, index),
        }
    }

    /// The channel of a column by its words, its unit and, where these leave it open, by its neighbours.
    fn channel_of(&self, index: usize) -> Option<(Channel, String)> {
        let candidate = &self.candidates[index];
        let words = if candidate.name.is_empty() { &candidate.header } else { &candidate.name };
        match candidate.guess? {
            Guess::Channel(channel) if channel.kind() == Kind::State && !candidate.whole => None,
            Guess::Channel(channel) => Some((channel, format!("its words '{words}'{}", unit_words(candidate)))),
            Guess::Humidity => {
                let unit = candidate.unit.as_ref()?;
                let is_percent = (unit.scale() - 0.01).abs() < 1e-12;
                let channel = if is_percent { Channel::RoomRelativeHumidity } else { Channel::Water };
                Some((channel, format!("moisture in {}", unit.symbol())))
            }
            Guess::Pressure => self.pressure_by_value(candidate),
            Guess::Temperature => {
                let climate = self.has_guess(Channel::RoomRelativeHumidity)
                    || self.has_guess(Channel::RoomPressure)
                    || self.candidates.iter().any(|other| other.guess == Some(Guess::Humidity));
                let enclosure = self.has_guess(Channel::GaugePressure)
                    || self.has_guess(Channel::Oxygen)
                    || self.has_guess(Channel::AbsolutePressure)
                    || self.candidates.iter().any(|other| other.guess == Some(Guess::Pressure));
                if self.has_guess(Channel::GasTemperature) {
                    return None;
                }
                let channel = if climate && !enclosure { Channel::RoomTemperature } else { Channel::GasTemperature };
                Some((
                    channel,
                    format!(
                        "a temperature, and nothing says of what; beside the other columns it is the {}'s",
                        if channel == Channel::RoomTemperature { "room" } else { "gas" }
                    ),
                ))
            }
            Guess::Flow => None,
        }
    }

    fn has_guess(&self, channel: Channel) -> bool {
        self.candidates.iter().any(|other| other.guess == Some(Guess::Channel(channel)))
    }

    /// An unqualified pressure: around zero it is a gauge pressure, around the weather's it is absolute; beside a
    /// gauge pressure it is the room's.
    fn pressure_by_value(&self, candidate: &Candidate) -> Option<(Channel, String)> {
        const ATMOSPHERIC_PA: std::ops::Range<f64> = 70e3..115e3;
        const SMALL_PA: f64 = 10e3;
        let unit = candidate.unit.as_ref()?;
        let (low, high) = candidate.bounds.map(|(low, high)| (unit.to_si(low), unit.to_si(high)))?;
        if ATMOSPHERIC_PA.contains(&low) && ATMOSPHERIC_PA.contains(&high) {
            return Some(if self.has_guess(Channel::GaugePressure) || self.has_guess(Channel::RoomRelativeHumidity) {
                (
                    Channel::RoomPressure,
                    "a pressure around that of the weather, beside columns of the room or a gauge".into(),
                )
            } else {
                (Channel::AbsolutePressure, "a pressure around that of the weather, and nothing says of what".into())
            });
        }
        let hardly_moves = high - low < 0.06 * low.abs().max(high.abs());
        let in_another_unit = ["Pa", "hPa", "kPa"]
            .into_iter()
            .filter_map(unit_text::parse)
            .any(|other| (85e3..=108e3).contains(&other.to_si(unit.from_si(low))));
        if hardly_moves && in_another_unit {
            return None;
        }
        (low.abs() < SMALL_PA && high.abs() < SMALL_PA)
            .then(|| (Channel::GaugePressure, "a pressure around zero, so it is counted from the room".into()))
    }
}

fn unit_words(candidate: &Candidate) -> String {
    candidate.unit_text.as_ref().map(|unit| format!(" and its unit {unit}")).unwrap_or_default()
}

/// What stands in the last brackets of a header, where one looks for the unit.
fn in_brackets(header: &str) -> Option<&str> {
    let (open, close) = [('[', ']'), ('(', ')')].into_iter().find(|(_, close)| header.trim_end().ends_with(*close))?;
    let inside = header.trim_end().strip_suffix(close)?.rsplit_once(open)?.1.trim();
    (!inside.is_empty()).then_some(inside)
}

/// Columns that a reference of the plan may mean.
pub(crate) fn find_columns(wanted: &ColumnRef, table: &Table, width: usize) -> Vec<usize> {
    match wanted {
        ColumnRef::Position(position) => position.checked_sub(1).filter(|index| *index < width).into_iter().collect(),
        ColumnRef::Name(name) => {
            let spaced = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            let name = spaced(name);
            let matching = |same: &dyn Fn(&str, usize) -> bool| -> Vec<usize> {
                table
                    .names
                    .iter()
                    .enumerate()
                    .filter(|(index, found)| same(found, *index))
                    .map(|(index, _)| index)
                    .collect()
            };
            let exact = matching(&|found, _| spaced(found) == name);
            if !exact.is_empty() {
                return exact;
            }
            let loose = matching(&|found, _| found.to_lowercase() == name.to_lowercase());
            if !loose.is_empty() {
                return loose;
            }
            matching(&|found, index| {
                table.above.get(index).is_some_and(|above| spaced(&format!("{above} {found}")) == name)
            })
        }
    }
}

fn key(candidate: &Candidate) -> String {
    if candidate.header.is_empty() || candidate.header.starts_with("column ") {
        (candidate.index + 1).to_string()
    } else {
        quoted(&candidate.header)
    }
}

/// Whether a unit of this dimension may stand at a channel.
pub(crate) fn fits(channel: Channel, dimension: Dimension) -> bool {
    match channel.kind() {
        Kind::Time => dimension == Dimension::Time,
        Kind::Pressure => dimension == Dimension::Pressure,
        Kind::Temperature => dimension == Dimension::Temperature,
        Kind::MoleFraction if channel == Channel::Water => {
            matches!(dimension, Dimension::Ratio | Dimension::Temperature | Dimension::DewPoint)
        }
        Kind::MoleFraction | Kind::RelativeHumidity => dimension == Dimension::Ratio,
        Kind::VolumeFlow => matches!(dimension, Dimension::VolumeFlow | Dimension::StandardVolumeFlow),
        Kind::Volume => matches!(dimension, Dimension::Volume | Dimension::StandardVolume),
        Kind::State => true,
    }
}

fn needed(channel: Channel) -> &'static str {
    match channel.kind() {
        Kind::Time => "a time, such as s",
        Kind::Pressure => "a pressure, such as Pa, mbar or inH2O",
        Kind::Temperature => "a temperature, such as °C",
        Kind::MoleFraction if channel == Channel::Water => "a fraction such as ppm, or °C dew point",
        Kind::MoleFraction => "a fraction, such as ppm or %",
        Kind::RelativeHumidity => "a fraction, such as %",
        Kind::VolumeFlow => "a flow, such as m3/h or NL/min",
        Kind::Volume => "a volume, such as L",
        Kind::State => "any number",
    }
}

pub(crate) fn example(channel: Channel) -> &'static str {
    match channel.kind() {
        Kind::Time => "s",
        Kind::Pressure if channel == Channel::RoomPressure => "hPa",
        Kind::Pressure => "Pa",
        Kind::Temperature => "°C",
        Kind::MoleFraction => "ppm",
        Kind::RelativeHumidity => "%",
        Kind::VolumeFlow => "m3/h",
        Kind::Volume => "L",
        Kind::State => "1",
    }
}
