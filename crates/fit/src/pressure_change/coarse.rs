//! A barometer that is logged in coarse steps.
//!
//! Absolute pressure inside is gauge reading plus room pressure, and it serves as the thermometer of the gas. A step of 10 Pa
//! would read as 30 mK at once, which no thermometer follows, and the fit would take its lag for longer than it is. The air
//! pressure itself does not move in steps: a line with a knot every ten minutes is laid through what the readings allow,
//! each of which says that the pressure, with the barometer's own noise, lay within half a step of it.

use crate::Samples;
use crate::simulate::Random;
use statrs::function::erf::erfc;
use std::f64::consts::{PI, SQRT_2};

/// Steps below this are of no consequence beside a gauge's noise, Pa.
const COARSE_PA: f64 = 2.0;
/// Time between knots of the line, s.
const KNOT_S: f64 = 600.0;
/// Readings at one level within this time count together, s.
const GATHERED_S: f64 = 60.0;
/// Noise of the barometer over its step that is tried.
const NOISES: [f64; 6] = [0.02, 0.06, 0.12, 0.25, 0.5, 1.0];
/// How much the line bends from knot to knot, in steps, that is tried: from quiet weather to wind and doors.
const BENDS: [f64; 3] = [0.02, 0.08, 0.3];

/// A line through the readings of a barometer that moves in coarse steps.
pub(crate) struct Unstepped<'a> {
    samples: Samples<'a>,
    line: Line,
    /// Farthest that a reading lies from what it was read from, Pa.
    reach: f64,
    /// The curvature at the top, factored.
    factor: Vec<[f64; 3]>,
}

impl<'a> Unstepped<'a> {
    /// `None` where the barometer does not move in coarse steps. `resolution_pa` is what is stated, 0 for nothing: readings
    /// that all are one level do not show it.
    pub(crate) fn of(samples: Samples<'a>, resolution_pa: f64) -> Option<Self> {
        let (time_s, value) = (samples.time_s(), samples.value());
        let step = step(value, resolution_pa).filter(|step| *step >= COARSE_PA)?;
        let told = gathered(time_s, value);
        let knots = ((samples.last_time_s() - samples.first_time_s()) / KNOT_S).ceil().max(1.0) as usize + 1;
        let through = |noise: f64, bend: f64| Line::through(&told, knots, step, noise * step, bend * step);
        let likeliest = |lines: &mut dyn Iterator<Item = Line>| lines.max_by(|a, b| a.evidence.total_cmp(&b.evidence));
        let rough = likeliest(&mut NOISES.iter().filter_map(|noise| through(*noise, BENDS[1])))?;
        let noise = rough.noise / step;
        let line = likeliest(&mut [BENDS[0], BENDS[2]].iter().filter_map(|bend| through(noise, *bend)).chain([rough]))?;
        let factor = line.system(&told, step).factored()?.band;
        Some(Self { samples, reach: 0.5 * step + 4.0 * line.noise, line, factor })
    }

    /// Room pressures in place of the readings, Pa at the same times.
    pub(crate) fn room_pa(&self) -> Vec<f64> {
        // A passing disturbance that is larger than the line allows was there.
        self.with(&self.line, |at, read| if (at - read).abs() > self.reach { read } else { at })
    }

    /// The same from another line that the readings allow as well, drawn at random.
    pub(crate) fn drawn(&self, random: &mut Random) -> Vec<f64> {
        let by = back_substituted(&self.factor, |pivot| pivot.sqrt() * random.normal());
        let knot = self.line.knot.iter().zip(&by).map(|(at, by)| at + by).collect();
        self.with(&Line { knot, ..self.line }, |at, read| at.clamp(read - self.reach, read + self.reach))
    }

    fn with(&self, line: &Line, value: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        let since_s = |time: &f64| time - self.samples.first_time_s();
        let pairs = self.samples.time_s().iter().zip(self.samples.value());
        pairs.map(|(time, read)| value(line.at(since_s(time)), *read)).collect()
    }
}

/// Step of a display, where a quarter of the readings repeat the one before and all others differ by whole steps.
pub(super) fn shown_step(value: &[f64]) -> Option<f64> {
    let repeats = value.windows(2).filter(|pair| (pair[1] - pair[0]).abs() <= 1e-6).count();
    if 4 * repeats < value.len() { None } else { step(value, 0.0) }
}

