//! The part of a record in which a dose comes down.

use std::fmt;

use super::{CleanUpError, Settings};
use crate::input::InputError;
use crate::ppm_rise::{ReadingStatus, Trace};

/// The part of a record that is evaluated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Start in s on the record's time axis.
    pub from_s: f64,
    /// End in s.
    pub to_s: f64,
    /// When the clean-up began (dose given or purifier switched on), s: times to a limit count from here.
    pub onset_s: f64,
    /// Standard uncertainty of that, s.
    pub onset_uncertainty_s: f64,
    /// Whether it was set by hand.
    pub set: bool,
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match (self.set, self.onset_s > self.from_s) {
            (true, true) => "set by hand; the decay in it, with the rise of its dose",
            (true, false) => "set by hand",
            (false, true) => "the largest decay of the record, with the rise of its dose and what was there before",
            (false, false) => "the largest decay of the record, from just after its peak",
        })
    }
}

/// The decay starts where the reading has come down to this share of the peak: the dose has mixed by then.
const BELOW_PEAK: f64 = 0.95;
/// A new dose is a rise of this share of the decay …
const NEW_DOSE: f64 = 0.15;
/// … or of this one where it stands out of the noise.
const CLEAR_DOSE: f64 = 0.03;

/// The rise of a dose before its decay, s on the record's time axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RiseSpan {
    /// Where the content before the dose begins to count.
    pub from_s: f64,
    /// Where the rise begins to show.
    pub foot_s: f64,
    /// Where the decay begins.
    pub start_s: f64,
}

/// The decay of a record, as it is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    pub window: Window,
    /// The rise before it, where the record holds it and purification was on.
    pub rise: Option<RiseSpan>,
    /// Whether the record begins high up and nothing tells when the fall began.
    pub begins_high: bool,
}

/// Standard uncertainty of what happened between the readings around a time, s.
pub(super) fn between_readings(time_s: &[f64], at_s: f64) -> f64 {
    let after = time_s.partition_point(|&t| t <= at_s);
    let [before, after] = [after.saturating_sub(1), after.min(time_s.len() - 1)].map(|i| time_s[i]);
    (after - before) / 12.0_f64.sqrt()
}

/// The decay, and the rise before it.
pub(super) fn find(trace: &Trace<'_>, settings: &Settings) -> Result<Found, CleanUpError> {
    let Some([from_s, to_s]) = settings.window_s else { return largest(trace, settings) };
    let record_s = [trace.samples.first_time_s(), trace.samples.last_time_s()];
    let outside = InputError::WindowOutsideRecord { window_s: [from_s, to_s], record_s };
    let part = trace.between(from_s, to_s).ok_or(outside)?;
    if begins_before_dose(&part) {
        let found = largest(&part, settings)?;
        return Ok(Found { window: Window { set: true, ..found.window }, ..found });
    }
    let onset_s = settings.purifier_on_s.unwrap_or(from_s).min(from_s).max(record_s[0]);
    let window = Window { from_s, to_s, onset_s, onset_uncertainty_s: 0.0, set: true };
    Ok(Found { window, rise: None, begins_high: false })
}

/// Whether the content rises before its largest decay: such a window was set around a dose, not along its decay.
fn begins_before_dose(trace: &Trace<'_>) -> bool {
    let smooth = smoothed(trace);
    largest_decay(&smooth)
        .is_some_and(|(peak, bottom)| smooth[peak] - smooth[0] > 0.5 * (smooth[peak] - smooth[bottom]))
}

