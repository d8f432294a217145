//! What each method says of a record that it cannot evaluate.

use std::fmt::Write as _;

use super::case::{Case, case, try_all};

/// A log of one channel, a reading a minute.
fn log(header: &str, count: u32, value: impl Fn(u32) -> f64) -> String {
    (0..count).fold(format!("time,{header}\n"), |mut text, minute| {
        let _ = writeln!(text, "2026-05-04T{:02}:{:02}:00Z,{:.3}", 7 + minute / 60, minute % 60, value(minute));
        text
    })
}

#[expect(clippy::too_many_lines, reason = "a table, one case after the other")]
fn cases() -> Vec<Case> {
    let oxygen = |count, value: fn(u32) -> f64| log("O2 (ppm)", count, value);
    let chamber = |count, value: fn(u32) -> f64| log("antechamber pressure (mbar absolute)", count, value);
    let method = |given, keys: &str| case(given).method(keys);
    vec![
        case("pressure-change at no difference to the room")
            .log(log("gauge pressure (Pa)", 120, |_| 0.1))
            .ends(4)
            .says(&["shows one value throughout", "the reference pressure has the other sign than the test"]),
        method("pressure-change-series without runs", "method = \"pressure-change-series\"")
            .says(&["has no \"run\"", "[[test.run]]"]),
        method("ppm-rise without analyser", "method = \"ppm-rise\"").says(&[
            "\"test\"",
            "oxygen",
            "columns are: time | gauge pressure (Pa)",
        ]),
        method("ppm-rise of three readings", "method = \"ppm-rise\"")
            .log(oxygen(3, f64::from))
            .says(&["\"test\"", "at least"]),
        method("ppm-rise-series without runs", "method = \"ppm-rise-series\"")
            .says(&["has no \"run\"", "[[test.run]]"]),
        method(
            "ppm-rise-series whose runs have no pressure",
            "method = \"ppm-rise-series\"\n[[test.run]]\nfiles = [\"log.csv\"]\n[[test.run]]\nfiles = [\"log.csv\"]",
        )
        .plan_with("files = [\"log.csv\"]\nmethod", "method")
        .log(oxygen(120, |k| 1.0 + 0.1 * f64::from(k)))
        .says(&["pressure", "[[test.run]] pressure = \"-250 Pa\""]),
        method("clean-up without analyser", "method = \"clean-up\"\ntarget = \"1 ppm\"").says(&[
            "\"test\"",
            "oxygen",
            "columns are",
        ]),
        method("clean-up where nothing comes down", "method = \"clean-up\"\ntarget = \"1 ppm\"")
            .log(oxygen(120, f64::from))
            .says(&["does not come down"]),
        method("clean-up of two readings", "method = \"clean-up\"\ntarget = \"1 ppm\"")
            .log(oxygen(2, |k| 9.0 - f64::from(k)))
            .says(&["at least"]),
        method("clean-up with a target in pascals", "method = \"clean-up\"\ntarget = \"1 Pa\"").says(&[
            "line 17",
            "\"target\"",
            "Pa",
        ]),
        method("clean-up of a species nobody logs", "method = \"clean-up\"\nspecies = \"helium\"").says(&[
            "line 17",
            "\"helium\" is no value of \"species\"",
            "known are: oxygen, water",
        ]),
        method("clean-up-series without analyser", "method = \"clean-up-series\"").says(&["\"test\"", "oxygen"]),
        method("purge-down without flow", "method = \"purge-down\"\ntarget = \"10 ppm\"")
            .log(oxygen(120, |k| 209_000.0 * (-f64::from(k) / 9.0).exp()))
            .ends(0)
            .says(&["the purge flow is neither logged nor stated"]),
        method("purge-down without analyser", "method = \"purge-down\"\ntarget = \"10 ppm\"\npurge_flow = \"12 m3/h\"")
            .says(&["oxygen"]),
        method("antechamber without its pressure", "method = \"antechamber\"")
            .says(&["was not evacuated and backfilled anywhere in the record", "check what the gauge counts from"]),
        method("antechamber without a cycle", "method = \"antechamber\"").log(chamber(120, |_| 1013.0)).says(&[
            "was not evacuated and backfilled anywhere in the record",
            "between 101300 Pa and 101300 Pa absolute",
        ]),
        method("vacuum-hold without volume", "method = \"vacuum-hold\"")
            .log(chamber(120, |k| 1.0 + 0.01 * f64::from(k)))
            .says(&["volume of the evacuated vessel", "[enclosure.antechamber] volume"]),
        method("vacuum-hold of a vessel nobody knows", "method = \"vacuum-hold\"\nvessel = \"bucket\"").says(&[
            "line 17",
            "\"bucket\" is no value of \"vessel\"",
            "antechamber, purifier, enclosure",
        ]),
        method(
            "vacuum-hold that was still pumped",
            "method = \"vacuum-hold\"\nvolume = \"38 L\"\nwindow = { from = \"0 s\", to = \"2 h\" }",
        )
        .log(chamber(120, |k| 900.0 - 7.0 * f64::from(k)))
        .says(&["falls from", "being pumped, not held"]),
        method("vacuum-hold without pressure", "method = \"vacuum-hold\"\nvolume = \"38 L\"")
            .log(oxygen(120, f64::from))
            .says(&["pressure", "columns are"]),
        method("make-up without flow", "method = \"make-up\"").says(&["flow"]),
        method("make-up whose band has no width", "method = \"make-up\"\nband = [\"700 Pa\", \"300 Pa\"]")
            .says(&["line 17", "\"band\""]),
        method("endurance without analyser", "method = \"endurance\"\ntarget = \"1 ppm\"")
            .says(&["oxygen", "columns are"]),
        method("endurance of two readings", "method = \"endurance\"\ntarget = \"1 ppm\"")
            .log(oxygen(2, |_| 0.5))
            .says(&["at least"]),
        method("analyser-check without reference gas", "method = \"analyser-check\"")
            .log(oxygen(120, |_| 50.0))
            .says(&["the content of the reference gas is not stated", "reference_gas ="]),
        method(
            "analyser-check whose step has no content",
            "method = \"analyser-check\"\n[[test.step]]\nfrom = \"1 min\"",
        )
        .says(&["has no \"content\"", "add: content ="]),
        method("analyser-check without a plateau", "method = \"analyser-check\"\nreference_gas = \"50 ppm\"")
            .log(oxygen(6, |k| f64::from(k * k)))
            .ends(0)
            .says(&["no step between two gases stands out of the noise"]),
        method("regeneration without temperature", "method = \"regeneration\"")
            .says(&["nothing can be evaluated: neither a vessel temperature with a stated plateau"]),
        method("regeneration with a carrier nobody knows", "method = \"regeneration\"\ncarrier = \"neon\"").says(&[
            "line 17",
            "\"neon\" is no value of \"carrier\"",
            "known are: argon",
        ]),
        method("regeneration that never became hot", "method = \"regeneration\"\nplateau = \"200 °C\"")
            .log(log("vessel temperature (°C)", 120, |_| 22.0))
            .ends(0)
            .says(&["the vessel did not reach the plateau; the highest reading is 22.0 °C"]),
        method("a working log that is only to be diagnosed", "method = \"operating-log\"")
            .log(oxygen(120, |_| 0.5))
            .ends(0)
            .says(&["has no results to be judged; tightfit diagnose says why"]),
        case("a diagnosis of a plan without working log")
            .run(&["diagnose", "plan.toml"])
            .says(&["no test with the method \"operating-log\"", "add one: [[test]]"]),
        method("a diagnosis of a test that there is not", "method = \"operating-log\"")
            .run(&["diagnose", "plan.toml", "--test", "weeks"])
            .says(&["no working log called \"weeks\"", "operating-log"]),
        method("a diagnosis without analyser", "method = \"operating-log\"")
            .run(&["diagnose", "plan.toml"])
            .says(&["oxygen"]),
        method("a diagnosis of ten readings", "method = \"operating-log\"")
            .log(oxygen(10, |_| 0.5))
            .run(&["diagnose", "plan.toml"])
            .ends(4)
            .says(&["the log covers 0.2 h, and a diagnosis needs at least a day"]),
        method("a design of a test that cannot be planned", "method = \"make-up\"")
            .run(&["design", "plan.toml"])
            .says(&["no test that can be planned", "pressure-change"]),
        case("a design without limit")
            .plan_with("[[limit]]\nquantity = \"hourly_leak_rate\"\nmax = \"5e-4 1/h\"\n", "")
            .run(&["design", "plan.toml"])
            .says(&["no upper limit on a leak", "add a [[limit]]"]),
        case("a design without gauge")
            .plan_with("[instruments.gauge]\nuncertainty = \"1 Pa\"\ndue = 2030-01-01\n", "")
            .run(&["design", "plan.toml"])
            .says(&["no instrument reads the pressure inside", "[instruments.gauge]"]),
        case("a design of a month").plan_and("[design]\nlongest = \"30 d\"\n").run(&["design", "plan.toml"]).says(&[
            "line 22",
            "\"longest\" is 30 d",
            "from 15 min to a week",
        ]),
        case("a design in a room nobody knows")
            .plan_and("[design]\nroom = \"calm\"\n")
            .run(&["design", "plan.toml"])
            .says(&["line 22", "\"calm\" is no value of \"room\"", "still, ordinary, rough"]),
    ]
}

#[test]
fn a_record_that_a_method_cannot_evaluate_is_named_with_what_to_do() {
    try_all("Methods", &cases());
}
