//! Pressures of the hold on a thinned time axis, and the gas temperature that they tell.

use super::LeakLaw;
use super::join::Joined;

/// Longest base series: a longer record is averaged in bins of equal time. A bin of a day's record is then 42 s,
/// well below the periods that the gas temperature has; averaging and the linear lag of a sensor commute.
pub(crate) const BASE_POINTS: usize = 2048;

/// Pressures of the hold, in Pa.
#[derive(Debug, Clone, Default)]
pub(crate) struct Base {
    pub(crate) time_s: Vec<f64>,
    pub(crate) difference_pa: Vec<f64>,
    pub(crate) room_pa: Vec<f64>,
    /// What a straight line over readings set aside before each point leaves out of ∫Δp dt, in Pa·s.
    pub(crate) left_out_pa_s: Vec<f64>,
}

impl Base {
    /// Averages the kept readings of a joined record in bins.
    pub(crate) fn new(joined: &Joined, range: std::ops::Range<usize>, keep: &[bool], sound: &[bool]) -> Self {
        let times = &joined.time_s[range.clone()];
        let mut base = Self::default();
        let (Some(first), Some(last)) = (times.first(), times.last()) else { return base };
        let bin_s = if times.len() <= BASE_POINTS { 0.0 } else { (last - first) / BASE_POINTS as f64 };
        let mut bin = Bin::default();
        let mut end_s = f64::NEG_INFINITY;
        let (mut last_kept, mut pending) = (range.start, 0.0);
        for index in range {
            if !keep[index] {
                continue;
            }
            let time = joined.time_s[index];
            let left_out = left_out(joined, last_kept, index, sound);
            last_kept = index;
            if time >= end_s {
                base.close(&mut bin, &mut pending);
                // Bins lie on a fixed raster, so that a gap does not shift those after it.
                end_s = if bin_s > 0.0 { first + (((time - first) / bin_s).floor() + 1.0) * bin_s } else { time };
            }
            pending += left_out;
            bin.add(time, joined.difference_pa[index], joined.room_pa[index]);
        }
        base.close(&mut bin, &mut pending);
        base
    }

    pub(crate) fn len(&self) -> usize {
        self.time_s.len()
    }

    pub(crate) fn absolute_pa(&self, index: usize) -> f64 {
        self.difference_pa[index] + self.room_pa[index]
    }

    /// The same pressures with errors of the instruments added.
    pub(crate) fn perturbed(&self, error: &PressureError) -> Self {
        let start = self.time_s.first().copied().unwrap_or(0.0);
        let mut out = self.clone();
        for index in 0..self.len() {
            let since = self.time_s[index] - start;
            let inside_reading =
                if error.inside_is_absolute { self.absolute_pa(index) } else { self.difference_pa[index] };
            let inside =
                error.inside_zero_pa + error.inside_scale * inside_reading + error.inside_drift_pa_per_s * since;
            let room = error.room_zero_pa + error.room_scale * self.room_pa[index] + error.room_drift_pa_per_s * since;
            out.room_pa[index] += room;
            out.difference_pa[index] += if error.inside_is_absolute { inside - room } else { inside };
        }
        out
    }

    fn close(&mut self, bin: &mut Bin, left_out_pa_s: &mut f64) {
        if bin.count > 0.0 {
            self.left_out_pa_s.push(std::mem::take(left_out_pa_s));
            self.time_s.push(bin.time / bin.count);
            self.difference_pa.push(bin.difference / bin.count);
            self.room_pa.push(bin.room / bin.count);
        }
        *bin = Bin::default();
    }
}

/// ∫Δp dt over readings set aside between two kept ones, less what a straight line between these two gives.
fn left_out(joined: &Joined, from: usize, to: usize, sound: &[bool]) -> f64 {
    if to <= from + 1 {
        return 0.0;
    }
    let (mut time, mut difference) = (joined.time_s[from], joined.difference_pa[from]);
    let straight = 0.5 * (joined.time_s[to] - time) * (difference + joined.difference_pa[to]);
    let mut integral = 0.0;
    for index in (from + 1..=to).filter(|&index| sound[index]) {
        integral += 0.5 * (joined.time_s[index] - time) * (difference + joined.difference_pa[index]);
        (time, difference) = (joined.time_s[index], joined.difference_pa[index]);
    }
    integral - straight
}

#[derive(Default)]
struct Bin {
    count: f64,
    time: f64,
    difference: f64,
    room: f64,
}

impl Bin {
    fn add(&mut self, time: f64, difference: f64, room: f64) {
        self.count += 1.0;
        self.time += time;
        self.difference += difference;
        self.room += room;
    }
}

