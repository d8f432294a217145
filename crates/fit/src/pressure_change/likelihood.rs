//! Integrated likelihood of one sensor over its lag and its noise.
//!
//! For each lag and noise the readings are linear in offset, start and the shared quantities; offset, start, steps and
//! the white variance are integrated out in closed form (restricted likelihood). What is left is, per lag and noise,
//! a Student density in the shared quantities. Lag, size and memory of the wander are then integrated numerically,
//! so that a record too short to know them gives the wide result that is true.

use super::base::{Base, GasTemperature, Lag, SHARED};
use super::sensor::{LogNormal, Sensor, SensorKind};
use crate::noise::{NoiseModel, OrnsteinUhlenbeck, whiten};

/// Noise of a sensor as it is integrated over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hyper {
    pub(crate) lag_s: f64,
    /// Standard deviation of the wander in K.
    pub(crate) wander_k: f64,
    pub(crate) memory_s: f64,
}

/// Quadratic form of the residual sum of squares in the shared quantities s (deviations from the expansion point):
/// `rss(s) = constant − 2·linear·s + s·information·s`, relative to the noise that was assumed.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub(crate) hyper: Hyper,
    /// Logarithm of prior × quadrature weight × determinants.
    pub(crate) log_weight: f64,
    pub(crate) constant: f64,
    pub(crate) linear: [f64; SHARED],
    pub(crate) information: [[f64; SHARED]; SHARED],
    /// Degrees of freedom of the Student density, with conductance among the unknowns.
    pub(crate) degrees_of_freedom: f64,
}

impl Node {
    /// Logarithm of the likelihood at shared values, constants that all nodes of a sensor share left out.
    pub(crate) fn log_likelihood(&self, rss: f64) -> f64 {
        self.log_weight - 0.5 * (self.degrees_of_freedom + 1.0) * rss.max(1e-300).ln()
    }

    /// For given other shared values: best conductance, residual sum of squares there, and curvature.
    pub(crate) fn profile(&self, others: &[f64; SHARED]) -> (f64, f64, f64) {
        let mut linear = self.linear[0];
        let mut constant = self.constant;
        for j in 1..SHARED {
            linear -= self.information[0][j] * others[j];
            constant -= 2.0 * self.linear[j] * others[j];
            for k in 1..SHARED {
                constant += others[j] * self.information[j][k] * others[k];
            }
        }
        let curvature = self.information[0][0].max(1e-300);
        let best = linear / curvature;
        (best, (constant - linear * best).max(1e-300), curvature)
    }

    /// The same evidence with the known inflow as the quantity in the first place and conductance integrated out.
    pub(crate) fn about_inflow(&self) -> Node {
        let gg = self.information[0][0].max(1e-300);
        let mut node = self.clone();
        node.log_weight -= 0.5 * gg.ln();
        node.degrees_of_freedom -= 1.0;
        node.constant -= self.linear[0].powi(2) / gg;
        let reduced =
            |j: usize, k: usize| self.information[j][k] - self.information[0][j] * self.information[0][k] / gg;
        let order = [3, 1, 2];
        node.information = [[0.0; SHARED]; SHARED];
        node.linear = [0.0; SHARED];
        for (row, &j) in order.iter().enumerate() {
            node.linear[row] = self.linear[j] - self.linear[0] * self.information[0][j] / gg;
            for (column, &k) in order.iter().enumerate() {
                node.information[row][column] = reduced(j, k);
            }
        }
        node
    }

