//! A record without its single readings that stand out.

use crate::Samples;
use crate::noise;
use crate::ppm_rise::{ReadingStatus, Trace};

/// A record rid of spikes.
pub(crate) struct Sound<'a> {
    whole: &'a Trace<'a>,
    /// What is left, where there are spikes: times in s, values, statuses where the record has any.
    left: Option<(Vec<f64>, Vec<f64>, Vec<ReadingStatus>)>,
    /// When the spikes were read, s.
    pub spikes_s: Vec<f64>,
}

impl<'a> Sound<'a> {
    /// Censored readings and their neighbours are never spikes.
    pub(crate) fn of(whole: &'a Trace<'a>) -> Self {
        let (time, value) = (whole.samples.time_s(), whole.samples.value());
        let measured = |i: usize| whole.status_of(i) == ReadingStatus::Measured;
        let mut spikes = noise::spikes(value, whole.analyser.resolution);
        spikes.retain(|i| (i - 1..=i + 1).all(measured));
        let kept: Vec<usize> = (0..value.len()).filter(|i| spikes.binary_search(i).is_err()).collect();
        let left = (!spikes.is_empty()).then(|| {
            let status = kept.iter().filter_map(|i| whole.status.get(*i).copied()).collect();
            (kept.iter().map(|i| time[*i]).collect(), kept.iter().map(|i| value[*i]).collect(), status)
        });
        Self { whole, left, spikes_s: spikes.iter().map(|i| time[*i]).collect() }
    }

    pub(crate) fn trace(&self) -> Trace<'_> {
        let left = self.left.as_ref().and_then(|(time, value, status)| {
            let samples = Samples::new(time, value).ok()?;
            Some(Trace { samples, status, analyser: self.whole.analyser })
        });
        left.unwrap_or_else(|| self.whole.clone())
    }
}
