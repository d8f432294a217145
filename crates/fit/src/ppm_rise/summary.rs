//! From a fitted species to what the reader gets: estimates with budget, findings, series.

use super::blocks::Blocks;
use super::exchange::Exchange;
use super::likelihood::Noise;
use super::mixture::Mixture;
use super::species::{Circumstances, Fitted};
use super::{Diagnostics, ModelWeight, Note, Outgassing, ReadingStatus, RowUse, Series, Species, SpeciesFit};
use crate::noise::{NoiseModel, OrnsteinUhlenbeck, innovations, jarque_bera_p_value, lag1_autocorrelation};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate};

/// Parts per million in one.
pub(super) const PPM: f64 = 1e6;

/// Share of measured readings below which a value is given as an upper bound.
const LEAST_MEASURED_SHARE: f64 = 0.2;
/// Probability of a power law from which the result must hold for it: an interval that spans it, or an upper bound.
const SLOW_TAIL: f64 = 0.1;
/// Share of the bound that a tail may take in an interval; with more, only the bound is given.
const LITTLE_TAIL: f64 = 0.1;
/// Probability from which the interval of water spans a model.
const COUNTS: f64 = 0.1;
/// How far down an unseen slow term takes the interval, in standard uncertainties with such a term: the 2.5 % point where
/// one water record in five holds one.
const UNSEEN_SLOW_TERM: f64 = 1.15;

/// A fitted species in words and numbers.
pub(super) fn summarise(c: &Circumstances<'_, '_>, fitted: &Fitted) -> (SpeciesFit, Vec<Note>) {
    let mut notes = Vec::new();
    let to_ppm_per_h = 3600.0 * PPM / fitted.blocks.span_s;
    let ingress = ingress(c, fitted, to_ppm_per_h, &mut notes);
    let rise_at_end = with_systematic(c, fitted, &fitted.mixture.rate_at_end().scaled(to_ppm_per_h));
    let models = models(fitted, to_ppm_per_h);
    let diagnostics = diagnostics(fitted);
    let fit = SpeciesFit {
        ingress,
        rise_at_end,
        window: c.window,
        rows: row_use(c, &fitted.blocks),
        models,
        diagnostics,
        series: series(c, fitted),
    };
    notes.extend(findings(c, fitted, &fit));
    (fit, notes)
}

fn ingress(c: &Circumstances<'_, '_>, fitted: &Fitted, to_ppm_per_h: f64, notes: &mut Vec<Note>) -> Estimate {
    let species = c.species;
    let power_law_weight = fitted.mixture.weight(Outgassing::PowerLaw);
    let mut distribution = spanning(c, fitted).scaled(to_ppm_per_h);
    if let Some(rates) = steepening(fitted) {
        distribution = distribution.reaching(rates.map(|rate| rate * to_ppm_per_h));
    }
    if power_law_weight > SLOW_TAIL {
        let bound = bound_from_end(c, fitted, to_ppm_per_h);
        let Some(spanned) = spanning_slow_tail(&distribution, fitted, to_ppm_per_h, bound.value) else {
            notes.push(Note::NotSeparable { species, power_law_weight });
            return bound;
        };
        distribution = spanned;
    }
    let estimate = with_systematic(c, fitted, &distribution);
    if measured_share(&fitted.blocks) < LEAST_MEASURED_SHARE {
        notes.push(Note::BoundFromCensored { species });
        return estimate.into_upper_bound();
    }
    estimate
}

/// The distribution drawn out up to the bound from the end of the run and twice as far down from there as any model with
/// some probability reaches; `None` where a tail takes that far down that only the bound tells something.
fn spanning_slow_tail(
    distribution: &Distribution,
    fitted: &Fitted,
    to_ppm_per_h: f64,
    bound: f64,
) -> Option<Distribution> {
    let lowest = likely_models(fitted).map(|only| only.ingress().quantile(0.025)).fold(f64::INFINITY, f64::min);
    let lowest = lowest * to_ppm_per_h;
    (bound > 0.0 && bound - lowest < LITTLE_TAIL * bound)
        .then(|| distribution.reaching([bound - 2.0 * (bound - lowest), bound]))
}

/// The parts of the mixture with one model that have some probability.
fn likely_models(fitted: &Fitted) -> impl Iterator<Item = Mixture> + '_ {
    KINDS.iter().filter(|kind| fitted.mixture.weight(**kind) > 0.01).filter_map(|kind| fitted.mixture.only(*kind))
}