    /// Logarithm of the likelihood with conductance and all free shared quantities integrated out. `precision` is the
    /// prior's for each of them about the expansion point; infinite for what is fixed there, 0 for no prior.
    pub(crate) fn log_evidence(&self, precision: &[f64; SHARED]) -> f64 {
        let mut a = self.information;
        let mut linear = self.linear;
        let free: Vec<usize> = (0..SHARED).filter(|&j| precision[j].is_finite() && a[j][j] > 0.0).collect();
        let mut rss = self.constant;
        let mut log_determinant = 0.0;
        for &j in &free {
            a[j][j] += precision[j];
        }
        for (position, &pivot) in free.iter().enumerate() {
            let diagonal = a[pivot][pivot].max(1e-300);
            log_determinant += diagonal.ln();
            rss -= linear[pivot].powi(2) / diagonal;
            for &row in &free[position + 1..] {
                let factor = a[row][pivot] / diagonal;
                linear[row] -= factor * linear[pivot];
                for &column in &free[position + 1..] {
                    a[row][column] -= factor * a[pivot][column];
                }
            }
        }
        self.log_weight - 0.5 * self.degrees_of_freedom * rss.max(1e-300).ln() - 0.5 * log_determinant
    }

    /// Logarithm of the likelihood with conductance integrated out, other shared values given.
    pub(crate) fn log_marginal(&self, others: &[f64; SHARED]) -> f64 {
        let (_, rss, curvature) = self.profile(others);
        self.log_weight - 0.5 * self.degrees_of_freedom * rss.ln() - 0.5 * curvature.ln()
    }
}

/// One sensor against the gas temperature of the pressures.
pub(crate) struct SensorLikelihood<'a> {
    pub(crate) sensor: &'a Sensor,
    base: &'a Base,
    gas: &'a GasTemperature,
    row_time_s: Vec<f64>,
    row_readings: Vec<f64>,
    row_reading_k: Vec<f64>,
    lagged: Vec<f64>,
    /// Shared columns that are not zero throughout: only they are worth a filter pass.
    active: [bool; SHARED],
    /// White variance of one reading in K² that scales all variances.
    white_variance: f64,
    /// Rounding of the pressures seen as temperature: standard deviation in K, memory in s.
    pub(crate) pressure_rounding: (f64, f64),
}

/// Design rows of one lag: local columns (offset, start, drift, steps), shared columns, reading minus prediction.
pub(crate) struct Design {
    rows: Vec<f64>,
    columns: usize,
    local: usize,
    lag_s: f64,
}

impl<'a> SensorLikelihood<'a> {
    pub(crate) fn new(
        sensor: &'a Sensor,
        base: &'a Base,
        gas: &'a GasTemperature,
        pressure_rounding: (f64, f64),
        wanted: [bool; SHARED],
    ) -> Self {
        let (row_time_s, row_readings) = sensor.row_axis();
        let row_reading_k = sensor.row_means(&sensor.reading_k);
        let mut active = wanted;
        for (j, used) in active.iter_mut().enumerate() {
            *used &= gas.columns[1 + j].iter().any(|v| v.abs() > 0.0);
        }
        let white_variance = sensor.white_k.powi(2);
        Self {
            sensor,
            base,
            gas,
            row_time_s,
            row_readings,
            row_reading_k,
            lagged: Vec::new(),
            active,
            white_variance,
            pressure_rounding,
        }
    }

    pub(crate) fn row_time_s(&self) -> &[f64] {
        &self.row_time_s
    }

    pub(crate) fn row_readings(&self) -> &[f64] {
        &self.row_readings
    }

    pub(crate) fn white_variance(&self) -> f64 {
        self.white_variance
    }

    fn steps(&self) -> usize {
        self.gas.columns.len() - 1 - SHARED
    }

    /// Means over the rows of a column of the gas temperature, as the sensor would show it.
    fn seen(&mut self, column: usize, lag: Option<&Lag>) -> Vec<f64> {
        let input = &self.gas.columns[column];
        let series = match lag {
            Some(lag) => {
                lag.apply(input, &mut self.lagged);
                &self.lagged
            }
            None => input,
        };
        let bins: Vec<f64> = self.sensor.at_bins(series).collect();
        self.sensor.row_means(&bins)
    }

