//! The steady ingress if walls still gave off what goes with the time since they were exposed to vacuum.

use super::{Component, Design, Mixture, Noise, Shape};
use crate::ppm_rise::Outgassing;
use crate::ppm_rise::likelihood::amounts;

/// Exponents of the outgassing of walls that were not baked: metal about 1, gas that diffuses out of elastomers 0.5
/// (vacuum technology's common rule, from memory).
const EXPONENTS: [f64; 2] = [0.5, 1.0];

/// Time constant, in windows, up to which a term is not the walls.
const QUICK: f64 = 1.0 / 3.0;

/// Posteriors of the ingress, one for each exponent, beside the terms of `shape`; the walls began to give off `since_s`
/// before the window.
pub(super) fn mixtures(design: &Design, noises: &[Noise], shape: Shape, since_s: f64) -> Vec<Mixture> {
    EXPONENTS.iter().filter_map(|&exponent| mixture(design, noises, shape, exponent, since_s)).collect()
}

fn mixture(design: &Design, noises: &[Noise], shape: Shape, exponent: f64, since_s: f64) -> Option<Mixture> {
    let span_s = design.forward.span_s();
    let walls = Shape { kind: Outgassing::PowerLaw, u: exponent, v: (since_s / span_s).ln() };
    let mut columns = amounts(&design.forward, walls);
    // A quick term is something else, gas that warms up; a slow one would be the walls themselves.
    let exponential = matches!(shape.kind, Outgassing::OneExponential | Outgassing::TwoExponentials);
    if exponential && shape.u.exp() < QUICK {
        let quick = Shape { kind: Outgassing::OneExponential, ..shape };
        columns.extend(amounts(&design.forward, quick));
    }
    let places: Vec<usize> = (0..columns.len()).collect();
    let components = noises.iter().enumerate().filter_map(|(index, noise)| {
        let whitened = design.rows.whiten(noise, &design.shared, &columns);
        let solved = design.rows.solve(&whitened, &places)?;
        Some(Component {
            shape: walls,
            noise: index,
            course: 0,
            solved,
            log_weight: solved.log_marginal + noise.log_prior,
        })
    });
    Mixture::new(components.collect())
}
