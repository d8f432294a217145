//! The part of a record in which a dose comes down.

use std::fmt;

use super::{CleanUpError, Settings};
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
    /// Whether it was set by hand.
    pub set: bool,
}

impl fmt::Display for Window {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.set { "set by hand" } else { "the largest decay of the record, from just after its peak" })
    }
}

/// The decay starts where the reading has come down to this share of the peak: the dose has mixed by then.
const BELOW_PEAK: f64 = 0.95;
/// A new dose is a rise of this share of the decay.
const NEW_DOSE: f64 = 0.15;

pub(super) fn find(trace: &Trace<'_>, settings: &Settings) -> Result<Window, CleanUpError> {
    let time = trace.samples.time_s();
    let record_s = [trace.samples.first_time_s(), trace.samples.last_time_s()];
    if let Some([from_s, to_s]) = settings.window_s {
        if trace.samples.between(from_s, to_s).is_none() {
            return Err(CleanUpError::WindowOutsideRecord { window_s: [from_s, to_s], record_s });
        }
        let onset_s = settings.purifier_on_s.unwrap_or(from_s).min(from_s);
        return Ok(Window { from_s, to_s, onset_s: onset_s.max(record_s[0]), set: true });
    }
    let smooth = smoothed(trace);
    let (peak, bottom) = largest_decay(&smooth).ok_or(CleanUpError::NoDecay)?;
    let drop = smooth[peak] - smooth[bottom];
    let level = smooth[bottom] + BELOW_PEAK * drop;
    let start = (peak..bottom).find(|&i| smooth[i] <= level).unwrap_or(peak + 1);
    let end = end_of_decay(&smooth, bottom, drop);
    let foot = smooth[..=peak].iter().rposition(|value| *value <= smooth[bottom] + 0.05 * drop);
    // Of a record that begins high up, the beginning is the best that is known of the dose.
    let onset_s =
        settings.purifier_on_s.filter(|on| *on <= time[start]).unwrap_or(foot.map_or(record_s[0], |i| time[i]));
    Ok(Window { from_s: time[start], to_s: time[end], onset_s, set: false })
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
        if values[i] > values[bottom] + NEW_DOSE * fall {
            break;
        }
    }
    (bottom > peak).then_some((peak, bottom))
}

/// Last index before the content rises again.
fn end_of_decay(values: &[f64], bottom: usize, drop: f64) -> usize {
    let tail = &values[bottom..];
    let noise = crate::noise::mean_and_standard_deviation(&tail[..tail.len().min(50)]).1;
    let risen = values[bottom] + (NEW_DOSE * drop).min((0.01 * drop).max(8.0 * noise));
    let rise = (bottom..values.len()).find(|&i| values[i] > risen);
    match rise {
        // The rise began before it was seen: go back to where the content left the bottom.
        Some(i) => (bottom..i).rev().find(|&j| values[j] <= values[bottom] + 2.0 * noise).unwrap_or(bottom),
        None => values.len() - 1,
    }
}