    pub(crate) fn design(&mut self, lag_s: f64) -> Design {
        // Without a thermometer nothing lags; the time constant is that of the settling.
        let lags = lag_s > 0.0 && self.sensor.kind != SensorKind::Steady;
        let lag = lags.then(|| Lag::new(&self.base.time_s, lag_s));
        let n = self.row_time_s.len();
        let start = self.row_time_s[0];
        let span = (self.row_time_s[n - 1] - start).max(1.0);
        let mut columns: Vec<Vec<f64>> = vec![vec![1.0; n]];
        if lag_s > 0.0 {
            let from = self.base.time_s[0];
            columns.push(self.row_time_s.iter().map(|t| (-(t - from) / lag_s).exp()).collect());
        }
        if self.sensor.prior.drift_k_per_s > 0.0 {
            columns.push(self.row_time_s.iter().map(|t| (t - start) / span - 0.5).collect());
        }
        for step in 0..self.steps() {
            columns.push(self.seen(1 + SHARED + step, lag.as_ref()));
        }
        let local = columns.len();
        for j in 0..SHARED {
            if self.active[j] {
                columns.push(self.seen(1 + j, lag.as_ref()));
            }
        }
        let predicted = self.seen(0, lag.as_ref());
        // Both have their means taken off: 295 K would cost five digits of every product.
        let mean = predicted.iter().sum::<f64>() / n as f64;
        columns.push(
            predicted.iter().zip(&self.row_reading_k).map(|(x, y)| (y - self.sensor.mean_k) - (x - mean)).collect(),
        );
        let width = columns.len();
        let mut rows = Vec::with_capacity(n * width);
        for row in 0..n {
            rows.extend(columns.iter().map(|column| column[row]));
        }
        Design { rows, columns: width, local, lag_s }
    }

    /// Prior precisions of the local columns.
    fn local_precision(&self, lag_s: f64) -> Vec<f64> {
        let mut out = vec![0.0];
        if lag_s > 0.0 {
            out.push(self.sensor.prior.start_k.max(1e-3).powi(-2));
        }
        if self.sensor.prior.drift_k_per_s > 0.0 {
            let span = self.row_time_s[self.row_time_s.len() - 1] - self.row_time_s[0];
            out.push((self.sensor.prior.drift_k_per_s * span).powi(-2));
        }
        out.resize(out.len() + self.steps(), 0.0);
        out
    }

    pub(crate) fn noise(&self, hyper: &Hyper) -> NoiseModel {
        let (sensor_sd, sensor_memory) = self.sensor.rounding;
        let (pressure_sd, pressure_memory) = self.pressure_rounding;
        // Two roundings in one component: variances add, memories are averaged by variance.
        let variance = sensor_sd.powi(2) + pressure_sd.powi(2);
        let memory_s = if variance > 0.0 {
            (sensor_sd.powi(2) * sensor_memory + pressure_sd.powi(2) * pressure_memory) / variance
        } else {
            1.0
        };
        NoiseModel {
            white_variance: self.white_variance,
            correlated: [
                OrnsteinUhlenbeck { variance: hyper.wander_k.powi(2), memory_s: hyper.memory_s },
                self.averaged(OrnsteinUhlenbeck { variance, memory_s }),
            ],
        }
    }

    /// A rounding component as it is after averaging over a row.
    fn averaged(&self, component: OrnsteinUhlenbeck) -> OrnsteinUhlenbeck {
        let n = self.row_time_s.len();
        let row_s = (self.row_time_s[n - 1] - self.row_time_s[0]) / n as f64;
        let x = row_s / component.memory_s;
        if x < 1e-3 || self.row_readings[n / 2] < 1.5 {
            return component;
        }
        let kept = 2.0 / x * (1.0 - (1.0 - (-x).exp()) / x);
        OrnsteinUhlenbeck { variance: component.variance * kept, ..component }
    }

