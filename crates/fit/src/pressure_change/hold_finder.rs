//! Finds the hold in a record: after pumping, before venting, with passing disturbances marked.
//!
//! Rates of change decide. Pumping and venting move the pressure by a good part of its level within two minutes, which
//! neither leak nor weather nor air conditioning does; a hand in a glove or a valve makes a jump between two readings
//! that stands far out of the other differences.

use super::join::Joined;
use super::{Event, EventKind, PressureChangeError, Record, Settings, Window, WindowChoice, WindowEnd, WindowStart};
use crate::input::InputError;
use crate::noise::without_spikes;
use std::ops::Range;

/// What was found.
pub(crate) struct Found {
    pub(crate) window: Window,
    /// Joined readings in the window.
    pub(crate) range: Range<usize>,
    /// Which joined readings are used.
    pub(crate) keep: Vec<bool>,
    /// Which are no spikes, passing disturbances included: the leak flowed at these pressures too.
    pub(crate) sound: Vec<bool>,
    pub(crate) events: Vec<Event>,
    /// Times of steps that are to be modelled, in s.
    pub(crate) steps_s: Vec<f64>,
}

/// Time in which pumping or venting shows, in s, and the share of the level that it moves at least.
const LARGE_CHANGE_S: f64 = 120.0;
const LARGE_CHANGE_SHARE: f64 = 0.5;
/// Below this share of the level the enclosure counts as vented.
const VENTED_SHARE: f64 = 0.15;
/// Venting leaves less than this share of a pressure that was at least this share of the level.
const LEFT_SHARE: f64 = 0.15;
/// Wait after pumping in s: the first rush of heat is not the same everywhere in the gas.
const FIRST_SETTLING_S: f64 = 60.0;
/// A jump stands this many robust standard deviations out of the differences.
const JUMP_FACTOR: f64 = 10.0;
/// Jumps that cancel within this time are one passing disturbance, in s.
const PASSING_S: f64 = 900.0;
/// Most steps that are modelled; with more the longest stretch between them is taken.
const MOST_STEPS: usize = 6;

pub(crate) fn find(record: &Record<'_>, settings: &Settings, joined: &Joined) -> Result<Found, PressureChangeError> {
    let inside = record.inside.samples();
    if joined.time_s.is_empty() {
        return Err(PressureChangeError::BarometerDoesNotCover {
            needed_s: [inside.first_time_s(), inside.last_time_s()],
            found_s: room_span(record),
        });
    }
    let mut keep = without_spikes(&joined.difference_pa, settings.gauge.resolution);
    let room_keep = without_spikes(&joined.room_pa, settings.barometer.resolution);
    keep.iter_mut().zip(&room_keep).for_each(|(k, r)| *k &= r);
    let mut window = match settings.window {
        WindowChoice::Set { from_s, to_s } => {
            if !(from_s < to_s && from_s < inside.last_time_s() && to_s > inside.first_time_s()) {
                return Err(InputError::WindowOutsideRecord {
                    window_s: [from_s, to_s],
                    record_s: [inside.first_time_s(), inside.last_time_s()],
                }
                .into());
            }
            Window { from_s, to_s, start: WindowStart::Set, end: WindowEnd::Set }
        }
        WindowChoice::Auto => {
            let mut hold = longest_hold(&Coarse::new(joined, &keep, 0..joined.time_s.len(), 5.0))?;
            // Centres of bins stand for whole bins at the ends of the record.
            hold.from_s = hold.from_s.max(joined.time_s[0]);
            hold.to_s = hold.to_s.min(joined.time_s[joined.time_s.len() - 1]);
            hold
        }
    };
    let mut range = joined.range(window.from_s, window.to_s);
    let mut jumps = jumps(&Coarse::new(joined, &keep, range.clone(), 10.0), settings.gauge.resolution);
    if settings.window == WindowChoice::Auto && steps(&jumps).len() > MOST_STEPS {
        shorten(&mut window, &steps(&jumps));
        range = joined.range(window.from_s, window.to_s);
        jumps.retain(|jump| jump.from_s >= window.from_s && jump.to_s <= window.to_s);
    }
    let sound = keep.clone();
    let mut events = Vec::new();
    spike_events(record, joined, &range, &keep, &room_keep, &mut events);
    gap_events(record, &window, &mut events);
    for jump in &jumps {
        for index in joined.range(jump.from_s, jump.to_s) {
            // The readings while it moved belong to neither side.
            keep[index] &= joined.time_s[index] <= jump.from_s || joined.time_s[index] >= jump.to_s;
        }
        events.push(jump.clone());
    }
    events.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let mut steps_s = steps(&jumps);
    steps_s.truncate(MOST_STEPS);
    Ok(Found { window, range, keep, sound, events, steps_s })
}

