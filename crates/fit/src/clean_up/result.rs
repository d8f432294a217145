//! What an evaluation hands back.

use super::blocks::Blocks;
use super::columns::Law;
use super::search::Fit;
use super::seen::Seen;
use super::{Lag, Note, Settings, Window};
use crate::ppm_rise::{Quantity, ReadingStatus, Trace};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate, Kind};

const PPM: f64 = 1e6;
/// Probability from which loading is said.
const CLEAR: f64 = 0.95;

/// Result of a clean-up.
#[derive(Debug, Clone, PartialEq)]
pub struct CleanUp {
    /// Time constant of the gas in s, the analyser's lag taken out.
    pub time_constant: Estimate,
    /// Content that it comes down to, in ppm.
    pub floor: Estimate,
    /// Dose in ppm: its height at the onset of the decay.
    pub dose: Estimate,
    /// Ingress that the floor implies at most, in ppm/h: floor over time constant. The analyser's zero and what the bed itself
    /// leaves in the gas are in the floor.
    pub implied_ingress: Estimate,
    /// Time constant of the analyser's response, s: mean of what is stated and what the rise of the dose says.
    pub response_s: f64,
    /// Standard uncertainty of the gas's time constant that comes from the response, s.
    pub time_constant_from_response_s: f64,
    /// Effective clean-up flow V/τ in m³/s; needs the volume.
    pub cleanup_flow: Option<Estimate>,
    /// Share removed in one pass, V/(τ·flow); needs volume and flow.
    pub single_pass_efficiency: Option<Estimate>,
    /// Time from the onset of the clean-up to the target, in s; needs the target.
    pub time_to_limit: Option<Estimate>,
    /// The part of the record that was evaluated.
    pub window: Window,
    /// Readings in the window: measured, below the reporting limit, above the range.
    pub readings: [usize; 3],
    /// Readings around the reporting limit that were set aside.
    pub set_aside: usize,
    /// Readings in the window that stand out alone and were set aside.
    pub spikes: usize,
    /// Standard deviation of a reading at the floor, ppm.
    pub floor_noise_ppm: f64,
    /// Series for plotting.
    pub series: Series,
    /// Findings.
    pub notes: Vec<Note>,
}

/// Series for plotting, in s and ppm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Whole record: time in s.
    pub record_time_s: Vec<f64>,
    /// Whole record: readings in ppm.
    pub record_ppm: Vec<f64>,
    /// Blocks of the window: time in s.
    pub time_s: Vec<f64>,
    /// Blocks: fitted reading in ppm.
    pub fitted_ppm: Vec<f64>,
    /// Blocks: reading less fit in ppm; NaN where censored.
    pub residual_ppm: Vec<f64>,
}

pub(super) fn summarise(trace: &Trace<'_>, settings: &Settings, window: Window, blocks: &Blocks, fit: &Fit) -> CleanUp {
    let posterior = &fit.posterior;
    let tau = posterior.time_constant();
    let own = tau.standard_deviation();
    let from_lag = posterior.response.time_constant_s.min(own);
    let budget = vec![
        BudgetLine::new(
            "readings (noise, steps, what they do not tell apart)",
            (own * own - from_lag * from_lag).sqrt(),
        ),
        BudgetLine::new("response of the analyser", from_lag),
    ];
    let time_constant = Estimate::from_distribution(tau, budget);
    let floor = floor(&posterior.floor(), trace, blocks);
    let cleanup_flow = settings.volume_m3.map(|volume| flow(&time_constant, volume));
    let single_pass_efficiency =
        cleanup_flow.as_ref().zip(settings.flow_m3_per_s).map(|(flow, through)| efficiency(flow, through));
    let time = settings.target.map(|target| time_to_limit(trace, target, &window, fit));
    let last_s = trace.samples.last_time_s();
    let rises_again = !window.set && window.to_s < last_s - trace.samples.cadence_s();
    let mut notes = notes(settings, blocks, fit, &time_constant, rises_again);
    if let Some((_, never)) = &time
        && *never > 0.025
    {
        notes.push(Note::TargetNotReached { probability: *never });
    }
    let implied_ingress = implied_ingress(&posterior.ingress(), &floor, &time_constant);
    notes.push(Note::ImpliedIngress { ppm_per_h: implied_ingress.interval95[1] });
    if let Some(found) = single_pass_efficiency.as_ref().filter(|found| found.interval95[0] > 1.0) {
        notes.push(Note::EfficiencyAboveOne { value: found.value });
    }
    CleanUp {
        dose: dose(trace, &window, fit),
        implied_ingress,
        response_s: posterior.response.lag_s,
        time_constant_from_response_s: from_lag,
        time_constant,
        floor,
        cleanup_flow,
        single_pass_efficiency,
        time_to_limit: time.map(|(estimate, _)| estimate),
        window,
        readings: [ReadingStatus::Measured, ReadingStatus::BelowLimit, ReadingStatus::AboveRange]
            .map(|status| blocks.count(status)),
        set_aside: blocks.set_aside,
        spikes: 0,
        floor_noise_ppm: (fit.solved.squares / fit.solved.degrees_of_freedom).sqrt() * PPM,
        series: series(trace, &window, blocks, fit),
        notes,
    }
}

