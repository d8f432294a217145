//! Cycles in a pressure log: where the chamber was pumped, held, filled.

use crate::Samples;
use crate::vacuum_hold::noise_of;

/// An evacuation that was backfilled. Times in s on the record's axis, pressures absolute in Pa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// When the pumping began.
    pub pump_s: f64,
    /// When the pressure was lowest: the pump was shut off, or went on without effect.
    pub low_s: f64,
    /// From when on the pressure was as low as it got.
    pub low_from_s: f64,
    /// When gas was let in.
    pub fill_s: f64,
    /// When the filling was over.
    pub full_s: f64,
    /// When the next pumping began, or the record ended.
    pub end_s: f64,
    /// Lowest pressure.
    pub low_pa: f64,
    /// Pressure just before the filling.
    pub before_fill_pa: f64,
    /// Pressure after the filling.
    pub high_pa: f64,
    /// Readings behind the lowest pressure.
    pub low_readings: usize,
    /// Readings behind the pressure after the filling.
    pub high_readings: usize,
    /// Standard deviation of a reading at low pressure.
    pub noise_pa: f64,
    /// Whether enough readings at low pressure show their noise.
    pub(super) noise_seen: bool,
    /// Fall of the pressure that went unseen between the last reading under vacuum and the filling, at most: by the last
    /// fall between readings, and the ratio of the last two.
    pub(super) unseen_fall: Option<(f64, f64)>,
    /// Rise of the straight line through the readings from `low_from_s` to `fill_s`, Pa, and its standard uncertainty.
    pub(super) line_rise_pa: [f64; 2],
    /// Time of the pumping up to `low_from_s`, weighted with how far what leaked in then was thinned later on, s: through a capillary, through
    /// an orifice.
    pub(super) pumping_exposure_s: [f64; 2],
    /// Time of the filling, weighted with how far the pressure was below that of the room, s: likewise.
    pub(super) filling_exposure_s: [f64; 2],
}

/// Cycles and what else was seen.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Found {
    pub cycles: Vec<Cycle>,
    pub begins_evacuated: bool,
    pub not_backfilled: bool,
    pub partial_rises: usize,
    /// Transfers in the record, of which the last is in `cycles`.
    pub transfers: usize,
}

/// Least fall and rise of a cycle, over the room's pressure.
const SWING: f64 = 0.2;
/// A chamber counts as backfilled from this share of the room's pressure on; at the end of a record from the second.
const BACKFILLED: f64 = 0.5;
const BACKFILLED_AT_END: f64 = 0.8;
/// Width of the low end of a cycle, over the room's pressure.
const LOW: f64 = 0.03;
/// A pause that parts transfers: this long, and so many times the usual cycle.
const PAUSE_S: f64 = 7200.0;
const PAUSE_CYCLES: f64 = 5.0;

pub(super) fn find(pressure: Samples<'_>, room_pa: f64, resolution_pa: f64) -> Found {
    let value = pressure.value();
    let mut found = Found { transfers: 1, ..Found::default() };
    let mut lows = Vec::new();
    for turn in turns(value, SWING * room_pa) {
        match turn {
            Turn::Low(at) => lows.push((at, None)),
            Turn::High(at) => {
                if let Some((_, high)) = lows.last_mut() {
                    *high = Some(at);
                }
            }
        }
    }
    found.begins_evacuated = lows.first().is_some_and(|(low, _)| value[..=*low].iter().all(|p| *p < 0.5 * room_pa));
    let lows = merged(value, &lows, room_pa, &mut found);
    let mut start = 0;
    let mut cycles: Vec<Cycle> = Vec::new();
    for (index, &(low, high)) in lows.iter().enumerate() {
        let next = lows.get(index + 1).map(|next| next.0);
        cycles.push(cycle(pressure, [start, low, high], next, room_pa, resolution_pa));
        start = high;
    }
    last_transfer(&cycles, &mut found);
    found
}

/// A turning point.
enum Turn {
    Low(usize),
    High(usize),
}