/// Step of the readings: the smallest difference between two, or what is stated if that is less, where all differences are
/// whole multiples of it.
fn step(value: &[f64], stated: f64) -> Option<f64> {
    let different = || value.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|by| *by > 1e-6);
    let stated = if stated > 0.0 { stated } else { f64::INFINITY };
    let step = different().fold(stated, f64::min);
    let whole = |by: f64| (by / step - (by / step).round()).abs() < 0.02 * (by / step).max(1.0);
    (step.is_finite() && different().all(whole)).then_some(step)
}

/// Readings at one level: middle of their times in s from the first, level in Pa, number.
type Told = (f64, f64, f64);

fn gathered(time_s: &[f64], value: &[f64]) -> Vec<Told> {
    let mut told: Vec<Told> = Vec::new();
    // Levels of the time that is being gathered begin here.
    let (mut open, mut until_s) = (0, f64::NEG_INFINITY);
    for (time, read) in time_s.iter().zip(value) {
        let since_s = time - time_s[0];
        if since_s >= until_s {
            (open, until_s) = (told.len(), since_s + GATHERED_S);
        }
        match told[open..].iter_mut().find(|(_, level, _)| (level - read).abs() < 1e-6) {
            Some((middle, _, count)) => {
                *middle += (since_s - *middle) / (*count + 1.0);
                *count += 1.0;
            }
            None => told.push((since_s, *read, 1.0)),
        }
    }
    told
}

/// A line with a knot every ten minutes.
struct Line {
    knot: Vec<f64>,
    noise: f64,
    bend: f64,
    /// Log likelihood, with the prior of the bends.
    likelihood: f64,
    /// Log marginal likelihood, by the curvature at the top.
    evidence: f64,
}

impl Line {
    /// The likeliest line, by Newton's method on a likelihood that has one top; `None` where it is not found.
    fn through(told: &[Told], knots: usize, step: f64, noise: f64, bend: f64) -> Option<Self> {
        const ROUNDS: usize = 60;
        let mean =
            told.iter().map(|(_, level, count)| level * count).sum::<f64>() / told.iter().map(|t| t.2).sum::<f64>();
        // The average of what was read near each knot is where the search begins.
        let mut knot = vec![mean; knots];
        let mut near = vec![(0.0, 0.0); knots];
        for (since_s, level, count) in told {
            let place = &mut near[((since_s / KNOT_S).round() as usize).min(knots - 1)];
            *place = (place.0 + level * count, place.1 + count);
        }
        for (knot, (sum, count)) in knot.iter_mut().zip(&near) {
            if *count > 0.0 {
                *knot = sum / count;
            }
        }
        let mut line = Self { knot, noise, bend, likelihood: f64::NEG_INFINITY, evidence: f64::NEG_INFINITY };
        line.likelihood = line.likelihood_of(told, step);
        for _ in 0..ROUNDS {
            let factored = line.system(told, step).factored()?;
            line.evidence = line.likelihood - 0.5 * factored.band.iter().map(|row| row[0].ln()).sum::<f64>();
            let step_by = factored.solution();
            let mut share = 1.0;
            let gain = loop {
                let knot = line.knot.iter().zip(&step_by).map(|(at, by)| at + share * by).collect();
                let tried = Self { knot, ..line };
                let likelihood = tried.likelihood_of(told, step);
                if likelihood >= line.likelihood || share < 1e-4 {
                    let gain = likelihood - line.likelihood;
                    if gain > 0.0 {
                        line = Self { likelihood, ..tried };
                    }
                    break gain;
                }
                share *= 0.5;
            };
            if gain < 1e-6 {
                break;
            }
        }
        Some(line)
    }

    fn at(&self, since_s: f64) -> f64 {
        let (first, share) = self.place(since_s);
        self.knot[first] + share * (self.knot[first + 1] - self.knot[first])
    }

    /// Knot before a time and how far it lies towards the next.
    fn place(&self, since_s: f64) -> (usize, f64) {
        let first = ((since_s / KNOT_S) as usize).min(self.knot.len() - 2);
        (first, since_s / KNOT_S - first as f64)
    }

    fn bends(&self) -> impl Iterator<Item = f64> {
        self.knot.windows(3).map(|at| at[2] - 2.0 * at[1] + at[0])
    }

