//! Method `ppm-rise-series`: several runs with purification off at different pressures, so that leak and permeation part.

use std::rc::Rc;

use tightfit_fit::permeation::Measured;
use tightfit_fit::ppm_rise::{PpmRise, Quantity, Species};
use tightfit_fit::ppm_rise_series::{self as fit, PpmRiseSeries, Run, Settings};
use tightfit_fit::{Estimate, Kind};
use tightfit_quantity::Gas;

use crate::data::Folders;
use crate::plan::{Plan, Test};
use crate::plot::ppm_rise::LeakShares;
use crate::plot::{self, Clock, Figure};
use crate::result::{CorrelationLine, RunResult, TestResult};

use super::leak_from_pressure::conductance_for_air;
use super::ppm_rise::{Evaluated, RunPlan, Scales};
use super::{Drawing, Evaluation, Outcome, RunEstimates, TestError, permeation, ppm_rise, pressure_change, rows};

/// Evaluates a series. `earlier` are the outcomes of the plan's other tests: a leak found from pressure is a further datum.
pub(crate) fn run(
    plan: &Plan,
    test: &Test,
    folders: &Folders,
    earlier: &[Option<Result<Outcome, TestError>>],
) -> Result<Outcome, TestError> {
    let mut result = TestResult::empty(&test.id, test.method.name());
    let from_pressure = conductance_for_air(plan, earlier);
    let mut evaluated_runs = evaluate_runs(plan, test, folders, from_pressure)?;
    let mut joint = joint(test, &evaluated_runs, from_pressure)?;
    let leak = &joint.conductance_per_volume;
    let above_room = |run: &(String, Evaluated<'_>)| run.1.evaluation.mean_difference_pa.is_some_and(|pa| pa > 0.0);
    if from_pressure.is_none() && leak.kind == Kind::Estimate && evaluated_runs.iter().any(above_room) {
        // The series itself says now what leaked out above the room's pressure and was made up for.
        let leak = Quantity::new(leak.value, leak.standard_uncertainty);
        evaluated_runs = evaluate_runs(plan, test, folders, Some(leak))?;
        joint = self::joint(test, &evaluated_runs, None)?;
    }
    for (name, evaluated) in &evaluated_runs {
        add_run(&mut result, name, evaluated);
    }
    result.notes.extend(joint.notes.iter().map(ToString::to_string));
    result.valid = result.problems.is_empty();
    result.gas = Some(Gas::Air.name().to_owned());
    result.correlations = correlations(&joint);
    let mut estimates = estimates(&joint);
    if let Some((_, first)) = evaluated_runs.first() {
        let found = [&joint.oxygen_from_permeation, &joint.water_from_permeation].map(Option::as_ref);
        let gloves = permeation::compare(&plan.enclosure, &first.around_gloves(), Measured::Permeation, found);
        result.notes.extend(gloves.notes);
        estimates.extend(gloves.estimates);
    }
    result.results = pressure_change::results(&estimates);
    Ok(outcome(result, estimates, joint, evaluated_runs))
}

fn evaluate_runs<'p>(
    plan: &'p Plan,
    test: &'p Test,
    folders: &Folders,
    conductance_for_air: Option<Quantity>,
) -> Result<Vec<(String, Evaluated<'p>)>, TestError> {
    let named = (1..).zip(&test.runs);
    named
        .map(|(number, run)| {
            let name = test.run_name(number);
            let run = RunPlan {
                files: &run.files,
                stated_pressure_pa: run.pressure.as_ref().map(tightfit_quantity::Quantity::si),
                window: run.window.or(test.window),
                scales: Scales::CommonToRuns,
                conductance_for_air,
            };
            Ok((name, ppm_rise::evaluate(plan, test, run, folders)?))
        })
        .collect()
}

fn add_run(result: &mut TestResult, name: &str, evaluated: &Evaluated<'_>) {
    evaluated.findings.add_to_series(name, result);
    rows::account(result, &evaluated.data, evaluated.window_s, &ppm_rise::within(&evaluated.evaluation));
    result.runs.push(RunResult {
        boundary: name.to_owned(),
        window: Some(evaluated.window_s.map(|time_s| evaluated.data.time_text(time_s))),
        results: pressure_change::results(&ppm_rise::estimates(&evaluated.evaluation)),
    });
}

