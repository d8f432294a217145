//! Short excursions above the level: transfers, mostly.

use super::readings::Readings;

/// A short excursion of the content.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Excursion {
    /// From the last reading on the level to the first that is back, s.
    pub span_s: [f64; 2],
    /// Largest reading, ppm.
    pub peak_ppm: f64,
    /// Whether the record marks a transfer there.
    pub marked: bool,
}

/// An excursion by the readings that belong to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    /// First and last reading.
    pub(super) first: usize,
    pub(super) last: usize,
    /// Level beside it, ppm.
    pub(super) level_ppm: f64,
    pub(super) marked: bool,
}

/// Level of the record over time, and how much it scatters.
pub(super) struct Baseline {
    bin_s: f64,
    start_s: f64,
    ppm: Vec<f64>,
    spread_ppm: f64,
}

/// An excursion rises by so many standard deviations …
const RISE: f64 = 7.0;
/// … and is over at so many.
const BACK: f64 = 2.0;
/// What lasts longer than this share of the record is its course, not an excursion.
const LONGEST_SHARE: f64 = 0.1;
/// The level is the median of so many bins to either side.
const REACH: usize = 8;
/// A mark belongs to an excursion that begins within so many seconds, or so many cadences, after it.
const MARK_REACH_S: f64 = 900.0;
const MARK_REACH_CADENCES: f64 = 3.0;
const MEDIAN_OF_ABSOLUTE_NORMAL: f64 = 0.674_489_75;

/// The excursions of a record. Those that last as long as the level is averaged over lift it where they are: it is taken
/// again without them, and they are looked for again.
///
/// Where gas and analyser may go up and down within two steps between readings, a single reading is an excursion.
pub(super) fn find(readings: &Readings, transfers_s: &[[f64; 2]], may_be_lone: bool) -> (Vec<Found>, Baseline) {
    let lifted = Baseline::of(readings, &[]);
    let baseline = Baseline::of(readings, &search(readings, transfers_s, &lifted));
    let mut found = search(readings, transfers_s, &baseline);
    if may_be_lone {
        let lone = lone_readings(readings, &found, &baseline);
        found.extend(lone.into_iter().map(|index| Found {
            first: index,
            last: index,
            level_ppm: baseline.at(readings.time_s[index]),
            marked: is_marked(readings, index, index, transfers_s),
        }));
        found.sort_by_key(|excursion| excursion.first);
    }
    (found, baseline)
}

/// A lone reading this many standard deviations out is a spike, or a very short excursion.
const SPIKE: f64 = 8.0;

/// Lone readings far above both their neighbours, outside the excursions.
pub(super) fn lone_readings(readings: &Readings, found: &[Found], baseline: &Baseline) -> Vec<usize> {
    let inside = |i: usize| found.iter().any(|f| (f.first..=f.last).contains(&i));
    let far = SPIKE * readings.noise_ppm;
    (1..readings.len().saturating_sub(1))
        .filter(|i| {
            let value = &readings.ppm;
            let neighbours = value[i - 1].max(value[i + 1]);
            value[*i] > neighbours + far && neighbours < baseline.at(readings.time_s[*i]) + far && !inside(*i)
        })
        .collect()
}

fn search(readings: &Readings, transfers_s: &[[f64; 2]], baseline: &Baseline) -> Vec<Found> {
    let scatter = readings.noise_ppm.max(baseline.spread_ppm);
    let calm = median_of_three(&readings.ppm);
    let span_s = readings.time_s[readings.len() - 1] - readings.time_s[0];
    let mut found: Vec<Found> = Vec::new();
    let mut index = 0;
    while index < readings.len() {
        let level_ppm = baseline.at(readings.time_s[index]);
        if calm[index] <= level_ppm + RISE * scatter {
            index += 1;
            continue;
        }
        let floor = found.last().map_or(0, |before| before.last + 1);
        let is_out = |i: usize| calm[i] > baseline.at(readings.time_s[i]) + BACK * scatter;
        let first = (floor..index).rev().find(|i| !is_out(*i)).map_or(floor, |i| i + 1);
        // Two readings on the level, so that noise does not cut the tail off early.
        let mut last = index;
        while last + 1 < readings.len() && (is_out(last + 1) || (last + 2 < readings.len() && is_out(last + 2))) {
            last += 1;
        }
        if readings.time_s[last] - readings.time_s[first] < LONGEST_SHARE * span_s {
            let marked = is_marked(readings, first, last, transfers_s);
            found.push(Found { first, last, level_ppm, marked });
        }
        index = last + 1;
    }
    found
}

