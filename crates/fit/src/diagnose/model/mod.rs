//! The mass balance: what every row should be, given parameters that may change once or twice.
//!
//! With x the content, the purifier running: dx/dt = L − k x, so the floor is L/k, plus the analyser's zero. With the
//! purifier off: dx/dt = L. A dose D leaves the area D/k over the floor and decays with the rate k. The ingress L of a
//! species is leakage (in proportion to the under-pressure, with the composition of the room's air), plus what does
//! not depend on pressure (permeation, outgassing), plus what make-up gas brings.

mod change;
mod ingress;
mod prior;

pub(super) use change::{Change, Effect, Profile};
use ingress::{ingress, wave};
pub(super) use prior::{Prior, Setting, prepare};

use super::feature::{Kind, Row, Stream, compress};
use super::log::Species;

/// Number of parameters without change.
pub(super) const BASE: usize = 31;
/// With the amplitudes of at most two changes.
pub(super) const PARAMETERS: usize = BASE + 6;
/// A vector of parameters.
pub(super) type Vector = [f64; PARAMETERS];

/// Oxygen in air, ppm (US Standard Atmosphere 1976).
pub(super) const OXYGEN_IN_AIR_PPM: f64 = 209_476.0;

/// Parameters with their exponentials, which most rows need.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    pub(super) at: Vector,
    pub(super) exp: Vector,
}

impl From<&Vector> for Point {
    fn from(at: &Vector) -> Self {
        Self { at: *at, exp: at.map(f64::exp) }
    }
}

/// Places of the parameters.
pub(super) mod place {
    /// ln of oxygen through leaks, ppm/h per Pa.
    pub(crate) const LEAK: usize = 0;
    /// ln of what does not depend on pressure, ppm/h.
    pub(crate) const STEADY: [usize; 2] = [1, 2];
    /// ln of what mean make-up brings, ppm/h.
    pub(crate) const SUPPLY: [usize; 2] = [3, 4];
    /// ln of the purifier's rate, 1/h.
    pub(crate) const PURIFIER: [usize; 2] = [5, 6];
    /// Zero of the analyser, ppm.
    pub(crate) const ZERO: [usize; 2] = [7, 8];
    /// ln of water over oxygen of leakage, over what the room says.
    pub(crate) const ROOM_WATER: usize = 9;
    /// Relative rise of steady ingress, 1/K.
    pub(crate) const TEMPERATURE: [usize; 2] = [10, 11];
    /// Relative daily wave, cosine and sine.
    pub(crate) const DAY: [[usize; 2]; 2] = [[12, 13], [14, 15]];
    /// Power with which steady water follows the room's.
    pub(crate) const HUMIDITY: usize = 16;
    /// ln of the size of doses, ppm.
    pub(crate) const DOSE: [usize; 2] = [17, 18];
    /// ln of transfers a day.
    pub(crate) const COUNT: usize = 19;
    /// ln of the circulation flow.
    pub(crate) const FLOW: usize = 20;
    /// ln of the make-up flow.
    pub(crate) const MAKEUP: usize = 21;
    /// By how much ln of the make-up flow follows the over-pressure, relative to its mean.
    pub(crate) const MAKEUP_PRESSURE: usize = 22;
    /// ln of what comes off the walls for hours after transfers, ppm/h at their mean frequency.
    pub(crate) const AFTER_TRANSFERS: [usize; 2] = [23, 24];
    /// How much of what repeats daily or weekly is ingress that the other circumstances do not explain.
    pub(crate) const RHYTHM: [usize; 2] = [25, 26];
    /// Relative daily wave, cosine and sine, of ingress that a change brought: it need not follow that of the rest.
    pub(crate) const CHANGE_DAY: [[usize; 2]; 2] = [[27, 28], [29, 30]];
}

/// What a row should be on its scale, and the derivatives by the parameters.
pub(super) fn predict(
    stream: &Stream,
    row: &Row,
    theta: &Point,
    changes: &[Change],
    setting: &Setting,
    slope: &mut Vector,
) -> f64 {
    slope.fill(0.0);
    match stream.kind {
        Kind::Floor(species) => {
            let mut by_rate = [0.0; PARAMETERS];
            let ingress = ingress(species, row, theta, changes, setting, slope);
            let rate = ln_rate(species, row, theta, changes, setting, &mut by_rate).exp();
            let above_zero = ingress / rate;
            let zero = zero(species, row, theta, changes, setting, &mut by_rate, above_zero);
            let value = above_zero + zero;
            let compressing = (value * value + stream.scale * stream.scale).sqrt().recip();
            for (slope, by_rate) in slope.iter_mut().zip(&by_rate) {
                *slope = (*slope / rate - above_zero * by_rate) * compressing;
            }
            compress(value, stream.scale)
        }
        Kind::Rise(species) => {
            let value = ingress(species, row, theta, changes, setting, slope);
            let compressing = (value * value + stream.scale * stream.scale).sqrt().recip();
            scale(slope, compressing);
            compress(value, stream.scale)
        }
        Kind::Decay(species) => ln_rate(species, row, theta, changes, setting, slope),
        Kind::DoseArea(species) => {
            let rate = ln_rate(species, row, theta, changes, setting, slope);
            scale(slope, -1.0);
            let s = species.index();
            slope[place::DOSE[s]] = 1.0;
            theta.at[place::DOSE[s]] - rate + grown(row, theta, changes, setting, slope, larger_doses)
        }
        Kind::TransferCount => {
            slope[place::COUNT] = 1.0;
            theta.at[place::COUNT]
                + grown(row, theta, changes, setting, slope, |effect| match effect {
                    Effect::Transfers { count, .. } => count,
                    _ => None,
                })
        }
        Kind::Flow => {
            slope[place::FLOW] = 1.0;
            theta.at[place::FLOW] - fallen(row, theta, changes, setting, slope)
        }
        Kind::Leakage => {
            let mut leakage = theta.exp[place::LEAK];
            slope[place::LEAK] = leakage;
            for change in changes {
                if let Effect::Leak { size, .. } = change.effect {
                    let more = theta.exp[size] * change.profile.at(row.time_h, change.onset_h, setting.end_h);
                    leakage += more;
                    slope[size] += more;
                }
            }
            scale(slope, leakage.recip());
            leakage.ln()
        }
        Kind::Makeup => {
            slope[place::MAKEUP] = 1.0;
            let follows = relative_over_pressure(row, setting) - 1.0;
            slope[place::MAKEUP_PRESSURE] = follows;
            theta.at[place::MAKEUP]
                + theta.at[place::MAKEUP_PRESSURE] * follows
                + makeup_growth(row, theta, changes, setting, slope)
        }
    }
}

