//! What comes in: leakage, permeation and outgassing, make-up gas, and what transfers left on the walls.

use super::{Change, Effect, PARAMETERS, Point, Setting, Vector, grown, larger_doses, place, scale};
use crate::diagnose::feature::{Circumstances, Row};
use crate::diagnose::log::Species;

/// What diffuses in through a leak without under-pressure counts as this much under-pressure, Pa.
const DIFFUSION_PA: f64 = 2.0;

pub(super) fn leak_drive(at: &Circumstances) -> f64 {
    at.under_pressure_pa + DIFFUSION_PA
}

/// Content of the room's air over its oxygen.
fn over_oxygen(species: Species, at: &Circumstances, theta: &Point, setting: &Setting) -> f64 {
    match species {
        Species::Oxygen => 1.0,
        Species::Water => setting.air_ratio * (theta.at[place::ROOM_WATER] + at.ln_room_water).exp(),
    }
}

/// Adds the slope of a part with this value, of which relative slopes are given by parameter.
fn add_relative(slope: &mut Vector, value: f64, by: &[(usize, f64)]) {
    for (index, factor) in by {
        slope[*index] += value * factor;
    }
}

/// Ingress in ppm/h.
pub(super) fn ingress(
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
    let ratio = over_oxygen(species, at, theta, setting);
    let mut total = 0.0;
    let mut add = |value: f64, by: &[(usize, f64)], slope: &mut Vector| {
        total += value;
        add_relative(slope, value, by);
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
pub(super) fn wave([cos, sin]: [usize; 2], at: &Circumstances, theta: &Point) -> (f64, [(usize, f64); 2]) {
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
    let ratio = over_oxygen(species, at, theta, setting);
    let mut total = 0.0;
    let mut add = |value: f64, by: &[(usize, f64)], slope: &mut Vector| {
        total += value;
        add_relative(slope, value, by);
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
