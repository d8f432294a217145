//! Instruments and what is known of their errors.

use jiff::civil::Date;
use tightfit_quantity::{Dimension, Gas, Quantity, Response, StandardReference, Uncertainty};

use super::mistake::Mistake;
use super::section::Section;

/// An instrument of the plan. Which quantity it measures shows only where a column names it, so units are
/// checked there, see [`Instrument::resolution_si`] and its like.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// Its name in the plan.
    pub name: String,
    /// Smallest step of its readings.
    pub resolution: Option<Quantity>,
    /// Uncertainty of its readings, resolution apart.
    pub uncertainty: Option<Uncertainty>,
    /// First-order response.
    pub response: Option<Response>,
    /// Readings below are censored.
    pub reporting_limit: Option<Quantity>,
    /// Lowest and highest reading.
    pub range: Option<(Quantity, Quantity)>,
    /// What it showed at a known zero: value and its uncertainty as written. Subtracted from its readings.
    pub zero_check: Option<ZeroCheck>,
    /// Dead time, s.
    pub dead_time_s: Option<f64>,
    /// Bound on zero drift during a test.
    pub drift: Option<Quantity>,
    /// What a flow meter's volumes refer to.
    pub reference: Option<StandardReference>,
    /// What the scale of a float-type flow meter was made for.
    pub made_for: Option<MadeFor>,
    /// How far its clock is off.
    pub clock: ClockOffset,
    /// Serial number.
    pub serial: Option<String>,
    /// Day of calibration.
    pub calibrated: Option<Date>,
    /// Day on which the calibration runs out.
    pub due: Option<Date>,
    /// Whether it stays on the enclosure.
    pub stays_on: Option<bool>,
}

/// The reading at a known zero.
#[derive(Debug, Clone, PartialEq)]
pub struct ZeroCheck {
    /// What the instrument showed.
    pub reading: Quantity,
    /// Uncertainty of that.
    pub uncertainty: Option<Uncertainty>,
}

/// Gas and conditions for which the scale of a float-type flow meter was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MadeFor {
    /// Gas.
    pub gas: Gas,
    /// Pressure, Pa absolute.
    pub pressure_pa: f64,
    /// Temperature, K.
    pub temperature_k: f64,
}

/// What is known of a logger's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClockOffset {
    /// Nothing is said of it.
    NotStated,
    /// Its time is ahead by so many seconds.
    Known(f64),
    /// Anything up to so many seconds either way; to be estimated from the data.
    UnknownWithin(f64),
}

impl Instrument {
    pub(super) fn read(name: &str, section: &Section<'_>) -> Self {
        let instrument = Self {
            name: name.to_owned(),
            resolution: section.any_quantity("resolution").filter(|r| not_negative(section, "resolution", r)),
            uncertainty: section.uncertainty("uncertainty"),
            response: section.response("response"),
            reporting_limit: section.any_quantity("reporting_limit"),
            range: section.quantity_range("range"),
            zero_check: zero_check(section),
            dead_time_s: section.quantity("dead_time", Dimension::Time).map(|time| time.si()),
            drift: section.any_quantity("drift").filter(|drift| not_negative(section, "drift", drift)),
            reference: reference(section),
            made_for: made_for(section),
            clock: clock(section),
            serial: section.text("serial"),
            calibrated: section.date("calibrated"),
            due: section.date("due"),
            stays_on: section.boolean("stays_on"),
        };
        section.finish();
        instrument
    }

    /// The resolution in SI units, if it is a step of `dimension`.
    #[must_use]
    pub fn resolution_si(&self, dimension: Dimension) -> Option<f64> {
        self.resolution.as_ref()?.si_difference_of(dimension).ok()
    }

    /// The drift bound in SI units a second, if it is of `dimension`.
    #[must_use]
    pub fn drift_si(&self, dimension: Dimension) -> Option<f64> {
        let drift = self.drift.as_ref()?;
        (drift.unit().dimension() == dimension).then(|| drift.unit().difference_to_si(drift.value()))
    }

    /// The zero reading in SI units and its standard uncertainty, if it is of `dimension`.
    #[must_use]
    pub fn zero_check_si(&self, dimension: Dimension) -> Option<(f64, f64)> {
        let check = self.zero_check.as_ref()?;
        let reading = check.reading.si_difference_of(dimension).ok()?;
        let uncertainty = check.uncertainty.as_ref().and_then(|u| u.standard(reading, dimension).ok());
        Some((reading, uncertainty.unwrap_or(0.0)))
    }