fn room_span(record: &Record<'_>) -> [f64; 2] {
    match record.room {
        super::RoomPressure::Logged(samples) => [samples.first_time_s(), samples.last_time_s()],
        super::RoomPressure::Stated(_) => [f64::NEG_INFINITY, f64::INFINITY],
    }
}

/// Pressure difference averaged over bins that are long enough for a hand to move.
struct Coarse {
    time_s: Vec<f64>,
    difference_pa: Vec<f64>,
    /// Time between the bins in s.
    step_s: f64,
}

impl Coarse {
    fn new(joined: &Joined, keep: &[bool], range: Range<usize>, least_bin_s: f64) -> Self {
        let mut out = Self { time_s: Vec::new(), difference_pa: Vec::new(), step_s: 0.0 };
        let Some((first, last)) = joined.time_s.get(range.start).zip(joined.time_s.get(range.end.wrapping_sub(1)))
        else {
            return out;
        };
        // A short record is looked at more closely.
        let bin_s = least_bin_s.min((last - first) / 100.0);
        let (mut sum, mut time, mut count, mut bin) = (0.0, 0.0, 0.0, -1.0);
        for index in range {
            if !keep[index] {
                continue;
            }
            let this = ((joined.time_s[index] - first) / bin_s.max(1e-9)).floor();
            if this > bin && count > 0.0 {
                out.time_s.push(time / count);
                out.difference_pa.push(sum / count);
                (sum, time, count) = (0.0, 0.0, 0.0);
            }
            bin = this;
            sum += joined.difference_pa[index];
            time += joined.time_s[index];
            count += 1.0;
        }
        if count > 0.0 {
            out.time_s.push(time / count);
            out.difference_pa.push(sum / count);
        }
        out.step_s = super::sensor::median_step(&out.time_s);
        out
    }

    fn len(&self) -> usize {
        self.time_s.len()
    }
}

/// The longest stretch at pressure between large changes.
fn longest_hold(coarse: &Coarse) -> Result<Window, PressureChangeError> {
    let magnitude: Vec<f64> = coarse.difference_pa.iter().map(|d| d.abs()).collect();
    let level = quantile(&magnitude, 0.9);
    let largest = magnitude.iter().copied().fold(0.0, f64::max);
    if coarse.len() < 4 {
        return Err(PressureChangeError::TooFewReadings { found: coarse.len(), needed: super::LEAST_READINGS });
    }
    if level <= 0.0 {
        return Err(PressureChangeError::NoHoldFound { largest_difference_pa: largest });
    }
    // A record that was mostly vented, or whose leak let the pressure go, has its level at the top; spikes are out.
    let level = level.max(0.8 * largest);
    let breaks = large_changes(coarse, level);
    let mut best: Option<Window> = None;
    let mut start = (0, WindowStart::RecordStart);
    let last = coarse.len() - 1;
    for change in breaks.iter().map(Some).chain([None]) {
        let (end, why) = match change {
            Some(change) => (change.start, WindowEnd::BeforeVenting),
            None => (last, WindowEnd::RecordEnd),
        };
        if end > start.0 + 3 && !at_pressure(&magnitude[start.0..=end], level) {
            start = slowly_pumped(coarse, &magnitude, start, end, level);
        }
        if end > start.0 + 3 && at_pressure(&magnitude[start.0..=end], level) {
            let (from, to) = (edge_start(coarse, start), coarse.time_s[end]);
            let window = Window { from_s: from, to_s: to, start: start.1, end: why };
            if to > from && best.as_ref().is_none_or(|b| to - from > b.to_s - b.from_s) {
                best = Some(window);
            }
        }
        if let Some(change) = change {
            start = (change.end, WindowStart::AfterPumping);
        }
    }
    let mut window = best.ok_or(PressureChangeError::NoHoldFound { largest_difference_pa: largest })?;
    if window.start == WindowStart::RecordStart {
        window.from_s = coarse.time_s[0] - coarse.step_s;
    }
    if window.end == WindowEnd::RecordEnd {
        window.to_s = coarse.time_s[last] + coarse.step_s;
    }
    Ok(window)
}

