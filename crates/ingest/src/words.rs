//! Quantity words of English, German, French, Spanish and Dutch. No maker's labels: only what a thing is called.

use tightfit_quantity::{Dimension, Unit};

use crate::channel::Channel;
use crate::fold::Folded;

/// What a header's words say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Guess {
    /// A channel.
    Channel(Channel),
    /// A pressure, and nothing says of what.
    Pressure,
    /// A temperature, and nothing says of what.
    Temperature,
    /// Moisture that may be a mole fraction or relative humidity, by unit.
    Humidity,
    /// A flow, and nothing says of what.
    Flow,
}

const TIME: &[&str] = &[
    "time",
    "zeit",
    "temps",
    "hora",
    "tijd",
    "date",
    "datum",
    "fecha",
    "datetime",
    "timestamp",
    "zeitstempel",
    "horodatage",
    "elapsed",
    "epoch",
    "uhrzeit",
    "heure",
    "tijdstip",
    "hours",
    "minutes",
    "seconds",
    "stunden",
    "sekunden",
    "clock",
    "utc",
    "sec",
    "secs",
];

/// Whether a header names a pressure that is marked positive below the room's, as long as its numbers are positive.
pub(crate) fn counts_below_the_room(header: &str) -> bool {
    Folded::new(header).has(BELOW_THE_ROOM)
}

/// Whether a header names a time.
pub(crate) fn is_time(name: &str) -> bool {
    let folded = Folded::new(name);
    folded.has(TIME) && !folded.has(&["temperatur", "zeitkonstante", "time constant", "runtime", "operating"])
        || folded.is(&["t", "ts", "zeit s", "t s", "t min", "t h", "etime", "h", "min", "s"])
        || folded.whole_word_unit().is_some()
}

/// A header that names nothing by itself: blank, a number, `Ch 1`, `Sensor 2`.
pub(crate) fn needs_words_above(name: &str) -> bool {
    let folded = Folded::new(name);
    let letters: String = folded.joined.chars().filter(|c| !c.is_ascii_digit()).collect();
    matches!(
        letters.as_str(),
        "" | "ch" | "channel" | "kanal" | "canal" | "kanaal" | "sensor" | "probe" | "value" | "wert"
    )
}

/// A lone letter that names a quantity rather than a unit: `T`, `P`, `F`.
pub(crate) fn is_quantity_letter(header: &str) -> bool {
    header.trim().chars().count() <= 2 && !header.trim().starts_with('°') && !header.trim().starts_with('%')
}

const GAUGE: &[&str] = &[
    "gauge",
    "differential",
    "difference",
    "delta",
    "diff",
    "differenz",
    "uberdruck",
    "ueberdruck",
    "unterdruck",
    "relative",
    "relativ",
    "relativdruck",
    "differentielle",
    "diferencial",
    "relativa",
    "manometrica",
    "verschil",
    "overdruk",
    "onderdruk",
    "overpressure",
    "underpressure",
    "surpression",
    "depression",
    "sobrepresion",
    "effective",
    "boxdruck",
    "box pressure",
];
/// Words of a pressure that is marked positive below the room's.
const BELOW_THE_ROOM: &[&str] = &[
    "unterdruck",
    "underpressure",
    "negative pressure",
    "onderdruk",
    "depression",
    "depresion",
    "vacuum",
    "vakuum",
    "vide",
    "vacio",
];
/// Words between two places whose pressures are compared.
const AGAINST: &[&str] =
    &["gegen", "vs", "versus", "against", "relative to", "relativ zu", "gegenuber", "minus", "par rapport", "respecto"];