    fn likelihood_of(&self, told: &[Told], step: f64) -> f64 {
        let readings: f64 = told
            .iter()
            .map(|(since_s, level, count)| count * Within::of(level - self.at(*since_s), step, self.noise).log)
            .sum();
        readings - 0.5 * self.bends().map(|by| (by / self.bend).powi(2) + 2.0 * self.bend.ln()).sum::<f64>()
    }

    /// Newton's system for the knots: curvature and slope of the likelihood.
    fn system(&self, told: &[Told], step: f64) -> Banded {
        let knots = self.knot.len();
        let mut band = vec![[0.0; 3]; knots];
        let mut pull = vec![0.0; knots];
        for (since_s, level, count) in told {
            let (first, share) = self.place(*since_s);
            let within = Within::of(level - self.at(*since_s), step, self.noise);
            for (i, weight) in [(first, 1.0 - share), (first + 1, share)] {
                pull[i] += weight * count * within.slope;
                band[i][0] += weight * weight * count * within.curvature;
            }
            band[first][1] += share * (1.0 - share) * count * within.curvature;
        }
        let stiff = self.bend.powi(-2);
        for (first, bend) in self.bends().enumerate() {
            for (i, a) in [1.0, -2.0, 1.0].into_iter().enumerate() {
                pull[first + i] -= stiff * a * bend;
                for (j, b) in [1.0, -2.0, 1.0].into_iter().enumerate().skip(i) {
                    band[first + i][j - i] += stiff * a * b;
                }
            }
        }
        // With no bend to tell and no reading to pull, a knot stays.
        for row in &mut band {
            row[0] += 1e-9 * stiff;
        }
        Banded { band, right: pull }
    }
}

/// Log probability that a reading shows a level, and its slope and negative curvature in the pressure.
struct Within {
    log: f64,
    slope: f64,
    curvature: f64,
}

impl Within {
    /// `off` is the level less the pressure.
    fn of(off: f64, step: f64, noise: f64) -> Self {
        let [low, high] = [-0.5, 0.5].map(|half| (off + half * step) / noise);
        // On the side of the small tail, where differences of probabilities keep their digits.
        let (low, high, side) = if low > 0.0 { (-high, -low, -1.0) } else { (low, high, 1.0) };
        if high < -8.0 {
            // Far out the probability is that of the nearer end.
            return Self { log: -0.5 * high * high, slope: side * high / noise, curvature: noise.powi(-2) };
        }
        let density = |z: f64| (-0.5 * z * z).exp() / (2.0 * PI).sqrt();
        let below = |z: f64| 0.5 * erfc(-z / SQRT_2);
        let inside = (below(high) - below(low)).max(1e-300);
        let slope = (density(low) - density(high)) / inside;
        let bend = (low * density(low) - high * density(high)) / inside;
        Self {
            log: inside.ln(),
            slope: side * slope / noise,
            curvature: (slope * slope - bend).max(0.0) / (noise * noise),
        }
    }
}

/// A symmetric positive system of which each row holds the diagonal and the two entries after it.
struct Banded {
    band: Vec<[f64; 3]>,
    right: Vec<f64>,
}

impl Banded {
    /// With what is before the diagonal eliminated.
    fn factored(mut self) -> Option<Self> {
        let size = self.band.len();
        for i in 0..size {
            let row = self.band[i];
            if !(row[0] > 0.0) {
                return None;
            }
            for j in 1..3.min(size - i) {
                let factor = row[j] / row[0];
                for k in j..3.min(size - i) {
                    self.band[i + j][k - j] -= factor * row[k];
                }
                self.right[i + j] -= factor * self.right[i];
            }
        }
        Some(self)
    }

    fn solution(&self) -> Vec<f64> {
        let mut right = self.right.iter().rev();
        back_substituted(&self.band, |_| right.next().copied().unwrap_or(0.0))
    }
}

