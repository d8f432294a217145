//! Evaluation of one species: from readings in a window to the steady ingress.

use super::bend::Bend;
use super::blocks::{Blocks, gather};
use super::censored::pseudo;
use super::exchange::Exchange;
use super::forward::Forward;
use super::inflow::{Drive, Inflow, LeakShare};
use super::likelihood::{Noise, Rows, Shared};
use super::mixture::{Component, Mixture};
use super::search::{Search, ShapeNode, best, columns};
use super::shape::{Shape, considered};
use super::{Outgassing, PpmRiseError, Quantity, ReadingStatus, Species, Trace, Window};

mod walls;

/// Everything about one species that is not in its readings.
pub(super) struct Circumstances<'a, 'b> {
    pub species: Species,
    pub trace: &'b Trace<'a>,
    pub window: Window,
    pub room_air: Quantity,
    pub supply: Quantity,
    pub exchange: Option<&'b Exchange>,
    /// Course of the pressure below the room's, where it changes.
    pub drive: Option<&'b Drive>,
    pub approach: Approach,
    /// How long before the window walls were first exposed to vacuum, s, where what they give off may still look steady.
    pub walls_since_s: Option<f64>,
}

/// How an inflow slackens as the content nears that outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Approach {
    /// In proportion to 1 − x/x_out: mixing, molecular flow.
    Linear,
    /// In proportion to 1 − (x/x_out)²: laminar flow of a gas into a vessel whose pressure is x.
    Quadratic,
}

/// A fitted species.
pub(super) struct Fitted {
    pub blocks: Blocks,
    /// Posterior of the ingress over the window (a mole fraction).
    pub mixture: Mixture,
    /// Rates over the window at its start and its end where the rise gets steeper, which no model has (mole fractions).
    pub steepening: Option<[f64; 2]>,
    /// What a bend of the rise may mean, for a species that hardly outgasses.
    pub bend: Option<Bend>,
    pub noises: Vec<Noise>,
    /// Rows and parts of the most probable model.
    pub parts: Parts,
    /// Ratio of the posterior's width to that with uncorrelated noise, same shape.
    pub widening: f64,
    /// Standard uncertainty of the ingress over the window (a mole fraction) if something came off the walls as slowly
    /// as the run is long.
    pub slow_term_uncertainty: f64,
    /// Posteriors of the ingress beside walls that were exposed to vacuum only just before; empty where that is no matter.
    pub beside_walls: Vec<Mixture>,
    /// Readings were rounded more coarsely than their noise.
    pub coarse: bool,
    /// Typical content: relative noise is proportional to content over this.
    pub level_unit: f64,
}

/// Fit of the most probable model at the blocks, as mole fractions.
#[derive(Debug, Clone, Default)]
pub(super) struct Parts {
    pub start: Vec<f64>,
    pub ingress: Vec<f64>,
    pub outgassing: Vec<f64>,
    pub make_up: Vec<f64>,
}

impl Parts {
    pub(super) fn total(&self, index: usize) -> f64 {
        self.start[index] + self.ingress[index] + self.outgassing[index] + self.make_up[index]
    }
}

/// Least number of readings in the window, and of measured blocks for a fit.
pub(super) const LEAST_READINGS: usize = 8;
const LEAST_MEASURED: usize = 5;
/// Time constant, in windows, of a term that is as slow as the run is long.
const SLOW_TERM: f64 = 0.7;
/// Time constant in windows of the curve by which a rise is seen to get steeper, how many standard uncertainties it must
/// stand out by, and the share of the rate at the end that it must make.
const STEEPENING: (f64, f64, f64) = (0.5, 4.0, 0.1);

/// Current state of an iteration that adapts weights, censored readings and saturation to the fit.
struct State {
    /// Fitted reading at each block.
    fitted: Vec<f64>,
    /// Fitted reading at the start.
    at_start: f64,
    /// Standard deviation of one reading at each block.
    sd: Vec<f64>,
    /// Ingress over the window; `None` before the first fit.
    ingress: Option<f64>,
    /// Variance of a reading at low content.
    variance: f64,
}

/// Result of reading the window: a fit, or blocks that hold too little that was measured.
pub(super) enum Outcome {
    Fitted(Box<Fitted>),
    MostlyCensored(Blocks),
}

