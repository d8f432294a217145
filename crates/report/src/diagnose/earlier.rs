//! What tests found, of this plan and of the store of results: the state that the log started from, or, where they were
//! made while it ran or after, evidence on the state at that time.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use tightfit_fit::diagnose::{Background, Kind, Known, Log, Species, Tested};
use tightfit_history::{Content, Entry};
use tightfit_quantity::constant::OXYGEN_IN_DRY_AIR;
use tightfit_quantity::{Dimension, Quantity, display_number};

use super::words::letters;
use crate::data::TestData;
use crate::result::{Qualification, Results, RunResult, TestResult};

const PPM: f64 = 1e6;
const SECONDS_PER_HOUR: f64 = 3600.0;
/// A result from before a service that touches it is worth so much less: spread of the logarithm.
const SERVICED: f64 = 0.7;

/// One result of a test.
#[derive(Debug, Clone)]
struct Finding {
    quantity: String,
    value: f64,
    standard_uncertainty: f64,
    /// Pressure at which it holds, Pa.
    at_pa: Option<f64>,
    /// Second on the log's clock; `None` before the log, or where nothing is dated.
    time_s: Option<f64>,
    /// Where it comes from, in words.
    source: String,
    /// Spread of its logarithm that a service since then adds.
    aged: f64,
}

/// Puts what tests found into the background. Returns sentences on what was taken from where.
pub(super) fn take(
    background: &mut Background,
    tests: Option<&Qualification>,
    store: &[Entry],
    data: &TestData<'_>,
    log: &Log,
    window_s: [f64; 2],
) -> Vec<String> {
    let has_pressure = log.gauge_pressure_pa.is_some();
    let clock = LogClock { origin_s: data.dated.then_some(data.origin_s), window_s };
    let mut notes = Vec::new();
    let mut findings = of_store(store, &clock, &mut notes);
    findings.extend(tests.map(|tests| of_tests(&tests.tests, &clock)).unwrap_or_default());
    let share = leak_share(&findings);
    for finding in &findings {
        notes.extend(finding.give(background, has_pressure));
    }
    if let Some((share, source)) = share {
        notes.push(format!(
            "{source} found {:.0} % of the oxygen coming through leaks: taken as a prior",
            100.0 * share
        ));
        background.leak_share = Some(share);
    }
    notes
}

/// The log's clock, where it is dated.
struct LogClock {
    origin_s: Option<f64>,
    window_s: [f64; 2],
}

impl LogClock {
    /// Time on the log's clock of what happened while the log ran or after; `None` for what came before.
    fn inside(&self, epoch_s: Option<f64>) -> Option<f64> {
        let time_s = epoch_s? - self.origin_s?;
        (time_s > self.window_s[0]).then_some(time_s)
    }

    /// Second of the epoch at noon of a day.
    fn noon(day: &str) -> Option<f64> {
        let date: Date = day.parse().ok()?;
        Some(TimeZone::UTC.to_timestamp(date.at(12, 0, 0, 0)).ok()?.as_second() as f64)
    }
}

/// Results of the plan's other tests.
fn of_tests(tests: &[TestResult], clock: &LogClock) -> Vec<Finding> {
    let mut findings = Vec::new();
    for test in tests.iter().filter(|test| test.valid) {
        let source = format!("test \"{}\"", test.id);
        let at = |window: &Option<[String; 2]>, end: usize| {
            let moment: Timestamp = window.as_ref()?[end].parse().ok()?;
            clock.inside(Some(moment.as_second() as f64))
        };
        let started = |window: &Option<[String; 2]>| at(window, 0);
        let mut own = of_results(&test.results, started(&test.window), &source);
        // The last dose of a series of weeks tells of its end.
        for last in own.iter_mut().filter(|own| own.quantity == "time_constant_last") {
            last.time_s = at(&test.window, 1);
        }
        findings.extend(own);
        // Of a series of boundaries the leakiest stands for the enclosure as it is used: it holds the most.
        let rate = |run: &RunResult| run.results.get("hourly_leak_rate").and_then(|rate| rate.value);
        let leakiest = test
            .runs
            .iter()
            .filter(|run| rate(run).is_some())
            .max_by(|a, b| rate(a).unwrap_or(f64::NEG_INFINITY).total_cmp(&rate(b).unwrap_or(f64::NEG_INFINITY)));
        if let Some(run) = leakiest.filter(|_| test.results.get("hourly_leak_rate").is_none()) {
            findings.extend(of_results(&run.results, started(&run.window), &format!("{source} ({})", run.boundary)));
        }
    }
    findings
}