fn is_marked(readings: &Readings, first: usize, last: usize, transfers_s: &[[f64; 2]]) -> bool {
    let span_s = [readings.time_s[first.saturating_sub(1)], readings.time_s[last]];
    transfers_s.iter().any(|mark| is_of(readings, *mark, span_s))
}

/// Whether what a mark stands for may have made the content rise in a span.
pub(super) fn is_of(readings: &Readings, mark: [f64; 2], span_s: [f64; 2]) -> bool {
    let reach_s = MARK_REACH_S.max(MARK_REACH_CADENCES * readings.cadence_s);
    mark[0] <= span_s[1] && mark[1] >= span_s[0] - reach_s
}

impl Baseline {
    /// From the readings outside `excursions`; where these are all that there is, from all.
    fn of(readings: &Readings, excursions: &[Found]) -> Self {
        let start_s = readings.time_s[0];
        let span_s = readings.time_s[readings.len() - 1] - start_s;
        let bin_s = (span_s / 600.0).max(10.0 * readings.cadence_s).max(f64::MIN_POSITIVE);
        let mut medians: Vec<Option<f64>> = Vec::new();
        let mut first = 0;
        while first < readings.len() {
            let bin = ((readings.time_s[first] - start_s) / bin_s) as usize;
            let end_s = start_s + (bin + 1) as f64 * bin_s;
            let count = readings.time_s[first..].partition_point(|t| *t < end_s).max(1);
            let last = first + count - 1;
            let is_out = excursions.iter().any(|f| f.first <= last && first <= f.last);
            medians.resize(bin, None);
            medians.push((!is_out).then(|| median(readings.ppm[first..=last].to_vec())));
            first += count;
        }
        if medians.iter().all(Option::is_none) {
            return Self::of(readings, &[]);
        }
        let bins = medians.iter().flatten().count();
        // Beside an excursion the level is that of the nearest bins on either side.
        let near = |bin: usize| {
            let at = |reach: usize| -> Vec<f64> {
                let range = bin.saturating_sub(reach)..(bin + reach + 1).min(medians.len());
                medians[range].iter().copied().flatten().collect()
            };
            let values = (REACH..).step_by(REACH).map(at).find(|values| values.len() >= REACH.min(bins));
            values.map_or(f64::NAN, median)
        };
        let ppm: Vec<f64> = (0..medians.len()).map(near).collect();
        let deviations: Vec<f64> =
            medians.iter().zip(&ppm).filter_map(|(m, level)| m.map(|m| (m - level).abs())).collect();
        Self { bin_s, start_s, ppm, spread_ppm: median(deviations) / MEDIAN_OF_ABSOLUTE_NORMAL }
    }

    /// Level at a time, ppm.
    pub(super) fn at(&self, time_s: f64) -> f64 {
        let bin = ((time_s - self.start_s) / self.bin_s) as usize;
        self.ppm[bin.min(self.ppm.len() - 1)]
    }
}

/// The median of values of which there is at least one.
fn median(mut values: Vec<f64>) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

fn median_of_three(value: &[f64]) -> Vec<f64> {
    let mut calm = value.to_vec();
    for index in 1..value.len().saturating_sub(1) {
        let (a, b, c) = (value[index - 1], value[index], value[index + 1]);
        calm[index] = a.min(b).max(a.max(b).min(c));
    }
    calm
}
