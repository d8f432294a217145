//! The one measurement that would tell the leading explanations apart best.

use super::compare::Weighed;
use super::feature::{Circumstances, Features, Kind, Row, Stream};
use super::hypothesis::Cause;
use super::log::Species;
use super::model::{Effect, PARAMETERS, Point, Setting, place, predict};
use crate::simulate::Random;

/// What could be measured next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Measurement {
    /// Rise of oxygen and water with the purifier off: ppm/h each.
    Rise,
    /// The same without and with an under-pressure of [`UNDER_PRESSURE_PA`]: oxygen, ppm/h each.
    RiseAtTwoPressures,
    /// The analysers on gas of known content: error of oxygen and of water, ppm.
    ZeroCheck,
    /// The decay of a dose: time constants of oxygen and of water, h.
    Dose,
    /// The supplied gas straight on the analysers: what the make-up brings, ppm/h of oxygen and of water.
    Supply,
    /// The circulation flow: over what it was.
    Flow,
    /// Transfers written down for a week: number a day and size over what they were.
    Transfers,
}

/// The under-pressure of a comparison, Pa. A plan's rated pressure may ask for less.
pub const UNDER_PRESSURE_PA: f64 = 200.0;

/// A measurement with what each explanation predicts.
#[derive(Debug, Clone, PartialEq)]
pub struct Next {
    /// What to measure.
    pub measurement: Measurement,
    /// Expected information on which explanation is true, bits.
    pub gain_bits: f64,
    /// Cause, its probability and what it predicts, in the units of the measurement; most probable first.
    pub predictions: Vec<(Cause, f64, [f64; 2])>,
}

const ALL: [Measurement; 7] = [
    Measurement::Rise,
    Measurement::RiseAtTwoPressures,
    Measurement::ZeroCheck,
    Measurement::Dose,
    Measurement::Supply,
    Measurement::Flow,
    Measurement::Transfers,
];

/// The best measurement. `species` says which analysers there are.
pub(super) fn best(weighed: &[Weighed], probabilities: &[f64], features: &Features, setting: &Setting) -> Next {
    let situation = Situation { features, setting, at: at_the_end(features) };
    let mut order: Vec<usize> = (0..weighed.len()).filter(|i| weighed[*i].cause != Cause::NoneOfThese).collect();
    order.sort_by(|a, b| probabilities[*b].total_cmp(&probabilities[*a]));
    let each = ALL.iter().map(|measurement| {
        let predictions: Vec<(Cause, f64, [f64; 2])> = order
            .iter()
            .map(|i| (weighed[*i].cause, probabilities[*i], situation.outcome(*measurement, &weighed[*i])))
            .collect();
        Next { measurement: *measurement, gain_bits: situation.gain(*measurement, &predictions), predictions }
    });
    let best = each.reduce(|best, next| if next.gain_bits > best.gain_bits + 0.02 { next } else { best });
    best.unwrap_or(Next { measurement: Measurement::Rise, gain_bits: 0.0, predictions: Vec::new() })
}

/// Circumstances of the last tenth of the log.
fn at_the_end(features: &Features) -> Circumstances {
    let floors = features.streams.iter().filter(|stream| matches!(stream.kind, Kind::Floor(_) | Kind::Rise(_)));
    let rows: Vec<&Row> =
        floors.flat_map(|stream| &stream.rows).filter(|row| row.time_h > 0.9 * features.duration_h).collect();
    let n = rows.len() as f64;
    if rows.is_empty() {
        return Circumstances { makeup: 1.0, ..Circumstances::default() };
    }
    let mean = |f: fn(&Row) -> f64| rows.iter().map(|row| f(row)).sum::<f64>() / n;
    Circumstances {
        under_pressure_pa: mean(|row| row.at.under_pressure_pa),
        over_pressure_pa: mean(|row| row.at.over_pressure_pa),
        makeup: mean(|row| row.at.makeup),
        ln_flow: mean(|row| row.at.ln_flow),
        ..Circumstances::default()
    }
}

struct Situation<'a> {
    features: &'a Features,
    setting: &'a Setting,
    at: Circumstances,
}

