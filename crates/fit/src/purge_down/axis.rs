//! Time counted in volumes exchanged: with a varying purge flow the decay is exponential in these, not in seconds.

use super::Flow;

/// Purge time as a function of time: seconds at the mean flow, so that a steady flow leaves them as they are.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PurgeAxis {
    time_s: Vec<f64>,
    /// Purge time at each time.
    purge_s: Vec<f64>,
    /// Purge seconds a second before the first and after the last time.
    ends: [f64; 2],
    /// Mean flow while gas flows, m³/s.
    pub mean_flow_m3_per_s: Option<f64>,
}

/// A flow below this part of the largest counts as none.
const IDLE: f64 = 0.01;

impl PurgeAxis {
    pub(super) fn new(flow: &Flow<'_>) -> Self {
        let steady =
            |mean_flow_m3_per_s| Self { time_s: vec![0.0], purge_s: vec![0.0], ends: [1.0; 2], mean_flow_m3_per_s };
        match flow {
            Flow::Unknown => steady(None),
            Flow::Constant(flow) => steady(Some(flow.value)),
            Flow::Logged { samples, .. } => {
                let (time, value) = (samples.time_s(), samples.value());
                let largest = value.iter().copied().fold(0.0, f64::max);
                let flows = |i: &usize| value[*i] > IDLE * largest;
                let step = |i: usize| time.get(i + 1).map_or(samples.cadence_s(), |next| next - time[i]);
                let (sum, lasting) = (0..time.len())
                    .filter(flows)
                    .fold((0.0, 0.0), |(sum, lasting), i| (sum + value[i] * step(i), lasting + step(i)));
                let mean = if lasting > 0.0 { sum / lasting } else { 0.0 };
                if !(mean > 0.0) {
                    return steady(None);
                }
                let rate = |i: usize| if flows(&i) { value[i] / mean } else { 0.0 };
                let mut purge_s = vec![0.0; time.len()];
                for i in 1..time.len() {
                    // Between two readings the flow is taken to change evenly.
                    purge_s[i] = purge_s[i - 1] + 0.5 * (rate(i - 1) + rate(i)) * (time[i] - time[i - 1]);
                }
                let ends = [rate(0), rate(time.len() - 1)];
                Self { time_s: time.to_vec(), purge_s, ends, mean_flow_m3_per_s: Some(mean) }
            }
        }
    }

    /// Purge time at a time.
    pub(super) fn purge_s(&self, time_s: f64) -> f64 {
        interpolate(&self.time_s, &self.purge_s, time_s, self.ends)
    }

    /// Time at a purge time; where gas then stood, the first such time.
    pub(super) fn time_s(&self, purge_s: f64) -> f64 {
        interpolate(&self.purge_s, &self.time_s, purge_s, self.ends.map(|rate| 1.0 / rate.max(1e-9)))
    }

    /// Time at a purge time; where gas then stood, the last such time.
    pub(super) fn last_time_s(&self, purge_s: f64) -> f64 {
        let at_most = self.purge_s.partition_point(|&value| value <= purge_s);
        let stands = at_most > 0 && self.purge_s[at_most - 1].to_bits() == purge_s.to_bits();
        if stands { self.time_s[at_most - 1] } else { self.time_s(purge_s) }
    }
}

/// Linear between the points, with the given slopes beyond them.
fn interpolate(x: &[f64], y: &[f64], at: f64, slopes: [f64; 2]) -> f64 {
    let above = x.partition_point(|&value| value < at);
    if above == 0 {
        return y[0] + slopes[0] * (at - x[0]);
    }
    if above == x.len() {
        return y[above - 1] + slopes[1] * (at - x[above - 1]);
    }
    y[above - 1] + (y[above] - y[above - 1]) * (at - x[above - 1]) / (x[above] - x[above - 1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Samples;

    #[test]
    fn a_flow_that_doubles_counts_twice() {
        let time: Vec<f64> = (0..201).map(f64::from).collect();
        let flow: Vec<f64> = time.iter().map(|t| if *t <= 100.0 { 1.0 } else { 2.0 }).collect();
        let samples = Samples::new(&time, &flow).unwrap();
        let axis = PurgeAxis::new(&Flow::Logged { samples, relative_uncertainty: 0.0 });
        let (first, second) = (axis.purge_s(100.0) - axis.purge_s(0.0), axis.purge_s(200.0) - axis.purge_s(100.0));
        assert!((second / first - 2.0).abs() < 0.01, "{first} {second}");
        assert!((axis.time_s(axis.purge_s(150.0)) - 150.0).abs() < 1e-9);
    }
}