pub(super) fn fit(c: &Circumstances<'_, '_>) -> Result<Outcome, PpmRiseError> {
    let blocks = gather(c.trace, c.window.from_s, c.window.to_s);
    let found: f64 = blocks.readings.iter().sum();
    if (found as usize) < LEAST_READINGS || blocks.span_s <= 0.0 {
        let found = found as usize;
        return Err(PpmRiseError::TooFewReadings { species: c.species, found, needed: LEAST_READINGS });
    }
    if blocks.count(ReadingStatus::AboveRange) == found as usize {
        return Err(PpmRiseError::AllAboveRange { species: c.species });
    }
    let measured = blocks.status.iter().filter(|s| **s == ReadingStatus::Measured).count();
    if measured < LEAST_MEASURED {
        return Ok(Outcome::MostlyCensored(blocks));
    }
    let job = Job::new(c, blocks);
    job.run().map(|fitted| Outcome::Fitted(Box::new(fitted))).ok_or(PpmRiseError::NoFit { species: c.species })
}

struct Job<'a, 'b, 'c> {
    c: &'c Circumstances<'a, 'b>,
    blocks: Blocks,
    coarse: bool,
    rise: f64,
    courses: Vec<LeakShare>,
}

/// Which blocks become rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Include {
    All,
    Measured,
}

/// Rows, forward model and shared columns for one state.
struct Design {
    rows: Rows,
    forward: Forward,
    shared: Shared,
    make_up: Vec<f64>,
    /// What the linearised ingress loses to saturation, put back.
    returned: Vec<f64>,
    /// Block of each row; `None` for the row that keeps the content at the start from being negative.
    block: Vec<Option<usize>>,
    level_unit: f64,
    /// Logarithm of the prior probability of its course of the ingress.
    log_prior: f64,
}