impl Situation<'_> {
    fn value(&self, kind: Kind, weighed: &Weighed, at: Circumstances) -> f64 {
        // On a scale of its own size the number itself comes back.
        let stream = Stream { kind, scale: 0.0, rows: Vec::new() };
        let time_h = self.features.duration_h;
        let row = Row { time_h, value: 0.0, y: 0.0, sd: 1.0, censored: false, at };
        predict(
            &stream,
            &row,
            &Point::from(&weighed.account.theta),
            &weighed.account.changes,
            self.setting,
            &mut [0.0; PARAMETERS],
        )
    }

    fn outcome(&self, measurement: Measurement, weighed: &Weighed) -> [f64; 2] {
        let both =
            |f: &dyn Fn(Species) -> f64| Species::BOTH.map(|species| if self.has(species) { f(species) } else { 0.0 });
        let amplitude = |of: fn(Effect) -> [Option<usize>; 2]| {
            let mut sums = [0.0; 2];
            for change in &weighed.account.changes {
                for (sum, place) in sums.iter_mut().zip(of(change.effect)) {
                    *sum += place.map_or(0.0, |place| weighed.account.theta[place].exp());
                }
            }
            sums
        };
        match measurement {
            Measurement::Rise => both(&|species| self.value(Kind::Rise(species), weighed, self.at)),
            Measurement::RiseAtTwoPressures => {
                let rise = |pa: f64| {
                    let at = Circumstances { under_pressure_pa: pa, ..self.at };
                    self.value(Kind::Rise(Species::Oxygen), weighed, at)
                };
                if self.has(Species::Oxygen) && self.features.has_pressure {
                    [rise(0.0), rise(UNDER_PRESSURE_PA)]
                } else {
                    [0.0; 2]
                }
            }
            Measurement::ZeroCheck => both(&|species| {
                let drift = weighed.account.changes.iter().map(|change| match change.effect {
                    Effect::Drift { species: own, size, sign } if own == species => {
                        sign * weighed.account.theta[size].exp()
                    }
                    _ => 0.0,
                });
                weighed.account.theta[place::ZERO[species.index()]] + drift.sum::<f64>()
            }),
            Measurement::Dose => both(&|species| (-self.value(Kind::Decay(species), weighed, self.at)).exp()),
            Measurement::Supply => {
                let more = amplitude(|effect| match effect {
                    Effect::Supply(places) => places,
                    _ => [None; 2],
                });
                both(&|species| weighed.account.theta[place::SUPPLY[species.index()]].exp() + more[species.index()])
            }
            Measurement::Flow => {
                let fall = amplitude(|effect| match effect {
                    Effect::Flow(size) => [Some(size), None],
                    _ => [None; 2],
                });
                [(-fall[0]).exp(), 0.0]
            }
            Measurement::Transfers => {
                let growth = amplitude(|effect| match effect {
                    Effect::Transfers { count, size } => [count, size],
                    _ => [None; 2],
                });
                growth.map(f64::exp)
            }
        }
    }

    fn has(&self, species: Species) -> bool {
        self.features.stream(Kind::Floor(species)).is_some() || self.features.stream(Kind::Rise(species)).is_some()
    }

    /// Expected information in bits, by draws of outcomes.
    fn gain(&self, measurement: Measurement, predictions: &[(Cause, f64, [f64; 2])]) -> f64 {
        const DRAWS: usize = 60;
        /// Relative standard deviation of a careful measurement together with what an explanation leaves open.
        const RELATIVE: f64 = 0.25;
        let scale = |k: usize, value: f64| match measurement {
            Measurement::ZeroCheck => value / (0.5 * self.setting.floor[k] + 0.02),
            Measurement::Supply => value / (0.5 * self.setting.ingress[k]),
            _ if value > 0.0 => value.ln() / RELATIVE,
            _ => 0.0,
        };
        let points: Vec<(f64, [f64; 2])> =
            predictions.iter().map(|(_, p, outcome)| (*p, [0, 1].map(|k| scale(k, outcome[k])))).collect();
        let total: f64 = points.iter().map(|(p, _)| p).sum();
        let mut random = Random::new(8);
        let mut gain = 0.0;
        for (p, centre) in points.iter().filter(|(p, _)| *p > 0.005) {
            for _ in 0..DRAWS {
                let y = centre.map(|value| value + random.normal());
                let likelihood =
                    |centre: &[f64; 2]| (-0.5 * ((y[0] - centre[0]).powi(2) + (y[1] - centre[1]).powi(2))).exp();
                let all: f64 = points.iter().map(|(q, other)| q / total * likelihood(other)).sum();
                gain += p / total * (likelihood(centre) / all.max(1e-300)).log2() / DRAWS as f64;
            }
        }
        gain.max(0.0)
    }
}
