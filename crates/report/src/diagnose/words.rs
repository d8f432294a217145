//! A diagnosis in words: sizes, evidence, what the log cannot tell, what to measure next, what to take care of.

use tightfit_fit::diagnose::{
    Cause, Explanation, Kind, Measurement, Next, Resolution, Shown, Species, UNDER_PRESSURE_PA,
};
use tightfit_quantity::display_number;

use super::result::{Evidence, Speaks};

/// χ² from which a difference in fit is worth a sentence.
const WORTH_SAYING: f64 = 6.0;
/// Numbers closer than this are as before.
const ALIKE: f64 = 0.15;
const MINUTES_PER_HOUR: f64 = 60.0;

/// What people call a cause.
pub(crate) fn name(cause: Cause) -> &'static str {
    match cause {
        Cause::Leak => "a new or larger leak",
        Cause::GlovePermeation => "gloves let more through",
        Cause::PurifierCapacity => "the purifier takes up less",
        Cause::CirculationFlow => "less gas circulates through the purifier",
        Cause::Outgassing => "walls or goods give off more",
        Cause::AnalyserDrift => "the zero of an analyser moved",
        Cause::SupplyGas => "the supplied gas is less pure",
        Cause::Transfers => "more or larger transfers",
        Cause::NothingChanged => "nothing changed",
        Cause::NoneOfThese => "none of these explanations fits",
    }
}

/// How large, in words.
pub(super) fn size(explanation: &Explanation) -> String {
    use Species::{Oxygen, Water};
    let order: &[Kind] = match explanation.cause {
        Cause::NothingChanged => return "no change beyond what floors wander by themselves".to_owned(),
        Cause::NoneOfThese => return "the log changes in a way that no single cause explains".to_owned(),
        Cause::Leak | Cause::SupplyGas => {
            &[Kind::Rise(Oxygen), Kind::Floor(Oxygen), Kind::Rise(Water), Kind::Floor(Water)]
        }
        Cause::GlovePermeation => &[Kind::Rise(Water), Kind::Floor(Water), Kind::Rise(Oxygen), Kind::Floor(Oxygen)],
        Cause::PurifierCapacity => &[Kind::Decay(Oxygen), Kind::Decay(Water), Kind::Floor(Oxygen), Kind::Floor(Water)],
        Cause::CirculationFlow => &[Kind::Flow, Kind::Decay(Oxygen), Kind::Floor(Oxygen), Kind::Floor(Water)],
        Cause::Outgassing => &[Kind::Rise(Water), Kind::Floor(Water)],
        Cause::AnalyserDrift => &[Kind::Floor(Oxygen), Kind::Floor(Water)],
        Cause::Transfers => &[Kind::TransferCount, Kind::DoseArea(Oxygen), Kind::DoseArea(Water)],
    };
    let of = |kind: &Kind| explanation.shown.iter().find(|shown| shown.kind == *kind);
    // Among the numbers that would show it, the one that does, by its own account of them.
    let candidates = order.iter().filter_map(of);
    let shown = match explanation.cause {
        Cause::AnalyserDrift | Cause::PurifierCapacity | Cause::Transfers => {
            candidates.max_by(|a, b| a.gain.total_cmp(&b.gain))
        }
        _ => order.iter().find_map(of),
    };
    shown.map_or_else(
        || "too small to be put in numbers".to_owned(),
        |shown| format!("{}: {}", what(shown.kind), from_to(shown)),
    )
}

/// What a number is.
fn what(kind: Kind) -> String {
    match kind {
        Kind::Floor(species) => format!("{} with the purifier running", letters(species)),
        Kind::Rise(species) => format!("rise of {} with the purifier off", letters(species)),
        Kind::Decay(species) => format!("time constant of {} after a dose", letters(species)),
        Kind::DoseArea(species) => format!("area of a dose of {} over the floor", letters(species)),
        Kind::TransferCount => "transfers on a day that has any".to_owned(),
        Kind::Flow => "circulation flow".to_owned(),
        Kind::Makeup => "make-up flow".to_owned(),
        Kind::Leakage => "oxygen through leaks by leak tests".to_owned(),
    }
}

pub(crate) fn letters(species: Species) -> &'static str {
    match species {
        Species::Oxygen => "O2",
        Species::Water => "H2O",
    }
}

/// A number of a kind in the unit that people read, with that unit.
fn in_unit(kind: Kind, value: f64) -> String {
    let number = |value: f64, unit: &str| format!("{} {unit}", display_number(value, 3));
    match kind {
        Kind::Floor(_) => number(value, "ppm"),
        Kind::Rise(_) => number(value, "ppm/h"),
        Kind::Decay(_) => number(MINUTES_PER_HOUR / value, "min"),
        Kind::DoseArea(_) => number(value, "ppm·h"),
        Kind::TransferCount => display_number(value, 2),
        Kind::Flow | Kind::Makeup => display_number(value, 3),
        Kind::Leakage => number(value, "ppm/h per Pa"),
    }
}