/// Errors of the pressure instruments, for propagation.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct PressureError {
    pub(crate) inside_is_absolute: bool,
    pub(crate) inside_zero_pa: f64,
    pub(crate) inside_scale: f64,
    pub(crate) inside_drift_pa_per_s: f64,
    pub(crate) room_zero_pa: f64,
    pub(crate) room_scale: f64,
    pub(crate) room_drift_pa_per_s: f64,
}

/// The point about which the gas temperature is made linear in its parameters.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Expansion {
    /// G/V in 1/s.
    pub(crate) conductance_per_s: f64,
    /// Compliance over volume in 1/Pa.
    pub(crate) compliance_per_pa: f64,
}

/// What the columns are made from besides the pressures.
#[derive(Debug, Clone)]
pub(crate) struct Model {
    pub(crate) law: LeakLaw,
    pub(crate) reference_pa: f64,
    /// Mean temperature in K; its error of a kelvin is 0.3 % of a change of temperature and does not matter.
    pub(crate) mean_k: f64,
    /// Times in s after which the amount or volume may have stepped.
    pub(crate) steps_s: Vec<f64>,
    /// Known inflow: volume flow at room pressure over volume in 1/s (signed, in positive), from and to in s.
    pub(crate) known_inflow: Option<(f64, f64, f64)>,
}

/// The gas temperature that the pressures tell, at the times of the base, with its derivatives, in K:
/// `T = T̄·exp[ln p(1 + cΔp)/p₀(1 + cΔp₀) + g·I − r·S]`, I = ∫ law/(p(1 + cΔp)) dt, S the same for the known inflow.
#[derive(Debug, Clone, Default)]
pub(crate) struct GasTemperature {
    /// Columns in the order: prediction, ∂/∂g, ∂/∂c, ∂/∂z (gauge zero), ∂/∂r (known inflow), then one for each step.
    pub(crate) columns: Vec<Vec<f64>>,
    /// Largest |I| in s·Pa/Pa.
    pub(crate) largest_exposure_s: f64,
}

/// Number of shared columns after the prediction: conductance, compliance, gauge zero, known inflow.
pub(crate) const SHARED: usize = 4;

impl GasTemperature {
    pub(crate) fn new(base: &Base, model: &Model, at: Expansion) -> Self {
        let n = base.len();
        let mut columns = vec![Vec::with_capacity(n); 1 + SHARED + model.steps_s.len()];
        let Expansion { conductance_per_s: g, compliance_per_pa: c } = at;
        let room_start = base.room_pa[0];
        let volume_start = 1.0 + c * base.difference_pa[0];
        let start_ln = (base.absolute_pa(0) * volume_start).ln();
        let start_slope = 1.0 / base.absolute_pa(0);
        let (mut exposure, mut exposure_c, mut exposure_z, mut inflow) = (0.0, 0.0, 0.0, 0.0);
        let mut before = [0.0; 3];
        let mut largest = 0.0_f64;
        for index in 0..n {
            let difference = base.difference_pa[index];
            let p = base.absolute_pa(index);
            let volume = 1.0 + c * difference;
            let (law, law_z) = match model.law {
                LeakLaw::Linear => (difference, 1.0),
                LeakLaw::Laminar => {
                    let scale = 2.0 * room_start + model.reference_pa;
                    let room = base.room_pa[index];
                    ((p * p - room * room) / scale, 2.0 * p / scale)
                }
            };
            let rate = [law / (p * volume), law * difference / (p * volume * volume), law_z / (p * volume)];
            if index > 0 {
                let half_step = 0.5 * (base.time_s[index] - base.time_s[index - 1]);
                exposure += half_step * (rate[0] + before[0]) + base.left_out_pa_s[index] / (p * volume);
                exposure_c += half_step * (rate[1] + before[1]);
                exposure_z += half_step * (rate[2] + before[2]);
                inflow += known_inflow_step(base, model, index, volume);
            }
            before = rate;
            largest = largest.max(exposure.abs());
            // With the known inflow taken as it is stated (r = 1), gas that came in does not count as warming.
            let exponent = (p * volume).ln() - start_ln + g * exposure - inflow;
            let temperature = model.mean_k * exponent.exp();
            columns[0].push(temperature);
            columns[1].push(temperature * exposure);
            columns[2]
                .push(temperature * (difference / volume - base.difference_pa[0] / volume_start - g * exposure_c));
            columns[3].push(temperature * (1.0 / p - start_slope + g * exposure_z));
            columns[4].push(-temperature * inflow);
            for (step, &at_s) in model.steps_s.iter().enumerate() {
                columns[1 + SHARED + step].push(if base.time_s[index] >= at_s { model.mean_k } else { 0.0 });
            }
        }
        level_to_mean(&mut columns, model.mean_k);
        Self { columns, largest_exposure_s: largest }
    }
}