    /// Likelihood of one lag and noise, offset, start and steps integrated out.
    pub(crate) fn node(&self, design: &Design, wander_k: f64, memory_s: f64, log_prior: f64) -> Option<Node> {
        let hyper = Hyper { lag_s: design.lag_s, wander_k, memory_s };
        let noise = self.noise(&hyper);
        let whitened = whiten(&self.row_time_s, &self.row_readings, &design.rows, design.columns, &noise);
        let k = design.columns;
        let mut a = whitened.gram;
        for (j, precision) in self.local_precision(design.lag_s).iter().enumerate() {
            a[j * k + j] += precision;
        }
        // Elimination of the local columns leaves their Schur complement; pivots give the determinant.
        let mut log_determinant = 0.0;
        for pivot in 0..design.local {
            let diagonal = a[pivot * k + pivot];
            if !(diagonal > 0.0) {
                return None;
            }
            log_determinant += diagonal.ln();
            for row in pivot + 1..k {
                let factor = a[row * k + pivot] / diagonal;
                for column in pivot + 1..k {
                    a[row * k + column] -= factor * a[pivot * k + column];
                }
            }
        }
        let mut node = Node {
            hyper,
            log_weight: log_prior - 0.5 * (whitened.log_determinant + log_determinant),
            constant: a[k * k - 1].max(1e-300),
            linear: [0.0; SHARED],
            information: [[0.0; SHARED]; SHARED],
            degrees_of_freedom: (self.row_time_s.len() - design.local.min(self.row_time_s.len() - 2)) as f64 - 1.0,
        };
        if self.sensor.prior.scale_known {
            node.constant += KNOWN_SCALE;
            node.degrees_of_freedom += KNOWN_SCALE;
        }
        let positions: Vec<usize> = (0..SHARED).filter(|j| self.active[*j]).collect();
        for (row, &j) in positions.iter().enumerate() {
            node.linear[j] = a[(design.local + row) * k + k - 1];
            for (column, &l) in positions.iter().enumerate() {
                node.information[j][l] = a[(design.local + row) * k + design.local + column];
            }
        }
        Some(node)
    }

    /// Local coefficients at given shared values, and the residuals in K row by row.
    pub(crate) fn residuals(&self, design: &Design, hyper: &Hyper, shared: &[f64; SHARED]) -> (Vec<f64>, Vec<f64>) {
        let noise = self.noise(hyper);
        let n = self.row_time_s.len();
        let width = design.local + 1;
        let mut rows = Vec::with_capacity(n * width);
        for row in design.rows.chunks_exact(design.columns) {
            let mut target = row[design.columns - 1];
            let mut column = design.local;
            for j in 0..SHARED {
                if self.active[j] {
                    target -= shared[j] * row[column];
                    column += 1;
                }
            }
            rows.extend_from_slice(&row[..design.local]);
            rows.push(target);
        }
        let mut gram = whiten(&self.row_time_s, &self.row_readings, &rows, width, &noise).gram;
        for (j, precision) in self.local_precision(design.lag_s).iter().enumerate() {
            gram[j * width + j] += precision;
        }
        let coefficients = solve_normal(&mut gram, width);
        let residuals = rows
            .chunks_exact(width)
            .map(|row| row[design.local] - row.iter().zip(&coefficients).map(|(x, b)| x * b).sum::<f64>())
            .collect();
        (coefficients, residuals)
    }

    /// Integrates over lag and noise. `precision` is the prior's of the shared quantities, which are integrated out in
    /// the search for the lags and noises that matter.
    pub(crate) fn integrate(&mut self, precision: &[f64; SHARED]) -> Vec<Node> {
        let lags = self.lag_nodes(precision);
        let memories = self.sensor.prior.memory_s.clone();
        let mut nodes = Vec::new();
        for (lag_s, log_lag_weight) in lags {
            let design = self.design(lag_s);
            if self.sensor.prior.no_wander > 0.0 {
                // Without wander its memory does not matter: one node for all.
                let log_prior = log_lag_weight + self.sensor.prior.no_wander.ln();
                nodes.extend(self.node(&design, 0.0, 1.0, log_prior));
            }
            for &(memory_s, weight) in &memories {
                let log_prior = log_lag_weight + weight.ln();
                self.integrate_wander(&design, memory_s, log_prior, precision, &mut nodes);
            }
        }
        keep_significant(nodes, precision)
    }

