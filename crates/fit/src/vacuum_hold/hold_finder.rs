//! The stretch of a record in which the vessel was isolated under vacuum.

use super::{Record, VacuumHoldError, Window, WindowEnd};
use crate::Samples;
use crate::input::InputError;
use crate::solve::fit_linear;

/// What the finder found.
pub(super) struct Found {
    pub window: Window,
    /// Where the pressure left its course after the hold: time in s, pressure there and at the end of the change, Pa.
    pub regime_change: Option<(f64, [f64; 2])>,
    /// How long the vessel was pumped before, s, where the record shows it.
    pub pumped_s: Option<f64>,
}

/// Bins of a long record.
const BINS: usize = 4000;
/// Fewest bins of a hold.
const FEWEST: usize = 8;
/// A vessel above this share of the room's pressure is not evacuated.
const EVACUATED: f64 = 0.9;
/// Gas is let in where the pressure rises by this share of the room's within a few bins.
const LET_IN: f64 = 0.02;
/// It then rises so many times faster than in the hold.
const FASTER: f64 = 30.0;

/// Finds the longest hold.
pub(super) fn find(record: &Record<'_>) -> Result<Found, VacuumHoldError> {
    let bins = Bins::new(record.pressure);
    let mut best: Option<Stretch> = None;
    for stretch in stretches(&bins, record) {
        let evacuated = bins.mean(&stretch) < EVACUATED * record.room_pressure_pa;
        let longer = best.as_ref().is_none_or(|best| bins.duration(&stretch) > bins.duration(best));
        if evacuated && stretch.to - stretch.from + 1 >= FEWEST && longer && !bins.falls(&stretch) {
            best = Some(stretch);
        }
    }
    let Some(stretch) = best else { return Err(no_hold(record, &bins)) };
    let next = (stretch.to + 1).min(bins.time_s.len() - 1);
    let after = (stretch.to + 4).min(bins.time_s.len() - 1);
    let leaves = matches!(stretch.end, WindowEnd::Filled | WindowEnd::Pumped);
    Ok(Found {
        window: Window { from_s: bins.first_s[stretch.from], to_s: bins.last_s[stretch.to], end: stretch.end },
        regime_change: leaves.then(|| (bins.time_s[next], [bins.value[stretch.to], bins.value[after]])),
        pumped_s: bins.pumped_s(stretch.from, record.room_pressure_pa),
    })
}

/// A window set by hand, with a look at whether the vessel was held at all.
pub(super) fn set(record: &Record<'_>, [from_s, to_s]: [f64; 2]) -> Result<Found, VacuumHoldError> {
    let pressure = record.pressure;
    let record_s = [pressure.first_time_s(), pressure.last_time_s()];
    let Some(part) = pressure.between(from_s, to_s) else {
        return Err(InputError::WindowOutsideRecord { window_s: [from_s, to_s], record_s }.into());
    };
    let bins = Bins::new(part);
    let (first, last) = (bins.value[0], bins.value[bins.value.len() - 1]);
    if first - last > (8.0 * bins.noise).max(0.2 * first.abs()) {
        return Err(VacuumHoldError::NotHeld { pressure_pa: [first, last], runs_away: bins.runs_away() });
    }
    Ok(Found { window: Window { from_s, to_s, end: WindowEnd::Set }, regime_change: None, pumped_s: None })
}

/// Standard deviation of a value about its neighbours, whatever the trend: from second differences.
pub(crate) fn noise_of(values: &[f64]) -> f64 {
    let mut second: Vec<f64> = values.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()).collect();
    if second.is_empty() {
        return 0.0;
    }
    let middle = second.len() / 2;
    let median = *second.select_nth_unstable_by(middle, f64::total_cmp).1;
    // The median of the absolute of a normal number is 0.6745 of its standard deviation, here √6 of that of a value.
    let quiet = median / (0.6745 * 6.0_f64.sqrt());
    if quiet > 0.0 {
        return quiet;
    }
    // A display that mostly stands still: its steps are its noise.
    let steps = values.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|step| *step > 0.0);
    let step = steps.fold(f64::INFINITY, f64::min);
    if step.is_finite() { 0.5 * step } else { 0.0 }
}

