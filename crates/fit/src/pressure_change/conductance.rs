//! Conductance model: the pressure is the thermometer.
//!
//! The amount of gas follows `d ln M/dt = −g·law/(p(1 + cΔp))` with g = G/V and c = κ/V, so the pressures tell the mean gas
//! temperature up to g and c: `T = T̄·p(1 + cΔp)·exp(g·I)/const`. That temperature, lagged as a sensor lags, is compared
//! with the sensor's readings; see `likelihood` for the errors of the sensor and `combine` for several of them.

use super::base::{Base, Expansion, GasTemperature, Model, PressureError, SHARED};
use super::combine::{Combined, Evidence, Nuisance, combine};
use super::likelihood::{Hyper, Node, SensorLikelihood};
use super::sensor::{Sensor, SensorKind};
use super::{Compliance, Settings};
use crate::uncertainty::Distribution;

/// Result of the model before systematic parts are added.
pub(crate) struct Fit {
    /// G/V in 1/s.
    pub(crate) distribution: Distribution,
    pub(crate) expansion: Expansion,
    /// What moves along with the conductance.
    pub(crate) freedom: Freedom,
    /// Compliance over volume: mean and standard deviation after the fit.
    pub(crate) compliance_per_pa: (f64, f64),
    /// Standard deviation of G/V by the compliance alone, 1/s.
    pub(crate) by_compliance: f64,
    /// The same by the gauge's zero, where it was integrated over.
    pub(crate) by_zero: Option<f64>,
    /// Lower end of the distribution for a rigid box, where the compliance is unknown.
    pub(crate) rigid: Option<Distribution>,
    pub(crate) ratio: Option<Distribution>,
    pub(crate) sensors: Vec<SensorFit>,
}

/// What the fit found about one sensor.
pub(crate) struct SensorFit {
    pub(crate) hyper: Hyper,
    /// Mean and standard deviation of the lag in s.
    pub(crate) lag_s: (f64, f64),
    /// White standard deviation of one reading in K, after the fit.
    pub(crate) white_k: f64,
    /// Mean of wander and memory over their distribution.
    pub(crate) wander_k: f64,
    pub(crate) memory_s: f64,
    /// Conductance of this sensor alone with its standard deviation, 1/s.
    pub(crate) alone: (f64, f64),
    /// Its standard deviation were the residual white.
    pub(crate) if_white: f64,
    /// Rows: time, reading, fit without wander, residual.
    pub(crate) row_time_s: Vec<f64>,
    pub(crate) reading_k: Vec<f64>,
    pub(crate) residual_k: Vec<f64>,
    pub(crate) innovations: Vec<f64>,
}

/// Prior of c = κ/V in 1/Pa.
#[derive(Debug, Clone, Copy)]
pub(crate) enum CompliancePrior {
    Fixed(f64),
    Normal {
        mean: f64,
        spread: f64,
    },
    /// Flat from 0 to `flat`, then half a normal density of standard deviation `shoulder`.
    OneSided {
        flat: f64,
        shoulder: f64,
    },
}

/// Compliance of two pairs of soft gloves in m³/Pa, the largest that is taken as quite possible, and how the prior
/// fades beyond it. Common practice, no source: one glove gives way by some 5 mL/Pa near Δp = 0.
const SOFT_GLOVES_M3_PER_PA: f64 = 2.0e-5;
const SOFT_GLOVES_FADING_M3_PER_PA: f64 = 4.0e-6;

impl CompliancePrior {
    pub(crate) fn new(settings: &Settings) -> Self {
        // Without a volume the compliance cannot be put in proportion; a cubic metre is the usual size.
        let volume_m3 = settings.volume.map_or(1.0, |volume| volume.value_m3);
        match settings.compliance {
            Compliance::Rigid => Self::Fixed(0.0),
            Compliance::Given { value_m3_per_pa, standard_uncertainty_m3_per_pa } => {
                let relative = settings.volume.map_or(0.0, |v| v.standard_uncertainty_m3 / v.value_m3);
                let spread = standard_uncertainty_m3_per_pa.hypot(value_m3_per_pa * relative) / volume_m3;
                let mean = value_m3_per_pa / volume_m3;
                if spread > 1e-4 * mean + 1e-10 { Self::Normal { mean, spread } } else { Self::Fixed(mean) }
            }
            Compliance::Unknown => Self::OneSided {
                flat: SOFT_GLOVES_M3_PER_PA / volume_m3,
                shoulder: SOFT_GLOVES_FADING_M3_PER_PA / volume_m3,
            },
        }
    }

