//! Limits that limit nothing, or not in one way only.

use super::case::{Case, case, try_all};

fn cases() -> Vec<Case> {
    let limit = |given, text: &str| case(given).plan_with("max = \"5e-4 1/h\"", text);
    vec![
        case("a limit on a leak without the pressure at which it holds")
            .plan_with("reference_pressure = \"-1000 Pa\"\n", "")
            .says(&["line 13", "has no \"reference_pressure\"", "at which the limit holds"]),
        limit("a limit without bound", "source = \"customer\"").says(&["line 18", "[limit] has no \"max\"", "add: max ="]),
        limit("a limit with two bounds", "max = \"5e-4 1/h\"\nmin = \"1e-4 1/h\"").says(&["line 21", "both \"max\" and \"min\"", "one [[limit]] for each side"]),
        limit("a limit in another unit than its quantity", "max = \"5e-4 ppm\"").says(&["line 20", "\"max\"", "ppm"]),
        limit("a limit without unit", "max = \"5e-4\"").says(&["line 20", "\"max\": \"5e-4\" has no unit", "for example in 1/h"]),
        limit("a limit as a bare number", "max = 5e-4").says(&["line 20", "\"max\" is a plain number", "a quantity with its unit in quotes"]),
        limit("a rule nobody knows", "max = \"5e-4 1/h\"\nrule = \"generous\"").says(&["line 21", "\"generous\" is no value of \"rule\"", "known are: simple, guarded-acceptance, guarded-rejection"]),
        limit("a risk of more than one", "max = \"5e-4 1/h\"\nrisk = \"120 %\"").says(&["line 21", "\"risk\" is 120 %", "between 0 % and 100 %"]),
        limit("a limit on a test that there is not", "max = \"5e-4 1/h\"\ntest = \"tightnes\"").says(&["line 21", "the test \"tightnes\" is not defined", "did you mean \"tightness\"?"]),
        case("a limit on a quantity nobody knows")
            .plan_with("\"hourly_leak_rate\"", "\"hourly_leakrate\"")
            .says(&["line 19", "\"hourly_leakrate\" is no value of \"quantity\"", "did you mean \"hourly_leak_rate\"?"]),
        case("a limit without quantity").plan_with("quantity = \"hourly_leak_rate\"\n", "").says(&["line 18", "has no \"quantity\""]),
        case("a set of limits with a limit of its own")
            .plan_with("quantity = \"hourly_leak_rate\"", "set = \"ISO 10648-2 class 1\"")
            .says(&["both \"set\" and \"max\"", "the set states its own limit"]),
        case("a set of limits nobody knows")
            .plan_with("quantity = \"hourly_leak_rate\"\nmax = \"5e-4 1/h\"", "set = \"ISO 10648-2 class 9\"")
            .says(&["line 19", "ISO 10648-2 class 9", "did you mean"]),
        case("a limit on what no test of the plan gives")
            .plan_and("[[limit]]\nquantity = \"oxygen_ingress\"\nmax = \"5 ppm/h\"\n")
            .ends(4)
            .says(&["No test of the plan gave oxygen ingress: add one, or remove the limit"]),
        case("an instrument whose calibration had run out")
            .plan_with("2030-01-01", "2026-05-03")
            .plan_with("reference_pressure", "columns = { gauge_pressure = { column = 2, unit = \"Pa\", instrument = \"gauge\" } }\nreference_pressure")
            .ends(4)
            .says(&["ran out on 2026-05-03"]),
    ]
}

#[test]
fn a_limit_that_cannot_be_judged_is_named_with_what_would_be_right() {
    try_all("Limits", &cases());
}
