//! Gas fed in during a rise: as logged, or what must have replaced the leakage where a pressure above the room was held.

use tightfit_fit::Samples;
use tightfit_fit::ppm_rise::{MakeUp, PressureDifference, Quantity};
use tightfit_ingest::Channel;
use tightfit_quantity::{Dimension, Gas};

use crate::data::{ChannelData, DataError, TestData};

use super::TestError;
use super::leak_from_pressure::for_gas;
use super::pressure_channels::fit_instrument;

/// Hourly leak rate at 1000 Pa up to which a leak that nobody measured is allowed for: class 3 of ISO 10648-2.
const UNMEASURED_LEAK_PER_H: f64 = 1e-2;
/// Relative standard uncertainty of a flow for the conditions that the meter's volumes refer to.
const REFERENCE_CONDITIONS: f64 = 0.05;
/// Pressure above the room from which gas must flow in to hold it, Pa.
const LEAST_OVERPRESSURE_PA: f64 = 10.0;

/// Gas fed in, as logged.
#[derive(Debug, Default)]
pub(super) struct FedIn {
    time_s: Vec<f64>,
    flow_m3_per_s: Vec<f64>,
    relative_uncertainty: f64,
}

impl FedIn {
    /// From the flow, or from the total of a counter.
    pub(super) fn gather(data: &TestData<'_>) -> Result<Self, DataError> {
        if let Some(flow) = data.channel(Channel::MakeupFlow)? {
            return Ok(Self::new(&flow, Dimension::VolumeFlow, flow.value.clone()));
        }
        let Some(total) = data.channel(Channel::MakeupTotal)? else { return Ok(Self::default()) };
        let steps = total.value.windows(2).zip(total.time_s.windows(2));
        // A counter that starts again counts nothing for that step.
        let mut flow: Vec<f64> = steps.map(|(v, t)| ((v[1] - v[0]) / (t[1] - t[0])).max(0.0)).collect();
        flow.push(0.0);
        Ok(Self::new(&total, Dimension::Volume, flow))
    }

    fn new(channel: &ChannelData<'_>, dimension: Dimension, flow_m3_per_s: Vec<f64>) -> Self {
        let scale = fit_instrument(channel.instrument, dimension).scale;
        let relative_uncertainty = scale.hypot(REFERENCE_CONDITIONS);
        Self { time_s: channel.time_s.clone(), flow_m3_per_s, relative_uncertainty }
    }

    pub(super) fn is_logged(&self) -> bool {
        !self.time_s.is_empty()
    }

    pub(super) fn make_up(&self, held: Option<Quantity>) -> Result<MakeUp<'_>, TestError> {
        if !self.is_logged() {
            return Ok(held.map_or(MakeUp::None, MakeUp::Rate));
        }
        let samples = Samples::new(&self.time_s, &self.flow_m3_per_s)
            .map_err(|error| TestError::Samples { column: "make-up".to_owned(), error })?;
        Ok(MakeUp::Flow { samples, relative_uncertainty: self.relative_uncertainty })
    }
}

/// Volumes an hour of make-up gas that held a pressure above the room, 1/s: what leaked out by the conductance over volume
/// for air, where that is known; else anything up to a leaky enclosure. `None` where no such pressure was held.
pub(super) fn exchange_that_held(
    pressure: &PressureDifference<'_>,
    room_pressure_pa: f64,
    conductance_for_air: Option<Quantity>,
    gas: Gas,
) -> Option<Quantity> {
    let difference_pa = held_pa(pressure).filter(|pa| *pa > LEAST_OVERPRESSURE_PA)?;
    let inside_pa = room_pressure_pa + difference_pa;
    Some(if let Some(conductance) = conductance_for_air {
        let conductance = for_gas(conductance, gas);
        let factor = difference_pa / inside_pa;
        Quantity::new(conductance.value.max(0.0) * factor, conductance.standard_uncertainty * factor)
    } else {
        let highest_per_s = UNMEASURED_LEAK_PER_H / 3600.0 * difference_pa / 1000.0;
        Quantity::new(0.5 * highest_per_s, highest_per_s / 12.0_f64.sqrt())
    })
}

/// The mean of a pressure that was stated, or logged and not left to decay.
fn held_pa(pressure: &PressureDifference<'_>) -> Option<f64> {
    match pressure {
        PressureDifference::Stated(pa) => Some(*pa),
        PressureDifference::Logged(samples) => {
            let value = samples.value();
            let tenth = (value.len() / 10).max(1);
            let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
            let (first, last) = (mean(&value[..tenth]), mean(&value[value.len() - tenth..]));
            (last > 0.8 * first).then(|| samples.mean())
        }
        PressureDifference::Unknown => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leaked_out_above_the_room_was_replaced() {
        let held = PressureDifference::Stated(250.0);
        let known = exchange_that_held(&held, 101_325.0, Some(Quantity::new(1e-5, 1e-6)), Gas::Argon).unwrap();
        assert!((known.value / (1e-5 * 0.8162 * 250.0 / 101_575.0) - 1.0).abs() < 1e-3);
        let unknown = exchange_that_held(&held, 101_325.0, None, Gas::Argon).unwrap();
        assert!(unknown.value > 0.0 && unknown.standard_uncertainty > 0.5 * unknown.value);
        assert!(exchange_that_held(&PressureDifference::Stated(-250.0), 101_325.0, None, Gas::Argon).is_none());
    }

    #[test]
    fn a_pressure_left_to_decay_was_not_made_up_for() {
        let time_s: Vec<f64> = (0..100).map(f64::from).collect();
        let decaying: Vec<f64> = time_s.iter().map(|t| 250.0 * (-t / 50.0).exp()).collect();
        let logged = PressureDifference::Logged(Samples::new(&time_s, &decaying).unwrap());
        assert!(exchange_that_held(&logged, 101_325.0, None, Gas::Argon).is_none());
    }
}