    /// Standard deviation: infinite for a flat prior, none for a fixed value.
    fn spread(self) -> Option<f64> {
        match self {
            Self::Fixed(_) => None,
            Self::Normal { spread, .. } => Some(spread),
            Self::OneSided { .. } => Some(f64::INFINITY),
        }
    }

    fn centre(self) -> f64 {
        match self {
            Self::Fixed(value) => value,
            Self::Normal { mean, .. } => mean.max(0.0),
            Self::OneSided { flat, .. } => 0.5 * flat,
        }
    }

    fn support(self) -> (f64, f64) {
        match self {
            Self::Fixed(value) => (value, value),
            Self::Normal { mean, spread } => ((mean - 3.5 * spread).max(0.0), (mean + 3.5 * spread).max(0.5 * spread)),
            Self::OneSided { flat, shoulder } => (0.0, flat + 3.5 * shoulder),
        }
    }

    fn log_density(self, c: f64) -> f64 {
        match self {
            Self::Fixed(_) => 0.0,
            Self::Normal { mean, spread } => -0.5 * ((c - mean) / spread).powi(2),
            Self::OneSided { flat, shoulder } => -0.5 * ((c - flat).max(0.0) / shoulder).powi(2),
        }
    }
}

/// Fits all sensors. `zero_spread_pa` is the standard uncertainty of the gauge's zero where it is to be integrated over.
pub(crate) fn fit(
    base: &Base,
    sensors: &[Sensor],
    model: &Model,
    prior: CompliancePrior,
    zero_spread_pa: f64,
    rounding: (f64, f64),
) -> Option<Fit> {
    let wanted = [true, prior_is_free(prior), zero_spread_pa > 0.0, model.known_inflow.is_some()];
    let mut at = pilot(base, sensors, model, prior, rounding, wanted)?;
    // With the compliance free the start may be far off; the temperature is expanded anew about what was found.
    let rounds = if prior_is_free(prior) { 3 } else { 1 };
    for _ in 1..rounds {
        let found = fit_about(base, sensors, model, prior, zero_spread_pa, rounding, at)?;
        let (spread, shift) = (found.compliance_per_pa.1, found.compliance_per_pa.0 - at.compliance_per_pa);
        at = Expansion { conductance_per_s: found.distribution.median(), compliance_per_pa: found.compliance_per_pa.0 };
        if shift.abs() < 0.5 * spread {
            break;
        }
    }
    fit_about(base, sensors, model, prior, zero_spread_pa, rounding, at)
}

