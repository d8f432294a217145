//! What a mean reading shows of unit amounts: a sum of exponentials, one for each time constant that a dose passes through.

use super::blocks::Block;
use super::columns::{BEFORE, DOSE, FLOOR, Law, MOST, Shape};
use super::loading::TERMS;

/// Time constants closer than this are moved apart: the limit is smooth, its formula is not.
const APART: f64 = 1e-4;
/// Those of analyser and mixing, then those of the decay.
const MOST_POLES: usize = 2 + TERMS;

/// A shape made ready for block after block: what does not change between them is worked out once.
pub(super) struct Seen {
    feeding: Option<Feeding>,
    poles: [Pole; MOST_POLES],
    count: usize,
    /// How many of them are of analyser and mixing.
    fixed: usize,
    /// Place of the second amount, where the law has one.
    second: Option<usize>,
    /// Time constant of what was there at the start, s, where there is such a part.
    before_s: Option<f64>,
}

/// From when to when a dose was fed in, at a steady rate, s from the start of the window.
#[derive(Debug, Clone, Copy)]
struct Feeding {
    from_s: f64,
    to_s: f64,
}

/// A time constant with what passes through it.
#[derive(Debug, Clone, Copy, Default)]
struct Pole {
    tau_s: f64,
    /// Of unit dose and unit second amount.
    shares: [f64; 2],
    /// What of a feeding is left at its end.
    left: f64,
}

impl Seen {
    pub(super) fn of(shape: &Shape) -> Self {
        let feeding = shape.rise.map(|rise| Feeding { from_s: rise.at_s, to_s: rise.at_s + rise.lasting_s.max(1e-3) });
        let lag_s = (shape.lag_s > 0.0).then_some(shape.lag_s);
        let mut seen = Self {
            feeding,
            poles: [Pole::default(); MOST_POLES],
            count: 0,
            fixed: 0,
            second: shape.second(),
            before_s: shape.rise.map_or(lag_s, |rise| rise.rest.then_some(shape.tau_s)),
        };
        let mixing_s = shape.rise.map(|rise| rise.mixing_s).filter(|mixing_s| *mixing_s > 0.0);
        for tau_s in lag_s.into_iter().chain(mixing_s) {
            seen.push(tau_s);
            seen.fixed += 1;
        }
        match &shape.law {
            Law::Exponential => seen.decay(shape.tau_s, [1.0, 0.0]),
            Law::SlowTail(ratio) => {
                seen.decay(shape.tau_s, [1.0, 0.0]);
                seen.decay(ratio * shape.tau_s, [0.0, 1.0]);
            }
            Law::Loading(decay) => {
                decay.terms().for_each(|(k, content, slope)| seen.decay(shape.tau_s / k, [content, slope]));
            }
        }
        seen
    }

    /// Adds amounts that decay with a time constant, by the partial fractions of τ/((1 + τs)(1 + Ls)(1 + ms)).
    fn decay(&mut self, tau_s: f64, amounts: [f64; 2]) {
        let own = self.push(tau_s);
        let power = self.fixed as i32 - 1;
        for i in (0..self.fixed).chain([own]) {
            let pole_s = self.poles[i].tau_s;
            let others = (0..self.fixed).chain([own]).filter(|j| *j != i).map(|j| pole_s - self.poles[j].tau_s);
            let share = tau_s * pole_s.powi(power) / others.product::<f64>();
            self.poles[i].shares[0] += share * amounts[0];
            self.poles[i].shares[1] += share * amounts[1];
        }
    }

    /// Adds a time constant, apart from those of analyser and mixing; returns its place.
    fn push(&mut self, mut tau_s: f64) -> usize {
        let others = self.fixed.min(self.count);
        for _ in 0..others {
            let near = self.poles[..others].iter().find(|other| (tau_s / other.tau_s - 1.0).abs() < APART);
            tau_s = near.map_or(tau_s, |near| near.tau_s * (1.0 - 2.0 * APART));
        }
        let left = self.feeding.map_or(1.0, |Feeding { from_s, to_s }| {
            let lasting = (to_s - from_s) / tau_s;
            -(-lasting).exp_m1() / lasting
        });
        self.poles[self.count] = Pole { tau_s, shares: [0.0; 2], left };
        self.count += 1;
        self.count - 1
    }

    /// Mean over a block of each part: dose (as the lagging analyser shows it), floor, what the reading differed from the
    /// floor at the start (before a dose: the rest of earlier ones), second amount.
    pub(super) fn parts(&self, block: &Block) -> [f64; MOST] {
        let mut parts = [0.0; MOST];
        parts[FLOOR] = 1.0;
        if let Some(before_s) = self.before_s {
            parts[BEFORE] = block.mean_decay(0.0, before_s);
        }
        for pole in &self.poles[..self.count] {
            let passed = self.passed(pole, block);
            parts[DOSE] += pole.shares[0] * passed;
            if let Some(second) = self.second {
                parts[second] += pole.shares[1] * passed;
            }
        }
        parts
    }

    /// Mean reading of a block for these amounts.
    pub(super) fn reading(&self, amounts: &[f64; MOST], block: &Block) -> f64 {
        self.parts(block).iter().zip(amounts).map(|(part, amount)| part * amount).sum()
    }