    /// Mistakes that show only once a column says what the instrument measures.
    pub(super) fn check_dimension(&self, dimension: Dimension) -> Vec<Mistake> {
        let mut mistakes = Vec::new();
        let quantities = [
            ("resolution", self.resolution.as_ref()),
            ("reporting_limit", self.reporting_limit.as_ref()),
            ("range", self.range.as_ref().map(|(low, _)| low)),
            ("zero_check", self.zero_check.as_ref().map(|check| &check.reading)),
        ];
        for (key, quantity) in quantities {
            // A moisture analyser may state its figures as dew points.
            let dew = dimension == Dimension::Ratio
                && quantity
                    .is_some_and(|q| matches!(q.unit().dimension(), Dimension::DewPoint | Dimension::Temperature));
            if let Some(Err(error)) = quantity.map(|q| q.si_of(dimension))
                && !dew
            {
                mistakes.push(Mistake::Quantity { key: self.key(key), error });
            }
        }
        if let Some(Err(error)) = self.uncertainty.as_ref().map(|u| u.absolute(dimension))
            && dimension != Dimension::Ratio
        {
            mistakes.push(Mistake::Uncertainty { key: self.key("uncertainty"), error });
        }
        mistakes
    }

    fn key(&self, key: &str) -> String {
        format!("instruments.{}.{key}", self.name)
    }
}

fn not_negative(section: &Section<'_>, key: &'static str, quantity: &Quantity) -> bool {
    if quantity.value() >= 0.0 {
        return true;
    }
    let found = quantity.text().to_owned();
    section.note(key, Mistake::Impossible { key: key.to_owned(), found, expected: "zero or more" });
    false
}

fn zero_check(section: &Section<'_>) -> Option<ZeroCheck> {
    if !section.has("zero_check") {
        return None;
    }
    let inner = section.section("zero_check")?;
    if !inner.has("value") {
        inner.missing("value", "value = \"0.37 hPa\"");
    }
    let check =
        inner.any_quantity("value").map(|reading| ZeroCheck { reading, uncertainty: inner.uncertainty("uncertainty") });
    inner.finish();
    check
}

fn reference(section: &Section<'_>) -> Option<StandardReference> {
    let inner = section.section("reference")?;
    let temperature = inner.quantity("temperature", Dimension::Temperature);
    let pressure = inner.quantity("pressure", Dimension::Pressure);
    for (key, found, example) in [
        ("temperature", temperature.is_some(), "temperature = \"20 °C\""),
        ("pressure", pressure.is_some(), "pressure = \"101325 Pa\""),
    ] {
        if !found && !inner.has(key) {
            inner.missing(key, example);
        }
    }
    inner.finish();
    Some(StandardReference { temperature_k: temperature?.si(), pressure_pa: pressure?.si() })
}

fn made_for(section: &Section<'_>) -> Option<MadeFor> {
    let inner = section.section("made_for")?;
    for (key, example) in
        [("gas", "gas = \"air\""), ("pressure", "pressure = \"101325 Pa\""), ("temperature", "temperature = \"20 °C\"")]
    {
        if !inner.has(key) {
            inner.missing(key, example);
        }
    }
    let gas = inner.word("gas", &Gas::ALL.map(Gas::name)).and_then(|name| Gas::parse(&name));
    let pressure = inner.quantity("pressure", Dimension::Pressure);
    let temperature = inner.quantity("temperature", Dimension::Temperature);
    inner.finish();
    Some(MadeFor { gas: gas?, pressure_pa: pressure?.si(), temperature_k: temperature?.si() })
}

fn clock(section: &Section<'_>) -> ClockOffset {
    let Some(text) = section.text("clock_offset") else { return ClockOffset::NotStated };
    let (bound, within) = match text.strip_prefix("unknown within") {
        Some(bound) => (bound, true),
        None => (text.as_str(), false),
    };
    match Quantity::parse(bound).and_then(|time| time.si_of(Dimension::Time)) {
        Ok(seconds) if within => ClockOffset::UnknownWithin(seconds.abs()),
        Ok(seconds) => ClockOffset::Known(seconds),
        Err(error) => {
            section.note("clock_offset", Mistake::Quantity { key: "clock_offset".to_owned(), error });
            ClockOffset::NotStated
        }
    }
}