fn no_hold(record: &Record<'_>, bins: &Bins) -> VacuumHoldError {
    let found = record.pressure.len();
    if found < FEWEST {
        return VacuumHoldError::TooFewReadings { found, needed: FEWEST };
    }
    let lowest_pa = bins.value.iter().copied().fold(f64::INFINITY, f64::min);
    let last = bins.value[bins.value.len() - 1];
    let highest = bins.value.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // A record that ends low was pumped to its end; one that ends high was never held.
    if last < 0.5 * highest {
        VacuumHoldError::NotHeld { pressure_pa: [highest, last], runs_away: bins.runs_away() }
    } else {
        VacuumHoldError::NotEvacuated { lowest_pa }
    }
}

/// Medians of a few readings each.
struct Bins {
    time_s: Vec<f64>,
    first_s: Vec<f64>,
    last_s: Vec<f64>,
    value: Vec<f64>,
    noise: f64,
}

/// Bins from and to, both inside.
#[derive(Clone, Copy)]
struct Stretch {
    from: usize,
    to: usize,
    end: WindowEnd,
}

impl Bins {
    fn new(samples: Samples<'_>) -> Self {
        let size = samples.len().div_ceil(BINS);
        let chunks = || samples.time_s().chunks(size);
        let value: Vec<f64> = samples
            .value()
            .chunks(size)
            .map(|chunk| {
                let mut sorted = chunk.to_vec();
                let middle = sorted.len() / 2;
                *sorted.select_nth_unstable_by(middle, f64::total_cmp).1
            })
            .collect();
        Self {
            time_s: chunks().map(|chunk| chunk[chunk.len() / 2]).collect(),
            first_s: chunks().map(|chunk| chunk[0]).collect(),
            last_s: chunks().map(|chunk| chunk[chunk.len() - 1]).collect(),
            noise: noise_of(&value),
            value,
        }
    }

    fn mean(&self, stretch: &Stretch) -> f64 {
        let part = &self.value[stretch.from..=stretch.to];
        part.iter().sum::<f64>() / part.len() as f64
    }

    /// Whether the pressure still falls from the first quarter of a stretch to the last: the end of pumping.
    fn falls(&self, stretch: &Stretch) -> bool {
        let quarter = (stretch.to - stretch.from).div_ceil(4).max(1);
        let first = self.mean(&Stretch { to: stretch.from + quarter - 1, ..*stretch });
        let last = self.mean(&Stretch { from: stretch.to + 1 - quarter, ..*stretch });
        last < first - self.noise - 0.01 * first.abs()
    }

    fn duration(&self, stretch: &Stretch) -> f64 {
        self.last_s[stretch.to] - self.first_s[stretch.from]
    }

    /// How far a value may lie under one before it without being a fall.
    fn tolerance(&self, value: f64) -> f64 {
        6.0 * self.noise + 0.02 * value.abs()
    }

    /// Time from when the pressure was last near that of the room to bin `start`.
    fn pumped_s(&self, start: usize, room_pa: f64) -> Option<f64> {
        let high = self.value[..start].iter().rposition(|p| *p > 0.5 * room_pa)?;
        Some(self.first_s[start] - self.last_s[high])
    }

    /// Where the pressure begins to run away downwards at the very end: s after the first reading, and the pressure.
    fn runs_away(&self) -> Option<[f64; 2]> {
        const BEFORE: usize = 20;
        let n = self.value.len();
        let rate = |i: usize| -> Option<f64> {
            let positive = self.value[i] > 0.0 && self.value[i - 1] > 0.0;
            positive.then(|| (self.value[i] / self.value[i - 1]).ln() / (self.time_s[i] - self.time_s[i - 1]))
        };
        let mut start = n;
        while start > BEFORE + 1 {
            let here = rate(start - 1)?;
            let mut before: Vec<f64> = (start - 1 - BEFORE..start - 1).filter_map(rate).map(f64::abs).collect();
            before.sort_by(f64::total_cmp);
            let usual = *before.get(before.len() / 2)?;
            if here < -5.0 * usual && here * (self.time_s[start - 1] - self.time_s[start - 2]) < -0.05 {
                start -= 1;
            } else {
                break;
            }
        }
        // Within the fall itself the usual rate is that of the fall: look back once more past it.
        (n - start >= 2 && start > 1).then(|| [self.time_s[start - 1] - self.first_s[0], self.value[start - 1]])
    }
}