impl<'a, 'b, 'c> Job<'a, 'b, 'c> {
    fn new(c: &'c Circumstances<'a, 'b>, blocks: Blocks) -> Self {
        let resolution = c.trace.analyser.resolution;
        let coarse = resolution > 0.0 && blocks.scatter < 0.5 * resolution;
        let (low, high) = blocks
            .value
            .iter()
            .zip(&blocks.status)
            .filter(|(_, s)| **s != ReadingStatus::BelowLimit)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (v, _)| (a.min(*v), b.max(*v)));
        let low = if blocks.status.contains(&ReadingStatus::BelowLimit) { low.min(0.0) } else { low };
        let rise = (high - low).max(blocks.scatter).max(1e-12);
        Self { c, blocks, coarse, rise, courses: LeakShare::considered(c.drive) }
    }

    fn run(&self) -> Option<Fitted> {
        let mut state = self.first_state();
        // None and one term follow the rise well enough for weights, censored readings and saturation.
        let kinds = &considered(self.c.species)[..2];
        if !self.is_censored() {
            for _ in 0..2 {
                let designs = self.designs(&state);
                let noise = designs[0].likeliest_noise(&Design::flexible());
                let (design, shape) = likeliest(&designs, noise, kinds)?;
                state = self.updated(design, &noise, shape)?;
            }
            return self.finish(&state, None);
        }
        let noise = self.design(&state, Include::Measured, self.courses[0]).likeliest_noise(&Design::flexible());
        for _ in 0..8 {
            let designs = self.designs(&state);
            let (design, shape) = likeliest(&designs, noise, kinds)?;
            state = self.updated(design, &noise, shape)?;
        }
        self.finish(&state, Some(noise))
    }

    fn is_censored(&self) -> bool {
        self.blocks.status.iter().any(|s| *s != ReadingStatus::Measured)
    }

    /// Before any fit: a moving mean of the readings, the scatter about it, no saturation.
    fn first_state(&self) -> State {
        let n = self.blocks.len();
        let fitted: Vec<f64> = (0..n)
            .map(|i| {
                let range = i.saturating_sub(3)..(i + 4).min(n);
                let weight: f64 = range.clone().map(|j| self.blocks.readings[j]).sum();
                let value: f64 = range.map(|j| self.blocks.readings[j] * self.blocks.value[j]).sum::<f64>() / weight;
                if self.blocks.status[i] == ReadingStatus::BelowLimit { 0.5 * value } else { value }
            })
            .collect();
        let sd = self.least_sd().max(self.blocks.scatter).max(1e-3 * self.rise);
        State { at_start: fitted[0], fitted, sd: vec![sd; n], ingress: None, variance: sd * sd }
    }

    fn least_sd(&self) -> f64 {
        let analyser = &self.c.trace.analyser;
        let rounding = if self.coarse { analyser.resolution / 12.0_f64.sqrt() } else { 0.0 };
        rounding.max(0.5 * analyser.floor_noise)
    }

    /// One design for each course of the ingress.
    fn designs(&self, state: &State) -> Vec<Design> {
        self.courses.iter().map(|course| self.design(state, Include::All, *course)).collect()
    }

    fn design(&self, state: &State, include: Include, course: LeakShare) -> Design {
        let blocks = &self.blocks;
        let positive: Vec<f64> = state.fitted.iter().map(|x| x.max(0.0)).collect();
        let level_unit = (positive.iter().sum::<f64>() / positive.len() as f64).max(1e-12);
        let mut rows = Rows { rise: self.rise, least_variance: self.least_sd().powi(2), ..Rows::default() };
        let mut block = Vec::new();
        if include == Include::All && blocks.status[0] == ReadingStatus::BelowLimit {
            // The content cannot be negative, whatever the unmeasured start was; the zero of the analyser is not exact.
            let sd = self.c.trace.analyser.zero.max(state.sd[0]);
            let floor = pseudo(ReadingStatus::AboveRange, 0.0, state.at_start, sd, 1.0);
            rows.push(0.0, floor.value, state.sd[0].powi(2) / floor.variance, self.noise_content(0, 0.0) / level_unit);
            block.push(None);
        }
        for i in 0..blocks.len() {
            // Censored readings lie at or near the limit where they matter: the noise there is that at the limit.
            let level = self.noise_content(i, positive[i]) / level_unit;
            if blocks.status[i] == ReadingStatus::Measured {
                let count = if self.coarse { 1.0 } else { blocks.readings[i] };
                rows.push(blocks.time_s[i], blocks.value[i], count, level);
                rows.measured += 1;
            } else if include == Include::All {
                let sd = state.sd[i];
                let at = state.fitted[i].max(-2.0 * sd);
                let stand_in = pseudo(blocks.status[i], blocks.value[i], at, sd, blocks.readings[i]);
                rows.push(blocks.time_s[i], stand_in.value, sd * sd / stand_in.variance, level);
            } else {
                continue;
            }
            block.push(Some(i));
        }
        self.with_sources(state, rows, block, level_unit, course)
    }

    fn with_sources(
        &self,
        state: &State,
        mut rows: Rows,
        block: Vec<Option<usize>>,
        level_unit: f64,
        course: LeakShare,
    ) -> Design {
        let c = self.c;
        let (span_s, origin_s) = (self.blocks.span_s, self.blocks.origin_s);
        let inflow = Inflow { drive: c.drive, share: course.share, origin_s, span_s };
        let saturation = Saturation::new(self, state, &inflow);
        let rate = saturation.as_ref().map_or(0.0, |s| s.rate_per_s);
        let loss = |t: f64| {
            let step = 1e-3 * span_s;
            let exchange = c.exchange.map_or(0.0, |e| e.mean_rate(origin_s + t - step, origin_s + t + step));
            exchange + if rate == 0.0 { 0.0 } else { rate * inflow.about(t) }
        };
        let needs_loss = c.exchange.is_some() || rate != 0.0;
        let forward = Forward::new(
            &rows.time_s,
            &block.iter().map(|b| b.map_or(0.0, |i| self.blocks.width_s[i])).collect::<Vec<_>>(),
            span_s,
            c.trace.analyser.response_tau_s,
            needs_loss.then_some(&loss as &dyn Fn(f64) -> f64),
        );
        let share = |t: f64| saturation.as_ref().map_or(0.0, |s| s.integral(t));
        let shared = Shared::new(&forward, &|t| (inflow.until(t) - share(t)) / span_s);
        let make_up = match c.exchange {
            Some(exchange) => {
                let start = exchange.volumes_until(origin_s);
                forward.source(&|t| c.supply.value * (exchange.volumes_until(origin_s + t) - start))
            }
            None => vec![0.0; rows.len()],
        };
        // What the current fit of the ingress loses to saturation is put back, so that the fit is linear around it.
        let returned = match &saturation {
            Some(s) => forward.source(&|t| s.rate_per_s * c.room_air.value * s.integral(t)),
            None => vec![0.0; rows.len()],
        };
        for ((target, supplied), put_back) in rows.target.iter_mut().zip(&make_up).zip(&returned) {
            *target -= supplied + put_back;
        }
        Design { rows, forward, shared, make_up, returned, block, level_unit, log_prior: course.log_prior }
    }

    /// The state after a fit.
    fn updated(&self, design: &Design, noise: &Noise, shape: Shape) -> Option<State> {
        let (solved, parts) = design.parts(noise, shape)?;
        let n = self.blocks.len();
        let mut state = State {
            fitted: vec![0.0; n],
            at_start: 0.0,
            sd: vec![0.0; n],
            ingress: Some(solved.beta[1]),
            variance: solved.variance,
        };
        for (row, block) in design.block.iter().enumerate() {
            match block {
                Some(i) => state.fitted[*i] = parts.total(row),
                None => state.at_start = parts.total(row),
            }
        }
        let variance = self.measured_variance(design, noise, &state.fitted).max(self.least_sd().powi(2));
        state.variance = variance;
        let contents: Vec<f64> = (0..n).map(|i| self.noise_content(i, state.fitted[i].max(0.0))).collect();
        for (sd, fitted) in state.sd.iter_mut().zip(contents) {
            let relative = fitted / design.level_unit;
            *sd = (variance * (1.0 + noise.correlated) * (1.0 + noise.kappa * relative * relative)).sqrt();
        }
        if design.block.first() != Some(&None) {
            state.at_start = state.fitted[0];
        }
        Some(state)
    }

    /// Content that the relative noise of a block goes with.
    fn noise_content(&self, block: usize, fitted: f64) -> f64 {
        match self.blocks.status[block] {
            ReadingStatus::Measured => fitted,
            ReadingStatus::BelowLimit | ReadingStatus::AboveRange => self.blocks.value[block].max(0.0),
        }
    }

    /// Variance of a reading at low content from the measured blocks alone.
    fn measured_variance(&self, design: &Design, noise: &Noise, fitted: &[f64]) -> f64 {
        let blocks = &self.blocks;
        let (mut squares, mut count) = (0.0, 0.0);
        for i in (0..blocks.len()).filter(|&i| blocks.status[i] == ReadingStatus::Measured) {
            let relative = fitted[i].max(0.0) / design.level_unit;
            let readings = if self.coarse { 1.0 } else { blocks.readings[i] };
            let share = (1.0 + noise.kappa * relative * relative) * (1.0 / readings + noise.correlated);
            squares += (blocks.value[i] - fitted[i]).powi(2) / share;
            count += 1.0;
        }
        squares / (count - 3.0_f64).max(1.0)
    }

    /// The posterior around the last state; at one noise where that was fixed before.
    fn finish(&self, state: &State, fixed: Option<Noise>) -> Option<Fitted> {
        let designs = self.designs(state);
        let kinds = considered(self.c.species);
        let first = fixed.unwrap_or_else(|| designs[0].likeliest_noise(&Design::flexible()));
        let rough = search_all(&designs, first, kinds);
        let lead = leading(&rough);
        let second = fixed.unwrap_or_else(|| designs[lead].likeliest_noise(&leaders(&rough[lead])));
        let mut nodes = if second == first { rough } else { search_all(&designs, second, kinds) };
        let top = nodes.iter().map(|of| best(of)).fold(f64::NEG_INFINITY, f64::max);
        for of in &mut nodes {
            // The model without terms is always possible, whatever the noise.
            of.retain(|n| n.shape.kind == Outgassing::None || n.log_evidence > top - 10.0);
        }
        let lead = leading(&nodes);
        let noises = fixed.map_or_else(|| designs[lead].likely_noises(&leaders(&nodes[lead])), |noise| vec![noise]);
        let components = designs.iter().zip(&nodes).enumerate();
        let components = components.flat_map(|(course, (design, nodes))| design.components(&noises, nodes, course));
        let mixture = Mixture::new(components.collect())?;
        let heaviest = *mixture.heaviest();
        let design = &designs[heaviest.course];
        let noise = noises[heaviest.noise];
        let (_, parts) = design.parts(&noise, heaviest.shape)?;
        let white = Noise { correlated: 0.0, ..noise };
        let white = design.parts(&white, heaviest.shape)?.0;
        let widening = (heaviest.solved.covariance[1][1] / white.covariance[1][1]).sqrt().max(1.0);
        let slow_term_uncertainty = design.slow_term_uncertainty(&noise, heaviest.shape);
        let beside_walls =
            self.c.walls_since_s.map(|since_s| walls::mixtures(design, &noises, heaviest.shape, since_s));
        // Stand-ins of censored readings follow the models, which do not get steeper.
        let steepening = if fixed.is_none() { steepening(&designs, &first) } else { None };
        let keep: Vec<usize> = (0..design.block.len()).filter(|row| design.block[*row].is_some()).collect();
        Some(Fitted {
            blocks: self.blocks.clone(),
            steepening,
            bend: (self.c.species == Species::Oxygen).then(|| Bend::of(&mixture)).flatten(),
            mixture,
            noises,
            parts: parts.at(&keep),
            widening,
            slow_term_uncertainty,
            beside_walls: beside_walls.unwrap_or_default(),
            coarse: self.coarse,
            level_unit: design.level_unit,
        })
    }
}