    /// Integrates over the standard deviation of the wander at one lag and memory.
    fn integrate_wander(
        &self,
        design: &Design,
        memory_s: f64,
        log_prior: f64,
        precision: &[f64; SHARED],
        nodes: &mut Vec<Node>,
    ) {
        let prior = &self.sensor.prior;
        if prior.wander_k.spread <= 0.0 {
            nodes.extend(self.node(design, prior.wander_k.median, memory_s, log_prior));
            return;
        }
        let slab = log_prior + (1.0 - prior.no_wander).ln();
        let (low, high) = (
            prior.wander_k.median.ln() - 3.2 * prior.wander_k.spread,
            prior.wander_k.median.ln() + 3.0 * prior.wander_k.spread,
        );
        let found = bisected(low, high, WANDER_START, WANDER_NODES, |ln_wander| {
            let density = slab + prior.wander_k.log_density(ln_wander) - 0.5 * std::f64::consts::TAU.ln();
            self.node(design, ln_wander.exp(), memory_s, density).map(|node| (node.log_evidence(precision), node))
        });
        nodes.extend(found);
    }

    /// Lags that matter, with their quadrature weights times prior.
    fn lag_nodes(&mut self, precision: &[f64; SHARED]) -> Vec<(f64, f64)> {
        let Some(prior) = self.sensor.prior.lag_s else { return vec![(0.0, 0.0)] };
        let range = lag_range(&prior);
        // Lags with a usual noise, the noise at the best lag, then lags again with that noise.
        let first = self.scan_lags(range, (self.sensor.prior.wander_k.median, 2700.0), &prior, precision);
        let noise = self.best_noise(highest(&first).map_or(prior.median, |best| best.0.exp()), precision);
        let scan = self.scan_lags(range, noise, &prior, precision);
        let nodes = self.narrow_peak(&scan, range, noise, &prior, precision).unwrap_or_else(|| spread_nodes(&scan));
        nodes.into_iter().map(|(ln_lag, log_step)| (ln_lag.exp(), log_step + prior.log_density(ln_lag))).collect()
    }

    /// Nodes across a peak that is too narrow for the scan: its top by parabolas, its width by the last curvature.
    fn narrow_peak(
        &mut self,
        scan: &[(f64, f64)],
        range: (f64, f64),
        noise: (f64, f64),
        prior: &LogNormal,
        precision: &[f64; SHARED],
    ) -> Option<Vec<(f64, f64)>> {
        let best = (1..scan.len().checked_sub(1)?).max_by(|a, b| scan[*a].1.total_cmp(&scan[*b].1))?;
        let mut three = [scan[best - 1], scan[best], scan[best + 1]];
        let mut spread = f64::INFINITY;
        for _ in 0..8 {
            let (top, curvature) = parabola(&three)?;
            if !(range.0..=range.1).contains(&top) {
                return None;
            }
            spread = (-curvature).sqrt().recip();
            let settled = (three[2].0 - three[0].0) < 5.0 * spread && (top - three[1].0).abs() < 0.3 * spread;
            if settled {
                break;
            }
            // The next triple is tighter: about one standard deviation on either side of the top, not less than a
            // quarter of the triple before, so that a bad parabola does not throw it off.
            let arm = (1.2 * spread).max(0.12 * (three[2].0 - three[0].0));
            let mut next = [three[0]; 3];
            for (point, x) in next.iter_mut().zip([top - arm, top, top + arm]) {
                *point = (x, self.lag_log_density(x, noise, prior, precision)?);
            }
            three = next;
        }
        let top = parabola(&three)?.0;
        if spread > 0.15 || top - 3.5 * spread < range.0 || top + 3.5 * spread > range.1 {
            return None;
        }
        // The noise is not known as well as the scan takes it to be: a little wider than its parabola.
        let step = 1.45 * spread;
        let half = (LAG_NODES / 2) as f64;
        Some((0..LAG_NODES).map(|i| (top + step * (i as f64 - half), step.ln())).collect())
    }