/// The floor in ppm, with zero and scale of the analyser.
fn floor(shown: &Distribution, trace: &Trace<'_>, blocks: &Blocks) -> Estimate {
    let analyser = &trace.analyser;
    let from_readings = shown.standard_deviation();
    let scale = analyser.scale * shown.mean().abs();
    // A display that stands still hides where within its step the content lies.
    let stuck = blocks.measured().last().is_some_and(|block| block.worth < block.count as f64);
    let step = if stuck { blocks.step / 12.0_f64.sqrt() } else { 0.0 };
    let whole = shown.with_normal_error(analyser.zero.hypot(scale).hypot(step));
    let budget = vec![
        BudgetLine::new("readings", from_readings * PPM),
        BudgetLine::new("zero of the analyser", analyser.zero * PPM),
        BudgetLine::new("scale of the analyser", scale * PPM),
        BudgetLine::new("step of the display", step * PPM),
    ];
    let mut estimate = Estimate::from_distribution(
        whole.scaled(PPM),
        budget.into_iter().filter(|l| l.standard_uncertainty > 0.0).collect(),
    );
    let below = blocks.blocks.last().is_some_and(|block| block.status == ReadingStatus::BelowLimit);
    // A normal distribution meets this where its mean lies less than two standard deviations above zero.
    let near_zero = estimate.distribution.quantile(0.05) <= estimate.interval95[1] * 0.1;
    if below || near_zero {
        estimate = estimate.into_upper_bound();
    }
    // The gas has no negative content.
    estimate.value = estimate.value.max(0.0);
    estimate
}

/// The dose at the onset in ppm, with the analyser's scale.
fn dose(trace: &Trace<'_>, window: &Window, fit: &Fit) -> Estimate {
    let since_start = (window.onset_s - window.from_s).max(0.0) / fit.shape.tau_s;
    let [value, own] = fit.posterior.height().map(|dose| dose * (-since_start).exp() * PPM);
    let scale = trace.analyser.scale * value;
    let budget = vec![BudgetLine::new("readings", own), BudgetLine::new("scale of the analyser", scale)];
    Estimate::from_distribution(Distribution::normal(value, own.hypot(scale)), budget)
}

/// Floor over time constant in ppm/h, an upper bound: what else is in the floor cannot be told from ingress.
fn implied_ingress(shown: &Distribution, floor: &Estimate, time_constant: &Estimate) -> Estimate {
    let per_hour = shown.scaled(PPM * 3600.0);
    // Zero, scale and step of the analyser are in the floor and not in what the readings alone say.
    let own = per_hour.standard_deviation();
    let whole = floor.standard_uncertainty / time_constant.value * 3600.0;
    let rest = (whole * whole - own * own).max(0.0).sqrt();
    let budget = vec![BudgetLine::new("floor and time constant", own), BudgetLine::new("analyser", rest)];
    let mut estimate = Estimate::from_distribution(per_hour.with_normal_error(rest), budget);
    estimate.interval95[1] = estimate.interval95[1].max(0.0);
    estimate.into_upper_bound()
}

/// V/τ in m³/s.
fn flow(time_constant: &Estimate, volume: Quantity) -> Estimate {
    let relative = volume.standard_uncertainty / volume.value;
    let own = time_constant.distribution.mapped(|tau_s| -volume.value / tau_s).scaled(-1.0);
    let value = own.median();
    let budget = vec![
        BudgetLine::new("time constant", own.standard_deviation()),
        BudgetLine::new("volume of the enclosure", relative * value),
    ];
    Estimate::from_distribution(own.with_normal_error(relative * value), budget)
}

fn efficiency(flow: &Estimate, through: Quantity) -> Estimate {
    let ratio = flow.scaled(1.0 / through.value);
    let meter = ratio.value * through.standard_uncertainty / through.value;
    let mut budget = ratio.budget.clone();
    budget.push(BudgetLine::new("circulation flow", meter));
    Estimate::from_distribution(ratio.distribution.with_normal_error(meter), budget)
}

