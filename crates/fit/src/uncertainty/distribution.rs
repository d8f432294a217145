//! State of knowledge about one quantity, as a distribution.

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

/// Distribution of a result: normal, Student t, or a density on a grid (mixtures, skewed results).
#[derive(Debug, Clone, PartialEq)]
pub enum Distribution {
    /// Normal with mean and standard deviation.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation, at least 0.
        standard_deviation: f64,
    },
    /// Student t, shifted and scaled.
    Student {
        /// Centre.
        location: f64,
        /// Scale (standard deviation of the estimate, without the inflation of the t distribution).
        scale: f64,
        /// Degrees of freedom, above 0.
        degrees_of_freedom: f64,
    },
    /// Cumulative probabilities on increasing abscissae, linear in between.
    Tabulated {
        /// Abscissae, increasing.
        x: Vec<f64>,
        /// Cumulative probability at each abscissa, from 0 to 1.
        cumulative: Vec<f64>,
    },
}

impl Distribution {
    /// Normal distribution.
    pub fn normal(mean: f64, standard_deviation: f64) -> Self {
        Self::Normal { mean, standard_deviation: standard_deviation.abs() }
    }

    /// Student t distribution; infinite degrees of freedom give the normal one.
    pub fn student(location: f64, scale: f64, degrees_of_freedom: f64) -> Self {
        if degrees_of_freedom.is_finite() {
            Self::Student { location, scale: scale.abs(), degrees_of_freedom }
        } else {
            Self::normal(location, scale)
        }
    }

    /// Distribution with the given (not normalised) density, one for each of the increasing abscissae, by the trapezoidal rule.
    ///
    /// A density that is zero everywhere gives a point at the first abscissa.
    pub fn from_density(x: Vec<f64>, density: &[f64]) -> Self {
        let mut cumulative = Vec::with_capacity(x.len());
        let mut total = 0.0;
        for index in 0..x.len() {
            if index > 0 {
                total += 0.5 * (density[index] + density[index - 1]) * (x[index] - x[index - 1]);
            }
            cumulative.push(total);
        }
        if total > 0.0 {
            for c in &mut cumulative {
                *c /= total;
            }
            Self::Tabulated { x, cumulative }
        } else {
            Self::normal(x.first().copied().unwrap_or(0.0), 0.0)
        }
    }

    /// The distribution of equally likely draws; all alike, or none, give a value without spread (0 for none).
    pub fn from_draws(mut draws: Vec<f64>) -> Self {
        const POINTS: usize = 400;
        draws.retain(|draw| draw.is_finite());
        draws.sort_by(f64::total_cmp);
        let (Some(first), Some(last)) = (draws.first().copied(), draws.last().copied()) else {
            return Self::normal(0.0, 0.0);
        };
        if first >= last {
            return Self::normal(first, 0.0);
        }
        let intervals = (draws.len() - 1) as f64;
        let points = POINTS.min(draws.len());
        let index = |point: usize| (point as f64 / (points - 1) as f64 * intervals).round() as usize;
        Self::Tabulated {
            x: (0..points).map(|point| draws[index(point)]).collect(),
            cumulative: (0..points).map(|point| index(point) as f64 / intervals).collect(),
        }
    }

    /// Probability that the quantity is at most `x`.
    pub fn cdf(&self, x: f64) -> f64 {
        match self {
            Self::Normal { mean, standard_deviation } if *standard_deviation > 0.0 => {
                standard_normal().cdf((x - mean) / standard_deviation)
            }
            Self::Normal { mean, .. } => f64::from(u8::from(x >= *mean)),
            Self::Student { location, scale, degrees_of_freedom } if *scale > 0.0 => {
                standard_student(*degrees_of_freedom).map_or(f64::NAN, |t| t.cdf((x - location) / scale))
            }
            Self::Student { location, .. } => f64::from(u8::from(x >= *location)),
            Self::Tabulated { x: abscissae, cumulative } => interpolate(abscissae, cumulative, x),
        }
    }

