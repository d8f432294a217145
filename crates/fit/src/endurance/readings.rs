//! The readings that count: inside the window, with the purifier on, each with the time that it stands for.

use super::{EnduranceError, Settings};
use crate::input::InputError;
use crate::noise::scatter;
use crate::ppm_rise::{ReadingStatus, Trace};

/// Steps longer than so many usual ones are gaps: what happened in them is not known.
const GAP: f64 = 5.0;
const LEAST_READINGS: usize = 10;
const PPM: f64 = 1e6;

/// Readings with the purifier on.
#[derive(Debug, Clone, Default)]
pub(super) struct Readings {
    pub(super) time_s: Vec<f64>,
    /// ppm; of a censored reading its limit.
    pub(super) ppm: Vec<f64>,
    pub(super) status: Vec<ReadingStatus>,
    /// Time that each stands for, s.
    pub(super) weight_s: Vec<f64>,
    pub(super) cadence_s: f64,
    /// Longer steps are gaps, s.
    pub(super) gap_s: f64,
    /// Standard deviation of single readings, ppm.
    pub(super) noise_ppm: f64,
    pub(super) window_s: [f64; 2],
    /// Readings set aside because the purifier was off.
    pub(super) off_readings: usize,
    pub(super) off_s: f64,
    pub(super) gaps: usize,
    pub(super) gaps_s: f64,
}

impl Readings {
    pub(super) fn len(&self) -> usize {
        self.ppm.len()
    }

    pub(super) fn observed_s(&self) -> f64 {
        self.weight_s.iter().sum()
    }

    /// Readings with that status.
    pub(super) fn count(&self, status: ReadingStatus) -> usize {
        self.status.iter().filter(|s| **s == status).count()
    }
}

pub(super) fn gather(trace: &Trace<'_>, settings: &Settings) -> Result<Readings, EnduranceError> {
    let time = trace.samples.time_s();
    let record_s = [trace.samples.first_time_s(), trace.samples.last_time_s()];
    let window_s = settings.window_s.unwrap_or(record_s);
    let start = time.partition_point(|&t| t < window_s[0]);
    let end = time.partition_point(|&t| t <= window_s[1]);
    if start >= end {
        return Err(InputError::WindowOutsideRecord { window_s, record_s }.into());
    }
    let cadence_s = trace.samples.cadence_s();
    let gap_s = GAP * usual_step_s(&time[start..end]).max(cadence_s);
    let mut readings = Readings { cadence_s, gap_s, window_s: [time[start], time[end - 1]], ..Readings::default() };
    let mut off = settings.off_s.iter().peekable();
    let mut before_is_on = false;
    for index in start..end {
        while off.next_if(|stretch| stretch[1] <= time[index]).is_some() {}
        let is_off = off.peek().is_some_and(|stretch| stretch[0] <= time[index]);
        if is_off {
            readings.off_readings += 1;
        } else {
            readings.push(trace, index, before_is_on);
        }
        before_is_on = !is_off;
    }
    readings.off_s = overlap_s(&settings.off_s, readings.window_s);
    if readings.len() < LEAST_READINGS {
        return Err(EnduranceError::TooFewReadings { found: readings.len(), needed: LEAST_READINGS });
    }
    let measured: Vec<f64> = readings
        .ppm
        .iter()
        .zip(&readings.status)
        .filter(|(_, status)| **status == ReadingStatus::Measured)
        .map(|(value, _)| *value)
        .collect();
    readings.noise_ppm = scatter(&measured).max(PPM * trace.analyser.resolution / 12.0_f64.sqrt());
    readings.stand_in_below_limit();
    Ok(readings)
}

/// The step that nineteen in twenty do not exceed: a logger that writes changes alone, or slows down, has no gap for that.
fn usual_step_s(time_s: &[f64]) -> f64 {
    let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_unstable_by(f64::total_cmp);
    steps.get(steps.len() * 19 / 20).copied().unwrap_or(0.0)
}

impl Readings {
    /// What is below the limit lies, on the average of its noise, a little below it, where the level is near the limit;
    /// it is not followed further down than half the limit, where nothing is known.
    fn stand_in_below_limit(&mut self) {
        // Mean of the lower half of a normal distribution: √(2/π) standard deviations under its middle.
        let below = (2.0 / std::f64::consts::PI).sqrt() * self.noise_ppm;
        for (value, status) in self.ppm.iter_mut().zip(&self.status) {
            if *status == ReadingStatus::BelowLimit {
                *value = (*value - below).max(0.5 * *value);
            }
        }
    }

    /// Adds a reading; it shares the step to the one before, where both are on and there is no gap between.
    fn push(&mut self, trace: &Trace<'_>, index: usize, before_is_on: bool) {
        let (time, analyser) = (trace.samples.time_s(), &trace.analyser);
        let status = trace.status_of(index);
        let value = match status {
            ReadingStatus::Measured => trace.samples.value()[index],
            ReadingStatus::BelowLimit => analyser.reporting_limit.unwrap_or(trace.samples.value()[index]),
            ReadingStatus::AboveRange => analyser.range_top.unwrap_or(trace.samples.value()[index]),
        };
        let mut weight_s = 0.0;
        if before_is_on {
            let step_s = time[index] - time[index - 1];
            if step_s > self.gap_s {
                self.gaps += 1;
                self.gaps_s += step_s;
            } else if let Some(last) = self.weight_s.last_mut() {
                *last += 0.5 * step_s;
                weight_s = 0.5 * step_s;
            }
        }
        self.time_s.push(time[index]);
        self.ppm.push(PPM * value);
        self.status.push(status);
        self.weight_s.push(weight_s);
    }
}

fn overlap_s(stretches: &[[f64; 2]], window_s: [f64; 2]) -> f64 {
    stretches.iter().map(|[from, to]| (to.min(window_s[1]) - from.max(window_s[0])).max(0.0)).sum()
}
