//! The mass balance: what every row should be, given parameters that may change once or twice.
//!
//! With x the content, the purifier running: dx/dt = L − k x, so the floor is L/k, plus the analyser's zero. With the
//! purifier off: dx/dt = L. A dose D leaves the area D/k over the floor and decays with the rate k. The ingress L of a
//! species is leakage (in proportion to the under-pressure, with the composition of the room's air), plus what does
//! not depend on pressure (permeation, outgassing), plus what make-up gas brings.

use super::feature::{Circumstances, Features, Kind, Row, Stream, compress};
use super::log::{Background, Species};
use super::robust::median_in_place;

/// Number of parameters without change.
pub(super) const BASE: usize = 31;
/// With the amplitudes of at most two changes.
pub(super) const PARAMETERS: usize = BASE + 6;
/// A vector of parameters.
pub(super) type Vector = [f64; PARAMETERS];

/// Oxygen in air, ppm (US Standard Atmosphere 1976).
pub(super) const OXYGEN_IN_AIR_PPM: f64 = 209_476.0;
/// Water in the air of a room of 22 °C and 45 %, ppm; used where the room is not known.
const USUAL_ROOM_WATER_PPM: f64 = 11_800.0;
/// What diffuses in through a leak without under-pressure counts as this much under-pressure, Pa.
const DIFFUSION_PA: f64 = 2.0;

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

/// How a change comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Profile {
    /// At once, to stay.
    Step,
    /// Grows evenly to the end of the log.
    Ramp,
    /// Grows with the square of time to the end of the log.
    Bend,
    /// Grows evenly over the given h, then stays.
    RampTo(f64),
    /// At once, then dies away with this time constant, h.
    Decaying(f64),
}

impl Profile {
    /// Its size at a time, 0 to 1.
    fn at(self, time_h: f64, onset_h: f64, end_h: f64) -> f64 {
        let since = time_h - onset_h;
        if since <= 0.0 {
            return 0.0;
        }
        let share = since / (end_h - onset_h).max(1e-9);
        match self {
            Self::Step => 1.0,
            Self::Ramp => share.min(1.0),
            Self::Bend => share.min(1.0).powi(2),
            Self::RampTo(h) => (since / h).min(1.0),
            Self::Decaying(h) => (-since / h).exp(),
        }
    }
}

/// What changes. Numbers are places of amplitudes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Effect {
    /// Leakage grows (ln of ppm/h per Pa), and with it the make-up that holds an over-pressure (ln of its relative growth).
    Leak { size: usize, makeup: usize },
    /// Permeation grows: ln of oxygen in ppm/h, ln of water over oxygen.
    Permeation { size: usize, ratio: usize },
    /// The purifier's rate falls: ln of the fall of its logarithm, for the species that have one.
    Capacity([Option<usize>; 2]),
    /// Circulation falls: ln of the fall of its logarithm.
    Flow(usize),
    /// Water comes off walls or goods: ln of ppm/h; perhaps oxygen too: ln of its ratio to water.
    Outgassing { water: usize, oxygen: Option<usize> },
    /// An analyser's zero moves: ln of ppm, and the sign.
    Drift { species: Species, size: usize, sign: f64 },
    /// The supplied gas brings more: ln of ppm/h.
    Supply([Option<usize>; 2]),
    /// More or larger transfers: ln of the rise of the logarithms of number and size.
    Transfers { count: Option<usize>, size: Option<usize> },
}

/// One change: what, how and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Change {
    pub(super) effect: Effect,
    pub(super) profile: Profile,
    pub(super) onset_h: f64,
}

/// Independent normal priors.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prior {
    pub(super) mean: Vector,
    pub(super) sd: Vector,
}

/// What models need to know beside their parameters.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Setting {
    pub(super) end_h: f64,
    /// Water over oxygen in the air of the room.
    pub(super) air_ratio: f64,
    /// Typical ingress, ppm/h, by which changes are scaled.
    pub(super) ingress: [f64; 2],
    /// Typical floor, ppm.
    pub(super) floor: [f64; 2],
    /// Mean under-pressure that counts for leaks, Pa.
    pub(super) leak_pressure_pa: f64,
    /// Mean over-pressure that drives make-up gas out, Pa; 0 where there is none.
    pub(super) over_pressure_pa: f64,
    /// ln of water over oxygen of permeation, and its standard deviation.
    pub(super) ln_permeation_ratio: [f64; 2],
    /// Whether the flow is logged, and so is no unknown.
    pub(super) has_flow: bool,
    pub(super) has_makeup: bool,
}