const WITHIN: &[&str] = &["inside", "inner", "innen", "interior", "interieur", "binnen", "box", "enclosure"];
const ABSOLUTE: &[&str] = &["absolute", "absolut", "absolutdruck", "absolue", "absoluta", "absoluut", "abs"];
const ROOM: &[&str] = &[
    "room",
    "ambient",
    "ambiant",
    "ambiente",
    "baro",
    "barometric",
    "barometer",
    "barometrisch",
    "atmospheric",
    "atmospharisch",
    "atmosphar",
    "atmosfer",
    "atmospherique",
    "raum",
    "umgebung",
    "aussen",
    "luftdruck",
    "luchtdruk",
    "piece",
    "salle",
    "sala",
    "habitacion",
    "kamer",
    "ruimte",
    "omgeving",
    "outside",
    "outdoor",
    "exterieur",
    "exterior",
    "buiten",
    "air pressure",
    "airpres",
    "amb",
];
const ANTECHAMBER: &[&str] = &[
    "antechamber",
    "airlock",
    "load lock",
    "loadlock",
    "transfer chamber",
    "schleuse",
    "vorkammer",
    "sas",
    "antichambre",
    "antecamara",
    "esclusa",
    "sluis",
    "voorkamer",
];
const REFERENCE: &[&str] = &[
    "reference vessel",
    "reference volume",
    "referenzvolumen",
    "referenzbehalter",
    "referenzgefass",
    "vergleichsvolumen",
    "enceinte de reference",
    "recipiente de referencia",
    "volumen de referencia",
    "referentievat",
    "ref vessel",
];
const VESSEL: &[&str] = &[
    "vessel",
    "reactor",
    "purifier",
    "reaktor",
    "reiniger",
    "reinigersaule",
    "saule",
    "column",
    "catalyst",
    "katalysator",
    "adsorber",
    "regenerat",
    "regeneration",
    "heater",
    "heizung",
    "epurateur",
    "purificateur",
    "purificador",
    "reacteur",
    "zuiveraar",
    "zuivering",
    "recipiente",
    "behalter",
];
const INSIDE: &[&str] = &[
    "gas",
    "gastemp",
    "inside",
    "internal",
    "inner",
    "innen",
    "kammer",
    "chamber",
    "box",
    "enclosure",
    "interior",
    "interieur",
    "interne",
    "binnen",
    "caja",
    "enceinte",
    "boite",
    "kast",
    "atmosphere",
    "gehause",
    "werkraum",
];
const WALL: &[&str] = &["wall", "wand", "paroi", "pared", "surface", "oberflache", "skin", "shell"];
const PRESSURE: &[&str] = &["pressure", "presure", "druck", "pression", "presion", "press", "druk"];
const SUPPLY: &[&str] = &["supply", "versorgung", "alimentation", "suministro"];
const TEMPERATURE: &[&str] = &["temperature", "temperatur", "temp", "temperatuur", "temperatura"];
const OXYGEN: &[&str] = &["o2", "oxygen", "sauerstoff", "oxygene", "oxigeno", "zuurstof", "oxy"];
const DEW: &[&str] = &["dew", "dewpoint", "taupunkt", "rosee", "rocio", "dauwpunt", "dauw"];
const FROST: &[&str] =
    &["frost", "frostpoint", "frostpunkt", "reifpunkt", "givre", "escarcha", "vorstpunt", "rijppunt", "rijp"];
const WATER: &[&str] = &[
    "h2o",
    "water",
    "wasser",
    "eau",
    "agua",
    "moisture",
    "feuchte",
    "feuchtigkeit",
    "wassergehalt",
    "humedad",
    "vocht",
    "vochtgehalte",
    "wasserdampf",
    "vapour",
    "vapor",
];
const HUMIDITY: &[&str] = &[
    "humidity",
    "humid",
    "humidite",
    "humedad relativa",
    "luchtvochtigheid",
    "vochtigheid",
    "luftfeuchte",
    "luftfeuchtigkeit",
    "rh",
    "rel feuchte",
    "relhum",
];
const FLOW: &[&str] =
    &["flow", "durchfluss", "volumenstrom", "strom", "debit", "caudal", "debiet", "flujo", "stroming"];
const MAKEUP: &[&str] = &[
    "makeup",
    "make up",
    "refill",
    "feed",
    "supply",
    "nachspeisung",
    "nachfull",
    "zufuhr",
    "appoint",
    "reposicion",
    "aporte",
    "suppletie",
    "toevoer",
    "nachstrom",
];
const CIRCULATION: &[&str] = &[
    "circulation",
    "recirculation",
    "circ",
    "blower",
    "umwalz",
    "umluft",
    "kreislauf",
    "recirculacion",
    "circulatie",
    "geblase",
    "ventilator",
    "soufflante",
    "fan",
];
const PURGE: &[&str] = &["purge", "spul", "spulgas", "spoel", "purga", "balayage", "sweep", "flush"];
const TOTAL: &[&str] = &[
    "total",
    "totalizer",
    "totaliser",
    "summe",
    "zahler",
    "cumul",
    "cumulative",
    "totaal",
    "teller",
    "counter",
    "acumulado",
    "menge",
    "verbrauch",
    "consumption",
];

