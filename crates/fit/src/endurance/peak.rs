//! The peak of an excursion: what the gas reached before mixing, sampling and the analyser's response rounded it off.

use super::excursion::Found;
use super::readings::Readings;
use crate::simulate::Random;

/// Possible peaks of one excursion, with weights.
#[derive(Debug, Clone)]
pub(super) struct Peak {
    level_ppm: f64,
    parts: Vec<Part>,
    /// Whether nothing tells how far the content had come down when it was first read.
    unseen: bool,
}

/// One possible peak, as the analyser would have shown it without lag.
#[derive(Debug, Clone, Copy)]
struct Part {
    /// Height over the level, ppm, and its standard deviation.
    height_ppm: f64,
    deviation_ppm: f64,
    /// How far it had come down since the reading before, where the dose came right after that: its logarithm.
    decayed: f64,
    weight: f64,
}

/// The decay is followed down to this share of the peak.
const FOLLOWED: f64 = 0.25;
/// A step of at least this share of the height is a dose.
const JUMP: f64 = 0.25;
/// Readings after the largest that tell a decay, where a lag rounds the top …
const LEAST_DECAY: usize = 3;
/// … and where the lag is less than this part of a step: one is enough …
const SHORT_LAG: f64 = 0.3;
/// … if it lies so many standard deviations above the level.
const TOLD: f64 = 4.0;
const ONSETS: usize = 30;
const TIME_CONSTANTS: usize = 30;
/// How often the grid is narrowed to what the readings leave possible …
const ZOOMS: usize = 6;
/// … which is what fits within so many variances of the best: nearly four standard deviations.
const POSSIBLE: f64 = 14.0;

impl Peak {
    /// One possible peak; `early` from 0 to 1 says where between two readings the dose came.
    pub(super) fn draw(&self, random: &mut Random, early: f64) -> f64 {
        let mut left = random.uniform(0.0, self.parts.iter().map(|part| part.weight).sum());
        let chosen = self.parts.iter().find(|part| {
            left -= part.weight;
            left <= 0.0
        });
        let Some(part) = chosen.or(self.parts.last()) else { return f64::NEG_INFINITY };
        let height_ppm = part.height_ppm + part.deviation_ppm * random.normal();
        self.level_ppm + height_ppm * (early * part.decayed).exp()
    }

    /// The peak of an excursion, seen by an analyser with a first-order response of `tau_s` (0: immediate).
    pub(super) fn of(readings: &Readings, found: &Found, tau_s: f64) -> Self {
        // What follows within a small part of a step follows at once.
        const AT_ONCE: f64 = 0.02;
        let tau_s = if tau_s < AT_ONCE * readings.cadence_s { 0.0 } else { tau_s };
        let shape = Shape::of(readings, found, tau_s);
        if shape.comes_after_gap(readings) {
            return Self { unseen: true, ..gradual(readings, &shape, tau_s) };
        }
        if !shape.is_sharp(readings, tau_s) {
            return gradual(readings, &shape, tau_s);
        }
        dose(readings, &shape, tau_s).unwrap_or_else(|| Self { unseen: true, ..gradual(readings, &shape, tau_s) })
    }

    /// Whether nothing tells how high the content went.
    pub(super) fn is_unseen(&self) -> bool {
        self.unseen
    }
}

/// Where an excursion rises and comes down, by readings.
struct Shape {
    /// Last reading on the level, largest reading, last reading of the decay.
    foot: usize,
    top: usize,
    end: usize,
    level_ppm: f64,
}

impl Shape {
    fn of(readings: &Readings, found: &Found, tau_s: f64) -> Self {
        let (first, last) = (found.first.saturating_sub(1), found.last);
        let value = &readings.ppm;
        let top = (first..=last).max_by(|a, b| value[*a].total_cmp(&value[*b])).unwrap_or(first);
        let height = value[top] - found.level_ppm;
        // Over the rounded top, then down the rise as long as it falls: an excursion may begin on the tail of another.
        let halfway = found.level_ppm + 0.5 * height;
        let noise_ppm = 2.0 * readings.noise_ppm;
        let mut foot = top;
        // Seen without lag, a large last step is a dose of its own, on whatever came before it.
        let is_jump = tau_s <= 0.0 && top > first && value[top] - value[top - 1] > JUMP * height;
        if is_jump {
            foot -= 1;
        }
        // On the rounded top a dip of noise is no foot.
        while !is_jump
            && foot > first
            && (value[foot - 1] < value[foot] - noise_ppm
                || (value[foot] > halfway && value[foot - 1] < value[foot] + 2.0 * noise_ppm))
        {
            foot -= 1;
        }
        // The decay is followed until it is nearly over or another dose comes.
        let down_to = found.level_ppm + FOLLOWED * height;
        let rises = |i: usize| value[i] > value[i - 1] + 4.0 * readings.noise_ppm;
        let end = (top + 1..=last)
            .find(|i| value[*i] < down_to || rises(*i))
            .map_or(last, |i| if rises(i) { i - 1 } else { i });
        let level_ppm = found.level_ppm;
        Self { foot, top, end, level_ppm }
    }