fn of_results(results: &Results, time_s: Option<f64>, source: &str) -> Vec<Finding> {
    let each = results.0.iter().filter_map(|(quantity, found)| {
        let value = found.value?;
        Some(Finding {
            quantity: quantity.clone(),
            value,
            standard_uncertainty: found.standard_uncertainty.unwrap_or(value.abs()),
            at_pa: found.at.as_deref().and_then(pressure_pa),
            time_s,
            source: source.to_owned(),
            aged: 0.0,
        })
    });
    each.collect()
}

/// The last valid result of each quantity in the store, with what was serviced since; and services while the log ran.
fn of_store(entries: &[Entry], clock: &LogClock, notes: &mut Vec<String>) -> Vec<Finding> {
    let mut findings: Vec<Finding> = Vec::new();
    for entry in entries {
        let day = &entry.entry.day;
        let time_s = clock.inside(LogClock::noon(day));
        match &entry.entry.content {
            Content::Qualification(qualification) => {
                for result in qualification.results.iter().filter(|result| result.valid && result.kind == "estimate") {
                    let Some(value) = result.value else { continue };
                    findings.retain(|own| own.quantity != result.quantity || own.time_s.is_some() != time_s.is_some());
                    findings.push(Finding {
                        quantity: result.quantity.clone(),
                        value,
                        standard_uncertainty: result.standard_uncertainty.unwrap_or(value.abs()),
                        at_pa: pressure_pa(&result.at),
                        time_s,
                        source: format!("the store's result of {day}"),
                        aged: 0.0,
                    });
                }
            }
            Content::Service { what, note } => match time_s {
                None => {
                    for finding in findings.iter_mut().filter(|finding| touches(what, &finding.quantity)) {
                        finding.aged = SERVICED;
                        finding.source = format!("{}, before a service on {day} ({what})", finding.source);
                    }
                }
                Some(time_s) if time_s < clock.window_s[1] => notes.push(format!(
                    "the store knows a service on {day}, while the log ran ({what}: {note}): what began about then may have \
                     come with it"
                )),
                Some(_) => {}
            },
        }
    }
    findings
}

/// Whether a service may have changed a result.
fn touches(what: &str, quantity: &str) -> bool {
    match what {
        "purifier" | "regeneration" => quantity.starts_with("time_constant"),
        "gloves" | "seals" => !quantity.starts_with("time_constant"),
        _ => true,
    }
}

/// What part of the oxygen came through leaks, by a series of rises before the log.
fn leak_share(findings: &[Finding]) -> Option<(f64, String)> {
    let of =
        |name: &str| findings.iter().rev().find(|own| own.quantity == name && own.time_s.is_none() && own.value > 0.0);
    let (leak, permeation) = (of("oxygen_from_leak")?, of("oxygen_from_permeation")?);
    Some((leak.value / (leak.value + permeation.value), leak.source.clone()))
}

