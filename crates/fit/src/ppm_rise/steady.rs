//! The steady part of any rise, for methods that part a steady inflow from a source that decays.

use super::mixture::Mixture;
pub(crate) use super::species::Approach;
use super::species::{Circumstances, Outcome, fit};
use super::{Outgassing, PpmRiseError, Quantity, Species, Trace, Window, WindowEnd, WindowStart};
use crate::uncertainty::Distribution;

/// A rise parted. Rates are in units of the content a second.
pub(crate) struct SteadyPart {
    /// Steady inflow at content zero.
    pub(crate) inflow: Distribution,
    /// Lower end (2.5 %) of the inflow if walls that were exposed to vacuum only just before still give off gas; `None`
    /// where that is no matter.
    pub(crate) least_beside_walls: Option<f64>,
    /// What the decaying source still gives off at the end of the window.
    pub(crate) outgassing_at_end: Distribution,
    /// Both together at the end, by the model that makes it largest.
    pub(crate) all_at_end: Distribution,
    /// Probability of a power law.
    pub(crate) power_law: f64,
    /// Probability of any decaying source.
    pub(crate) decaying: f64,
    /// Time constant of the slower exponential of the most probable model, s.
    pub(crate) slow_s: Option<f64>,
    /// Readings that move in steps coarser than their noise.
    pub(crate) coarse: bool,
    /// Standard deviation of a reading about its neighbours.
    pub(crate) scatter: f64,
    /// Readings set aside as outliers.
    pub(crate) outliers: usize,
    /// Blocks of readings: time in s on the record's axis, mean reading, fit, and the part of the fit that decays.
    pub(crate) series: [Vec<f64>; 4],
}

const KINDS: [Outgassing; 4] =
    [Outgassing::None, Outgassing::OneExponential, Outgassing::TwoExponentials, Outgassing::PowerLaw];

/// Parts the rise of `trace` in the window; `ceiling` is the content outside, towards which the inflow slackens;
/// `walls_since_s` how long before the window walls were first exposed to vacuum, where what they give off may still look
/// steady.
pub(crate) fn part(
    trace: &Trace<'_>,
    [from_s, to_s]: [f64; 2],
    ceiling: f64,
    approach: Approach,
    walls_since_s: Option<f64>,
) -> Result<SteadyPart, PpmRiseError> {
    // Walls that were pumped on desorb as water does: the models are those of water.
    let species = Species::Water;
    let circumstances = Circumstances {
        species,
        trace,
        window: Window { from_s, to_s, start: WindowStart::Set, end: WindowEnd::Set },
        room_air: Quantity::new(ceiling, 0.0),
        supply: Quantity::default(),
        exchange: None,
        drive: None,
        approach,
        walls_since_s,
    };
    let Outcome::Fitted(fitted) = fit(&circumstances)? else { return Err(PpmRiseError::NoFit { species }) };
    let mixture = &fitted.mixture;
    let per_s = 1.0 / fitted.blocks.span_s;
    let shape = mixture.heaviest().shape;
    let slow_s = match shape.kind {
        Outgassing::OneExponential => Some(shape.u.exp() * fitted.blocks.span_s),
        Outgassing::TwoExponentials => Some(shape.v.exp() * fitted.blocks.span_s),
        Outgassing::None | Outgassing::PowerLaw => None,
    };
    let blocks = &fitted.blocks;
    let all = 0..blocks.len();
    Ok(SteadyPart {
        inflow: mixture.ingress().scaled(per_s),
        least_beside_walls: fitted
            .beside_walls
            .iter()
            .map(|mixture| mixture.ingress().quantile(0.025) * per_s)
            .reduce(f64::min),
        outgassing_at_end: mixture.outgassing_at_end().scaled(per_s),
        all_at_end: largest_at_end(mixture).scaled(per_s),
        power_law: mixture.weight(Outgassing::PowerLaw),
        decaying: 1.0 - mixture.weight(Outgassing::None),
        slow_s,
        coarse: fitted.coarse,
        scatter: blocks.scatter,
        outliers: blocks.outliers,
        series: [
            blocks.time_s.iter().map(|t| t + blocks.origin_s).collect(),
            blocks.value.clone(),
            all.clone().map(|i| fitted.parts.total(i)).collect(),
            all.map(|i| fitted.parts.outgassing[i]).collect(),
        ],
    })
}

fn largest_at_end(mixture: &Mixture) -> Distribution {
    KINDS
        .iter()
        .filter(|&&kind| mixture.weight(kind) > 0.01)
        .filter_map(|&kind| mixture.only(kind))
        .map(|only| only.rate_at_end())
        .max_by(|a, b| a.quantile(0.975).total_cmp(&b.quantile(0.975)))
        .unwrap_or_else(|| mixture.rate_at_end())
}
