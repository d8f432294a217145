//! The log on even steps: one row a minute or more.

use super::log::{Log, Species, Trace};

/// Shortest step, s: what happens faster does not matter to a diagnosis of days.
const SHORTEST_STEP_S: f64 = 60.0;
/// Most rows: a year at a row every two and a half minutes.
const MOST_ROWS: f64 = 210_000.0;
/// Slow channels are held so long between readings, s.
const HOLD_S: f64 = 3600.0;
/// A fan that gives less than this share of its usual flow is off.
const OFF_FLOW: f64 = 0.2;

/// The log on even steps. Missing readings are NaN.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    /// Start of the log, s.
    pub(super) start_s: f64,
    /// Length of a step, h.
    pub(super) step_h: f64,
    /// Content, ppm, oxygen and water.
    pub(super) content: [Vec<f64>; 2],
    /// Whether the content is a censored reading.
    pub(super) censored: [Vec<bool>; 2],
    /// Mean of what the pressure lies below the room's, Pa; above counts as zero.
    pub(super) under_pressure: Vec<f64>,
    /// Gauge pressure, Pa.
    pub(super) gauge: Vec<f64>,
    /// Circulation flow.
    pub(super) flow: Vec<f64>,
    /// Make-up flow, m³/h.
    pub(super) makeup: Vec<f64>,
    /// Temperature, K.
    pub(super) temperature: Vec<f64>,
    /// Water in the air of the room, ppm.
    pub(super) room_water: Vec<f64>,
    /// What the purifier does.
    pub(super) state: Vec<State>,
    /// Whether that was logged, as a state or by the flow.
    pub(super) state_is_known: bool,
    /// Whether a transfer starts in the step, where transfers are logged.
    pub(super) transfer: Option<Vec<bool>>,
}

/// What the purifier does in a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum State {
    /// It runs.
    On,
    /// It stands still.
    Off,
    /// Switched in this step.
    Between,
}

impl Grid {
    /// `None` where neither oxygen nor water was logged over at least two steps.
    pub(super) fn new(log: &Log) -> Option<Self> {
        let traces: Vec<&Trace> = Species::BOTH.iter().filter_map(|species| log.species(*species)).collect();
        let start_s = traces.iter().filter_map(|trace| trace.time_s.first()).copied().reduce(f64::min)?;
        let end_s = traces.iter().filter_map(|trace| trace.time_s.last()).copied().reduce(f64::max)?;
        let interval_s = traces.iter().filter_map(|trace| trace.interval_s()).reduce(f64::min)?;
        let step_s = interval_s.max(SHORTEST_STEP_S).max((end_s - start_s) / MOST_ROWS);
        let rows = ((end_s - start_s) / step_s) as usize + 1;
        let bins = Bins { start_s, step_s, rows };
        let content = Species::BOTH.map(|species| log.species(species).map_or(bins.nothing(), |t| bins.mean(t, |v| v)));
        let censored = Species::BOTH.map(|species| bins.censored(log.species(species)));
        let held = |trace: &Option<Trace>, map: fn(f64) -> f64| match trace {
            Some(trace) => bins.held(trace, map, HOLD_S.max(3.0 * trace.interval_s().unwrap_or(0.0))),
            None => bins.nothing(),
        };
        let flow = held(&log.circulation_flow, |v| v);
        let state = states(log, &bins, &flow, &content);
        Some(Self {
            start_s,
            step_h: step_s / 3600.0,
            content,
            censored,
            under_pressure: held(&log.gauge_pressure_pa, |v| (-v).max(0.0)),
            gauge: held(&log.gauge_pressure_pa, |v| v),
            makeup: held(&log.makeup_flow_m3_per_h, |v| v.max(0.0)),
            temperature: held(&log.temperature_k, |v| v),
            room_water: held(&log.room_water_ppm, |v| v),
            state,
            state_is_known: log.purifier_on.is_some() || log.circulation_flow.is_some(),
            transfer: log.transfer.as_ref().map(|trace| bins.starts(trace)),
            flow,
        })
    }

    /// Number of steps.
    pub(super) fn len(&self) -> usize {
        self.state.len()
    }

    /// Middle of a step, h after the start.
    pub(super) fn time_h(&self, index: usize) -> f64 {
        (index as f64 + 0.5) * self.step_h
    }

    /// Length, h.
    pub(super) fn duration_h(&self) -> f64 {
        self.len() as f64 * self.step_h
    }
}

/// On or off, from the state channel, else from the flow, else from long even rises of the content.
fn states(log: &Log, bins: &Bins, flow: &[f64], content: &[Vec<f64>; 2]) -> Vec<State> {
    if let Some(trace) = log.purifier_on.as_ref().filter(|trace| !trace.time_s.is_empty()) {
        let share = bins.held(trace, |v| f64::from(u8::from(v >= 0.5)), f64::INFINITY);
        return share.iter().map(|share| state(*share)).collect();
    }
    if log.circulation_flow.is_none() {
        return rising(bins, content);
    }
    let mut known: Vec<f64> = flow.iter().copied().filter(|value| value.is_finite() && *value > 0.0).collect();
    let usual = super::robust::quantile_in_place(&mut known, 0.6);
    flow.iter().map(|value| if *value < OFF_FLOW * usual { State::Off } else { State::On }).collect()
}