    /// The value below which the quantity lies with the given probability, between 0 and 1.
    pub fn quantile(&self, probability: f64) -> f64 {
        match self {
            Self::Normal { mean, standard_deviation } => {
                if *standard_deviation > 0.0 {
                    mean + standard_deviation * standard_normal().inverse_cdf(probability)
                } else {
                    *mean
                }
            }
            Self::Student { location, scale, degrees_of_freedom } => {
                if *scale > 0.0 {
                    location
                        + scale * standard_student(*degrees_of_freedom).map_or(f64::NAN, |t| t.inverse_cdf(probability))
                } else {
                    *location
                }
            }
            Self::Tabulated { x, cumulative } => inverse(x, cumulative, probability),
        }
    }

    /// Median.
    pub fn median(&self) -> f64 {
        self.quantile(0.5)
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        match self {
            Self::Normal { mean, .. } => *mean,
            Self::Student { location, .. } => *location,
            Self::Tabulated { x, cumulative } => {
                cells(x, cumulative).map(|(probability, low, high)| probability * 0.5 * (low + high)).sum()
            }
        }
    }

    /// Standard deviation; infinite for Student t with at most two degrees of freedom.
    pub fn standard_deviation(&self) -> f64 {
        match self {
            Self::Normal { standard_deviation, .. } => *standard_deviation,
            Self::Student { scale, degrees_of_freedom, .. } => {
                if *degrees_of_freedom > 2.0 {
                    scale * (degrees_of_freedom / (degrees_of_freedom - 2.0)).sqrt()
                } else {
                    f64::INFINITY
                }
            }
            Self::Tabulated { x, cumulative } => {
                let mean = self.mean();
                let variance: f64 = cells(x, cumulative)
                    .map(|(probability, low, high)| {
                        let centre = 0.5 * (low + high) - mean;
                        probability * (centre * centre + (high - low).powi(2) / 12.0)
                    })
                    .sum();
                variance.sqrt()
            }
        }
    }

    /// Degrees of freedom: those of the t distribution, infinite otherwise.
    pub fn degrees_of_freedom(&self) -> f64 {
        match self {
            Self::Student { degrees_of_freedom, .. } => *degrees_of_freedom,
            Self::Normal { .. } | Self::Tabulated { .. } => f64::INFINITY,
        }
    }