/// Share of the inflow that is lost because the content nears that of the room, so far, and the rate at which the
/// room's air limits the ingress; only where that matters.
struct Saturation<'s> {
    rate_per_s: f64,
    time_s: &'s [f64],
    lost: Vec<f64>,
    integral: Vec<f64>,
}

impl<'s> Saturation<'s> {
    fn new(job: &'s Job<'_, '_, '_>, state: &'s State, inflow: &Inflow<'_>) -> Option<Self> {
        let room = job.c.room_air.value;
        let highest = state.fitted.iter().fold(0.0_f64, |a, b| a.max(*b));
        // The air's content limits what comes in, not what something takes up.
        if !(room > 0.0) || highest < 1e-4 * room || state.ingress.is_some_and(|ingress| ingress <= 0.0) {
            return None;
        }
        let time_s = &job.blocks.time_s;
        let approach = job.c.approach;
        let lost: Vec<f64> = state
            .fitted
            .iter()
            .zip(time_s)
            .map(|(content, &t)| match approach {
                Approach::Linear => content / room * inflow.about(t),
                Approach::Quadratic => (content / room).powi(2),
            })
            .collect();
        let mut integral = vec![lost[0] * time_s[0]];
        for i in 1..time_s.len() {
            let step = 0.5 * (lost[i] + lost[i - 1]) * (time_s[i] - time_s[i - 1]);
            integral.push(integral[i - 1] + step);
        }
        let rate_per_s = match approach {
            // Before the first fit the ingress is not known, but the bend that the readings give it is: without it a
            // first fit would take the bend for outgassing and stay there.
            Approach::Linear => state.ingress.unwrap_or(0.0) / job.blocks.span_s / room,
            // The share lost is taken as the current fit has it; that fit follows the readings closely enough.
            Approach::Quadratic => 0.0,
        };
        Some(Self { rate_per_s, time_s, lost, integral })
    }