/// What the words of a header, and its unit, say it is.
pub(crate) fn guess(name: &str, unit: Option<&Unit>) -> Option<Guess> {
    let words = Folded::new(name);
    let dimension = unit.map(Unit::dimension);
    if words.has(&[
        "setpoint",
        "sollwert",
        "consigne",
        "setpunt",
        "alarm",
        "limit",
        "grenzwert",
        "battery",
        "batterie",
        "battery voltage",
        "calibration",
        "kalibrier",
        "phase",
        "stdev",
        "absorptance",
        "absorption",
        "absorbance",
        "cylinder",
        "bottle",
        "flasche",
        "vordruck",
        "accumulator",
        "regulator",
    ]) || words.has_word(&["sd", "std", "soll", "set", "sp", "raw", "source"])
    {
        return None;
    }
    if let Some(channel) = Channel::parse(name.trim()).filter(|channel| *channel != Channel::Time) {
        return Some(Guess::Channel(channel));
    }
    moisture(&words, dimension)
        .or_else(|| oxygen(&words, dimension))
        .or_else(|| flow(&words, dimension))
        .or_else(|| pressure(&words, unit))
        .or_else(|| temperature(&words, dimension))
        .or_else(|| state(&words, dimension))
        .or_else(|| by_unit(dimension))
}

fn moisture(words: &Folded, dimension: Option<Dimension>) -> Option<Guess> {
    let fits = |wanted: &[Dimension]| dimension.is_none_or(|found| wanted.contains(&found));
    if (words.has(DEW)
        || words.has(FROST)
        || words.has_word(&["td", "dp"]) && matches!(dimension, Some(Dimension::Temperature | Dimension::DewPoint)))
        && fits(&[Dimension::Temperature, Dimension::DewPoint])
    {
        return Some(Guess::Channel(Channel::Water));
    }
    if dimension == Some(Dimension::DewPoint) || words.is(&["h2o"]) && dimension == Some(Dimension::Temperature) {
        return Some(Guess::Channel(Channel::Water));
    }
    let is_relative = words.has(&[
        "relative humidity",
        "rel feuchte",
        "relative feuchte",
        "humidite relative",
        "humedad relativa",
        "relatieve vochtigheid",
        "rh",
        "relhum",
        "rf",
        "hr",
        "rv",
    ]);
    if (words.has(HUMIDITY) || is_relative) && fits(&[Dimension::Ratio]) && !words.has(&["temperature", "temp"]) {
        return Some(if is_relative { Guess::Channel(Channel::RoomRelativeHumidity) } else { Guess::Humidity });
    }
    if words.has(WATER)
        && !words.has(TEMPERATURE)
        && !words.has(&["level", "stand", "peil", "flow", "kuhlwasser", "cooling"])
        && fits(&[Dimension::Ratio])
    {
        return Some(if words.has(&["feuchte", "feuchtigkeit", "humedad", "vocht"]) {
            Guess::Humidity
        } else {
            Guess::Channel(Channel::Water)
        });
    }
    None
}

fn oxygen(words: &Folded, dimension: Option<Dimension>) -> Option<Guess> {
    let fits = dimension.is_none_or(|found| found == Dimension::Ratio);
    (words.has(OXYGEN) && fits && !words.has(TEMPERATURE) && !words.has(&["phase", "co2", "pressure"]))
        .then_some(Guess::Channel(Channel::Oxygen))
}

fn flow(words: &Folded, dimension: Option<Dimension>) -> Option<Guess> {
    let is_total = matches!(dimension, Some(Dimension::Volume | Dimension::StandardVolume))
        || dimension.is_none() && words.has(TOTAL) && words.has(MAKEUP);
    if is_total {
        return (words.has(MAKEUP) || words.has(TOTAL)).then_some(Guess::Channel(Channel::MakeupTotal));
    }
    let is_flow = matches!(dimension, Some(Dimension::VolumeFlow | Dimension::StandardVolumeFlow))
        || dimension.is_none() && words.has(FLOW);
    if !is_flow {
        return None;
    }
    Some(if words.has(MAKEUP) {
        Guess::Channel(Channel::MakeupFlow)
    } else if words.has(&["regenerat", "regen"]) {
        Guess::Channel(Channel::RegenerationFlow)
    } else if words.has(CIRCULATION) || words.has(&["purifier", "reiniger"]) {
        Guess::Channel(Channel::CirculationFlow)
    } else if words.has(PURGE) {
        Guess::Channel(Channel::PurgeFlow)
    } else {
        Guess::Flow
    })
}