/// Distribution of the ingress over the window. A bend in the rise of oxygen may be outgassing or a sink. Water comes off walls ever more slowly: for it the distribution reaches as
/// far up as each model with some probability does, and as far down as an unseen term as slow as the run would allow.
fn spanning(c: &Circumstances<'_, '_>, fitted: &Fitted) -> Distribution {
    if c.species == Species::Oxygen {
        return fitted.bend.as_ref().map_or_else(|| fitted.mixture.ingress(), |bend| bend.all.clone());
    }
    let mixture = fitted.mixture.ingress();
    let counts = KINDS.iter().filter(|kind| fitted.mixture.weight(**kind) > COUNTS);
    let highest = counts
        .filter_map(|kind| Some(fitted.mixture.only(*kind)?.ingress().quantile(0.975)))
        .fold(f64::NEG_INFINITY, f64::max);
    mixture.reaching([mixture.median() - UNSEEN_SLOW_TERM * fitted.slow_term_uncertainty, highest])
}

/// The highest bound that a model with some probability gives for the rise at the end.
fn bound_from_end(c: &Circumstances<'_, '_>, fitted: &Fitted, to_ppm_per_h: f64) -> Estimate {
    let end =
        |mixture: &Mixture| with_systematic(c, fitted, &mixture.rate_at_end().scaled(to_ppm_per_h)).into_upper_bound();
    likely_models(fitted)
        .map(|mixture| end(&mixture))
        .max_by(|a, b| a.interval95[1].total_cmp(&b.interval95[1]))
        .unwrap_or_else(|| end(&fitted.mixture))
}

/// The distribution of a rate in ppm/h, widened by what the readings cannot show.
fn with_systematic(c: &Circumstances<'_, '_>, fitted: &Fitted, distribution: &Distribution) -> Estimate {
    let analyser = &c.trace.analyser;
    let span_h = fitted.blocks.span_s / 3600.0;
    let rate = distribution.median().abs();
    let highest = fitted.blocks.value.iter().fold(0.0_f64, |a, b| a.max(*b));
    let exchange_per_h = exchange_per_s(c.exchange, fitted) * 3600.0;
    let exchange_uncertainty = c.exchange.map_or(0.0, |e| e.relative_uncertainty);
    // A step that the noise does not blur may hide up to half a step at either end.
    let rounding = if fitted.coarse { analyser.resolution / 6.0_f64.sqrt() } else { 0.0 };
    let room = c.room_air;
    let room_relative = if room.value > 0.0 { room.standard_uncertainty / room.value } else { 0.0 };
    let lines = [
        ("scale of the analyser", rate * analyser.scale),
        ("drift of the analyser", analyser.drift_per_s * 3600.0 * PPM),
        ("resolution of the analyser", rounding * PPM / span_h),
        ("purity of the gas fed in", exchange_per_h * c.supply.standard_uncertainty * PPM),
        ("flow of the gas fed in", exchange_per_h * exchange_uncertainty * (highest - c.supply.value).abs() * PPM),
        ("composition of the room's air", rate * room_relative * highest / room.value.max(1e-12)),
    ];
    let systematic = lines.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
    let mut budget = vec![BudgetLine::new("noise and models of outgassing", distribution.standard_deviation())];
    budget.extend(lines.iter().filter(|(_, u)| *u > 0.0).map(|(source, u)| BudgetLine::new(*source, *u)));
    Estimate::from_distribution(distribution.with_normal_error(systematic), budget)
}

fn exchange_per_s(exchange: Option<&Exchange>, fitted: &Fitted) -> f64 {
    let (from, span) = (fitted.blocks.origin_s, fitted.blocks.span_s);
    exchange.map_or(0.0, |e| e.mean_rate(from, from + span))
}

