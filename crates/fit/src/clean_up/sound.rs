//! A record without its readings that stand out alone.

use crate::Samples;
use crate::noise;
use crate::ppm_rise::{ReadingStatus, Trace};

/// What is left of a record.
pub(crate) struct Sound {
    time_s: Vec<f64>,
    value: Vec<f64>,
    status: Vec<ReadingStatus>,
    /// When the readings were taken that stand out alone, s.
    pub spikes_s: Vec<f64>,
}

impl Sound {
    /// `None` where no reading stands out alone. Censored readings and their neighbours never do.
    pub(crate) fn of(trace: &Trace<'_>) -> Option<Self> {
        let (time, value) = (trace.samples.time_s(), trace.samples.value());
        let measured = |i: usize| trace.status_of(i) == ReadingStatus::Measured;
        let mut spikes = noise::spikes(value, trace.analyser.resolution);
        spikes.retain(|i| (i - 1..=i + 1).all(measured));
        if spikes.is_empty() {
            return None;
        }
        let kept = || (0..value.len()).filter(|i| spikes.binary_search(i).is_err());
        Some(Self {
            time_s: kept().map(|i| time[i]).collect(),
            value: kept().map(|i| value[i]).collect(),
            status: if trace.status.is_empty() { Vec::new() } else { kept().map(|i| trace.status[i]).collect() },
            spikes_s: spikes.iter().map(|i| time[*i]).collect(),
        })
    }

    pub(crate) fn trace(&self, of: &Trace<'_>) -> Option<Trace<'_>> {
        let samples = Samples::new(&self.time_s, &self.value).ok()?;
        Some(Trace { samples, status: &self.status, analyser: of.analyser })
    }
}
