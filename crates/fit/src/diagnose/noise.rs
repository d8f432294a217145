//! How a log wanders by itself: white noise of the rows, and two Ornstein-Uhlenbeck processes, one of hours to a week whose
//! size is learnt from the log, one of weeks that every enclosure has.

use super::feature::{Features, Kind};
use super::log::Species;

/// How much the log wanders by itself, relative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wander {
    /// Standard deviation and memory in h of floors and rises, oxygen and water.
    pub(super) content: [[f64; 2]; 2],
    /// Standard deviation of decays.
    pub(super) dose: f64,
    /// Standard deviation of the number of transfers from week to week.
    pub(super) habit: f64,
}

/// Standard deviation of what comes and goes over weeks in floors and rises, oxygen and water, relative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slow(pub(super) [f64; 2]);

impl Slow {
    /// Its memory, h.
    const MEMORY_H: f64 = 250.0;
    /// What gloves, walls and analysers wander by over weeks in any enclosure; what the weather does where nobody logged
    /// the temperature (2 K at 4 %/K); and what the room's humidity does to water (orders of magnitude, common practice, no
    /// source).
    const ALWAYS: f64 = 0.04;
    const BY_TEMPERATURE: f64 = 0.08;
    const BY_HUMIDITY: f64 = 0.1;

    pub(super) fn new(features: &Features) -> Self {
        let oxygen = Self::ALWAYS.hypot(if features.has_temperature { 0.0 } else { Self::BY_TEMPERATURE });
        let water = oxygen.hypot(if features.has_room_water { 0.0 } else { Self::BY_HUMIDITY });
        Self([oxygen, water])
    }

    fn of(self, kind: Kind) -> f64 {
        match kind {
            Kind::Floor(species) | Kind::Rise(species) => self.0[species.index()],
            _ => 0.0,
        }
    }
}

impl Wander {
    /// What an ordinary enclosure shows.
    pub(super) const USUAL: Self = Self { content: [[0.08, 48.0]; 2], dose: 0.05, habit: 0.25 };
    /// What no change explains.
    pub(super) const WILD: Self = Self { content: [[0.7, 48.0]; 2], dose: 0.5, habit: 0.6 };
    /// Standard deviations of floors and rises that a log may have, with the logarithm of their prior: steady, ordinary
    /// and restless enclosures, and one that was badly logged.
    const CONTENT: [[f64; 2]; 5] = [[0.02, -0.5], [0.04, 0.0], [0.08, 0.0], [0.16, -0.5], [0.3, -2.0]];
    /// Memories, h: of half a shift, of two days, of a week.
    const MEMORY_H: [f64; 3] = [6.0, 48.0, 170.0];
    const DOSE: [[f64; 2]; 3] = [[0.05, 0.0], [0.07, -0.5], [0.15, -2.0]];
    /// Work comes in weeks of more and of less.
    const HABIT: [[f64; 2]; 4] = [[0.12, -0.5], [0.25, 0.0], [0.4, -0.5], [0.6, -2.0]];
    const HABIT_H: f64 = 100.0;

    /// Standard deviation and memory in h.
    fn of(self, kind: Kind) -> [f64; 2] {
        match kind {
            Kind::Floor(species) | Kind::Rise(species) => self.content[species.index()],
            Kind::Decay(_) => [self.dose, 60.0],
            // What is brought in varies less from week to week than how often.
            Kind::DoseArea(_) => [0.25_f64.max(self.dose), 60.0],
            Kind::TransferCount => [self.habit, Self::HABIT_H],
            Kind::Flow => [0.01_f64.max(0.5 * self.dose), 60.0],
            Kind::Leakage => [0.05, 60.0],
            Kind::Makeup => [0.1_f64.max(2.0 * self.dose), 30.0],
        }
    }

    /// Logarithm of its prior.
    pub(super) fn ln_prior(self) -> f64 {
        let of = |values: &[[f64; 2]], sd: f64| {
            values.iter().find(|[own, _]| (own - sd).abs() < 1e-9).map_or(0.0, |[_, ln_prior]| *ln_prior)
        };
        let content = self.content.iter().map(|[sd, _]| of(&Self::CONTENT, *sd)).sum::<f64>();
        of(&Self::DOSE, self.dose) + of(&Self::HABIT, self.habit) + content
    }

