//! Gas fed in, as a running total.

use crate::Samples;

/// How the gas that was fed in was logged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Feed<'a> {
    /// Volume flow, m³/s.
    Flow(Samples<'a>),
    /// Running total, m³.
    Total(Samples<'a>),
    /// Position of a valve, 0 shut to 1 open, and the flow through it when open, m³/s.
    Valve {
        /// Positions.
        position: Samples<'a>,
        /// Flow when open.
        flow_m3_per_s: f64,
    },
}

impl<'a> Feed<'a> {
    pub(super) fn samples(&self) -> Samples<'a> {
        match self {
            Self::Flow(samples) | Self::Total(samples) | Self::Valve { position: samples, .. } => *samples,
        }
    }

    /// Total fed in until each reading, m³ as metered, from zero at the first.
    pub(super) fn total(&self) -> Vec<f64> {
        let samples = self.samples();
        let (time, value) = (samples.time_s(), samples.value());
        let mut sum = 0.0;
        let mut total = Vec::with_capacity(value.len());
        total.push(0.0);
        for i in 1..value.len() {
            let step_s = time[i] - time[i - 1];
            sum += match self {
                Self::Flow(_) => 0.5 * (value[i] + value[i - 1]) * step_s,
                // A total that falls was reset: what it shows since then counts.
                Self::Total(_) if value[i] < value[i - 1] - 1e-9 => value[i].max(0.0),
                Self::Total(_) => value[i] - value[i - 1],
                // A position holds until the next is logged, which also serves logs of changes only.
                Self::Valve { flow_m3_per_s, .. } => value[i - 1] * step_s * flow_m3_per_s,
            };
            total.push(sum);
        }
        total
    }

    /// Times at which a pulse began, s; empty where gas flows all the time.
    pub(super) fn pulses(&self) -> Vec<f64> {
        let samples = self.samples();
        let (time, value) = (samples.time_s(), samples.value());
        let rates: Vec<f64> = match self {
            Self::Flow(_) | Self::Valve { .. } => value.to_vec(),
            Self::Total(_) => {
                let mut rates: Vec<f64> =
                    (1..value.len()).map(|i| (value[i] - value[i - 1]).max(0.0) / (time[i] - time[i - 1])).collect();
                rates.insert(0, rates.first().copied().unwrap_or(0.0));
                rates
            }
        };
        let highest = upper(&rates);
        // Gas that flows all the time does not come to rest between.
        let rest = rates.iter().filter(|rate| **rate < 0.1 * highest).count();
        if highest <= 0.0 || (rest as f64) < 0.2 * rates.len() as f64 {
            return Vec::new();
        }
        let mut pulses = Vec::new();
        let mut open = rates[0] > 0.1 * highest;
        for (i, rate) in rates.iter().enumerate().skip(1) {
            if !open && *rate > 0.5 * highest {
                pulses.push(time[i]);
                open = true;
            } else if *rate < 0.1 * highest {
                open = false;
            }
        }
        pulses
    }
}

/// What few values exceed: the 99.9th percentile.
fn upper(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    let at = (sorted.len() - 1) - sorted.len() / 1000;
    *sorted.select_nth_unstable_by(at, f64::total_cmp).1
}
