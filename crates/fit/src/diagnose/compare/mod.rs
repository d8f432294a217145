//! Weighs the explanations against each other: over the ways of a cause, the time it began, and pairs of causes.

mod pair;
mod tried;

use tried::{Tried, onsets};

use super::evidence::{Data, Fit};
use super::feature::{Features, Kind};
use super::hypothesis::{Cause, Hypothesis, all};
use super::log::Species;
use super::model::{BASE, Change, Prior, Profile, Setting, Vector};
use super::noise::Wander;

/// Evenly spaced onsets that every way is tried with.
const ONSETS: usize = 10;
/// Parts of the log at its ends in which nothing can be told to have begun.
const EDGE: f64 = 0.03;
/// Ways of a cause whose onset is looked for more closely.
const REFINED: usize = 2;
/// Explanations that a second cause is added to.
const PAIRED: usize = 3;
/// A fit that lies this far, in nats, behind another onset of the same way is not carried to its end.
const HOPELESS: f64 = 60.0;
/// A pair that lies this far, in nats, behind is not asked how much the log wanders.
const FAR_BEHIND: f64 = 30.0;
/// Prior that a second cause came along.
const LN_SECOND: f64 = -6.0;
/// Share of a pair's weight that goes to its smaller cause.
const SMALLER: f64 = 0.25;

/// Prior probability of each cause, in the order of [`Cause::ALL`]: logs are mostly looked at when something rose.
pub(super) const PRIOR: [f64; 10] = [0.09, 0.09, 0.09, 0.08, 0.09, 0.08, 0.08, 0.08, 0.28, 0.03];
#[derive(Debug, Clone)]
pub(in crate::diagnose) struct Weighed {
    pub(in crate::diagnose) cause: Cause,
    /// Logarithm of prior times evidence.
    pub(in crate::diagnose) ln_weight: f64,
    /// Its best way, as a pair where a pair explains best.
    pub(in crate::diagnose) account: Account,
    /// Logarithm of the evidence of that way at its onset alone.
    pub(in crate::diagnose) ln_best: f64,
    /// Onsets in h with their weights, over all ways; empty where there is no change.
    pub(in crate::diagnose) onsets: Vec<(f64, f64)>,
    /// The cause of the second change.
    pub(in crate::diagnose) second: Option<Cause>,
}

/// A model with its most probable parameters.
#[derive(Debug, Clone)]
pub(in crate::diagnose) struct Account {
    pub(in crate::diagnose) theta: Vector,
    /// Its changes, two at most.
    pub(in crate::diagnose) changes: Vec<Change>,
    prior: Prior,
    amplitudes: usize,
}

impl Account {
    fn fit(&self, data: &Data<'_>) -> Fit {
        data.fit(&self.theta, &self.changes, &self.prior, self.amplitudes, f64::MIN)
    }
}

/// Logarithm of the prior probability of a cause.
pub(in crate::diagnose) fn prior_of(cause: Cause) -> f64 {
    PRIOR[Cause::ALL.iter().position(|own| *own == cause).unwrap_or(0)].ln()
}

/// All causes weighed, and the wander that was found.
pub(in crate::diagnose) struct Comparison {
    pub(in crate::diagnose) weighed: Vec<Weighed>,
    pub(in crate::diagnose) wander: Wander,
}
/// Logarithm of a sum of exponentials.
pub(super) fn ln_sum(terms: &[f64]) -> f64 {
    let largest = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if largest.is_finite() {
        largest + terms.iter().map(|term| (term - largest).exp()).sum::<f64>().ln()
    } else {
        largest
    }
}

/// Weighs all causes.
pub(super) fn compare(features: &Features, setting: &Setting, prior: &Prior) -> Comparison {
    let search = Search { features, setting, prior, onsets: onsets(features) };
    let ways = all(features, setting);
    let wander = search.likeliest_wander(&search.scout(&ways));
    let mut found = search.try_all(&ways, wander);
    let data = Data::new(features, setting, wander);
    search.refine(&data, &mut found.tried);
    let weighed = search.weigh(&data, wander, &found);
    Comparison { weighed, wander }
}