/// Turning points between which the pressure moves by at least `swing`; single spikes do not count.
fn turns(value: &[f64], swing: f64) -> Vec<Turn> {
    let calm = |i: usize| -> f64 {
        if i == 0 || i + 1 >= value.len() {
            return value[i];
        }
        let (a, b, c) = (value[i - 1], value[i], value[i + 1]);
        // A turn of a single reading that reaches as deep as the swing may be a cycle sampled slowly; it is kept where
        // the neighbours do not agree with each other either.
        if (a - c).abs() < 0.05 * swing && (b - a).abs() < swing { a.max(b.min(c)).min(a.max(c)) } else { b }
    };
    let mut turns = Vec::new();
    let (mut lowest, mut highest) = (0, 0);
    let mut falling: Option<bool> = None;
    for i in 1..value.len() {
        let p = calm(i);
        if p < calm(lowest) {
            lowest = i;
        }
        if p >= calm(highest) {
            highest = i;
        }
        match falling {
            None if calm(highest) - p > swing => {
                falling = Some(true);
                lowest = i;
            }
            None | Some(true) if p - calm(lowest) > swing => {
                turns.push(Turn::Low(lowest));
                falling = Some(false);
                highest = i;
            }
            Some(false) if calm(highest) - p > swing => {
                turns.push(Turn::High(highest));
                falling = Some(true);
                lowest = i;
            }
            _ => {}
        }
    }
    match falling {
        Some(true) => turns.push(Turn::Low(lowest)),
        Some(false) => turns.push(Turn::High(highest)),
        None => {}
    }
    turns
}

/// Lows with the high after each; rises that are no backfill are passed over.
fn merged(value: &[f64], lows: &[(usize, Option<usize>)], room_pa: f64, found: &mut Found) -> Vec<(usize, usize)> {
    let mut cycles = Vec::new();
    let mut pending: Option<usize> = None;
    for (index, &(low, high)) in lows.iter().enumerate() {
        let low = pending.take().filter(|before| value[*before] < value[low]).unwrap_or(low);
        let is_last = index + 1 == lows.len();
        let needed = if is_last { BACKFILLED_AT_END } else { BACKFILLED } * room_pa;
        match high {
            Some(high) if value[high] >= needed => cycles.push((low, high)),
            Some(_) if !is_last => {
                found.partial_rises += 1;
                pending = Some(low);
            }
            _ => found.not_backfilled = true,
        }
    }
    cycles
}