impl Finding {
    /// Puts it into the background, with a sentence on that; none for what a diagnosis has no use for.
    fn give(&self, background: &mut Background, has_pressure: bool) -> Option<String> {
        let number = |value: f64| display_number(value, 3);
        match self.quantity.as_str() {
            "time_constant" | "time_constant_first" | "time_constant_last" => {
                let tau = self.known(1.0 / SECONDS_PER_HOUR)?;
                let when = self.place(
                    background,
                    Kind::Decay(Species::Oxygen),
                    Known {
                        value: 1.0 / tau.value,
                        standard_uncertainty: tau.standard_uncertainty / tau.value.powi(2),
                    },
                );
                if self.time_s.is_none() {
                    background.time_constant_h = Some(tau);
                }
                Some(format!("{} gave a time constant of {} s: {when}", self.source, number(self.value)))
            }
            "oxygen_ingress" | "water_ingress" => {
                let species = if self.quantity == "oxygen_ingress" { Species::Oxygen } else { Species::Water };
                let ingress = self.known(1.0)?;
                let when = self.place(background, Kind::Rise(species), ingress);
                if self.time_s.is_none() {
                    background.ingress_ppm_per_h[species.index()] = Some(ingress);
                }
                let letters = letters(species);
                Some(format!("{} gave an ingress of {} ppm/h of {letters}: {when}", self.source, number(self.value)))
            }
            "hourly_leak_rate" => {
                let at_pa = self.at_pa.filter(|at_pa| at_pa.abs() > 1.0)?;
                let rate = number(self.value);
                if !has_pressure {
                    return Some(format!(
                        "{} gave a leak rate of {rate} 1/h at {} Pa, which says nothing here: the log holds no pressure",
                        self.source,
                        number(at_pa)
                    ));
                }
                let leakage = self.known(PPM * OXYGEN_IN_DRY_AIR / at_pa.abs())?;
                let when = self.place(background, Kind::Leakage, leakage);
                if self.time_s.is_none() {
                    background.leakage_ppm_per_h_per_pa = Some(leakage);
                }
                Some(format!("{} gave a leak rate of {rate} 1/h at {} Pa: {when}", self.source, number(at_pa)))
            }
            _ => None,
        }
    }

    /// With its uncertainty and what services since then add; a value that may be zero is known by its uncertainty.
    fn known(&self, factor: f64) -> Option<Known> {
        let value = self.value.max(self.standard_uncertainty);
        let standard_uncertainty = self.standard_uncertainty.hypot(self.aged * value);
        (value > 0.0 && value.is_finite())
            .then_some(Known { value: value * factor, standard_uncertainty: standard_uncertainty * factor })
    }

    /// As evidence where it was found while the log ran or after; in words what it is taken for.
    fn place(&self, background: &mut Background, kind: Kind, known: Known) -> &'static str {
        let Some(time_s) = self.time_s else { return "taken as the state that the log started from" };
        let under_pressure_pa = self.at_pa.map(|at_pa| (-at_pa).max(0.0));
        background.tested.push(Tested { time_s, kind, known, under_pressure_pa });
        "taken as evidence on the state at that time"
    }
}

/// A pressure as a plan writes it.
fn pressure_pa(text: &str) -> Option<f64> {
    Quantity::parse(text).ok()?.si_of(Dimension::Pressure).ok()
}

#[cfg(test)]
mod tests {
    use tightfit_fit::diagnose::{Cause, Trace, diagnose};
    use tightfit_fit::simulate::{Channels, Random, WorkingLog};

    use super::*;
    use crate::result::{ResultValue, ResultValueKind};

    const DAYS: f64 = 10.0;
    const CLOCK: LogClock = LogClock { origin_s: Some(0.0), window_s: [0.0, DAYS * 86_400.0] };
    const BEFORE: [&str; 2] = ["1969-12-20T00:00:00Z", "1969-12-20T06:00:00Z"];
    const AFTER: [&str; 2] = ["1970-01-12T00:00:00Z", "1970-01-12T06:00:00Z"];

    fn results(values: &[(&str, f64)]) -> Results {
        let each = values.iter().map(|(quantity, value)| {
            let found = ResultValue {
                value: Some(*value),
                unit: String::new(),
                standard_uncertainty: Some(0.05 * value),
                interval95: [None, None],
                kind: ResultValueKind::Estimate,
                at: (*quantity == "hourly_leak_rate").then(|| "-1000 Pa".to_owned()),
                upper95: None,
                degrees_of_freedom: None,
                budget: Vec::new(),
            };
            ((*quantity).to_owned(), found)
        });
        Results(each.collect())
    }

    /// A series of boundaries, of which the leakiest counts.
    fn boundaries(window: [&str; 2], leakiest: f64) -> TestResult {
        let window = window.map(str::to_owned);
        let run = |boundary: &str, rate: f64| RunResult {
            boundary: boundary.to_owned(),
            window: Some(window.clone()),
            results: results(&[("hourly_leak_rate", rate)]),
        };
        TestResult {
            valid: true,
            window: Some(window.clone()),
            runs: vec![run("alone", 0.1 * leakiest), run("with purifier loop", leakiest)],
            ..TestResult::empty("where", "pressure-change-series")
        }
    }

