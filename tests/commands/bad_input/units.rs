//! Quantities without unit, of the wrong kind, or that cannot be.

use super::case::{Case, case, try_all};

fn cases() -> Vec<Case> {
    let volume = |given, text: &str| case(given).plan_with("\"0.92 m3\"", text);
    vec![
        volume("a volume without unit", "\"0.92\"").says(&[
            "line 5",
            "\"volume\": \"0.92\" has no unit",
            "for example in m3, L",
        ]),
        volume("a volume as a bare number", "0.92").says(&[
            "line 5",
            "\"volume\" is a plain number",
            "with its unit in quotes",
        ]),
        volume("a unit nobody knows", "\"0.92 m4\"")
            .says(&["line 5", "\"0.92 m4\" is another quantity, expected a volume"]),
        volume("a misspelt unit", "\"920 litters\"").says(&["line 5", "litters"]),
        volume("a volume in pascals", "\"0.92 Pa\"").says(&["line 5", "\"volume\"", "pressure", "volume"]),
        volume("a volume of zero", "\"0 m3\"").says(&["line 5", "\"volume\" is 0 m3, which cannot be"]),
        volume("a negative volume", "\"-0.92 m3\"").says(&["line 5", "\"volume\" is -0.92 m3, which cannot be"]),
        volume("a volume that is no number", "\"NaN m3\"").says(&["line 5", "\"volume\"", "NaN"]),
        volume("an endless volume", "\"inf m3\"").says(&["line 5", "\"volume\"", "inf"]),
        volume("a number beyond all numbers", "\"1e999 m3\"").says(&["line 5", "\"volume\"", "1e999"]),
        volume("two decimal points", "\"0.9.2 m3\"").says(&[
            "line 5",
            "\"0.9.2 m3\" is no number that can be read",
            "one decimal point",
        ]),
        volume("a decimal comma in a plan", "\"0,92 m3\"").says(&[
            "line 5",
            "\"0,92 m3\" is no number that can be read",
            "one decimal point, no comma",
        ]),
        volume("an empty quantity", "\"\"").says(&["line 5", "\"volume\""]),
        volume("an uncertainty without value", "{ uncertainty = \"2 %\" }").says(&["line 5", "value"]),
        volume("a negative uncertainty", "{ value = \"0.92 m3\", uncertainty = \"-2 %\" }").says(&[
            "line 5",
            "uncertainty",
            "-2 %",
        ]),
        volume(
            "an uncertainty with a coverage nobody knows",
            "{ value = \"0.92 m3\", uncertainty = \"2 % (perhaps)\" }",
        )
        .says(&["line 5", "perhaps"]),
        case("a rated pressure from high to low")
            .plan_with("[\"-1500 Pa\", \"1500 Pa\"]", "[\"1500 Pa\", \"-1500 Pa\"]")
            .says(&["line 6", "\"rated_pressure\""]),
        case("a rated pressure of one value")
            .plan_with("[\"-1500 Pa\", \"1500 Pa\"]", "\"1500 Pa\"")
            .says(&["line 6", "\"rated_pressure\""]),
        case("a test pressure beyond the rated pressure")
            .plan_with("reference_pressure = \"-1000 Pa\"", "reference_pressure = \"-2000 Pa\"")
            .says(&[
                "line 17",
                "-2000 Pa is beyond the rated pressure of the enclosure (-1500 Pa to 1500 Pa)",
                "gloves and windows can burst",
            ]),
        case("an absolute pressure as a reference pressure")
            .plan_with("reference_pressure = \"-1000 Pa\"", "reference_pressure = \"1003 mbar absolute\"")
            .says(&["line 17", "reference_pressure"]),
        case("a reference pressure of zero")
            .plan_with("reference_pressure = \"-1000 Pa\"", "reference_pressure = \"0 Pa\"")
            .says(&["reference"]),
        case("a room without air").plan_with("1013 hPa", "0 hPa").says(&["line 9", "pressure"]),
        case("a room below absolute zero")
            .plan_with("[room]", "[room]\ntemperature = \"-300 °C\"")
            .says(&["line 9", "\"temperature\": \"-300 °C\" is below absolute zero"]),
        case("a relative humidity above 100 %")
            .plan_with("[room]", "[room]\nrelative_humidity = \"140 %\"")
            .says(&["line 9", "\"relative_humidity\""]),
        case("a negative compliance").plan_with("0 L/Pa", "-1 L/Pa").says(&["line 7", "\"compliance\""]),
        case("a response time without words").plan_with("due =", "response = \"fast\"\ndue =").says(&[
            "line 12",
            "\"response\"",
            "t90",
        ]),
        case("a glove without thickness unit")
            .plan_and(
                "[[enclosure.gloves]]\nmaterial = \"butyl\"\nthickness = \"0.4\"\narea = \"0.55 m2\"\ncount = 2\n",
            )
            .says(&["line 23", "\"thickness\""]),
        case("a glove of negative count")
            .plan_and("[[enclosure.gloves]]\nmaterial = \"butyl\"\ncount = -2\n")
            .says(&["line 23", "\"count\""]),
        case("a conversion that needs the volume")
            .run(&["convert", "0.05 vol%/h", "mbar L/s"])
            .says(&["volume", "--volume"]),
        case("a conversion between kinds that have nothing in common")
            .run(&["convert", "4 inH2O", "m3"])
            .says(&["pressure", "volume"]),
        case("a conversion to a unit nobody knows").run(&["convert", "4 inH2O", "blorp"]).says(&["blorp"]),
        case("a conversion of a word").run(&["convert", "lots", "Pa"]).says(&["lots"]),
        case("a temperature below absolute zero, converted")
            .run(&["convert", "-300 °C", "K"])
            .says(&["\"-300 °C\" is below absolute zero"]),
        case("a dew point without pressure, converted")
            .run(&["convert", "-45 °C frost point", "ppm"])
            .says(&["--pressure"]),
    ]
}

#[test]
fn a_quantity_that_cannot_be_is_named_with_what_would_be_right() {
    try_all("Quantities and units", &cases());
}
