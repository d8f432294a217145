//! What a plan's author reads when something is wrong with the plan.

use tightfit_report::plan::{Compliance, Mistake, Moment, Plan, Rule};

const SOUND: &str = r#"
tightfit = 1
[enclosure]
id = "K-12"
volume = { value = "0.92 m3", uncertainty = "2 %" }
gas = "argon"
rated_pressure = ["-1500 Pa", "1500 Pa"]
compliance = "0 L/Pa"
[instruments.gauge]
resolution = "1 Pa"
uncertainty = "0.5 % of reading (limits) + 2 Pa"
response = "t90 20 s"
calibrated = 2026-05-02
due = 2027-05-02
clock_offset = "unknown within 10 min"
[[test]]
id = "tightness"
method = "pressure-change"
files = ["tightness.csv"]
reference_pressure = "-1000 Pa"
window = { from = "10 min", to = "5 h" }
[test.columns]
gauge_pressure = { column = "dP (Pa)", unit = "Pa", instrument = "gauge" }
gas_temperature = 3
[[limit]]
set = "ISO 10648-2 class 1"
[[limit]]
quantity = "leak_throughput"
max = "0.02 mbar L/s"
rule = "simple"
"#;

fn mistakes(text: &str) -> Vec<(usize, String, Option<String>)> {
    let error = Plan::parse("plan.toml", text).expect_err("the plan has a mistake");
    error.mistakes.into_iter().map(|m| (m.line, m.mistake.to_string(), m.mistake.hint())).collect()
}

fn only_mistake(text: &str) -> (usize, String, Option<String>) {
    let mut found = mistakes(text);
    assert_eq!(found.len(), 1, "{found:#?}");
    found.remove(0)
}

fn with(from: &str, to: &str) -> String {
    assert!(SOUND.contains(from), "{from}");
    SOUND.replacen(from, to, 1)
}

#[test]
fn a_sound_plan_is_read_with_units_and_uncertainties() {
    let plan = Plan::parse("plan.toml", SOUND).unwrap();
    let volume = plan.enclosure.volume.unwrap();
    assert!((volume.si - 0.92).abs() < 1e-15);
    assert!((volume.standard_uncertainty.unwrap() - 0.0184).abs() < 1e-15);
    assert!(matches!(&plan.enclosure.compliance, Compliance::Stated(stated) if stated.si == 0.0));
    assert_eq!(plan.tests[0].window.unwrap().from, Some(Moment::AfterStart(600.0)));
    assert!(matches!(plan.limits[0].rule, Rule::GuardedAcceptance { risk } if (risk - 0.05).abs() < 1e-15));
    assert_eq!(plan.limits[0].bound.to_string(), "max 5e-4 1/h");
}

#[test]
fn a_misspelt_key_names_its_line_and_the_nearest_key() {
    let (line, text, hint) = only_mistake(&with("volume =", "volumne ="));
    assert_eq!(line, 5);
    assert_eq!(text, "unknown key \"volumne\" in [enclosure]");
    assert_eq!(hint.unwrap(), "did you mean \"volume\"?");
}

#[test]
fn a_wrong_unit_names_the_nearest_unit() {
    let (line, text, _) = only_mistake(&with("\"-1000 Pa\"", "\"-10 mbra\""));
    assert_eq!(line, 20);
    assert_eq!(text, "\"reference_pressure\": unknown unit \"mbra\"; did you mean \"mbar\"?");
}

#[test]
fn a_unit_of_another_quantity_is_refused() {
    let (_, text, _) = only_mistake(&with("\"-1000 Pa\"", "\"-1000 L\""));
    assert!(text.contains("is a volume, expected a pressure"), "{text}");
}

#[test]
fn a_test_pressure_beyond_the_rated_pressure_is_refused_with_the_reason() {
    let (line, text, hint) =
        only_mistake(&with("reference_pressure = \"-1000 Pa\"", "reference_pressure = \"-20 mbar\""));
    assert_eq!(line, 20);
    assert!(text.contains("beyond the rated pressure of the enclosure (-1500 Pa to 1500 Pa)"), "{text}");
    assert!(hint.unwrap().contains("gloves and windows can burst"));
}

#[test]
fn a_volume_of_zero_or_less_cannot_be() {
    for volume in ["0 m3", "-1 m3"] {
        let (_, text, _) = only_mistake(&with("0.92 m3", volume));
        assert!(text.contains("expected a value above zero"), "{text}");
    }
}