/// Scales the temperatures so that their mean is `mean_k`: scaled to the start instead, a reading that is 3 K off the
/// mean at the start would make every later change wrong by 1 %.
fn level_to_mean(columns: &mut [Vec<f64>], mean_k: f64) {
    let factor = mean_k * columns[0].len() as f64 / columns[0].iter().sum::<f64>();
    for column in columns.iter_mut().take(1 + SHARED) {
        for value in column {
            *value *= factor;
        }
    }
}

/// Relative amount that came in through the known leak since the point before.
fn known_inflow_step(base: &Base, model: &Model, index: usize, volume: f64) -> f64 {
    let Some((per_s, from_s, to_s)) = model.known_inflow else { return 0.0 };
    let open_s = (base.time_s[index].min(to_s) - base.time_s[index - 1].max(from_s)).max(0.0);
    per_s * open_s * base.room_pa[index] / (base.absolute_pa(index) * volume)
}

/// First-order lag of series that run straight between their points, started in equilibrium: exact for any step.
/// Holds, for each step, the weights of the state, the old and the new input.
pub(crate) struct Lag(Vec<[f64; 3]>);

impl Lag {
    pub(crate) fn new(time_s: &[f64], tau_s: f64) -> Self {
        let mut step_s = -1.0;
        let mut weights = [0.0, 0.0, 1.0];
        Self(
            time_s
                .windows(2)
                .map(|pair| {
                    let step = pair[1] - pair[0];
                    if (step - step_s).abs() > 1e-9 * step {
                        step_s = step;
                        let keep = (-step / tau_s).exp();
                        let mean = (1.0 - keep) * tau_s / step;
                        weights = [keep, mean - keep, 1.0 - mean];
                    }
                    weights
                })
                .collect(),
        )
    }

    pub(crate) fn apply(&self, input: &[f64], output: &mut Vec<f64>) {
        output.clear();
        let mut state = input[0];
        output.push(state);
        output.extend(self.0.iter().zip(input.windows(2)).map(|([keep, old, new], pair)| {
            state = keep * state + old * pair[0] + new * pair[1];
            state
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lagged_ramp_trails_by_its_time_constant() {
        let time_s: Vec<f64> = (0..200).map(|i| f64::from(i) * 7.0).collect();
        let ramp: Vec<f64> = time_s.iter().map(|t| 0.01 * t).collect();
        let mut out = Vec::new();
        Lag::new(&time_s, 50.0).apply(&ramp, &mut out);
        let expected: Vec<f64> = time_s.iter().map(|t| 0.01 * (t - 50.0 * (1.0 - (-t / 50.0).exp()))).collect();
        assert!(out.iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-12));
    }

    #[test]
    fn the_derivatives_are_those_of_the_prediction() {
        let time_s: Vec<f64> = (0..100).map(|i| f64::from(i) * 60.0).collect();
        let base = Base {
            difference_pa: time_s.iter().map(|t| -500.0 * (-t / 5000.0).exp()).collect(),
            room_pa: time_s.iter().map(|t| 100_000.0 + 0.01 * t).collect(),
            left_out_pa_s: vec![0.0; time_s.len()],
            time_s,
        };
        let model =
            Model { law: LeakLaw::Laminar, reference_pa: -500.0, mean_k: 295.0, steps_s: vec![], known_inflow: None };
        let at = Expansion { conductance_per_s: 2e-4, compliance_per_pa: 1e-5 };
        let here = GasTemperature::new(&base, &model, at);
        let nudged = |g: f64, c: f64, z: f64| {
            let error = PressureError { inside_zero_pa: z, ..PressureError::default() };
            let at = Expansion { conductance_per_s: 2e-4 + g, compliance_per_pa: 1e-5 + c };
            GasTemperature::new(&base.perturbed(&error), &model, at).columns[0].clone()
        };
        for (column, step, moved) in
            [(1, 1e-8, nudged(1e-8, 0.0, 0.0)), (2, 1e-9, nudged(0.0, 1e-9, 0.0)), (3, 1e-3, nudged(0.0, 0.0, 1e-3))]
        {
            let last = moved.len() - 1;
            // From start to end, since both are levelled to the same mean.
            let change = |series: &[f64]| series[last] - series[0];
            let numeric = (change(&moved) - change(&here.columns[0])) / step;
            let analytic = change(&here.columns[column]);
            assert!((numeric - analytic).abs() < 1e-2 * analytic.abs(), "column {column}: {numeric} {analytic}");
        }
    }
}