    /// Whether the rise is as steep as the analyser's response and the time between readings let it be seen.
    fn is_sharp(&self, readings: &Readings, tau_s: f64) -> bool {
        let rise_s = readings.time_s[self.top] - readings.time_s[self.foot];
        // A dose just before a reading shows in part there and whole at the next.
        let steps = if tau_s > 0.0 { 2.5 } else { 1.5 };
        rise_s <= steps * readings.cadence_s + 5.0 * tau_s
    }

    /// Whether its largest reading is the first after a gap.
    fn comes_after_gap(&self, readings: &Readings) -> bool {
        let before = self.top.checked_sub(1);
        before.is_some_and(|before| readings.time_s[self.top] - readings.time_s[before] > readings.gap_s)
    }

    /// Whether enough of the decay was read to tell how fast it is.
    fn tells_decay(&self, readings: &Readings, tau_s: f64) -> bool {
        let after = self.end - self.top;
        let is_told = readings.ppm[self.end] - self.level_ppm > TOLD * readings.noise_ppm;
        after >= LEAST_DECAY || (tau_s < SHORT_LAG * readings.cadence_s && (after > 1 || after == 1 && is_told))
    }
}

/// A dose that mixes at once and comes down exponentially, over what is left of the one before. Without lag the readings
/// say nothing of where between two of them it came; with lag they do, and its onset is averaged over.
fn dose(readings: &Readings, shape: &Shape, tau_s: f64) -> Option<Peak> {
    if !shape.tells_decay(readings, tau_s) {
        return None;
    }
    let decay_s = decay_time_s(readings, shape)?;
    // The foot bounds the onset from below: a dose before it would show there.
    let from = if tau_s > 0.0 { shape.foot } else { shape.top };
    let data = Data {
        time: &readings.time_s[from..=shape.end],
        value: &readings.ppm[from..=shape.end],
        level_ppm: shape.level_ppm,
        foot_s: readings.time_s[shape.foot],
        tail_ppm: readings.ppm[shape.foot] - shape.level_ppm,
        tau_s,
    };
    let onset_s = if tau_s > 0.0 {
        [readings.time_s[shape.foot.saturating_sub(1)], readings.time_s[shape.top]]
    } else {
        [readings.time_s[shape.top]; 2]
    };
    let mut grid = Grid { onset_s, log_time: [decay_s.ln() - 1.1, decay_s.ln() + 1.1] };
    let mut scored = grid.score(&data);
    for _ in 0..ZOOMS {
        grid = grid.zoomed(&scored, data.time.len(), readings.noise_ppm)?;
        scored = grid.score(&data);
    }
    let least = scored.iter().map(|s| s.squares).fold(f64::INFINITY, f64::min);
    let variance = variance(least, data.time.len(), readings.noise_ppm);
    let since_foot_s = readings.time_s[shape.top] - readings.time_s[shape.foot];
    let parts: Vec<Part> = scored
        .into_iter()
        .map(|s| Part {
            height_ppm: s.size + data.gas_tail_at(s.onset_s, s.tau_gas_s),
            deviation_ppm: (variance / s.information).sqrt(),
            decayed: if tau_s > 0.0 { 0.0 } else { since_foot_s / s.tau_gas_s },
            weight: (-0.5 * (s.squares - least) / variance).exp(),
        })
        .filter(|part| part.weight > 1e-6 && part.height_ppm.is_finite())
        .collect();
    (!parts.is_empty()).then_some(Peak { level_ppm: shape.level_ppm, parts, unseen: false })
}