fn pressure(words: &Folded, unit: Option<&Unit>) -> Option<Guess> {
    use tightfit_quantity::PressureReference;
    let is_word = words.has(PRESSURE)
        || words.has_word(&["p", "dp", "pabs", "prel", "pdiff", "pgauge", "patm", "pbaro", "pamb", "proom"])
        || words.has(&["vacuum", "vakuum", "vide", "vacio", "vacuum level", "baro"]);
    let is_unit = unit.is_some_and(|unit| unit.dimension() == Dimension::Pressure);
    if unit.is_some_and(|unit| unit.dimension() != Dimension::Pressure) || !(is_word || is_unit) || words.has(SUPPLY) {
        return None;
    }
    let reference = unit.and_then(Unit::pressure_reference);
    Some(if words.has(ANTECHAMBER) {
        Guess::Channel(Channel::AntechamberPressure)
    } else if words.has(REFERENCE) {
        Guess::Channel(Channel::ReferenceVesselPressure)
    } else if words.has(VESSEL) {
        Guess::Channel(Channel::VesselPressure)
    } else if words.has(ROOM) && words.has(AGAINST) {
        Guess::Channel(Channel::GaugePressure)
    } else if words.has(ROOM) && words.has(WITHIN) {
        // A difference, or a pressure inside: the values tell.
        Guess::Pressure
    } else if words.has(ROOM) || words.has_word(&["patm", "pbaro", "pamb", "proom"]) {
        Guess::Channel(Channel::RoomPressure)
    } else if words.has(ABSOLUTE) || words.has_word(&["pabs"]) || reference == Some(PressureReference::Absolute) {
        Guess::Channel(Channel::AbsolutePressure)
    } else if words.has(GAUGE)
        || words.has_word(&["dp", "prel", "pdiff", "pgauge"])
        || words.spaced.contains(" d p ")
        || reference == Some(PressureReference::Gauge)
    {
        Guess::Channel(Channel::GaugePressure)
    } else {
        Guess::Pressure
    })
}

fn temperature(words: &Folded, dimension: Option<Dimension>) -> Option<Guess> {
    let is_word = words.has(TEMPERATURE) || words.has_word(&["t", "tgas", "troom", "twall", "tamb", "tin", "tout"]);
    let is_unit = dimension == Some(Dimension::Temperature);
    if !is_unit && (dimension.is_some() || !is_word) {
        return None;
    }
    Some(if words.has(WALL) || words.has_word(&["twall"]) {
        Guess::Channel(Channel::WallTemperature)
    } else if words.has(VESSEL) {
        Guess::Channel(Channel::VesselTemperature)
    } else if words.has(ROOM) || words.has_word(&["troom", "tamb", "ambt"]) {
        Guess::Channel(Channel::RoomTemperature)
    } else if words.has(INSIDE) || words.has_word(&["tgas", "tin"]) {
        Guess::Channel(Channel::GasTemperature)
    } else {
        Guess::Temperature
    })
}

fn state(words: &Folded, dimension: Option<Dimension>) -> Option<Guess> {
    if dimension.is_some_and(|found| found != Dimension::Ratio) {
        return None;
    }
    let channel = if words.has(&["valve", "ventil", "vanne", "valvula", "ventiel", "klep"]) {
        Channel::ValveOpen
    } else if words.has(&[
        "purifier on",
        "purifier",
        "blower",
        "reiniger",
        "geblase",
        "epurateur",
        "purificador",
        "zuiveraar",
    ]) && dimension.is_none()
    {
        Channel::PurifierOn
    } else if names_transfer(words) && dimension.is_none() {
        Channel::Transfer
    } else if words.has_word(&["event", "ereignis", "evenement", "evento", "gebeurtenis"]) {
        Channel::Event
    } else {
        return None;
    };
    Some(Guess::Channel(channel))
}

/// Whether words name a transfer through the antechamber.
pub(crate) fn names_transfer(words: &Folded) -> bool {
    words.has(&["transfer", "schleusung", "transfert", "transferencia"])
}

/// Whether a header is that of remarks.
pub(crate) fn is_remark(name: &str) -> bool {
    let words = Folded::new(name);
    words.has_word(&["note", "notes", "nota", "notas"])
        || words.has(&[
            "remark",
            "comment",
            "kommentar",
            "bemerkung",
            "anmerkung",
            "notiz",
            "remarque",
            "commentaire",
            "comentario",
            "observacion",
            "opmerking",
        ])
}