    /// The wander under which residuals are likeliest.
    pub(super) fn likeliest(left: &[Residuals], slow: Slow) -> Self {
        type Weighted = ([f64; 2], f64);
        let best = |choices: &[Weighted], pass: &dyn Fn(Kind) -> bool| {
            let own: Vec<&Residuals> = left.iter().filter(|own| pass(own.kind)).collect();
            let weighed = choices.iter().map(|(choice, ln_prior)| {
                (choice, ln_prior + own.iter().map(|own| own.ln_likelihood(*choice, slow)).sum::<f64>())
            });
            let found = weighed.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|_| !own.is_empty());
            found.map(|(choice, _)| *choice)
        };
        let content = [Species::Oxygen, Species::Water].map(|species| {
            let choices = Self::CONTENT
                .iter()
                .flat_map(|[sd, ln_prior]| Self::MEMORY_H.iter().map(|memory_h| ([*sd, *memory_h], *ln_prior)));
            let of = |kind: Kind| [Kind::Floor(species), Kind::Rise(species)].contains(&kind);
            best(&choices.collect::<Vec<_>>(), &of).unwrap_or(Self::USUAL.content[0])
        });
        let with = |values: &[[f64; 2]], memory_h: f64| {
            values.iter().map(|[sd, ln_prior]| ([*sd, memory_h], *ln_prior)).collect::<Vec<_>>()
        };
        let dose = best(&with(&Self::DOSE, 60.0), &|kind| matches!(kind, Kind::Decay(_)));
        let habit = best(&with(&Self::HABIT, Self::HABIT_H), &|kind| kind == Kind::TransferCount);
        let [dose, habit] =
            [(dose, Self::USUAL.dose), (habit, Self::USUAL.habit)].map(|(own, usual)| own.map_or(usual, |own| own[0]));
        Self { content, dose, habit }
    }
}

/// How a row is weighed: what the two processes keep of their state since the row before, their gains, and the reciprocal
/// standard deviation of the innovation. None of it depends on the data.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gain {
    pub(super) keep: [f64; 2],
    pub(super) gain: [f64; 2],
    pub(super) weight: f64,
}

/// The Kalman filter of both processes.
pub(super) struct Filter {
    sd: [f64; 2],
    memory_h: [f64; 2],
    /// Variances of the fast and of the slow process, and their covariance.
    variance: [f64; 3],
    before_h: f64,
}

impl Filter {
    pub(super) fn new(kind: Kind, wander: Wander, slow: Slow) -> Self {
        Self::of(wander.of(kind), slow.of(kind))
    }

    fn of([sd, memory_h]: [f64; 2], slow: f64) -> Self {
        let variance = [sd * sd, slow * slow, 0.0];
        Self { sd: [sd, slow], memory_h: [memory_h, Slow::MEMORY_H], variance, before_h: f64::NEG_INFINITY }
    }

    /// The next row, at its time and with its white standard deviation.
    pub(super) fn next(&mut self, time_h: f64, white: f64) -> Gain {
        let keep = self.memory_h.map(|memory_h| (-(time_h - self.before_h) / memory_h).exp());
        self.before_h = time_h;
        for ((variance, keep), sd) in self.variance.iter_mut().zip(keep).zip(self.sd) {
            *variance = keep * keep * *variance + sd * sd * (1.0 - keep * keep);
        }
        self.variance[2] *= keep[0] * keep[1];
        let [fast, slow, both] = self.variance;
        let total = fast + slow + 2.0 * both + white * white;
        let gain = [(fast + both) / total, (slow + both) / total];
        self.variance[0] -= gain[0] * gain[0] * total;
        self.variance[1] -= gain[1] * gain[1] * total;
        self.variance[2] -= gain[0] * gain[1] * total;
        Gain { keep, gain, weight: total.sqrt().recip() }
    }
}

impl Gain {
    /// What is left of a residual after what the processes were known to hold; moves their state on.
    pub(super) fn innovation(&self, state: &mut [f64; 2], residual: f64) -> f64 {
        let held = [state[0] * self.keep[0], state[1] * self.keep[1]];
        let innovation = residual - held[0] - held[1];
        *state = [held[0] + self.gain[0] * innovation, held[1] + self.gain[1] * innovation];
        innovation
    }
}

/// What an explanation leaves over of a stream: time in h, residual, white standard deviation.
pub(super) struct Residuals {
    pub(super) kind: Kind,
    pub(super) rows: Vec<[f64; 3]>,
}

impl Residuals {
    /// Logarithm of their likelihood under a wander of this standard deviation and memory in h.
    fn ln_likelihood(&self, fast: [f64; 2], slow: Slow) -> f64 {
        let mut filter = Filter::of(fast, slow.of(self.kind));
        let mut state = [0.0; 2];
        let mut sum = 0.0;
        for [time_h, residual, white] in &self.rows {
            let gain = filter.next(*time_h, *white);
            let innovation = gain.innovation(&mut state, *residual) * gain.weight;
            sum -= 0.5 * robust(innovation).0 - gain.weight.ln();
        }
        sum
    }
}

/// Huber's cost of an innovation, and the weight that gives the same pull: beyond four standard deviations the cost
/// grows only evenly, so that single odd rows do not decide.
pub(super) fn robust(innovation: f64) -> (f64, f64) {
    const BEND: f64 = 4.0;
    let size = innovation.abs();
    if size <= BEND { (size * size, 1.0) } else { (BEND * (2.0 * size - BEND), BEND / size) }
}
