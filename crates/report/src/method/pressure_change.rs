//! Method `pressure-change`.

use tightfit_fit::InputError;
use tightfit_fit::pressure_change::{
    self as fit, Compliance as FitCompliance, Event, EventKind, LeakLaw, Note, PressureChange, PressureChangeError,
    Settings, StiffnessCheck, Volume, WindowChoice,
};
use tightfit_fit::{Estimate, Kind};
use tightfit_quantity::{Dimension, Gas, display_number};

use crate::catalogue::result_kind;
use crate::data::{Folders, TestData};
use crate::plan::{Compliance, Measured, Plan, Test, Window};
use crate::plot::{self, Clock, Figure};
use crate::result::{Results, TestResult};

use super::pressure_channels::{Channels, fit_instrument};
use super::validity::{self, Findings};
use super::{Drawing, Evaluation, EventLine, Outcome, TestError, check_of_the_hold, result_value, rows};

/// One evaluated record of a test or of a run.
pub(super) struct Evaluated<'p> {
    pub(super) data: TestData<'p>,
    pub(super) evaluation: PressureChange,
    pub(super) findings: Findings,
}

/// Evaluates a test.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let evaluated = evaluate(plan, test, &test.files, test.window, folders)?;
    Ok(outcome(plan, test, evaluated))
}

/// Reads and evaluates the record in `files`.
pub(super) fn evaluate<'p>(
    plan: &'p Plan,
    test: &'p Test,
    files: &[String],
    window: Option<Window>,
    folders: &Folders,
) -> Result<Evaluated<'p>, TestError> {
    let data = TestData::read(plan, test, files, folders)?;
    let channels = Channels::gather(&data)?;
    let settings = settings(plan, test, window, &data, &channels)?;
    let evaluation = fit::evaluate(&channels.record()?, &settings).map_err(not_evaluable)?;
    let findings = check(plan, test, &data, &channels, &evaluation);
    Ok(Evaluated { data, evaluation, findings })
}

fn settings(
    plan: &Plan,
    test: &Test,
    window: Option<Window>,
    data: &TestData<'_>,
    channels: &Channels<'_>,
) -> Result<Settings, TestError> {
    let reference = test.reference_pressure.as_ref().map(tightfit_quantity::Quantity::si);
    let volume = plan.enclosure.volume.as_ref().map(fit_volume);
    let mut settings = Settings::new(reference.unwrap_or_else(|| channels.median_difference_pa()));
    settings.volume = volume;
    settings.compliance = compliance(plan, volume, channels.room_mean_pa(), channels.median_difference_pa())?;
    settings.leak_law = LeakLaw::Linear;
    settings.window = window.map_or(WindowChoice::Auto, |window| {
        let [first, last] = [channels.inside.time_s[0], channels.inside.time_s[channels.inside.time_s.len() - 1]];
        WindowChoice::Set {
            from_s: window.from.map_or(first, |moment| data.moment_s(moment)),
            to_s: window.to.map_or(last, |moment| data.moment_s(moment)),
        }
    });
    settings.gauge = fit_instrument(channels.inside.instrument, Dimension::Pressure);
    settings.barometer = channels.barometer();
    settings.superimposed_leak = test.superimposed_leak.as_ref().map(|leak| fit::SuperimposedLeak {
        flow_m3_per_s: leak.flow.si,
        standard_uncertainty_m3_per_s: leak.flow.standard_uncertainty.unwrap_or(0.0),
        from_s: data.moment_s(leak.from),
        to_s: data.moment_s(leak.to),
    });
    if settings.superimposed_leak.is_some() && volume.is_none() {
        return Err(TestError::VolumeMissing { needed_for: "the superimposed leak" });
    }
    Ok(settings)
}

pub(crate) fn fit_volume(volume: &Measured) -> Volume {
    Volume { value_m3: volume.si, standard_uncertainty_m3: volume.standard_uncertainty.unwrap_or(0.0) }
}

/// Pressure difference beyond which nothing as soft as a glove can be part of the boundary, Pa (common practice, no
/// source: gloves and windows are rated for a few kilopascals).
const NO_GLOVES_BEYOND_PA: f64 = 20e3;