/// Fits about an expansion point.
fn fit_about(
    base: &Base,
    sensors: &[Sensor],
    model: &Model,
    prior: CompliancePrior,
    zero_spread_pa: f64,
    rounding: (f64, f64),
    at: Expansion,
) -> Option<Fit> {
    let wanted = [true, prior_is_free(prior), zero_spread_pa > 0.0, model.known_inflow.is_some()];
    let gas = GasTemperature::new(base, model, at);
    let precision = search_precision(prior, zero_spread_pa, model.known_inflow.is_some());

    let mut likelihoods: Vec<SensorLikelihood<'_>> =
        sensors.iter().map(|sensor| SensorLikelihood::new(sensor, base, &gas, rounding, wanted)).collect();
    let drift_to_conductance = drift_to_conductance(base, &gas, model);
    let evidence: Vec<Evidence> = likelihoods
        .iter_mut()
        .map(|likelihood| Evidence {
            nodes: likelihood.integrate(&precision),
            suspicion: suspicion(likelihood.sensor.kind, drift_to_conductance),
        })
        .collect();
    let best = heaviest(&evidence[0].nodes, |node| node.log_evidence(&precision))?;
    let nuisances = nuisances(prior, at, best, zero_spread_pa);
    let combined = combine(&evidence, &nuisances)?;
    let means = nuisance_means(&combined.nuisances, &combined.nuisance_weight);

    let spread = |index: usize| {
        let mean = means[index];
        combined
            .nuisances
            .iter()
            .zip(&combined.nuisance_weight)
            .map(|((s, _), w)| w * (s[index] - mean).powi(2))
            .sum::<f64>()
            .sqrt()
    };
    // Only where the data leave a rigid box possible at all.
    let may_be_rigid = at.compliance_per_pa + means[1] < 2.5 * spread(1);
    let rigid = (may_be_rigid && matches!(prior, CompliancePrior::OneSided { .. })).then(|| {
        let mut stiff = [0.0; SHARED];
        stiff[1] = -at.compliance_per_pa;
        combine(&evidence, &[(stiff, 0.0)]).map(|c| c.distribution.shifted(at.conductance_per_s))
    });
    let ratio = model.known_inflow.and_then(|_| inflow_ratio(&evidence, &nuisances));
    let slope = |index: usize| -best.information[0][index] / best.information[0][0].max(1e-300);
    let sensor_fits = likelihoods
        .iter_mut()
        .zip(&evidence)
        .zip(&combined.alone)
        .map(|((likelihood, evidence), alone)| {
            sensor_fit(likelihood, evidence, &combined, &means, (alone.0 + at.conductance_per_s, alone.1))
        })
        .collect::<Option<Vec<_>>>()?;
    Some(Fit {
        distribution: combined.distribution.shifted(at.conductance_per_s),
        expansion: at,
        compliance_per_pa: (at.compliance_per_pa + means[1], spread(1)),
        by_compliance: (slope(1) * spread(1)).abs(),
        by_zero: (zero_spread_pa > 0.0).then(|| (slope(2) * spread(2)).abs()),
        freedom: Freedom { compliance: prior.spread(), zero: (zero_spread_pa > 0.0).then_some(zero_spread_pa), means },
        rigid: rigid.flatten(),
        ratio,
        sensors: sensor_fits,
    })
}

/// Best conductance in 1/s of one sensor at a given lag and noise, for propagation of errors in what goes in.
pub(crate) fn conductance_at(
    base: &Base,
    sensor: &Sensor,
    model: &Model,
    at: Expansion,
    hyper: &Hyper,
    freedom: &Freedom,
) -> Option<f64> {
    let gas = GasTemperature::new(base, model, at);
    let mut likelihood = SensorLikelihood::new(sensor, base, &gas, (0.0, 1.0), [true, true, true, false]);
    let design = likelihood.design(hyper.lag_s);
    let node = likelihood.node(&design, hyper.wander_k, hyper.memory_s, 0.0)?;
    Some(at.conductance_per_s + freedom.best_conductance(&node))
}

/// Shared quantities that an error of an instrument moves along with the conductance.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Freedom {
    /// Prior standard deviation of the compliance over volume (infinite for a flat prior); none when it is fixed.
    compliance: Option<f64>,
    /// Prior standard deviation of the gauge's zero; none when it is not integrated over.
    zero: Option<f64>,
    /// Means after the fit, for what is fixed.
    means: [f64; SHARED],
}

impl Freedom {
    /// Best conductance with the free quantities at their best, priors counted in.
    fn best_conductance(&self, node: &Node) -> f64 {
        let (_, rss, _) = node.profile(&self.means);
        let variance = rss / node.degrees_of_freedom.max(1.0);
        let mut others = self.means;
        // Two quantities at most: alternating between them settles within a few rounds for propagation's needs,
        // and an elimination would need the same prior terms.
        for _ in 0..30 {
            for (index, prior) in [(1, self.compliance), (2, self.zero)] {
                if let Some(spread) = prior {
                    others[index] =
                        conditional_best(node, &others, index, variance / (spread * spread), self.means[index]);
                }
            }
        }
        node.profile(&others).0
    }
}

