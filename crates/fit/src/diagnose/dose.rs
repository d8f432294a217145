//! Doses: what transfers and switched-on purifiers leave in a log, with their size and the speed of their decay.

use super::grid::{Grid, State};
use super::log::Species;
use super::robust::{deviation_from_absolute, quantile_in_place};

/// The base line is a low quantile within this reach, h.
const REACH_H: f64 = 2.0;
const BASE_QUANTILE: f64 = 0.3;
/// A jump of so many standard deviations of a reading starts a dose, if it also is such a share of the base line.
const JUMP: f64 = 6.0;
const JUMP_OF_BASE: f64 = 0.25;
/// A dose has its peak within this time of its start, h.
const TO_PEAK_H: f64 = 0.35;
/// It is over at this share of its height.
const OVER: f64 = 0.05;
/// A dose comes down to this share within [`LONGEST_H`]; what stays up was a change of the floor.
const COMES_DOWN: f64 = 0.4;
const LONGEST_H: f64 = 4.0;
/// Decays known worse than this tell nothing.
const WORST_DECAY: f64 = 0.4;
/// A decay is seen over so many of its own time constants; what falls less by the line through it is a floor that moves.
const LEAST_FALL: f64 = 0.7;

/// One dose of one species.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Dose {
    /// First and last step.
    pub(super) span: [usize; 2],
    /// Area over the base line in ppm·h; by noise it may be negative.
    pub(super) area: Option<f64>,
    /// Logarithm of the decay rate in 1/h, and its standard uncertainty.
    pub(super) decay: Option<[f64; 2]>,
    /// Whether it follows a switching on, not a transfer.
    pub(super) is_pull_down: bool,
}

/// What the log of one species shows apart from its floor.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Doses {
    /// All doses in order of time.
    pub(super) doses: Vec<Dose>,
    /// Steps that tell nothing of the floor.
    pub(super) busy: Vec<bool>,
    /// Standard deviation of the noise of one step, ppm.
    pub(super) noise_ppm: f64,
}

/// Finds the doses of a species.
pub(super) fn find(grid: &Grid, species: Species) -> Doses {
    let content = &grid.content[species.index()];
    let noise_ppm = noise(grid, content);
    let base = base_line(grid, content);
    let mut found = Doses { doses: Vec::new(), busy: vec![false; grid.len()], noise_ppm };
    let search = Search { grid, content, base: &base, noise_ppm };
    let mut index = 1;
    while index < grid.len() {
        let next = search.start(index).and_then(|start| search.dose(start));
        if let Some(dose) = next {
            found.busy[dose.span[0]..=dose.span[1]].fill(true);
            index = dose.span[1].max(index) + 1;
            found.doses.push(dose);
        } else {
            index += 1;
        }
    }
    found
}

/// Standard deviation of one step's noise, from differences of neighbours.
fn noise(grid: &Grid, content: &[f64]) -> f64 {
    let pairs = content.windows(2).zip(grid.state.windows(2));
    let quiet = pairs.filter(|(_, state)| state[0] == State::On && state[1] == State::On);
    let mut steps: Vec<f64> = quiet.map(|(pair, _)| pair[1] - pair[0]).filter(|step| step.is_finite()).collect();
    if steps.is_empty() {
        return 0.0;
    }
    let mean = steps.iter().map(|step| step.abs()).sum::<f64>() / steps.len() as f64;
    let robust = deviation_from_absolute(&mut steps) / std::f64::consts::SQRT_2;
    // A coarse display shows the same figure most of the time; then the median of its steps is no noise.
    if robust > 0.0 { robust } else { mean }
}

/// A low quantile of the content around each step while the purifier runs.
fn base_line(grid: &Grid, content: &[f64]) -> Vec<f64> {
    let block = ((0.5 / grid.step_h) as usize).max(1);
    let reach = ((REACH_H / grid.step_h) as usize).max(3);
    let mut base = vec![f64::NAN; grid.len()];
    let mut window = Vec::new();
    for start in (0..grid.len()).step_by(block) {
        let middle = start + block / 2;
        let range = middle.saturating_sub(reach)..(middle + reach + 1).min(grid.len());
        window.clear();
        window.extend(range.filter(|i| grid.state[*i] == State::On && content[*i].is_finite()).map(|i| content[i]));
        let end = (start + block).min(grid.len());
        base[start..end].fill(quantile_in_place(&mut window, BASE_QUANTILE));
    }
    base
}

struct Search<'a> {
    grid: &'a Grid,
    content: &'a [f64],
    base: &'a [f64],
    noise_ppm: f64,
}

/// Where a dose starts, and by what it is known.
#[derive(Clone, Copy)]
struct Start {
    index: usize,
    is_marked: bool,
    is_pull_down: bool,
}