    /// ∫₀ᵗ of the share lost in the current fit.
    fn integral(&self, t: f64) -> f64 {
        let last = self.time_s.len() - 1;
        let upper = self.time_s.partition_point(|&s| s <= t).clamp(1, last);
        let lower = upper - 1;
        let fraction = (t - self.time_s[lower]) / (self.time_s[upper] - self.time_s[lower]).max(1e-9);
        let middle = self.lost[lower] + 0.5 * fraction * (self.lost[upper] - self.lost[lower]);
        self.integral[lower] + middle * (t - self.time_s[lower])
    }
}

impl Rows {
    fn push(&mut self, time_s: f64, target: f64, readings: f64, level: f64) {
        self.time_s.push(time_s);
        self.target.push(target);
        self.readings.push(readings);
        self.level.push(level);
    }
}

impl Design {
    /// Shapes that together follow any smooth rise.
    fn flexible() -> Vec<Vec<Shape>> {
        let shape = |share: f64| Shape { kind: Outgassing::OneExponential, u: share.ln(), v: 0.0 };
        vec![vec![shape(0.03), shape(0.15), shape(0.6)]]
    }

    /// Log evidence of each noise model under groups of shapes, the best group counting.
    fn noise_evidence(&self, groups: &[Vec<Shape>]) -> Vec<(Noise, f64)> {
        let shapes: Vec<Shape> = groups.iter().flatten().copied().collect();
        let (columns, places) = columns(&self.forward, &shapes);
        self.rows
            .noises(self.forward.span_s())
            .into_iter()
            .map(|noise| {
                let whitened = self.rows.whiten(&noise, &self.shared, &columns);
                let mut from = 0;
                let mut evidence = f64::NEG_INFINITY;
                for group in groups {
                    let amounts: Vec<usize> = places[from..from + group.len()].iter().flatten().copied().collect();
                    from += group.len();
                    if let Some(solved) = self.rows.solve(&whitened, &amounts) {
                        evidence = evidence.max(solved.log_marginal);
                    }
                }
                (noise, evidence + noise.log_prior)
            })
            .collect()
    }