fn by_unit(dimension: Option<Dimension>) -> Option<Guess> {
    match dimension? {
        Dimension::Pressure => Some(Guess::Pressure),
        Dimension::Temperature => Some(Guess::Temperature),
        Dimension::VolumeFlow | Dimension::StandardVolumeFlow => Some(Guess::Flow),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(header: &str) -> Option<Channel> {
        let (name, unit) = crate::unit_text::split(header);
        match guess(&name, unit.and_then(|text| crate::unit_text::parse(&text)).as_ref()) {
            Some(Guess::Channel(channel)) => Some(channel),
            _ => None,
        }
    }

    #[test]
    fn quantities_are_known_in_five_languages() {
        use Channel as C;
        for (header, expected) in [
            ("dP (Pa)", C::GaugePressure),
            ("Differential pressure [Pa]", C::GaugePressure),
            ("Differenzdruck (Pa)", C::GaugePressure),
            ("Überdruck [mbar]", C::GaugePressure),
            ("Pression différentielle (Pa)", C::GaugePressure),
            ("Presión diferencial (Pa)", C::GaugePressure),
            ("Verschildruk (Pa)", C::GaugePressure),
            ("Δp [Pa]", C::GaugePressure),
            ("gauge_pressure", C::GaugePressure),
            ("p (mbar gauge)", C::GaugePressure),
            ("Barometric pressure [hPa]", C::RoomPressure),
            ("Luftdruck hPa", C::RoomPressure),
            ("Pression atmosphérique (hPa)", C::RoomPressure),
            ("Presión atmosférica (hPa)", C::RoomPressure),
            ("Luchtdruk (hPa)", C::RoomPressure),
            ("Raumdruck (hPa)", C::RoomPressure),
            ("Absolutdruck (kPa)", C::AbsolutePressure),
            ("Presión absoluta (kPa)", C::AbsolutePressure),
            ("Room temperature (°C)", C::RoomTemperature),
            ("Raumtemperatur (°C)", C::RoomTemperature),
            ("Température ambiante (°C)", C::RoomTemperature),
            ("Temperatura ambiente (°C)", C::RoomTemperature),
            ("Kamertemperatuur (°C)", C::RoomTemperature),
            ("Gas temp (°C)", C::GasTemperature),
            ("Gastemperatur [°C]", C::GasTemperature),
            ("Wandtemperatur (°C)", C::WallTemperature),
            ("Température de paroi (°C)", C::WallTemperature),
            ("O2 (ppm)", C::Oxygen),
            ("Sauerstoff [ppm]", C::Oxygen),
            ("Oxygène (ppm)", C::Oxygen),
            ("Oxígeno (ppm)", C::Oxygen),
            ("Zuurstof (ppm)", C::Oxygen),
            ("H2O ppm", C::Water),
            ("Taupunkt (°C)", C::Water),
            ("Point de rosée (°C)", C::Water),
            ("Punto de rocío (°C)", C::Water),
            ("Dauwpunt (°C)", C::Water),
            ("Moisture (ppmv)", C::Water),
            ("Frost point °C", C::Water),
            ("Relative humidity (%)", C::RoomRelativeHumidity),
            ("rel. Feuchte (%)", C::RoomRelativeHumidity),
            ("Humidité relative (%)", C::RoomRelativeHumidity),
            ("Circulation flow (m3/h)", C::CirculationFlow),
            ("Umwälzvolumenstrom (m3/h)", C::CirculationFlow),
            ("Make-up flow (NL/min)", C::MakeupFlow),
            ("Purge flow (L/min)", C::PurgeFlow),
            ("Antechamber pressure (mbar)", C::AntechamberPressure),
            ("Schleusendruck (mbar)", C::AntechamberPressure),
            ("Reactor temperature (°C)", C::VesselTemperature),
            ("Make-up total (L)", C::MakeupTotal),
        ] {
            assert_eq!(channel(header), Some(expected), "{header}");
        }
    }

    #[test]
    fn other_things_are_left_alone() {
        for header in [
            "CO2 (ppm)",
            "Battery (V)",
            "Collar",
            "Phase",
            "RECORD",
            "O2 setpoint (ppm)",
            "[CO2]_ppm_sd",
            "Water level (m)",
            "Oxygen (mg/L)",
            "Name",
        ] {
            assert_eq!(channel(header), None, "{header}");
        }
    }
}