/// The fits under one noise.
struct Found {
    nothing: Fit,
    tried: Vec<Tried>,
}

struct Search<'a> {
    features: &'a Features,
    setting: &'a Setting,
    prior: &'a Prior,
    onsets: Vec<f64>,
}

impl Search<'_> {
    fn try_all(&self, ways: &[Hypothesis], wander: Wander) -> Found {
        let data = Data::new(self.features, self.setting, wander);
        let nothing = data.fit(&self.prior.mean, &[], self.prior, 0, f64::MIN);
        let mut best = nothing.ln_evidence;
        let tried = ways.iter().map(|way| {
            let tried = self.try_way(&data, way, &nothing.theta, best - HOPELESS);
            best = tried.best().map_or(best, |(_, fit)| best.max(fit.ln_evidence));
            tried
        });
        let tried = tried.collect();
        Found { nothing, tried }
    }

    /// Sudden changes at a few onsets, to learn how much the log wanders.
    fn scout(&self, ways: &[Hypothesis]) -> Found {
        let few = Search { onsets: self.onsets.iter().copied().step_by(2).collect(), ..*self };
        let sudden = |way: &&Hypothesis| matches!(way.profile, Profile::Step | Profile::Ramp);
        few.try_all(&ways.iter().filter(sudden).cloned().collect::<Vec<_>>(), Wander::USUAL)
    }

    fn try_way(&self, data: &Data<'_>, way: &Hypothesis, start: &Vector, hopeless: f64) -> Tried {
        let mut tried = Tried { hypothesis: way.clone(), fits: Vec::new(), ln_evidence: 0.0 };
        for onset_h in &self.onsets {
            let fit = self.fit(data, &tried, *onset_h, start, hopeless);
            tried.insert(*onset_h, fit);
        }
        tried.weigh(self.setting.end_h);
        tried
    }

    fn fit(&self, data: &Data<'_>, tried: &Tried, onset_h: f64, start: &Vector, hopeless: f64) -> Fit {
        let mut prior = self.prior.clone();
        tried.hypothesis.extend(&mut prior, BASE);
        let amplitudes = tried.hypothesis.amplitudes.len();
        let mut theta = *start;
        theta[BASE..BASE + amplitudes].copy_from_slice(&prior.mean[BASE..BASE + amplitudes]);
        let hopeless = tried.best().map_or(hopeless, |(_, best)| hopeless.max(best.ln_evidence - HOPELESS));
        data.fit(&theta, &[tried.change(onset_h)], &prior, amplitudes, hopeless)
    }

    /// The wander that goes with the likeliest of the explanations, no change at all among them.
    fn likeliest_wander(&self, found: &Found) -> Wander {
        let data = Data::new(self.features, self.setting, Wander::USUAL);
        let mut best: Vec<&Tried> = found.tried.iter().collect();
        best.sort_by(|a, b| b.ln_evidence.total_cmp(&a.ln_evidence));
        let nothing =
            Account { theta: found.nothing.theta, changes: Vec::new(), prior: self.prior.clone(), amplitudes: 0 };
        let mut accounts = vec![(nothing, prior_of(Cause::NothingChanged))];
        for tried in best.into_iter().take(4) {
            if let Some((onset_h, fit)) = tried.best() {
                let ln_prior = prior_of(tried.hypothesis.cause) + tried.ln_evidence - fit.ln_evidence;
                accounts.push((self.account(tried, *onset_h, fit), ln_prior));
            }
        }
        let each = accounts.iter().map(|(account, ln_prior)| {
            let wander = data.likeliest_wander(&account.theta, &account.changes);
            let fit = account.fit(&Data::new(self.features, self.setting, wander));
            (fit.ln_evidence + ln_prior, wander)
        });
        each.max_by(|a, b| a.0.total_cmp(&b.0)).map_or(Wander::USUAL, |(_, wander)| wander)
    }

    fn account(&self, tried: &Tried, onset_h: f64, fit: &Fit) -> Account {
        let mut prior = self.prior.clone();
        tried.hypothesis.extend(&mut prior, BASE);
        let amplitudes = tried.hypothesis.amplitudes.len();
        Account { theta: fit.theta, changes: vec![tried.change(onset_h)], prior, amplitudes }
    }

    /// Lets each explanation say how much the log wanders, and weighs all of them under every answer: one that explains
    /// less may hold the log for more restless, and none is beaten merely because nobody asked it about a noise that
    /// another found.
    fn settle(&self, data: &Data<'_>, wander: Wander, weighed: &mut [&mut Weighed]) {
        let mut wanders = vec![wander];
        for own in weighed.iter() {
            let likeliest = data.likeliest_wander(&own.account.theta, &own.account.changes);
            if !wanders.contains(&likeliest) {
                wanders.push(likeliest);
            }
        }
        let under: Vec<Data<'_>> =
            wanders.iter().map(|wander| Data::new(self.features, self.setting, *wander)).collect();
        for own in weighed {
            let fits: Vec<Fit> = under.iter().map(|data| own.account.fit(data)).collect();
            let all = ln_sum(&fits.iter().map(|fit| fit.ln_evidence).collect::<Vec<_>>());
            own.ln_weight += all - own.ln_best;
            own.ln_best = all;
            if let Some(best) = fits.iter().max_by(|a, b| a.ln_evidence.total_cmp(&b.ln_evidence)) {
                own.account.theta = best.theta;
            }
        }
    }

    /// Looks closer for the onset of the best ways of each cause.
    fn refine(&self, data: &Data<'_>, tried: &mut [Tried]) {
        for cause in Cause::ALL {
            let mut own: Vec<usize> = (0..tried.len()).filter(|i| tried[*i].hypothesis.cause == cause).collect();
            own.sort_by(|a, b| tried[*b].ln_evidence.total_cmp(&tried[*a].ln_evidence));
            for index in own.into_iter().take(REFINED) {
                self.refine_way(data, &mut tried[index]);
            }
        }
    }

    fn refine_way(&self, data: &Data<'_>, tried: &mut Tried) {
        let end_h = self.setting.end_h;
        let mut reach = end_h / (2.0 * ONSETS as f64);
        while reach > 0.2 * self.features.cell_h {
            let Some((centre, theta)) = tried.best().map(|(onset, fit)| (*onset, fit.theta)) else { return };
            for onset_h in [centre - reach, centre + reach] {
                if onset_h > EDGE * end_h && onset_h < (1.0 - EDGE) * end_h {
                    let fit = self.fit(data, tried, onset_h, &theta, f64::MIN);
                    tried.insert(onset_h, fit);
                }
            }
            reach *= 0.5;
        }
        tried.weigh(end_h);
    }

    fn weigh(&self, data: &Data<'_>, wander: Wander, found: &Found) -> Vec<Weighed> {
        let unchanged =
            |fit: &Fit| Account { theta: fit.theta, changes: Vec::new(), prior: self.prior.clone(), amplitudes: 0 };
        let mut pairs = self.pairs(data, &found.tried);
        let mut weighed = Vec::new();
        for cause in Cause::ALL {
            match cause {
                Cause::NothingChanged => weighed.push(Weighed {
                    cause,
                    ln_weight: prior_of(cause) + found.nothing.ln_evidence,
                    account: unchanged(&found.nothing),
                    ln_best: found.nothing.ln_evidence,
                    onsets: Vec::new(),
                    second: None,
                }),
                Cause::NoneOfThese => {
                    let wild = Data::new(self.features, self.setting, Wander::WILD);
                    let fit = wild.fit(&found.nothing.theta, &[], self.prior, 0, f64::MIN);
                    weighed.push(Weighed {
                        cause,
                        ln_weight: prior_of(cause) + fit.ln_evidence,
                        ln_best: fit.ln_evidence,
                        account: unchanged(&fit),
                        onsets: Vec::new(),
                        second: None,
                    });
                }
                _ => {
                    let own: Vec<&Tried> = found.tried.iter().filter(|tried| tried.hypothesis.cause == cause).collect();
                    if let Some(single) = self.single(cause, &own) {
                        weighed.push(single);
                    }
                }
            }
        }
        let best = weighed.iter().map(|own| own.ln_weight).fold(f64::MIN, f64::max);
        pairs.retain(|pair| pair.ln_weight + LN_SECOND >= best - FAR_BEHIND);
        let asked = weighed.iter_mut().filter(|own| own.cause != Cause::NoneOfThese).chain(&mut pairs);
        self.settle(data, wander, &mut asked.collect::<Vec<_>>());
        for pair in pairs {
            let weight = pair.ln_weight + LN_SECOND;
            let Some(own) = weighed.iter_mut().find(|own| own.cause == pair.cause) else { continue };
            if weight > own.ln_weight {
                own.account = pair.account;
                own.ln_best = pair.ln_best;
                own.second = pair.second;
            }
            own.ln_weight = ln_sum(&[own.ln_weight, weight + (1.0 - SMALLER).ln()]);
            let smaller = pair.second.and_then(|cause| weighed.iter_mut().find(|own| own.cause == cause));
            if let Some(smaller) = smaller {
                smaller.ln_weight = ln_sum(&[smaller.ln_weight, weight + SMALLER.ln()]);
            }
        }
        hold_back_none(&mut weighed, self.enough_explained());
        weighed
    }

    /// The share of a change that an explanation must account for. Without pressure or the second species much of a
    /// log's unrest has causes that it does not show, and no share is too small.
    fn enough_explained(&self) -> f64 {
        let both = Species::BOTH.iter().all(|species| self.features.stream(Kind::Floor(*species)).is_some());
        if both && self.features.has_pressure { 0.5 } else { 0.0 }
    }

    fn single(&self, cause: Cause, own: &[&Tried]) -> Option<Weighed> {
        let best = own.iter().max_by(|a, b| a.ln_evidence.total_cmp(&b.ln_evidence))?;
        let (onset_h, fit) = best.best()?;
        let ln_evidence = ln_sum(&own.iter().map(|tried| tried.ln_evidence).collect::<Vec<_>>());
        let mut onsets = Vec::new();
        for tried in own {
            let weights = tried.ln_weights(self.setting.end_h);
            let share = tried.hypothesis.ln_share;
            onsets.extend(tried.fits.iter().zip(weights).map(|((onset, _), weight)| (*onset, weight + share)));
        }
        onsets.sort_by(|a, b| a.0.total_cmp(&b.0));
        Some(Weighed {
            cause,
            ln_weight: prior_of(cause) + ln_evidence,
            account: self.account(best, *onset_h, fit),
            ln_best: fit.ln_evidence,
            onsets,
            second: None,
        })
    }
}

/// An explanation that accounts for most of what changed is not beaten by what is left over, which is the log's own
/// unrest more often than a cause that nobody thought of.
fn hold_back_none(weighed: &mut [Weighed], enough: f64) {
    const BEHIND: f64 = 4.0;
    let nothing = weighed.iter().find(|own| own.cause == Cause::NothingChanged);
    let ln_nothing = nothing.map_or(0.0, |own| own.ln_weight);
    let best = weighed.iter().filter(|own| own.cause.is_change()).map(|own| own.ln_weight).fold(f64::MIN, f64::max);
    if let Some(none) = weighed.iter_mut().find(|own| own.cause == Cause::NoneOfThese) {
        let explained = (best - ln_nothing) / (none.ln_weight - ln_nothing).max(1e-9);
        if best - ln_nothing > 10.0 && explained > enough {
            none.ln_weight = none.ln_weight.min(best - BEHIND);
        }
    }
}