/// The largest decay of a record.
fn largest(trace: &Trace<'_>, settings: &Settings) -> Result<Found, CleanUpError> {
    let time = trace.samples.time_s();
    let record_s = [trace.samples.first_time_s(), trace.samples.last_time_s()];
    let smooth = smoothed(trace);
    let (peak, bottom) = largest_decay(&smooth).ok_or(CleanUpError::NoDecay)?;
    let drop = smooth[peak] - smooth[bottom];
    let level = smooth[bottom] + BELOW_PEAK * drop;
    // Before the purifier is switched on a noisy reading that stands high is no decay.
    let switched = settings.purifier_on_s.map(|on| time.partition_point(|&t| t < on)).filter(|&i| i < bottom);
    let from = switched.filter(|&i| i > peak && smooth[i] > smooth[bottom] + 0.5 * drop).unwrap_or(peak);
    let start = (from..bottom).find(|&i| smooth[i] <= level).unwrap_or(from + 1);
    let end = end_of_decay(&smooth, bottom, drop);
    let foot = smooth[..=peak].iter().rposition(|value| *value <= smooth[bottom] + 0.05 * drop);
    // Of a record that begins high up, the beginning is the best that the readings alone tell of the dose.
    let switched_s = settings.purifier_on_s.filter(|on| *on <= time[start]);
    let (onset_s, onset_uncertainty_s) = match (switched_s, foot) {
        (Some(on_s), _) => (on_s, between_readings(time, on_s)),
        (None, Some(foot)) => (0.5 * (time[foot] + time[foot + 1]), between_readings(time, time[foot])),
        (None, None) => (record_s[0], 0.0),
    };
    let longest_s = 0.5 * (time[end] - time[start]);
    let rise = rise_before(&smooth, peak, drop).and_then(|(first, foot)| {
        let from_s = time[first].max(time[foot] - longest_s).max(settings.purifier_on_s.unwrap_or(record_s[0]));
        (from_s < time[foot]).then_some(RiseSpan { from_s, foot_s: time[foot], start_s: time[start] })
    });
    let window = Window { from_s: time[start], to_s: time[end], onset_s, onset_uncertainty_s, set: false };
    Ok(Found { window, rise, begins_high: switched_s.is_none() && foot.is_none() })
}

/// Where a decay began that comes down from a plateau at the start of the record: when and how surely, s.
///
/// `decay` holds floor and height of the decay at the start of the window with the height's standard uncertainty, and its
/// time constant in s: drawn back, it meets the plateau there. `None` where the fall begins with the record.
pub(super) fn end_of_plateau(trace: &Trace<'_>, window: &Window, decay: Decay) -> Option<(f64, f64)> {
    /// A fall may seem to begin so much late, in time constants, by noise and by mixing.
    const LATE: f64 = 0.2;
    const READINGS: usize = 5;
    let time = trace.samples.time_s();
    let Decay { floor, height: [height, uncertainty], tau_s } = decay;
    let mut began_s = window.from_s;
    let mut spread = 0.0;
    for _ in 0..3 {
        let plateau = time.partition_point(|&t| t < began_s);
        let measured = (0..plateau).all(|i| trace.status_of(i) == ReadingStatus::Measured);
        if plateau < READINGS || !measured {
            return None;
        }
        let mut values = trace.samples.value()[..plateau].to_vec();
        values.sort_by(f64::total_cmp);
        let above = values[plateau / 2] - floor;
        if !(above > 0.0 && height > 0.0) {
            return None;
        }
        let noise = crate::noise::mean_and_standard_deviation(&values).1 / (plateau as f64).sqrt();
        spread = tau_s * (uncertainty / height).hypot(noise / above);
        began_s = (window.from_s - tau_s * (above / height).ln()).min(window.from_s);
    }
    let first_s = trace.samples.first_time_s();
    let stood = began_s - first_s > LATE * tau_s && time.partition_point(|&t| t < began_s) >= READINGS;
    stood.then(|| (began_s, spread.hypot(between_readings(time, began_s))))
}

/// What a decay comes down from and to, as drawn back to the start of its window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Decay {
    pub floor: f64,
    /// Value and standard uncertainty.
    pub height: [f64; 2],
    pub tau_s: f64,
}

/// Where the content before a dose begins, and the foot of the rise to its peak.
fn rise_before(values: &[f64], peak: usize, drop: f64) -> Option<(usize, usize)> {
    let mut lowest = peak;
    let mut first = peak;
    for i in (0..peak).rev() {
        if values[i] < values[lowest] {
            lowest = i;
        }
        // Beyond lies an earlier dose.
        if values[i] > values[lowest] + NEW_DOSE * drop && values[peak] - values[lowest] > 0.5 * drop {
            break;
        }
        first = i;
    }
    let risen = values[peak] - values[lowest];
    let foot = (first..peak).rev().find(|&i| values[i] <= values[lowest] + 0.05 * risen)?;
    (risen > 0.5 * drop && foot > first + 1).then_some((first, foot))
}

