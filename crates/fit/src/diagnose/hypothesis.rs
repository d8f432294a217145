//! The explanations that are compared, each with the ways it may come about.

use super::feature::{Features, Kind};
use super::log::Species;
use super::model::{BASE, Effect, Prior, Profile, Setting};

/// Why oxygen or water rose, or that nothing did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// A new or larger leak.
    Leak,
    /// Gloves, or other elastomers, let more through.
    GlovePermeation,
    /// The purifier takes less out of the gas that passes it.
    PurifierCapacity,
    /// Less gas passes the purifier.
    CirculationFlow,
    /// Walls or goods give off more.
    Outgassing,
    /// The zero of an analyser moved.
    AnalyserDrift,
    /// The supplied gas is less pure.
    SupplyGas,
    /// More or larger transfers.
    Transfers,
    /// Nothing changed.
    NothingChanged,
    /// Something changed in a way that none of these explains.
    NoneOfThese,
}

impl Cause {
    /// All, in the order of the documents.
    pub const ALL: [Self; 10] = [
        Self::Leak,
        Self::GlovePermeation,
        Self::PurifierCapacity,
        Self::CirculationFlow,
        Self::Outgassing,
        Self::AnalyserDrift,
        Self::SupplyGas,
        Self::Transfers,
        Self::NothingChanged,
        Self::NoneOfThese,
    ];

    /// Its name in results.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Leak => "leak",
            Self::GlovePermeation => "glove_permeation",
            Self::PurifierCapacity => "purifier_capacity",
            Self::CirculationFlow => "circulation_flow",
            Self::Outgassing => "outgassing",
            Self::AnalyserDrift => "analyser_drift",
            Self::SupplyGas => "supply_gas",
            Self::Transfers => "transfers",
            Self::NothingChanged => "nothing_changed",
            Self::NoneOfThese => "none_of_these",
        }
    }

    /// Whether it says that something in particular changed.
    #[must_use]
    pub fn is_change(self) -> bool {
        !matches!(self, Self::NothingChanged | Self::NoneOfThese)
    }
}

/// One way in which a cause may come about, but for the time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hypothesis {
    pub(super) cause: Cause,
    pub(super) effect: Effect,
    pub(super) profile: Profile,
    /// Prior mean and standard deviation of each amplitude.
    pub(super) amplitudes: Vec<[f64; 2]>,
    /// Logarithm of its share among the ways of its cause.
    pub(super) ln_share: f64,
}

/// Spread of amplitudes: a factor of two and a half either way.
const SIZE_SD: f64 = 0.9;
/// Falls and growths of logarithms: a factor of 2.2, mostly between 1.5 and 4.
const FALL: [f64; 2] = [-0.22, 0.6];

impl Hypothesis {
    /// The same with its amplitudes `by` places further on.
    pub(super) fn moved(&self, by: usize) -> Effect {
        let some = |sizes: [Option<usize>; 2]| sizes.map(|size| size.map(|size| size + by));
        match self.effect {
            Effect::Leak { size, makeup } => Effect::Leak { size: size + by, makeup: makeup + by },
            Effect::Permeation { size, ratio } => Effect::Permeation { size: size + by, ratio: ratio + by },
            Effect::Capacity(sizes) => Effect::Capacity(some(sizes)),
            Effect::Flow(size) => Effect::Flow(size + by),
            Effect::Outgassing { water, oxygen } => {
                Effect::Outgassing { water: water + by, oxygen: oxygen.map(|oxygen| oxygen + by) }
            }
            Effect::Drift { species, size, sign } => Effect::Drift { species, size: size + by, sign },
            Effect::Supply(sizes) => Effect::Supply(some(sizes)),
            Effect::Transfers { count, size } => {
                Effect::Transfers { count: count.map(|c| c + by), size: size.map(|s| s + by) }
            }
        }
    }

    /// Puts its amplitudes into a prior, from `at` on.
    pub(super) fn extend(&self, prior: &mut Prior, at: usize) {
        for (index, [mean, sd]) in self.amplitudes.iter().enumerate() {
            prior.mean[at + index] = *mean;
            prior.sd[at + index] = *sd;
        }
    }
}