/// How far the enclosure gives way, by the plan, at a room pressure and a pressure difference in Pa.
pub(crate) fn compliance(
    plan: &Plan,
    volume: Option<Volume>,
    room_pressure_pa: f64,
    difference_pa: f64,
) -> Result<FitCompliance, TestError> {
    match &plan.enclosure.compliance {
        Compliance::NotStated if difference_pa.abs() > NO_GLOVES_BEYOND_PA => Ok(FitCompliance::Rigid),
        Compliance::NotStated => Ok(FitCompliance::Unknown),
        Compliance::Stated(stated) => {
            let uncertainty = stated.standard_uncertainty.unwrap_or(0.0);
            let rigid = stated.si == 0.0 && uncertainty == 0.0;
            Ok(if rigid {
                FitCompliance::Rigid
            } else {
                FitCompliance::Given { value_m3_per_pa: stated.si, standard_uncertainty_m3_per_pa: uncertainty }
            })
        }
        Compliance::StiffnessCheck { injected, rise } => {
            let volume = volume.ok_or(TestError::VolumeMissing { needed_for: "the stiffness check" })?;
            let check = StiffnessCheck {
                injected_m3: injected.si,
                injected_relative_uncertainty: relative(injected),
                rise_pa: rise.si,
                rise_relative_uncertainty: relative(rise),
            };
            Ok(FitCompliance::from_stiffness_check(&check, volume, room_pressure_pa))
        }
    }
}

/// Relative standard uncertainty; where none is stated, half of the last digit written as limits.
pub(super) fn relative(measured: &Measured) -> f64 {
    let stated = measured.standard_uncertainty.map(|uncertainty| uncertainty / measured.si);
    stated.unwrap_or_else(|| {
        let step = last_digit(measured.quantity.text());
        0.5 * step / 3f64.sqrt() / measured.quantity.value().abs()
    })
}

/// Worth of the last digit written: 0.01 of `"1.00 L"`, 1 of `"51 Pa"`.
fn last_digit(text: &str) -> f64 {
    let number = text.split(|c: char| c.is_whitespace()).next().unwrap_or(text);
    let decimals =
        number.split_once('.').map_or(0, |(_, fraction)| fraction.chars().take_while(char::is_ascii_digit).count());
    10f64.powi(-(decimals as i32))
}

fn check(
    plan: &Plan,
    test: &Test,
    data: &TestData<'_>,
    channels: &Channels<'_>,
    evaluation: &PressureChange,
) -> Findings {
    let mut findings = Findings::noting(data.assumptions());
    let day = data.day(evaluation.window.to_s);
    for channel in channels.all() {
        validity::calibration(channel, day, &mut findings);
    }
    validity::range(&channels.inside, Dimension::Pressure, &mut findings);
    for (column, count) in &channels.outside_range {
        let finding = format!(
            "{count} readings of \"{column}\" are marked as outside the range of its instrument and were left out"
        );
        findings.say("range", finding);
    }
    validity::rated_pressure(plan.enclosure.rated_pressure.as_ref(), channels.difference_range_pa(), &mut findings);
    check_of_the_hold::run(plan, test, data, channels, evaluation, &mut findings);
    if test.reference_pressure.is_none() {
        let at = super::pressure_text(channels.median_difference_pa());
        findings
            .notes
            .push(format!("no reference pressure is stated: leak rates stand at {at}, the median of the record"));
    }
    if !channels.room_is_known {
        let note = "neither barometer nor [room] pressure is given: 1013.25 hPa stands in for the room's pressure";
        findings.say("barometer", note);
    }
    for note in &evaluation.notes {
        match check_of_the_hold::named(note) {
            Some(check) => findings.say(check, note.to_string()),
            None => findings.notes.push(note.to_string()),
        }
    }
    findings.notes.extend(super::permeation::note(
        &plan.enclosure,
        channels.temperature_k(),
        evaluation.room_pressure_at_start_pa,
        evaluation.hourly_leak_rate.value,
    ));
    findings.notes.dedup();
    findings
}

/// The results of an evaluation by name, in the units of the result.
pub(super) fn estimates(evaluation: &PressureChange) -> Vec<(&'static str, Estimate)> {
    let optional = [
        ("leak_conductance", &evaluation.leak_conductance),
        ("leak_throughput", &evaluation.leak_throughput),
        ("hourly_leak_rate_two_point", &evaluation.two_point),
        ("hourly_leak_rate_mass_point", &evaluation.mass_point),
        ("superimposed_leak_ratio", &evaluation.superimposed_leak_ratio),
    ];
    let mut estimates = vec![("hourly_leak_rate", evaluation.hourly_leak_rate.clone())];
    estimates.extend(optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?))));
    if law_unknown(evaluation) {
        let by_model = |name: &str| matches!(name, "hourly_leak_rate" | "leak_conductance" | "leak_throughput");
        for (_, estimate) in estimates.iter_mut().filter(|(name, _)| by_model(name)) {
            estimate.kind = Kind::NotDetermined;
        }
    }
    estimates.push(("pressure_rate", evaluation.pressure_rate.clone()));
    estimates
}