fn scale(slope: &mut Vector, factor: f64) {
    for value in slope {
        *value *= factor;
    }
}

/// ln of the purifier's rate, 1/h.
fn ln_rate(
    species: Species,
    row: &Row,
    theta: &Point,
    changes: &[Change],
    setting: &Setting,
    slope: &mut Vector,
) -> f64 {
    let s = species.index();
    slope[place::PURIFIER[s]] = 1.0;
    let mut rate = theta.at[place::PURIFIER[s]] + row.at.ln_flow;
    for change in changes {
        let share = change.profile.at(row.time_h, change.onset_h, setting.end_h);
        let size = match change.effect {
            Effect::Capacity(sizes) => sizes[s],
            // Where the flow is logged, the row knows it already.
            Effect::Flow(size) if !setting.has_flow => Some(size),
            _ => None,
        };
        if let Some(size) = size {
            let fall = theta.exp[size] * share;
            rate -= fall;
            slope[size] -= fall;
        }
    }
    rate
}

/// Zero of the analyser, ppm. Derivatives are divided by −`above_zero`, so that they can stand beside those of ln rate.
fn zero(
    species: Species,
    row: &Row,
    theta: &Point,
    changes: &[Change],
    setting: &Setting,
    by_rate: &mut Vector,
    above_zero: f64,
) -> f64 {
    let s = species.index();
    let mut zero = theta.at[place::ZERO[s]];
    let unit = -1.0 / above_zero.max(1e-12);
    by_rate[place::ZERO[s]] += unit;
    for change in changes {
        if let Effect::Drift { species: own, size, sign } = change.effect
            && own == species
        {
            let moved = sign * theta.exp[size] * change.profile.at(row.time_h, change.onset_h, setting.end_h);
            // Zeros follow the warmth of the day too; without that a drift would be the only change that may not.
            let (own_wave, own) = wave(place::CHANGE_DAY[s], &row.at, theta);
            zero += moved * own_wave;
            by_rate[size] += moved * own_wave * unit;
            for (index, factor) in own {
                by_rate[index] += moved * factor * unit;
            }
        }
    }
    zero
}

/// Growth of a logarithm by the changes that have one.
fn grown(
    row: &Row,
    theta: &Point,
    changes: &[Change],
    setting: &Setting,
    slope: &mut Vector,
    of: impl Fn(Effect) -> Option<usize>,
) -> f64 {
    let mut sum = 0.0;
    for change in changes {
        if let Some(size) = of(change.effect) {
            let growth = theta.exp[size] * change.profile.at(row.time_h, change.onset_h, setting.end_h);
            sum += growth;
            slope[size] += growth;
        }
    }
    sum
}

/// The place of the growth of doses.
fn larger_doses(effect: Effect) -> Option<usize> {
    match effect {
        Effect::Transfers { size, .. } => size,
        _ => None,
    }
}

/// Fall of the logarithm of the flow.
fn fallen(row: &Row, theta: &Point, changes: &[Change], setting: &Setting, slope: &mut Vector) -> f64 {
    let fall = grown(row, theta, changes, setting, slope, |effect| match effect {
        Effect::Flow(size) => Some(size),
        _ => None,
    });
    for change in changes {
        if let Effect::Flow(size) = change.effect {
            slope[size] = -slope[size];
        }
    }
    fall
}

/// Over-pressure over its mean; 1 where there never is any.
fn relative_over_pressure(row: &Row, setting: &Setting) -> f64 {
    if setting.over_pressure_pa > 0.0 { row.at.over_pressure_pa / setting.over_pressure_pa } else { 1.0 }
}

/// A leak of a box above the room's pressure takes make-up gas.
fn makeup_growth(row: &Row, theta: &Point, changes: &[Change], setting: &Setting, slope: &mut Vector) -> f64 {
    let mut sum = 0.0;
    for change in changes {
        if let Effect::Leak { makeup, .. } = change.effect
            && row.at.over_pressure_pa > 0.0
        {
            let share =
                change.profile.at(row.time_h, change.onset_h, setting.end_h) * relative_over_pressure(row, setting);
            let growth = (theta.exp[makeup] * share).min(20.0);
            sum += growth.ln_1p();
            slope[makeup] += growth / (1.0 + growth);
        }
    }
    sum
}