/// Every way of every cause that this log could show.
pub(super) fn all(features: &Features, setting: &Setting) -> Vec<Hypothesis> {
    let seen = Species::BOTH.map(|species| {
        features.stream(Kind::Floor(species)).is_some() || features.stream(Kind::Rise(species)).is_some()
    });
    let mut ways = Ways { list: Vec::new(), long_h: 0.25 * features.duration_h };
    leak(&mut ways, setting, seen);
    permeation(&mut ways, setting, seen);
    capacity(&mut ways, seen);
    ways.add(Cause::CirculationFlow, Effect::Flow(BASE), &[FALL], 0.0, &GRADUAL);
    outgassing(&mut ways, setting, seen);
    drift(&mut ways, setting, seen);
    supply(&mut ways, setting, seen);
    transfers(&mut ways, features);
    whole(&mut ways.list);
    ways.list
}

/// Makes the shares of each cause's ways whole again where some of them cannot be seen in this log.
fn whole(ways: &mut [Hypothesis]) {
    for cause in Cause::ALL {
        let sum: f64 = ways.iter().filter(|way| way.cause == cause).map(|way| way.ln_share.exp()).sum();
        for way in ways.iter_mut().filter(|way| way.cause == cause) {
            way.ln_share -= sum.ln();
        }
    }
}

/// Shares of step, ramp, bend and ramp that ends.
type Shares = [f64; 4];
const SUDDEN: Shares = [0.65, 0.2, 0.0, 0.15];
const GRADUAL: Shares = [0.45, 0.35, 0.0, 0.2];
const CREEPING: Shares = [0.15, 0.4, 0.25, 0.2];

struct Ways {
    list: Vec<Hypothesis>,
    long_h: f64,
}

impl Ways {
    fn add(&mut self, cause: Cause, effect: Effect, amplitudes: &[[f64; 2]], ln_share: f64, shares: &Shares) {
        let profiles = [Profile::Step, Profile::Ramp, Profile::Bend, Profile::RampTo(self.long_h)];
        for (profile, share) in profiles.into_iter().zip(shares).filter(|(_, share)| **share > 0.0) {
            self.one(cause, effect, amplitudes, ln_share + share.ln(), profile);
        }
    }

    fn one(&mut self, cause: Cause, effect: Effect, amplitudes: &[[f64; 2]], ln_share: f64, profile: Profile) {
        self.list.push(Hypothesis { cause, effect, profile, amplitudes: amplitudes.to_vec(), ln_share });
    }
}

fn leak(ways: &mut Ways, setting: &Setting, seen: [bool; 2]) {
    let ingress = if seen[0] { setting.ingress[0] } else { setting.ingress[1] / setting.air_ratio };
    let size = [(ingress / setting.leak_pressure_pa).ln(), SIZE_SD];
    ways.add(Cause::Leak, Effect::Leak { size: BASE, makeup: BASE + 1 }, &[size, [(0.3_f64).ln(), 1.0]], 0.0, &SUDDEN);
}

fn permeation(ways: &mut Ways, setting: &Setting, seen: [bool; 2]) {
    let [ratio, ratio_sd] = setting.ln_permeation_ratio;
    // Of one species alone the other is what its ratio makes it.
    let of_water = setting.ingress[1].ln() - ratio;
    let mean = match seen {
        [true, true] => 0.5 * (setting.ingress[0].ln() + of_water),
        [true, false] => setting.ingress[0].ln(),
        _ => of_water,
    };
    let amplitudes = [[mean, SIZE_SD], [ratio, ratio_sd]];
    ways.add(Cause::GlovePermeation, Effect::Permeation { size: BASE, ratio: BASE + 1 }, &amplitudes, 0.0, &GRADUAL);
}