/// An upper bound where nearly nothing was measured: what came in cannot have lifted the content from nothing to more
/// than the limit at the last censored reading. `None` where the window begins above the range.
pub(super) fn bound_from_censored(c: &Circumstances<'_, '_>, blocks: &Blocks) -> Option<(SpeciesFit, Vec<Note>)> {
    let analyser = &c.trace.analyser;
    let last = (0..blocks.len()).rev().find(|&i| blocks.status[i] == ReadingStatus::BelowLimit)?;
    let duration_h = blocks.time_s[last] / 3600.0;
    if !(duration_h > 0.0) {
        return None;
    }
    let limit = blocks.value[last] * (1.0 + 2.0 * analyser.scale) + 2.0 * analyser.zero.hypot(blocks.scatter);
    let drift = 2.0 * analyser.drift_per_s * 3600.0 * PPM;
    let highest = limit * PPM / duration_h + drift;
    // Nothing favours one rate over another up to the bound.
    let distribution = Distribution::from_density(vec![0.0, highest], &[1.0, 1.0]);
    let mut ingress = Estimate::from_distribution(
        distribution,
        vec![BudgetLine::new("readings below the reporting limit", highest / 12.0_f64.sqrt())],
    );
    ingress.interval95[1] = highest;
    let ingress = ingress.into_upper_bound();
    let share = 1.0 - measured_share(blocks);
    let fit = SpeciesFit {
        rise_at_end: ingress.clone(),
        ingress,
        window: c.window,
        rows: row_use(c, blocks),
        models: Vec::new(),
        diagnostics: Diagnostics { censored_share: share, interval_widening: 1.0, ..Diagnostics::default() },
        series: bare_series(c, blocks),
    };
    let species = c.species;
    Some((fit, vec![Note::BoundFromCensored { species }, Note::Censored { species, share }]))
}

fn measured_share(blocks: &Blocks) -> f64 {
    blocks.count(ReadingStatus::Measured) as f64 / blocks.readings.iter().sum::<f64>().max(1.0)
}

fn row_use(c: &Circumstances<'_, '_>, blocks: &Blocks) -> RowUse {
    let read = c.trace.samples.len();
    let used = blocks.count(ReadingStatus::Measured);
    let used_below_limit = blocks.count(ReadingStatus::BelowLimit);
    let used_above_range = blocks.count(ReadingStatus::AboveRange);
    let outliers = blocks.outliers;
    let outside_window = read - used - used_below_limit - used_above_range - outliers;
    RowUse { read, used, used_below_limit, used_above_range, outside_window, outliers }
}

const KINDS: [Outgassing; 4] =
    [Outgassing::None, Outgassing::OneExponential, Outgassing::TwoExponentials, Outgassing::PowerLaw];

fn models(fitted: &Fitted, to_ppm_per_h: f64) -> Vec<ModelWeight> {
    let mut models: Vec<ModelWeight> = KINDS
        .iter()
        .filter_map(|&kind| {
            if fitted.mixture.weight(kind) < 1e-3 {
                return None;
            }
            let only = fitted.mixture.only(kind)?;
            let distribution = only.ingress().scaled(to_ppm_per_h);
            Some(ModelWeight {
                outgassing: kind,
                weight: fitted.mixture.weight(kind),
                ingress_ppm_per_h: distribution.median(),
                standard_uncertainty_ppm_per_h: distribution.standard_deviation(),
                shape: only.heaviest().shape.described(fitted.blocks.span_s),
            })
        })
        .collect();
    models.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    models
}

fn diagnostics(fitted: &Fitted) -> Diagnostics {
    let noise = &fitted.noises[fitted.mixture.heaviest().noise];
    let variance = fitted.mixture.heaviest().solved.variance;
    let blocks = &fitted.blocks;
    let errors = prediction_errors(fitted, noise, variance);
    let (first, last) = (0, blocks.len() - 1);
    let rise = fitted.parts.total(last) - fitted.parts.total(first);
    let outgassed = fitted.parts.outgassing[last] - fitted.parts.outgassing[first];
    Diagnostics {
        floor_noise_ppm: variance.sqrt() * PPM,
        relative_noise: (variance * noise.kappa).sqrt() / fitted.level_unit,
        correlated_share: noise.correlated / (1.0 + noise.correlated),
        correlation_time_s: if noise.correlated > 0.0 { noise.memory_s } else { 0.0 },
        interval_widening: fitted.widening,
        innovation_autocorrelation: lag1_autocorrelation(&errors),
        normality_p_value: jarque_bera_p_value(&errors),
        censored_share: 1.0 - measured_share(blocks),
        slow_term_uncertainty_ppm_per_h: fitted.slow_term_uncertainty * 3600.0 * PPM / blocks.span_s,
        straight_line_ppm_per_h: straight_line(blocks) * 3600.0 * PPM,
        outgassed_share: if rise.abs() > 0.0 { (outgassed / rise).clamp(-1.0, 1.0) } else { 0.0 },
    }
}