/// Stretches in which the pressure nowhere falls, cut where gas is let in and where the clock starts again.
fn stretches(bins: &Bins, record: &Record<'_>) -> Vec<Stretch> {
    let n = bins.value.len();
    let restarted =
        |i: usize| i > 0 && record.restarts_s.iter().any(|at| bins.first_s[i - 1] < *at && *at <= bins.last_s[i]);
    let mut found = Vec::new();
    let (mut from, mut highest) = (0, 0);
    for i in 1..n {
        let end = if restarted(i) {
            Some((i - 1, WindowEnd::Restart))
        } else if bins.value[i] < bins.value[highest] - bins.tolerance(bins.value[highest]) {
            Some((highest, WindowEnd::Pumped))
        } else {
            None
        };
        if let Some((to, end)) = end {
            cut(bins, record, Stretch { from, to, end }, &mut found);
            from = i;
            highest = i;
        } else if bins.value[i] >= bins.value[highest] {
            highest = i;
        }
    }
    cut(bins, record, Stretch { from, to: n - 1, end: WindowEnd::RecordEnd }, &mut found);
    found
}

/// Cuts a stretch where gas is let in, and each part to where its rise begins.
fn cut(bins: &Bins, record: &Record<'_>, stretch: Stretch, found: &mut Vec<Stretch>) {
    let mut from = stretch.from;
    let mut at = from;
    while at < stretch.to {
        if lets_in(bins, record, from, at, stretch.to) {
            found.extend(trimmed(bins, Stretch { from, to: at, end: WindowEnd::Filled }));
            // The new part begins once the fast rise is over.
            from = at + 1;
            while from < stretch.to && bins.value[from + 1] > bins.value[from] + 3.0 * bins.noise {
                from += 1;
            }
            at = from;
        } else {
            at += 1;
        }
    }
    found.extend(trimmed(bins, Stretch { from, to: stretch.to, end: stretch.end }));
}

/// Whether gas is let in right after bin `at`.
fn lets_in(bins: &Bins, record: &Record<'_>, from: usize, at: usize, last: usize) -> bool {
    let after = (at + 3).min(last);
    let rise = bins.value[after] - bins.value[at];
    if rise < LET_IN * record.room_pressure_pa {
        return false;
    }
    let back = from.max(at.saturating_sub(200));
    if at - back < 3 {
        // Nothing before to compare with: the first stretch of a record may begin with the filling itself.
        return rise > 0.2 * record.room_pressure_pa;
    }
    let usual = (bins.value[at] - bins.value[back]).abs().max(bins.noise) / (bins.time_s[at] - bins.time_s[back]);
    // The jump must begin here, not a bin later.
    let next = bins.value[at + 1] - bins.value[at];
    next > 0.1 * rise && rise / (bins.time_s[after] - bins.time_s[at]) > FASTER * usual
}