    /// Distribution of `factor` times the quantity.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        match self {
            Self::Normal { mean, standard_deviation } => Self::normal(mean * factor, standard_deviation * factor),
            Self::Student { location, scale, degrees_of_freedom } => {
                Self::student(location * factor, scale * factor, *degrees_of_freedom)
            }
            Self::Tabulated { x, cumulative } if factor > 0.0 => {
                Self::Tabulated { x: x.iter().map(|v| v * factor).collect(), cumulative: cumulative.clone() }
            }
            Self::Tabulated { x, cumulative } if factor < 0.0 => Self::Tabulated {
                x: x.iter().rev().map(|v| v * factor).collect(),
                cumulative: cumulative.iter().rev().map(|c| 1.0 - c).collect(),
            },
            Self::Tabulated { .. } => Self::normal(0.0, 0.0),
        }
    }

    /// The distribution shifted by an exact amount.
    #[must_use]
    pub fn shifted(&self, by: f64) -> Self {
        match self {
            Self::Normal { mean, standard_deviation } => Self::normal(mean + by, *standard_deviation),
            Self::Student { location, scale, degrees_of_freedom } => {
                Self::student(location + by, *scale, *degrees_of_freedom)
            }
            Self::Tabulated { x, cumulative } => {
                Self::Tabulated { x: x.iter().map(|v| v + by).collect(), cumulative: cumulative.clone() }
            }
        }
    }

    /// The distribution with its parts below and above the median drawn out, so that the central 95 % reach at least to
    /// the given ends; the median stays, and nothing is drawn in.
    #[must_use]
    pub fn reaching(&self, interval95: [f64; 2]) -> Self {
        let (low, median, high) = (self.quantile(0.025), self.median(), self.quantile(0.975));
        let factor = |wanted: f64, own: f64| if own > 0.0 { (wanted / own).max(1.0) } else { 1.0 };
        let (below, above) =
            (factor(median - interval95[0], median - low), factor(interval95[1] - median, high - median));
        if below <= 1.0 && above <= 1.0 {
            return self.clone();
        }
        let (x, cumulative) = self.table();
        let drawn = |v: f64| median + if v < median { below } else { above } * (v - median);
        Self::Tabulated { x: x.into_iter().map(drawn).collect(), cumulative }
    }

    /// Mixture of distributions by their weights, which need not add to 1; a value of 0 without any.
    #[must_use]
    pub fn mixed(parts: &[(f64, Self)]) -> Self {
        let total: f64 = parts.iter().map(|(weight, _)| weight).sum();
        let mut x: Vec<f64> = parts.iter().flat_map(|(_, part)| part.table().0).collect();
        x.sort_by(f64::total_cmp);
        x.dedup();
        if x.len() < 2 || !(total > 0.0) {
            return Self::normal(x.first().copied().unwrap_or(0.0), 0.0);
        }
        let at = |v: &f64| parts.iter().map(|(weight, part)| weight / total * part.cdf(*v)).sum();
        let cumulative = x.iter().map(at).collect();
        Self::Tabulated { x, cumulative }
    }

    /// Abscissae and cumulative probabilities.
    fn table(&self) -> (Vec<f64>, Vec<f64>) {
        if let Self::Tabulated { x, cumulative } = self {
            return (x.clone(), cumulative.clone());
        }
        let (centre, spread) = (self.median(), 0.5 * (self.quantile(0.841_345) - self.quantile(0.158_655)));
        let x: Vec<f64> = (-160..=160).map(|i| centre + 0.05 * spread * f64::from(i)).collect();
        let mut cumulative: Vec<f64> = x.iter().map(|v| self.cdf(*v)).collect();
        (cumulative[0], cumulative[320]) = (0.0, 1.0);
        (x, cumulative)
    }

    /// Distribution of an increasing function of the quantity, by 400 equally probable values.
    #[must_use]
    pub fn mapped(&self, increasing: impl Fn(f64) -> f64) -> Self {
        const NODES: u32 = 400;
        let (mut x, mut cumulative) = (Vec::new(), Vec::new());
        for i in 0..=NODES {
            // The ends stand a little inside, where every distribution is finite.
            let share = (f64::from(i) / f64::from(NODES)).clamp(1e-4, 1.0 - 1e-4);
            let value = increasing(self.quantile(share));
            if value.is_finite() && x.last().is_none_or(|last| value > *last) {
                x.push(value);
                cumulative.push(share);
            }
        }
        if let (Some(first), true) = (cumulative.first_mut(), x.len() > 1) {
            *first = 0.0;
        }
        match cumulative.last_mut() {
            Some(last) if x.len() > 1 => {
                *last = 1.0;
                Self::Tabulated { x, cumulative }
            }
            _ => Self::normal(increasing(self.median()), 0.0),
        }
    }

    /// Distribution of the sum of the quantity and an independent normal error of mean 0.
    #[must_use]
    pub fn with_normal_error(&self, standard_deviation: f64) -> Self {
        let own = self.standard_deviation();
        if standard_deviation <= 1e-3 * own || !standard_deviation.is_finite() {
            return self.clone();
        }
        match self {
            Self::Normal { mean, standard_deviation: sd } => Self::normal(*mean, sd.hypot(standard_deviation)),
            Self::Student { .. } | Self::Tabulated { .. } => self.convolved(standard_deviation),
        }
    }

    /// Distribution of this quantity minus an independent one: 200 equally probable values of each, all differences.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        if let (Self::Normal { mean: a, standard_deviation: u }, Self::Normal { mean: b, standard_deviation: v }) =
            (self, other)
        {
            return Self::normal(a - b, u.hypot(*v));
        }
        let values = |distribution: &Self| -> Vec<f64> {
            (0..EQUALLY_PROBABLE)
                .map(|i| distribution.quantile((f64::from(i) + 0.5) / f64::from(EQUALLY_PROBABLE)))
                .collect()
        };
        let (a, b) = (values(self), values(other));
        let mut differences: Vec<f64> = a.iter().flat_map(|x| b.iter().map(move |y| x - y)).collect();
        differences.sort_by(f64::total_cmp);
        let count = differences.len() as f64;
        let stride = differences.len() / 800;
        let (mut x, mut cumulative) = (Vec::new(), Vec::new());
        for (index, value) in differences.iter().enumerate().step_by(stride) {
            if x.last().is_none_or(|last| value > last) {
                x.push(*value);
                cumulative.push(index as f64 / count);
            }
        }
        match differences.last() {
            Some(last) if x.last().is_some_and(|before| last > before) => {
                x.push(*last);
                cumulative.push(1.0);
                Self::Tabulated { x, cumulative }
            }
            _ => Self::normal(self.median() - other.median(), 0.0),
        }
    }

    /// Sum with a normal error, on a grid: each cell is spread, evenly filled as it is, by the error's cumulative distribution.
    fn convolved(&self, standard_deviation: f64) -> Self {
        let normal = standard_normal();
        let masses: Vec<(f64, f64, f64)> = if let Self::Tabulated { x, cumulative } = self {
            cells(x, cumulative).filter(|c| c.0 > 0.0).collect()
        } else {
            let at = |i: i32| self.quantile((f64::from(i) + 0.5) / 200.0);
            (0..200).map(|i| (1.0 / 200.0, at(i), at(i))).collect()
        };
        let (first, last) =
            masses.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), m| (a.min(m.1), b.max(m.2)));
        // Integral of the cumulative normal distribution.
        let integral = |z: f64| z * normal.cdf(z) + normal.pdf(z);
        let below = |at: f64, (mass, low, high): (f64, f64, f64)| {
            let [from, to] = [low, high].map(|end| (at - end) / standard_deviation);
            mass * if from - to > 1e-3 {
                (integral(from) - integral(to)) / (from - to)
            } else {
                normal.cdf(0.5 * (from + to))
            }
        };
        let centre = self.median();
        let spread = standard_deviation.hypot((self.quantile(0.84) - self.quantile(0.16)) / 2.0);
        let reach = (centre - first).max(last - centre) + 6.0 * standard_deviation;
        let stretch = (reach / spread).asinh();
        let x: Vec<f64> = (-120..=120).map(|i| centre + spread * (stretch * f64::from(i) / 120.0).sinh()).collect();
        let cumulative: Vec<f64> =
            x.iter().map(|at| masses.iter().map(|cell| below(*at, *cell)).sum::<f64>().clamp(0.0, 1.0)).collect();
        Self::Tabulated { x, cumulative }
    }

    /// Probability that the quantity is at most `limit` when it is known not to be negative.
    ///
    /// Where nearly all probability lies below zero (a reading that noise made negative) the conditional
    /// probability is still formed, from the part above zero; when that part is not representable, the answer is 1
    /// for a limit that is not negative.
    pub fn probability_at_most_given_not_negative(&self, limit: f64) -> f64 {
        if limit < 0.0 {
            return 0.0;
        }
        let below_zero = self.cdf(0.0);
        let admissible = 1.0 - below_zero;
        if admissible <= 1e-12 {
            return 1.0;
        }
        ((self.cdf(limit) - below_zero) / admissible).clamp(0.0, 1.0)
    }
}