    /// Mean over a block of what a unit dose leaves in one time constant.
    fn passed(&self, pole: &Pole, block: &Block) -> f64 {
        let Some(Feeding { from_s, to_s }) = self.feeding else { return block.mean_decay(0.0, pole.tau_s) };
        if block.from_s >= to_s {
            return pole.left * block.mean_decay(to_s, pole.tau_s);
        }
        if block.to_s <= from_s {
            return 0.0;
        }
        pole.tau_s * (approach(block, from_s, pole.tau_s) - approach(block, to_s, pole.tau_s)) / (to_s - from_s)
    }
}

/// Mean over a block of 1 − e^(−(t − origin)/pole), 0 before the origin; where the origin lies in the block, at its middle.
fn approach(block: &Block, origin_s: f64, pole_s: f64) -> f64 {
    if block.from_s < origin_s {
        let since = (block.middle_s() - origin_s).max(0.0);
        return -(-since / pole_s).exp_m1();
    }
    1.0 - block.mean_decay(origin_s, pole_s)
}

#[cfg(test)]
mod tests {
    use super::super::rise::Rise;
    use super::*;
    use crate::ppm_rise::ReadingStatus;

    fn block(from_s: f64, to_s: f64, count: usize) -> Block {
        Block { from_s, to_s, count, worth: count as f64, value: 0.0, status: ReadingStatus::Measured }
    }

    /// What the analyser shows every 0.02 s of a unit dose that is fed in, mixes in and decays: by small steps.
    fn integrated(shape: &Shape, rise: &Rise, until_s: f64) -> Vec<f64> {
        let step_s = 0.02;
        let rates = |t: f64, [unmixed, gas, shown]: [f64; 3]| {
            let fed = if (rise.at_s..rise.at_s + rise.lasting_s).contains(&t) { 1.0 / rise.lasting_s } else { 0.0 };
            let mixes = unmixed / rise.mixing_s;
            [fed - mixes, mixes - gas / shape.tau_s, (gas - shown) / shape.lag_s]
        };
        let mut state = [0.0; 3];
        (0..=(until_s / step_s) as usize)
            .map(|i| {
                let t = i as f64 * step_s;
                let shown = state[2];
                let first = rates(t, state);
                let middle = std::array::from_fn(|j| state[j] + 0.5 * step_s * first[j]);
                let second = rates(t + 0.5 * step_s, middle);
                state = std::array::from_fn(|j| state[j] + step_s * second[j]);
                shown
            })
            .collect()
    }

    #[test]
    fn a_dose_shows_as_the_differential_equations_have_it() {
        let rise = Rise { at_s: 20.0, lasting_s: 8.0, mixing_s: 5.0, rest: true };
        // The last two: time constants that the partial fractions cannot tell apart.
        for (tau_s, lag_s) in [(100.0, 12.0), (12.0, 60.0), (40.0, 40.0), (40.0, 5.0)] {
            let shape = Shape { tau_s, lag_s, law: Law::Exponential, rise: Some(rise) };
            let (seen, wanted) = (Seen::of(&shape), integrated(&shape, &rise, 300.0));
            for (from_s, to_s) in [(0.0, 19.0), (24.0, 24.0), (29.0, 32.0), (60.0, 90.0), (100.0, 290.0)] {
                let readings: Vec<f64> = (from_s as usize..=to_s as usize).map(|t| wanted[50 * t]).collect();
                let mean = readings.iter().sum::<f64>() / readings.len() as f64;
                let found = seen.parts(&block(from_s, to_s, readings.len()))[DOSE];
                assert!((found - mean).abs() < 2e-4, "{tau_s} s, {lag_s} s: {found} for {mean} from {from_s} s");
            }
        }
    }

    #[test]
    fn without_a_rise_the_analyser_starts_at_zero() {
        let shape = Shape { tau_s: 50.0, lag_s: 10.0, law: Law::SlowTail(4.0), rise: None };
        let parts = Seen::of(&shape).parts(&block(30.0, 30.0, 1));
        // By hand: τ/(τ − L)·(e^(−t/τ) − e^(−t/L)).
        let of = |tau_s: f64| tau_s / (tau_s - 10.0) * ((-30.0 / tau_s).exp() - (-3.0_f64).exp());
        let wanted = [of(50.0), 1.0, (-3.0_f64).exp(), of(200.0)];
        for (part, wanted) in parts.iter().zip(wanted) {
            assert!((part - wanted).abs() < 1e-12, "{parts:?}");
        }
    }

    #[test]
    fn the_mean_of_a_decay_is_that_of_its_readings() {
        for (count, step_s) in [(1, 0.0), (2, 1.0), (40, 1.0), (40, 10.0), (3000, 60.0)] {
            let block = block(5.0, 5.0 + step_s * f64::from(count - 1), count as usize);
            let readings = (0..count).map(|i| (-(5.0 + step_s * f64::from(i) - 2.0) / 30.0).exp());
            let mean = readings.sum::<f64>() / f64::from(count);
            assert!((block.mean_decay(2.0, 30.0) / mean - 1.0).abs() < 1e-12, "{count} readings, {step_s} s apart");
        }
    }
}