/// Best value of one nuisance, conductance free and the other nuisances given, with a prior about `centre`.
fn conditional_best(node: &Node, others: &[f64; SHARED], index: usize, precision: f64, centre: f64) -> f64 {
    let info = &node.information;
    let gg = info[0][0].max(1e-300);
    let mut linear = node.linear[index] - info[0][index] * node.linear[0] / gg;
    for other in 1..SHARED {
        if other != index {
            linear -= (info[index][other] - info[0][index] * info[0][other] / gg) * others[other];
        }
    }
    let curvature = info[index][index] - info[0][index].powi(2) / gg;
    let total = curvature + precision;
    if total > 0.0 { (linear + precision * centre) / total } else { centre }
}

/// Precision of the shared quantities in the search for lag and noise: conductance free, compliance and zero by their
/// priors, the known inflow within a half of what was stated.
fn search_precision(prior: CompliancePrior, zero_spread_pa: f64, known_inflow: bool) -> [f64; SHARED] {
    let (low, high) = prior.support();
    let compliance = if prior_is_free(prior) { 12.0 / (high - low).powi(2) } else { f64::INFINITY };
    let zero = if zero_spread_pa > 0.0 { zero_spread_pa.powi(-2) } else { f64::INFINITY };
    [0.0, compliance, zero, if known_inflow { 4.0 } else { f64::INFINITY }]
}

fn prior_is_free(prior: CompliancePrior) -> bool {
    !matches!(prior, CompliancePrior::Fixed(_))
}

/// A first fit that finds the point to expand about.
fn pilot(
    base: &Base,
    sensors: &[Sensor],
    model: &Model,
    prior: CompliancePrior,
    rounding: (f64, f64),
    wanted: [bool; SHARED],
) -> Option<Expansion> {
    let sensor = sensors.first()?;
    let lag_s = sensor.prior.lag_s.map_or(0.0, |lag| lag.median);
    let wander_k = sensor.prior.wander_k.median;
    let mut at = Expansion { conductance_per_s: 0.0, compliance_per_pa: prior.centre() };
    // The temperature is nearly linear in g: two or three rounds leave nothing to correct.
    for _ in 0..4 {
        let gas = GasTemperature::new(base, model, at);
        let mut likelihood = SensorLikelihood::new(sensor, base, &gas, rounding, wanted);
        let design = likelihood.design(lag_s);
        let node = likelihood.node(&design, wander_k, 2700.0, 0.0)?;
        let step = node.profile(&[0.0; SHARED]).0;
        at.conductance_per_s += step;
        if !at.conductance_per_s.is_finite() {
            return None;
        }
        if (step * gas.largest_exposure_s).abs() < 3e-4 {
            break;
        }
    }
    Some(at)
}

/// Probability and size of a drift that a sensor's wander does not tell, by kind: a warm corner or a vessel that leaks.
fn suspicion(kind: SensorKind, drift_to_conductance: f64) -> (f64, f64) {
    match kind {
        SensorKind::Vessel => (0.10, 0.15 / 3600.0 * drift_to_conductance),
        SensorKind::Thermometer => (0.02, 0.1 / 3600.0 * drift_to_conductance),
        SensorKind::Steady => (0.0, 0.0),
    }
}

/// Conductance over volume that a drift of 1 K/s of a thermometer feigns, in 1/s.
fn drift_to_conductance(base: &Base, gas: &GasTemperature, model: &Model) -> f64 {
    let span = base.time_s[base.len() - 1] - base.time_s[0];
    span / (model.mean_k * gas.largest_exposure_s).max(1e-300)
}

fn heaviest(nodes: &[Node], value: impl Fn(&Node) -> f64) -> Option<&Node> {
    nodes.iter().max_by(|a, b| value(a).total_cmp(&value(b)))
}

