//! Gas fed in during the run, as an exchange rate.

use super::{MakeUp, Quantity};

/// Volumes exchanged, as a function of time on the record's axis.
#[derive(Debug, Clone, Default)]
pub(super) struct Exchange {
    time_s: Vec<f64>,
    /// Rate from each time on, 1/s.
    rate_per_s: Vec<f64>,
    /// Volumes exchanged until each time.
    volumes: Vec<f64>,
    /// Relative standard uncertainty of the rate.
    pub relative_uncertainty: f64,
}

impl Exchange {
    /// `None` without make-up, or with a flow but no volume.
    pub(super) fn new(make_up: &MakeUp<'_>, volume_m3: Option<Quantity>) -> Option<Self> {
        match make_up {
            MakeUp::None => None,
            MakeUp::Rate(rate) => (rate.value > 0.0).then(|| Self {
                time_s: vec![0.0],
                rate_per_s: vec![rate.value],
                volumes: vec![0.0],
                relative_uncertainty: rate.standard_uncertainty / rate.value,
            }),
            MakeUp::Flow { samples, relative_uncertainty } => {
                let volume = volume_m3?;
                let rate_per_s: Vec<f64> = samples.value().iter().map(|flow| (flow / volume.value).max(0.0)).collect();
                let mut volumes = vec![0.0; rate_per_s.len()];
                for i in 1..volumes.len() {
                    volumes[i] = volumes[i - 1] + rate_per_s[i - 1] * (samples.time_s()[i] - samples.time_s()[i - 1]);
                }
                Some(Self {
                    time_s: samples.time_s().to_vec(),
                    rate_per_s,
                    volumes,
                    relative_uncertainty: relative_uncertainty.hypot(volume.standard_uncertainty / volume.value),
                })
            }
        }
    }

    /// Volumes exchanged until a time, counted from an arbitrary origin.
    pub(super) fn volumes_until(&self, time_s: f64) -> f64 {
        let index = self.time_s.partition_point(|&t| t <= time_s).saturating_sub(1);
        self.volumes[index] + self.rate_per_s[index] * (time_s - self.time_s[index])
    }

    /// Mean rate between two times, 1/s.
    pub(super) fn mean_rate(&self, from_s: f64, to_s: f64) -> f64 {
        (self.volumes_until(to_s) - self.volumes_until(from_s)) / (to_s - from_s).max(1e-9)
    }
}