/// Time from the onset, and the probability that the target is never reached.
fn time_to_limit(trace: &Trace<'_>, target: f64, window: &Window, fit: &Fit) -> (Estimate, f64) {
    let ratio = if let Law::SlowTail(ratio) = fit.shape.law { Some(ratio) } else { None };
    let found = fit.posterior.time_to(target, trace.analyser.zero, trace.analyser.scale, ratio);
    let before = window.from_s - window.onset_s;
    let estimate = match found.distribution {
        Some(distribution) => {
            let moment = window.onset_uncertainty_s;
            let mut budget =
                vec![BudgetLine::new("decay, floor and analyser together", distribution.standard_deviation())];
            if moment > 0.0 {
                budget.push(BudgetLine::new("moment of its beginning, between two readings", moment));
            }
            let estimate = Estimate::from_distribution(distribution.shifted(before).with_normal_error(moment), budget);
            if found.never > 0.025 { estimate.into_lower_bound() } else { estimate }
        }
        None => Estimate {
            kind: Kind::NotDetermined,
            interval95: [f64::NEG_INFINITY, f64::INFINITY],
            ..Estimate::from_distribution(Distribution::normal(f64::INFINITY, 0.0), Vec::new())
        },
    };
    (estimate, found.never)
}

fn notes(settings: &Settings, blocks: &Blocks, fit: &Fit, time_constant: &Estimate, rises_again: bool) -> Vec<Note> {
    let mut notes = Vec::new();
    let tau_s = time_constant.value;
    match settings.lag {
        Lag::Unknown => notes.push(Note::LagUnknown),
        Lag::Stated(lag) if lag.value > 0.02 * tau_s => notes.push(Note::LagMatters {
            ratio: lag.value / tau_s,
            standard_uncertainty_s: fit.posterior.response.time_constant_s,
        }),
        Lag::Stated(_) | Lag::Exactly(_) => {}
    }
    let dose = fit.solved.beta[super::columns::DOSE];
    let share = fit.shape.second().map_or(0.0, |index| fit.solved.beta[index] / dose);
    match fit.shape.law {
        Law::SlowTail(ratio) => {
            notes.push(Note::SlowTail { time_constant_s: ratio * fit.shape.tau_s, share: share / (1.0 + share) });
        }
        Law::Loading(decay) if fit.law_probability > CLEAR => {
            notes.push(Note::Loading { slower: 1.0 + decay.load + share });
        }
        Law::Exponential | Law::Loading(_) => {}
    }
    let seen = Seen::of(&fit.shape);
    let deviation = blocks
        .measured()
        .map(|block| (block.value - seen.reading(&fit.solved.beta, block)).abs() / dose)
        .fold(0.0, f64::max);
    if deviation > 0.03 && fit.noise.correlated * mean_worth(blocks) > 2.0 {
        notes.push(Note::NotExponential { deviation });
    }
    let time_constants = blocks.span_s / tau_s;
    if rises_again {
        notes.push(Note::RisesAgain { time_constants });
    } else if time_constants < 4.0 {
        notes.push(Note::FloorNotReached { time_constants });
    }
    let all: usize = blocks.blocks.iter().map(|block| block.count).sum();
    let censored = all - blocks.count(ReadingStatus::Measured);
    if censored > 0 {
        notes.push(Note::Censored { share: censored as f64 / all as f64 });
    }
    notes
}

fn mean_worth(blocks: &Blocks) -> f64 {
    let (sum, count) = blocks.measured().fold((0.0, 0.0), |(sum, count), block| (sum + block.worth, count + 1.0));
    sum / count
}

/// Times in s and readings in ppm for plotting, some thousands at most.
pub(super) fn record(trace: &Trace<'_>) -> (Vec<f64>, Vec<f64>) {
    let stride = trace.samples.len().div_ceil(3000);
    let thinned = |values: &[f64], factor: f64| values.iter().step_by(stride).map(|v| v * factor).collect();
    (thinned(trace.samples.time_s(), 1.0), thinned(trace.samples.value(), PPM))
}

fn series(trace: &Trace<'_>, window: &Window, blocks: &Blocks, fit: &Fit) -> Series {
    let (record_time_s, record_ppm) = record(trace);
    let seen = Seen::of(&fit.shape);
    let model = |block| seen.reading(&fit.solved.beta, block);
    Series {
        record_time_s,
        record_ppm,
        time_s: blocks.blocks.iter().map(|block| window.from_s + block.middle_s()).collect(),
        fitted_ppm: blocks.blocks.iter().map(|block| model(block) * PPM).collect(),
        residual_ppm: blocks
            .blocks
            .iter()
            .map(
                |block| {
                    if block.status == ReadingStatus::Measured { (block.value - model(block)) * PPM } else { f64::NAN }
                },
            )
            .collect(),
    }
}
