//! The table of a gauge with a voltage output: pairs of signal and pressure.

use std::sync::Arc;

use tightfit_ingest::{Channel, Conversion, Interpolation, Kind};
use tightfit_quantity::{Dimension, Quantity};
use toml::Spanned;
use toml::de::DeValue;

use super::super::mistake::{Mistake, nearest};
use super::super::section::Section;

const PAIRS: &str = "pairs of signal and pressure, for example [[\"1 V\", \"0.1 Pa\"], [\"9 V\", \"100 kPa\"]]";
const WORDS: [&str; 2] = ["linear", "logarithmic"];

/// The keys `conversion` and `interpolation` of a column.
pub(super) fn read(
    section: &Section<'_>,
    channel: Channel,
    value: Option<&Spanned<DeValue<'_>>>,
    interpolation: Option<&str>,
) -> Option<Arc<Conversion>> {
    let name = channel.as_str();
    let interpolation = match interpolation {
        None | Some("linear") => Interpolation::Linear,
        Some("logarithmic") => Interpolation::Logarithmic,
        Some(found) => {
            let nearest = nearest(found, WORDS);
            let allowed = WORDS.map(str::to_owned).to_vec();
            let key = "interpolation".to_owned();
            section.note(name, Mistake::UnknownWord { key, found: found.to_owned(), nearest, allowed });
            return None;
        }
    };
    let value = value?;
    let impossible = |found: String, expected| {
        section.note(name, Mistake::Impossible { key: format!("{name}.conversion"), found, expected });
    };
    if channel.kind() != Kind::Pressure {
        impossible(format!("a conversion of {name}"), "a conversion of a pressure channel");
        return None;
    }
    let Some(pairs) = value.get_ref().as_array().and_then(|items| items.iter().map(pair).collect::<Option<Vec<_>>>())
    else {
        section.wrong_type(name, value, PAIRS);
        return None;
    };
    let (mut table, mut unit) = (Vec::new(), None);
    for [signal, pressure] in pairs {
        let signal = section.parse_quantity(name, signal)?;
        let pressure = section.parse_quantity(name, pressure)?;
        let dimensions = [&signal, &pressure].map(|quantity| quantity.unit().dimension());
        if dimensions != [Dimension::Voltage, Dimension::Pressure] {
            impossible(format!("[\"{signal}\", \"{pressure}\"]"), "a voltage and a pressure in each pair");
            return None;
        }
        let first = unit.get_or_insert_with(|| pressure.unit().clone());
        if first.pressure_reference() != pressure.unit().pressure_reference() {
            impossible(format!("\"{pressure}\""), "pressures that all count from the same: absolute, gauge or vacuum");
            return None;
        }
        table.push([signal.si(), pressure.si()]);
    }
    let unit = unit.or_else(|| Some(Quantity::parse("1 Pa").ok()?.unit().clone()))?;
    let symbol = unit.symbol().to_owned();
    Conversion::new(table, interpolation, unit, symbol)
        .map_err(|error| impossible(error.to_string(), PAIRS))
        .ok()
        .map(Arc::new)
}

fn pair<'v, 't>(value: &'v Spanned<DeValue<'t>>) -> Option<[&'v Spanned<DeValue<'t>>; 2]> {
    let [signal, pressure] = &**value.get_ref().as_array()? else { return None };
    Some([signal, pressure])
}