/// All about one cycle; `start` is the high before it, `next` the low after it.
fn cycle(
    pressure: Samples<'_>,
    [start, low, high]: [usize; 3],
    next: Option<usize>,
    room_pa: f64,
    resolution_pa: f64,
) -> Cycle {
    let (time, value) = (pressure.time_s(), pressure.value());
    let near = value[low] + LOW * room_pa;
    let first = (start..=low).rev().take_while(|&i| value[i] <= near).last().unwrap_or(low);
    let last = (low..=high).take_while(|&i| value[i] <= near).last().unwrap_or(low);
    let noise_pa =
        noise_at(&value[first..=last]).max(if last - first < 4 { resolution_pa / 12.0_f64.sqrt() } else { 0.0 });
    let steep = (4.0 * noise_pa).max(5e-4 * room_pa).max(1.01 * resolution_pa);
    let fill = (low + 1..=last).rev().take_while(|&i| value[i] - value[i - 1] > steep).last().map_or(last, |i| i - 1);
    let ([low_from, low_at], low_pa, low_readings) =
        lowest(&value[first..=fill], noise_pa + 0.5 * resolution_pa + 1e-7 * room_pa);
    let (low_from, low_at) = (first + low_from, first + low_at);
    // Steps of the fall before are no noise of what follows.
    let noise_pa = if fill - low_from < 4 { noise_pa } else { noise_at(&value[low_from..=fill]) };
    let tail = fill.saturating_sub(9).max(low_at)..=fill;
    let before_fill_pa = end_of_line(&time[tail.clone()], &value[tail]).max(low_pa);
    // The highest reading belongs to a plateau, whose first and last reading bound the filling and the next pumping.
    let top = value[high] - (3.0 * noise_pa + resolution_pa).max(0.005 * room_pa);
    let until = next.unwrap_or(value.len() - 1);
    let full = (fill..=high).find(|&i| value[i] >= top).unwrap_or(high);
    let end = (high..=until).take_while(|&i| value[i] >= top).last().unwrap_or(high);
    let plateau: Vec<f64> = value[full..=end].iter().copied().filter(|p| *p >= top).collect();
    let high_pa = plateau.iter().sum::<f64>() / plateau.len().max(1) as f64;
    let pump = (start..=low).rev().find(|&i| value[i] >= 0.97 * value[start].max(value[first])).unwrap_or(start);
    let floor = low_pa.max(1e-4 * room_pa);
    let capillary = |p: f64| (1.0 - (p / room_pa).powi(2)).clamp(0.0, 1.0);
    // Choked up to about half of the room's pressure.
    let orifice = |p: f64| (2.0 * (1.0 - p / room_pa)).clamp(0.0, 1.0).sqrt();
    let slacks: [&dyn Fn(f64) -> f64; 2] = [&capillary, &orifice];
    let weigh = |from: usize, to: usize, of: &dyn Fn(f64) -> f64| -> f64 {
        (from..to).map(|i| 0.5 * (of(value[i]) + of(value[i + 1])) * (time[i + 1] - time[i])).sum()
    };
    Cycle {
        pump_s: time[pump],
        low_s: time[low_at],
        low_from_s: time[low_from],
        fill_s: time[fill],
        full_s: time[full],
        end_s: time[end],
        low_pa,
        before_fill_pa,
        high_pa,
        low_readings,
        high_readings: plateau.len(),
        noise_pa,
        noise_seen: fill - low_from >= 4,
        unseen_fall: unseen_fall(&value[pump..=fill], low_at == fill, 3.0 * noise_pa + resolution_pa),
        line_rise_pa: line_rise(&time[low_from..=fill], &value[low_from..=fill], noise_pa),
        pumping_exposure_s: slacks.map(|slack| weigh(pump, low_from.max(pump), &|p| slack(p) * floor / p.max(floor))),
        filling_exposure_s: slacks.map(|slack| weigh(fill, end, slack)),
    }
}

/// Rise of the straight line through readings from the first to the last, and its standard uncertainty.
fn line_rise(time_s: &[f64], value: &[f64], noise: f64) -> [f64; 2] {
    let n = value.len();
    if n < 3 {
        return [value[n - 1] - value[0], noise * std::f64::consts::SQRT_2];
    }
    let rise = 2.0 * (end_of_line(time_s, value) - value.iter().sum::<f64>() / n as f64);
    [rise, noise * (12.0 / n as f64).sqrt()]
}

/// Value of the straight line through readings at the last of them.
fn end_of_line(time_s: &[f64], value: &[f64]) -> f64 {
    let n = value.len() as f64;
    let mean = |of: &[f64]| of.iter().sum::<f64>() / n;
    let (middle_s, level) = (mean(time_s), mean(value));
    let moments = time_s.iter().zip(value).fold([0.0; 2], |[tt, tv], (t, v)| {
        let since = t - middle_s;
        [tt + since * since, tv + since * (v - level)]
    });
    if moments[0] > 0.0 { level + moments[1] / moments[0] * (time_s[time_s.len() - 1] - middle_s) } else { level }
}

/// Noise of readings that follow a smooth course.
fn noise_at(values: &[f64]) -> f64 {
    if values.len() < 5 { 0.0 } else { noise_of(values) }
}