/// A stretch is a hold when it begins at pressure; where it ends a leak may have taken the pressure away.
fn at_pressure(magnitude: &[f64], level: f64) -> bool {
    let head = &magnitude[..(magnitude.len() / 10).clamp(1, 20)];
    head.iter().sum::<f64>() / head.len() as f64 > VENTED_SHARE * level
}

/// A stretch that begins vented may have been pumped slowly: the hold begins when the level is reached and stays.
fn slowly_pumped(
    coarse: &Coarse,
    magnitude: &[f64],
    start: (usize, WindowStart),
    end: usize,
    level: f64,
) -> (usize, WindowStart) {
    let rises = |from: usize| {
        let until = coarse.time_s[from] + 2.0 * LARGE_CHANGE_S;
        (from + 1..=end)
            .take_while(|&i| coarse.time_s[i] <= until)
            .any(|i| magnitude[i] > magnitude[from] + 0.02 * level)
    };
    match (start.0..=end).find(|&i| magnitude[i] > 0.7 * level && !rises(i)) {
        Some(index) => (index, WindowStart::AfterPumping),
        None => start,
    }
}

fn edge_start(coarse: &Coarse, (index, why): (usize, WindowStart)) -> f64 {
    match why {
        WindowStart::AfterPumping => coarse.time_s[index] + FIRST_SETTLING_S.min(0.02 * span(coarse)),
        _ => coarse.time_s[index],
    }
}

fn span(coarse: &Coarse) -> f64 {
    coarse.time_s[coarse.len() - 1] - coarse.time_s[0]
}

/// Stretches of pumping and venting: from the last bin before to the first bin after.
fn large_changes(coarse: &Coarse, level: f64) -> Vec<Range<usize>> {
    let width_s = LARGE_CHANGE_S.min(span(coarse) / 20.0);
    let n = coarse.len();
    let mut ahead = 0;
    let mut change = vec![0.0; n];
    let mut lets_go = vec![false; n];
    for i in 0..n {
        while ahead + 1 < n && coarse.time_s[ahead + 1] - coarse.time_s[i] <= width_s {
            ahead += 1;
        }
        // At least one step ahead, however coarse the cadence.
        let to = ahead.max((i + 1).min(n - 1));
        let [here, there] = [i, to].map(|i| coarse.difference_pa[i]);
        change[i] = (there - here).abs();
        // Venting takes all that a leak and the weather have left, however little.
        lets_go[i] = here.abs() > LEFT_SHARE * level && there.abs() < LEFT_SHARE * here.abs();
    }
    let usual = quantile(&change, 0.5);
    let limit = (LARGE_CHANGE_SHARE * level).max(4.0 * usual);
    let is_large = |i: usize| change[i] > limit || lets_go[i] && change[i] > 8.0 * usual;
    let mut out: Vec<Range<usize>> = Vec::new();
    let mut i = 0;
    while i < n {
        if !is_large(i) {
            i += 1;
            continue;
        }
        let first = i;
        while i < n && is_large(i) {
            i += 1;
        }
        let mut end = i;
        while end + 1 < n && coarse.time_s[end] - coarse.time_s[i.min(n - 1)] < width_s {
            end += 1;
        }
        let tight = tightened(coarse, first..end.min(n - 1));
        match out.last_mut() {
            Some(previous) if previous.end >= tight.start => previous.end = tight.end.max(previous.end),
            _ => out.push(tight),
        }
    }
    out
}

/// Narrows a stretch to where the pressure really moves: steps above a tenth of the largest one in it.
fn tightened(coarse: &Coarse, range: Range<usize>) -> Range<usize> {
    let step = |i: usize| (coarse.difference_pa[i + 1] - coarse.difference_pa[i]).abs();
    let largest = range.clone().map(step).fold(0.0, f64::max);
    let moving = |i: &usize| step(*i) > 0.1 * largest;
    let first = range.clone().find(moving).unwrap_or(range.start);
    let last = range.clone().rev().find(moving).unwrap_or(range.end);
    first..(last + 1).min(coarse.len() - 1)
}