    fn likeliest_noise(&self, groups: &[Vec<Shape>]) -> Noise {
        let evidence = self.noise_evidence(groups);
        let fallback = evidence[0].0;
        evidence.into_iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(fallback, |best| best.0)
    }

    /// Noise models within reach of the best, at most ten.
    fn likely_noises(&self, groups: &[Vec<Shape>]) -> Vec<Noise> {
        let mut evidence = self.noise_evidence(groups);
        evidence.sort_by(|a, b| b.1.total_cmp(&a.1));
        let top = evidence[0].1;
        evidence.into_iter().take(10).take_while(|e| e.1 > top - 5.0).map(|e| e.0).collect()
    }

    /// Shapes of all kinds with their evidence at one noise, prior probabilities of kind and course included.
    fn search(&self, noise: Noise, kinds: &[(Outgassing, f64)]) -> Vec<ShapeNode> {
        let search = Search { rows: &self.rows, shared: &self.shared, forward: &self.forward, noise };
        kinds
            .iter()
            .flat_map(|&(kind, prior)| {
                let mut nodes = search.nodes(kind);
                nodes.retain(|node| node.possible);
                for node in &mut nodes {
                    node.log_prior += prior.ln() + self.log_prior;
                    node.log_evidence += prior.ln() + self.log_prior;
                }
                nodes
            })
            .collect()
    }

    fn components(&self, noises: &[Noise], nodes: &[ShapeNode], course: usize) -> Vec<Component> {
        let shapes: Vec<Shape> = nodes.iter().map(|n| n.shape).collect();
        let (columns, places) = columns(&self.forward, &shapes);
        let mut components = Vec::with_capacity(noises.len() * nodes.len());
        for (index, noise) in noises.iter().enumerate() {
            let whitened = self.rows.whiten(noise, &self.shared, &columns);
            for (node, place) in nodes.iter().zip(&places) {
                if let Some(solved) = self.rows.solve(&whitened, place) {
                    let log_weight = solved.log_marginal + noise.log_prior + node.log_prior;
                    components.push(Component { shape: node.shape, noise: index, course, solved, log_weight });
                }
            }
        }
        components
    }

    /// Standard uncertainty of the ingress with one more term of outgassing, as slow as the run is long.
    fn slow_term_uncertainty(&self, noise: &Noise, shape: Shape) -> f64 {
        let exponential = |u: f64| Shape { kind: Outgassing::OneExponential, u, v: 0.0 };
        let mut terms: Vec<f64> = match shape.kind {
            Outgassing::None | Outgassing::PowerLaw => Vec::new(),
            Outgassing::OneExponential => vec![shape.u],
            Outgassing::TwoExponentials => vec![shape.u, shape.v],
        };
        terms.retain(|u| *u < (0.5 * SLOW_TERM).ln());
        // The slowest of the others may give way: its time constant is free, by the slope of its curve.
        let slowest = terms.last().copied();
        terms.push(SLOW_TERM.ln());
        let column = |u: f64| super::likelihood::amounts(&self.forward, exponential(u)).swap_remove(0);
        let mut columns: Vec<Vec<f64>> = terms.iter().map(|u| column(*u)).collect();
        if let Some(u) = slowest {
            let (less, more) = (column(u - 0.02), column(u + 0.02));
            columns.push(less.iter().zip(&more).map(|(a, b)| (b - a) / 0.04).collect());
        }
        let whitened = self.rows.whiten(noise, &self.shared, &columns);
        let places: Vec<usize> = (0..columns.len()).collect();
        self.rows.solve(&whitened, &places).map_or(f64::INFINITY, |solved| solved.covariance[1][1].sqrt())
    }

