//! Reading one section of a plan key by key, noting every mistake instead of stopping at the first.

use std::cell::RefCell;
use std::ops::Range;

use tightfit_quantity::{Dimension, Quantity, Response, Uncertainty};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::{Located, Mistake, nearest};

/// A quantity with its standard uncertainty, both in SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The value as written.
    pub quantity: Quantity,
    /// The value in SI units.
    pub si: f64,
    /// Standard uncertainty in SI units; `None` where the plan states none.
    pub standard_uncertainty: Option<f64>,
}

/// The text of a plan and the mistakes found in it.
pub(super) struct Notebook<'a> {
    text: &'a str,
    mistakes: RefCell<Vec<(usize, Mistake)>>,
}

impl<'a> Notebook<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { text, mistakes: RefCell::new(Vec::new()) }
    }

    pub(super) fn note(&self, offset: usize, mistake: Mistake) {
        self.mistakes.borrow_mut().push((offset, mistake));
    }

    /// All mistakes in the order of the text.
    pub(super) fn into_located(self) -> Vec<Located> {
        let mut mistakes = self.mistakes.into_inner();
        mistakes.sort_by_key(|(offset, _)| *offset);
        mistakes.dedup();
        mistakes.into_iter().map(|(offset, mistake)| locate(self.text, offset, mistake)).collect()
    }
}

fn locate(text: &str, offset: usize, mistake: Mistake) -> Located {
    let offset = (0..=offset.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    let before = &text[..offset];
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    let line_text: String = text[start..].lines().next().unwrap_or("").chars().take(120).collect();
    Located {
        line: before.matches('\n').count() + 1,
        column: before[start..].chars().count() + 1,
        text: line_text,
        mistake,
    }
}

/// A table of the plan. Keys that were never asked for are mistakes, see [`Section::finish`].
pub(super) struct Section<'a> {
    table: &'a DeTable<'a>,
    name: String,
    offset: usize,
    asked: RefCell<Vec<&'static str>>,
    notebook: &'a Notebook<'a>,
}

type Value<'a> = &'a Spanned<DeValue<'a>>;