fn measured(blocks: &Blocks) -> impl Iterator<Item = usize> + '_ {
    (0..blocks.len()).filter(|&i| blocks.status[i] == ReadingStatus::Measured)
}

fn prediction_errors(fitted: &Fitted, noise: &Noise, variance: f64) -> Vec<f64> {
    let blocks = &fitted.blocks;
    let (mut time, mut count, mut scaled) = (Vec::new(), Vec::new(), Vec::new());
    for i in measured(blocks) {
        let level = fitted.parts.total(i).max(0.0) / fitted.level_unit;
        time.push(blocks.time_s[i]);
        count.push(if fitted.coarse { 1.0 } else { blocks.readings[i] });
        scaled
            .push((blocks.value[i] - fitted.parts.total(i)) / (variance * (1.0 + noise.kappa * level * level)).sqrt());
    }
    let correlated = OrnsteinUhlenbeck { variance: noise.correlated, memory_s: noise.memory_s };
    let model = NoiseModel { white_variance: 1.0, correlated: [correlated, OrnsteinUhlenbeck::NONE] };
    innovations(&time, &count, &scaled, &model)
}

/// Slope of a straight line through the measured readings, 1/s.
fn straight_line(blocks: &Blocks) -> f64 {
    slope(blocks, |_| true)
}

/// Slope of a straight line through the measured readings whose time, as a share of the window, a rule keeps; 1/s.
fn slope(blocks: &Blocks, keep: impl Fn(f64) -> bool) -> f64 {
    let kept: Vec<usize> = measured(blocks).filter(|&i| keep(blocks.time_s[i] / blocks.span_s)).collect();
    let weight: f64 = kept.iter().map(|&i| blocks.readings[i]).sum();
    let mean = |of: &[f64]| kept.iter().map(|&i| blocks.readings[i] * of[i]).sum::<f64>() / weight;
    let (t, x) = (mean(&blocks.time_s), mean(&blocks.value));
    let (mut products, mut squares) = (0.0, 0.0);
    for i in kept {
        products += blocks.readings[i] * (blocks.time_s[i] - t) * (blocks.value[i] - x);
        squares += blocks.readings[i] * (blocks.time_s[i] - t).powi(2);
    }
    if squares > 0.0 { products / squares } else { 0.0 }
}

/// First and last rate over the window of a rise that gets steeper: by the curve that shows it, or by the first and the last
/// quarter of the readings, whichever lie further apart.
fn steepening(fitted: &Fitted) -> Option<[f64; 2]> {
    let [first, last] = fitted.steepening?;
    let blocks = &fitted.blocks;
    let quarter = |keep: fn(f64) -> bool| slope(blocks, keep) * blocks.span_s;
    Some([first.min(quarter(|share| share < 0.25)), last.max(quarter(|share| share > 0.75))])
}