/// Water over oxygen that elastomers of unknown kind let through from air: geometric mean of the published ranges in
/// `tightfit_quantity::permeability`, 3 for butyl to 20 for nitrile (from memory), and the spread of the logarithm.
const USUAL_PERMEATION_RATIO: (f64, f64) = (7.0, 0.8);

/// Rate of a purifier of which nothing is known, 1/h: a box turned over every two minutes; a factor of three either way.
const USUAL_RATE: f64 = 30.0;

/// Water that transfers leave on the walls comes off for hours, oxygen hardly: shares of the usual ingress.
const AFTER_TRANSFERS: [f64; 2] = [0.01, 0.04];

/// Setting and priors of the parameters that do not change.
pub(super) fn prepare(features: &Features, background: &Background) -> (Setting, Prior) {
    let median = |kind: Kind| {
        let stream = features.stream(kind)?;
        let mut values: Vec<f64> = stream.rows.iter().map(|row| row.value).collect();
        Some(median_in_place(&mut values))
    };
    let stated_rate =
        background.purifier_flow_m3_per_h.zip(background.volume_m3).map(|(flow, volume)| 0.85 * flow / volume);
    let (rate, rate_sd) = match (background.time_constant_h, stated_rate) {
        (Some(tau), _) => ((1.0 / tau.value).ln(), (tau.standard_uncertainty / tau.value).hypot(0.25)),
        (None, Some(rate)) => (rate.ln(), 0.5),
        (None, None) => (USUAL_RATE.ln(), 1.2),
    };
    let mut ingress = [1.0; 2];
    let mut floor = [0.0; 2];
    for species in Species::BOTH {
        let s = species.index();
        floor[s] = median(Kind::Floor(species)).unwrap_or(0.0).max(0.003);
        let decay = median(Kind::Decay(species)).unwrap_or(rate);
        let earlier = background.ingress_ppm_per_h[s].map(|known| known.value);
        let rise = median(Kind::Rise(species)).filter(|rise| *rise > 0.0).or(earlier);
        ingress[s] = rise.unwrap_or(floor[s] * decay.exp());
        ingress[s] = ingress[s].max(1e-4);
    }
    let leak_pressure_pa = leak_pressure(features);
    let room_water = background.room_water_ppm.unwrap_or(USUAL_ROOM_WATER_PPM);
    let (ratio, ratio_sd) = background.permeation_ratio.unwrap_or(USUAL_PERMEATION_RATIO);
    let setting = Setting {
        end_h: features.duration_h,
        air_ratio: room_water / OXYGEN_IN_AIR_PPM,
        ingress,
        floor,
        leak_pressure_pa,
        over_pressure_pa: over_pressure(features),
        ln_permeation_ratio: [ratio.ln(), ratio_sd],
        has_flow: features.has_flow,
        has_makeup: features.has_makeup,
    };
    let prior = base_prior(features, background, &setting, [rate, rate_sd]);
    (setting, prior)
}

/// Mean under-pressure over the floors and rises, with what diffuses.
fn leak_pressure(features: &Features) -> f64 {
    let streams = features.streams.iter().filter(|stream| matches!(stream.kind, Kind::Floor(_) | Kind::Rise(_)));
    let rows: Vec<f64> = streams.flat_map(|stream| &stream.rows).map(|row| leak_drive(&row.at)).collect();
    if rows.is_empty() { 1.0 } else { rows.iter().sum::<f64>() / rows.len() as f64 }
}

/// Mean over-pressure over the rows of the make-up flow.
fn over_pressure(features: &Features) -> f64 {
    let rows = features.stream(Kind::Makeup).map(|stream| stream.rows.as_slice()).unwrap_or_default();
    rows.iter().map(|row| row.at.over_pressure_pa).sum::<f64>() / (rows.len() as f64).max(1.0)
}

fn leak_drive(at: &Circumstances) -> f64 {
    at.under_pressure_pa + DIFFUSION_PA
}