/// Jumps in the hold, joined to steps and passing disturbances.
fn jumps(coarse: &Coarse, resolution: f64) -> Vec<Event> {
    let n = coarse.len();
    if n < 12 {
        return Vec::new();
    }
    let difference: Vec<f64> = coarse.difference_pa.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let magnitude: Vec<f64> = difference.iter().map(|d| d.abs()).collect();
    let level = coarse.difference_pa.iter().map(|d| d.abs()).sum::<f64>() / n as f64;
    // Half the differences lie below 0.67 standard deviations; coarse steps set a floor.
    let scale = (quantile(&magnitude, 0.5) / 0.674).max(resolution / 3.0);
    let limit = (JUMP_FACTOR * scale).max(3.0 * resolution).max(0.005 * level);
    let mut found: Vec<Event> = Vec::new();
    let mut i = 0;
    while i < difference.len() {
        let over_gap = coarse.time_s[i + 1] - coarse.time_s[i] > 3.0 * coarse.step_s;
        if magnitude[i] <= limit || over_gap || (difference[i] - local_median(&difference, i)).abs() <= limit {
            i += 1;
            continue;
        }
        let first = i;
        let mut size = 0.0;
        // A movement may spread over a few bins.
        while i < difference.len() && magnitude[i] > 0.3 * limit && difference[i] * difference[first] > 0.0 {
            size += difference[i];
            i += 1;
        }
        found.push(Event { from_s: coarse.time_s[first], to_s: coarse.time_s[i], size, kind: EventKind::Step });
    }
    merged(found)
}

/// Joins jumps that cancel: a hand that came and went.
fn merged(jumps: Vec<Event>) -> Vec<Event> {
    let mut out: Vec<Event> = Vec::new();
    for jump in jumps {
        if let Some(last) = out.last_mut() {
            let near = jump.from_s - last.to_s < PASSING_S && last.kind == EventKind::Step;
            let left = last.size + jump.size;
            if near && left.abs() < 0.3 * last.size.abs().max(jump.size.abs()) {
                last.to_s = jump.to_s;
                last.kind = EventKind::GlovePull;
                continue;
            }
        }
        out.push(jump);
    }
    out
}

fn steps(events: &[Event]) -> Vec<f64> {
    events.iter().filter(|e| e.kind == EventKind::Step).map(|e| 0.5 * (e.from_s + e.to_s)).collect()
}

/// Takes the longest stretch between steps.
fn shorten(window: &mut Window, steps_s: &[f64]) {
    let mut edges = vec![window.from_s];
    edges.extend_from_slice(steps_s);
    edges.push(window.to_s);
    let longest = (0..edges.len() - 1).max_by(|a, b| (edges[a + 1] - edges[*a]).total_cmp(&(edges[b + 1] - edges[*b])));
    let Some(i) = longest else { return };
    if i > 0 {
        window.from_s = edges[i] + 2.0 * FIRST_SETTLING_S;
        window.start = WindowStart::AfterDisturbance;
    }
    if i + 2 < edges.len() {
        window.to_s = edges[i + 1] - FIRST_SETTLING_S;
        window.end = WindowEnd::BeforeDisturbance;
    }
}

fn spike_events(
    record: &Record<'_>,
    joined: &Joined,
    range: &Range<usize>,
    keep: &[bool],
    room_keep: &[bool],
    events: &mut Vec<Event>,
) {
    for index in range.clone() {
        if !keep[index] {
            let (channel, values) = if room_keep[index] {
                ("inside pressure", &joined.difference_pa)
            } else {
                ("room pressure", &joined.room_pa)
            };
            events.push(outlier(channel, joined.time_s[index], values, index));
        }
    }
    let Some((from_s, to_s)) = joined.time_s.get(range.start).zip(joined.time_s.get(range.end.wrapping_sub(1))) else {
        return;
    };
    for thermometer in &record.thermometers {
        let Some(held) = thermometer.samples.between(*from_s, *to_s) else { continue };
        let keep = without_spikes(held.value(), thermometer.instrument.resolution);
        for (index, _) in keep.iter().enumerate().filter(|(_, keep)| !**keep) {
            events.push(outlier(&thermometer.name, held.time_s()[index], held.value(), index));
        }
    }
}

fn outlier(channel: &str, time_s: f64, values: &[f64], index: usize) -> Event {
    let before = values[index.saturating_sub(1)];
    let after = values[(index + 1).min(values.len() - 1)];
    Event {
        from_s: time_s,
        to_s: time_s,
        size: values[index] - 0.5 * (before + after),
        kind: EventKind::Outlier { channel: channel.to_owned() },
    }
}

fn gap_events(record: &Record<'_>, window: &Window, events: &mut Vec<Event>) {
    let mut channels = vec![("inside pressure".to_owned(), record.inside.samples())];
    if let super::RoomPressure::Logged(samples) = record.room {
        channels.push(("room pressure".to_owned(), samples));
    }
    channels.extend(record.thermometers.iter().map(|t| (t.name.clone(), t.samples)));
    for (channel, samples) in channels {
        let longest_s = super::GAP_FACTOR * samples.cadence_s();
        for pair in samples.time_s().windows(2) {
            if pair[1] - pair[0] > longest_s && pair[1] > window.from_s && pair[0] < window.to_s {
                events.push(Event {
                    from_s: pair[0],
                    to_s: pair[1],
                    size: pair[1] - pair[0],
                    kind: EventKind::Gap { channel: channel.clone() },
                });
            }
        }
    }
}