/// Values that stand for a distribution in a difference: their ends are the 0.25 % quantiles.
const EQUALLY_PROBABLE: u32 = 200;

fn standard_normal() -> Normal {
    Normal::standard()
}

fn standard_student(degrees_of_freedom: f64) -> Option<StudentsT> {
    StudentsT::new(0.0, 1.0, degrees_of_freedom).ok()
}

/// Probability, lower and upper end of each cell of a tabulated distribution.
fn cells<'a>(x: &'a [f64], cumulative: &'a [f64]) -> impl Iterator<Item = (f64, f64, f64)> + 'a {
    x.windows(2).zip(cumulative.windows(2)).map(|(x, c)| (c[1] - c[0], x[0], x[1]))
}

fn interpolate(x: &[f64], y: &[f64], at: f64) -> f64 {
    let upper = x.partition_point(|&v| v <= at);
    if upper == 0 {
        return 0.0;
    }
    if upper == x.len() {
        return 1.0;
    }
    let fraction = (at - x[upper - 1]) / (x[upper] - x[upper - 1]);
    y[upper - 1] + fraction * (y[upper] - y[upper - 1])
}

fn inverse(x: &[f64], cumulative: &[f64], probability: f64) -> f64 {
    let upper = cumulative.partition_point(|&c| c < probability).clamp(1, x.len() - 1);
    let width = cumulative[upper] - cumulative[upper - 1];
    let fraction = if width > 0.0 { ((probability - cumulative[upper - 1]) / width).clamp(0.0, 1.0) } else { 0.5 };
    x[upper - 1] + fraction * (x[upper] - x[upper - 1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tabulated_normal() -> Distribution {
        let x: Vec<f64> = (0..=1600).map(|i| -8.0 + f64::from(i) * 0.01).collect();
        let density: Vec<f64> = x.iter().map(|v| (-0.5 * v * v).exp()).collect();
        Distribution::from_density(x, &density)
    }

    #[test]
    fn a_tabulated_normal_has_the_quantiles_of_the_normal() {
        let table = tabulated_normal();
        assert!((table.quantile(0.975) - 1.959_964).abs() < 1e-4);
        assert!((table.standard_deviation() - 1.0).abs() < 1e-4);
        assert!(table.median().abs() < 1e-9);
    }

    #[test]
    fn turning_the_sign_mirrors_the_quantiles() {
        let table = tabulated_normal().scaled(-2.0);
        assert!((table.quantile(0.025) + 2.0 * 1.959_964).abs() < 2e-4);
    }

    #[test]
    fn drawn_out_below_the_median_the_upper_quantiles_stay() {
        for plain in [tabulated_normal(), Distribution::normal(0.0, 1.0)] {
            let drawn = plain.reaching([-5.0, 1.0]);
            // A table in steps of 0.05 standard deviations is right to a thousandth of them.
            assert!((drawn.quantile(0.025) + 5.0).abs() < 3e-3, "{}", drawn.quantile(0.025));
            assert!((drawn.quantile(0.975) - plain.quantile(0.975)).abs() < 1e-3);
            assert!(drawn.median().abs() < 1e-3);
        }
    }

    #[test]
    fn a_negative_reading_of_a_quantity_that_cannot_be_negative_conforms_with_the_part_above_zero() {
        let below = Distribution::normal(-1.0, 1.0);
        let expected = (below.cdf(1.0) - below.cdf(0.0)) / (1.0 - below.cdf(0.0));
        assert!((below.probability_at_most_given_not_negative(1.0) - expected).abs() < 1e-12);
        assert!((Distribution::normal(-50.0, 1.0).probability_at_most_given_not_negative(0.1) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_mixture_has_the_weighted_probabilities_of_its_parts() {
        let even = |from: f64| Distribution::from_density(vec![from, from + 1.0], &[1.0, 1.0]);
        let mixed = Distribution::mixed(&[(3.0, even(0.0)), (1.0, even(2.0))]);
        assert!((mixed.cdf(0.5) - 0.375).abs() < 1e-12 && (mixed.cdf(1.5) - 0.75).abs() < 1e-12);
        assert!((mixed.quantile(0.875) - 2.5).abs() < 1e-12);
    }
}
