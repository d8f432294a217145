//! What is usual: the setting of a log, and the priors of the parameters that do not change.

use super::ingress::leak_drive;
use super::{OXYGEN_IN_AIR_PPM, PARAMETERS, Vector, place};
use crate::diagnose::feature::{Features, Kind};
use crate::diagnose::log::{Background, Species};
use crate::diagnose::robust::median_in_place;

/// Water in the air of a room of 22 °C and 45 %, ppm; used where the room is not known.
const USUAL_ROOM_WATER_PPM: f64 = 11_800.0;
/// Independent normal priors.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::diagnose) struct Prior {
    pub(in crate::diagnose) mean: Vector,
    pub(in crate::diagnose) sd: Vector,
}

/// What models need to know beside their parameters.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::diagnose) struct Setting {
    pub(in crate::diagnose) end_h: f64,
    /// Water over oxygen in the air of the room.
    pub(in crate::diagnose) air_ratio: f64,
    /// Typical ingress, ppm/h, by which changes are scaled.
    pub(in crate::diagnose) ingress: [f64; 2],
    /// Typical floor, ppm.
    pub(in crate::diagnose) floor: [f64; 2],
    /// Mean under-pressure that counts for leaks, Pa.
    pub(in crate::diagnose) leak_pressure_pa: f64,
    /// Mean over-pressure that drives make-up gas out, Pa; 0 where there is none.
    pub(in crate::diagnose) over_pressure_pa: f64,
    /// ln of water over oxygen of permeation, and its standard deviation.
    pub(in crate::diagnose) ln_permeation_ratio: [f64; 2],
    /// Whether the flow is logged, and so is no unknown.
    pub(in crate::diagnose) has_flow: bool,
    pub(in crate::diagnose) has_makeup: bool,
}
/// Water over oxygen that elastomers of unknown kind let through from air: geometric mean of the published ranges in
/// `tightfit_quantity::permeability`, 3 for butyl to 20 for nitrile (from memory), and the spread of the logarithm.
const USUAL_PERMEATION_RATIO: (f64, f64) = (7.0, 0.8);

/// Rate of a purifier of which nothing is known, 1/h: a box turned over every two minutes; a factor of three either way.
const USUAL_RATE: f64 = 30.0;

/// Water that transfers leave on the walls comes off for hours, oxygen hardly: shares of the usual ingress.
const AFTER_TRANSFERS: [f64; 2] = [0.01, 0.04];

/// Setting and priors of the parameters that do not change.
pub(in crate::diagnose) fn prepare(features: &Features, background: &Background) -> (Setting, Prior) {
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
                set(place::SUPPLY[s], brought.max(1e-6).ln(), (known.standard_uncertainty / known.value).hypot(0.8));
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