/// Median of the 21 differences around one.
fn local_median(values: &[f64], centre: usize) -> f64 {
    let from = centre.saturating_sub(10);
    let to = (centre + 11).min(values.len());
    quantile(&values[from..to], 0.5)
}

fn quantile(values: &[f64], probability: f64) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let mut sorted = values.to_vec();
    let at = ((values.len() - 1) as f64 * probability).round() as usize;
    *sorted.select_nth_unstable_by(at, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use crate::pressure_change::{EventKind, WindowEnd, WindowStart};
    use crate::simulate::{Disturbance, Hold, Room, evaluate_simulated};

    #[test]
    fn a_clean_hold_is_used_from_end_to_end() {
        let hold = Hold::ordinary(Room::ROUGH, 3600.0, 5e-4);
        for seed in 1..20 {
            let result = evaluate_simulated(&hold.simulate(seed), &hold, &hold.settings()).unwrap();
            assert_eq!(result.rows.used, result.rows.read, "seed {seed}: {:?}", result.events);
        }
    }

    #[test]
    fn pumping_is_cut_off_and_little_else() {
        let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
        hold.with_pumping = true;
        for seed in 1..20 {
            let simulated = hold.simulate(seed);
            let result = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap();
            let late = result.window.from_s - simulated.truth.hold_start_s;
            assert_eq!(result.window.start, WindowStart::AfterPumping);
            assert_eq!(result.window.end, WindowEnd::RecordEnd);
            assert!((0.0..=180.0).contains(&late), "seed {seed}: {late} s after pumping");
        }
    }

    #[test]
    fn slow_pumping_is_cut_off_too() {
        let hold = Hold::ordinary(Room::ORDINARY, 7200.0, 5e-4);
        let mut simulated = hold.simulate(3);
        // Ten minutes at rest and fifteen of pumping in front.
        let (rest, pumping) = (60_usize, 90_usize);
        let first = (simulated.gauge_pa[0], simulated.room_pa[0], simulated.thermometers_k[0][0]);
        let ramp: Vec<f64> =
            (0..rest + pumping).map(|i| first.0 * i.saturating_sub(rest) as f64 / pumping as f64).collect();
        let ahead = ramp.len();
        simulated.gauge_pa.splice(0..0, ramp);
        simulated.room_pa.splice(0..0, vec![first.1; ahead]);
        simulated.thermometers_k[0].splice(0..0, vec![first.2; ahead]);
        simulated.time_s = (0..simulated.gauge_pa.len()).map(|i| i as f64 * 10.0).collect();
        let result = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap();
        let late = result.window.from_s - ahead as f64 * 10.0;
        assert!((-30.0..=300.0).contains(&late), "{late} s after pumping");
    }

    #[test]
    fn a_hand_in_a_glove_is_found_and_set_aside() {
        let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
        hold.disturbances = vec![Disturbance::GlovePull { relative: 1e-3, from_s: 1500.0, to_s: 1680.0 }];
        for seed in 1..20 {
            let result = evaluate_simulated(&hold.simulate(seed), &hold, &hold.settings()).unwrap();
            let pulls: Vec<_> = result.events.iter().filter(|e| e.kind == EventKind::GlovePull).collect();
            assert_eq!(pulls.len(), 1, "seed {seed}: {:?}", result.events);
            assert!((pulls[0].size.abs() - 100.0).abs() < 30.0);
        }
    }

    #[test]
    fn a_valve_step_is_modelled_and_not_averaged_into_the_leak() {
        let mut hold = Hold::ordinary(Room::ORDINARY, 3600.0, 5e-4);
        hold.disturbances = vec![Disturbance::AmountStep { relative: 4e-4, at_s: 1800.0 }];
        for seed in 1..20 {
            let simulated = hold.simulate(seed);
            let result = evaluate_simulated(&simulated, &hold, &hold.settings()).unwrap();
            assert!(result.events.iter().any(|e| e.kind == EventKind::Step), "seed {seed}");
            let truth = simulated.truth.hourly_leak_rate(-500.0);
            assert!((result.hourly_leak_rate.value / truth - 1.0).abs() < 0.2, "seed {seed}");
        }
    }
}