    fn lag_log_density(
        &mut self,
        ln_lag: f64,
        noise: (f64, f64),
        prior: &LogNormal,
        precision: &[f64; SHARED],
    ) -> Option<f64> {
        let design = self.design(ln_lag.exp());
        Some(self.node(&design, noise.0, noise.1, prior.log_density(ln_lag))?.log_evidence(precision))
    }

    fn scan_lags(
        &mut self,
        (low, high): (f64, f64),
        noise: (f64, f64),
        prior: &LogNormal,
        precision: &[f64; SHARED],
    ) -> Vec<(f64, f64)> {
        let mut scan = Vec::new();
        bisected(low, high, 8, LAG_SCAN, |ln_lag| {
            let design = self.design(ln_lag.exp());
            let node = self.node(&design, noise.0, noise.1, prior.log_density(ln_lag))?;
            let value = node.log_evidence(precision);
            scan.push((ln_lag, value));
            Some((value, node))
        });
        scan.sort_by(|a, b| a.0.total_cmp(&b.0));
        scan
    }

    fn best_noise(&mut self, lag_s: f64, precision: &[f64; SHARED]) -> (f64, f64) {
        let design = self.design(lag_s);
        let prior = &self.sensor.prior;
        if prior.wander_k.spread <= 0.0 {
            return (prior.wander_k.median, prior.memory_s.first().map_or(10_800.0, |m| m.0));
        }
        let mut best = (f64::NEG_INFINITY, (prior.wander_k.median, 2700.0));
        for &(memory_s, _) in &prior.memory_s {
            for step in -3..=3 {
                let wander = prior.wander_k.median * (0.8 * f64::from(step) * prior.wander_k.spread).exp();
                let density = prior.wander_k.log_density(wander.ln());
                if let Some(node) = self.node(&design, wander, memory_s, density) {
                    let value = node.log_evidence(precision);
                    if value > best.0 {
                        best = (value, (wander, memory_s));
                    }
                }
            }
        }
        best.1
    }
}

/// Degrees of freedom that stand for a noise that is known: the Student density is then a normal one.
const KNOWN_SCALE: f64 = 1e4;
/// Nodes of the wander: to start with, and in all.
const WANDER_START: usize = 6;
const WANDER_NODES: usize = 10;

/// Lags that are looked at: three prior spreads, from 2 s to an hour.
fn lag_range(prior: &LogNormal) -> (f64, f64) {
    let centre = prior.median.ln();
    ((centre - 3.2 * prior.spread).max(2.0_f64.ln()), (centre + 3.0 * prior.spread).min(3600.0_f64.ln()))
}

/// Evaluates a log density on an interval, first at `start` equidistant points, then where most mass is uncertain,
/// and returns the nodes with the trapezoidal weight added to their log weight.
fn bisected(
    low: f64,
    high: f64,
    start: usize,
    budget: usize,
    mut evaluate: impl FnMut(f64) -> Option<(f64, Node)>,
) -> Vec<Node> {
    let mut points: Vec<(f64, f64, Node)> = Vec::with_capacity(budget);
    for i in 0..start {
        let x = low + (high - low) * i as f64 / (start - 1) as f64;
        if let Some((value, node)) = evaluate(x) {
            points.push((x, value, node));
        }
    }
    while points.len() >= 2 && points.len() < budget {
        let top = points.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
        // Width times the larger end: a peak between two far points is found because both its shoulders weigh.
        let error = |pair: &[(f64, f64, Node)]| {
            (pair[1].0 - pair[0].0) * (pair[0].1.max(pair[1].1) - top).exp() * (pair[1].0 - pair[0].0)
        };
        let Some(worst) =
            (0..points.len() - 1).max_by(|a, b| error(&points[*a..a + 2]).total_cmp(&error(&points[*b..b + 2])))
        else {
            break;
        };
        let x = 0.5 * (points[worst].0 + points[worst + 1].0);
        let Some((value, node)) = evaluate(x) else { break };
        points.insert(worst + 1, (x, value, node));
    }
    let count = points.len();
    let abscissae: Vec<f64> = points.iter().map(|p| p.0).collect();
    points
        .into_iter()
        .enumerate()
        .map(|(i, (x, _, mut node))| {
            let left = if i > 0 { x - abscissae[i - 1] } else { 0.0 };
            let right = if i + 1 < count { abscissae[i + 1] - x } else { 0.0 };
            node.log_weight += (0.5 * (left + right)).max(1e-300).ln();
            node
        })
        .collect()
}