/// Solves a factored system from its last row up; `right` is asked for each row's right side, by its pivot.
fn back_substituted(band: &[[f64; 3]], mut right: impl FnMut(f64) -> f64) -> Vec<f64> {
    let size = band.len();
    let mut found = vec![0.0; size];
    for i in (0..size).rev() {
        let after: f64 = (1..3.min(size - i)).map(|j| band[i][j] * found[i + j]).sum();
        found[i] = (right(band[i][0]) - after) / band[i][0];
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half a day of weather, read in steps of 10 Pa with this noise: root mean square of line less truth, and of the readings.
    fn errors(noise_pa: f64, seed: u64) -> [f64; 2] {
        let mut random = Random::new(seed);
        let time_s: Vec<f64> = (0..2880).map(|i| 15.0 * f64::from(i)).collect();
        let truth: Vec<f64> = time_s.iter().map(|t| 98_432.0 + 40.0 * (t / 9000.0).sin() - 8.0 * t / 3600.0).collect();
        let read: Vec<f64> = truth.iter().map(|p| ((p + noise_pa * random.normal()) / 10.0).round() * 10.0).collect();
        let line = Unstepped::of(Samples::new(&time_s, &read).unwrap(), 0.0).unwrap().room_pa();
        let rms = |found: &[f64]| {
            (found.iter().zip(&truth).map(|(a, b)| (a - b).powi(2)).sum::<f64>() / truth.len() as f64).sqrt()
        };
        [rms(&line), rms(&read)]
    }

    #[test]
    fn the_line_is_closer_than_the_readings_with_and_without_noise() {
        for noise_pa in [0.0, 0.5, 2.0, 5.0] {
            for seed in 0..4 {
                let [line, read] = errors(noise_pa, seed);
                assert!(line < 0.5 * read && line < 1.5, "noise {noise_pa} Pa: {line} Pa against {read} Pa");
            }
        }
    }

    /// With steps of a hectopascal and two crossings the drawn lines spread, and no farther than the readings allow.
    #[test]
    fn drawn_lines_spread_within_what_was_read() {
        let time_s: Vec<f64> = (0..960).map(|i| 15.0 * f64::from(i)).collect();
        let read: Vec<f64> =
            time_s.iter().map(|t| ((98_340.0 + 150.0 * t / 14_400.0) / 100.0).round() * 100.0).collect();
        let line = Unstepped::of(Samples::new(&time_s, &read).unwrap(), 0.0).unwrap();
        let mut random = Random::new(5);
        let drawn: Vec<Vec<f64>> = (0..20).map(|_| line.drawn(&mut random)).collect();
        let spread =
            |i: usize| (drawn.iter().map(|room| (room[i] - line.room_pa()[i]).powi(2)).sum::<f64>() / 20.0).sqrt();
        assert!(
            (2.0..60.0).contains(&spread(0)) && (0.5..60.0).contains(&spread(480)),
            "{} {}",
            spread(0),
            spread(480)
        );
        let farthest = drawn.iter().flat_map(|room| room.iter().zip(&read)).map(|(a, b)| (a - b).abs());
        assert!(farthest.fold(0.0, f64::max) < 60.0);
    }

    #[test]
    fn a_reading_that_never_moved_leaves_open_what_its_stated_step_hides() {
        let time_s: Vec<f64> = (0..240).map(|i| 60.0 * f64::from(i)).collect();
        let line = Unstepped::of(Samples::new(&time_s, &[98_400.0; 240]).unwrap(), 100.0).unwrap();
        let mut random = Random::new(3);
        let drifts: Vec<f64> = (0..20).map(|_| line.drawn(&mut random)).map(|room| room[239] - room[0]).collect();
        let spread = (drifts.iter().map(|by| by * by).sum::<f64>() / 20.0).sqrt();
        assert!((20.0..90.0).contains(&spread), "{spread}");
    }

    #[test]
    fn fine_and_steady_readings_are_left_alone() {
        let time_s = [0.0, 60.0, 120.0, 180.0];
        for value in [[98_400.0; 4], [98_400.0, 98_400.1, 98_400.3, 98_400.1], [98_400.0, 98_410.0, 98_413.0, 98_410.0]]
        {
            assert!(Unstepped::of(Samples::new(&time_s, &value).unwrap(), 0.0).is_none());
        }
    }

    #[test]
    fn a_passing_disturbance_stays() {
        let time_s: Vec<f64> = (0..240).map(|i| 10.0 * f64::from(i)).collect();
        let mut value = vec![98_400.0; 240];
        value[..60].fill(98_410.0);
        value[100..104].fill(98_440.0);
        let line = Unstepped::of(Samples::new(&time_s, &value).unwrap(), 0.0).unwrap().room_pa();
        assert!(line[101] > 98_430.0 && (line[150] - 98_400.0).abs() < 5.0, "{:?}", &line[98..106]);
    }
}
