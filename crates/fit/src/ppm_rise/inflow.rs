//! How the ingress goes with time: the part through leaks follows the pressure below the room's, permeation is steady.

use super::{PressureDifference, Window};

/// Deviation of the air that has come in through leaks from an even inflow, as a share of all of it, from which the course
/// of the pressure matters; a straight fall by 1 % makes 0.00125.
const MATTERS: f64 = 5e-4;

/// Pressure below the room's over a run, over its mean; made only where it changes enough to matter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drive {
    time_s: Vec<f64>,
    /// Over the mean of the window.
    relative: Vec<f64>,
    /// ∫ of `relative` from the first time on, s.
    integral_s: Vec<f64>,
    /// Pressure difference at the start and the end of the window, Pa.
    pub(super) ends_pa: [f64; 2],
}

impl Drive {
    /// `None` where the pressure difference was not logged, was held, or lets nothing in.
    pub(super) fn new(difference: &PressureDifference<'_>, window: &Window) -> Option<Self> {
        let PressureDifference::Logged(samples) = difference else { return None };
        let part = samples.between(window.from_s, window.to_s)?;
        let below: Vec<f64> = part.value().iter().map(|pa| (-pa).max(0.0)).collect();
        let drive = Self::with_mean(part.time_s(), &below, 1.0, ends(part.value()));
        let span_s = window.to_s - window.from_s;
        let mean = drive.between(window.from_s, window.to_s) / span_s;
        if !(mean > 1.0) || !(span_s > 0.0) {
            return None;
        }
        let drive = Self::with_mean(part.time_s(), &below, mean, drive.ends_pa);
        let uneven = |t: &f64| (drive.between(window.from_s, *t) - (t - window.from_s)).abs() / span_s;
        let most = drive.time_s.iter().map(uneven).fold(0.0, f64::max);
        (most > MATTERS).then_some(drive)
    }

    fn with_mean(time_s: &[f64], below_pa: &[f64], mean_pa: f64, ends_pa: [f64; 2]) -> Self {
        let relative: Vec<f64> = below_pa.iter().map(|pa| pa / mean_pa).collect();
        let mut integral_s = vec![0.0; time_s.len()];
        for i in 1..time_s.len() {
            let step = 0.5 * (relative[i] + relative[i - 1]) * (time_s[i] - time_s[i - 1]);
            integral_s[i] = integral_s[i - 1] + step;
        }
        Self { time_s: time_s.to_vec(), relative, integral_s, ends_pa }
    }

    /// ∫ of the relative drive between two times, s.
    fn between(&self, from_s: f64, to_s: f64) -> f64 {
        self.until(to_s) - self.until(from_s)
    }

    /// From the first logged time on; outside the log its first and last value hold.
    fn until(&self, time_s: f64) -> f64 {
        let last = self.time_s.len() - 1;
        let index = self.time_s.partition_point(|&t| t <= time_s);
        if index == 0 || index > last {
            let end = if index == 0 { 0 } else { last };
            return self.integral_s[end] + self.relative[end] * (time_s - self.time_s[end]);
        }
        let since = time_s - self.time_s[index - 1];
        let slope = (self.relative[index] - self.relative[index - 1]) / (self.time_s[index] - self.time_s[index - 1]);
        self.integral_s[index - 1] + since * (self.relative[index - 1] + 0.5 * slope * since)
    }
}

/// Mean of the first and of the last twentieth.
fn ends(value: &[f64]) -> [f64; 2] {
    let n = (value.len() / 20).max(1);
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    [mean(&value[..n]), mean(&value[value.len() - n..])]
}

/// A course of the ingress: what share of its mean over the window comes through leaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LeakShare {
    pub(super) share: f64,
    pub(super) log_prior: f64,
}

impl LeakShare {
    /// What is looked at: all steady where the pressure was held, else from none to all through leaks. Nothing but leak and
    /// no leak at all are what boxes often have, so each counts as much as what lies between them.
    pub(super) fn considered(drive: Option<&Drive>) -> Vec<Self> {
        let of = |(share, prior): (f64, f64)| Self { share, log_prior: prior.ln() };
        if drive.is_none() {
            return vec![of((0.0, 1.0))];
        }
        let middle = 1.0 / 9.0;
        [(0.0, 3.0 * middle), (0.25, middle), (0.5, middle), (0.75, middle), (1.0, 3.0 * middle)].map(of).to_vec()
    }
}

/// The ingress over a window that begins at `origin_s`, over its mean.
#[derive(Debug, Clone, Copy)]
pub(super) struct Inflow<'a> {
    pub(super) drive: Option<&'a Drive>,
    pub(super) share: f64,
    pub(super) origin_s: f64,
    pub(super) span_s: f64,
}

impl Inflow<'_> {
    /// What has come in until `t_s` after the start, as the time in which the mean ingress lets in as much.
    pub(super) fn until(&self, t_s: f64) -> f64 {
        let Some(drive) = self.drive.filter(|_| self.share > 0.0) else { return t_s };
        let per_mean = self.span_s / drive.between(self.origin_s, self.origin_s + self.span_s).max(1e-9);
        (1.0 - self.share) * t_s + self.share * per_mean * drive.between(self.origin_s, self.origin_s + t_s)
    }

    /// Mean over a step about `t_s`, over the mean of the window.
    pub(super) fn about(&self, t_s: f64) -> f64 {
        let half = 1e-3 * self.span_s;
        (self.until(t_s + half) - self.until(t_s - half)) / (2.0 * half)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Samples;
    use crate::ppm_rise::{WindowEnd, WindowStart};

    fn drive(from_pa: f64, to_pa: f64) -> Option<Drive> {
        let time_s: Vec<f64> = (0..=100).map(|i| 36.0 * f64::from(i)).collect();
        let value: Vec<f64> = time_s.iter().map(|t| from_pa + (to_pa - from_pa) * t / 3600.0).collect();
        let window = Window { from_s: 0.0, to_s: 3600.0, start: WindowStart::Set, end: WindowEnd::Set };
        Drive::new(&PressureDifference::Logged(Samples::new(&time_s, &value).unwrap()), &window)
    }

    #[test]
    fn a_held_pressure_and_one_above_the_rooms_have_no_course() {
        assert_eq!(drive(-500.0, -500.0), None);
        assert_eq!(drive(500.0, 300.0), None);
    }

    #[test]
    fn half_of_a_falling_leak_has_come_in_before_half_of_the_time() {
        let drive = drive(-600.0, -400.0);
        let inflow = |share| Inflow { drive: drive.as_ref(), share, origin_s: 0.0, span_s: 3600.0 };
        // ∫ of (600 − t/18)/500 over the first half.
        assert!((inflow(1.0).until(1800.0) - 1980.0).abs() < 1e-6);
        assert!((inflow(0.5).until(1800.0) - 1890.0).abs() < 1e-6);
        assert!((inflow(1.0).until(3600.0) - 3600.0).abs() < 1e-6);
        assert!((inflow(1.0).about(0.0) - 1.2).abs() < 1e-3);
    }
}