#[test]
fn an_unknown_method_names_the_nearest() {
    let (_, text, hint) = only_mistake(&with("\"pressure-change\"", "\"presure-change\""));
    assert_eq!(text, "\"presure-change\" is no value of \"method\"");
    assert_eq!(hint.unwrap(), "did you mean \"pressure-change\"?");
}

#[test]
fn an_instrument_that_is_not_defined_is_named() {
    let (_, text, hint) = only_mistake(&with("instrument = \"gauge\"", "instrument = \"guage\""));
    assert_eq!(text, "the instrument \"guage\" is not defined in this plan");
    assert_eq!(hint.unwrap(), "did you mean \"gauge\"?");
}

#[test]
fn a_channel_that_does_not_exist_names_the_nearest() {
    let (_, text, hint) = only_mistake(&with("gauge_pressure =", "gauge_presure ="));
    assert!(text.contains("unknown key \"gauge_presure\""), "{text}");
    assert_eq!(hint.unwrap(), "did you mean \"gauge_pressure\"?");
}

#[test]
fn compliance_and_stiffness_check_exclude_each_other() {
    let text = with(
        "compliance = \"0 L/Pa\"",
        "compliance = \"0 L/Pa\"\nstiffness_check = { injected = \"1 L\", rise = \"51 Pa\" }",
    );
    let (_, text, _) = only_mistake(&text);
    assert!(text.starts_with("both \"compliance\" and \"stiffness_check\" are given"), "{text}");
}

#[test]
fn a_limit_needs_its_quantity_and_its_bound() {
    let found = mistakes(&with("quantity = \"leak_throughput\"\nmax = \"0.02 mbar L/s\"\n", ""));
    let texts: Vec<_> = found.iter().map(|(_, text, _)| text.as_str()).collect();
    assert_eq!(texts, ["[limit] has no \"quantity\"", "[limit] has no \"max\""]);
}

#[test]
fn an_instrument_whose_units_do_not_fit_its_column_is_a_mistake() {
    let (_, text, _) = only_mistake(&with("resolution = \"1 Pa\"", "resolution = \"0.1 °C\""));
    assert!(text.contains("\"instruments.gauge.resolution\"") && text.contains("is a temperature"), "{text}");
}

#[test]
fn all_mistakes_are_reported_at_once_in_the_order_of_the_text() {
    let text = with("gas = \"argon\"", "gas = \"argonn\"").replace("5 h", "5 m").replace("2027-05-02", "\"soon\"");
    let lines: Vec<usize> = mistakes(&text).into_iter().map(|(line, _, _)| line).collect();
    assert_eq!(lines, [6, 14, 21]);
}

#[test]
fn text_that_is_not_toml_is_a_mistake_with_its_line() {
    let found = mistakes("tightfit = 1\n[enclosure\nid = 3\n");
    assert!(found.iter().all(|(_, text, _)| text.contains("not valid TOML")));
    assert_eq!(found[0].0, 2);
}

#[test]
fn a_plan_of_the_future_is_refused() {
    let error = Plan::parse("plan.toml", &with("tightfit = 1", "tightfit = 7")).unwrap_err();
    assert!(matches!(error.mistakes[0].mistake, Mistake::Version { found: 7 }));
}

#[test]
fn an_empty_plan_says_what_it_lacks() {
    let texts: Vec<String> = mistakes("").into_iter().map(|(_, text, _)| text).collect();
    assert!(texts.iter().any(|t| t == "the plan has no \"enclosure\""), "{texts:?}");
    assert!(texts.iter().any(|t| t == "the plan has no \"test\""), "{texts:?}");
}

#[test]
fn the_message_of_a_plan_shows_file_line_text_and_what_to_do() {
    let error = Plan::parse("plan.toml", &with("volume =", "volumne =")).unwrap_err();
    let expected = "plan.toml, line 5: unknown key \"volumne\" in [enclosure]\n    \
                    volumne = { value = \"0.92 m3\", uncertainty = \"2 %\" }\n    did you mean \"volume\"?";
    assert_eq!(error.to_string(), expected);
}

#[test]
fn a_limit_on_a_leak_rate_needs_the_pressure_at_which_it_holds() {
    let (line, text, hint) = only_mistake(&with("reference_pressure = \"-1000 Pa\"\n", ""));
    assert_eq!((line, text.as_str()), (16, "[test] has no \"reference_pressure\""));
    assert!(hint.unwrap().contains("at which the limit holds"));
}
