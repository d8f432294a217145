//! The rise of a dose: what it tells of the analyser's response, and of the floor by the content before it.

use super::blocks::Block;
use super::columns::{DOSE, Shape};
use super::likelihood::{Noise, Rows};

/// How a dose came in. Times count from the start of the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rise {
    /// When it began to show, s.
    pub at_s: f64,
    /// How long it was fed in, s.
    pub lasting_s: f64,
    /// Time constant with which it mixed into the gas, s.
    pub mixing_s: f64,
}

/// Poles closer than this are moved apart: the limit is smooth, its formula is not.
const APART: f64 = 1e-3;
/// A gain of the log likelihood that a further parameter of the dose must bring.
const WORTH_IT: f64 = 0.7;
/// A round of the search that gains less is the last.
const CONVERGED: f64 = 0.01;

impl Rise {
    /// Mean reading over a block for a unit dose that decays with `tau_s`, seen with `lag_s`.
    pub(super) fn response(&self, block: &Block, tau_s: f64, lag_s: f64) -> f64 {
        if block.to_s <= self.at_s {
            return 0.0;
        }
        let mut poles = [tau_s, lag_s, self.mixing_s];
        let count = part(&mut poles);
        let lasting_s = self.lasting_s.max(1e-3);
        let mut sum = 0.0;
        for i in 0..count {
            // Partial fractions of τ/((1 + τs)(1 + Ls)(1 + ms)).
            let others: f64 = (0..count).filter(|j| *j != i).map(|j| poles[i] - poles[j]).product();
            let weight = tau_s * poles[i].powi(count as i32 - 2) / others;
            let fed = approach(block, self.at_s, poles[i]) - approach(block, self.at_s + lasting_s, poles[i]);
            sum += weight * poles[i] * fed / lasting_s;
        }
        sum
    }

    /// Amount that a pure decay with `tau_s` from the start of the window would have to have to end like a unit dose.
    pub(super) fn as_decay_from_start(&self, tau_s: f64) -> f64 {
        let lasting = (self.lasting_s / tau_s).max(1e-6);
        lasting.exp_m1() / lasting / (1.0 - (self.mixing_s / tau_s).min(0.9)) * (self.at_s / tau_s).exp()
    }
}

/// Puts the poles above zero first, pairwise apart; returns their number.
fn part(poles: &mut [f64; 3]) -> usize {
    let mut count = 1;
    for i in 1..poles.len() {
        let mut pole = poles[i];
        if pole <= 0.0 {
            continue;
        }
        for _ in 0..count {
            if let Some(near) = poles[..count].iter().find(|other| (pole / **other - 1.0).abs() < APART) {
                pole = near * (1.0 - 2.0 * APART);
            }
        }
        poles[count] = pole;
        count += 1;
    }
    count
}

/// Mean over a block of 1 − e^(−(t − origin)/pole), 0 before the origin.
fn approach(block: &Block, origin_s: f64, pole_s: f64) -> f64 {
    if block.from_s < origin_s {
        let since = (block.middle_s() - origin_s).max(0.0);
        return -(-since / pole_s).exp_m1();
    }
    let shifted = Block { from_s: block.from_s - origin_s, to_s: block.to_s - origin_s, ..*block };
    1.0 - shifted.mean_decay(pole_s)
}

/// Time constant and rise that fit best with a given response of the analyser.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fitted {
    pub tau_s: f64,
    pub rise: Rise,
    pub log_likelihood: f64,
}

/// Which parts of a rise are free besides its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Freedom {
    lasting: bool,
    mixing: bool,
}

/// Finds what must be free to describe the rise, and its best fit.
pub(super) fn explore(
    rows: &Rows<'_>,
    noise: &Noise,
    lag_s: f64,
    tau_s: f64,
    foot_s: f64,
) -> Option<(Freedom, Fitted)> {
    let step_s = rows.blocks.cadence_s.max(1e-3);
    let start = |freedom: Freedom| Fitted {
        tau_s,
        rise: Rise {
            at_s: foot_s,
            lasting_s: if freedom.lasting { step_s } else { 0.0 },
            mixing_s: if freedom.mixing { step_s } else { 0.0 },
        },
        log_likelihood: f64::NEG_INFINITY,
    };
    let mut best: Option<(Freedom, Fitted, f64)> = None;
    for (lasting, mixing, price) in [(false, false, 0.0), (true, false, 1.0), (false, true, 1.0), (true, true, 2.0)] {
        let freedom = Freedom { lasting, mixing };
        let Some(fitted) = improve(rows, noise, lag_s, start(freedom), freedom) else { continue };
        let score = fitted.log_likelihood - WORTH_IT * price;
        if best.as_ref().is_none_or(|(.., top)| score > *top) {
            best = Some((freedom, fitted, score));
        }
    }
    best.map(|(freedom, fitted, _)| (freedom, fitted))
}

/// Pattern search from a start: each parameter in turn a step up or down, steps doubled on success and halved otherwise.
pub(super) fn improve(rows: &Rows<'_>, noise: &Noise, lag_s: f64, start: Fitted, freedom: Freedom) -> Option<Fitted> {
    let score = |tau_s: f64, rise: Rise| {
        let shape = Shape { tau_s, lag_s, slow_s: None, rise: Some(rise) };
        rows.solve(&shape, noise).filter(|solved| solved.beta[DOSE] > 0.0).map(|solved| solved.log_marginal)
    };
    let mut best = Fitted { log_likelihood: score(start.tau_s, start.rise)?, ..start };
    let cadence_s = rows.blocks.cadence_s.max(1e-3);
    let mut steps = [0.02 * start.tau_s, cadence_s, cadence_s, cadence_s];
    let free = [true, true, freedom.lasting, freedom.mixing];
    for round in 0..60 {
        let before = best.log_likelihood;
        for index in (0..4).filter(|index| free[*index]) {
            let tried = [steps[index], -steps[index]].into_iter().find_map(|by| {
                let (mut tau_s, mut rise) = (best.tau_s, best.rise);
                match index {
                    0 => tau_s += by,
                    1 => rise.at_s += by,
                    2 => rise.lasting_s += by,
                    _ => rise.mixing_s += by,
                }
                let within = tau_s > 0.0 && rise.lasting_s >= 0.0 && (0.0..0.5 * tau_s).contains(&rise.mixing_s);
                let log_likelihood = within.then(|| score(tau_s, rise)).flatten()?;
                (log_likelihood > best.log_likelihood).then_some(Fitted { tau_s, rise, log_likelihood })
            });
            match tried {
                Some(better) => (best, steps[index]) = (better, 1.5 * steps[index]),
                None => steps[index] *= 0.4,
            }
        }
        if round > 3 && best.log_likelihood - before < CONVERGED {
            break;
        }
    }
    Some(best)
}