/// Running median of five; censored readings count at their limit.
fn smoothed(trace: &Trace<'_>) -> Vec<f64> {
    let value = |i: usize| match trace.status_of(i) {
        ReadingStatus::Measured => trace.samples.value()[i],
        ReadingStatus::BelowLimit => trace.analyser.reporting_limit.unwrap_or(trace.samples.value()[i]),
        ReadingStatus::AboveRange => trace.analyser.range_top.unwrap_or(trace.samples.value()[i]),
    };
    let values: Vec<f64> = (0..trace.samples.len()).map(value).collect();
    (0..values.len())
        .map(|i| {
            let reach = i.min(values.len() - 1 - i).min(2);
            let mut part = values[i - reach..=i + reach].to_vec();
            part.sort_by(f64::total_cmp);
            part[reach]
        })
        .collect()
}

/// Index of the peak and of the lowest point after it, of the decay that falls most.
fn largest_decay(values: &[f64]) -> Option<(usize, usize)> {
    // From the end: the lowest value after each point gives the largest fall from it.
    let mut lowest = values.len() - 1;
    let mut best: Option<(usize, usize)> = None;
    for i in (0..values.len()).rev() {
        if values[i] < values[lowest] {
            lowest = i;
        }
        let fall = values[i] - values[lowest];
        if fall > 0.0 && best.is_none_or(|(peak, bottom)| fall >= values[peak] - values[bottom]) {
            best = Some((i, lowest));
        }
    }
    let (peak, far) = best?;
    // The lowest point may lie beyond further doses: this one ends where the content has risen again.
    let fall = values[peak] - values[far];
    let mut bottom = peak;
    for i in peak..=far {
        if values[i] < values[bottom] {
            bottom = i;
        }
        let risen = values[i] - values[bottom];
        if risen > NEW_DOSE * fall || (risen > CLEAR_DOSE * fall && risen > CLEAR * usual_deviation(values, bottom)) {
            break;
        }
    }
    (bottom > peak).then_some((peak, bottom))
}

/// A rise of so many usual deviations stands out of the noise.
const CLEAR: f64 = 10.0;

/// How far changes of smoothed values deviate, in the median, from the slope just before a reading.
fn usual_deviation(values: &[f64], at: usize) -> f64 {
    const REACH: usize = 25;
    /// The median of five carries noise so far.
    const APART: usize = 5;
    let median = |mut of: Vec<f64>| {
        of.sort_by(f64::total_cmp);
        of.get(of.len() / 2).copied().unwrap_or(0.0)
    };
    let near = &values[at.saturating_sub(REACH)..=at];
    if near.len() <= 2 * APART {
        return f64::INFINITY;
    }
    let changes: Vec<f64> = near.iter().zip(near.iter().skip(APART)).map(|(before, after)| after - before).collect();
    let slope = median(changes.clone());
    median(changes.iter().map(|change| (change - slope).abs()).collect())
}

/// Last index before the content rises again.
fn end_of_decay(values: &[f64], bottom: usize, drop: f64) -> usize {
    let tail = &values[bottom..];
    // Another dose that comes at once is no noise.
    let noise = crate::noise::mean_and_standard_deviation(&tail[..tail.len().min(50)])
        .1
        .min(1.1 * usual_deviation(values, bottom));
    let risen = values[bottom] + (NEW_DOSE * drop).min((0.01 * drop).max(8.0 * noise));
    let rise = (bottom..values.len()).find(|&i| values[i] > risen);
    match rise {
        // The rise began before it was seen: go back to where the content left the bottom.
        Some(i) => (bottom..i).rev().find(|&j| values[j] <= values[bottom] + 2.0 * noise).unwrap_or(bottom),
        None => values.len() - 1,
    }
}