/// Equidistant nodes over the region where a scanned log density has its mass, with the log of the step.
fn spread_nodes(scan: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let top = scan.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let mass: Vec<f64> = scan
        .windows(2)
        .map(|pair| 0.5 * ((pair[0].1 - top).exp() + (pair[1].1 - top).exp()) * (pair[1].0 - pair[0].0))
        .collect();
    let total: f64 = mass.iter().sum();
    if !(total > 0.0) {
        return highest(scan).map(|best| (best.0, 0.0)).into_iter().collect();
    }
    let centre = |i: usize| 0.5 * (scan[i].0 + scan[i + 1].0);
    let mean: f64 = mass.iter().enumerate().map(|(i, m)| m * centre(i)).sum::<f64>() / total;
    let variance: f64 = mass
        .iter()
        .enumerate()
        .map(|(i, m)| m * ((centre(i) - mean).powi(2) + (scan[i + 1].0 - scan[i].0).powi(2) / 12.0))
        .sum::<f64>()
        / total;
    let spread = variance.sqrt();
    let (first, last) = (scan[0].0, scan[scan.len() - 1].0);
    let from = (mean - 3.0 * spread).max(first);
    let to = (mean + 3.0 * spread).min(last);
    let step = (to - from) / (LAG_NODES - 1) as f64;
    (0..LAG_NODES).map(|i| (from + step * i as f64, step.max(1e-12).ln())).collect()
}

/// Lags in a scan and in the final integration (an odd number: one at the top).
const LAG_SCAN: usize = 15;
const LAG_NODES: usize = 5;

fn highest(scan: &[(f64, f64)]) -> Option<(f64, f64)> {
    scan.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Top and curvature of the parabola through three points; `None` where it has no top.
fn parabola(points: &[(f64, f64); 3]) -> Option<(f64, f64)> {
    let [(x0, y0), (x1, y1), (x2, y2)] = *points;
    let (left, right) = ((y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1));
    let curvature = 2.0 * (right - left) / (x2 - x0);
    if !(curvature < 0.0) {
        return None;
    }
    Some((0.5 * (x0 + x1) - left / curvature, curvature))
}

/// Drops nodes that carry less than a ten-thousandth of the heaviest.
fn keep_significant(nodes: Vec<Node>, precision: &[f64; SHARED]) -> Vec<Node> {
    let top = nodes.iter().map(|node| node.log_evidence(precision)).fold(f64::NEG_INFINITY, f64::max);
    nodes.into_iter().filter(|node| node.log_evidence(precision) > top - 9.0).collect()
}

/// Solves the normal equations in the leading block of a Gram matrix whose last column is the target.
fn solve_normal(gram: &mut [f64], width: usize) -> Vec<f64> {
    let unknowns = width - 1;
    for pivot in 0..unknowns {
        let diagonal = gram[pivot * width + pivot].max(1e-300);
        for row in pivot + 1..unknowns {
            let factor = gram[row * width + pivot] / diagonal;
            for column in pivot..width {
                gram[row * width + column] -= factor * gram[pivot * width + column];
            }
        }
    }
    let mut solution = vec![0.0; unknowns];
    for row in (0..unknowns).rev() {
        let mut value = gram[row * width + unknowns];
        for column in row + 1..unknowns {
            value -= gram[row * width + column] * solution[column];
        }
        solution[row] = value / gram[row * width + row].max(1e-300);
    }
    solution
}