/// Nodes of zero and compliance: over the prior's support, narrowed to where the data put them. The two are correlated,
/// so each zero has its own range of compliances.
fn nuisances(prior: CompliancePrior, at: Expansion, best: &Node, zero_spread_pa: f64) -> Vec<Nuisance> {
    let free = prior_is_free(prior);
    let mut out = Vec::new();
    for (z, log_z) in zero_nodes(best, zero_spread_pa, free) {
        for (c, log_c) in compliance_nodes(prior, at, best, z) {
            out.push(([0.0, c - at.compliance_per_pa, z, 0.0], log_c + log_z));
        }
    }
    out
}

fn compliance_nodes(prior: CompliancePrior, at: Expansion, best: &Node, zero_pa: f64) -> Vec<(f64, f64)> {
    let CompliancePrior::Fixed(value) = prior else {
        let (mut low, mut high) = prior.support();
        if let Some((centre, spread)) = Pair::new(best).compliance_given_zero(zero_pa) {
            let centre = centre + at.compliance_per_pa;
            let reach = 7.0 * spread;
            if reach < 0.5 * (high - low) {
                // Where prior and data disagree the nearer edge is kept, with room for the density to fall off.
                low = (centre - reach).clamp(low, high - 0.2 * reach);
                high = (centre + reach).clamp(low + 0.2 * reach, high);
            }
        }
        let count = if matches!(prior, CompliancePrior::OneSided { .. }) { 21 } else { 15 };
        return equidistant(low, high, count, |c| prior.log_density(c));
    };
    vec![(value, 0.0)]
}

fn zero_nodes(best: &Node, spread_pa: f64, compliance_free: bool) -> Vec<(f64, f64)> {
    if spread_pa <= 0.0 {
        return vec![(0.0, 0.0)];
    }
    let (mut centre, mut reach) = (0.0, 3.2 * spread_pa);
    if let Some((data_centre, data_spread)) = Pair::new(best).zero(compliance_free) {
        // Product of two normal densities.
        let precision = 1.0 / spread_pa.powi(2) + 1.0 / data_spread.powi(2);
        centre = data_centre / data_spread.powi(2) / precision;
        reach = 4.5 / precision.sqrt();
    }
    equidistant(centre - reach, centre + reach, 11, |z| -0.5 * (z / spread_pa).powi(2))
}

fn equidistant(low: f64, high: f64, count: usize, log_density: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    (0..count)
        .map(|i| {
            let x = low + (high - low) * i as f64 / (count - 1) as f64;
            let end = if i == 0 || i + 1 == count { 0.5_f64 } else { 1.0 };
            let step = ((high - low) / (count - 1) as f64).max(1e-300);
            (x, log_density(x) + (end * step).ln())
        })
        .collect()
}

/// Information of the data on compliance and zero with the conductance free.
struct Pair {
    cc: f64,
    cz: f64,
    zz: f64,
    c: f64,
    z: f64,
    /// Residual variance in units of the noise assumed.
    variance: f64,
}

impl Pair {
    fn new(node: &Node) -> Self {
        let gg = node.information[0][0].max(1e-300);
        let about = |i: usize, j: usize| node.information[i][j] - node.information[0][i] * node.information[0][j] / gg;
        let linear = |i: usize| node.linear[i] - node.information[0][i] * node.linear[0] / gg;
        let (_, rss, _) = node.profile(&[0.0; SHARED]);
        let variance = rss / node.degrees_of_freedom.max(1.0);
        Self { cc: about(1, 1), cz: about(1, 2), zz: about(2, 2), c: linear(1), z: linear(2), variance }
    }

    /// Centre and standard deviation of the compliance at a zero.
    fn compliance_given_zero(&self, zero_pa: f64) -> Option<(f64, f64)> {
        normal((self.c - self.cz * zero_pa) / self.cc, self.variance / self.cc)
    }

    /// Centre and standard deviation of the zero, the compliance free or fixed.
    fn zero(&self, compliance_free: bool) -> Option<(f64, f64)> {
        if !compliance_free {
            return normal(self.z / self.zz, self.variance / self.zz);
        }
        let curvature = self.zz - self.cz * self.cz / self.cc;
        normal((self.z - self.cz * self.c / self.cc) / curvature, self.variance / curvature)
    }
}