fn base_prior(features: &Features, background: &Background, setting: &Setting, rate: [f64; 2]) -> Prior {
    let mut mean = [0.0; PARAMETERS];
    let mut sd = [1.0; PARAMETERS];
    let mut set = |index: usize, value: f64, deviation: f64| (mean[index], sd[index]) = (value, deviation);
    let leak_share = background.leak_share.unwrap_or(0.2).clamp(0.01, 1.0);
    let share_sd = if background.leak_share.is_some() { 0.8 } else { 1.5 };
    match background.leakage_ppm_per_h_per_pa {
        // What air carries in at the pressure of a leak test and what the log sees of it differ by a leak's law.
        Some(known) => {
            set(place::LEAK, known.value.ln(), (known.standard_uncertainty / known.value).min(1.5).hypot(0.4));
        }
        None => set(place::LEAK, (leak_share * setting.ingress[0] / setting.leak_pressure_pa).ln(), share_sd),
    }
    set(place::ROOM_WATER, 0.0, if background.room_water_ppm.is_some() { 0.15 } else { 0.4 });
    set(place::HUMIDITY, 0.5, 0.4);
    for species in Species::BOTH {
        let s = species.index();
        set(place::STEADY[s], (0.6 * setting.ingress[s]).ln(), 1.2);
        let supply = background.supply_ppm[s].zip(background.volume_m3).filter(|_| features.has_makeup);
        match supply {
            Some((known, volume)) if known.value > 0.0 => {
                let brought = known.value * features.makeup_mean / volume;
                set(place::SUPPLY[s], brought.max(1e-6).ln(), (known.standard_uncertainty / known.value).hypot(0.5));
            }
            _ => set(place::SUPPLY[s], (0.1 * setting.ingress[s]).ln(), 1.5),
        }
        set(place::PURIFIER[s], rate[0], rate[1]);
        let zero = background.zero_ppm[s].unwrap_or(0.0).max(0.25 * setting.floor[s]).max(0.02);
        set(place::ZERO[s], 0.0, zero);
        set(place::TEMPERATURE[s], 0.05, 0.03);
        for index in place::DAY[s] {
            set(index, 0.0, 0.06);
        }
        for index in place::CHANGE_DAY[s] {
            set(index, 0.0, 0.2);
        }
        set(place::DOSE[s], (20.0_f64).ln(), 2.5);
        set(place::AFTER_TRANSFERS[s], (AFTER_TRANSFERS[s] * setting.ingress[s]).ln(), 1.2);
        // Where the pressure is logged, it explains what comes by day and by night; else the rhythm stands for it.
        set(place::RHYTHM[s], 0.0, if features.has_pressure { 0.15 } else { 0.7 });
    }
    set(place::COUNT, 1.5, 1.5);
    set(place::MAKEUP_PRESSURE, 0.0, 0.5);
    for (index, kind) in [(place::FLOW, Kind::Flow), (place::MAKEUP, Kind::Makeup)] {
        let level = features.stream(kind).and_then(|stream| stream.rows.first()).map_or(0.0, |row| row.y);
        set(index, level, 1.0);
    }
    Prior { mean, sd }
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

/// Ingress in ppm/h.
fn ingress(
    species: Species,
    row: &Row,
    theta: &Point,
    changes: &[Change],
    setting: &Setting,
    slope: &mut Vector,
) -> f64 {
    let s = species.index();
    let at = &row.at;
    let is_water = species == Species::Water;
    let ratio = if is_water { setting.air_ratio * (theta.at[place::ROOM_WATER] + at.ln_room_water).exp() } else { 1.0 };
    let mut total = 0.0;
    let mut add = |value: f64, by: &[(usize, f64)], slope: &mut Vector| {
        total += value;
        for (index, factor) in by {
            slope[*index] += value * factor;
        }
    };
    let water = if is_water { 1.0 } else { 0.0 };
    let drive = leak_drive(at) * ratio;
    add(theta.exp[place::LEAK] * drive, &[(place::LEAK, 1.0), (place::ROOM_WATER, water)], slope);
    let heat = theta.at[place::TEMPERATURE[s]] * at.temperature_k;
    let humid = water * theta.at[place::HUMIDITY] * at.ln_room_water;
    add(
        (theta.at[place::STEADY[s]] + (heat + humid).clamp(-2.0, 2.0)).exp(),
        &[
            (place::STEADY[s], 1.0),
            (place::TEMPERATURE[s], at.temperature_k),
            (place::HUMIDITY, water * at.ln_room_water),
        ],
        slope,
    );
    add(theta.exp[place::SUPPLY[s]] * at.makeup, &[(place::SUPPLY[s], 1.0)], slope);
    if at.transfers > 0.0 {
        let after = place::AFTER_TRANSFERS[s];
        let mut larger = [0.0; PARAMETERS];
        let growth = grown(row, theta, changes, setting, &mut larger, larger_doses);
        let value = (theta.at[after] + growth).exp() * at.transfers;
        add(value, &[(after, 1.0)], slope);
        for (slope, larger) in slope.iter_mut().zip(&larger) {
            *slope += value * larger;
        }
    }
    let rhythm = (theta.at[place::RHYTHM[s]] * at.rhythm[s]).clamp(-2.0, 2.0).exp();
    let (usual_wave, usual) = wave(place::DAY[s], at, theta);
    scale(slope, usual_wave * rhythm);
    for (index, factor) in usual {
        slope[index] += total * rhythm * factor;
    }
    slope[place::RHYTHM[s]] += total * rhythm * usual_wave * at.rhythm[s];
    let total = total * rhythm * usual_wave;
    if changes.iter().all(|change| row.time_h <= change.onset_h) {
        return total;
    }
    let mut by_change = [0.0; PARAMETERS];
    let more = changed_ingress(species, row, theta, changes, setting, &mut by_change);
    if more <= 0.0 {
        return total;
    }
    let (own_wave, own) = wave(place::CHANGE_DAY[s], at, theta);
    for (slope, by_change) in slope.iter_mut().zip(&by_change) {
        *slope += own_wave * by_change;
    }
    for (index, factor) in own {
        slope[index] += more * factor;
    }
    total + more * own_wave
}

/// A relative daily wave, and its derivatives.
fn wave([cos, sin]: [usize; 2], at: &Circumstances, theta: &Point) -> (f64, [(usize, f64); 2]) {
    let wave = (1.0 + theta.at[cos] * at.day[0] + theta.at[sin] * at.day[1]).max(0.3);
    (wave, [(cos, at.day[0]), (sin, at.day[1])])
}

/// Ingress that the changes brought, in ppm/h, without its daily wave.
fn changed_ingress(
    species: Species,
    row: &Row,
    theta: &Point,
    changes: &[Change],
    setting: &Setting,
    slope: &mut Vector,
) -> f64 {
    let s = species.index();
    let at = &row.at;
    let is_water = species == Species::Water;
    let water = if is_water { 1.0 } else { 0.0 };
    let ratio = if is_water { setting.air_ratio * (theta.at[place::ROOM_WATER] + at.ln_room_water).exp() } else { 1.0 };
    let mut total = 0.0;
    let mut add = |value: f64, by: &[(usize, f64)], slope: &mut Vector| {
        total += value;
        for (index, factor) in by {
            slope[*index] += value * factor;
        }
    };
    for change in changes {
        let share = change.profile.at(row.time_h, change.onset_h, setting.end_h);
        if share <= 0.0 {
            continue;
        }
        match change.effect {
            Effect::Leak { size, .. } => {
                let value = theta.exp[size] * share * leak_drive(at) * ratio;
                add(value, &[(size, 1.0), (place::ROOM_WATER, water)], slope);
            }
            Effect::Permeation { size, ratio } => {
                let heat = theta.at[place::TEMPERATURE[s]] * at.temperature_k;
                let humid = water * theta.at[place::HUMIDITY] * at.ln_room_water;
                let of = if is_water { theta.at[ratio] } else { 0.0 };
                let value = share * (theta.at[size] + of + (heat + humid).clamp(-2.0, 2.0)).exp();
                add(value, &[(size, 1.0), (ratio, water)], slope);
            }
            Effect::Outgassing { water: size, oxygen } => {
                let given = share * theta.exp[size];
                match oxygen {
                    _ if is_water => add(given, &[(size, 1.0)], slope),
                    Some(ratio) => add(given * theta.exp[ratio], &[(size, 1.0), (ratio, 1.0)], slope),
                    None => {}
                }
            }
            Effect::Supply(sizes) => {
                if let Some(size) = sizes[s] {
                    add(share * theta.exp[size] * at.makeup, &[(size, 1.0)], slope);
                }
            }
            _ => {}
        }
    }
    total
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