    /// A series of doses.
    fn doses(window: [&str; 2], first_s: f64, last_s: f64) -> TestResult {
        TestResult {
            valid: true,
            window: Some(window.map(str::to_owned)),
            results: results(&[("time_constant_first", first_s), ("time_constant_last", last_s)]),
            ..TestResult::empty("weeks", "clean-up-series")
        }
    }

    /// How probable a cause is for a log, given what tests found.
    fn probability(cause: Cause, log: &Log, tests: &[TestResult]) -> f64 {
        let mut background = Background { volume_m3: Some(1.0), ..Background::default() };
        for finding in of_tests(tests, &CLOCK) {
            assert!(finding.give(&mut background, true).is_some(), "{finding:?} is of use");
        }
        let diagnosis = diagnose(log, &background).unwrap();
        diagnosis.explanations.iter().find(|own| own.cause == cause).unwrap().probability
    }

    /// Oxygen and pressure of a log in which a cause came.
    fn oxygen_and_pressure(cause: Cause, seed: u64) -> Log {
        let simulated =
            WorkingLog { cause, second: None, factor: [2.0, 2.5], channels: Channels::Full, days: [DAYS; 2] };
        let log = simulated.simulate(seed).log;
        Log { oxygen_ppm: log.oxygen_ppm, gauge_pressure_pa: log.gauge_pressure_pa, ..Log::default() }
    }

    #[test]
    fn a_series_of_boundaries_shifts_the_probability_of_a_leak_the_right_way() {
        for seed in [13, 14, 15] {
            let log = oxygen_and_pressure(Cause::GlovePermeation, seed);
            let with =
                |after: f64| probability(Cause::Leak, &log, &[boundaries(BEFORE, 1e-4), boundaries(AFTER, after)]);
            let (as_before, grown) = (with(1e-4), with(1e-3));
            assert!(grown > 2.0 * as_before, "seed {seed}: {grown} where leaks grew, {as_before} where they did not");
        }
    }

    /// Oxygen that doubles in the middle of a log, with neither doses nor rises: whether more comes in or less goes out.
    fn doubled_floor() -> Log {
        const ROWS: u32 = 1440;
        let mut random = Random::new(21);
        let time_s: Vec<f64> = (0..ROWS).map(|i| f64::from(i) * 600.0).collect();
        let value = time_s.iter().map(|time_s| {
            let level = if *time_s < 0.5 * DAYS * 86_400.0 { 1.0 } else { 2.0 };
            level * (1.0 + 0.03 * random.normal())
        });
        let oxygen = Trace { value: value.collect(), time_s, below_limit: Vec::new() };
        Log { oxygen_ppm: Some(oxygen), ..Log::default() }
    }

    #[test]
    fn a_series_of_doses_shifts_the_probability_of_a_weaker_purifier_the_right_way() {
        let log = doubled_floor();
        let with = |cause: Cause, last_s: f64| {
            let window = [BEFORE[0], AFTER[1]];
            probability(cause, &log, &[doses(window, 120.0, last_s)])
        };
        let each = [Cause::PurifierCapacity, Cause::GlovePermeation];
        let [purifier, gloves] =
            each.map(|cause| [with(cause, 120.0), probability(cause, &log, &[]), with(cause, 240.0)]);
        assert!(purifier.is_sorted_by(|a, b| a < b), "as before, without tests, twice as slow: {purifier:?}");
        assert!(gloves.is_sorted_by(|a, b| *a > 1.5 * b), "as before, without tests, twice as slow: {gloves:?}");
    }

    #[test]
    fn the_first_and_the_last_dose_of_a_series_count_at_their_own_times() {
        let findings = of_tests(&[doses([BEFORE[0], AFTER[1]], 120.0, 300.0)], &CLOCK);
        let times: Vec<Option<f64>> = findings.iter().map(|own| own.time_s).collect();
        assert!(times[0].is_none() && times[1].is_some_and(|time_s| time_s > CLOCK.window_s[1]), "{times:?}");
    }
}