fn joint(
    test: &Test,
    evaluated: &[(String, Evaluated<'_>)],
    conductance_from_pressure: Option<Quantity>,
) -> Result<PpmRiseSeries, TestError> {
    let runs: Vec<Run> = evaluated
        .iter()
        .filter_map(|(name, run)| {
            Some(Run {
                name: name.clone(),
                pressure_difference_pa: run.evaluation.mean_difference_pa?,
                room_pressure_pa: run.room_pressure_pa,
                room_air: run.room_air,
                oxygen_ingress: run.evaluation.oxygen_ingress.clone(),
                water_ingress: run.evaluation.water_ingress.clone(),
            })
        })
        .collect();
    let (Some(first), true) = (evaluated.first(), runs.len() == evaluated.len()) else {
        return Err(TestError::RunPressureMissing);
    };
    // Without a stated reference the lowest pressure of the series stands in: there the leak shows most.
    let lowest = runs.iter().map(|run| run.pressure_difference_pa).fold(f64::INFINITY, f64::min);
    let scale = |scale: fn(&Evaluated<'_>) -> f64| evaluated.iter().map(|(_, run)| scale(run)).fold(0.0, f64::max);
    let settings = Settings {
        reference_pressure_pa: test.reference_pressure.as_ref().map_or(lowest, tightfit_quantity::Quantity::si),
        room_pressure_pa: first.1.room_pressure_pa,
        room_air: first.1.room_air,
        oxygen_scale: scale(|run| run.analyser_scales[0]),
        water_scale: scale(|run| run.analyser_scales[1]),
        conductance_from_pressure,
    };
    fit::evaluate(&runs, &settings).map_err(|error| TestError::NotEvaluable {
        error: Box::new(error),
        hint: "look at each run with method = \"ppm-rise\" first",
    })
}

/// Correlations of the leak with the permeations and of these with each other, where all of them were found.
fn correlations(joint: &PpmRiseSeries) -> Vec<CorrelationLine> {
    const NAMES: [&str; 3] = ["hourly_leak_rate", "oxygen_from_permeation", "water_from_permeation"];
    let estimates =
        [Some(&joint.hourly_leak_rate), joint.oxygen_from_permeation.as_ref(), joint.water_from_permeation.as_ref()];
    let found = |index: usize| estimates[index].is_some_and(|estimate| estimate.kind == Kind::Estimate);
    [(0, 1), (0, 2), (1, 2)]
        .into_iter()
        .filter(|(a, b)| found(*a) && found(*b))
        .map(|(a, b)| CorrelationLine {
            between: [NAMES[a].to_owned(), NAMES[b].to_owned()],
            coefficient: joint.correlation[a][b],
        })
        .collect()
}

fn estimates(joint: &PpmRiseSeries) -> Vec<(&'static str, Estimate)> {
    let optional = [
        ("oxygen_ingress", &joint.oxygen_ingress),
        ("water_ingress", &joint.water_ingress),
        ("oxygen_from_leak", &joint.oxygen_from_leak),
        ("oxygen_from_permeation", &joint.oxygen_from_permeation),
        ("water_from_leak", &joint.water_from_leak),
        ("water_from_permeation", &joint.water_from_permeation),
    ];
    let found = optional.into_iter().filter_map(|(name, estimate)| Some((name, estimate.clone()?)));
    found.chain(std::iter::once(("hourly_leak_rate", joint.hourly_leak_rate.clone()))).collect()
}

fn outcome(
    result: TestResult,
    estimates: Vec<(&'static str, Estimate)>,
    joint: PpmRiseSeries,
    evaluated: Vec<(String, Evaluated<'_>)>,
) -> Outcome {
    let window_s = evaluated.iter().map(|(_, run)| run.window_s[1] - run.window_s[0]).sum();
    let (mut drawings, mut files, mut raw) = (Vec::new(), Vec::new(), Vec::<(String, Rc<Vec<u8>>)>::new());
    let shares: Vec<LeakShares> = evaluated.iter().map(|(name, _)| leak_shares(&joint, name)).collect();
    if let Some((_, first)) = evaluated.first() {
        let origin_s = first.data.dated.then_some(first.data.origin_s);
        let evaluation = Box::new(AllRuns { joint, window_s: first.window_s });
        drawings.push(Drawing { title: "all runs together".to_owned(), evaluation, origin_s });
    }
    for ((name, run), leak_shares) in evaluated.into_iter().zip(shares) {
        files.extend(run.data.files.iter().map(rows::file_account));
        let origin_s = run.data.dated.then_some(run.data.origin_s);
        let evaluation = Box::new(RunOfSeries { run: run.evaluation, leak_shares });
        drawings.push(Drawing { title: name, evaluation, origin_s });
        for file in run.data.files {
            if !raw.iter().any(|(known, _)| *known == file.name) {
                raw.push((file.name, file.content));
            }
        }
    }
    Outcome { result, estimates, window_s, runs: Vec::<RunEstimates>::new(), drawings, files, raw }
}

/// Share of the steady ingress of a run that came through leaks, where the runs tell it.
fn leak_shares(joint: &PpmRiseSeries, run: &str) -> LeakShares {
    let is_told = |leak: &Option<Estimate>| leak.as_ref().is_some_and(|leak| leak.kind == Kind::Estimate);
    let share = |species, leak| {
        let point = joint.points.iter().find(|point| point.name == run && point.species == species)?;
        (is_told(leak) && point.fitted_ppm_per_h > 0.0).then(|| point.leak_ppm_per_h / point.fitted_ppm_per_h)
    };
    [share(Species::Oxygen, &joint.oxygen_from_leak), share(Species::Water, &joint.water_from_leak)]
}

/// The joint fit, to be drawn.
#[derive(Debug)]
struct AllRuns {
    joint: PpmRiseSeries,
    /// Window of the first run.
    window_s: [f64; 2],
}

impl Evaluation for AllRuns {
    fn window_s(&self) -> [f64; 2] {
        self.window_s
    }

    fn figures(&self, _: &Clock) -> Vec<Figure> {
        plot::ppm_rise_series::figures(&self.joint)
    }
}

/// A run whose ingress the others part.
#[derive(Debug)]
struct RunOfSeries {
    run: PpmRise,
    leak_shares: LeakShares,
}

impl Evaluation for RunOfSeries {
    fn window_s(&self) -> [f64; 2] {
        ppm_rise::window_s(&self.run)
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::ppm_rise::figures(&self.run, self.leak_shares, self.window_s(), clock)
    }
}