/// Variance of a reading about the best curve. Where the decay is not exponential the residuals are larger than the
/// noise, and so must be the doubt.
fn variance(least_squares: f64, readings: usize, noise_ppm: f64) -> f64 {
    let degrees = (readings as f64 - 3.0).max(1.0);
    (least_squares / degrees).max(noise_ppm.powi(2)).max(1e-12)
}

/// Readings of a dose.
struct Data<'a> {
    time: &'a [f64],
    value: &'a [f64],
    level_ppm: f64,
    foot_s: f64,
    /// What was left of the dose before, at the foot.
    tail_ppm: f64,
    tau_s: f64,
}

impl Data<'_> {
    fn tail_at(&self, time_s: f64, tau_gas_s: f64) -> f64 {
        if self.tau_s > 0.0 { self.tail_ppm * (-(time_s - self.foot_s).max(0.0) / tau_gas_s).exp() } else { 0.0 }
    }
}

impl Data<'_> {
    /// What the gas still holds of the dose before; a decay shows late by the lag.
    fn gas_tail_at(&self, time_s: f64, tau_gas_s: f64) -> f64 {
        self.tail_at(time_s, tau_gas_s) * (1.0 - self.tau_s / tau_gas_s).max(0.0)
    }
}

/// Onsets and time constants that are tried.
struct Grid {
    onset_s: [f64; 2],
    log_time: [f64; 2],
}

/// One of them.
struct Scored {
    onset_s: f64,
    tau_gas_s: f64,
    size: f64,
    information: f64,
    squares: f64,
}

impl Grid {
    fn score(&self, data: &Data<'_>) -> Vec<Scored> {
        let onsets = if self.onset_s[1] > self.onset_s[0] { ONSETS } else { 1 };
        let along = |[from, to]: [f64; 2], i: usize, of: usize| from + (to - from) * (i as f64 + 0.5) / of as f64;
        let mut scored = Vec::with_capacity(onsets * TIME_CONSTANTS);
        for i in 0..TIME_CONSTANTS {
            let tau_gas_s = along(self.log_time, i, TIME_CONSTANTS).exp();
            for onset_s in (0..onsets).map(|j| along(self.onset_s, j, onsets)) {
                let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
                for (t, y) in data.time.iter().zip(data.value) {
                    let x = response(t - onset_s, tau_gas_s, data.tau_s);
                    let y = y - data.level_ppm - data.tail_at(*t, tau_gas_s);
                    xx += x * x;
                    xy += x * y;
                    yy += y * y;
                }
                if xx > 0.0 {
                    let squares = (yy - xy * xy / xx).max(0.0);
                    scored.push(Scored { onset_s, tau_gas_s, size: xy / xx, information: xx, squares });
                }
            }
        }
        scored
    }

    /// The part of the grid that the readings leave possible, with a little around it.
    fn zoomed(&self, scored: &[Scored], readings: usize, noise_ppm: f64) -> Option<Self> {
        let least = scored.iter().map(|s| s.squares).fold(f64::INFINITY, f64::min);
        let within = least + POSSIBLE * variance(least, readings, noise_ppm);
        let possible = || scored.iter().filter(|s| s.squares <= within);
        let ends = |part: fn(&Scored) -> f64, [from, to]: [f64; 2], of: usize| {
            let margin = 2.5 * (to - from) / of as f64;
            let low = possible().map(part).fold(f64::INFINITY, f64::min);
            let high = possible().map(part).fold(f64::NEG_INFINITY, f64::max);
            [low - margin, high + margin]
        };
        possible().next()?;
        Some(Self {
            onset_s: ends(|s| s.onset_s, self.onset_s, ONSETS),
            log_time: ends(|s| s.tau_gas_s.ln(), self.log_time, TIME_CONSTANTS),
        })
    }
}

/// What the analyser shows of a unit dose a time after it.
fn response(after_s: f64, tau_gas_s: f64, tau_s: f64) -> f64 {
    if after_s < 0.0 {
        return 0.0;
    }
    if tau_s <= 0.0 {
        return (-after_s / tau_gas_s).exp();
    }
    let ratio = tau_s / tau_gas_s;
    if (ratio - 1.0).abs() < 1e-3 {
        return after_s / tau_s * (-after_s / tau_s).exp();
    }
    ((-after_s / tau_gas_s).exp() - (-after_s / tau_s).exp()) / (1.0 - ratio)
}