fn capacity(ways: &mut Ways, seen: [bool; 2]) {
    for (species, share) in struck(seen) {
        let (sizes, count) = places(species);
        ways.add(Cause::PurifierCapacity, Effect::Capacity(sizes), &vec![FALL; count], share.ln(), &CREEPING);
    }
}

fn outgassing(ways: &mut Ways, setting: &Setting, seen: [bool; 2]) {
    const FADING_H: [f64; 3] = [24.0, 72.0, 200.0];
    /// What gives off water gives off little oxygen: ln of the one over the other.
    const OXYGEN: [f64; 2] = [-4.0, 1.3];
    for (with_oxygen, share) in [(false, 0.7_f64), (true, 0.3)] {
        if !seen[1] || (with_oxygen && !seen[0]) {
            continue;
        }
        let water = [setting.ingress[1].ln(), SIZE_SD];
        let amplitudes = if with_oxygen { vec![water, OXYGEN] } else { vec![water] };
        let effect = Effect::Outgassing { water: BASE, oxygen: with_oxygen.then_some(BASE + 1) };
        ways.add(Cause::Outgassing, effect, &amplitudes, share.ln() + (0.55_f64).ln(), &GRADUAL);
        for fading_h in FADING_H {
            let ln_share = share.ln() + (0.15_f64).ln();
            ways.one(Cause::Outgassing, effect, &amplitudes, ln_share, Profile::Decaying(fading_h));
        }
    }
}

fn drift(ways: &mut Ways, setting: &Setting, seen: [bool; 2]) {
    for species in Species::BOTH.into_iter().filter(|species| seen[species.index()]) {
        for (sign, share) in [(1.0, 0.35_f64), (-1.0, 0.15)] {
            let size = [setting.floor[species.index()].max(0.02).ln(), SIZE_SD];
            let effect = Effect::Drift { species, size: BASE, sign };
            ways.add(Cause::AnalyserDrift, effect, &[size], share.ln(), &CREEPING);
        }
    }
}

fn supply(ways: &mut Ways, setting: &Setting, seen: [bool; 2]) {
    for (species, share) in struck(seen) {
        let (sizes, _) = places(species);
        let own = Species::BOTH.iter().filter(|s| species[s.index()]);
        let amplitudes: Vec<[f64; 2]> = own.map(|s| [setting.ingress[s.index()].ln(), SIZE_SD]).collect();
        ways.add(Cause::SupplyGas, Effect::Supply(sizes), &amplitudes, share.ln(), &SUDDEN);
    }
}

fn transfers(ways: &mut Ways, features: &Features) {
    let counted = features.stream(Kind::TransferCount).is_some();
    let sized = Species::BOTH.iter().any(|species| features.stream(Kind::DoseArea(*species)).is_some());
    let kinds = [(true, false, 0.4_f64), (false, true, 0.3), (true, true, 0.3)];
    for (count, size, share) in kinds {
        if (count && !counted) || (size && !sized) {
            continue;
        }
        let places = (count.then_some(BASE), size.then_some(BASE + usize::from(count)));
        let effect = Effect::Transfers { count: places.0, size: places.1 };
        let amplitudes = vec![FALL; usize::from(count) + usize::from(size)];
        ways.add(Cause::Transfers, effect, &amplitudes, share.ln(), &SUDDEN);
    }
}

/// Which species are struck, with the share of each case: half of the faults strike both. Where one is not seen, a fault
/// of both shows as one of the other; one of the unseen alone does not show.
fn struck(seen: [bool; 2]) -> Vec<([bool; 2], f64)> {
    const BOTH: f64 = 0.5;
    const ONE: f64 = 0.25;
    match seen {
        [true, true] => vec![([true, true], BOTH), ([true, false], ONE), ([false, true], ONE)],
        seen => vec![(seen, BOTH + ONE)],
    }
}

/// Places of the amplitudes of the species that have one, and their number.
fn places(species: [bool; 2]) -> ([Option<usize>; 2], usize) {
    let first = species[0].then_some(BASE);
    let second = species[1].then_some(BASE + usize::from(species[0]));
    ([first, second], species.iter().filter(|own| **own).count())
}