fn findings(c: &Circumstances<'_, '_>, fitted: &Fitted, fit: &SpeciesFit) -> Vec<Note> {
    let species = c.species;
    let diagnostics = &fit.diagnostics;
    let mut notes = Vec::new();
    if let Some(note) = hinges(c, fit) {
        notes.push(note);
    }
    let rise = fitted.parts.total(fitted.blocks.len() - 1) - fitted.parts.total(0);
    if rise < -3.0 * diagnostics.floor_noise_ppm / PPM {
        notes.push(Note::Falling { species });
    }
    let bend = fitted.bend.as_ref().filter(|bend| bend.probability > 0.5);
    if let Some(bend) = bend {
        let per_h = |rate: &Distribution| rate.median() * 3600.0 * PPM / fitted.blocks.span_s;
        let ppm_per_h = [per_h(&bend.at_start), per_h(&bend.late)];
        notes.insert(0, Note::Slackens { species, ppm_per_h });
    }
    if let Some(rates) = steepening(fitted) {
        let ppm_per_h = rates.map(|rate| rate * 3600.0 * PPM / fitted.blocks.span_s);
        notes.insert(0, Note::Steepens { species, ppm_per_h });
    }
    let with_outgassing = 1.0 - fitted.mixture.weight(Outgassing::None);
    if bend.is_none() && with_outgassing > 0.5 && diagnostics.outgassed_share > 0.02 {
        notes.push(Note::OutgassingFound {
            species,
            share: diagnostics.outgassed_share,
            straight_line_ppm_per_h: diagnostics.straight_line_ppm_per_h,
        });
    }
    let window_h = fitted.blocks.span_s / 3600.0;
    if let Some(model) = fit.models.first() {
        let time_constant_h = match model.outgassing {
            Outgassing::OneExponential => model.shape[0],
            Outgassing::TwoExponentials => model.shape[1],
            Outgassing::None | Outgassing::PowerLaw => 0.0,
        };
        if time_constant_h > 0.5 * window_h {
            notes.push(Note::RunShort { species, window_h, time_constant_h });
        }
    }
    if diagnostics.censored_share > 0.0 {
        notes.push(Note::Censored { species, share: diagnostics.censored_share });
    }
    if diagnostics.interval_widening > 1.5 {
        notes.push(Note::IntervalWidened { species, factor: diagnostics.interval_widening });
    }
    if fit.ingress.budget.first().is_some_and(|line| line.source.starts_with("drift")) {
        let standard_uncertainty_ppm_per_h = fit.ingress.budget[0].standard_uncertainty;
        notes.push(Note::DriftMatters { species, standard_uncertainty_ppm_per_h });
    }
    if fitted.coarse {
        notes.push(Note::CoarseResolution { species, step_ppm: c.trace.analyser.resolution * PPM });
    }
    let highest = fitted.blocks.value.iter().fold(0.0_f64, |a, b| a.max(*b));
    if c.room_air.value > 0.0 && highest > 0.02 * c.room_air.value {
        notes.push(Note::NearRoomAir { species, ratio: highest / c.room_air.value });
    }
    if fitted.blocks.outliers > 0 {
        notes.push(Note::Outliers { species, count: fitted.blocks.outliers });
    }
    notes
}

/// Two models that both count and differ by more than their uncertainty.
fn hinges(c: &Circumstances<'_, '_>, fit: &SpeciesFit) -> Option<Note> {
    let [first, second, ..] = fit.models.as_slice() else { return None };
    let joint = first.standard_uncertainty_ppm_per_h.hypot(second.standard_uncertainty_ppm_per_h);
    let apart = (first.ingress_ppm_per_h - second.ingress_ppm_per_h).abs();
    (second.weight > 0.05 && apart > 1.5 * joint).then_some(Note::HingesOnModel {
        species: c.species,
        models: [first.outgassing, second.outgassing],
        ingress_ppm_per_h: [first.ingress_ppm_per_h, second.ingress_ppm_per_h],
    })
}

/// Series without a fit.
fn bare_series(c: &Circumstances<'_, '_>, blocks: &Blocks) -> Series {
    let samples = c.trace.samples;
    let stride = samples.len().div_ceil(1500);
    let mut series = Series::default();
    for (time, value) in samples.time_s().chunks(stride).zip(samples.value().chunks(stride)) {
        let n = time.len() as f64;
        series.record_time_s.push(time.iter().sum::<f64>() / n);
        series.record_ppm.push(value.iter().sum::<f64>() / n * PPM);
    }
    series.time_s = blocks.time_s.iter().map(|t| t + blocks.origin_s).collect();
    series.reading_ppm = blocks.value.iter().map(|v| v * PPM).collect();
    series.censored = blocks.status.iter().map(|s| *s != ReadingStatus::Measured).collect();
    series
}

fn series(c: &Circumstances<'_, '_>, fitted: &Fitted) -> Series {
    let in_ppm = |values: &[f64]| values.iter().map(|v| v * PPM).collect::<Vec<f64>>();
    let parts = &fitted.parts;
    let mut series = bare_series(c, &fitted.blocks);
    series.start_part_ppm = in_ppm(&parts.start);
    series.ingress_part_ppm = in_ppm(&parts.ingress);
    series.outgassing_part_ppm = in_ppm(&parts.outgassing);
    series.make_up_part_ppm = in_ppm(&parts.make_up);
    for (i, reading) in series.reading_ppm.iter().enumerate() {
        let fit = parts.total(i) * PPM;
        let residual = match fitted.blocks.status[i] {
            ReadingStatus::Measured => reading - fit,
            ReadingStatus::BelowLimit => (reading - fit).min(0.0),
            ReadingStatus::AboveRange => (reading - fit).max(0.0),
        };
        series.fitted_ppm.push(fit);
        series.residual_ppm.push(residual);
    }
    series
}
