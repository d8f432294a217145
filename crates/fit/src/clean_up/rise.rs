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

/// When a rise can have begun, s from the start of the window. Without a reading in the rise, moment and amount of a dose
/// are exchangeable, and without these ends nothing would keep the moment inside the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Onset {
    pub earliest_s: f64,
    pub latest_s: f64,
}

impl Onset {
    /// Around the foot of a rise that is over at `end_s`: a lag lets it show late.
    pub(super) fn about(foot_s: f64, end_s: f64, lag_s: f64, cadence_s: f64) -> Self {
        const READINGS: f64 = 5.0;
        Self { earliest_s: foot_s - lag_s - READINGS * cadence_s, latest_s: end_s.max(foot_s) }
    }

    fn holds(&self, at_s: f64) -> bool {
        (self.earliest_s..=self.latest_s).contains(&at_s)
    }
}

/// Poles closer than this are moved apart: the limit is smooth, its formula is not.
const APART: f64 = 1e-3;
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

/// How a rise moves with the time constant that is assumed: derivatives of its parts, 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tilt {
    tau_s: f64,
    at: f64,
    lasting: f64,
    mixing: f64,
    onset: Onset,
}

impl Rise {
    /// The rise that goes with another time constant.
    pub(super) fn tilted(&self, tilt: &Tilt, tau_s: f64) -> Self {
        let by_s = tau_s - tilt.tau_s;
        Self {
            at_s: (self.at_s + tilt.at * by_s).clamp(tilt.onset.earliest_s, tilt.onset.latest_s),
            lasting_s: (self.lasting_s + tilt.lasting * by_s).max(0.0),
            mixing_s: (self.mixing_s + tilt.mixing * by_s).clamp(0.0, 0.5 * tau_s),
        }
    }
}

/// How the best rise moves with the time constant, from a second fit beside the best.
pub(super) fn tilt(rows: &Rows<'_>, noise: &Noise, lag_s: f64, best: &Fitted, onset: Onset) -> Tilt {
    let beside = Fitted { tau_s: best.tau_s * 1.005, ..*best };
    let by_s = beside.tau_s - best.tau_s;
    let slope = |of: fn(&Rise) -> f64, moved: &Fitted| (of(&moved.rise) - of(&best.rise)) / by_s;
    match search(rows, noise, lag_s, beside, 1, onset) {
        Some(moved) => Tilt {
            tau_s: best.tau_s,
            at: slope(|rise| rise.at_s, &moved),
            lasting: slope(|rise| rise.lasting_s, &moved),
            mixing: slope(|rise| rise.mixing_s, &moved),
            onset,
        },
        None => Tilt { tau_s: best.tau_s, at: 0.0, lasting: 0.0, mixing: 0.0, onset },
    }
}

/// A first fit of a rise that begins about `foot_s`.
pub(super) fn begin(
    rows: &Rows<'_>,
    noise: &Noise,
    lag_s: f64,
    tau_s: f64,
    foot_s: f64,
    onset: Onset,
) -> Option<Fitted> {
    let step_s = rows.blocks.cadence_s.max(1e-3);
    let rise = Rise { at_s: foot_s, lasting_s: step_s, mixing_s: 0.5 * step_s };
    improve(rows, noise, lag_s, Fitted { tau_s, rise, log_likelihood: f64::NEG_INFINITY }, onset)
}

/// The best time constant and rise for a response, from a start nearby.
pub(super) fn improve(rows: &Rows<'_>, noise: &Noise, lag_s: f64, start: Fitted, onset: Onset) -> Option<Fitted> {
    search(rows, noise, lag_s, start, 0, onset)
}

/// Pattern search from a start: each parameter in turn, from the `first` on, a step up or down; steps grow on success and
/// shrink otherwise.
fn search(rows: &Rows<'_>, noise: &Noise, lag_s: f64, start: Fitted, first: usize, onset: Onset) -> Option<Fitted> {
    let score = |tau_s: f64, rise: Rise| {
        let shape = Shape { tau_s, lag_s, slow_s: None, rise: Some(rise) };
        rows.solve(&shape, noise).filter(|solved| solved.beta[DOSE] > 0.0).map(|solved| solved.log_marginal)
    };
    let mut best = Fitted { log_likelihood: score(start.tau_s, start.rise)?, ..start };
    let cadence_s = rows.blocks.cadence_s.max(1e-3);
    let mut steps = [0.02 * start.tau_s, cadence_s, cadence_s, cadence_s];
    for round in 0..60 {
        let before = best.log_likelihood;
        for index in first..4 {
            let tried = [steps[index], -steps[index]].into_iter().find_map(|by| {
                let (mut tau_s, mut rise) = (best.tau_s, best.rise);
                match index {
                    0 => tau_s += by,
                    1 => rise.at_s += by,
                    2 => rise.lasting_s += by,
                    _ => rise.mixing_s += by,
                }
                let within = tau_s > 0.0
                    && onset.holds(rise.at_s)
                    && rise.lasting_s >= 0.0
                    && (0.0..0.5 * tau_s).contains(&rise.mixing_s);
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
