//! Conductance model.

use super::join::Joined;
use super::{LeakLaw, Settings};
use crate::noise::{newey_west_lag, straight_line};
use crate::uncertainty::Distribution;
use crate::{BudgetLine, Estimate};

/// First estimate of G/V (1/s): ln amount against the integral of the law.
pub(crate) fn conductance_per_volume(joined: &Joined, temperature_k: &[f64], settings: &Settings) -> Option<Estimate> {
    let mut exposure = Vec::with_capacity(joined.time_s.len());
    let mut log_amount = Vec::with_capacity(joined.time_s.len());
    let mut total = 0.0;
    let mut before = 0.0;
    for index in 0..joined.time_s.len() {
        let law = law_pa(settings, joined, index) / joined.absolute_pa(index);
        if index > 0 {
            total += 0.5 * (law + before) * (joined.time_s[index] - joined.time_s[index - 1]);
        }
        before = law;
        exposure.push(-total);
        log_amount.push((joined.absolute_pa(index) / temperature_k[index]).ln());
    }
    let line = straight_line(&exposure, &log_amount, newey_west_lag(exposure.len()))?;
    let uncertainty = line.slope_newey_west;
    Some(Estimate::from_distribution(
        Distribution::student(line.slope, uncertainty, line.points as f64 - 2.0),
        vec![BudgetLine::new("noise and temperature", uncertainty)],
    ))
}

/// The driving difference of the leak law in Pa, signed like Δp.
fn law_pa(settings: &Settings, joined: &Joined, index: usize) -> f64 {
    let room = joined.room_pa[index];
    match settings.leak_law {
        LeakLaw::Linear => joined.difference_pa[index],
        LeakLaw::Laminar => {
            let inside = joined.absolute_pa(index);
            (inside * inside - room * room) / (2.0 * joined.room_pa[0] + settings.reference_pressure_pa)
        }
    }
}