/// Whether neither temperature nor leak law is known: far above what an enclosure bears no linear law holds, and
/// compressed gas that cools for minutes cannot be told from a leak without a thermometer.
fn law_unknown(evaluation: &PressureChange) -> bool {
    let far = |note: &Note| matches!(note, Note::LinearLawDoubtful { largest_difference_pa } if largest_difference_pa.abs() > NO_GLOVES_BEYOND_PA);
    evaluation.notes.contains(&Note::NoThermometer) && evaluation.notes.iter().any(far)
}

pub(super) fn results(estimates: &[(&'static str, Estimate)]) -> Results {
    let named = estimates.iter().map(|(name, estimate)| {
        let unit = result_kind(name).map_or("", |kind| kind.unit);
        ((*name).to_owned(), result_value(estimate, unit))
    });
    Results(named.collect())
}

/// The gas that flowed: air into an under-pressure, the fill gas out of an over-pressure.
pub(super) fn flowing_gas(plan: &Plan, evaluation: &PressureChange) -> Gas {
    if evaluation.mean_difference_pa < 0.0 { Gas::Air } else { plan.enclosure.gas }
}

pub(super) fn window_text(data: &TestData<'_>, evaluation: &PressureChange) -> [String; 2] {
    [data.time_text(evaluation.window.from_s), data.time_text(evaluation.window.to_s)]
}

fn outcome(plan: &Plan, test: &Test, evaluated: Evaluated<'_>) -> Outcome {
    let Evaluated { data, evaluation, findings } = evaluated;
    let estimates = estimates(&evaluation);
    let mut result = TestResult {
        gas: Some(flowing_gas(plan, &evaluation).name().to_owned()),
        window: Some(window_text(&data, &evaluation)),
        window_reason: Some(evaluation.window.to_string()),
        events: evaluation.events.iter().map(|event| event_text(&data, event)).collect(),
        results: results(&estimates),
        ..TestResult::empty(&test.id, test.method.name())
    };
    findings.into_result(&mut result);
    let window_s = [evaluation.window.from_s, evaluation.window.to_s];
    rows::account(&mut result, &data, window_s, &within(&evaluation));
    let origin_s = data.dated.then_some(data.origin_s);
    Outcome {
        result,
        estimates,
        window_s: window_s[1] - window_s[0],
        runs: Vec::new(),
        drawings: vec![Drawing {
            title: test.boundary.clone().unwrap_or_default(),
            evaluation: Box::new(evaluation),
            origin_s,
        }],
        files: data.files.iter().map(rows::file_account).collect(),
        raw: data.files.into_iter().map(|file| (file.name, file.content)).collect(),
    }
}

/// Rows inside the window that were not used after all.
pub(super) fn within(evaluation: &PressureChange) -> [(&'static str, usize); 2] {
    [
        ("disturbed: outlier, glove pull or step", evaluation.rows.disturbed),
        ("in a gap of the barometer", evaluation.rows.without_room_pressure),
    ]
}

pub(super) fn event_text(data: &TestData<'_>, event: &Event) -> String {
    let from = data.time_text(event.from_s);
    let to = data.time_text(event.to_s);
    match event.kind {
        EventKind::Step | EventKind::GlovePull => format!("{from} to {to}: {} of {:.1} Pa", event.kind, event.size),
        EventKind::Outlier { .. } => format!("{from}: {}", event.kind),
        EventKind::Gap { .. } => format!("{from} to {to}: {}", event.kind),
    }
}

impl Evaluation for PressureChange {
    fn window_s(&self) -> [f64; 2] {
        [self.window.from_s, self.window.to_s]
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::pressure_change::figures(self, clock)
    }

    fn events(&self) -> Vec<EventLine> {
        self.events.iter().map(event_line).collect()
    }

    fn pressure_change(&self) -> Option<&PressureChange> {
        Some(self)
    }
}

fn event_line(event: &Event) -> EventLine {
    let has_size = matches!(event.kind, EventKind::Step | EventKind::GlovePull);
    let size = if has_size && event.size.is_finite() && event.size != 0.0 {
        format!(", {} Pa", display_number(event.size, 3))
    } else {
        String::new()
    };
    EventLine { span_s: [event.from_s, event.to_s], words: format!("{}{size}", event.kind) }
}

fn not_evaluable(error: PressureChangeError) -> TestError {
    let hint = match error {
        PressureChangeError::Input(InputError::WindowOutsideRecord { .. }) => super::CORRECT_WINDOW,
        PressureChangeError::ReferencePressureUnusable { .. } => {
            "state it in the test: reference_pressure = \"-1000 Pa\""
        }
        other => return TestError::not_evaluable(other),
    };
    TestError::NotEvaluable { error: Box::new(error), hint }
}