/// Off where the content rises evenly for long: a purifier that runs would bend the rise within minutes. A floor that
/// creeps up over hours rises evenly too; but where a purifier that turns a box over some times an hour stops, the
/// content doubles within half an hour, since what comes in is the floor times that rate.
fn rising(bins: &Bins, content: &[Vec<f64>; 2]) -> Vec<State> {
    let mut states = vec![State::On; bins.rows];
    let reach = ((1800.0 / bins.step_s).ceil() as usize).max(6);
    for values in content {
        let known: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
        if known.len() < 2 * reach {
            continue;
        }
        let mut differences: Vec<f64> = known.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let noise = super::robust::deviation_from_absolute(&mut differences);
        let usual = super::robust::quantile_in_place(&mut known.clone(), 0.3).max(0.0);
        let mut index = 0;
        while index + reach < bins.rows {
            let window = &values[index..=index + reach];
            let (first, middle, last) = (window[0], window[reach / 2], window[reach]);
            let rise = last - first;
            let falls = window.windows(2).any(|pair| pair[0] - pair[1] > 5.0 * noise + 0.2 * rise);
            let even = middle - first > 0.3 * rise && last - middle > 0.3 * rise;
            let doubles = rise > first.max(0.0) || states[index] == State::Off;
            if rise > (12.0 * noise).max(0.7 * usual) && even && doubles && !falls {
                states[index + 1..=index + reach].fill(State::Off);
            }
            index += 1;
        }
    }
    states
}

fn state(share_on: f64) -> State {
    if share_on >= 0.99 || share_on.is_nan() {
        State::On
    } else if share_on <= 0.01 {
        State::Off
    } else {
        State::Between
    }
}

struct Bins {
    start_s: f64,
    step_s: f64,
    rows: usize,
}

impl Bins {
    fn nothing(&self) -> Vec<f64> {
        vec![f64::NAN; self.rows]
    }

    fn index(&self, time_s: f64) -> Option<usize> {
        let place = (time_s - self.start_s) / self.step_s;
        (place >= 0.0 && place < self.rows as f64).then_some(place as usize)
    }

    /// Means of the readings in each step.
    fn mean(&self, trace: &Trace, map: impl Fn(f64) -> f64) -> Vec<f64> {
        let mut sum = vec![0.0; self.rows];
        let mut count = vec![0.0; self.rows];
        for (time, value) in trace.time_s.iter().zip(&trace.value) {
            if let Some(index) = self.index(*time).filter(|_| value.is_finite()) {
                sum[index] += map(*value);
                count[index] += 1.0;
            }
        }
        sum.iter().zip(&count).map(|(sum, count)| sum / count).collect()
    }

    /// The same, each mean held over steps without reading for at most `hold_s`.
    fn held(&self, trace: &Trace, map: impl Fn(f64) -> f64, hold_s: f64) -> Vec<f64> {
        let mut values = self.mean(trace, &map);
        let most = if hold_s.is_finite() { (hold_s / self.step_s).ceil() as usize } else { usize::MAX };
        let before = trace.time_s.iter().zip(&trace.value).take_while(|(time, _)| **time < self.start_s).last();
        // A mean over a step in which the state changed is no state to hold; the last reading in it is.
        let mut last = before.map_or(f64::NAN, |(_, value)| map(*value));
        let mut age = 0_usize;
        let mut readings = trace.time_s.iter().zip(&trace.value).peekable();
        for (index, value) in values.iter_mut().enumerate() {
            let end_s = self.start_s + (index as f64 + 1.0) * self.step_s;
            let mut fresh = false;
            while let Some((_, reading)) = readings.next_if(|(time, _)| **time < end_s) {
                last = map(*reading);
                fresh = true;
            }
            age = if fresh { 0 } else { age.saturating_add(1) };
            if value.is_nan() && age <= most {
                *value = last;
            }
        }
        values
    }

    fn censored(&self, trace: Option<&Trace>) -> Vec<bool> {
        let mut censored = vec![false; self.rows];
        if let Some(trace) = trace {
            let below = trace.time_s.iter().enumerate().filter(|(index, _)| trace.is_below_limit(*index));
            for (_, time) in below {
                if let Some(bin) = self.index(*time) {
                    censored[bin] = true;
                }
            }
        }
        censored
    }

    /// Steps in which a state goes from 0 to 1; readings that are all events count each.
    fn starts(&self, trace: &Trace) -> Vec<bool> {
        let mut starts = vec![false; self.rows];
        let only_events = trace.value.iter().all(|value| *value >= 0.5);
        let mut before = 0.0;
        for (time, value) in trace.time_s.iter().zip(&trace.value) {
            if *value >= 0.5
                && (before < 0.5 || only_events)
                && let Some(index) = self.index(*time)
            {
                starts[index] = true;
            }
            before = *value;
        }
        starts
    }
}