/// The part of a stretch from where its rise begins: the end of pumping at the lowest pressure is not part of a hold.
fn trimmed(bins: &Bins, stretch: Stretch) -> Option<Stretch> {
    let part = bins.value.get(stretch.from..=stretch.to)?;
    let lowest = part.iter().copied().fold(f64::INFINITY, f64::min);
    let tail = &part[part.len().saturating_sub(5)..];
    let rise = tail.iter().sum::<f64>() / tail.len() as f64 - lowest;
    let low = |margin: f64| move |value: &f64| *value <= lowest + margin;
    let start = if rise > 12.0 * bins.noise {
        part.iter().rposition(low(2.0 * bins.noise + 0.01 * rise))?
    } else {
        // Within the noise no single reading shows where the rise begins.
        let first = part.iter().position(low(2.5 * bins.noise + 0.002 * lowest.abs()))?;
        let from = stretch.from + first;
        first + bend(&bins.time_s[from..=stretch.to], &bins.value[from..=stretch.to])
    };
    // The lowest readings were chosen for being low: the hold begins after them.
    let start = if start > 0 && start + 1 < part.len() { start + 1 } else { start };
    Some(Stretch { from: stretch.from + start, ..stretch })
}

/// Index at which values that stay level begin to rise: the line or slackening parabola after a level that fits best; 0 where no level before
/// the rise is seen.
fn bend(time_s: &[f64], value: &[f64]) -> usize {
    const PLACES: usize = 60;
    /// Least drop of the sum of squares over the variance: four standard deviations.
    const SEEN: f64 = 16.0;
    let size = value.len().div_ceil(400);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    let time: Vec<f64> = time_s.chunks(size).map(mean).collect();
    let value: Vec<f64> = value.chunks(size).map(mean).collect();
    let n = value.len();
    if n < 4 * FEWEST {
        return 0;
    }
    let span_s = time[n - 1] - time[0];
    let squares = |start: usize| -> Option<f64> {
        let since = |t: &f64| ((t - time[start]) / span_s).max(0.0);
        let line: Vec<Vec<f64>> = time.iter().map(|t| vec![1.0, since(t)]).collect();
        let parabola: Vec<Vec<f64>> = time.iter().map(|t| vec![1.0, since(t), since(t).powi(2)]).collect();
        let curved = fit_linear(&parabola, &value, None).ok()?;
        // Neither leak nor outgassing grows during a hold.
        let fit = if curved.coefficients[2] <= 0.0 { curved } else { fit_linear(&line, &value, None).ok()? };
        Some(fit.residual_sum_of_squares)
    };
    let Some(without) = squares(0) else { return 0 };
    let places = (1..PLACES).map(|place| place * (n - FEWEST) / PLACES).filter(|place| *place > 0);
    let best = places.filter_map(|place| Some((place, squares(place)?))).min_by(|a, b| a.1.total_cmp(&b.1));
    match best {
        Some((place, with)) if (without - with) * n as f64 > SEEN * with => place * size,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(time_s: &[f64], value: &[f64]) -> Result<Window, VacuumHoldError> {
        let pressure = Samples::new(time_s, value).unwrap();
        let record = Record { pressure, gas_temperature: None, room_pressure_pa: 1e5, restarts_s: &[] };
        find(&record).map(|found| found.window)
    }

    #[test]
    fn a_hold_between_pump_down_and_venting_is_found() {
        let time_s: Vec<f64> = (0..900).map(f64::from).collect();
        let value: Vec<f64> = time_s
            .iter()
            .map(|t| match *t {
                t if t < 200.0 => 20.0 + 1e5 * (-t / 15.0).exp(),
                t if t < 800.0 => 20.0 + 0.5 * (t - 200.0),
                t => (320.0 + 3000.0 * (t - 800.0)).min(1e5),
            })
            .collect();
        let window = found(&time_s, &value).unwrap();
        assert!((195.0..215.0).contains(&window.from_s), "{window:?}");
        assert!((795.0..=800.0).contains(&window.to_s), "{window:?}");
        assert_eq!(window.end, WindowEnd::Filled);
    }

    #[test]
    fn a_record_of_pumping_alone_is_no_hold() {
        let time_s: Vec<f64> = (0..300).map(f64::from).collect();
        let value: Vec<f64> = time_s.iter().map(|t| 1e5 * (-t / 20.0).exp() + 30.0 * (-t / 90.0).exp()).collect();
        let found = found(&time_s, &value);
        assert!(matches!(found, Err(VacuumHoldError::NotHeld { runs_away: None, .. })), "{found:?}");
    }
}