/// `from 1.2 ppm to 3.4 ppm`; flows as a share, since the unit of a fan's signal is often its own.
fn from_to(shown: &Shown) -> String {
    let [before, after] = shown.found;
    match shown.kind {
        Kind::Flow | Kind::Makeup => format!("now {} % of what it was", display_number(100.0 * after / before, 2)),
        kind => format!("from {} to {}", in_unit(kind, before), in_unit(kind, after)),
    }
}

/// Sentences for and against an explanation, the weightiest first.
pub(super) fn evidence(explanation: &Explanation) -> Vec<Evidence> {
    let mut weighed: Vec<(f64, Evidence)> =
        explanation.shown.iter().filter_map(|shown| piece(explanation.cause, shown)).collect();
    weighed.sort_by(|a, b| b.0.total_cmp(&a.0));
    weighed.into_iter().map(|(_, evidence)| evidence).collect()
}

fn piece(cause: Cause, shown: &Shown) -> Option<(f64, Evidence)> {
    let [before, after] = shown.found;
    let as_before = (after / before).ln().abs() < ALIKE;
    let as_expected = (after / shown.expected).ln().abs() < ALIKE;
    let found = if as_before {
        format!("{}: as before ({})", what(shown.kind), in_unit_or_share(shown, after))
    } else {
        format!("{}: {}", what(shown.kind), from_to(shown))
    };
    if shown.behind > WORTH_SAYING || shown.gain < -WORTH_SAYING {
        let expected = in_unit_or_share(shown, shown.expected);
        let text = if as_expected {
            format!("{found}; the course of it fits worse than under the leading explanation")
        } else {
            format!("{found}; this explanation would give {expected}")
        };
        return Some((shown.behind.max(-shown.gain), Evidence { text, speaks: Speaks::Against }));
    }
    let steady = matches!(shown.kind, Kind::Rise(_) | Kind::Decay(_) | Kind::Flow) && as_before && as_expected;
    if shown.gain > WORTH_SAYING {
        return Some((
            shown.gain,
            Evidence { text: format!("{found}, as this explanation has it"), speaks: Speaks::For },
        ));
    }
    (steady && cause != Cause::NoneOfThese).then(|| {
        let text = format!("{found}{}", means(shown.kind, cause));
        (1.0, Evidence { text, speaks: Speaks::For })
    })
}

/// What an unchanged number rules out.
fn means(kind: Kind, cause: Cause) -> &'static str {
    match kind {
        Kind::Rise(_) if matches!(cause, Cause::PurifierCapacity | Cause::CirculationFlow | Cause::AnalyserDrift) => {
            ": nothing more comes in than did"
        }
        Kind::Decay(_) if !matches!(cause, Cause::PurifierCapacity | Cause::CirculationFlow) => {
            ": the purifier cleans as fast as it did"
        }
        Kind::Flow if cause != Cause::CirculationFlow => ": the fan moves as much as it did",
        _ => ", as this explanation has it",
    }
}

fn in_unit_or_share(shown: &Shown, value: f64) -> String {
    match shown.kind {
        Kind::Flow | Kind::Makeup => format!("{} % of what it was", display_number(100.0 * value / shown.found[0], 2)),
        kind => in_unit(kind, value),
    }
}

/// What the log cannot tell apart, one sentence each.
pub(super) fn limits(resolution: Resolution) -> Vec<String> {
    let mut lines = Vec::new();
    if !resolution.both_species {
        lines.push(
            "only one of oxygen and water was logged: a leak, gloves and the supplied gas differ by the ratio of the two, \
             which this log does not show",
        );
    }
    if resolution.levels {
        lines.push(
            "the gauge pressure was not logged, but the content goes to and fro between two levels: it is taken that the \
             pressure does that, and that a leak lifts the upper level alone",
        );
    } else if !resolution.pressure {
        lines.push("the gauge pressure was not logged: a leak cannot be known by its dependence on the pressure");
    } else if !resolution.under_pressure {
        lines.push(
            "the enclosure was never below the pressure of the room: a leak lets next to nothing in there and would show \
             in the make-up alone",
        );
    }
    if !resolution.rises && !resolution.decays {
        lines.push(
            "neither a rise with the purifier off nor the decay of a dose was seen: more ingress, a weaker purifier and a \
             moved zero all lift the floor alike",
        );
    } else if !resolution.rises {
        lines.push("the purifier was never off for long: a moved zero is known only by what else stayed the same");
    }
    if !resolution.flow {
        lines.push("the circulation flow was not logged: less flow and a purifier that takes up less look alike");
    }
    if !resolution.makeup {
        lines.push("the make-up flow was not logged: impure gas cannot be known by its dependence on the flow");
    }
    lines.into_iter().map(str::to_owned).collect()
}