impl<'a> Section<'a> {
    pub(super) fn new(
        table: &'a DeTable<'a>,
        name: impl Into<String>,
        offset: usize,
        notebook: &'a Notebook<'a>,
    ) -> Self {
        Self { table, name: name.into(), offset, asked: RefCell::default(), notebook }
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// Notes a mistake at a key, or at the head of the section where the key is absent.
    pub(super) fn note(&self, key: &str, mistake: Mistake) {
        let offset = self.span_of(key).map_or(self.offset, |span| span.start);
        self.notebook.note(offset, mistake);
    }

    pub(super) fn has(&self, key: &'static str) -> bool {
        self.value(key).is_some()
    }

    pub(super) fn text(&self, key: &'static str) -> Option<String> {
        let value = self.value(key)?;
        let text = value.get_ref().as_str();
        if text.is_none() {
            self.wrong_type(key, value, "text in quotes");
        }
        text.map(str::to_owned)
    }

    pub(super) fn required_text(&self, key: &'static str, example: &'static str) -> String {
        if !self.has(key) {
            self.missing(key, example);
            return String::new();
        }
        self.text(key).unwrap_or_default()
    }

    pub(super) fn missing(&self, key: &'static str, example: &'static str) {
        self.notebook.note(self.offset, Mistake::Missing { key, section: self.name.clone(), example });
    }

    pub(super) fn texts(&self, key: &'static str) -> Vec<String> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let texts = value.get_ref().as_array().and_then(|items| {
            items.iter().map(|item| item.get_ref().as_str().map(str::to_owned)).collect::<Option<Vec<_>>>()
        });
        texts.unwrap_or_else(|| {
            self.wrong_type(key, value, "a list of texts, for example [\"one\", \"two\"]");
            Vec::new()
        })
    }

    pub(super) fn boolean(&self, key: &'static str) -> Option<bool> {
        let value = self.value(key)?;
        let boolean = value.get_ref().as_bool();
        if boolean.is_none() {
            self.wrong_type(key, value, "true or false");
        }
        boolean
    }

    pub(super) fn whole_number(&self, key: &'static str) -> Option<i64> {
        let value = self.value(key)?;
        let number = whole_number(value);
        if number.is_none() {
            self.wrong_type(key, value, "a whole number");
        }
        number
    }

    pub(super) fn character(&self, key: &'static str) -> Option<char> {
        let text = self.text(key)?;
        let mut chars = text.chars();
        let first = chars.next();
        if first.is_none() || chars.next().is_some() {
            self.note(
                key,
                Mistake::Impossible { key: key.to_owned(), found: format!("\"{text}\""), expected: "one character" },
            );
            return None;
        }
        first
    }

    /// One of `allowed`.
    pub(super) fn word(&self, key: &'static str, allowed: &[&str]) -> Option<String> {
        let found = self.text(key)?;
        if allowed.contains(&found.as_str()) {
            return Some(found);
        }
        let mistake = Mistake::UnknownWord {
            key: key.to_owned(),
            nearest: nearest(&found, allowed.iter().copied()),
            found,
            allowed: allowed.iter().map(|&word| word.to_owned()).collect(),
        };
        self.note(key, mistake);
        None
    }

    /// A quantity without uncertainty.
    pub(super) fn quantity(&self, key: &'static str, dimension: Dimension) -> Option<Quantity> {
        let quantity = self.any_quantity(key)?;
        self.of_dimension(key, quantity, dimension)
    }

    /// A quantity of whatever dimension.
    pub(super) fn any_quantity(&self, key: &'static str) -> Option<Quantity> {
        self.parse_quantity(key, self.value(key)?)
    }

    /// A quantity, plain or as `{ value = "…", uncertainty = "…" }`.
    pub(super) fn measured(&self, key: &'static str, dimension: Dimension) -> Option<Measured> {
        let value = self.value(key)?;
        let Some(table) = value.get_ref().as_table() else {
            let quantity = self.of_dimension(key, self.parse_quantity(key, value)?, dimension)?;
            return Some(Measured { si: quantity.si(), quantity, standard_uncertainty: None });
        };
        let inner = Section::new(table, format!("{} of {}", key, self.name), value.span().start, self.notebook);
        if !inner.has("value") {
            inner.missing("value", "value = \"…\"");
        }
        let quantity = inner.quantity("value", dimension);
        let uncertainty = inner.uncertainty("uncertainty");
        inner.finish();
        let quantity = quantity?;
        let standard_uncertainty = match uncertainty.map(|u| u.standard(quantity.si(), dimension)) {
            None => None,
            Some(Ok(standard)) => Some(standard),
            Some(Err(error)) => {
                inner.note("uncertainty", Mistake::Uncertainty { key: "uncertainty".to_owned(), error });
                None
            }
        };
        Some(Measured { si: quantity.si(), quantity, standard_uncertainty })
    }

    /// Whether a key holds a quantity of the dimension, plain or with its uncertainty.
    pub(super) fn has_dimension(&self, key: &'static str, dimension: Dimension) -> bool {
        let text = self.value(key).and_then(|value| {
            let inner = value.get_ref().as_table().and_then(|table| table.iter().find(|(k, _)| k.get_ref() == "value"));
            inner.map_or(value, |(_, value)| value).get_ref().as_str()
        });
        text.is_some_and(|text| Quantity::parse(text).is_ok_and(|quantity| quantity.unit().dimension() == dimension))
    }

    /// A list of two quantities in rising order.
    pub(super) fn quantity_range(&self, key: &'static str) -> Option<(Quantity, Quantity)> {
        let value = self.value(key)?;
        let Some([low, high]) = value.get_ref().as_array().map(|items| &**items) else {
            self.wrong_type(key, value, "two quantities, for example [\"-1500 Pa\", \"1500 Pa\"]");
            return None;
        };
        let (low, high) = (self.parse_quantity(key, low)?, self.parse_quantity(key, high)?);
        let high = self.of_dimension(key, high, low.unit().dimension())?;
        if low.si() >= high.si() {
            let found = format!("from {low} to {high}");
            self.note(key, Mistake::Impossible { key: key.to_owned(), found, expected: "the lower value first" });
            return None;
        }
        Some((low, high))
    }

    pub(super) fn uncertainty(&self, key: &'static str) -> Option<Uncertainty> {
        let text = self.text(key)?;
        Uncertainty::parse(&text)
            .map_err(|error| self.note(key, Mistake::Uncertainty { key: key.to_owned(), error }))
            .ok()
    }

    pub(super) fn response(&self, key: &'static str) -> Option<Response> {
        let text = self.text(key)?;
        Response::parse(&text).map_err(|error| self.note(key, Mistake::Response { key: key.to_owned(), error })).ok()
    }

    pub(super) fn date(&self, key: &'static str) -> Option<jiff::civil::Date> {
        let value = self.value(key)?;
        let text = match value.get_ref() {
            DeValue::Datetime(datetime) => datetime.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => String::new(),
        };
        let date = text.get(..10).and_then(|day| day.parse().ok());
        if date.is_none() {
            self.wrong_type(key, value, "a date, for example 2026-05-02");
        }
        date
    }

    /// A table below this one.
    pub(super) fn section(&self, key: &'static str) -> Option<Section<'a>> {
        let value = self.value(key)?;
        let section = self.table_of(key, value);
        if section.is_none() {
            self.wrong_type(key, value, "a section");
        }
        section
    }

    /// Tables below this one: `[[key]]`, or one `[key]`.
    pub(super) fn sections(&self, key: &'static str) -> Vec<Section<'a>> {
        let Some(value) = self.value(key) else { return Vec::new() };
        if let Some(section) = self.table_of(key, value) {
            return vec![section];
        }
        let tables =
            value.get_ref().as_array().and_then(|items| items.iter().map(|item| self.table_of(key, item)).collect());
        tables.unwrap_or_else(|| {
            self.wrong_type(key, value, "a section in double brackets");
            Vec::new()
        })
    }

    /// Every key with a table, and every other key, of a section whose keys are names (instruments, columns, files).
    pub(super) fn named(&self) -> impl Iterator<Item = (&'a str, Value<'a>)> {
        self.table.iter().map(|(key, value)| (key.get_ref().as_ref(), value))
    }

    pub(super) fn table_of(&self, key: &str, value: Value<'a>) -> Option<Section<'a>> {
        let name = match self.name.as_str() {
            "the plan" => format!("[{key}]"),
            parent => format!("[{}.{key}]", parent.trim_matches(['[', ']'])),
        };
        let offset = self.span_of(key).map_or(value.span().start, |span| span.start.max(value.span().start));
        Some(Section::new(value.get_ref().as_table()?, name, offset, self.notebook))
    }

    /// Notes every key that no method above asked for.
    pub(super) fn finish(&self) {
        self.finish_except(|_, _| false);
    }

    /// As [`Section::finish`], sparing keys for which `spare` holds.
    pub(super) fn finish_except(&self, spare: impl Fn(&str, &DeValue<'_>) -> bool) {
        let asked = self.asked.borrow();
        for (key, value) in self.table {
            let name = key.get_ref().as_ref();
            if asked.contains(&name) || spare(name, value.get_ref()) {
                continue;
            }
            let mistake = Mistake::UnknownKey {
                key: name.to_owned(),
                section: self.name.clone(),
                nearest: nearest(name, asked.iter().copied()),
            };
            self.notebook.note(key.span().start, mistake);
        }
    }

    pub(super) fn wrong_type(&self, key: &str, value: Value<'_>, expected: &'static str) {
        let mistake = Mistake::WrongType { key: key.to_owned(), found: type_name(value.get_ref()), expected };
        self.notebook.note(value.span().start, mistake);
    }

    fn value(&self, key: &'static str) -> Option<Value<'a>> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        self.table.iter().find(|(name, _)| name.get_ref().as_ref() == key).map(|(_, value)| value)
    }

    fn span_of(&self, key: &str) -> Option<Range<usize>> {
        self.table.iter().find(|(name, _)| name.get_ref().as_ref() == key).map(|(name, _)| name.span())
    }

    pub(super) fn parse_quantity(&self, key: &str, value: Value<'_>) -> Option<Quantity> {
        let Some(text) = value.get_ref().as_str() else {
            self.wrong_type(key, value, "a quantity with its unit in quotes, for example \"-1000 Pa\"");
            return None;
        };
        let note = |error| self.notebook.note(value.span().start, Mistake::Quantity { key: key.to_owned(), error });
        Quantity::parse(text).map_err(note).ok()
    }

    fn of_dimension(&self, key: &str, quantity: Quantity, dimension: Dimension) -> Option<Quantity> {
        match quantity.si_of(dimension) {
            Ok(_) => Some(quantity),
            Err(error) => {
                self.note(key, Mistake::Quantity { key: key.to_owned(), error });
                None
            }
        }
    }
}

pub(super) fn whole_number(value: &Spanned<DeValue<'_>>) -> Option<i64> {
    value.get_ref().as_integer().and_then(|number| i64::from_str_radix(number.as_str(), number.radix()).ok())
}

fn type_name(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a plain number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a section",
    }
}