    /// Fit of one model and its parts at the rows.
    fn parts(&self, noise: &Noise, shape: Shape) -> Option<(super::likelihood::Solved, Parts)> {
        let amounts = super::likelihood::amounts(&self.forward, shape);
        let whitened = self.rows.whiten(noise, &self.shared, &amounts);
        let places: Vec<usize> = (0..amounts.len()).collect();
        let solved = self.rows.solve(&whitened, &places)?;
        let shared = self.shared.len();
        let rows = self.rows.len();
        let transient = |row: usize| {
            if shared > 2 { solved.beta[2] * self.shared.column(2)[row] } else { 0.0 }
        };
        let parts = Parts {
            start: (0..rows).map(|r| solved.beta[0] * self.shared.column(0)[r] + transient(r)).collect(),
            ingress: (0..rows).map(|r| solved.beta[1] * self.shared.column(1)[r] + self.returned[r]).collect(),
            outgassing: (0..rows)
                .map(|r| amounts.iter().enumerate().map(|(a, column)| solved.beta[shared + a] * column[r]).sum())
                .collect(),
            make_up: self.make_up.clone(),
        };
        Some((solved, parts))
    }
}

impl Parts {
    fn at(&self, rows: &[usize]) -> Self {
        let pick = |column: &[f64]| rows.iter().map(|&row| column[row]).collect();
        Self {
            start: pick(&self.start),
            ingress: pick(&self.ingress),
            outgassing: pick(&self.outgassing),
            make_up: pick(&self.make_up),
        }
    }
}

fn search_all(designs: &[Design], noise: Noise, kinds: &[(Outgassing, f64)]) -> Vec<Vec<ShapeNode>> {
    designs.iter().map(|design| design.search(noise, kinds)).collect()
}

/// Which of several searches holds the best node.
fn leading(nodes: &[Vec<ShapeNode>]) -> usize {
    (0..nodes.len()).max_by(|a, b| best(&nodes[*a]).total_cmp(&best(&nodes[*b]))).unwrap_or(0)
}

/// The design and the shape that follow the readings best.
fn likeliest<'d>(designs: &'d [Design], noise: Noise, kinds: &[(Outgassing, f64)]) -> Option<(&'d Design, Shape)> {
    let nodes = search_all(designs, noise, kinds);
    let lead = leading(&nodes);
    let node = nodes[lead].iter().max_by(|a, b| a.log_evidence.total_cmp(&b.log_evidence))?;
    Some((&designs[lead], node.shape))
}

/// Rates at the start and the end where the rise gets steeper by every course of the ingress.
fn steepening(designs: &[Design], noise: &Noise) -> Option<[f64; 2]> {
    let (time_constant, stands_out, share) = STEEPENING;
    let shape = Shape { kind: Outgassing::OneExponential, u: time_constant.ln(), v: 0.0 };
    let fits = designs.iter().filter_map(|design| {
        let columns = super::likelihood::amounts(&design.forward, shape);
        let solved = design.rows.solve(&design.rows.whiten(noise, &design.shared, &columns), &[0])?;
        let (ingress, last) = (solved.beta[1], solved.size - 1);
        let amount = solved.beta[last];
        let rates = [ingress + amount * shape.rate_at_start(0), ingress + amount * shape.rate_at_end(0)];
        Some((amount / solved.covariance[last][last].sqrt(), rates))
    });
    let (pull, [first, last]) = fits.max_by(|a, b| a.0.total_cmp(&b.0))?;
    (pull < -stands_out && last > 0.0 && last - first > share * last).then_some([first, last])
}

/// The best shape of each kind, as groups for the evidence of noise.
fn leaders(nodes: &[ShapeNode]) -> Vec<Vec<Shape>> {
    [Outgassing::None, Outgassing::OneExponential, Outgassing::TwoExponentials, Outgassing::PowerLaw]
        .iter()
        .filter_map(|kind| {
            nodes
                .iter()
                .filter(|n| n.shape.kind == *kind)
                .max_by(|a, b| a.log_evidence.total_cmp(&b.log_evidence))
                .map(|n| vec![n.shape])
        })
        .collect()
}