/// The conclusion in a sentence or two.
pub(super) fn conclusion(explanations: &[Explanation], decided: bool, began: Option<&str>, twins: &[Cause]) -> String {
    let percent = |own: &Explanation| format!("{:.0} %", 100.0 * own.probability);
    let Some(first) = explanations.first() else { return String::new() };
    if decided {
        let when = began.map_or(String::new(), |span| format!("; it began between {span}"));
        let second = first.second.map_or(String::new(), |second| format!("; besides it, {} fits too", name(second)));
        return format!("{} (probability {}){when}{second}", name(first.cause), percent(first));
    }
    let leaders: Vec<String> = explanations
        .iter()
        .take_while(|own| own.probability > 0.1)
        .map(|own| format!("{} ({})", name(own.cause), percent(own)))
        .collect();
    let unseen =
        twins.iter().filter(|twin| !explanations.iter().any(|own| own.cause == **twin && own.probability > 0.1));
    let unseen: Vec<String> = unseen.map(|twin| name(*twin).to_owned()).collect();
    let also = if unseen.is_empty() {
        String::new()
    } else {
        format!("; for want of channels it cannot tell the first from: {}", unseen.join(", "))
    };
    format!("this log does not tell apart: {}{also}", leaders.join("; "))
}

/// What to do next, with what the leaders predict.
pub(super) fn next_measurement(next: &Next) -> String {
    let mut text = match next.measurement {
        Measurement::Rise => {
            "switch the purifier off for an hour at the usual pressure, without transfers, and log both \
                              analysers"
                .to_owned()
        }
        Measurement::RiseAtTwoPressures => format!(
            "compare two rises with the purifier off, one at the pressure of the room and one at {UNDER_PRESSURE_PA:.0} Pa below it, \
             if the enclosure is rated for that"
        ),
        Measurement::ZeroCheck => {
            "put gas of known content on the analysers, or swap in another analyser for an hour".to_owned()
        }
        Measurement::Dose => {
            "let a known dose of air in with the purifier running and log its decay every few seconds".to_owned()
        }
        Measurement::Supply => "lead the supplied gas straight to the analysers, before the enclosure".to_owned(),
        Measurement::Flow => "measure the circulation flow and compare it with the last record".to_owned(),
        Measurement::Transfers => "write down every transfer for a week, with what was brought in".to_owned(),
    };
    let leaders = next.predictions.iter().filter(|(_, probability, _)| *probability > 0.04).take(4);
    let predictions: Vec<String> = leaders
        .map(|(cause, _, outcome)| format!("if {}: {}", name(*cause), predicted(next.measurement, *outcome)))
        .collect();
    if predictions.len() > 1 {
        text.push_str("; expected ");
        text.push_str(&predictions.join("; "));
    } else {
        text.push_str("; it would confirm what the log already says");
    }
    text
}

fn predicted(measurement: Measurement, [first, second]: [f64; 2]) -> String {
    let number = |value: f64| display_number(value, 2);
    let both = |unit: &str, scale: f64| {
        let mut parts = Vec::new();
        for (letters, value) in [("O2", first), ("H2O", second)] {
            if value != 0.0 {
                parts.push(format!("{letters} {} {unit}", number(scale * value)));
            }
        }
        parts.join(" and ")
    };
    match measurement {
        Measurement::Rise => both("ppm/h", 1.0),
        Measurement::RiseAtTwoPressures => format!("O2 {} and {} ppm/h", number(first), number(second)),
        Measurement::ZeroCheck => both("ppm off", 1.0),
        Measurement::Dose => format!("time constants of {}", both("min", MINUTES_PER_HOUR)),
        Measurement::Supply => format!("gas that brings {}", both("ppm/h", 1.0)),
        Measurement::Flow => format!("{} % of the former flow", number(100.0 * first)),
        Measurement::Transfers => {
            let times = |ratio: f64, what: &str| match number(ratio).as_str() {
                "1.0" | "1" => format!("as {what} as before"),
                other => format!("{other} times as {what}"),
            };
            format!("{} and {}", times(first, "many"), times(second, "large"))
        }
    }
}

/// What to take care of when following the advice.
pub(super) fn cautions(leaders: &[Cause], measurement: Option<Measurement>) -> Vec<String> {
    let mut lines = vec![
        "Inert gas displaces breathing air: no one puts head or body into the enclosure or its antechamber, and the room is \
         ventilated and watched for oxygen. Local codes and the maker's ratings come first."
            .to_owned(),
    ];
    let is = |cause: Cause| leaders.contains(&cause);
    if is(Cause::Leak) || is(Cause::GlovePermeation) || measurement == Some(Measurement::RiseAtTwoPressures) {
        lines.push(
            "Before gloves, windows or fittings are opened or the pressure is changed: bring goods that must not see air to \
             safety, stay within the rated pressure, and keep hands out of gloves that may burst."
                .to_owned(),
        );
    }
    if is(Cause::PurifierCapacity) || is(Cause::CirculationFlow) {
        lines.push(
            "Before the purifier is opened: it may be hot or under pressure, spent media can heat up in air, and regeneration \
             gas holds hydrogen. Leave it to licensed practice."
                .to_owned(),
        );
    }
    if matches!(measurement, Some(Measurement::Rise | Measurement::RiseAtTwoPressures)) {
        lines.push("While the purifier is off, oxygen and water rise: put away what must not see them.".to_owned());
    }
    lines
}