fn normal(centre: f64, variance: f64) -> Option<(f64, f64)> {
    (centre.is_finite() && variance.is_finite() && variance > 0.0).then_some((centre, variance.sqrt()))
}

fn nuisance_means(nuisances: &[Nuisance], weights: &[f64]) -> [f64; SHARED] {
    let mut means = [0.0; SHARED];
    for ((values, _), weight) in nuisances.iter().zip(weights) {
        for (mean, value) in means.iter_mut().zip(values) {
            *mean += weight * value;
        }
    }
    means
}

/// Distribution of the known inflow, found over applied, with the conductance free in every sensor.
fn inflow_ratio(evidence: &[Evidence], nuisances: &[Nuisance]) -> Option<Distribution> {
    let about: Vec<Evidence> = evidence
        .iter()
        .map(|sensor| Evidence { nodes: sensor.nodes.iter().map(Node::about_inflow).collect(), suspicion: (0.0, 0.0) })
        .collect();
    combine(&about, nuisances).map(|combined| combined.distribution.shifted(1.0))
}

fn sensor_fit(
    likelihood: &mut SensorLikelihood<'_>,
    evidence: &Evidence,
    combined: &Combined,
    others: &[f64; SHARED],
    alone: (f64, f64),
) -> Option<SensorFit> {
    let best = heaviest(&evidence.nodes, |node| node.log_marginal(others))?.clone();
    let top = best.log_marginal(others);
    let weights: Vec<f64> = evidence.nodes.iter().map(|node| (node.log_marginal(others) - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let mean = |value: &dyn Fn(&Hyper) -> f64| {
        evidence.nodes.iter().zip(&weights).map(|(node, weight)| weight * value(&node.hyper)).sum::<f64>() / total
    };
    let lag_s = mean(&|hyper| hyper.lag_s);
    let lag_spread = mean(&|hyper| (hyper.lag_s - lag_s).powi(2)).max(0.0).sqrt();
    let mut shared = *others;
    shared[0] = combined.distribution.median();
    let design = likelihood.design(best.hyper.lag_s);
    let (_, residual_k) = likelihood.residuals(&design, &best.hyper, &shared);
    let (_, rss, _) = best.profile(others);
    let variance_factor = rss / best.degrees_of_freedom.max(1.0);
    let noise = likelihood.noise(&best.hyper);
    let innovations =
        crate::noise::innovations(likelihood.row_time_s(), likelihood.row_readings(), &residual_k, &noise)
            .into_iter()
            .map(|v| v / variance_factor.sqrt())
            .collect();
    let white = likelihood.node(&design, 0.0, 1000.0, 0.0)?;
    let curvature = white.profile(others).2;
    let reading_k = likelihood.sensor.row_means(&likelihood.sensor.reading_k);
    Some(SensorFit {
        hyper: best.hyper,
        lag_s: (lag_s, lag_spread),
        white_k: (likelihood.white_variance() * variance_factor).sqrt(),
        wander_k: mean(&|hyper| hyper.wander_k) * variance_factor.sqrt(),
        memory_s: best.hyper.memory_s,
        alone,
        if_white: (variance_factor / curvature).sqrt(),
        row_time_s: likelihood.row_time_s().to_vec(),
        reading_k,
        residual_k,
        innovations,
    })
}

/// Systematic error of the conductance by an error of the pressures, in 1/s.
pub(crate) fn by_pressure_error(
    base: &Base,
    sensor: &Sensor,
    model: &Model,
    fit: &Fit,
    hyper: &Hyper,
    error: &PressureError,
) -> f64 {
    let plain = conductance_at(base, sensor, model, fit.expansion, hyper, &fit.freedom);
    let moved = conductance_at(&base.perturbed(error), sensor, model, fit.expansion, hyper, &fit.freedom);
    match (plain, moved) {
        (Some(plain), Some(moved)) => moved - plain,
        _ => 0.0,
    }
}