/// First and last, mean and number of the readings about the lowest of a running mean.
fn lowest(values: &[f64], margin: f64) -> ([usize; 2], f64, usize) {
    let reach = (values.len() / 4).min(4);
    let smooth = |i: usize| {
        let part = &values[i.saturating_sub(reach)..(i + reach + 1).min(values.len())];
        part.iter().sum::<f64>() / part.len() as f64
    };
    let smoothed: Vec<f64> = (0..values.len()).map(smooth).collect();
    let at = (0..values.len()).min_by(|a, b| smoothed[*a].total_cmp(&smoothed[*b])).unwrap_or(0);
    let near = |i: &usize| smoothed[*i] <= smoothed[at] + margin;
    let from = (0..=at).rev().take_while(near).last().unwrap_or(at);
    let to = (at..values.len()).take_while(near).last().unwrap_or(at);
    let part = &values[from..=to];
    // Isolation began with the last reading that is still low.
    ([from, to], part.iter().sum::<f64>() / part.len() as f64, part.len())
}

/// The last fall between readings and its ratio to the one before, where the pressure was still falling at the end.
fn unseen_fall(values: &[f64], lowest_at_end: bool, margin: f64) -> Option<(f64, f64)> {
    let [.., before, at, last] = values else { return None };
    let (earlier, fall) = (before - at, at - last);
    (lowest_at_end && fall > margin).then(|| (fall, (fall / earlier.max(1e-9)).clamp(0.02, 0.95)))
}

/// Keeps the cycles after the last long pause.
fn last_transfer(cycles: &[Cycle], found: &mut Found) {
    let mut durations: Vec<f64> = cycles.iter().map(|cycle| cycle.full_s - cycle.pump_s).collect();
    durations.sort_by(f64::total_cmp);
    let usual = durations.get(durations.len() / 2).copied().unwrap_or(0.0);
    let pauses = |pair: &[Cycle]| pair[1].pump_s - pair[0].full_s > PAUSE_S.max(PAUSE_CYCLES * usual);
    let from = cycles.windows(2).rposition(pauses).map_or(0, |at| at + 1);
    found.transfers = 1 + cycles.windows(2).filter(|pair| pauses(pair)).count();
    found.cycles = cycles[from..].to_vec();
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pressure of cycles of 100 s pumping (time constant 15 s), `held` s hold, 20 s filling, 30 s wait.
    fn log(cycles: usize, held: usize, cadence: usize) -> (Vec<f64>, Vec<f64>) {
        let mut value = vec![1e5; 20];
        for _ in 0..cycles {
            value.extend((1..=100).map(|t| 500.0 + 99_500.0 * (-f64::from(t) / 15.0).exp()));
            value.extend((0..held).map(|t| 630.0 + 0.2 * t as f64));
            value.extend((1..=20).map(|t| 630.0 + 4968.5 * f64::from(t)));
            value.extend([1e5; 30]);
        }
        let time = (0..value.len()).step_by(cadence).map(|t| t as f64).collect();
        (time, value.into_iter().step_by(cadence).collect())
    }

    #[test]
    fn every_backfilled_evacuation_is_a_cycle() {
        for (cycles, held, cadence) in [(1, 60, 1), (3, 120, 1), (3, 120, 10), (4, 0, 1)] {
            let (time, value) = log(cycles, held, cadence);
            let found = find(Samples::new(&time, &value).unwrap(), 1e5, 0.0);
            assert_eq!(found.cycles.len(), cycles, "held {held} s, every {cadence} s");
            let cycle = found.cycles[0];
            assert!((cycle.low_pa - 630.0).abs() < 40.0 && (cycle.high_pa - 1e5).abs() < 600.0, "{cycle:?}");
        }
    }

    #[test]
    fn an_evacuation_at_the_end_does_not_count() {
        let (mut time, mut value) = log(2, 60, 1);
        let end = time[time.len() - 1];
        time.extend((1..60).map(|t| end + f64::from(t)));
        value.extend((1..60).map(|t| 1e5 * (-f64::from(t) / 15.0).exp()));
        let found = find(Samples::new(&time, &value).unwrap(), 1e5, 0.0);
        assert!(found.cycles.len() == 2 && found.not_backfilled);
    }
}
