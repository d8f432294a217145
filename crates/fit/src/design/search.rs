//! The shortest test that decides.

use super::trial::{Trial, forecast, growth_of_the_difference_pa};
use super::{Demand, Forecast, SetUp};

/// A test that meets the demand.
#[derive(Debug, Clone, PartialEq)]
pub struct Designed {
    /// Pressure difference at the start in Pa.
    pub difference_pa: f64,
    /// Duration of the hold in s.
    pub duration_s: f64,
    /// What to expect of it.
    pub forecast: Forecast,
}

/// Nothing up to the longest duration meets the demand.
#[derive(Debug, Clone, PartialEq)]
pub struct NoDesign {
    /// The longest test and what it would give; `None` where no record could be evaluated.
    pub longest: Option<Designed>,
}

/// A point of the curve of uncertainty against duration.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePoint {
    /// Duration in s.
    pub duration_s: f64,
    /// What to expect.
    pub forecast: Forecast,
}

/// Records behind a step of the search, a point of the curve, and the final figures.
const SEARCH_RECORDS: u64 = 24;
const CURVE_RECORDS: u64 = 16;
const FINAL_RECORDS: u64 = 64;
/// Records behind the margin to the rated pressure: the most of them is met or exceeded once in so many tests.
const MARGIN_RECORDS: u64 = 24;
/// Shortest test that is looked at, s.
const SHORTEST_S: f64 = 900.0;
/// Largest share of the rated pressure that a test starts from.
const SHARE_OF_RATED: f64 = 0.9;

/// Finds the shortest test that meets the demand. `rated_pa` is the rated pressure on the side of the reference
/// pressure; with it the test is made as far from the room's pressure as room and weather allow, without it at the
/// reference pressure. `progress` is told the duration that is tried, in s.
///
/// # Errors
/// [`NoDesign`] where nothing up to the longest duration decides.
pub fn shortest(
    set_up: &SetUp,
    demand: &Demand,
    rated_pa: Option<f64>,
    progress: &mut dyn FnMut(f64),
) -> Result<Designed, Box<NoDesign>> {
    let mut search = Search { set_up, demand, rated_pa, progress };
    let mut below_s = None;
    let mut duration_s = SHORTEST_S.min(demand.longest_s);
    let found = loop {
        let tried = search.try_for(duration_s, SEARCH_RECORDS);
        if let Some(designed) = &tried
            && demand.is_met_by(&designed.forecast)
        {
            break duration_s;
        }
        below_s = Some(duration_s);
        if duration_s >= demand.longest_s {
            return Err(Box::new(NoDesign { longest: tried }));
        }
        duration_s = (2.0 * duration_s).min(demand.longest_s);
    };
    let high_s = search.between(below_s.unwrap_or(found), found, SEARCH_RECORDS);
    search.confirmed(round_duration_s(high_s).min(demand.longest_s))
}

/// Shortest duration below one that meets the demand.
pub(crate) fn shorter_than(set_up: &SetUp, demand: &Demand, rated_pa: Option<f64>, enough_s: f64, records: u64) -> f64 {
    let mut search = Search { set_up, demand, rated_pa, progress: &mut |_| {} };
    round_duration_s(search.between(SHORTEST_S.min(enough_s), enough_s, records)).min(enough_s)
}

struct Search<'a> {
    set_up: &'a SetUp,
    demand: &'a Demand,
    rated_pa: Option<f64>,
    progress: &'a mut dyn FnMut(f64),
}

impl Search<'_> {
    fn try_for(&mut self, duration_s: f64, records: u64) -> Option<Designed> {
        (self.progress)(duration_s);
        let difference_pa = best_difference_pa(self.set_up, self.rated_pa, duration_s);
        let trial = Trial { difference_pa, duration_s, records };
        Some(Designed { difference_pa, duration_s, forecast: forecast(self.set_up, self.demand, trial)? })
    }

    /// Halves the ratio of a duration that does not meet the demand to one that does.
    fn between(&mut self, mut low_s: f64, mut high_s: f64, records: u64) -> f64 {
        while high_s > 1.15 * low_s {
            let middle_s = (low_s * high_s).sqrt();
            let tried = self.try_for(middle_s, records);
            let meets = tried.is_some_and(|designed| self.demand.is_met_by(&designed.forecast));
            if meets { high_s = middle_s } else { low_s = middle_s }
        }
        high_s
    }

    /// More records say whether the duration holds; where it does not, a tenth is added until it does.
    fn confirmed(&mut self, mut duration_s: f64) -> Result<Designed, Box<NoDesign>> {
        loop {
            let tried = self.try_for(duration_s, FINAL_RECORDS);
            match tried {
                Some(designed) if self.demand.is_met_by(&designed.forecast) => return Ok(designed),
                longest if duration_s >= self.demand.longest_s => return Err(Box::new(NoDesign { longest })),
                _ => duration_s = round_duration_s(1.1 * duration_s).min(self.demand.longest_s),
            }
        }
    }
}

/// The pressure difference farthest from the room's that stays within the rated pressure during the test.
fn best_difference_pa(set_up: &SetUp, rated_pa: Option<f64>, duration_s: f64) -> f64 {
    let Some(rated_pa) = rated_pa else { return set_up.reference_pressure_pa };
    let trial = Trial { difference_pa: SHARE_OF_RATED * rated_pa, duration_s, records: MARGIN_RECORDS };
    let allowed = (rated_pa.abs() - growth_of_the_difference_pa(set_up, trial)).min(SHARE_OF_RATED * rated_pa.abs());
    // Never below a quarter: a room that moves the gas by more needs a record that is watched, not a smaller difference.
    let rounded = round_down(allowed).max(0.25 * rated_pa.abs());
    rounded * rated_pa.signum()
}

/// Expanded uncertainty against duration at a pressure difference (Pa), in steps of a factor of 2 around `duration_s`.
/// Durations far beyond the longest of the demand, and those that cannot be evaluated, are left out.
pub fn curve(
    set_up: &SetUp,
    demand: &Demand,
    difference_pa: f64,
    duration_s: f64,
    progress: &mut dyn FnMut(f64),
) -> Vec<CurvePoint> {
    [-2, -1, 0, 1, 2]
        .into_iter()
        .map(|power| duration_s * 2f64.powi(power))
        .filter(|duration_s| (SHORTEST_S / 2.0..=2.0 * demand.longest_s).contains(duration_s))
        .filter_map(|duration_s| {
            progress(duration_s);
            let trial = Trial { difference_pa, duration_s, records: CURVE_RECORDS };
            Some(CurvePoint { duration_s, forecast: forecast(set_up, demand, trial)? })
        })
        .collect()
}

/// Rounds a pressure down to steps of about 5 %.
fn round_down(pressure_pa: f64) -> f64 {
    let step = match pressure_pa {
        p if p >= 1000.0 => 50.0,
        p if p >= 200.0 => 10.0,
        _ => 1.0,
    };
    (pressure_pa / step).floor() * step
}

/// Rounds a duration up to what people plan with.
fn round_duration_s(duration_s: f64) -> f64 {
    let step_s = match duration_s {
        s if s <= 2.0 * 3600.0 => 300.0,
        s if s <= 6.0 * 3600.0 => 600.0,
        s if s <= 24.0 * 3600.0 => 1800.0,
        _ => 3600.0,
    };
    (duration_s / step_s - 1e-9).ceil() * step_s
}