impl Search<'_> {
    fn start(&self, index: usize) -> Option<Start> {
        let grid = self.grid;
        if grid.state[index] == State::On && grid.state[index - 1] != State::On {
            return Some(Start { index, is_marked: true, is_pull_down: true });
        }
        if grid.state[index] != State::On {
            return None;
        }
        if grid.transfer.as_ref().is_some_and(|starts| starts[index]) {
            return Some(Start { index, is_marked: true, is_pull_down: false });
        }
        let before = self.content[index - 1];
        let jump = self.content[index] - before;
        let least = (JUMP * self.noise_ppm).max(JUMP_OF_BASE * self.base[index].max(0.0));
        (jump > least && self.content[index] - self.base[index] > least).then_some(Start {
            index,
            is_marked: false,
            is_pull_down: false,
        })
    }

    fn dose(&self, start: Start) -> Option<Dose> {
        let within = |hours: f64| ((hours / self.grid.step_h) as usize).max(2);
        let last = (start.index + within(LONGEST_H)).min(self.grid.len() - 1);
        let end_of_run = (start.index..=last).find(|i| self.grid.state[*i] != State::On).map_or(last, |i| i - 1);
        let to_peak = (start.index + within(TO_PEAK_H)).min(end_of_run);
        let peak = (start.index..=to_peak)
            .filter(|i| self.content[*i].is_finite())
            .max_by(|a, b| self.content[*a].total_cmp(&self.content[*b]))?;
        // A change of the floor moves the base line after a while; a dose must come back to where it came from.
        let floor = if start.is_pull_down { self.base[last] } else { self.base[start.index.saturating_sub(1)] };
        let floor = if floor.is_finite() { floor } else { self.base[peak] };
        let height = self.content[peak] - floor;
        let seen = height > 4.0 * self.noise_ppm;
        let over = floor + (2.0 * self.noise_ppm).max(OVER * height);
        let next = |i: usize| i > peak + 1 && self.is_next(i);
        let mut end = end_of_run;
        let mut whole = false;
        for i in peak..=end_of_run {
            if next(i) {
                end = i - 1;
                break;
            }
            let below = |i: usize| self.content.get(i).is_none_or(|value| value.is_nan() || *value <= over);
            if below(i) && below(i + 1) {
                (end, whole) = (i, true);
                break;
            }
        }
        let lowest = (peak..=end).map(|i| self.content[i]).filter(|v| v.is_finite()).fold(f64::INFINITY, f64::min);
        let comes_down = lowest - floor < COMES_DOWN * height;
        if !(start.is_marked || seen && comes_down) {
            return None;
        }
        if start.is_marked && !comes_down && !whole {
            // A transfer whose trace does not come down leaves a changed floor, or nothing: only its first part is busy.
            let span = [start.index, (start.index + within(0.25)).min(end)];
            return Some(Dose { span, area: None, decay: None, is_pull_down: start.is_pull_down });
        }
        // Marked doses count whatever their size: to keep only those that stand out would make a noisy floor look like
        // larger doses.
        let counts = !start.is_pull_down && if self.grid.transfer.is_some() { start.is_marked } else { whole && seen };
        let area = counts.then(|| self.area([start.index, end], floor));
        let decay = seen.then(|| self.decay(peak, end, floor, height)).flatten();
        Some(Dose { span: [start.index, end], area, decay, is_pull_down: start.is_pull_down })
    }

    fn is_next(&self, index: usize) -> bool {
        if self.grid.transfer.is_some() {
            return self.grid.transfer.as_ref().is_some_and(|starts| starts[index]);
        }
        self.start(index).is_some()
    }

    fn area(&self, span: [usize; 2], floor: f64) -> f64 {
        let over = self.content[span[0]..=span[1]].iter().filter(|v| v.is_finite()).map(|v| v - floor);
        over.sum::<f64>() * self.grid.step_h
    }

    /// ln of the decay rate by a weighted straight line through the logarithms; from one step after the peak, when
    /// the dose has mixed.
    fn decay(&self, peak: usize, end: usize, floor: f64, height: f64) -> Option<[f64; 2]> {
        let least = (4.0 * self.noise_ppm).max(0.06 * height);
        let points: Vec<[f64; 3]> = (peak + 1..=end)
            .map_while(|i| {
                let over = self.content[i] - floor;
                (over.is_finite() && over > least).then(|| [self.grid.time_h(i), over.ln(), (over / height).powi(2)])
            })
            .collect();
        if points.len() < 3 {
            return None;
        }
        let sum = |f: &dyn Fn(&[f64; 3]) -> f64| points.iter().map(f).sum::<f64>();
        let weight = sum(&|p| p[2]);
        let [t, y] = [sum(&|p| p[2] * p[0]) / weight, sum(&|p| p[2] * p[1]) / weight];
        let spread = sum(&|p| p[2] * (p[0] - t).powi(2));
        let slope = sum(&|p| p[2] * (p[0] - t) * (p[1] - y)) / spread;
        let residual = sum(&|p| p[2] * (p[1] - y - slope * (p[0] - t)).powi(2)) / (points.len() as f64 - 2.0);
        let sd = (residual.max((self.noise_ppm / height).powi(2)) / spread).sqrt();
        let relative = (sd / slope.abs()).hypot(0.05);
        let fall = -slope * (points[points.len() - 1][0] - points[0][0]);
        (fall > LEAST_FALL && relative < WORST_DECAY).then(|| [(-slope).ln(), relative])
    }
}