/// Time constant of the decay from a straight line through logarithms, weighted by the height.
fn decay_time_s(readings: &Readings, shape: &Shape) -> Option<f64> {
    let (mut w, mut wt, mut wl, mut wtt, mut wtl) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for index in shape.top..=shape.end {
        let height = readings.ppm[index] - shape.level_ppm;
        if height <= 0.0 {
            continue;
        }
        let (t, l, weight) = (readings.time_s[index] - readings.time_s[shape.top], height.ln(), height * height);
        w += weight;
        wt += weight * t;
        wl += weight * l;
        wtt += weight * t * t;
        wtl += weight * t * l;
    }
    let slope = (w * wtl - wt * wl) / (w * wtt - wt * wt);
    (slope < 0.0).then(|| -1.0 / slope)
}

/// A rise that the readings follow: the largest reading, its lag put back by the slope.
fn gradual(readings: &Readings, shape: &Shape, tau_s: f64) -> Peak {
    let (first, last) = (shape.foot, (shape.top + 2).min(readings.len() - 1));
    let slope = |i: usize| {
        let (a, b) = (i.saturating_sub(1), (i + 1).min(readings.len() - 1));
        (readings.ppm[b] - readings.ppm[a]) / (readings.time_s[b] - readings.time_s[a]).max(f64::MIN_POSITIVE)
    };
    let is_followed = tau_s > 0.0 && tau_s < 20.0 * readings.cadence_s;
    let put_back = |i: usize| readings.ppm[i] + if is_followed { tau_s * slope(i) } else { 0.0 };
    let largest = (first..=last).map(put_back).fold(f64::NEG_INFINITY, f64::max);
    let amplified = if is_followed { tau_s / (2.0_f64.sqrt() * readings.cadence_s) } else { 0.0 };
    let deviation_ppm = readings.noise_ppm * 1.0_f64.hypot(amplified);
    let part = Part { height_ppm: largest - shape.level_ppm, deviation_ppm, decayed: 0.0, weight: 1.0 };
    Peak { level_ppm: shape.level_ppm, parts: vec![part], unseen: false }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings of a dose at 1003 s, seen through noise by an analyser with a lag.
    fn readings(tau_s: f64, noise_ppm: f64) -> Readings {
        let mut random = Random::new(4);
        let time_s: Vec<f64> = (0..400).map(|i| f64::from(i) * 10.0).collect();
        let ppm = time_s
            .iter()
            .map(|t| 0.5 + 5.0 * response(t - 1003.0, 400.0, tau_s) + noise_ppm * random.normal())
            .collect();
        Readings {
            ppm,
            status: vec![crate::ppm_rise::ReadingStatus::Measured; 400],
            weight_s: vec![10.0; 400],
            cadence_s: 10.0,
            gap_s: 50.0,
            noise_ppm,
            window_s: [0.0, 3990.0],
            time_s,
            ..Readings::default()
        }
    }

    fn peaks(readings: &Readings, tau_s: f64) -> Vec<f64> {
        let found = Found { first: 101, last: 300, level_ppm: 0.5, marked: false };
        let peak = Peak::of(readings, &found, tau_s);
        let mut random = Random::new(9);
        (0..400).map(|i| peak.draw(&mut random, f64::from(i) / 400.0)).collect()
    }

    #[test]
    fn the_lag_of_the_analyser_is_taken_out_of_a_peak() {
        let drawn = peaks(&readings(20.0, 0.01), 20.0);
        let (mean, deviation) = crate::noise::mean_and_standard_deviation(&drawn);
        assert!((mean - 5.5).abs() < 0.03 && deviation < 0.03, "{mean} {deviation}");
    }

    #[test]
    fn between_two_readings_a_dose_may_have_come_at_any_time() {
        let drawn = peaks(&readings(0.0, 0.01), 0.0);
        let low = drawn.iter().copied().fold(f64::INFINITY, f64::min);
        let high = drawn.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // Just at the reading, or ten seconds before it.
        let at_reading = 5.0 * (-7.0_f64 / 400.0).exp();
        assert!((low - 0.5 - at_reading).abs() < 0.04, "{low}");
        assert!((high - 0.5 - at_reading * (10.0_f64 / 400.0).exp()).abs() < 0.04, "{high}");
    }
}
