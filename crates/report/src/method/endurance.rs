//! Method `endurance`: the largest contents with the purifier on, and the share of time within a target.

use tightfit_fit::Estimate;
use tightfit_fit::endurance::{self as fit, Endurance, Settings};
use tightfit_ingest::{Channel, Status};
use tightfit_quantity::Dimension;

use crate::data::{ChannelData, DataError, Folders, TestData};
use crate::plan::{Plan, Test};
use crate::plot::{self, Clock, Figure};

use super::outcome::Evaluated;
use super::stretch::{stretches, whole_or_set};
use super::validity::{self, Findings};
use super::{Evaluation, EventLine, Outcome, TestError, ppm_rise};

/// What an endurance run shows of each content.
#[derive(Debug)]
pub(crate) struct Run {
    /// Name of the content and its evaluation.
    pub(crate) species: Vec<(&'static str, Endurance)>,
    /// Stretches with the purifier off, s.
    pub(crate) off_s: Vec<[f64; 2]>,
    /// Target, ppm.
    pub(crate) target_ppm: Option<f64>,
}

/// A content that is looked at, with the names of its results.
const CONTENTS: [(Channel, &str, &str, &str); 2] = [
    (Channel::Oxygen, "oxygen", "oxygen_max", "oxygen_share_within"),
    (Channel::Water, "water", "water_max", "water_share_within"),
];

/// Evaluates an endurance run.
pub(crate) fn run(plan: &Plan, test: &Test, folders: &Folders) -> Result<Outcome, TestError> {
    let data = TestData::read(plan, test, &test.files, folders)?;
    let mut findings = Findings::noting(data.assumptions());
    let off_s = data.channel(Channel::PurifierOn)?.map(|state| stretches(&state, |on| on < 0.5)).unwrap_or_default();
    let transfers_s = transfers(&data)?;
    let (mut species, mut estimates) = (Vec::new(), Vec::new());
    for (channel, name, max, share) in CONTENTS {
        let Some(mut found) = data.channel(channel)? else { continue };
        validity::bound_at_end_of_range(&data, channel, &mut found);
        let evaluation = evaluate(test, &data, &found, &off_s, &transfers_s)?;
        check(plan, test, &data, &found, &evaluation, max, &mut findings);
        findings.notes.extend(evaluation.notes.iter().map(|note| format!("{name}: {note}")));
        estimates.push((max, evaluation.kept.max.clone()));
        estimates.extend(evaluation.kept.share_within.clone().map(|within| (share, within)));
        species.push((name, evaluation));
    }
    if species.is_empty() {
        return Err(DataError::MissingChannel {
            needed: "oxygen or water content".to_owned(),
            columns: data.columns(),
            hint: "name it in the plan: [test.columns] oxygen = { column = \"…\", unit = \"ppm\" }".to_owned(),
        }
        .into());
    }
    if test.keys.target.is_none() {
        findings.say("target", "no target is stated, so there is no share of time: target = \"1 ppm\"");
    }
    let run = Run { species, off_s, target_ppm: test.keys.target.as_ref().map(|target| 1e6 * target.si) };
    let window_s = run.window_s();
    let most = |count: fn(&Endurance) -> usize| run.species.iter().map(|(_, e)| count(e)).max().unwrap_or(0);
    Ok(Evaluated {
        findings,
        estimates,
        window_s,
        window_reason: whole_or_set(test.window),
        unused: vec![("purifier off", most(|e| e.off_readings)), ("single readings far off", most(|e| e.spikes))],
        evaluation: Box::new(run),
        data,
    }
    .into_outcome(test))
}

/// Marked transfers: stretches of a state, and moments of events.
fn transfers(data: &TestData<'_>) -> Result<Vec<[f64; 2]>, TestError> {
    let mut marks = Vec::new();
    for channel in [Channel::Transfer, Channel::Event] {
        marks.extend(data.channel(channel)?.map(|state| stretches(&state, |value| value >= 0.5)).unwrap_or_default());
    }
    marks.sort_by(|a, b| a[0].total_cmp(&b[0]));
    Ok(marks)
}

fn evaluate(
    test: &Test,
    data: &TestData<'_>,
    channel: &ChannelData<'_>,
    off_s: &[[f64; 2]],
    transfers_s: &[[f64; 2]],
) -> Result<Endurance, TestError> {
    let status = ppm_rise::statuses(Some(channel));
    let trace = ppm_rise::trace_of(channel, &status)?;
    let settings = Settings {
        target: test.keys.target.as_ref().map(|target| target.si),
        off_s: off_s.to_vec(),
        transfers_s: transfers_s.to_vec(),
        response_is_stated: channel.instrument.is_some_and(|instrument| instrument.response.is_some()),
        window_s: test.window.map(|window| data.window_s(channel, window)),
    };
    fit::evaluate(&trace, &settings).map_err(TestError::not_evaluable)
}

fn check(
    plan: &Plan,
    test: &Test,
    data: &TestData<'_>,
    channel: &ChannelData<'_>,
    evaluation: &Endurance,
    max: &str,
    findings: &mut Findings,
) {
    validity::calibration(channel, data.day(evaluation.window_s[1]), findings);
    if validity::all_alike(channel, evaluation.window_s)
        && channel.status.iter().all(|status| *status == Status::Measured)
    {
        let column = &channel.column;
        findings
            .say("stuck sensor", format!("column \"{column}\" shows one value throughout: is the analyser at work?"));
    }
    for limit in plan.limits_of(test, max) {
        let bound = limit.bound.quantity();
        validity::fitness(channel, Dimension::Ratio, bound.si().abs(), bound.text(), findings);
    }
}

impl Run {
    /// Largest content of a species, for captions.
    pub(crate) fn max(evaluation: &Endurance) -> &Estimate {
        &evaluation.kept.max
    }
}

impl Evaluation for Run {
    fn window_s(&self) -> [f64; 2] {
        self.species
            .iter()
            .map(|(_, e)| e.window_s)
            .fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], [from, to]| [a.min(from), b.max(to)])
    }

    fn figures(&self, clock: &Clock) -> Vec<Figure> {
        plot::endurance::figures(self, self.window_s(), clock)
    }

    fn events(&self) -> Vec<EventLine> {
        let first = self.species.first();
        let excursions = first.into_iter().flat_map(|(name, evaluation)| {
            evaluation.excursions.iter().map(move |excursion| EventLine {
                span_s: excursion.span_s,
                words: format!(
                    "{}, {name} up to {:.2} ppm read",
                    if excursion.marked { "marked transfer" } else { "short excursion" },
                    excursion.peak_ppm
                ),
            })
        });
        excursions.collect()
    }
}
